#!/usr/bin/env python3
"""players_agree.py --bin RIPIENO SCORE...: objections that follow from the notes alone, found again with music21.

For each MusicXML score `ripieno check --format json --from note` is asked, and music21 (BSD-3-Clause), sharing no code with it, reads the file. Compared are, part by
part and bar by bar: notes of violins, violas and cellos below their lowest open string (`range`); chords of two notes in those parts that both lie
below the second string, so that one player cannot hold them (`divisi` as a caution or `double-stop` as a fault); and ties that lead to no note of their pitch (`tie-open`). The open strings are the instruments' tuning. Ends with 1 when anything differs.
"""
import argparse
import json
import re
import subprocess
import sys
import warnings
from fractions import Fraction

import music21

# Name in English, Italian or German at the start, then the two lowest open strings as MIDI keys.
STRINGS = [(r"(violin|violino|vl|violine)\b", (55, 62)), (r"(viola|viole|bratsche)\b", (48, 55)), (r"(violoncell|cello)", (36, 43))]


def strings_of(name):
    return next((keys for pattern, keys in STRINGS if re.match(pattern, name.strip().lower())), None)


def witness(path):
    """For each part its name and the bars (by index) of each of the three objections."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path, forceSource=True)
    found = []
    for part in score.parts:
        measures = list(part.getElementsByClass(music21.stream.Measure))
        open_strings = strings_of(part.partName or "")
        sounding = part.toSoundingPitch() if open_strings else None
        low, held = set(), set()
        if sounding is not None:
            for index, measure in enumerate(sounding.getElementsByClass(music21.stream.Measure)):
                for element in measure.recurse().notes:
                    if element.duration.isGrace or element.style.noteSize == "cue":
                        continue
                    keys = sorted({pitch.midi for pitch in element.pitches})
                    tied = element.tie is not None and element.tie.type != "start"
                    if any(key < open_strings[0] for key in keys) and not tied:
                        low.add(index)
                    if len(keys) == 2 and open_strings[0] <= keys[0] and keys[1] < open_strings[1] and not tied:
                        held.add(index)
        starts, ties = set(), []
        for index, measure in enumerate(measures):
            for element in measure.recurse().notes:
                if element.duration.isGrace:
                    continue
                at = Fraction(measure.offset) + Fraction(element.getOffsetInHierarchy(measure))
                for note in element.notes if isinstance(element, music21.chord.Chord) else [element]:
                    if not hasattr(note, "pitch"):
                        continue
                    starts.add((at, note.pitch.midi))
                    if note.tie is not None and note.tie.type in ("start", "continue"):
                        ties.append((index, at + Fraction(element.duration.quarterLength), note.pitch.midi))
        turns = {index for index, measure in enumerate(measures) if turns_back(measure)}
        open_ties = {index for index, end, key in ties if (end, key) not in starts and index not in turns}
        found.append((part.partName or "", {"low": low, "held": held, "ties": open_ties}))
    return found


def turns_back(measure):
    """Whether the music may go on elsewhere after this bar: a repeat sign or the end of an ending."""
    ends = isinstance(measure.rightBarline, music21.bar.Repeat)
    return ends or any(True for _ in measure.getElementsByClass(music21.repeat.RepeatExpression)) or bool(measure.getSpannerSites(music21.spanner.RepeatBracket))


def ours(binary, path):
    """The same from `ripieno check`."""
    answer = subprocess.run([binary, "check", "--format", "json", "--from", "note", path], check=True, capture_output=True, text=True)
    (file,) = json.loads(answer.stdout).values()
    parts = {}
    for one in file["objections"]:
        bars = parts.setdefault(one["part_index"], {"low": set(), "held": set(), "ties": set()})
        if one["kind"] == "range" and " below " in one["reason"]:
            bars["low"].add(one["bar_index"])
        if one["kind"] in ("divisi", "double-stop") and "cannot be held" in one["reason"]:
            bars["held"].add(one["bar_index"])
        if one["kind"] == "tie-open":
            bars["ties"].add(one["bar_index"])
    return parts


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--bin", default="target/release/ripieno")
    parser.add_argument("scores", nargs="+")
    arguments = parser.parse_args()
    wrong = agreed = 0
    for path in arguments.scores:
        mine = ours(arguments.bin, path)
        for index, (name, theirs) in enumerate(witness(path)):
            own = mine.get(index, {"low": set(), "held": set(), "ties": set()})
            for kind, bars in theirs.items():
                # Larger chords that nobody holds are ours alone here: only two-note chords are counted again.
                missing = bars - own[kind]
                extra = set() if kind == "held" else own[kind] - bars
                if kind != "held" or strings_of(name):
                    agreed += len(bars & own[kind])
                if missing or (extra and (kind != "low" or strings_of(name))):
                    wrong += 1
                    print(f"{path}, {name}, {kind}: only music21 {sorted(missing)[:12]}, only ripieno {sorted(extra)[:12]} (bars by index)")
    print(f"{agreed} bars agree, {wrong} differences")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
