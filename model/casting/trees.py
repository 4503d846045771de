"""Boosted trees on pairs of a section and a strand, whose answers are averaged with the networks'. `trees.py TABLES.npz OUT THREADS WORK|none`"""
import sys, time

import lightgbm
import numpy as np

from tables import Tables, agreement

FAMILIES, MIDDLE = 5, 13  # flags with which the numbers of a group begin; the number that is the middle of its compass
PARAMETERS = dict(objective="cross_entropy", num_leaves=31, learning_rate=0.08, min_data_in_leaf=100, lambda_l2=20, feature_fraction=0.2, bagging_fraction=0.7, bagging_freq=1,
                  verbosity=-1, deterministic=True, force_row_wise=True, seed=1, max_bin=63)
ROUNDS = 260
AWAY = 0.3  # of the phrases are shown once more without one of their families


def rows_of(g, s, pairs, kinds, known):
    """A row for each pair: its group, its strand, itself, itself less the mean over the group's strands and over the strand's groups, who else plays, and the section."""
    ng, ns, _ = pairs.shape
    middle, family = g[:, MIDDLE], g[:, :FAMILIES].argmax(1)
    higher, kin = middle[None] > middle[:, None], family[:, None] == family[None]
    who = [np.full(ng, ng / 10), higher.sum(1) / ng, kin.sum(1) / ng, (kin & higher).sum(1), (kin & higher.T).sum(1)]
    who += [np.full(ng, (family == f).sum()) for f in (0, 1, 3)]
    of_group = np.concatenate([g, np.stack(who, 1), np.eye(known, dtype=np.float32)[kinds]], 1)
    parts = [np.repeat(of_group[:, None], ns, 1), np.repeat(s[None], ng, 0), pairs, pairs - pairs.mean(1, keepdims=True), pairs - pairs.mean(0, keepdims=True)]
    return np.concatenate(parts, 2).reshape(ng * ns, -1).astype(np.float32)


def phrase(tables, p):
    g, s = tables.groups[p["g0"] : p["g0"] + p["ng"]], tables.strands[p["s0"] : p["s0"] + p["ns"]]
    pairs = tables.pairs[p["p0"] : p["p0"] + p["ng"] * p["ns"]].reshape(p["ng"], p["ns"], -1)
    share = tables.share[p["p0"] : p["p0"] + p["ng"] * p["ns"]].reshape(p["ng"], p["ns"])
    return g, s, pairs, tables.kind_of[p["g0"] : p["g0"] + p["ng"]], tables.truth[p["g0"] : p["g0"] + p["ng"]], share


def main():
    path, out, threads, work = sys.argv[1:]
    tables, begun, draw = Tables.load(path), time.time(), np.random.default_rng(1)
    size = {w: sum(p["ng"] * p["ns"] for p in tables.phrases if p["work"] == w) for w in tables.works}
    x, target, weight, held, at = [], [], [], [], []
    for n, p in enumerate(tables.phrases):
        g, s, pairs, kinds, truth, share = phrase(tables, p)
        hard = (np.arange(p["ns"])[None] == truth[:, None]).astype(np.float32)
        if p["work"] == work:
            held.append(rows_of(g, s, pairs, kinds, len(tables.kinds)))
            at.append(n)
            continue
        shown = [(np.arange(p["ng"]), np.arange(p["ns"]))]
        if draw.random() < AWAY:
            family = g[:, :FAMILIES].argmax(1)
            kept = np.flatnonzero(family != draw.choice(family))
            left = np.unique(truth[kept][truth[kept] >= 0])
            if len(kept) > 1 and len(left) > 1:
                shown.append((kept, left))
        for kept, left in shown:
            x.append(rows_of(g[kept], s[left], pairs[np.ix_(kept, left)], kinds[kept], len(tables.kinds)))
            target.append((0.5 * hard + 0.5 * np.clip(share, 0, 1))[np.ix_(kept, left)].ravel())
            weight.append(np.full(len(kept) * len(left), size[p["work"]] ** -0.5))
    weight = np.concatenate(weight)
    data = lightgbm.Dataset(np.concatenate(x), np.concatenate(target), weight=weight / weight.mean())
    forest = lightgbm.train({**PARAMETERS, "num_threads": int(threads)}, data, ROUNDS)
    forest.save_model(out + ".txt")
    if at:
        logs = np.full(len(tables.pairs), np.nan, np.float32)
        for n, rows in zip(at, held):
            p = tables.phrases[n]
            logits = forest.predict(rows, raw_score=True, num_threads=1)
            shares = (1 / (1 + np.exp(-logits))).reshape(p["ng"], p["ns"])
            logs[p["p0"] : p["p0"] + p["ng"] * p["ns"]] = np.log(shares / shares.sum(1, keepdims=True)).ravel()
        right, count = agreement(tables, logs, at)
        print(f"{work}: {right.sum() / count.sum():.4f} of {count.sum()}, {time.time() - begun:.0f} s", flush=True)
        np.savez_compressed(out, logs=logs[np.isfinite(logs)].astype(np.float32), rows=np.flatnonzero(np.isfinite(logs)))


if __name__ == "__main__":
    main()
