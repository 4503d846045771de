"""Packs what `fit.py` fitted on all works, with cuts and calibration from the folds, into crates/texture/data/roles.model (form: ../README.md)."""
import numpy as np

import figures
from fit import KINDS, NUMBERS, scaled
from table import MODEL

NAMES = {"mel": "melody", "rhythm": "rhythm", "harm": "harmony"}


def main():
    evidence = figures.Evidence()
    share, cuts, slopes = figures.shipped(evidence)
    kinds = figures.report_le(evidence)
    mean, deviation, _ = scaled(evidence.table)
    weights = evidence.fits["weights"]
    lines = [f"ripieno roles 2, networks: {len(weights)}"]
    lines += [f"{NAMES[k]} {cuts[i]:.4f} {slopes[i, 0]:.4f} {slopes[i, 1]:.4f}" for i, k in enumerate(figures.GROUPS)]
    lines += [f"share {share}"]
    lines += [f"{kind} {cut:.4f} {weight}" for kind, (weight, cut) in kinds.items()]
    lines += [f"{name} {float(m)!r} {float(d)!r}" for name, m, d in zip(evidence.table["names"][:NUMBERS], mean, deviation)]
    forests = {kind: packed for left_out, kind, _, packed in evidence.fits["trees"] if not left_out}
    body = b"".join(w.tobytes() for w in weights) + b"".join(forests[kind] for kind in KINDS if kind != "lead")
    MODEL.parent.mkdir(parents=True, exist_ok=True)
    MODEL.write_bytes("\n".join(lines).encode() + b"\n\n" + body)
    print(f"{MODEL}: {MODEL.stat().st_size} bytes")


if __name__ == "__main__":
    main()
