#!/usr/bin/env python3
"""practice_agree.py --bin RIPIENO SCORE...: what the practice of a score says from notes alone, counted again with music21.

For each MusicXML score `ripieno study` writes its tables, and music21 (BSD-3-Clause), sharing no code with it, reads the file. Compared are presence of
every part (bars, share of time), the bars in which all brass sections sound and the first of them, the longest rest of each section before it enters, and
how far the brass sections lie apart (shares apart, touching, overlapping; widest gap; deepest overlap), each as docs/practice.md defines it. Which part
belongs to which section is taken from parts.csv. Ends with 1 when anything differs by more than the tables' four decimals.
"""
import argparse
import bisect
import collections
import csv
import pathlib
import re
import subprocess
import sys
import tempfile
import warnings
from fractions import Fraction

import music21

CLOSE = 0.00015


def read(path):
    """Bars as (start, end, printed number), and of each part its notes as (start, end, keys)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path, forceSource=True).toSoundingPitch()
        parts, last = [], None
        for part in score.parts:
            stripped = part.stripTies()
            notes = []
            for element in stripped.flatten().notes:
                if element.style.noteSize == "cue" or element.style.hideObjectOnPrint or shows_nothing(element):
                    continue
                start = Fraction(element.offset)
                length = Fraction(0) if element.duration.isGrace else Fraction(element.quarterLength)
                keys = [pitch.midi for pitch in element.pitches] if not isinstance(element, (music21.note.Unpitched, music21.percussion.PercussionChord)) else []
                notes.append((start, start + length, keys))
            # music21 makes a part of each staff of a keyboard or harp.
            name = re.sub(r"-Staff\d+$", "", str(part.id))
            if parts and name == last:
                parts[-1].extend(notes)
            else:
                parts.append(notes)
            last = name
        measures = score.parts[0].getElementsByClass(music21.stream.Measure)
        starts = [Fraction(measure.offset) for measure in measures]
        labels = [f"{measure.number}{measure.numberSuffix or ''}" for measure in measures]
        end = starts[-1] + Fraction(measures[-1].duration.quarterLength)
    return list(zip(starts, [*starts[1:], end], labels)), parts


def shows_nothing(element):
    """Whether the page shows neither notehead nor stem. music21 turns `<notehead>none</notehead>` into no notehead at all, `None`; others are "normal"."""
    return getattr(element, "notehead", "normal") is None and getattr(element, "stemDirection", None) == "noStem"


def first_is_upbeat(bars):
    """Whether the first bar is shorter than the second."""
    return len(bars) > 1 and bars[0][1] - bars[0][0] < bars[1][1] - bars[1][0]


def bars_of(bars, notes):
    """Indices of the bars in which something sounds."""
    starts = [bar[0] for bar in bars]
    found = set()
    for start, end, _ in notes:
        at = bisect.bisect_right(starts, start) - 1
        found.add(at)
        while at + 1 < len(bars) and bars[at + 1][0] < end:
            at += 1
            found.add(at)
    return found


def union(notes):
    """Time in which something sounds."""
    total, reached = Fraction(0), Fraction(0)
    for start, end in sorted((start, end) for start, end, _ in notes):
        start = max(start, reached)
        if end > start:
            total += end - start
            reached = end
    return total


def separation(bars, sections):
    """Of each pair of register neighbours the time at each interval, and the bars."""
    edges = sorted({edge for notes in sections.values() for start, end, _ in notes for edge in (start, end)} | {bar[0] for bar in bars} | {bars[-1][1]})
    index = {edge: at for at, edge in enumerate(edges)}
    bands = {name: [None] * len(edges) for name in sections}
    for name, notes in sections.items():
        for start, end, keys in notes:
            for at in range(index[start], index[end]):
                if keys:
                    low, high = bands[name][at] or (200, 0)
                    bands[name][at] = (min(low, *keys), max(high, *keys))
    starts = [bar[0] for bar in bars]
    found = collections.defaultdict(lambda: collections.defaultdict(lambda: [Fraction(0), set()]))
    for at, (start, end) in enumerate(zip(edges, edges[1:])):
        if start >= bars[-1][1]:
            break
        levels = collections.defaultdict(list)
        for name in sections:
            if bands[name][at]:
                levels[sum(bands[name][at])].append(name)
        order = sorted(levels)
        pairs = [(a, b) for level in order for i, a in enumerate(levels[level]) for b in levels[level][i + 1 :]]
        pairs += [(a, b) for low, high in zip(order, order[1:]) for a in levels[low] for b in levels[high]]
        for lower, upper in pairs:
            here = found[frozenset((lower, upper))][bands[upper][at][0] - bands[lower][at][1]]
            here[0] += end - start
            here[1].add(bisect.bisect_right(starts, start) - 1)
    return found


class Checks:
    """What agreed and what did not."""

    def __init__(self):
        self.agreed, self.wrong = collections.Counter(), []

    def check(self, what, where, ours, theirs):
        same = abs(ours - theirs) <= CLOSE if isinstance(theirs, float) else ours == theirs
        if same:
            self.agreed[what] += 1
        else:
            self.wrong.append(f"{what}, {where}: ripieno {ours}, music21 {theirs}")


def spans(bars, indices):
    """Printed bars as the tables write them."""
    found = []
    for at in sorted(indices):
        if found and found[-1][1] == at - 1:
            found[-1][1] = at
        else:
            found.append([at, at])
    return ", ".join(bars[a][2] if a == b else f"{bars[a][2]}–{bars[b][2]}" for a, b in found)


def compare(binary, path, checks):
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([binary, "study", path, "--out", folder], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        table = lambda name: list(csv.DictReader(open(pathlib.Path(folder) / name, encoding="utf-8")))
        line_up, practice = table("parts.csv"), table("practice.csv")
    bars, parts = read(path)
    if len(parts) != len(line_up):
        checks.wrong.append(f"{path}: {len(line_up)} parts here, {len(parts)} in music21")
        return
    length = bars[-1][1]
    by_part = [[row for row in practice if row["measure"] == "presence" and row["of_kind"] == "part" and row["aspect"] == aspect] for aspect in ("bars", "time")]
    present = [bars_of(bars, notes) for notes in parts]
    for at, row in enumerate(line_up):
        checks.check("presence in bars", row["part"], by_part[0][at]["bars"], spans(bars, present[at]))
        checks.check("presence in time", row["part"], float(by_part[1][at]["value"]), float(union(parts[at]) / length))
    sections = collections.defaultdict(list)
    for at, row in enumerate(line_up):
        sections[row["section"], row["family"]].append(at)
    brass = {section: indices for (section, family), indices in sections.items() if family == "brass"}
    if len(brass) > 1:
        everyone = set.intersection(*({bar for at in indices for bar in present[at]} for indices in brass.values()))
        told = [row for row in practice if row["measure"] == "stack" and row["of"] == "brass" and row["aspect"] == "tutti bars"]
        checks.check("bars with all brass sections", path, told[0]["bars"] if told else "", spans(bars, everyone))
    for (section, _), indices in sections.items():
        here = sorted({bar for at in indices for bar in present[at]})
        # An upbeat is no bar of rest: a first bar shorter than the second.
        upbeat = first_is_upbeat(bars)
        rests = [b - a - 1 for a, b in zip([0 if upbeat and here[0] > 0 else -1, *here], here)]
        told = [row for row in practice if row["measure"] == "reserve" and row["of"] == section and row["aspect"] == "longest rest before an entry"]
        if told:
            checks.check("longest rest before an entry", section, float(told[0]["value"]), float(max(rests)))
    for family in {family for _, family in sections}:
        of_family = {section: indices for (section, other), indices in sections.items() if other == family}
        together = {bar for indices in of_family.values() for at in indices for bar in present[at]}
        for section, indices in of_family.items():
            told = [row for row in practice if row["measure"] == "reserve" and row["of"] == section and row["aspect"] == "use"]
            if told and len(of_family) > 1:
                here = {bar for at in indices for bar in present[at]}
                checks.check("use beside the family", section, float(told[0]["value"]), len(here) / len(together))
    told = {}
    for row in practice:
        if row["measure"] == "separation" and row["of"] in brass and row["with"] in brass and not row["aspect"].endswith("left out"):
            told[frozenset((row["of"], row["with"])), row["aspect"]] = row
    for pair, intervals in separation(bars, {name: [note for at in indices for note in parts[at]] for name, indices in brass.items()}).items():
        where = " and ".join(sorted(pair))
        whole = sum(time for time, _ in intervals.values())
        kinds = {"apart": lambda i: i > 2, "touching": lambda i: 0 <= i <= 2, "overlapping": lambda i: i < 0}
        for aspect, kind in kinds.items():
            share = float(sum(time for interval, (time, _) in intervals.items() if kind(interval)) / whole)
            checks.check(f"separation: {aspect}", where, float(told[pair, aspect]["value"]), share)
        for aspect, extreme, real in (("widest gap", max(intervals), max(intervals) > 0), ("deepest overlap", min(intervals), min(intervals) < 0)):
            if real:
                row = told[pair, aspect]
                checks.check(f"separation: {aspect}", where, float(row["value"]), float(extreme))
                checks.check(f"separation: bars of the {aspect}", where, row["bars"], spans(bars, intervals[extreme][1]))


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--bin", required=True)
    arguments.add_argument("scores", nargs="+")
    arguments = arguments.parse_args()
    failed = False
    for path in arguments.scores:
        checks = Checks()
        compare(arguments.bin, path, checks)
        print(f"{pathlib.Path(path).name}: {sum(checks.agreed.values())} agree, {len(checks.wrong)} differ")
        for what, count in checks.agreed.items():
            print(f"  {count:4} {what}")
        for line in checks.wrong[:20]:
            print(f"  DIFFERS: {line}")
        failed |= bool(checks.wrong) or not checks.agreed
    sys.exit(failed)


if __name__ == "__main__":
    main()
