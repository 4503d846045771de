"""Trains the networks and the decoder's tables; writes one model file.

    python model/harmony/train.py DATA.npz OUT.model [--without be] [--apart NAME ...] [--set width=96 ...]

DATA.npz comes from dataset.py. `--without be` leaves out every labelled movement whose name begins so; unlabelled scores whose names contain one of
`--apart` are left out too, those of the works that are scored. Three steps: the network learns to restore hidden units of all music it may see; then chord, bass,
key and change of chord from the labels; then, anew from the first step, from the labels together with its own answers on the unlabelled scores.
Every batch is turned to keys at random. Needs Torch; some minutes with a graphics processor.
"""
import argparse

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

import labels
from align import TONES, steady

Q = len(labels.QUALITIES)
BLOCKS, FACTS, TAPS = 6, 6, 5
INPUTS = 12 * BLOCKS + FACTS
LENGTH = 384
# Share of a chord's notes that its label must explain to teach anything.
FIT = 50
SETTINGS = {
    "width": 96, "layers": 1, "drop": 0.3, "rate": 0.003, "steps": 1200, "first": 1000, "batch": 16, "decay": 0.05, "lost": 0.08,
    "key": 0.7, "labelled": 1.5, "sure": 0.6, "seed": 1, "fit": FIT,
    # Shares of a batch beside the labelled movements' own 1: their variants with fewer parts; pieces of other kinds with labels.
    "varied": 0.0, "related": 0.0,
}  # fmt: skip
# The networks whose mean is shipped.
NETWORKS = [{"seed": 1, "steps": 800}, {"seed": 2}, {"seed": 3, "drop": 0.35}]
KNOBS = {
    "chord_weight": 1.0,
    "key_weight": 0.2,
    "context_weight": 0.2,
    "after_weight": 0.0,
    "chord_change": 0.1,
    "off_beat": 0.1,
    "key_change": 16.0,
    "sure_slope": 0.66,
    "sure_shift": -0.2,
}
DEVICE = "cuda" if torch.cuda.is_available() else "cpu"
# Which tone lies lowest in each quality and inversion.
LOWEST = torch.tensor([(t + t[-1:])[:4] for t in TONES], device=DEVICE)
TURN = torch.stack(
    [torch.cat([12 * b + (torch.arange(12) - r) % 12 for b in range(BLOCKS)] + [torch.arange(12 * BLOCKS, INPUTS)]) for r in range(12)]
).to(DEVICE)


class Net(nn.Module):
    """See crates/texture/src/harmony/network.rs; one input more tells which units are hidden."""

    def __init__(self, s):
        super().__init__()
        width = s["width"]
        self.taps = nn.Conv1d(INPUTS + 1, width, TAPS, padding=TAPS // 2)
        self.body = nn.GRU(width, width, s["layers"], batch_first=True, bidirectional=True, dropout=s["drop"] if s["layers"] > 1 else 0)
        self.drop = nn.Dropout(s["drop"])
        self.chord, self.key = nn.Linear(2 * width, 12 * Q), nn.Linear(2 * width, 24)
        self.bass, self.change, self.hidden = nn.Linear(2 * width, 12), nn.Linear(2 * width, 1), nn.Linear(2 * width, 36)

    def forward(self, x, hide=None):
        hide = torch.zeros_like(x[..., :1]) if hide is None else hide[..., None]
        x = torch.cat([x * (1 - hide), hide], -1)
        h = F.relu(self.taps(x.transpose(1, 2)).transpose(1, 2))
        return self.drop(self.body(self.drop(h))[0])


class Pool:
    """All pieces one after the other; a batch is stretches of them, each turned to a key at random."""

    def __init__(self, pieces, rng, weights=None):
        self.rng = rng
        gap_x, gap_y = torch.zeros(LENGTH, INPUTS), torch.full((LENGTH, 7), -1.0)
        self.x = torch.cat([part for x, _ in pieces for part in (x, gap_x)]).to(DEVICE)
        self.y = torch.cat([part for _, y in pieces for part in (y, gap_y)]).to(DEVICE)
        self.length = np.array([len(x) for x, _ in pieces])
        self.start = np.cumsum(np.append(0, self.length[:-1] + LENGTH))
        # A long movement teaches more, but not in proportion.
        share = self.length**0.5 * (1 if weights is None else weights)
        self.share = share / share.sum()

    def batch(self, size):
        piece = self.rng.choice(len(self.length), size, p=self.share)
        at = self.start[piece] + (self.rng.random(size) * np.maximum(1, self.length[piece] - LENGTH + 1)).astype(int)
        rows = torch.as_tensor(at, device=DEVICE)[:, None] + torch.arange(LENGTH, device=DEVICE)
        up = torch.as_tensor(self.rng.integers(0, 12, size), device=DEVICE)
        x = torch.gather(self.x[rows], 2, TURN[up][:, None].expand(size, LENGTH, INPUTS))
        y = self.y[rows]
        for column in (0, 3):
            y[..., column] = torch.where(y[..., 0] >= 0, (y[..., column] + up[:, None]) % 12, y[..., column])
        return x, y


def mean_of(loss, weight):
    return (loss * weight).sum() / weight.sum().clamp(min=1)


def spread(logs, answer, smooth=0.05):
    """Cross entropy, a little of it shared among all answers."""
    return -(1 - smooth) * logs.gather(-1, answer[..., None])[..., 0] - smooth * logs.mean(-1)


def loss_of(net, x, y, s):
    h = net(x)
    known = (y[..., 0] >= 0).float()
    good = known * (y[..., 5] >= s["fit"]).float()
    root, quality, inversion, tonic, minor = (y[..., i].long().clamp(min=0) for i in range(5))
    chord = F.log_softmax(net.chord(h), -1)
    loss = mean_of(spread(chord, root * Q + quality), good)
    roots = torch.logsumexp(chord.reshape(*chord.shape[:-1], 12, Q), -1)
    loss = loss + 0.5 * mean_of(spread(roots, root, 0.0), good)
    lowest = (root + LOWEST[quality, inversion.clamp(max=3)]) % 12
    loss = loss + 0.3 * mean_of(spread(F.log_softmax(net.bass(h), -1), lowest), good * (y[..., 2] >= 0).float())
    loss = loss + s["key"] * mean_of(spread(F.log_softmax(net.key(h), -1), tonic * 2 + minor), known)
    turns = torch.zeros_like(known)
    turns[:, 1:] = ((y[:, 1:, 0] != y[:, :-1, 0]) | (y[:, 1:, 1] != y[:, :-1, 1])).float()
    change = F.binary_cross_entropy_with_logits(net.change(h)[..., 0], turns, reduction="none")
    return loss + 0.3 * mean_of(change, known)


def restore(net, x):
    """How badly hidden units are restored: what sounds, the lowest, the highest."""
    hide = F.max_pool1d((torch.rand(len(x), 1, LENGTH, device=DEVICE) < 0.06).float(), 5, 1, 2)[:, 0]
    hide = hide * (torch.rand(len(x), LENGTH, device=DEVICE) < 0.9)
    told = net.hidden(net(x, hide))
    true = torch.cat([x[..., :12], x[..., 24:36], x[..., 48:60]], -1).clamp(0, 1)
    return mean_of(F.binary_cross_entropy_with_logits(told, true, reduction="none").mean(-1), hide)


def fit(net, pool, steps, loss, s):
    net.train()
    best = torch.optim.AdamW(net.parameters(), lr=s["rate"], weight_decay=s["decay"])
    pace = torch.optim.lr_scheduler.OneCycleLR(best, s["rate"], total_steps=steps, pct_start=0.1)
    for _ in range(steps):
        now = loss(net, *pool.batch(s["batch"]))
        best.zero_grad()
        now.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        best.step()
        pace.step()
    net.eval()


def supervised(net, x, y, s):
    lost = torch.rand_like(x[..., : 12 * BLOCKS]) > s["lost"]
    return loss_of(net, torch.cat([x[..., : 12 * BLOCKS] * lost, x[..., 12 * BLOCKS :]], -1), y, s)


@torch.no_grad()
def in_all_keys(net, x):
    """Logarithms of chords and keys, the mean of the answers in twelve keys."""
    chord, key = 0, 0
    for up in range(12):
        h = net(x[:, TURN[up]][None])[0]
        chord = chord + torch.roll(F.log_softmax(net.chord(h), -1).reshape(-1, 12, Q), -up, 1)
        key = key + torch.roll(F.log_softmax(net.key(h), -1).reshape(-1, 12, 2), -up, 1)
    return [F.log_softmax(logs.reshape(len(x), -1) / 12, -1).cpu().numpy() for logs in (chord, key)]


def own_labels(net, x, s):
    """The network's own answers as labels; chords it is not sure of teach nothing."""
    chord, key = in_all_keys(net, x.to(DEVICE))
    course, key = steady(chord, 2.0), steady(key, 10.0)
    sure = np.exp(chord[np.arange(len(course)), course]) > s["sure"]
    y = np.full((len(course), 7), -1, "f4")
    y[:, 0], y[:, 1], y[:, 3], y[:, 4], y[:, 5] = course // Q, course % Q, key // 2, key % 2, np.where(sure, 100, 0)
    return torch.tensor(y)


def train(labelled, unlabelled, s, varied=(), related=()):
    torch.manual_seed(s["seed"])
    rng = np.random.default_rng(s["seed"])
    none = [(x, torch.full((len(x), 7), -1.0)) for x in unlabelled]
    taught, weights = list(labelled), [1.0] * len(labelled)
    long = lambda pieces: sum(len(x) ** 0.5 for x, _ in pieces)
    for more, share in ((varied, s["varied"]), (related, s["related"])):
        if more and share:
            taught += more
            weights += [share * long(labelled) / long(more)] * len(more)
    net = Net(s).to(DEVICE)
    if s["first"]:
        fit(net, Pool(labelled + none, rng), s["first"], lambda net, x, _: restore(net, x), s)
    begun = {name: value.clone() for name, value in net.state_dict().items()}
    teach = lambda net, x, y: supervised(net, x, y, s)
    fit(net, Pool(taught, rng, np.array(weights)), s["steps"], teach, s)
    if unlabelled and s["labelled"]:
        own = [(x, own_labels(net, x, s)) for x in unlabelled]
        weights += [long(labelled) / long(own) / s["labelled"]] * len(own)
        net.load_state_dict(begun)
        fit(net, Pool(taught + own, rng, np.array(weights)), s["steps"], teach, s)
    return net


def tables(targets):
    """Counts the decoder needs, smoothed: chord given key, chord after chord within a key, key after key."""
    first = np.full((2, 12, Q), 0.1)
    after = np.zeros((2, 12 * Q, 12 * Q))
    keys = np.full((2, 12, 2), 0.3)
    for rows in targets:
        last = None
        for root, quality, _, tonic, minor, *_ in rows.astype(int):
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


def weights_of(net, s):
    """Weights by input, then bias; of a layer those of what is read, then those of the state, forwards, then backwards."""
    state = {name: value.detach().cpu().numpy() for name, value in net.state_dict().items()}
    arrays = [state["taps.weight"][:, :INPUTS].transpose(2, 1, 0), state["taps.bias"]]
    for layer in range(s["layers"]):
        for way in ("", "_reverse"):
            for kind in ("ih", "hh"):
                arrays += [state[f"body.weight_{kind}_l{layer}{way}"].T, state[f"body.bias_{kind}_l{layer}{way}"]]
    for head in ("chord", "key"):
        arrays += [state[f"{head}.weight"].T, state[f"{head}.bias"]]
    return arrays


def write(path, nets, tab, s):
    with open(path, "wb") as out:
        out.write(f"ripieno harmony 2\nnetworks {INPUTS} {s['width']} {s['layers']} {len(nets)}\n".encode())
        for name, value in KNOBS.items():
            out.write(f"{name} {value:g}\n".encode())
        out.write(b"\n")
        for array in [*(array for net in nets for array in weights_of(net, s)), *tab]:
            out.write(np.ascontiguousarray(array, "<f2").tobytes())


def with_labels(x, y):
    """A variant with its movement's labels: less left out parts it may be silent, where nothing is to be learned, or end early."""
    y = y[: len(x)].clone()
    y[x[:, : 12 * BLOCKS].sum(1) == 0] = -1
    return x, y


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("data"), ap.add_argument("out")
    ap.add_argument("--without", default="")
    ap.add_argument("--apart", nargs="*", default=["Op.125"])
    ap.add_argument("--set", nargs="*", default=[])
    a = ap.parse_args()
    s = dict(SETTINGS)
    for pair in a.set:
        name, value = pair.split("=")
        s[name] = type(SETTINGS[name])(float(value))
    data = np.load(a.data)
    get = lambda name: torch.tensor(data[name].astype("f4"))
    seen = sorted(n[:-2] for n in data.files if n.endswith("/x") and not (a.without and n.startswith(a.without)))
    names = [n for n in seen if "~" not in n and not n.startswith("related/")]
    others = sorted(n for n in data.files if n.startswith("unlabelled/") and not any(part in n for part in a.apart))
    labelled, unlabelled = [(get(f"{n}/x"), get(f"{n}/y")) for n in names], [get(n) for n in others]
    varied = [with_labels(get(f"{n}/x"), get(f"{n.split('~')[0]}/y")) for n in seen if "~" in n]
    related = [(get(f"{n}/x"), get(f"{n}/y")) for n in seen if n.startswith("related/")]
    nets = [train(labelled, unlabelled, {**s, **network}, varied, related) for network in NETWORKS]
    write(a.out, nets, tables([data[f"{n}/y"] for n in names]), s)


if __name__ == "__main__":
    main()
