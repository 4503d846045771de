"""How far the relation of a layer follows from its notes when the annotators' own layers are given: an exact rule, and trees over facts of the layer.

    python3 model/roles/given.py

A layer of Le et al. in a bar: all parts it names. Facts: pitch classes struck together, octaves, thirds, motion, rhythm in common, over all pairs of its
voices. The rule calls it unison where a share of its moments has one pitch class, else parallel where a share of its motion is, else same rhythm; both shares, and
the trees, come from the other works.
"""
import collections
import csv

import lightgbm
import numpy as np

from table import DATA, FINE, RELATIONS, candidates, read_inputs, work_of

FACTS = ["parts", "voices", "one class", "classes", "one key", "moments", "octaves", "unisons", "least rhythm", "rhythm", "parallel", "contrary", "oblique", "thirds",
         "least octaves", "instruments", "two notes", "least parallel", "most classes", "together", "held in"]
LIMITS = [(one, parallel) for one in (0.5, 0.6, 0.7, 0.8, 0.9, 1.0) for parallel in (0.6, 0.7, 0.8, 0.9, 1.0, 1.1)]
TREES = dict(objective="multiclass", num_class=3, verbosity=-1, num_threads=1, learning_rate=0.05, num_leaves=15, extra_trees=True, lambda_l2=20, min_data_in_leaf=40,
             feature_fraction=0.3, deterministic=True)


def sounding(piece):
    """`(part, bar) -> notes (on, key)` that sound there."""
    found, starts = collections.defaultdict(list), piece["starts"]
    for part, on, off, key in piece["notes"].tolist():
        bar = int(np.searchsorted(starts, on, "right") - 1)
        while bar < len(starts) - 1 and starts[bar] < off:
            found[part, bar].append((on, key))
            bar += 1
    return found


def facts(start, cells, instruments):
    voices = []
    for cell in cells:
        at = collections.defaultdict(set)
        for on, key in cell:
            at[on].add(key)
        for rank in range(min(3, max(map(len, at.values())))):
            voices.append({on: sorted(keys, reverse=True)[min(rank, len(keys) - 1)] for on, keys in at.items()})
    keys, count = collections.defaultdict(set), collections.Counter()
    for voice in voices:
        for on, key in voice.items():
            keys[on].add(key)
            count[on] += 1
    classes = [len({key % 12 for key in at}) for at in keys.values()]
    octaves, unisons, rhythm, thirds, motions = [], [], [], [], []
    for i, a in enumerate(voices):
        for b in voices[:i]:
            common = sorted(set(a) & set(b))
            rhythm.append(len(common) / len(set(a) | set(b)))
            if common:
                between = np.array([a[t] - b[t] for t in common])
                octaves.append((between % 12 == 0).mean())
                unisons.append((between == 0).mean())
                thirds.append(np.isin(between % 12, (3, 4, 8, 9)).mean())
            moves = [(np.sign(a[y] - a[x]), np.sign(b[y] - b[x])) for x, y in zip(common, common[1:])]
            moves = [(x, y) for x, y in moves if x or y]
            if moves:
                motions.append([np.mean([x == y for x, y in moves]), np.mean([x * y < 0 for x, y in moves]), np.mean([x * y == 0 for x, y in moves])])
    of = lambda values, how=np.mean: how(values) if len(values) else np.nan
    motion = np.array(motions).reshape(-1, 3)
    return [len(cells), len(voices), np.mean(np.equal(classes, 1)), np.mean(classes), np.mean([len(at) == 1 for at in keys.values()]), len(keys), of(octaves), of(unisons),
            of(rhythm, np.min), of(rhythm), of(motion[:, 0]), of(motion[:, 1]), of(motion[:, 2]), of(thirds), of(octaves, np.min), instruments,
            np.mean([len(cell) > len({on for on, _ in cell}) for cell in cells]), of(motion[:, 0], np.min), max(classes),
            np.mean([count[on] / len(voices) for on in keys]), np.mean([min(on for on, _ in cell) < start for cell in cells])]


def layers():
    """Facts, relation, work, annotated parts and role of every layer with notes."""
    bars, of_score = collections.defaultdict(dict), {"mozart-symph41-k551-mvt1": "mo1"}
    for row in csv.DictReader(open(DATA / "texture" / "le_bar_to_score.csv")):
        bars[row["le_piece"]][int(row["le_bar"])] = int(row["hs_measure_index"]) - 1
        of_score[row["le_piece"]] = row["hs_piece"]
    gold = collections.defaultdict(list)
    for row in csv.DictReader(open(DATA / "texture" / "le_gold.csv")):
        if row["piece"] in of_score and row["role"] != "none":
            gold[row["piece"], int(row["bar"]), row["layer"], row["role"]].append(row)
    pieces = {stem: read_inputs(stem) for stem in of_score.values()}
    notes = {stem: sounding(piece) for stem, piece in pieces.items()}
    out = []
    for (le, bar, _, role), rows in gold.items():
        stem, relation = of_score[le], rows[0]["relation"].split("-")[0]
        at = bars[le].get(bar) if le in bars else (bar - 1 if bar <= 120 else bar + 119)
        if at is None or relation not in RELATIONS:
            continue
        parts = sorted({part for row in rows for part in candidates(pieces[stem]["names"], row["instrument_code"], row["divisi"], bar)})
        cells = [notes[stem][part, at] for part in parts if notes[stem].get((part, at))]
        if cells:
            start = pieces[stem]["starts"][at]
            out.append((facts(start, cells, len({row["instrument_code"] for row in rows})), RELATIONS.index(relation), work_of(stem), len(rows), FINE.index(role)))
    x, y, work, weight, role = zip(*out)
    return np.array(x), np.array(y), np.array(work), np.array(weight), np.eye(len(FINE))[list(role)]


def main():
    x, y, work, weight, role = layers()

    def rule(one, parallel):
        told = np.where(np.nan_to_num(x[:, FACTS.index("parallel")]) >= parallel, 2, 1)
        return np.where(x[:, FACTS.index("one class")] >= one, 0, told)

    right = lambda told, where=slice(None): (weight * (told == y))[where].sum() / weight[where].sum()
    told = {"exact rule": np.zeros(len(y), int), "trees over the facts": np.zeros(len(y), int), "and the annotated role": np.zeros(len(y), int)}
    for out in np.unique(work):
        here = work == out
        told["exact rule"][here] = rule(*max(LIMITS, key=lambda limits: right(rule(*limits), ~here)))[here]
        for name, inputs in (("trees over the facts", x), ("and the annotated role", np.column_stack([x, role]))):
            same = np.array([weight[work == name].sum() for name in work])
            data = lightgbm.Dataset(inputs[~here], y[~here], weight=(weight / same)[~here] * len(y))
            told[name][here] = lightgbm.train(TREES, data, 200).predict(inputs[here]).argmax(1)
    print(f"{len(y)} layers, {weight.sum()} annotated parts; share right, by work")
    for name, answer in told.items():
        print(f"{name:24s} {right(answer):.3f}  ", "  ".join(f"{w} {right(answer, work == w):.3f}" for w in np.unique(work)))


if __name__ == "__main__":
    main()
