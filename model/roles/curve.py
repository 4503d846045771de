"""Learning curve of the finer roles and of the relation in the layer: trees that saw one to five works, judged on another.

    python3 model/roles/curve.py [--workers N] [--subsets 4]

Every count of works has `subsets` sets drawn for every work judged (all there are where there are fewer). The cut of a work is chosen on the
other works' answers at the same count, as in figures.py.
"""
import argparse
import itertools
import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np

import fit
import trees
from figures import FINE, cut_of, f1, of_units, sigmoid
from table import WORK

KINDS = [*FINE, "relation"]


def job(task):
    kind, tested, seen, labelled = task
    table, x = fit.STATE["table"], fit.STATE["x"]
    boosters = trees.fit(kind, table, x, [w for w in labelled if w not in seen])
    rows = np.flatnonzero(table["works"][table["tokens"][:, 0]] == tested)
    return kind, tested, len(seen), rows, trees.raw(boosters, x[rows], 1)


def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--workers", type=int, default=os.cpu_count())
    args.add_argument("--subsets", type=int, default=4)
    args = args.parse_args()
    table = fit.load()
    path = WORK / "tree_inputs.npy"
    if not path.exists():
        np.save(path, trees.inputs(table))
    work_of = table["works"][table["tokens"][:, 0]]
    labelled = sorted(set(work_of[table["fine"][:, 0] >= 0]))
    chance, tasks = np.random.default_rng(0), []
    for tested in labelled:
        others = [w for w in labelled if w != tested]
        for count in range(1, len(others) + 1):
            sets = list(itertools.combinations(others, count))
            for at in sorted(chance.permutation(len(sets))[: args.subsets]):
                tasks += [(kind, tested, sets[at], labelled) for kind in KINDS]
    found = {}
    with ProcessPoolExecutor(args.workers, get_context("spawn"), fit.prepare, (True,)) as pool:
        for kind, tested, count, rows, out in pool.map(job, tasks):
            found.setdefault((kind, count), {}).setdefault(tested, []).append((rows, out))
    labels, first = table["unit_labels"], table["unit_rows"][np.r_[0, table["unit_ends"][:-1]]]
    unit_work = work_of[first]

    def units(answers, width):
        full = np.full((len(work_of), width), np.nan)
        for rows, out in answers:
            full[rows] = out.reshape(len(rows), -1)
        return of_units(table, full)

    print("works seen  " + "  ".join(f"{kind:>11s}" for kind in KINDS) + "   (F1; relation: share right)")
    for count in range(1, len(labelled)):
        line = []
        for kind in KINDS:
            of = found[kind, count]
            values = []
            for at in range(max(map(len, of.values()))):
                z = units([runs[at % len(runs)] for runs in of.values()], 3 if kind == "relation" else 1)
                if kind == "relation":
                    known = labels[:, 4] >= 0
                    values.append((z.argmax(1) == labels[:, 4])[known].mean())
                    continue
                p, target, said = sigmoid(z[:, 0]), labels[:, 3] == FINE[kind], np.zeros(len(labels), bool)
                for work in labelled:
                    here = unit_work == work
                    said[here] = p[here] >= cut_of(target[~here], p[~here])
                values.append(f1(target, said))
            line.append(f"{np.mean(values):11.3f}")
        print(f"{count:10d}  " + "  ".join(line), flush=True)


if __name__ == "__main__":
    main()
