"""Packs networks and trees into a model file (its form: README.md). `pack.py OUT TREES.txt STATE.npz ...`"""
import pathlib, sys

import lightgbm
import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "roles"))
from trees import packed  # of the roles

NORMS = ("before", "between")


def half(values):
    found = np.asarray(values, np.float32).astype("<f2")
    assert np.isfinite(found).all()
    return found.tobytes()


def network(state, blocks):
    linear = lambda name: half(state[name + ".weight"]) + (half(state[name + ".bias"]) if name + ".bias" in state else half(np.zeros(len(state[name + ".weight"]))))
    out = linear("of_group") + linear("of_strand") + linear("of_pair") + half(state["kind.weight"])
    for at in range(blocks):
        for part in ("before", "ask", "give", "between", "wide", "narrow"):
            out += linear(f"blocks.{at}.{part}")
    out += linear("lean_down") + linear("lean_up") + linear("last") + linear("from_group") + linear("from_strand") + linear("from_pair")
    return out + half(state["score.weight"])


def main():
    out, trees, *states = sys.argv[1:]
    states = [dict(np.load(path)) for path in states]
    first = states[0]
    width, of_pair, heads, blocks = (int(value) for value in first["size"])
    numbers = [first[f"scale {at}"].shape[1] for at in range(3)]
    head = [f"ripieno casting 1, networks: {len(states)}", "size " + " ".join(map(str, [*numbers, width, of_pair, heads, blocks])), "kinds " + "|".join(first["kinds"])]
    body = b"".join(half(first[f"scale {at}"]) for at in range(3)) + b"".join(network(state, blocks) for state in states)
    body += packed([lightgbm.Booster(model_file=trees)])
    pathlib.Path(out).write_bytes("\n".join(head).encode() + b"\n\n" + body)


if __name__ == "__main__":
    main()
