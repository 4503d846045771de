"""Fits every network and tree: one for each fold and the ones that ship. `cargo xtask train roles` calls it, once for each `--only`.

What models say of the rows left out, and what ships, go to target/roles/networks.pkl.gz and trees.pkl.gz.
"""
import argparse
import gzip
import os
import pathlib
import pickle
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np

from table import WORK

BE, MO, DV = "Beethoven 9", "Mozart 41", "Dvorak 9"
# Works are left out together; every work of every collection is in one fold.
FOLDS = [
    [BE], [MO], [DV],
    ["Beethoven 1", "Bach_BWV.1048", "Bach_BWV.232"],
    ["Beethoven 3", "Beach_Op.32", "Bruckner_WAB.105"],
    ["Beethoven 5", "Brahms_Op.68", "Brahms_Op.45"],
    ["Beethoven 7", "Brahms_Op.90"],
]
# Two symphonies left out: cuts and calibration for the one come from what such models say of the other.
PAIRS = [[BE, MO], [BE, DV], [MO, DV]]
NUMBERS = 124  # of a row's numbers, those the network reads
KINDS = ["mel", "rhythm", "harm", "arp", "scale", "repeat_note", "sparse", "relation", "lead"]


def load():
    with np.load(WORK / "table.npz") as z:
        return {name: z[name] for name in z.files}


def scaled(table):
    """Mean and deviation of each number over all rows (no labels), and the network's inputs on a grid of 1/64."""
    values = table["values"][:, :NUMBERS]
    mean, deviation = np.zeros(NUMBERS, np.float32), np.full(NUMBERS, 1e-3, np.float32)
    defined = ~np.isnan(values).all(0)  # two columns never are
    mean[defined] = np.nanmean(values[:, defined], 0, dtype=np.float64)
    deviation[defined] += np.nanstd(values[:, defined], 0, dtype=np.float64)
    grid = np.round(np.clip((values - mean) / deviation, -5, 5) * 64) / 64
    return mean, deviation, np.nan_to_num(grid)


# With --quick: trees see one bar in so many and grow so often, networks take so many steps.
QUICK_BARS, QUICK_ROUNDS, QUICK_STEPS = 8, 10, 8

STATE = {}


def prepare(trees, quick=False):
    """Once in every worker."""
    STATE["table"] = load()
    if trees:
        if quick:
            import trees as forests

            STATE["table"]["repeated"] |= STATE["table"]["tokens"][:, 2] % QUICK_BARS != 0
            forests.ROUNDS.update(dict.fromkeys(forests.ROUNDS, QUICK_ROUNDS))
        STATE["x"] = np.load(WORK / "tree_inputs.npy", mmap_mode="r")
    else:
        import torch

        torch.set_num_threads(1)
        from network import Music

        STATE["music"] = Music(STATE["table"], scaled(STATE["table"])[2], "cuda" if torch.cuda.is_available() else "cpu")


def network_job(job):
    left_out, seed, steps = job
    import network

    table, music = STATE["table"], STATE["music"]
    net = network.train(table, music, left_out, seed, steps)
    pieces = [p for p, work in enumerate(table["works"]) if work in left_out]
    rows, logits = network.answer(net, music, pieces) if pieces else (np.zeros(0, int), np.zeros((0, 20)))
    return tuple(left_out), seed, rows, logits.astype(np.float32), None if left_out else network.weights(net)


def tree_job(job):
    left_out, kind = job
    import trees

    table, x = STATE["table"], STATE["x"]
    boosters = trees.fit(kind, table, x, left_out)
    if not left_out:
        return tuple(left_out), kind, None, trees.packed(boosters, 3 if kind == "relation" else 1)
    rows = np.flatnonzero(np.isin(table["works"][table["tokens"][:, 0]], left_out))
    if kind in KINDS[:3]:
        out = np.column_stack([trees.raw(boosters, x[rows], habit) for habit in (0, 1)])
    else:
        out = trees.raw(boosters, x[rows], 1)
    return tuple(left_out), kind, rows.astype(np.int32), out.astype(np.float32)


def main():
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("--networks", type=int, default=4, help="networks for each fold, with seeds 0, 1, ...")
    args.add_argument("--steps", type=int, default=500)
    args.add_argument("--workers", type=int, default=os.cpu_count())
    args.add_argument("--only", choices=["networks", "trees"], required=True)
    args.add_argument("--kinds", default=",".join(KINDS), help="which trees; the others stay as the file has them")
    args.add_argument("--quick", action="store_true", help="one short network a fold, ten trees from every eighth bar: to see that all goes through")
    args.add_argument("--out", help="instead of target/roles/networks.pkl.gz or trees.pkl.gz")
    args = args.parse_args()
    if args.quick:
        args.networks, args.steps = 1, QUICK_STEPS
    start, context = time.time(), get_context("spawn")
    path = pathlib.Path(args.out or WORK / f"{args.only}.pkl.gz")
    fits = dict(networks={}, weights=[], trees=[])
    say = lambda what: print(f"{time.time() - start:5.0f} s  {what}", file=sys.stderr, flush=True)
    if args.only == "trees":
        import trees

        np.save(WORK / "tree_inputs.npy", trees.inputs(load()))
        say("tree inputs")
        kinds = args.kinds.split(",")
        jobs = [(fold, kind) for kind in KINDS if kind in kinds for fold in [[], *FOLDS, *(PAIRS if kind in KINDS[:3] else [])]]
        # No S3 labels outside the first three folds are needed for the lead, no lead labels in two of them.
        jobs = [(fold, kind) for fold, kind in jobs if not (kind == "lead" and fold in ([MO], [DV])) and not (kind in KINDS[3:8] and fold == [DV])]
        with ProcessPoolExecutor(args.workers, context, prepare, (True, args.quick)) as pool:
            for done in pool.map(tree_job, jobs):
                fits["trees"].append(done)
        say(f"{len(jobs)} sets of trees")
        if set(kinds) != set(KINDS) and path.exists():
            with gzip.open(path) as file:
                fits["trees"] += [tree for tree in pickle.load(file)["trees"] if tree[1] not in kinds]
    else:
        jobs = [(fold, seed, args.steps) for seed in range(args.networks) for fold in [[], *FOLDS, *PAIRS]]
        with ProcessPoolExecutor(min(args.workers, 12), context, prepare, (False,)) as pool:
            for left_out, seed, rows, logits, weights in pool.map(network_job, jobs):
                if not left_out:
                    fits["weights"].append(weights)
                elif left_out in fits["networks"]:
                    fits["networks"][left_out][1] += logits / args.networks
                else:
                    fits["networks"][left_out] = [rows.astype(np.int32), logits / args.networks]
        say(f"{len(jobs)} networks")
    for fold in fits["networks"].values():
        fold[1] = fold[1].astype(np.float16)
    with gzip.open(path, "wb", 4) as file:
        pickle.dump(fits, file)


if __name__ == "__main__":
    main()
