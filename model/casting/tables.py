"""Reads what `measure windows` wrote (crates/casting/examples/measure/windows.rs)."""
import ast, csv

import numpy as np


class Tables:
    """All phrases, flat: rows of groups, strands and pairs, and where each phrase's begin.

    phrases: list of dicts (score, work, kind, sketch, bars, g, s: slices; p0: first pair row; ng, ns)
    groups [rows, numbers], strands, pairs: float32; kind_of [group rows]: index into `kinds`; truth [group rows]: strand of the phrase or -1; share: per pair row.
    """

    def __init__(self, stem):
        body = np.fromfile(stem + ".f32", "<f4")
        self.phrases, groups, strands, pairs, truth, share, kinds = [], [], [], [], [], [], []
        at = g0 = s0 = p0 = 0
        for row in csv.DictReader(open(stem + ".csv")):
            sections = row["sections"].split("|") if row["sections"] else []
            ng, ns = len(sections), int(row["strands"])
            wg, ws, wp = int(row["of_group"]), int(row["of_strand"]), int(row["of_pair"])

            def take(rows, width):
                nonlocal at
                found = body[at : at + rows * width].reshape(rows, width)
                at += rows * width
                return found

            g, s, p, t, h = take(ng, wg), take(ns, ws), take(ng * ns, wp), take(1, ng)[0], take(1, ng * ns)[0]
            if ng and ns:
                groups.append(g), strands.append(s), pairs.append(p), truth.append(t), share.append(h)
                kinds += [section.split(":")[1] for section in sections]
                self.phrases.append(dict(score=row["score"], work="_".join(row["score"].split("_")[:2]), kind=row["kind"], sketch=row["sketch"],
                                         bars=(int(row["from"]), int(row["to"])), units=[int(section.split(":")[0]) for section in sections],
                                         g0=g0, s0=s0, p0=p0, ng=ng, ns=ns))
                g0, s0, p0 = g0 + ng, s0 + ns, p0 + ng * ns
        assert at == len(body)
        self.groups, self.strands, self.pairs = np.concatenate(groups), np.concatenate(strands), np.concatenate(pairs)
        self.truth, self.share = np.concatenate(truth).astype(int), np.concatenate(share)
        self.kinds = sorted(set(kinds))
        self.kind_of = np.array([self.kinds.index(kind) for kind in kinds])
        self.works = sorted({phrase["work"] for phrase in self.phrases})

    def save(self, path):
        """Half precision, compressed, to be carried elsewhere."""
        np.savez_compressed(path, groups=self.groups.astype(np.float16), strands=self.strands.astype(np.float16), pairs=self.pairs.astype(np.float16),
                            truth=self.truth.astype(np.int8), share=self.share.astype(np.float16), kind_of=self.kind_of.astype(np.int8), kinds=self.kinds,
                            phrases=np.array([repr(phrase) for phrase in self.phrases]))

    @classmethod
    def load(cls, path):
        found, self = np.load(path), cls.__new__(cls)
        self.groups, self.strands, self.pairs = (found[name].astype(np.float32) for name in ("groups", "strands", "pairs"))
        self.truth, self.share, self.kind_of = found["truth"].astype(int), found["share"].astype(np.float32), found["kind_of"].astype(int)
        self.kinds = [str(kind) for kind in found["kinds"]]
        self.phrases = [ast.literal_eval(str(text)) for text in found["phrases"]]
        self.works = sorted({phrase["work"] for phrase in self.phrases})
        return self


ROLES = 8  # flags of roles with which the numbers of a strand begin


def agreement(tables, logs, chosen):
    """Right, all: for each phrase chosen the likeliest role, that of several strands of one role together; a role that the sketch does not have counts as missed."""
    right, count = np.zeros(len(chosen), int), np.zeros(len(chosen), int)
    for n, at in enumerate(chosen):
        p = tables.phrases[at]
        found = logs[p["p0"] : p["p0"] + p["ng"] * p["ns"]].reshape(p["ng"], p["ns"]).astype(float)
        found = np.exp(found - found.max(1, keepdims=True))
        flags = tables.strands[p["s0"] : p["s0"] + p["ns"], :ROLES] > 0.5
        truth = tables.truth[p["g0"] : p["g0"] + p["ng"]]
        likeliest = (found @ flags).argmax(1)
        right[n], count[n] = (flags[truth.clip(0), likeliest] & (truth >= 0)).sum(), p["ng"]
    return right, count
