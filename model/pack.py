"""Packs trained networks into crates/texture/data/roles.model (form: README.md). Standard library only.

    python3 model/pack.py [--networks N]

Reads research/roles/manifest.json and weights.f16; N networks of the four trained are kept (all by default).
"""
import argparse
import json
import pathlib

ROOT = pathlib.Path(__file__).resolve().parent.parent
# Cut on the raw probability (mean of F1-best and kappa-best), slope and shift of Platt's logistic: all from models that
# never saw the symphony they are fitted on (research/roles/INPUTS.md).
DECISIONS = {"melody": (0.355, 1.115, 0.238), "rhythm": (0.495, 0.950, 0.023), "harmony": (0.445, 1.037, -0.203)}
# A keyword of the program's language is no name for a column.
RENAMED = {"fn": "fn_family"}


def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--networks", type=int, default=4)
    networks = args.parse_args().networks
    source = ROOT / "research" / "roles"
    manifest = json.loads((source / "manifest.json").read_text())
    weights = (source / "weights.f16").read_bytes()
    if not 1 <= networks <= manifest["seeds"]:
        raise SystemExit(f"--networks must be 1 to {manifest['seeds']}")
    each = len(weights) // manifest["seeds"]
    lines = [f"ripieno roles 1, networks: {networks}"]
    lines += [f"{name} {a} {b} {c}" for name, (a, b, c) in DECISIONS.items()]
    columns = zip(manifest["feature_names"], manifest["feature_mean"], manifest["feature_sd"])
    lines += [f"{RENAMED.get(name, name)} {mean!r} {sd!r}" for name, mean, sd in columns]
    out = ROOT / "crates" / "texture" / "data" / "roles.model"
    out.parent.mkdir(exist_ok=True)
    out.write_bytes("\n".join(lines).encode() + b"\n\n" + weights[: each * networks])
    print(f"{out}: {out.stat().st_size} bytes")


if __name__ == "__main__":
    main()
