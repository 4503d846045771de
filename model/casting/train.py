"""Trains networks that never saw a work, or on all works. `train.py TABLES.npz OUT WORK|none SEED [key=value ...]`"""
import sys, time

import numpy as np
import torch

from network import Network
from tables import Tables, agreement

USUAL = dict(width=64, blocks=2, heads=4, of_pair=32, drop=0.3, epochs=12, batch=128, rate=1.5e-3, decay=0.05, soft=0.5, lose=0.1, family=0.15, nameless=0.1,
             noise=0.1, power=0.5, beside=1)
FAMILIES = 5  # flags of a group with which its numbers begin


class Batches:
    def __init__(self, tables, device):
        self.device = device
        tensor = lambda a, kind=torch.float32: torch.as_tensor(a, dtype=kind, device=device)
        self.scale = [(torch.tensor(a.mean(0), dtype=torch.float32), torch.tensor(a.std(0) + 1e-3, dtype=torch.float32)) for a in (tables.groups, tables.strands, tables.pairs)]
        self.raw = [tensor(a) for a in (tables.groups, tables.strands, tables.pairs)]
        self.truth, self.kind_of, self.share = tensor(tables.truth, torch.long), tensor(tables.kind_of, torch.long), tensor(tables.share)
        ph = tables.phrases
        self.g0, self.s0, self.p0, self.ng, self.ns = (tensor([p[k] for p in ph], torch.long) for k in ("g0", "s0", "p0", "ng", "ns"))
        self.unknown = len(tables.kinds)

    def scaled(self, rows):
        """The scale of training rows, then everything scaled."""
        self.scale = []
        self.rows = []
        for raw, kept in zip(self.raw, rows):
            known = raw[kept]
            mean, deviation = known.mean(0), known.std(0).clamp_min(0.02)
            self.scale.append((mean, deviation))
            self.rows.append(((raw - mean) / deviation).clamp(-4, 4))

    def of(self, chosen):
        g, s = int(self.ng[chosen].max()), int(self.ns[chosen].max())
        gi, si = torch.arange(g, device=self.device), torch.arange(s, device=self.device)
        has_group, has_strand = gi[None] < self.ng[chosen, None], si[None] < self.ns[chosen, None]
        at_g = (self.g0[chosen, None] + gi).clamp_max(len(self.truth) - 1)
        at_s = (self.s0[chosen, None] + si).clamp_max(len(self.rows[1]) - 1)
        at_p = (self.p0[chosen, None, None] + gi[None, :, None] * self.ns[chosen, None, None] + si).clamp_max(len(self.rows[2]) - 1)
        truth = torch.where(has_group, self.truth[at_g], -1)
        share = self.share[at_p] * (has_group[:, :, None] & has_strand[:, None])
        return self.rows[0][at_g], self.kind_of[at_g], self.rows[1][at_s], self.rows[2][at_p], has_group, has_strand, truth, share, at_g


def augmented(batch, o, batches, draw):
    groups, kinds, strands, pairs, has_group, has_strand, truth, share, at_g = batch
    chance = lambda *shape: torch.rand(*shape, device=groups.device, generator=draw)
    b, g = has_group.shape
    keep = chance(b, g) > o["lose"] * (chance(b, 1) > 0.5)
    # A whole family stays away from some phrases, and with it the strands that nobody else has.
    family = batches.raw[0][at_g][..., :FAMILIES].argmax(-1)
    away = torch.randint(0, FAMILIES, (b, 1), device=groups.device, generator=draw)
    some = chance(b, 1) < o["family"]
    keep &= ~(some & (family == away))
    keep |= (has_group & keep).sum(1, keepdim=True) < 2
    kept = has_group & keep
    one_hot = torch.nn.functional.one_hot(truth.clamp_min(0), has_strand.shape[1]).bool() & (truth >= 0)[..., None]
    carried = (one_hot & kept[..., None]).any(1)
    dropped = some & ~carried & carried.any(1, keepdim=True)
    has_strand = has_strand & ~dropped
    truth = torch.where(kept & torch.gather(has_strand, 1, truth.clamp_min(0)), truth, -1)
    share = share * (kept[:, :, None] & has_strand[:, None])
    kinds = torch.where(chance(b, g) < o["nameless"], batches.unknown, kinds)
    if o["noise"]:
        wobble = lambda x: x + o["noise"] * torch.randn(x.shape, device=x.device, generator=draw)
        groups, strands, pairs = wobble(groups), wobble(strands), wobble(pairs)
    return groups, kinds, strands, pairs, kept, has_strand, truth, share


def train(tables, batches, left_out, seed, o, log=print):
    torch.manual_seed(seed)
    draw = torch.Generator(device=batches.device).manual_seed(seed)
    works = np.array([p["work"] for p in tables.phrases])
    inside = ~np.isin(works, left_out.split("+"))
    of = lambda first, count: np.concatenate([np.arange(p[first], p[first] + count(p)) for p, known in zip(tables.phrases, inside) if known])
    if getattr(batches, "scaled_for", 0) != left_out:
        batches.scaled([torch.as_tensor(of(k, c), device=batches.device) for k, c in
                        (("g0", lambda p: p["ng"]), ("s0", lambda p: p["ns"]), ("p0", lambda p: p["ng"] * p["ns"]))])
        batches.scaled_for = left_out
    # Works count by a power of their length.
    size = {w: (works == w).sum() for w in set(works)}
    weight = np.array([size[w] ** (o["power"] - 1.0) for w in works[inside]])
    weight = torch.as_tensor(weight / weight.mean(), dtype=torch.float32, device=batches.device)
    chosen = torch.as_tensor(np.flatnonzero(inside), device=batches.device)
    net = Network([r.shape[1] for r in batches.rows], batches.unknown, *(o[k] for k in ("width", "blocks", "heads", "of_pair", "drop", "beside"))).to(batches.device)
    steps = o["epochs"] * (len(chosen) // o["batch"])
    descent = torch.optim.AdamW(net.parameters(), lr=o["rate"], weight_decay=o["decay"], betas=(0.9, 0.98))
    pace = torch.optim.lr_scheduler.OneCycleLR(descent, o["rate"], total_steps=steps, pct_start=0.15)
    net.train()
    for step in range(steps):
        if step % (len(chosen) // o["batch"]) == 0:
            order = torch.randperm(len(chosen), device=batches.device, generator=draw)
            place = 0
        picked = order[place : place + o["batch"]]
        place += o["batch"]
        *given, truth, share = augmented(batches.of(chosen[picked]), o, batches, draw)
        logs = torch.log_softmax(net(*given), -1)
        hard = torch.nn.functional.one_hot(truth.clamp_min(0), logs.shape[-1]).float() * (truth >= 0)[..., None]
        soft = share / share.sum(-1, keepdim=True).clamp_min(1e-6) * (truth >= 0)[..., None]
        target = (1 - o["soft"]) * hard + o["soft"] * soft
        by = weight[picked][:, None]
        loss = -(target * logs).sum(-1).mul(by).sum() / ((truth >= 0) * by).sum().clamp_min(1)
        descent.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        descent.step()
        pace.step()
    net.eval()
    return net


@torch.no_grad()
def answer(net, batches, chosen):
    """Log-probabilities, flat in the order of pair rows of the phrases chosen, and the index of those rows."""
    out, rows = [], []
    for part in torch.as_tensor(chosen, device=batches.device).split(256):
        *given, truth, share, at_g = batches.of(part)
        logs = torch.log_softmax(net(*given), -1)
        ng, ns = given[0].shape[1], given[2].shape[1]
        mask = given[4][:, :, None] & given[5][:, None]
        at_p = batches.p0[part, None, None] + torch.arange(ng, device=part.device)[None, :, None] * batches.ns[part, None, None] + torch.arange(ns, device=part.device)
        out.append(logs[mask]), rows.append(at_p[mask])
    return torch.cat(out).cpu().numpy(), torch.cat(rows).cpu().numpy()


def options(words):
    o = dict(USUAL)
    for word in words:
        key, value = word.split("=")
        o[key] = type(o[key])(float(value))
    return o


def main():
    path, out, works, seeds, *words = sys.argv[1:]
    o = options(words)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    if device == "cpu":
        torch.set_num_threads(1)
    tables = Tables.load(path)
    batches = Batches(tables, device)
    found = {}
    for work in tables.works if works == "each" else works.split(","):
        for seed in map(int, seeds.split(",")):
            begun = time.time()
            net = train(tables, batches, work, seed, o)
            chosen = [at for at, p in enumerate(tables.phrases) if p["work"] in work.split("+")]
            if chosen:
                logs, rows = answer(net, batches, chosen)
                found.setdefault("rows " + work, rows)
                found[f"logs {work} {seed}"] = logs.astype(np.float32)
                full = np.zeros(len(tables.pairs), np.float32)
                full[rows] = logs
                right, count = agreement(tables, full, chosen)
                print(f"{work} seed {seed}: {right.sum() / count.sum():.4f} of {count.sum()}, {time.time() - begun:.0f} s", flush=True)
            state = {name: value.cpu().numpy() for name, value in net.state_dict().items()}
            scales = {f"scale {at}": np.stack([part.cpu().numpy() for part in scale]) for at, scale in enumerate(batches.scale)}
            np.savez(f"{out}.{seed}.state", kinds=tables.kinds, size=[o[key] for key in ("width", "of_pair", "heads", "blocks")], **state, **scales)
    np.savez_compressed(out, **found)


if __name__ == "__main__":
    main()
