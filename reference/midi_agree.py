"""Does Ripieno read the same notes from MIDI files as mido and symusic?

    python reference/midi_agree.py --bin target/release/ripieno FILE.mid ...     (or folders)

Each file is read by `ripieno notes --csv --score-order`, by mido and by symusic. Notes are compared as multisets of (onset, length,
key), exactly, in ticks over ticks per crotchet; drum channels by onset only, since percussion without pitch has no key. Notes of
no length are left aside (symusic drops them). Exit status 1 when any file differs.
"""

import argparse
import csv
import io
import subprocess
import sys
from collections import Counter, defaultdict
from fractions import Fraction
from pathlib import Path

import mido
import symusic


def ours(binary: Path, path: Path) -> Counter:
    table = subprocess.run([binary, "notes", "--csv", "--score-order", path], capture_output=True, text=True, check=True).stdout
    notes = Counter()
    for row in csv.DictReader(io.StringIO(table)):
        if row["duration"] != "0":
            notes[Fraction(row["onset"]), Fraction(row["duration"]), row["pitch"]] += 1
    return notes


def by_mido(path: Path) -> Counter:
    """First note off ends the oldest sounding note of its key and channel, as the MIDI standard's pairing is usually read."""
    file, notes = mido.MidiFile(path), Counter()
    for track in file.tracks:
        now, open_notes = 0, defaultdict(list)
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity > 0:
                open_notes[message.channel, message.note].append(now)
            elif message.type in ("note_on", "note_off") and open_notes[message.channel, message.note]:
                start = open_notes[message.channel, message.note].pop(0)
                if now > start:
                    key = "" if message.channel == 9 else str(message.note)
                    notes[Fraction(start, file.ticks_per_beat), Fraction(now - start, file.ticks_per_beat), key] += 1
    return notes


def by_symusic(path: Path) -> Counter:
    score, notes = symusic.Score(path), Counter()
    for track in score.tracks:
        for note in track.notes:
            if note.duration > 0:
                key = "" if track.is_drum else str(note.pitch)
                notes[Fraction(note.time, score.ticks_per_quarter), Fraction(note.duration, score.ticks_per_quarter), key] += 1
    return notes


def main() -> int:
    options = argparse.ArgumentParser(description="Compare MIDI reading with mido and symusic")
    options.add_argument("--bin", type=Path, default=Path("target/release/ripieno"))
    options.add_argument("files", nargs="+", type=Path)
    chosen = options.parse_args()
    files = [f for given in chosen.files for f in (sorted(given.glob("*.mid")) if given.is_dir() else [given])]
    different = 0
    for path in files:
        reading = ours(chosen.bin, path)
        line = [f"{path.name}: {reading.total()} notes"]
        for name, witness in (("mido", by_mido(path)), ("symusic", by_symusic(path))):
            missing, extra = witness - reading, reading - witness
            line.append(f"{name} {witness.total()}, missing {missing.total()}, extra {extra.total()}")
            if missing or extra:
                different += 1
                for note, _ in sorted((missing + extra).items())[:3]:
                    line.append(f"\n    {'missing' if note in missing else 'extra'} {note[0]} {note[1]} {note[2]}")
        print("; ".join(line))
    print(f"{len(files)} files, {different} comparisons differ")
    return 1 if different else 0


if __name__ == "__main__":
    sys.exit(main())
