"""Who carries the main melody, by folds: the program's own reading of leads that models gave which never saw the work.

    python3 model/roles/melody.py leads OUT.csv         write those leads, a row a part and bar, natural logarithms
    python3 model/roles/melody.py choose SCORES a=A.csv b=B.csv ...
        score each table (../shared/eval/score_melody.py says how), and choose among them for every work on the others
    python3 model/roles/melody.py grid SCORES           both for every pair of weights of singers and brass: read by the program
        (its example melody_told, which must have been built: RIPIENO_MELODY_TOLD names it), scored and chosen among
"""
import argparse
import collections
import csv
import os
import pathlib
import subprocess
import sys

import numpy as np

from fit import BE, DV, MO
from table import ROOT, WORK, work_of

sys.path.insert(0, os.environ.get("RIPIENO_EVAL", str(ROOT.parent / "shared" / "eval")))


SHIPPED = {4: 4.0, 1: 4.0}  # weights of singers and brass in the program (SUNG and BRASS of crates/texture/src/roles/thread.rs), by family
SINGERS, BRASS = (1, 2, 4), (1, 1.5, 2, 3, 4, 6)


def leads(path, factor=None):
    """Writes the leads to `path`, or to each path of `factor` with the leads of each family multiplied."""
    import figures

    e = figures.Evidence()
    table, z = e.table, np.full(len(e.works), np.nan)
    for left_out, (rows, logits) in e.fits["networks"].items():
        if not (len(left_out) == 2 and set(left_out) <= {BE, MO, DV}):
            z[rows] = logits[:, 19].astype(float)
    rows = np.flatnonzero(table["tokens"][:, 0] >= 12)  # the scores; twelve pieces of S3 come first
    tokens, times = table["tokens"][rows], table["times"][rows]
    log = figures.leads(table, z[rows], rows)
    family = table["facts"][rows, 0]
    for name, factors in (factor or {path: {}}).items():
        with open(name, "w", encoding="utf-8") as file:
            file.write("piece,part,onset,offset,melody\n")
            shift = np.array([np.log(factors.get(f, 1.0)) for f in range(6)])[family]
            for (piece, part, _), (start, end), value in zip(tokens, times, log + shift):
                file.write(f"{table['stems'][piece]},{part},{start / 480:.6f},{end / 480:.6f},{value:.5f}\n")


class Judged:
    """One annotated score, ready to judge any table."""

    def __init__(self, path):
        from musicxml_notes import TICKS, read
        from score_melody import family

        score = read(str(path))
        parts, self.ticks = score["parts"], TICKS
        main = collections.defaultdict(list)
        for row in csv.DictReader(open(str(path)[:-4] + "_annotations.csv", encoding="utf-8-sig")):
            main[round(float(row["qstamp"]) * TICKS)].append(int(row["part_num"]))
        points = {0, score["end"], *score["starts"], *main}
        for _, notes in parts:
            points.update(t for n in notes for t in n[:2])
        points = np.array(sorted(t for t in points if 0 <= t <= score["end"]))
        width = len(points) - 1
        pitch, attack = np.full((len(parts), width), -1), np.full((len(parts), width), -1)
        for k, (_, notes) in enumerate(parts):
            for onset, stop, key in notes:
                a, z = np.searchsorted(points, (onset, min(stop, score["end"])))
                higher = key > pitch[k, a:z]
                pitch[k, a:z][higher], attack[k, a:z][higher] = key, onset
        times = sorted(main)
        block = np.searchsorted(times, points[:-1], "right") - 1
        leads = np.zeros((len(parts), width), bool)
        for at, time in enumerate(times):
            for part in main[time]:
                if part < len(parts):
                    leads[part] |= (block == at) & (pitch[part] >= 0)
        keep = leads.any(0) & (np.diff(points) > 0)
        self.points, self.length = points, np.diff(points)[keep]
        self.pitch, self.attack, self.leads, self.keep = pitch[:, keep], attack[:, keep], leads[:, keep], keep
        # The family of the first annotated part, as the scorer counts it.
        first = np.array([next(p for p in main[times[block[i]]] if p < len(parts) and leads[p, i]) for i in np.flatnonzero(keep)])
        self.brass = np.array([family(parts[p][0]) == "brass" for p in range(len(parts))])[first]

    def judge(self, spans):
        strength = np.full((len(self.pitch), len(self.points) - 1), -np.inf)
        for part, onset, stop, lead in spans:
            a, z = np.searchsorted(self.points, (max(onset, 0), min(stop, self.points[-1])))
            strength[part, a:z] = np.maximum(strength[part, a:z], lead)
        strength = np.where(self.pitch >= 0, strength[:, self.keep], -np.inf)
        silent = ~np.isfinite(strength).any(0)
        chosen = np.where(silent, (self.pitch >= 0).argmax(0), strength.argmax(0))
        at = np.arange(len(chosen))
        exact = self.leads[chosen, at]
        same = (self.pitch - self.pitch[chosen, at]) % 12 == 0
        near = np.abs(self.attack - self.attack[chosen, at]) <= self.ticks // 16
        good = exact | (self.leads & same & near).any(0)
        length, brass = self.length, self.length * self.brass
        return np.array([length.sum(), (length * exact).sum(), (length * good).sum(), brass.sum(), (brass * good).sum()])


def judge_all(scores, tables):
    """`[table][work] -> sums`: time, exact, with doublings, time of brass, of it with doublings."""
    spans = {name: collections.defaultdict(list) for name in tables}
    for name, path in tables.items():
        for row in csv.DictReader(open(path)):
            spans[name][row["piece"]].append((int(row["part"]), round(float(row["onset"]) * 480), round(float(row["offset"]) * 480), float(row["melody"])))
    sums = {name: collections.defaultdict(lambda: np.zeros(5)) for name in tables}
    for path in sorted(pathlib.Path(scores).glob("*.mxl")):
        piece = Judged(path)
        for name in tables:
            sums[name][work_of(path.stem)] += piece.judge(spans[name][path.stem])
    return sums


def spell(total):
    time, exact, good, brass, brassy = total
    return f"with doublings {good / time:.4f}  exact {exact / time:.4f}  brass {brassy / brass:.4f}"


def share(total):
    return total[2] / total[0], total[4] / total[3]


# What is maximised over the other works: melody with doublings decides, and brass, for both have a floor.
RULES = {
    "most with doublings, brass at least .65": lambda t: share(t)[0] - 10 * max(0.65 - share(t)[1], 0),
    "most with doublings": lambda t: share(t)[0],
    "most with doublings, brass at least .70": lambda t: share(t)[0] - 10 * max(0.70 - share(t)[1], 0),
    "doublings and a quarter of brass": lambda t: share(t)[0] + 0.25 * share(t)[1],
}


def choose(scores, tables):
    sums = judge_all(scores, tables)
    for name in tables:
        print(f"{name:12s} {spell(sum(sums[name].values()))}   (all works)")
    works = sorted(next(iter(sums.values())))
    for rule, judge in RULES.items():
        total, picked = np.zeros(5), []
        for work in works:
            others = {name: sum(sums[name][w] for w in works if w != work) for name in tables}
            picked.append(max(tables, key=lambda name: judge(others[name])))
            total += sums[picked[-1]][work]
        print(f"chosen without the work by {rule}: {spell(total)}; {dict(collections.Counter(picked))}")


def grid(scores):
    program = os.environ.get("RIPIENO_MELODY_TOLD", str(ROOT / "target" / "release" / "examples" / "melody_told"))
    files = sorted(str(path) for path in pathlib.Path(scores).glob("*.mxl"))
    folder = WORK / "melody"
    folder.mkdir(exist_ok=True)
    pairs = [(singers, brass) for singers in SINGERS for brass in BRASS]
    given = {pair: folder / f"leads_{pair[0]}_{pair[1]}.csv" for pair in pairs}
    leads(None, {path: {4: singers / SHIPPED[4], 1: brass / SHIPPED[1]} for (singers, brass), path in given.items()})
    tables = {}
    for (singers, brass), path in given.items():
        told = folder / f"told_{singers}_{brass}.csv"
        with open(told, "wb") as out:
            subprocess.run([program, str(path), *files], stdout=out, check=True)
        path.unlink()
        tables[f"{singers}, {brass}"] = told
    choose(scores, tables)


def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("what", choices=["leads", "choose", "grid"])
    args.add_argument("rest", nargs="+")
    args = args.parse_args()
    if args.what == "leads":
        leads(args.rest[0])
    elif args.what == "grid":
        grid(args.rest[0])
    else:
        choose(args.rest[0], dict(table.split("=", 1) for table in args.rest[1:]))


if __name__ == "__main__":
    main()
