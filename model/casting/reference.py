"""What a model file answers on a made-up phrase, computed apart from the program with numpy: expected values of its test.

`reference.py MODEL > ../../crates/casting/tests/learned/logs.txt`"""
import math, struct, sys

import numpy as np

GROUPS, STRANDS, KINDS = 4, 4, ("violins", "horns", "kazoos", "double basses")  # fours, so that means are exact


def made_up(rows, width, salt):
    at, column = np.meshgrid(np.arange(rows), np.arange(width), indexing="ij")
    return (((at * 37 + column * 101 + at * column + salt) % 641) / 256.0 - 1.25).astype(np.float32)


class File:
    def __init__(self, path):
        data = open(path, "rb").read()
        end = data.index(b"\n\n")
        head = data[:end].decode().split("\n")
        self.body, self.at = data[end + 2 :], 0
        self.networks = int(head[0].rsplit(" ", 1)[1])
        self.size = [int(word) for word in head[1].split()[1:]]
        self.kinds = head[2].removeprefix("kinds ").split("|")

    def take(self, *shape):
        count = math.prod(shape)
        found = np.frombuffer(self.body, "<f2", count, self.at).astype(np.float64).reshape(shape)
        self.at += 2 * count
        return found

    def linear(self, outputs, inputs):
        w, b = self.take(outputs, inputs), self.take(outputs)
        return lambda x: x @ w.T + b

    def norm(self, width):
        scale, shift = self.take(width), self.take(width)
        return lambda x: (x - x.mean(-1, keepdims=True)) / np.sqrt(x.var(-1, keepdims=True) + 1e-5) * scale + shift

    def number(self, form):
        found = struct.unpack_from("<" + form, self.body, self.at)
        self.at += struct.calcsize("<" + form)
        return found if len(found) > 1 else found[0]

    def tree(self):
        count = self.number("B")
        forks = [self.number("HfbbB") for _ in range(count)]
        leaves = [self.number("f") for _ in range(count + 1)]

        def answer(row):
            at = 0 if forks else -1
            while at >= 0:
                number, threshold, left, right, _ = forks[at]
                at = left if row[number] <= np.float32(threshold) else right
            return leaves[-1 - at]

        return answer


def gelu(x):
    return x * 0.5 * (1 + np.vectorize(math.erf)(x / math.sqrt(2)))


def log_softmax(x):
    x = x - x.max(-1, keepdims=True)
    return x - np.log(np.exp(x).sum(-1, keepdims=True))


def network(file, groups, strands, pairs, kinds):
    g, s, p, width, of_pair, heads, blocks = file.size
    of_group, of_strand, of_pairs = file.linear(width, 2 * g), file.linear(width, 2 * s), file.linear(of_pair, 3 * p)
    names = file.take(len(file.kinds) + 1, width)
    parts = [(file.norm(width), file.linear(3 * width, width), file.linear(width, width), file.norm(width), file.linear(2 * width, width), file.linear(width, 2 * width))
             for _ in range(blocks)]
    down, up = file.linear(heads * blocks, of_pair), file.linear(heads * blocks, of_pair)
    last, joint, score = file.norm(width), [file.linear(width, width), file.linear(width, width), file.linear(width, of_pair)], file.take(width)
    beside = lambda x: np.concatenate([x, x - x.mean(0)], -1)
    x = np.concatenate([of_group(beside(groups)) + names[kinds], of_strand(beside(strands))])
    q = gelu(of_pairs(np.concatenate([pairs, pairs - pairs.mean(0, keepdims=True), pairs - pairs.mean(1, keepdims=True)], -1)))
    n, tokens = len(groups), len(x)
    for at, (before, ask, give, between, wide, narrow) in enumerate(parts):
        asked = ask(before(x)).reshape(tokens, 3, heads, width // heads)
        heard = np.zeros((tokens, heads, width // heads))
        for head in range(heads):
            lean = np.zeros((tokens, tokens))
            lean[:n, n:] = down(q)[..., at * heads + head]
            lean[n:, :n] = up(q)[..., at * heads + head].T
            logits = asked[:, 0, head] @ asked[:, 1, head].T / math.sqrt(width // heads) + lean
            heard[:, head] = np.exp(log_softmax(logits)) @ asked[:, 2, head]
        x = x + give(heard.reshape(tokens, width))
        x = x + narrow(gelu(wide(between(x))))
    x = last(x)
    return log_softmax(gelu(joint[0](x[:n])[:, None] + joint[1](x[n:])[None] + joint[2](q)) @ score)


def main():
    file = File(sys.argv[1])
    g, s, p = file.size[:3]
    groups, strands, pairs = made_up(GROUPS, g, 1), made_up(STRANDS, s, 2), made_up(GROUPS * STRANDS, p, 3).reshape(GROUPS, STRANDS, p)
    kinds = [file.kinds.index(kind) if kind in file.kinds else len(file.kinds) for kind in KINDS]
    scales = [(file.take(size), file.take(size)) for size in (g, s, p)]
    scaled = [np.clip((rows - mean) / deviation, -4, 4) for rows, (mean, deviation) in zip((groups, strands, pairs), scales)]
    nets = np.mean([network(file, *scaled, kinds) for _ in range(file.networks)], 0)
    forest = [file.tree() for _ in range(file.number("I"))]
    assert file.at == len(file.body)
    middle, family = groups[:, 13], groups[:, :5].argmax(1)
    out = np.zeros((GROUPS, STRANDS))
    for a in range(GROUPS):
        kin = family == family[a]
        who = [GROUPS / 10, (middle > middle[a]).sum() / GROUPS, kin.sum() / GROUPS, (kin & (middle > middle[a])).sum(), (kin & (middle < middle[a])).sum()]
        who += [(family == f).sum() for f in (0, 1, 3)]
        for b in range(STRANDS):
            known = np.arange(len(file.kinds)) == kinds[a]
            own = pairs[a, b]
            row = np.concatenate([groups[a], who, known, strands[b], own, own - pairs[a].mean(0), own - pairs[:, b].mean(0)]).astype(np.float32)
            out[a, b] = -math.log1p(math.exp(-sum(tree(row) for tree in forest)))
    for row in log_softmax((nets + log_softmax(out)) / 2):
        print(" ".join(f"{value:.6f}" for value in row))


if __name__ == "__main__":
    main()
