#!/usr/bin/env python3
"""doublings_sample.py TOLD.csv SCORES ATTACKS.csv SHEET.csv [COUNT [SEED]]: a sheet of told doublings for a judge.

Draws COUNT (100) of the doublings that no statement of the collection's part relations meets, once those are laid over the notes (doublings_agree.py tells the
inputs). A row names file, both parts, bars (places among the bars as written, from 1), the interval and how many notes; the columns verdict (right, arguable, wrong)
and reason are for the judge, who looks at the score alone. Same seed (2026), same sheet.
"""
import csv
import pathlib
import random
import sys

import doublings_agree as agree


def bars_of(path):
    """(start, end, bar from 1) as played, by piece."""
    bars = {}
    for row in csv.DictReader(open(path, encoding="utf-8")):
        if not row["part"]:
            bars.setdefault(row["piece"], []).append((float(row["onset"]), float(row["end"]), int(row["line"]) + 1))
    return bars


def unstated(told, scores, attacks):
    """(piece, part, part, doubling) that no statement touches."""
    pieces = agree.read_attacks(attacks)
    for path in sorted(pathlib.Path(scores).glob("*_part_relations.csv")):
        piece = path.name.removesuffix("_part_relations.csv")
        blocks = agree.statements(path)
        names = next(csv.reader(open(path, encoding="utf-8-sig")))[2:]
        stated = {}
        for (start, end, here), by in zip(blocks, agree.moves(blocks, pieces[piece])):
            for i, j, kind in here:
                stated.setdefault((i, j, kind), []).append((start + by, end + by))
        for (name, i, j), doublings in sorted(told.items()):
            if name != piece:
                continue
            for onset, end, interval, shared in doublings:
                kind = "U" if interval == 0 else "P8"
                if not any(a < end and b > onset for a, b in stated.get((i, j, kind), ())):
                    yield piece, names[i], names[j], (onset, end, interval, shared)


def read_told(path):
    told = {}
    for row in csv.DictReader(open(path, encoding="utf-8")):
        a, b, interval = int(row["a"]), int(row["b"]), int(row["interval"])
        (a, b), interval = ((a, b), interval) if a < b else ((b, a), -interval)
        told.setdefault((row["piece"], a, b), []).append((float(row["onset"]), float(row["end"]), interval, int(row["shared"])))
    return told


def main(told, scores, attacks, sheet, count=100, seed=2026):
    rows = list(unstated(read_told(told), scores, attacks))
    bars = bars_of(attacks)
    drawn = random.Random(int(seed)).sample(rows, min(int(count), len(rows)))
    with open(sheet, "w", newline="", encoding="utf-8") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(["file", "part", "bars", "told", "verdict", "reason"])
        for piece, a, b, (onset, end, interval, shared) in sorted(drawn):
            inside = [bar for start, stop, bar in bars[piece] if start < end and stop > onset] or [0]
            octaves = abs(interval) // 12
            what = "in unison with" if not interval else f"{octaves} octave{'s' * (octaves > 1)} {'below' if interval > 0 else 'above'}"
            table.writerow([f"{piece}.mxl", a, f"{inside[0]}-{inside[-1]}", f"{what} {b} ({shared} note{'s' * (shared > 1)})", "", ""])
    print(f"{len(rows)} told doublings are met by no statement; {len(drawn)} drawn")


if __name__ == "__main__":
    if not 5 <= len(sys.argv) <= 7:
        sys.exit(__doc__)
    main(*sys.argv[1:])
