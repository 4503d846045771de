"""Does Ripieno read the same notes from MIDI files as mido and symusic?

    python reference/midi_agree.py --bin target/release/ripieno FILE.mid ...     (or folders)

Each file is read by `ripieno notes --csv --score-order`, by mido and by symusic. Compared, as multisets and exactly, in ticks over
ticks per crotchet:
  notes    (track, onset, length, key) where tracks and parts have the same names, else (onset, length, key), since a session's
           tracks may be merged into one part. Drum channels without key, percussion having no pitch. Notes of no length are left
           aside (symusic drops them).
  bars     the bar in which each note starts, counted from the file's time signatures as mido gives them (notated files only).
  events   tempo, time signatures and velocities, between mido and symusic: what the table does not print, but rests on.
Exit status 1 when any file differs.
"""

import argparse
import csv
import io
import subprocess
import sys
from bisect import bisect_right
from collections import Counter, defaultdict
from fractions import Fraction
from pathlib import Path

import mido
import symusic


def ours(binary: Path, path: Path) -> tuple[Counter, list[tuple[Fraction, int]]]:
    """Notes, and (onset, bar index) of each."""
    table = subprocess.run([binary, "notes", "--csv", "--score-order", path], capture_output=True, text=True, check=True).stdout
    notes, bars = Counter(), []
    for row in csv.DictReader(io.StringIO(table)):
        if row["duration"] != "0":
            notes[row["part"], Fraction(row["onset"]), Fraction(row["duration"]), row["pitch"]] += 1
            bars.append((Fraction(row["onset"]), int(row["bar"])))
    return notes, bars


def by_mido(file: mido.MidiFile) -> tuple[Counter, Counter]:
    """Notes, and (tick, velocity). The first note off ends the oldest sounding note of its key and channel."""
    notes, velocities = Counter(), Counter()
    for track in file.tracks:
        now, open_notes, name = 0, defaultdict(list), track.name.strip()
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity > 0:
                open_notes[message.channel, message.note].append((now, message.velocity))
            elif message.type in ("note_on", "note_off") and open_notes[message.channel, message.note]:
                start, velocity = open_notes[message.channel, message.note].pop(0)
                if now > start:
                    key = "" if message.channel == 9 else str(message.note)
                    notes[name, Fraction(start, file.ticks_per_beat), Fraction(now - start, file.ticks_per_beat), key] += 1
                    velocities[start, velocity] += 1
    return notes, velocities


def by_symusic(score: symusic.Score) -> tuple[Counter, Counter]:
    notes, velocities, quarter = Counter(), Counter(), score.ticks_per_quarter
    for track in score.tracks:
        for note in track.notes:
            if note.duration > 0:
                key = "" if track.is_drum else str(note.pitch)
                notes[track.name.strip(), Fraction(note.time, quarter), Fraction(note.duration, quarter), key] += 1
                velocities[note.time, note.velocity] += 1
    return notes, velocities


def meta_events(file: mido.MidiFile) -> tuple[list, list]:
    """Tempo as (tick, microseconds a crotchet) and metre as (tick, beats, beat type), in order of time."""
    tempi, metres = [], []
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "set_tempo":
                tempi.append((now, message.tempo))
            elif message.type == "time_signature":
                metres.append((now, message.numerator, message.denominator))
    return sorted(tempi), sorted(metres)


def bar_starts(metres: list, quarter: int, end: Fraction) -> list[Fraction]:
    """Starts of the bars up to `end`, in crotchets; a time signature begins a bar, 4/4 holds until the first."""
    signatures = [(Fraction(t, quarter), Fraction(4 * n, d)) for t, n, d in metres]
    if not signatures or signatures[0][0] > 0:
        signatures.insert(0, (Fraction(0), Fraction(4)))
    starts = []
    for k, (start, length) in enumerate(signatures):
        until = signatures[k + 1][0] if k + 1 < len(signatures) else end + length
        while start < until:
            starts.append(start)
            start += length
    return starts


def without_track(notes: Counter) -> Counter:
    merged = Counter()
    for (_, *note), count in notes.items():
        merged[tuple(note)] += count
    return merged


def check(binary: Path, path: Path) -> tuple[int, str]:
    """How many comparisons differ, and what to print."""
    file, score = mido.MidiFile(path), symusic.Score(path)
    reading, bars = ours(binary, path)
    (mido_notes, mido_velocities), (symusic_notes, symusic_velocities) = by_mido(file), by_symusic(score)
    different, line = 0, [f"{path.name}: {reading.total()} notes"]
    for name, witness in (("mido", mido_notes), ("symusic", symusic_notes)):
        by_track = {track for track, *_ in reading} == {track for track, *_ in witness}
        mine, theirs = (reading, witness) if by_track else (without_track(reading), without_track(witness))
        missing, extra = theirs - mine, mine - theirs
        line.append(f"{name} {theirs.total()} {'by track' if by_track else 'all tracks together'}, missing {missing.total()}, extra {extra.total()}")
        different += bool(missing or extra)
        for note in sorted(missing + extra)[:3]:
            line.append(f"\n    {'missing' if note in missing else 'extra'} {' '.join(map(str, note))}")
    tempi, metres = meta_events(file)
    starts = bar_starts(metres, file.ticks_per_beat, max((onset for onset, _ in bars), default=Fraction(0)))
    off = [(onset, bar) for onset, bar in bars if bisect_right(starts, onset) - 1 != bar]
    line.append(f"bars {'as the time signatures say' if not off else f'{len(off)} notes in another bar, first at {off[0][0]}'}")
    different += bool(off)
    same = (
        tempi == sorted((t.time, t.mspq) for t in score.tempos)
        and metres == sorted((t.time, t.numerator, t.denominator) for t in score.time_signatures)
        and mido_velocities == symusic_velocities
    )
    line.append(f"{len(tempi)} tempi, {len(metres)} metres, velocities {'alike' if same else 'DIFFER'} in both witnesses")
    different += not same
    return different, "; ".join(line)


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--bin", type=Path, default=Path("target/release/ripieno"))
    options.add_argument("files", nargs="+", type=Path)
    chosen = options.parse_args()
    files = [f for given in chosen.files for f in (sorted(given.glob("*.mid")) if given.is_dir() else [given])]
    different = 0
    for path in files:
        wrong, text = check(chosen.bin, path)
        different += wrong
        print(text)
    print(f"{len(files)} files, {different} comparisons differ")
    return 1 if different or not files else 0


if __name__ == "__main__":
    sys.exit(main())
