"""What each group of numbers, each collection and each task brings: S3, a symphony left out in turn, as in figures.py.

    python3 model/roles/ablate.py [--workers N] [--networks 2]

A network and trees that lack one thing at a time; network and trees are judged alone and together (half and half). Networks are fitted for the
three symphonies and for their pairs, from which cuts come; a mean of `networks` seeds.
"""
import argparse
import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np

import fit
import figures
from fit import BE, DV, FOLDS, KINDS, MO, NUMBERS, PAIRS
from table import WORK

RETURNS = ["rh_", "ct_", "pk_", "th_"]
FIGURE = ["arp", "chord", "dens", "first_pos", "held_in", "ioi_", "iv_ent", "last_gap", "leap", "legato", "maxdur", "maxleap", "mdur", "n_ioi", "n_on", "n_pc", "n_pitch",
          "net", "offbeat", "on_start", "onbeat", "osc", "p_ent", "range", "rep", "run", "same_ioi", "step", "sync", "third", "turns"]
PLACE = ["frank", "hi_", "lo_", "own_pos", "pitch", "rank_"]
TONES = ["pc_", "samepc", "uni_n"]
COMPANY = ["bass_dbl", "dbl", "dens_max", "dens_r", "dur_rel", "ens_cov", "ioi_rel", "ivent_rank", "layer_", "line_", "mate_", "np_rank", "only_moving", "par", "rng_rank",
           "same_rh", "str_dbl", "sync_m", "uniq", "xinst"]
CROWD = ["fn_family", "n_brass", "n_parts", "n_strings", "n_woodwind", "n_layers", "n_lines", "b_dens", "active_share", "since", "until", "runlen", "second", "cover"]
SHAPES = "exact figures"
GROUPS = {"returns of figures": RETURNS, "the figure itself": FIGURE, "place among the others": PLACE, "chord tones": TONES, "company and doublings": COMPANY,
          "size and stay": CROWD}
WITHOUT = ["", *GROUPS, SHAPES, "bars around (trees)", "relations (network)", "Le et al.", "Hauptstimme", "self-supervision"]


def columns(names, lacking):
    """Numbers of a group, by the longest beginning that fits."""
    def group(name):
        fits = [(len(start), title) for title, starts in GROUPS.items() for start in starts if name.startswith(start)]
        return max(fits)[1] if fits else None

    if lacking == SHAPES:
        return list(range(NUMBERS, len(names)))
    return [at for at, name in enumerate(names[:NUMBERS]) if group(name) == lacking]


def network_job(job):
    import network

    lacking, left_out, seed = job
    table = dict(fit.STATE["table"])
    key = ("music", lacking)
    if key not in fit.STATE:
        values = fit.scaled(table)[2].copy()
        values[:, [at for at in columns(list(table["names"]), lacking) if at < NUMBERS]] = 0
        if lacking == "Le et al.":
            table["fine"] = np.full_like(table["fine"], -1)
        if lacking == "Hauptstimme":
            table["lead"] = np.full_like(table["lead"], -1)
        if lacking.startswith("relations"):
            table["relations"] = np.zeros_like(table["relations"])
        fit.STATE[key] = network.Music(table, values, fit.STATE["music"].device), table
    network.MASKED = 0 if lacking == "self-supervision" else 0.12
    music, table = fit.STATE[key]
    net = network.train(table, music, left_out, seed)
    pieces = [p for p, work in enumerate(table["works"]) if work in left_out and (table["groups"][table["tokens"][:, 0] == p, 0] >= 0).any()]
    rows, logits = network.answer(net, music, pieces)
    habit = 0 if lacking == "Le et al." else figures.SECOND_HABIT
    return lacking, tuple(left_out), rows, ((1 - habit) * logits[:, :3] + habit * logits[:, 3:6]).astype(np.float32)


def tree_job(job):
    import trees

    usual = fit.STATE.setdefault("weight of Le", trees.LE_WEIGHT)
    lacking, left_out, kind = job
    table, x = dict(fit.STATE["table"]), fit.STATE["x"]
    width = len(table["names"])
    hidden = [at + width * block for block in range(4) for at in columns(list(table["names"]), lacking)]
    if lacking.startswith("bars around"):
        hidden = list(range(width, 3 * width))
    trees.LE_WEIGHT = 1e-9 if lacking == "Le et al." else usual
    x = np.array(x)
    x[:, hidden] = np.nan
    boosters = trees.fit(kind, table, x, left_out)
    rows = np.flatnonzero(np.isin(table["works"][table["tokens"][:, 0]], left_out) & (table["groups"][:, 0] >= 0))
    return lacking, tuple(left_out), kind, rows, trees.raw(boosters, x[rows], 0)


def judge(table, works, brass, answers, name):
    """`answers[left out] -> rows, logits`; cuts of a symphony from what models said of the two others that saw neither."""
    told, gold, where = [], [], []
    for symphony in (BE, MO, DV):
        inner = []
        for pair in map(tuple, PAIRS):
            if symphony in pair:
                rows, z = answers[pair]
                keep = (works[rows] != symphony) & ~table["repeated"][rows]
                inner.append((rows[keep], z[keep]))
        rows, z = (np.concatenate([part[i] for part in inner]) for i in (0, 1))
        cut = figures.cuts(z, table["groups"][rows] > 0, works[rows])
        rows, z = answers[(symphony,)]
        fresh = ~table["repeated"][rows]
        told.append(figures.sigmoid(z[fresh]) >= cut)
        gold.append(table["groups"][rows[fresh]] > 0)
        where.append(brass[rows[fresh]])
    f = [[figures.f1(y[:, i], p[:, i]) for i in range(3)] for y, p in zip(gold, told)]
    k = np.mean([[figures.kappa(y[:, i], p[:, i]) for i in range(3)] for y, p in zip(gold, told)], 0)
    b = np.mean([[figures.f1(y[w, i], p[w, i]) for i in range(3)] for y, p, w in zip(gold, told, where)])
    print(f"{name:44s} macro {np.mean(f):.3f}  kappa {' '.join(f'{v:.3f}' for v in k)}  brass {b:.3f}", flush=True)


def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--workers", type=int, default=os.cpu_count())
    args.add_argument("--networks", type=int, default=2)
    args = args.parse_args()
    import trees

    table = fit.load()
    np.save(WORK / "tree_inputs.npy", trees.inputs(table))
    works, brass = table["works"][table["tokens"][:, 0]], table["facts"][:, 0] == 1
    folds, context = [*FOLDS[:3], *PAIRS], get_context("spawn")
    of_network, of_trees = {}, {}
    jobs = [(lacking, fold, seed) for lacking in WITHOUT if lacking not in (SHAPES, "bars around (trees)") for seed in range(args.networks) for fold in folds]
    with ProcessPoolExecutor(min(args.workers, 12), context, fit.prepare, (False,)) as pool:
        for lacking, fold, rows, z in pool.map(network_job, jobs):
            seen = of_network.setdefault(lacking, {})
            seen[fold] = (rows, seen[fold][1] + z / args.networks if fold in seen else z / args.networks)
    jobs = [(lacking, fold, kind) for lacking in WITHOUT if lacking not in ("relations (network)", "Hauptstimme", "self-supervision") for fold in folds for kind in KINDS[:3]]
    with ProcessPoolExecutor(args.workers, context, fit.prepare, (True,)) as pool:
        for lacking, fold, kind, rows, z in pool.map(tree_job, jobs):
            of_trees.setdefault(lacking, {}).setdefault(fold, {})[kind] = (rows, z)
    for lacking in WITHOUT:
        name = f"without {lacking}" if lacking else "all"
        network, forest = of_network.get(lacking, of_network[""]), of_trees.get(lacking, of_trees[""])
        alone, grown, both = {}, {}, {}
        for fold in map(tuple, folds):
            rows, z = network[fold]
            z = figures.smooth(table, z.astype(float), figures.SMOOTH, rows)
            at = np.full(len(works), -1)
            at[rows] = np.arange(len(rows))
            there = forest[fold]["mel"][0]
            there = there[at[there] >= 0]
            keep = np.isin(forest[fold]["mel"][0], there)
            alone[fold] = there, z[at[there]]
            grown[fold] = there, np.column_stack([forest[fold][kind][1][keep] for kind in KINDS[:3]])
            both[fold] = there, 0.5 * alone[fold][1] + 0.5 * grown[fold][1]
        if lacking in of_network:
            judge(table, works, brass, alone, f"{name}, network")
        if lacking in of_trees:
            judge(table, works, brass, grown, f"{name}, trees")
        judge(table, works, brass, both, f"{name}, both")


if __name__ == "__main__":
    main()
