#!/usr/bin/env python3
"""doublings_agree.py TOLD.csv SCORES: how many of the unisons and octaves stated in SCORES/*_part_relations.csv are told.

TOLD.csv comes from `cargo run --release -p ripieno-texture --example doublings_told -- SCORES/*.mxl`. The relations (Hauptstimme, Gotham and
others, CC BY-SA; not in this repository) name for each block of time and each pair of parts a unison (U) or octaves (P8); their times
count repeats played out. A statement counts as told when a doubling of that kind between the two parts touches the block.
Statements that concern the main part by name are left out. Standard library only.
"""
import collections
import csv
import pathlib
import re
import sys


def main(told, scores):
    doublings = collections.defaultdict(list)
    for row in csv.DictReader(open(told, encoding="utf-8")):
        a, b = sorted((int(row["a"]), int(row["b"])))
        doublings[row["piece"], a, b].append((float(row["onset"]), float(row["end"]), int(row["interval"])))
    stated, found, either = (collections.Counter() for _ in range(3))
    by_piece = {}
    for path in sorted(pathlib.Path(scores).glob("*_part_relations.csv")):
        piece = path.name.removesuffix("_part_relations.csv")
        rows = csv.reader(open(path, encoding="utf-8-sig"))
        parts = next(rows)[2:]
        here = [0, 0]
        for row in rows:
            start, end = float(row[0]), float(row[1])
            for i, cell in enumerate(row[2:]):
                for kind, name in re.findall(r"(P8|U)\(([^()]*(?:\([^()]*\))?[^()]*)\)", cell):
                    j = parts.index(name) if name in parts else -1
                    if j <= i:
                        continue
                    touching = [d for d in doublings[piece, i, j] if d[0] < end and d[1] > start]
                    stated[kind] += 1
                    found[kind] += any((d[2] == 0) == (kind == "U") for d in touching)
                    either[kind] += bool(touching)
                    here[0] += 1
                    here[1] += bool(touching)
        by_piece[piece] = here
    for kind in ("U", "P8"):
        n = max(stated[kind], 1)
        print(f"{kind}: {stated[kind]} stated, {found[kind] / n:.3f} told as such, {either[kind] / n:.3f} told as unison or octave")
    total = sum(stated.values())
    print(f"all: {total} stated, {sum(either.values()) / max(total, 1):.3f} told")
    for piece, (n, hits) in by_piece.items():
        if n:
            print(f"  {piece}: {n}, {hits / n:.3f}")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    main(*sys.argv[1:])
