"""How well told themes agree with annotated ones.

    cargo run --release -p ripieno-texture --example themes_told -- SCORES/*.mxl > TOLD.csv
    python model/themes/score.py TOLD.csv SCORES [COVER]

SCORES holds NAME.mxl and NAME_annotations.csv (columns qstamp, label, part_num ...) of the Hauptstimme collection (Gotham and others): from which
point which part carries the main melody, and a label for its theme. A block lasts from one row to the next. Of all pairs of blocks in a
movement, those with the same label are to be found; a pair counts as found when one told theme covers at least COVER (.3) of each block in
the block's own part. Precision and recall are means over movements that have at least two labels and a pair to find; the pooled ones count pairs.
"""
import csv
import sys
from collections import defaultdict
from pathlib import Path


def blocks(path):
    rows = sorted(csv.DictReader(open(path)), key=lambda r: float(r["qstamp"]))
    ends = [float(r["qstamp"]) for r in rows[1:]] + [float(rows[-1]["qstamp"]) + 32]
    return [(float(r["qstamp"]), e, r["label"].strip("'"), int(r["part_num"])) for r, e in zip(rows, ends) if e > float(r["qstamp"])]


def told(path):
    out = defaultdict(lambda: defaultdict(list))
    for r in csv.DictReader(open(path)):
        out[r["piece"]][int(r["part"])].append((float(r["onset"]), float(r["end"]), int(r["theme"])))
    return out


def themes_of(block, spans, cover):
    on, off = block[:2]
    inside = defaultdict(list)
    for a, b, theme in spans:
        if a < off and b > on:
            inside[theme].append((max(a, on), min(b, off)))
    got = set()
    for theme, parts in inside.items():
        time, last = 0.0, on
        for a, b in sorted(parts):
            time += max(0.0, b - max(a, last))
            last = max(last, b)
        if time >= cover * (off - on):
            got.add(theme)
    return got


def score(piece, spans, scores, cover):
    bs = blocks(Path(scores) / f"{piece}_annotations.csv")
    sets = [themes_of(b, spans[b[3]], cover) for b in bs]
    tp = fp = fn = 0
    right, wrong = [0] * len(bs), [0] * len(bs)
    for i in range(len(bs)):
        for j in range(i):
            same, found = bs[i][2] == bs[j][2], bool(sets[i] & sets[j])
            tp += same and found
            fp += found and not same
            fn += same and not found
            for k in (i, j):
                right[k] += found and same
                wrong[k] += found and not same
    returning = [i for i, b in enumerate(bs) if sum(o[2] == b[2] for o in bs) > 1]
    linked = [i for i in range(len(bs)) if right[i] + wrong[i]]
    known = sum(right[i] > 0 for i in returning) / max(1, len(returning))
    sure = sum(right[i] >= wrong[i] for i in linked) / max(1, len(linked))
    return tp, fp, fn, len({b[2] for b in bs}), known, sure


def main():
    spans, scores = told(sys.argv[1]), sys.argv[2]
    cover = float(sys.argv[3]) if len(sys.argv) > 3 else 0.3
    rows = []
    for piece in sorted(spans):
        tp, fp, fn, labels, known, sure = score(piece, spans[piece], scores, cover)
        if labels > 1 and tp + fn:
            rows.append((piece, tp, fp, fn, known, sure))
            if len(sys.argv) > 4:
                print(f"{piece:24} precision {tp / max(1, tp + fp):.2f} recall {tp / (tp + fn):.2f} pairs {tp + fn}")
    p = sum(tp / max(1, tp + fp) for _, tp, fp, *_ in rows) / len(rows)
    r = sum(tp / (tp + fn) for _, tp, _, fn, *_ in rows) / len(rows)
    tp, fp, fn = (sum(x[i] for x in rows) for i in (1, 2, 3))
    print(f"{len(rows)} movements: precision {p:.3f} recall {r:.3f}; pooled {tp / max(1, tp + fp):.3f} {tp / (tp + fn):.3f}")
    known, sure = (sum(x[i] for x in rows) / len(rows) for i in (4, 5))
    print(f"returning blocks linked with another of their label {known:.3f}; linked blocks with at least half of their links right {sure:.3f}")


if __name__ == "__main__":
    main()
