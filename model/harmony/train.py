"""Trains the chord and key networks and the tables of the decoder; writes one model file.

    python model/harmony/train.py FEATURES MIDI LABELS OUT [--without be] [--seed 1]

FEATURES holds NAME.harmony from the example `harmony_features`, MIDI NAME.mid, LABELS NAME.csv. `--without be` leaves out every movement whose name begins so.
Both networks see the music turned so that each candidate root or tonic in turn lies on C; one set of weights serves all twelve.
"""
import argparse
from pathlib import Path

import numpy as np

import align
import labels

Q = len(labels.QUALITIES)
FACTS = 4


def load(features, midi, truth, name):
    data = (Path(features) / f"{name}.harmony").read_bytes()
    head, body = data.split(b"\n", 1)
    count, chord, key = map(int, head.split())
    rows = np.frombuffer(body, "<f4").reshape(count, 2 + chord + key)
    spans = align.aligned(labels.read(Path(truth) / f"{name}.csv"), align.notes(Path(midi) / f"{name}.mid"))
    fits = align.fits(spans, align.notes(Path(midi) / f"{name}.mid"))
    target = np.full((count, 5), -1)  # root, quality, tonic, minor, share of the notes that belong to the labelled chord, of 100
    at = 0
    for i, (on, off) in enumerate(rows[:, :2]):
        while at < len(spans) and spans[at][1] <= on:
            at += 1
        best, j = 0.0, at
        while j < len(spans) and spans[j][0] < off:
            overlap = min(off, spans[j][1]) - max(on, spans[j][0])
            if overlap > best + 1e-6:
                best, target[i] = overlap, (spans[j][2], spans[j][3], spans[j][5], spans[j][6], fits[j])
            j += 1
    return rows[:, 2 : 2 + chord], rows[:, 2 + chord :], target


def turns(blocks):
    """Index of each input after turning candidate `r` to C: [r][input]."""
    return np.array([[12 * b + (i + r) % 12 for b in range(blocks) for i in range(12)] for r in range(12)])


class Net:
    """inputs -> hidden (rectified) -> outputs, for each of twelve turns; softmax over all turns and outputs."""

    def __init__(self, inputs, facts, hidden, outputs, rng):
        self.blocks = (inputs - facts) // 12
        self.facts = facts
        self.turn = turns(self.blocks)
        if facts:
            tail = np.arange(inputs - facts, inputs)
            self.turn = np.hstack([self.turn, np.tile(tail, (12, 1))])
        self.p = [
            rng.normal(0, np.sqrt(2 / inputs), (inputs, hidden)).astype("f4"),
            np.zeros(hidden, "f4"),
            rng.normal(0, np.sqrt(1 / hidden), (hidden, outputs)).astype("f4"),
            np.zeros(outputs, "f4"),
        ]
        self.m = [np.zeros_like(p) for p in self.p]
        self.v = [np.zeros_like(p) for p in self.p]
        self.t = 0

    def logits(self, x, mask=None):
        turned = x[:, self.turn].reshape(-1, x.shape[1])
        hidden = np.maximum(turned @ self.p[0] + self.p[1], 0)
        if mask is not None:
            hidden *= mask
        return turned, hidden, (hidden @ self.p[2] + self.p[3]).reshape(len(x), -1)

    def predict(self, x):
        out = []
        for a in range(0, len(x), 2048):
            z = self.logits(x[a : a + 2048])[2]
            z = z - z.max(1, keepdims=True)
            out.append(z - np.log(np.exp(z).sum(1, keepdims=True)))
        return np.vstack(out)

    def step(self, x, y, w, rate, drop, decay, rng):
        x = x * (rng.random(x.shape, dtype="f4") > 0.08)
        mask = (rng.random((len(x) * 12, len(self.p[1])), dtype="f4") > drop) / np.float32(1 - drop)
        turned, hidden, z = self.logits(x, mask)
        z = np.exp(z - z.max(1, keepdims=True))
        z /= z.sum(1, keepdims=True)
        loss = -(w * np.log(z[np.arange(len(x)), y] + 1e-9)).sum() / w.sum()
        smooth = 0.05 / z.shape[1]
        z -= smooth
        z[np.arange(len(x)), y] -= 0.95
        z *= (w / w.sum())[:, None]
        g = z.reshape(len(x) * 12, -1)
        gh = (g @ self.p[2].T) * (hidden > 0) * mask
        grads = [turned.T @ gh, gh.sum(0), hidden.T @ g, g.sum(0)]
        self.t += 1
        for i, grad in enumerate(grads):
            self.m[i] = 0.9 * self.m[i] + 0.1 * grad
            self.v[i] = 0.999 * self.v[i] + 0.001 * grad**2
            m = self.m[i] / (1 - 0.9**self.t)
            v = self.v[i] / (1 - 0.999**self.t)
            self.p[i] -= rate * (m / (np.sqrt(v) + 1e-8) + decay * self.p[i] * (i % 2 == 0))
        return loss


def fit(x, y, w, facts, hidden, outputs, epochs, rng, batch=256, rate=2e-3, drop=0.3, decay=0.01):
    net = Net(x.shape[1], facts, hidden, outputs, rng)
    steps = epochs * (len(x) // batch)
    done = 0
    for _ in range(epochs):
        order = rng.permutation(len(x))
        for a in range(0, len(x) - batch + 1, batch):
            pick = order[a : a + batch]
            net.step(x[pick], y[pick], w[pick], rate * (1 - 0.95 * done / steps), drop, decay, rng)
            done += 1
    return net


def tables(targets):
    """Counts the decoder needs, smoothed: chord given key, chord after chord within a key, key after key."""
    first = np.full((2, 12, Q), 0.1)
    after = np.zeros((2, 12 * Q, 12 * Q))
    keys = np.full((2, 12, 2), 0.3)
    for t in targets:
        last = None
        for root, quality, tonic, minor, _ in t:
            if root < 0:
                last = None
                continue
            rel = (root - tonic) % 12
            first[minor, rel, quality] += 1
            if last is not None and last != (root, quality, tonic, minor):
                lr, lq, lt, lm = last
                if (lt, lm) == (tonic, minor):
                    after[minor, ((lr - lt) % 12) * Q + lq, rel * Q + quality] += 1
                else:
                    keys[lm, (tonic - lt) % 12, minor] += 1
            last = (root, quality, tonic, minor)
    # How much likelier the chord is in the key than anywhere.
    anywhere = first.sum((0, 1)) / first.sum() / 12
    first = np.log(first / first.sum((1, 2), keepdims=True) / anywhere)
    base = after.sum(1) + 0.5
    base /= base.sum(1, keepdims=True)
    after = (after + 8 * base[:, None, :]) / (after.sum(2, keepdims=True) + 8)
    keys = np.log(keys / keys.sum((1, 2), keepdims=True))
    return first, np.log(after), keys


def write(path, chord, key, tab, knobs):
    with open(path, "wb") as out:
        out.write(b"ripieno harmony 1\n")
        out.write((f"chord {chord.p[0].shape[0]} {chord.p[0].shape[1]} {Q}\n").encode())
        out.write((f"key {key.p[0].shape[0]} {key.p[0].shape[1]} 2\n").encode())
        for name, value in knobs.items():
            out.write(f"{name} {value:g}\n".encode())
        out.write(b"\n")
        for array in [*chord.p, *key.p, *tab]:
            out.write(np.ascontiguousarray(array, "<f4").tobytes())


KNOBS = {
    "chord_weight": 4.0,
    "key_weight": 0.2,
    "context_weight": 0.2,
    "after_weight": 0.5,
    "chord_change": 1.0,
    "off_beat": 1.0,
    "key_change": 14.0,
    "sure_slope": 0.78,
    "sure_shift": -0.01,
}


def names_of(truth):
    return sorted(p.stem for p in Path(truth).glob("*.csv") if not p.stem.endswith("_form"))


def dataset(args_features, midi, truth, names):
    return {n: load(args_features, midi, truth, n) for n in names}


# Labels whose chord has less than this share of the notes teach nothing.
FIT = 50


def train(data, seed=1, hidden=(64, 32), epochs=(6, 8), rates=(2e-3, 5e-3), fit_least=FIT, drop=0.4, **kw):
    rng = np.random.default_rng(seed)
    xs, ks, ts, ws = [], [], [], []
    for name, (chord, key, target) in sorted(data.items()):
        known = (target[:, 0] >= 0) & (target[:, 4] >= fit_least)
        xs.append(chord[known])
        ks.append(key[known])
        ts.append(target[known])
        # A long movement teaches more, but not in proportion.
        ws.append(np.full(known.sum(), known.sum() ** -0.5, "f4"))
    x, k, t, w = np.vstack(xs), np.vstack(ks), np.vstack(ts), np.concatenate(ws)
    w = (w / w.mean()).astype("f4")
    chord = fit(x, t[:, 0] * Q + t[:, 1], w, FACTS, hidden[0], Q, epochs[0], rng, drop=drop, rate=rates[0], **kw)
    key = fit(k, t[:, 2] * 2 + t[:, 3], w, 0, hidden[1], 2, epochs[1], rng, drop=drop, rate=rates[1], **kw)
    return chord, key, tables([d[2] for d in data.values()])


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("features"), ap.add_argument("midi"), ap.add_argument("labels"), ap.add_argument("out")
    ap.add_argument("--without", default="")
    ap.add_argument("--seed", type=int, default=1)
    a = ap.parse_args()
    names = [n for n in names_of(a.labels) if not a.without or not n.startswith(a.without)]
    write(a.out, *train(dataset(a.features, a.midi, a.labels, names), a.seed), KNOBS)


if __name__ == "__main__":
    main()
