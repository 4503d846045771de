"""The cross-validated figures of what `fit.py` fitted, and the cuts and calibration that ship.

Every choice for a fold (weight of network and trees, cuts, calibration) is made on what models said that never saw the fold.
"""
import gzip
import json
import pickle

import numpy as np

from fit import BE, DV, KINDS, MO, load
from table import WORK

GROUPS = ["mel", "rhythm", "harm"]
SECOND_HABIT, SMOOTH, SMOOTH_LEAD = 0.15, 0.6, 0.7
SHARES = (0.3, 0.4, 0.5, 0.6, 0.7)  # of the network beside the trees
LE_CUT = 0.4
FINE = {"arp": 7, "scale": 8, "repeat_note": 4, "sparse": 9}
sigmoid = lambda z: 1 / (1 + np.exp(-z))


def fits():
    """Out-of-fold answers: networks[left out][row][20], trees[left out, kind][row], NaN where a fold has none."""
    found = dict(networks={}, trees=[], weights=[])
    for name in ("networks", "trees"):
        with gzip.open(WORK / f"{name}.pkl.gz") as file:
            part = pickle.load(file)
        found["networks"].update(part["networks"])
        found["trees"] += part["trees"]
        found["weights"] += part["weights"]
    return found


def kappa(y, p):
    agree, chance = (y == p).mean(), y.mean() * p.mean() + (1 - y.mean()) * (1 - p.mean())
    return (agree - chance) / max(1 - chance, 1e-9)


def f1(y, p):
    return 2 * (y & p).sum() / max(y.sum() + p.sum(), 1)


def smooth(table, z, width, rows):
    """Weighs each row with the same part's rows around, by a bell cut at four widths."""
    tokens = table["tokens"][rows]
    key = (tokens[:, 0] * 1000 + tokens[:, 1]) * 100_000 + tokens[:, 2]
    order = np.argsort(key)
    keys = key[order]
    total, weights = np.zeros(z.shape), np.zeros(len(z))
    for shift in range(-int(4 * width + 0.5), int(4 * width + 0.5) + 1):
        at = np.searchsorted(keys, key + shift).clip(max=len(keys) - 1)
        found = keys[at] == key + shift
        w = np.exp(-0.5 * (shift / width) ** 2) * found
        total += z[order[at]] * w[:, None]
        weights += w
    return total / weights[:, None]


def leads(table, z, rows):
    """Natural logarithms of shares of the lead, which sum to one over the parts of a bar, smoothed along each part; `z` are the logits of `rows`."""
    tokens = table["tokens"][rows]
    _, bar = np.unique(tokens[:, 0] * 100_000 + tokens[:, 2], return_inverse=True)
    most = np.full(bar.max() + 1, -np.inf)
    np.maximum.at(most, bar, z)
    log = z - most[bar]
    log -= np.log(np.bincount(bar, np.exp(log)))[bar]
    return smooth(table, log[:, None], SMOOTH_LEAD, rows)[:, 0]


def cuts(z, y, works):
    """Halfway between the cut of best F1 and that of best kappa; works count the same."""
    out, grid = [], np.arange(0.2, 0.7, 0.02)
    for i in range(3):
        p = sigmoid(z[:, i])
        score = lambda judge: max(grid, key=lambda c: np.mean([judge(y[works == w, i], p[works == w] >= c) for w in np.unique(works)]))
        out.append((score(f1) + score(kappa)) / 2)
    return np.array(out)


def platt(z, y, weight):
    a, b = 1.0, 0.0
    for _ in range(30):
        p = sigmoid(a * z + b)
        g = np.array([(weight * (p - y) * z).sum(), (weight * (p - y)).sum()])
        r = weight * p * (1 - p)
        h = np.array([[(r * z * z).sum(), (r * z).sum()], [(r * z).sum(), r.sum()]]) + 1e-6 * np.eye(2)
        a, b = np.array([a, b]) - np.linalg.solve(h, g)
    return a, b


def brier_skill(y, p):
    return 1 - ((p - y) ** 2).mean() / (y.mean() * (1 - y.mean()))


def calibration_error(y, p):
    bins = np.minimum((p * 10).astype(int), 9)
    return sum(abs((p - y)[bins == b].sum()) for b in range(10)) / len(y)


def balance(works):
    names, at, count = np.unique(works, return_inverse=True, return_counts=True)
    return 1.0 / len(names) / count[at]


def line(name, y, p, brass):
    f = [f1(y[:, i], p[:, i]) for i in range(3)]
    k = [kappa(y[:, i], p[:, i]) for i in range(3)]
    b = [f1(y[brass, i], p[brass, i]) for i in range(3)]
    spell = lambda v: " ".join(f"{x:.3f}" for x in v)
    print(f"{name:42s} macro {np.mean(f):.4f}  F1 {spell(f)}  kappa {spell(k)}  brass {np.mean(b):.4f}  exact {(y == p).all(1).mean():.3f}")
    return np.mean(f), k, np.mean(b)


class Evidence:
    """What the models left out of each fold say."""

    def __init__(self):
        self.table, self.fits = load(), fits()
        self.works = self.table["works"][self.table["tokens"][:, 0]]
        self.brass = self.table["facts"][:, 0] == 1
        self.trees = {(left_out, kind): (rows, out) for left_out, kind, rows, out in self.fits["trees"] if left_out}

    def groups(self, left_out):
        """Rows of S3 and logits of network (smoothed) and trees."""
        rows, logits = self.fits["networks"][left_out]
        logits = logits.astype(float)
        z = (1 - SECOND_HABIT) * logits[:, :3] + SECOND_HABIT * logits[:, 3:6]
        z = smooth(self.table, z, SMOOTH, rows)
        at = np.full(len(self.works), -1)
        at[rows] = np.arange(len(rows))
        other = self.trees[left_out, "mel"][0]
        t = np.column_stack([self.trees[left_out, kind][1][:, 0] for kind in GROUPS])
        keep = (self.table["groups"][other, 0] >= 0) & (at[other] >= 0)
        return other[keep], z[at[other[keep]]], t[keep].astype(float)


def decide(inner, table, works, share=None, calibrate=None):
    """Share of the network, cuts, Platt slopes: chosen on `inner`, rows and logits of models that saw neither."""
    rows = np.concatenate([r for r, *_ in inner])
    n, t = (np.concatenate([part[i] for part in inner]) for i in (1, 2))
    fresh = ~table["repeated"][rows]
    rows, n, t = rows[fresh], n[fresh], t[fresh]
    y, w = table["groups"][rows] > 0, works[rows]
    weight = balance(w)[:, None]

    def loss(a):
        z = a * n + (1 - a) * t
        return (weight * (np.logaddexp(0, z) - y * z)).sum()

    share = min(SHARES, key=loss) if share is None else share
    z = share * n + (1 - share) * t
    slopes = np.array([platt(z[:, i], y[:, i], weight[:, 0] * len(z)) for i in range(3)])
    return share, cuts(z, y, w), slopes


def groups_of_s3(e, share=None):
    table, works, out = e.table, e.works, {}
    symphonies = [BE, MO, DV]
    pair = {frozenset(k): e.groups(k) for k in e.fits["networks"] if len(k) == 2 and set(k) <= set(symphonies)}
    for symphony in symphonies:
        inner = []
        for other in symphonies:
            if other != symphony:
                rows, n, t = pair[frozenset((symphony, other))]
                keep = works[rows] == other
                inner.append((rows[keep], n[keep], t[keep]))
        chosen, cut, slopes = decide(inner, table, works, share)
        rows, n, t = e.groups((symphony,))
        z = chosen * n + (1 - chosen) * t
        p = sigmoid(z)
        out[symphony] = (rows, z, p, p >= cut, sigmoid(z * slopes[:, 0] + slopes[:, 1]))
        print(f"{symphony}: network's share {chosen}, cuts {np.round(cut, 3)}, slopes {np.round(slopes, 3).tolist()}")
    return out


def report_s3(e, share=None):
    out = groups_of_s3(e, share)
    table, works = e.table, e.works
    rows = np.concatenate([o[0] for o in out.values()])
    parts = [np.concatenate([o[i] for o in out.values()]) for i in (1, 2, 3, 4)]
    y, fresh = table["groups"][rows] > 0, ~table["repeated"][rows]
    line("S3, pooled, all", y, parts[2], e.brass[rows])
    line("S3, pooled, repeats dropped", y[fresh], parts[2][fresh], e.brass[rows][fresh])
    every = []
    for symphony in out:
        m = fresh & (works[rows] == symphony)
        every.append(line(f"  {symphony}, repeats dropped", y[m], parts[2][m], e.brass[rows][m]))
    print(f"  mean over symphonies: macro {np.mean([x[0] for x in every]):.4f}, kappa {np.mean([x[1] for x in every], 0).round(3)}, brass {np.mean([x[2] for x in every]):.4f}")
    for name, p in (("as they come", parts[1]), ("Platt", parts[3])):
        for units, m in (("repeats dropped", fresh), ("all", fresh | True)):
            ece = [calibration_error(y[m, i], p[m, i]) for i in range(3)]
            skill = [brier_skill(y[m, i], p[m, i]) for i in range(3)]
            print(f"  calibration error {name}, {units}: {np.round(ece, 3)}, Brier skill {np.round(skill, 3)}")


def of_units(table, z):
    """Mean over the rows of each unit of Le et al.; NaN rows are left out of it."""
    ends = table["unit_ends"]
    begins = np.r_[0, ends[:-1]]
    return np.add.reduceat(z[table["unit_rows"]], begins) / (ends - begins)[:, None]


def le_logits(e):
    """Logits of each row by network and by trees, from models that left its work out: groups, finer roles, relation."""
    blank = lambda: dict(groups=np.full((len(e.works), 3), np.nan), fine=np.full((len(e.works), 4), np.nan), relation=np.full((len(e.works), 3), np.nan))
    network, trees = blank(), blank()
    log_softmax = lambda z: z - np.logaddexp.reduce(z, axis=1, keepdims=True)
    for left_out, (rows, logits) in e.fits["networks"].items():
        if (left_out, "arp") not in e.trees:
            continue
        logits = logits.astype(float)
        share = np.exp(log_softmax(logits[:, 6:16])).clip(1e-6, 1 - 1e-6)
        network["groups"][rows] = logits[:, 3:6]
        network["fine"][rows] = np.column_stack([np.log(share[:, at] / (1 - share[:, at])) for at in FINE.values()])
        network["relation"][rows] = log_softmax(logits[:, 16:19])
        for name, kinds in (("groups", GROUPS), ("fine", FINE)):
            for at, kind in enumerate(kinds):
                there, out = e.trees[left_out, kind]
                trees[name][there, at] = out[:, 1] if name == "groups" else out
        there, out = e.trees[left_out, "relation"]
        trees["relation"][there] = log_softmax(out.astype(float))
    return network, trees


FINE_SHARES, FINE_CUTS = (0.0, 0.3), sigmoid(np.arange(-4, 1.5, 0.05))
LEVEL = 0.02  # of F1: cuts as good as that count as equally good


def cut_of(target, p):
    """The middle, in logits, of the cuts whose F1 is the best or nearly so: the single best one changes with few units."""
    scores = np.array([f1(target, p >= c) for c in FINE_CUTS])
    good = FINE_CUTS[scores >= scores.max() - LEVEL][[0, -1]]
    return float(sigmoid(np.log(good / (1 - good)).mean()))


def best_kind(target, n, t):
    """Share of the network and cut: of the shares the one with the best F1 at its cut."""
    p = {share: sigmoid(share * n + (1 - share) * t) for share in FINE_SHARES}
    cuts = {share: cut_of(target, p[share]) for share in FINE_SHARES}
    share = max(FINE_SHARES, key=lambda share: f1(target, p[share] >= cuts[share]))
    return share, cuts[share]


def report_le(e, quiet=False):
    table = e.table
    network, trees = le_logits(e)
    network, trees = ({k: of_units(table, v) for k, v in source.items()} for source in (network, trees))
    labels, first = table["unit_labels"], table["unit_rows"][np.r_[0, table["unit_ends"][:-1]]]
    works, brass, y = e.works[first], e.brass[first], labels[:, :3] > 0
    for name, z in (("network and trees", 0.5 * network["groups"] + 0.5 * trees["groups"]), ("network", network["groups"]), ("trees", trees["groups"])):
        line(f"Le et al., groups, {name}", y, sigmoid(z) >= LE_CUT, brass)
    ships, spell = {}, lambda v: " ".join(f"{x:.2f}" for x in v)
    names = np.unique(works)
    print("  by work:", ", ".join(names))
    for at, kind in enumerate(FINE):
        target, said = labels[:, 3] == FINE[kind], np.zeros(len(labels), bool)
        n, t = network["fine"][:, at], trees["fine"][:, at]
        for work in names:
            other = works != work
            share, cut = best_kind(target[other], n[other], t[other])
            said[~other] = sigmoid(share * n[~other] + (1 - share) * t[~other]) >= cut
        ships[kind] = best_kind(target, n, t)
        p = sigmoid(ships[kind][0] * n + (1 - ships[kind][0]) * t)
        sure = " ".join(f"{c}: {target[p >= c].mean():.2f} of {(p >= c).sum()}" for c in (0.5, 0.7, 0.8))
        print(f"  {kind:12s} calibration error {calibration_error(target, p):.3f}, Brier skill {brier_skill(target, p):.2f}; right where told at least at {sure}")
        print(f"  {kind:12s} F1 {f1(target, said):.3f}  precision {(target & said).sum() / max(said.sum(), 1):.2f} recall {(target & said).sum() / target.sum():.2f}  by work {spell(f1(target[works == w], said[works == w]) for w in names)}  of {target.sum()}")
    related = labels[:, 4] >= 0
    for name, z in (("network", network["relation"]), ("trees", trees["relation"]), ("both", network["relation"] + trees["relation"])):
        right = z.argmax(1) == labels[:, 4]
        print(f"  relation by {name}: {right[related].mean():.3f}  by work {spell(right[related & (works == w)].mean() for w in names)}")
    told = trees["relation"].argmax(1)
    most, right = np.exp(trees["relation"]).max(1)[related], (told == labels[:, 4])[related]
    print("  relation, share of units as sure as that and right among them:", ", ".join(f"{c}: {(most >= c).mean():.2f} {right[most >= c].mean():.3f}" for c in (0.6, 0.7, 0.8)))
    print("  relation, annotated (down) against told, u h p:", [[int(((labels[:, 4] == a) & (told == b)).sum()) for b in range(3)] for a in range(3)])
    return ships


def shipped(e):
    """Share, cuts and slopes for the model that ships: from models that left out the symphony, all three together."""
    parts = [e.groups((symphony,)) for symphony in (BE, MO, DV)]
    return decide(parts, e.table, e.works)


def main():
    e = Evidence()
    report_s3(e)
    for name, share in (("network", 1.0), ("trees", 0.0)):
        print(f"{name} alone")
        report_s3(e, share)
    report_le(e)


if __name__ == "__main__":
    main()
