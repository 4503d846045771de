"""Shares of labelled time on which spans agree with labels. A span is (onset, offset, root, quality name, inversion, tonic, minor); None is unknown."""
import csv
from collections import defaultdict

from labels import QUALITIES

FIELDS = ("root", "quality", "inversion", "key", "all")


def read_spans(path):
    spans = defaultdict(list)
    whole = lambda text: int(text) if text != "" else None
    for row in csv.DictReader(open(path)):
        spans[row["piece"]].append(
            (float(row["onset"]), float(row["offset"]), whole(row["root"]), row["quality"] or None, whole(row["inversion"]), whole(row["key"]), whole(row["mode"]))
        )
    return spans


def pairs(truth, spans):
    """(time, label, span or None) for each overlap."""
    spans = sorted(spans, key=lambda s: s[0])
    at = 0
    for label in truth:
        while at < len(spans) and spans[at][1] <= label[0]:
            at += 1
        done, i = 0.0, at
        while i < len(spans) and spans[i][0] < label[1]:
            overlap = min(label[1], spans[i][1]) - max(label[0], spans[i][0])
            if overlap > 0:
                done += overlap
                yield overlap, label, spans[i]
            i += 1
        if label[1] - label[0] - done > 1e-6:
            yield label[1] - label[0] - done, label, None


def score(truth, spans):
    got, total = dict.fromkeys(FIELDS, 0.0), 0.0
    for time, label, span in pairs(truth, spans):
        total += time
        if span is None:
            continue
        root = span[2] == label[2]
        quality = root and span[3] == QUALITIES[label[3]]
        key = (span[5], span[6]) == (label[5], label[6])
        for field, right in zip(FIELDS, (root, quality, root and span[4] == label[4], key, quality and key)):
            got[field] += time * right
    return {f: got[f] / total for f in FIELDS}


def forgiving(truth, spans, margin=1.0):
    """As `score`, but within `margin` crotchets of a boundary between two labels the one beyond it is right as well: what is left is wrong by more than the
    place of a change."""
    got, total = dict.fromkeys(("root", "quality", "key"), 0.0), 0.0
    stretches = []
    for i, label in enumerate(truth):
        on, off = label[:2]
        beyond = [truth[k] if 0 <= k < len(truth) else None for k in (i - 1, i + 1)]
        cuts = sorted({on, min(off, on + margin), max(on, off - margin), off})
        for a, b in zip(cuts, cuts[1:]):
            near = ((beyond[0], b <= on + margin + 1e-6), (beyond[1], a >= off - margin - 1e-6))
            stretches.append((a, b, [label] + [other for other, close in near if other and close]))
    for time, (_, _, right), span in pairs(stretches, spans):
        total += time
        if span is not None:
            got["root"] += time * any(span[2] == label[2] for label in right)
            got["quality"] += time * any((span[2], span[3]) == (label[2], QUALITIES[label[3]]) for label in right)
            got["key"] += time * any((span[5], span[6]) == (label[5], label[6]) for label in right)
    return {field: got[field] / total for field in got}


def report(title, result, fields=FIELDS):
    by = defaultdict(list)
    for name, r in result.items():
        by[name[:2]].append(r)
    line = []
    for f in fields:
        each = {s: sum(r[f] for r in rs) / len(rs) for s, rs in by.items()}
        line.append(f"{f} {sum(each.values()) / len(each):.3f} (" + " ".join(f"{s} {v:.3f}" for s, v in each.items()) + ")")
    print(f"{title}: " + "; ".join(line), flush=True)
