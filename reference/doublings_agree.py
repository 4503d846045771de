#!/usr/bin/env python3
"""doublings_agree.py TOLD.csv SCORES [ATTACKS.csv]: how many of the unisons and octaves stated in SCORES/*_part_relations.csv are told.

TOLD.csv comes from `cargo run --release -p ripieno-texture --example doublings_told -- SCORES/*.mxl`, ATTACKS.csv from the example
`attacks_played`. The relations (Hauptstimme, Gotham and others, CC BY-SA; not in this repository) name for each block of time and each pair of
parts a unison (U) or octaves (P8); their times count repeats played out. A statement counts as told when a doubling of that kind between the two
parts touches the block. Statements that concern the main part by name are left out.

The collection's times run up to some bars early or late against the notes of many movements, and its scherzo of Beethoven 9 counts a repeat
otherwise. With ATTACKS.csv the blocks are first laid over the notes: each block may move, and the moves are those under which most statements hold of the
notes (a share of common attacks each), less a charge for every change of move. Nothing that we tell enters into that. Then what is missed is sorted by cause.
"""
import collections
import csv
import pathlib
import re
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "model" / "harmony"))
from align import steady

# What a change of move costs, in statements that hold.
CHANGE = 4.0
# Moves tried, in half crotchets: where lengths agree, and where whole repeats are counted otherwise.
NEAR, FAR = 60, 520
# Ticks to the crotchet at which attacks are the same.
TICKS = 48


def statements(path):
    """Blocks (start, end) and for each its statements (part, part, kind)."""
    rows = csv.reader(open(path, encoding="utf-8-sig"))
    parts = next(rows)[2:]
    blocks = []
    for row in rows:
        here = []
        for i, cell in enumerate(row[2:]):
            for kind, name in re.findall(r"(P8|U)\(([^()]*(?:\([^()]*\))?[^()]*)\)", cell):
                j = parts.index(name) if name in parts else -1
                if j > i:
                    here.append((i, j, kind))
        blocks.append((float(row[0]), float(row[1]), here))
    return blocks


class Notes:
    """Attacks of each part by tick: {tick: keys}."""

    def __init__(self):
        self.parts = collections.defaultdict(lambda: collections.defaultdict(set))
        self.length = 0.0
        self.cache = {}

    def sums(self, i, j, kind):
        """Attacks in common at that kind of interval, and the mean of both parts' attacks, summed up to each half crotchet."""
        if (i, j, kind) not in self.cache:
            size = int(2 * self.length) + 4
            common, mean = np.zeros(size), np.zeros(size)
            for tick, keys in self.parts[i].items():
                common[min(size - 1, 2 * tick // TICKS)] += any(fits(kind, b - a) for a in keys for b in self.parts[j].get(tick, ()))
            for part in (i, j):
                for tick in self.parts[part]:
                    mean[min(size - 1, 2 * tick // TICKS)] += 0.5
            self.cache[i, j, kind] = (np.append(0, common.cumsum()), np.append(0, mean.cumsum()))
        return self.cache[i, j, kind]

    def within(self, part, start, end):
        return {t: k for t, k in self.parts[part].items() if start - 0.02 <= t / TICKS < end - 0.02}


def fits(kind, interval):
    return interval % 12 == 0 and (interval == 0) == (kind == "U")


def moves(blocks, notes):
    """How far each block is moved."""
    far = FAR if abs(blocks[-1][1] - notes.length) > 20 else NEAR
    tried = np.append(0, np.arange(-far, far + 1) / 2)
    rows = np.zeros((len(blocks), len(tried)))
    for row, (start, end, here) in zip(rows, blocks):
        for i, j, kind in here:
            common, mean = notes.sums(i, j, kind)
            a = np.clip((2 * (start + tried)).astype(int), 0, len(common) - 1)
            b = np.clip((2 * (end + tried)).astype(int), 0, len(common) - 1)
            both, all_ = common[b] - common[a], mean[b] - mean[a]
            row += np.where(all_ > 0, np.minimum(1, both / np.maximum(all_, 1)), -0.3)
    rows[0] -= CHANGE * (tried != 0)
    return tried[steady(rows, CHANGE)]


def cause(notes, start, end, i, j, kind):
    """Why a statement is not told, and whether it holds of the notes with how many in common."""
    x, y = notes.within(i, start, end), notes.within(j, start, end)
    octaves = {t: {b - a for a in x[t] for b in y[t] if (b - a) % 12 == 0} for t in x.keys() & y.keys()}
    right = sum(any(fits(kind, interval) for interval in at) for at in octaves.values())
    fewer = min(len(x), len(y))
    holds = right > 0 and 2 * right >= fewer
    if not fewer:
        return "a part does not sound in the block", right, holds
    if not any(octaves.values()):
        return "no attack in common", right, holds
    if not right:
        return "in common, but unison for octave or octave for unison", right, holds
    if not holds:
        return "less than half of the sparser part's notes in common", right, holds
    if right == 1:
        return "one note in common", right, holds
    if right < 4:
        return "two or three notes in common", right, holds
    return "four notes or more in common", right, holds


def read_told(path):
    told = collections.defaultdict(list)
    for row in csv.DictReader(open(path, encoding="utf-8")):
        a, b = sorted((int(row["a"]), int(row["b"])))
        told[row["piece"], a, b].append((float(row["onset"]), float(row["end"]), int(row["interval"])))
    return told


def read_attacks(path):
    pieces = collections.defaultdict(Notes)
    for row in csv.DictReader(open(path, encoding="utf-8")):
        notes = pieces[row["piece"]]
        if row["part"]:
            notes.parts[int(row["part"])][round(float(row["onset"]) * TICKS)].add(int(row["key"]))
        else:
            notes.length = max(notes.length, float(row["end"]))
    return pieces


def main(told, scores, attacks=None):
    told = read_told(told)
    pieces = read_attacks(attacks) if attacks else {}
    total, causes, by_piece = collections.Counter(), collections.Counter(), {}
    for path in sorted(pathlib.Path(scores).glob("*_part_relations.csv")):
        piece = path.name.removesuffix("_part_relations.csv")
        blocks = statements(path)
        notes = pieces.get(piece)
        moved = moves(blocks, notes) if notes else np.zeros(len(blocks))
        c = collections.Counter()
        for (start, end, here), by in zip(blocks, moved):
            for i, j, kind in here:
                at = [d for d in told[piece, i, j] if d[0] < end and d[1] > start]
                c["stated", kind] += 1
                c["as stated", kind] += any((d[2] == 0) == (kind == "U") for d in at)
                c["either", kind] += bool(at)
                if notes:
                    at = [d for d in told[piece, i, j] if d[0] < end + by and d[1] > start + by]
                    got = any((d[2] == 0) == (kind == "U") for d in at)
                    why, right, holds = cause(notes, start + by, end + by, i, j, kind)
                    c["moved", kind] += got
                    for name, among in (("hold", holds), ("of two notes", holds and right > 1), ("of four notes", holds and right > 3)):
                        c[name, kind] += among
                        c["got " + name, kind] += among and got
                    if not got:
                        causes[why] += 1
        total += c
        by_piece[piece] = c
    both = lambda c, name: c[name, "U"] + c[name, "P8"]
    share = lambda c, name, among: both(c, name) / max(1, both(c, among))
    for kind in ("U", "P8"):
        n = max(total["stated", kind], 1)
        print(f"{kind}: {n} stated, {total['as stated', kind] / n:.3f} told as such, {total['either', kind] / n:.3f} told as unison or octave")
    print(f"all: {both(total, 'stated')} stated, {share(total, 'as stated', 'stated'):.3f} told as such, {share(total, 'either', 'stated'):.3f} as unison or octave")
    if attacks:
        print(f"laid over the notes: {share(total, 'moved', 'stated'):.3f} told as such")
        for name in ("hold", "of two notes", "of four notes"):
            print(f"  of the {both(total, name)} that {'hold' if name == 'hold' else 'hold ' + name + ' or more'}: {share(total, 'got ' + name, name):.3f}")
        for why, n in causes.most_common():
            print(f"  missed {n}: {why}")
    for piece, c in by_piece.items():
        if both(c, "stated"):
            line = f"  {piece}: {both(c, 'stated')}, {share(c, 'either', 'stated'):.3f}"
            print(line + (f", laid over the notes {share(c, 'moved', 'stated'):.3f}, of those that hold of two notes {share(c, 'got of two notes', 'of two notes'):.3f}" if attacks else ""))


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    main(*sys.argv[1:])
