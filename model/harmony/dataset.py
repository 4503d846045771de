"""Lays the chord labels over the rows of the program; one file for training.

    python model/harmony/dataset.py FEATURES MIDI LABELS UNLABELLED OUT.npz

FEATURES holds NAME.harmony from the example `harmony_features` for each MIDI/NAME.mid, LABELS NAME.csv; UNLABELLED holds NAME.harmony of scores without labels, on which
the network also learns. OUT has `NAME/x` (half precision, a row a unit), `NAME/y` (root, quality, inversion, tonic, minor, share of the notes
that belong to the labelled chord of 100, crotchets of the unit that carry the label; -1 without label) and `unlabelled/NAME`.
"""
import sys
from pathlib import Path

import numpy as np

import align
import labels


def rows(path):
    head, body = Path(path).read_bytes().split(b"\n", 1)
    count, width = map(int, head.split())
    return np.frombuffer(body, "<f4").reshape(count, 2 + width)


def targets(times, spans, fits):
    """For each unit the label that holds in most of it."""
    out = np.full((len(times), 7), -1, "f4")
    out[:, 6] = 0
    at = 0
    for unit, (on, off) in enumerate(times):
        while at < len(spans) and spans[at][1] <= on:
            at += 1
        best, label = 0.0, at
        while label < len(spans) and spans[label][0] < off:
            overlap = min(off, spans[label][1]) - max(on, spans[label][0])
            if overlap > best + 1e-6:
                best, out[unit] = overlap, (*spans[label][2:], fits[label], overlap)
            label += 1
    return out


def main(features, midi, truth, unlabelled, out):
    table = {}
    for path in sorted(Path(truth).glob("*.csv")):
        name = path.stem
        if name.endswith("_form"):
            continue
        data, notes = rows(Path(features) / f"{name}.harmony"), align.notes(Path(midi) / f"{name}.mid")
        spans = align.aligned(labels.read(path), notes)
        table[f"{name}/x"] = data[:, 2:].astype("f2")
        table[f"{name}/y"] = targets(data[:, :2], spans, align.fits(spans, notes))
    for path in sorted(Path(unlabelled).glob("*.harmony")):
        table[f"unlabelled/{path.stem}"] = rows(path)[:, 2:].astype("f2")
    np.savez_compressed(out, **table)


if __name__ == "__main__":
    if len(sys.argv) != 6:
        sys.exit(__doc__)
    main(*sys.argv[1:])
