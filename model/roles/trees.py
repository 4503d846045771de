"""Boosted trees beside the network: the three groups, finer roles, the relation inside a layer, and the lead.

A tree reads a row's numbers, their means over the bars around and what sets the row off from the others of its bar
(`inputs`; the program's twin is crates/texture/src/learned/shapes.rs).
"""
import lightgbm
import numpy as np

WINDOWS = (1, 4)
FINE = {"arp": 7, "scale": 8, "repeat_note": 4, "sparse": 9}
BASE = dict(verbosity=-1, num_threads=1, max_bin=63, learning_rate=0.06, num_leaves=15, extra_trees=True, deterministic=True, force_row_wise=True)
GROUP = {**BASE, "objective": "binary", "lambda_l2": 50, "min_data_in_leaf": 200, "feature_fraction": 0.12}
KIND = {**BASE, "objective": "binary", "lambda_l2": 30, "min_data_in_leaf": 60, "feature_fraction": 0.2}
HOW = {**KIND, "objective": "multiclass", "num_class": 3}
LEAD = {**BASE, "objective": "rank_xendcg", "lambda_l2": 30, "min_data_in_leaf": 100, "feature_fraction": 0.15}
ROUNDS = dict(group=250, fine=180, relation=150, lead=250)
SEEDS = dict(group=1, fine=2, relation=1, lead=1)  # forests grown for one answer, which is their mean
# What tells of the orchestra and the stretch more than of the part: six works are too few to learn it from, so the finer roles never see it.
OF_ALL = ["n_parts", "n_parts_pct", "n_strings", "n_woodwind", "n_brass", "n_lines", "n_layers", "fn_family", "b_dens", "pc_n", "active_share", "since", "until",
          "runlen", "second"]
LE_WEIGHT = 0.3  # of the rows of Le et al. beside those of S3 in the trees of the groups


def inputs(table):
    """`[row][4 * numbers]`: own, mean over a bar to either side, over four, less the bar's mean. Undefined is NaN."""
    tokens, values = table["tokens"], table["values"]
    width = values.shape[1]
    out = np.full((len(values), width * (2 + len(WINDOWS))), np.nan, np.float32)
    out[:, :width] = values
    with np.errstate(all="ignore"):
        for piece in np.unique(tokens[:, 0]):
            rows = np.flatnonzero(tokens[:, 0] == piece)
            parts, bars = tokens[rows, 1].max() + 1, tokens[rows, 2].max() + 1
            reach = max(WINDOWS)
            grid = np.full((parts, bars + 2 * reach, width), np.nan)
            grid[tokens[rows, 1], tokens[rows, 2] + reach] = values[rows]
            for at, window in enumerate(WINDOWS):
                total, count = np.zeros((parts, bars, width)), np.zeros((parts, bars, width))
                for shift in range(-window, window + 1):
                    part = grid[:, reach + shift : reach + shift + bars]
                    known = ~np.isnan(part)
                    total += np.where(known, part, 0)
                    count += known
                out[rows, width * (1 + at) : width * (2 + at)] = (total / count)[tokens[rows, 1], tokens[rows, 2]]
            total, count = np.zeros((bars, width)), np.zeros((bars, width))
            for part in range(parts):
                here = grid[part, reach : reach + bars]
                known = ~np.isnan(here)
                total += np.where(known, here, 0)
                count += known
            out[rows, -width:] = values[rows] - (total / count)[tokens[rows, 2]]
    return out


def balanced(works):
    """Weights that make every work count the same."""
    names, at, count = np.unique(works, return_inverse=True, return_counts=True)
    return (len(works) / len(names) / count)[at]


HABIT = 0.5  # of a movement's habit that is taken for the annotator's rather than the music's
SEEN = 20  # units as which a movement's habit counts beside that of all


def habits(labels, at, pieces):
    """What to begin with in the logits of group `at`: by how much a movement's annotator writes it more often than those of the others, in units
    with melody and without apart. Forests learn what is over; their answers leave it out."""
    logit = lambda p: np.log(p / (1 - p))
    out, beside = np.zeros(len(labels)), labels[:, 0] * (at > 0)
    for value in np.unique(beside):
        among = beside == value
        usual = np.clip(labels[among, at].mean(), 0.01, 0.99)
        own = {p: logit((labels[among & (pieces == p), at].mean() * SEEN + usual) / (SEEN + 1)) for p in np.unique(pieces[among])}
        middle = np.mean(list(own.values()))
        for p, value in own.items():
            out[among & (pieces == p)] = HABIT * (np.clip(value, -4, 4) - np.clip(middle, -4, 4))
    return out


def grow(parameters, data, rounds, seeds):
    """The first with the library's own seeds."""
    return [lightgbm.train({**parameters, **({"seed": seed} if seed else {})}, data, rounds) for seed in range(seeds)]


def fit(kind, table, x, left_out):
    """The boosters of `kind` (mel, rhythm, harm, a finer role, relation, lead) that never saw the works left out; their mean answers."""
    works = table["works"][table["tokens"][:, 0]]
    inside = ~np.isin(works, left_out) & ~table["repeated"]
    groups, fine, lead = table["groups"], table["fine"], table["lead"]
    column = lambda rows, habit: np.column_stack([x[rows], np.full(rows.sum(), habit, np.float32)])
    if kind in ("mel", "rhythm", "harm"):
        at = ("mel", "rhythm", "harm").index(kind)
        a, b = inside & (groups[:, 0] >= 0), inside & (fine[:, 0] >= 0)
        wa, wb = balanced(works[a]), balanced(works[b])
        wb = wb * LE_WEIGHT * wa.sum() / wb.sum()
        data = np.vstack([column(a, 0), column(b, 1)])
        target, weight = np.r_[groups[a, at], fine[b, at]], np.r_[wa, wb]
        pieces = table["tokens"][:, 0]
        begin = np.r_[habits(groups[a], at, pieces[a]), habits(fine[b, :3], at, pieces[b])]
        return grow(GROUP, lightgbm.Dataset(data, target, weight=weight, init_score=begin), ROUNDS["group"], SEEDS["group"])
    if kind in FINE:
        rows = inside & (fine[:, 0] >= 0)
        data = column(rows, 1)
        width = len(table["names"])
        hidden = [list(table["names"]).index(name) for name in OF_ALL]
        data[:, [at + width * block for block in range(data.shape[1] // width) for at in hidden]] = np.nan
        data = lightgbm.Dataset(data, fine[rows, 3] == FINE[kind], weight=balanced(works[rows]))
        return grow(KIND, data, ROUNDS["fine"], SEEDS["fine"])
    if kind == "relation":
        rows = inside & (fine[:, 4] >= 0)
        data = lightgbm.Dataset(column(rows, 1), fine[rows, 4], weight=balanced(works[rows]))
        return grow(HOW, data, ROUNDS["relation"], SEEDS["relation"])
    assert kind == "lead"
    rows = np.flatnonzero(inside & (lead[:, 0] >= 0))
    key = table["tokens"][rows, 0] * 100_000 + table["tokens"][rows, 2]
    _, at, count = np.unique(key, return_inverse=True, return_counts=True)
    some = np.bincount(at, lead[rows, 0])[at] > 0.3
    rows, at = rows[some], at[some]
    size = np.bincount(at)
    label = np.round(2 * lead[rows, 0] + lead[rows, 1]).astype(int)
    data = lightgbm.Dataset(np.column_stack([x[rows], np.ones(len(rows), np.float32)]), label, weight=balanced(works[rows]), group=size[size > 0])
    return grow(LEAD, data, ROUNDS["lead"], SEEDS["lead"])


def raw(boosters, x, habit):
    """Raw answers, `[row]` or `[row][class]`."""
    x = np.column_stack([x, np.full(len(x), habit, np.float32)])
    return np.mean([booster.predict(x, raw_score=True, num_threads=1) for booster in boosters], 0)


def packed(boosters, classes=1):
    """Trees of all boosters as bytes: a count (u32), then a tree: splits (u8); a split: input (u16), threshold (f32), left and right (i8: a split, or
    -1 - leaf), undefined goes left (u8); then leaves (f32). A value not above the threshold goes left."""
    out, count = [], 0
    for tree in (tree for booster in boosters for tree in booster.dump_model()["tree_info"]):
        splits, leaves = [], []

        def walk(node):
            if "split_index" not in node:
                leaves.append(np.float32(node["leaf_value"] / len(boosters)))
                return -len(leaves)
            at = len(splits)
            splits.append(None)
            assert node["decision_type"] == "<=" and node["missing_type"] in ("NaN", "None")
            # Inputs are f32: rounding the threshold down to f32 changes no decision.
            threshold = np.float32(min(node["threshold"], float(np.finfo(np.float32).max)))
            if float(threshold) > node["threshold"]:
                threshold = np.nextafter(threshold, np.float32(-np.inf))
            left, right = walk(node["left_child"]), walk(node["right_child"])
            lost = node["default_left"] if node["missing_type"] == "NaN" else 0.0 <= node["threshold"]
            splits[at] = (node["split_feature"], threshold, left, right, lost)
            return at

        walk(tree["tree_structure"])
        out.append(np.uint8(len(splits)).tobytes())
        for feature, threshold, left, right, lost in splits:
            out.append(np.array(feature, "<u2").tobytes() + np.array(threshold, "<f4").tobytes() + np.array([left, right], "i1").tobytes() + bytes([int(lost)]))
        out.append(np.array(leaves, "<f4").tobytes())
        count += 1
    assert count % classes == 0
    return np.array(count, "<u4").tobytes() + b"".join(out)
