"""Trains networks that never saw a work, and networks on all works, side by side. `train.py TABLES.npz OUT_FOLDER SEEDS [WORK|none ...] [key=value ...]`

Without works: each in turn, and none. Writes OUT_FOLDER/WORK.SEED.state.npz for each, and OUT_FOLDER/logs.npz with what they answer of the works left out.
"""
import pathlib, sys, time

import numpy as np
import torch
from torch.func import functional_call, stack_module_state, vmap

from network import Network
from tables import Tables, agreement

USUAL = dict(width=64, blocks=2, heads=4, of_pair=32, drop=0.3, epochs=12, batch=128, rate=1.5e-3, decay=0.05, soft=0.5, lose=0.1, family=0.15, nameless=0.1,
             noise=0.1, power=0.5, beside=1)
FAMILIES = 5  # flags of a group with which its numbers begin


class Batches:
    """The tables where the networks are, and for each work left out the scale of the others."""

    def __init__(self, tables, device):
        self.device, ph = device, tables.phrases
        tensor = lambda a, kind=torch.float32: torch.as_tensor(a, dtype=kind, device=device)
        self.raw = [tensor(a) for a in (tables.groups, tables.strands, tables.pairs)]
        self.truth, self.kind_of, self.share = tensor(tables.truth, torch.long), tensor(tables.kind_of, torch.long), tensor(tables.share)
        self.g0, self.s0, self.p0, self.ng, self.ns = (tensor([p[k] for p in ph], torch.long) for k in ("g0", "s0", "p0", "ng", "ns"))
        self.unknown = len(tables.kinds)
        self.works = np.array([p["work"] for p in ph])
        counts = [(p["ng"], p["ns"], p["ng"] * p["ns"]) for p in ph]
        self.rows = [tensor(np.repeat(np.arange(len(ph)), [c[at] for c in counts]), torch.long) for at in range(3)]

    def scale(self, left_out):
        """Mean and deviation of groups, strands and pairs of the other works."""
        inside = torch.as_tensor(~np.isin(self.works, left_out.split("+")), device=self.device)
        known = [raw[inside[rows]] for raw, rows in zip(self.raw, self.rows)]
        return [(rows.mean(0), rows.std(0).clamp_min(0.02)) for rows in known]

    def of(self, chosen, scales):
        """Phrases `chosen`, [member, phrase]; `scales`: of each member."""
        g, s = int(self.ng[chosen].max()), int(self.ns[chosen].max())
        gi, si = torch.arange(g, device=self.device), torch.arange(s, device=self.device)
        has_group, has_strand = gi < self.ng[chosen, None], si < self.ns[chosen, None]
        at_g = (self.g0[chosen, None] + gi).clamp_max(len(self.truth) - 1)
        at_s = (self.s0[chosen, None] + si).clamp_max(len(self.raw[1]) - 1)
        at_p = (self.p0[chosen, None, None] + gi[:, None] * self.ns[chosen, None, None] + si).clamp_max(len(self.raw[2]) - 1)
        rows = []
        for raw, at, (mean, deviation) in zip(self.raw, (at_g, at_s, at_p), scales):
            lift = lambda row: row.view(len(row), *[1] * (at.dim() - 1), -1)
            rows.append(((raw[at] - lift(mean)) / lift(deviation)).clamp(-4, 4))
        truth = torch.where(has_group, self.truth[at_g], -1)
        share = self.share[at_p] * (has_group[..., None] & has_strand[..., None, :])
        family = self.raw[0][at_g][..., :FAMILIES].argmax(-1)
        return rows[0], self.kind_of[at_g], rows[1], rows[2], has_group, has_strand, truth, share, family


def augmented(batch, o, unknown, draw):
    groups, kinds, strands, pairs, has_group, has_strand, truth, share, family = batch
    chance = lambda *shape: torch.rand(*shape, device=groups.device, generator=draw)
    *b, g = has_group.shape
    keep = chance(*b, g) > o["lose"] * (chance(*b, 1) > 0.5)
    # A whole family stays away from some phrases, and with it the strands that nobody else has.
    away = torch.randint(0, FAMILIES, (*b, 1), device=groups.device, generator=draw)
    some = chance(*b, 1) < o["family"]
    keep &= ~(some & (family == away))
    keep |= (has_group & keep).sum(-1, keepdim=True) < 2
    kept = has_group & keep
    one_hot = torch.nn.functional.one_hot(truth.clamp_min(0), has_strand.shape[-1]).bool() & (truth >= 0)[..., None]
    carried = (one_hot & kept[..., None]).any(-2)
    dropped = some & ~carried & carried.any(-1, keepdim=True)
    has_strand = has_strand & ~dropped
    truth = torch.where(kept & torch.gather(has_strand, -1, truth.clamp_min(0)), truth, -1)
    share = share * (kept[..., None] & has_strand[..., None, :])
    kinds = torch.where(chance(*b, g) < o["nameless"], unknown, kinds)
    if o["noise"]:
        wobble = lambda x: x + o["noise"] * torch.randn(x.shape, device=x.device, generator=draw)
        groups, strands, pairs = wobble(groups), wobble(strands), wobble(pairs)
    return groups, kinds, strands, pairs, kept, has_strand, truth, share


def train(batches, members, o, log=print):
    """Networks for `members`, each a work left out (or several with + between them, or none) and a seed; and the scale of each."""
    device = batches.device
    of_work = {work: batches.scale(work) for work in sorted({work for work, _ in members})}
    scales = [tuple(torch.stack([of_work[work][at][part] for work, _ in members]) for part in range(2)) for at in range(3)]
    # Which phrases come when: each member goes through its own in an order of its own, as often as the largest needs to.
    steps = o["epochs"] * (len(batches.works) // o["batch"])
    order, weights = [], []
    for work, seed in members:
        draw, own = np.random.default_rng(seed), np.flatnonzero(~np.isin(batches.works, work.split("+")))
        rounds = [draw.permutation(own) for _ in range(-(-steps * o["batch"] // len(own)))]
        order.append(np.concatenate(rounds)[: steps * o["batch"]].reshape(steps, o["batch"]))
        # Works count by a power of their length.
        size = {w: (batches.works[own] == w).sum() for w in set(batches.works[own])}
        weight = np.array([size.get(w, 1) ** (o["power"] - 1.0) for w in batches.works])
        weights.append(weight / weight[own].mean())
    order = torch.as_tensor(np.stack(order, 1), device=device)
    weights = torch.as_tensor(np.stack(weights), dtype=torch.float32, device=device)
    nets = []
    for _, seed in members:
        torch.manual_seed(seed)
        nets.append(Network([r.shape[1] for r in batches.raw], batches.unknown, *(o[k] for k in ("width", "blocks", "heads", "of_pair", "drop", "beside"))).to(device))
    state, buffers = stack_module_state(nets)
    state = {name: value.detach().requires_grad_() for name, value in state.items()}
    descent = torch.optim.AdamW(state.values(), lr=o["rate"], weight_decay=o["decay"], betas=(0.9, 0.98))
    pace = torch.optim.lr_scheduler.OneCycleLR(descent, o["rate"], total_steps=steps, pct_start=0.15)
    answers = vmap(lambda own, *given: functional_call(nets[0], own, given), randomness="different")
    draw = torch.Generator(device=device).manual_seed(members[0][1])
    torch.manual_seed(members[0][1])
    nets[0].train()
    begun = time.time()
    for step in range(steps):
        picked = order[step]
        *given, truth, share = augmented(batches.of(picked, scales), o, batches.unknown, draw)
        logs = torch.log_softmax(answers(state, *given), -1)
        hard = torch.nn.functional.one_hot(truth.clamp_min(0), logs.shape[-1]).float() * (truth >= 0)[..., None]
        soft = share / share.sum(-1, keepdim=True).clamp_min(1e-6) * (truth >= 0)[..., None]
        target = (1 - o["soft"]) * hard + o["soft"] * soft
        by = torch.gather(weights, 1, picked)[..., None]
        # Of each member its own mean; they share no number, so the sum's gradients are theirs.
        loss = -((target * logs).sum(-1) * by).sum((1, 2)) / ((truth >= 0) * by).sum((1, 2)).clamp_min(1)
        descent.zero_grad()
        loss.sum().backward()
        norm = sum(value.grad.flatten(1).square().sum(1) for value in state.values()).sqrt()
        for value in state.values():
            value.grad *= (1 / (norm + 1e-6)).clamp_max(1).view(-1, *[1] * (value.dim() - 1))
        descent.step()
        pace.step()
        if step % 100 == 0:
            log(f"step {step} of {steps}, loss {loss.mean().item():.3f}, {time.time() - begun:.0f} s", flush=True)
    for at, net in enumerate(nets):
        net.load_state_dict({name: value[at].detach() for name, value in state.items()})
        net.eval()
    return nets, [of_work[work] for work, _ in members]


@torch.no_grad()
def answer(net, batches, scale, chosen):
    """Log-probabilities, flat in the order of pair rows of the phrases chosen, and the index of those rows."""
    out, rows = [], []
    scales = [tuple(part[None] for part in one) for one in scale]
    for part in torch.as_tensor(chosen, device=batches.device).split(256):
        *given, truth, share, family = (one[0] for one in batches.of(part[None], scales))
        logs = torch.log_softmax(net(*given), -1)
        ng, ns = given[0].shape[1], given[2].shape[1]
        mask = given[4][:, :, None] & given[5][:, None]
        at_p = batches.p0[part, None, None] + torch.arange(ng, device=part.device)[:, None] * batches.ns[part, None, None] + torch.arange(ns, device=part.device)
        out.append(logs[mask]), rows.append(at_p[mask])
    return torch.cat(out).cpu().numpy(), torch.cat(rows).cpu().numpy()


def main():
    path, out, seeds, *words = sys.argv[1:]
    o = dict(USUAL)
    for key, value in (word.split("=") for word in words if "=" in word):
        o[key] = type(o[key])(float(value))
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.set_float32_matmul_precision("high")
    tables = Tables.load(path)
    batches = Batches(tables, device)
    works = [word for word in words if "=" not in word] or [*tables.works, "none"]
    members = [(work, seed) for seed in map(int, seeds.split(",")) for work in works]
    nets, scales = train(batches, members, o)
    out, found, sums = pathlib.Path(out), {}, {}
    out.mkdir(parents=True, exist_ok=True)
    for (work, seed), net, scale in zip(members, nets, scales):
        chosen = [at for at, p in enumerate(tables.phrases) if p["work"] in work.split("+")]
        if chosen:
            logs, rows = answer(net, batches, scale, chosen)
            found["rows " + work], found[f"logs {work} {seed}"] = rows.astype(np.int32), logs.astype(np.float16)
            full = np.zeros(len(tables.pairs), np.float32)
            full[rows] = logs
            right, count = agreement(tables, full, chosen)
            of_seed = sums.setdefault(seed, [0, 0])
            of_seed[0], of_seed[1] = of_seed[0] + right.sum(), of_seed[1] + count.sum()
        state = {name: value.cpu().numpy().astype(np.float16) for name, value in net.state_dict().items()}
        of_rows = {f"scale {at}": np.stack([part.cpu().numpy() for part in one]) for at, one in enumerate(scale)}
        np.savez(out / f"{work}.{seed}.state.npz", kinds=tables.kinds, size=[o[key] for key in ("width", "of_pair", "heads", "blocks")], **state, **of_rows)
    for seed, (right, count) in sums.items():
        print(f"seed {seed}, works left out: {right / max(count, 1):.4f} of {count}", flush=True)
    np.savez_compressed(out / "logs.npz", **found)


if __name__ == "__main__":
    main()
