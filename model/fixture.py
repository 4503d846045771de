"""Writes crates/texture/tests/learned/logits.txt: the reference forward pass (numpy) on made-up inputs, against which the program's is tested.

    python3 model/fixture.py
"""
import pathlib
import sys

import numpy as np

ROOT = pathlib.Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "research" / "roles"))
import forward  # noqa: E402

PARTS, BARS, FEATURES = 5, 7, 124


def main():
    part, bar = np.indices((PARTS, BARS))
    present = (part + bar) % 5 != 0
    token = bar * PARTS + part
    column = np.arange(FEATURES)
    features = ((token[..., None] * 37 + column * 101 + token[..., None] * column) % 641 - 320) / 64
    turn = iter(range(BARS))

    def relations(top, *_):
        b, n = next(turn), len(top)
        i, j, r = np.indices((n, n, 9))
        return ((b * 3 + i * 5 + j * 7 + r * 11) % 16 / 16).astype(np.float32)

    forward.relations = relations
    parts = np.arange(PARTS)
    blank = np.zeros((PARTS, BARS, 3, 48), np.uint8)
    out = forward.forward(features.astype(np.float32), blank, blank[:, :, 0], parts % 6, 1 + parts % 3, present)
    rows = np.concatenate([out["s3"], out["le"], out["hs"][..., None]], -1)
    path = ROOT / "crates" / "texture" / "tests" / "learned" / "logits.txt"
    path.parent.mkdir(parents=True, exist_ok=True)
    lines = [" ".join(f"{v:.7f}" for v in rows[p, b]) for b in range(BARS) for p in range(PARTS) if present[p, b]]
    path.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
