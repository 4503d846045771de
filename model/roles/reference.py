"""The model file read and answered in numpy alone, written apart from the program: what its tests compare with.

    python3 model/roles/reference.py made-up    writes crates/texture/tests/learned/logits.txt (network on made-up inputs)
    python3 model/roles/reference.py demo       writes crates/texture/tests/learned/demo.txt (answers on the demo overture)

The second reads the demo's numbers from target/roles/inputs: `role_inputs target/roles/inputs demo/lifeboat_overture.musicxml` first.
"""
import math
import sys

import numpy as np

from table import EXPECTED, MODEL, read_inputs

WIDTH, HEADS, WIDE, FEATURES = 48, 4, 96, 124
sigmoid = lambda z: 1 / (1 + np.exp(-z))
gelu = lambda x: 0.5 * x * (1 + np.vectorize(math.erf)(x / math.sqrt(2)))


def softmax(z):
    z = np.exp(z - z.max(-1, keepdims=True))
    return z / z.sum(-1, keepdims=True)


class Model:
    def __init__(self):
        head, self.body = MODEL.read_bytes().split(b"\n\n", 1)
        lines = [line.split(" ") for line in head.decode().splitlines()]
        self.at = 0
        numbers = {line[0]: [float(x) for x in line[1:]] for line in lines[1:]}
        self.decisions = np.array([numbers[n] for n in ("melody", "rhythm", "harmony")])
        self.share = numbers["share"][0]
        self.kinds = [numbers[n] for n in ("arp", "scale", "repeat_note", "sparse")]
        # "arp" names a kind and a feature: features are the last lines, in order.
        self.scales = np.array([[float(x) for x in line[1:]] for line in lines[-FEATURES:]], np.float32)
        self.kinds[0] = [float(x) for x in next(line for line in lines if line[0] == "arp")[1:]]
        self.networks = [self.network() for _ in range(int(lines[0][-1]))]
        self.forests = [self.forest() for _ in range(8)]
        assert self.at == len(self.body)

    def take(self, *shape):
        count = math.prod(shape)
        part = np.frombuffer(self.body, "<f2", count, self.at).astype(np.float64).reshape(shape)
        self.at += 2 * count
        return part

    def network(self):
        net = dict(mean=self.take(FEATURES), deviation=self.take(FEATURES), input=(self.take(WIDTH, FEATURES), self.take(WIDTH)))
        net["family"], net["chair"], net["blocks"] = self.take(6, WIDTH), self.take(4, WIDTH), []
        for _ in range(2):
            block = {n: (self.take(WIDTH), self.take(WIDTH)) for n in ("n1", "n2", "n3")}
            shapes = dict(qkv=(3 * WIDTH, WIDTH), out=(WIDTH, WIDTH), lean=(HEADS, 9), mix=(WIDTH, 2 * WIDTH), wide=(WIDE, WIDTH), narrow=(WIDTH, WIDE))
            for name, (rows, columns) in shapes.items():
                block[name] = self.take(rows, columns), self.take(rows)
            block["taps"] = self.take(WIDTH, 5), self.take(WIDTH)
            net["blocks"].append(block)
        net["last"] = self.take(WIDTH), self.take(WIDTH)
        net["heads"] = [(self.take(n, WIDTH), self.take(n)) for n in (3, 16, 1)]
        return net

    def forest(self):
        take = lambda kind, count=1: np.frombuffer(self.body, kind, count, self.at)
        count, trees = int(take("<u4")[0]), []
        self.at += 4
        fork = np.dtype([("input", "<u2"), ("threshold", "<f4"), ("ways", "i1", 2), ("lost", "u1")])
        for _ in range(count):
            forks = int(take("u1")[0])
            self.at += 1
            asked = take(fork, forks)
            self.at += asked.nbytes
            leaves = take("<f4", forks + 1)
            self.at += leaves.nbytes
            trees.append((asked, leaves))
        return trees


def run_forest(trees, x, classes=1):
    out = np.zeros((len(x), classes))
    for index, (forks, leaves) in enumerate(trees):
        at = np.zeros(len(x), int) if len(forks) else np.full(len(x), -1)
        while (at >= 0).any():
            going = np.flatnonzero(at >= 0)
            fork = forks[at[going]]
            value = x[going, fork["input"]]
            left = np.where(np.isnan(value), fork["lost"] == 1, value <= fork["threshold"])
            at[going] = np.where(left, fork["ways"][:, 0], fork["ways"][:, 1])
        out[:, index % classes] += leaves[-1 - at]
    return out


def run_networks(model, x, families, chairs, tokens, relations):
    """Mean logits `[row][20]`; `relations[bar]` is `[n][n][9]` for the rows of that bar in order."""
    total = 0
    bars = {bar: np.flatnonzero(tokens[:, 1] == bar) for bar in np.unique(tokens[:, 1])}
    place = {tuple(token): i for i, token in enumerate(tokens.tolist())}
    line = lambda y, wb: y @ wb[0].T + wb[1]
    norm = lambda y, gb: (y - y.mean(-1, keepdims=True)) / np.sqrt(y.var(-1, keepdims=True) + 1e-5) * gb[0] + gb[1]
    for net in model.networks:
        y = line(np.clip((x - net["mean"]) / net["deviation"], -4, 4), net["input"]) + net["family"][families] + net["chair"][chairs]
        for block, stride in zip(net["blocks"], (1, 2)):
            qkv, heard = line(norm(y, block["n1"]), block["qkv"]), np.zeros_like(y)
            for bar, rows in bars.items():
                q, k, v = (qkv[rows][:, i * WIDTH : (i + 1) * WIDTH].reshape(len(rows), HEADS, -1) for i in range(3))
                logits = np.einsum("ahd,bhd->abh", q, k) / math.sqrt(WIDTH / HEADS) + line(relations[bar], block["lean"])
                heard[rows] = np.einsum("abh,bhd->ahd", softmax(logits.transpose(0, 2, 1)).transpose(0, 2, 1), v).reshape(len(rows), -1)
            y = y + line(heard, block["out"])
            own = norm(y, block["n2"])
            along = np.tile(block["taps"][1], (len(y), 1))
            for i, (part, bar) in enumerate(tokens.tolist()):
                for tap in range(5):
                    other = place.get((part, bar + (tap - 2) * stride))
                    if other is not None:
                        along[i] += own[other] * block["taps"][0][:, tap]
            y = y + line(np.concatenate([gelu(along), own], 1), block["mix"])
            y = y + line(gelu(line(norm(y, block["n3"]), block["wide"])), block["narrow"])
        y = norm(y, net["last"])
        total = total + np.concatenate([line(y, head) for head in net["heads"]], 1)
    return total / len(model.networks)


def made_up():
    parts, bars = 5, 7
    tokens = np.array([(p, b) for b in range(bars) for p in range(parts) if (p + b) % 5])
    at, column = (tokens[:, 1] * parts + tokens[:, 0])[:, None], np.arange(FEATURES)
    x = ((at * 37 + column * 101 + at * column) % 641 - 320) / 64
    relations = {}
    for b in range(bars):
        n = (tokens[:, 1] == b).sum()
        i, j, r = np.indices((n, n, 9))
        relations[b] = (b * 3 + i * 5 + j * 7 + r * 11) % 16 / 16
    logits = run_networks(Model(), x, tokens[:, 0] % 6, 1 + tokens[:, 0] % 3, tokens, relations)
    (EXPECTED / "logits.txt").write_text("\n".join(" ".join(f"{v:.7f}" for v in row) for row in logits) + "\n")


def demo():
    import figures
    import trees

    model, piece = Model(), read_inputs("lifeboat_overture")
    tokens, values = piece["tokens"], piece["values"]
    scaled = np.clip((values[:, :FEATURES] - model.scales[:, 0]) / model.scales[:, 1], -5, 5)
    x = np.nan_to_num(np.round(scaled * 64) / 64)
    relations, at = {}, 0
    for bar in np.unique(tokens[:, 1]):
        n = (tokens[:, 1] == bar).sum()
        relations[bar] = piece["relations"][at : at + n * n].reshape(n, n, 9)
        at += n * n
    logits = run_networks(model, x, *piece["facts"][tokens[:, 0]].T, tokens, relations)
    table = dict(tokens=np.column_stack([np.zeros(len(tokens), int), tokens]), values=values)
    rows, every = trees.inputs(table), np.arange(len(tokens))
    habit = lambda h: np.column_stack([rows, np.full(len(rows), h, np.float32)])
    z = figures.smooth(table, (1 - figures.SECOND_HABIT) * logits[:, :3] + figures.SECOND_HABIT * logits[:, 3:6], figures.SMOOTH, every)
    z = model.share * z + (1 - model.share) * np.column_stack([run_forest(f, habit(0))[:, 0] for f in model.forests[:3]])
    groups = sigmoid(model.decisions[:, 1] * z + model.decisions[:, 2])
    lead = np.zeros(len(tokens))
    for bar in np.unique(tokens[:, 1]):
        here = tokens[:, 1] == bar
        lead[here] = np.log(softmax(logits[here, 19]))
    lead = np.exp(figures.smooth(table, lead[:, None], figures.SMOOTH_LEAD, every))
    kind = softmax(logits[:, 6:16])[:, list(figures.FINE.values())].clip(1e-6, 1 - 1e-6)
    grown = np.column_stack([run_forest(f, habit(1))[:, 0] for f in model.forests[3:7]])
    share = np.array([s for _, s in model.kinds])
    figure = sigmoid(share * np.log(kind / (1 - kind)) + (1 - share) * grown)
    relation = softmax(run_forest(model.forests[7], habit(1), 3))
    out = np.concatenate([groups, lead, figure, relation], 1)
    lines = [f"{part} {bar} " + " ".join(f"{v:.7f}" for v in row) for (part, bar), row in list(zip(tokens, out))[::23]]
    (EXPECTED / "demo.txt").write_text("\n".join(lines) + "\n")
    print(len(lines), "of", len(tokens), "rows")


if __name__ == "__main__":
    {"made-up": made_up, "demo": demo}[sys.argv[1]]()
