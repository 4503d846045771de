"""Lays the chord labels over the rows of the program; one file for training.

    python model/harmony/dataset.py FEATURES MIDI LABELS UNLABELLED OUT.npz [CORPUS]

FEATURES holds NAME.harmony from the example `harmony_features` for each MIDI/NAME.mid, LABELS NAME.csv; UNLABELLED holds NAME.harmony of scores without labels, on which
the network also learns. FEATURES may hold NAME~K.harmony of the variants of variants.py too, CORPUS the NAME.spans and NAME.harmony of corpus.py's pieces. OUT has `NAME/x` (half precision, a row a unit), `NAME/y` (root, quality, inversion, tonic, minor, share of the notes
that belong to the labelled chord of 100, crotchets of the unit that carry the label; -1 without label), `NAME~K/x`, `related/NAME/x`, `related/NAME/y` and `unlabelled/NAME`.
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


def related(folder):
    """Rows and targets of the pieces of corpus.py."""
    for path in sorted(Path(folder).glob("*.spans")):
        data, notes = rows(path.with_suffix(".harmony")), align.notes(path.with_suffix(".mid"))
        numbers = [line.split() for line in path.read_text().splitlines()]
        spans = [(float(on), float(off), *map(int, rest)) for on, off, *rest in numbers]
        yield path.stem, data[:, 2:].astype("f2"), targets(data[:, :2], spans, align.fits(spans, notes))


def main(features, midi, truth, unlabelled, out, corpus=None):
    table = {}
    for path in sorted(Path(truth).glob("*.csv")):
        name = path.stem
        if name.endswith("_form"):
            continue
        data, notes = rows(Path(features) / f"{name}.harmony"), align.notes(Path(midi) / f"{name}.mid")
        spans = align.aligned(labels.read(path), notes)
        table[f"{name}/x"] = data[:, 2:].astype("f2")
        table[f"{name}/y"] = targets(data[:, :2], spans, align.fits(spans, notes))
        for path in sorted(Path(features).glob(f"{name}~*.harmony")):
            # Parts left out may end the piece early.
            varied = rows(path)[: len(data)]
            if not np.array_equal(varied[:, 0], data[: len(varied), 0]):
                sys.exit(f"{path}: not on the grid of {name}")
            table[f"{path.stem}/x"] = varied[:, 2:].astype("f2")
    for name, x, y in related(corpus) if corpus else ():
        table[f"related/{name}/x"], table[f"related/{name}/y"] = x, y
    for path in sorted(Path(unlabelled).glob("*.harmony")):
        table[f"unlabelled/{path.stem}"] = rows(path)[:, 2:].astype("f2")
    np.savez_compressed(out, **table)


if __name__ == "__main__":
    if len(sys.argv) not in (6, 7):
        sys.exit(__doc__)
    main(*sys.argv[1:])
