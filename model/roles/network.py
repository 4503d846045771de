"""The network of roles: attention among the parts of a bar, convolution along the bars of a part; and how it is trained.

Its forward pass in the program is crates/texture/src/learned/network.rs.
"""
import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

WIDTH, HEADS, WIDE, STRIDES = 48, 4, 96, (1, 2)
STEPS, SEGMENTS, BARS, MOST_PARTS = 500, 16, 32, 20
RATE, DECAY, DROPOUT, NOISE, MASKED = 2e-3, 0.2, 0.25, 0.1, 0.12
SOFT = 0.05  # label smoothing
HABIT_RATE, HABIT_PRICE = 1.5e-2, 2e-3


class Block(nn.Module):
    def __init__(self, stride):
        super().__init__()
        self.n1, self.n2, self.n3 = (nn.LayerNorm(WIDTH) for _ in range(3))
        self.qkv, self.out = nn.Linear(WIDTH, 3 * WIDTH), nn.Linear(WIDTH, WIDTH)
        self.lean = nn.Linear(9, HEADS)
        self.taps = nn.Conv1d(WIDTH, WIDTH, 5, dilation=stride, padding=2 * stride, groups=WIDTH)
        self.mix = nn.Linear(2 * WIDTH, WIDTH)
        self.wide, self.narrow = nn.Linear(WIDTH, WIDE), nn.Linear(WIDE, WIDTH)
        self.drop = nn.Dropout(DROPOUT)

    def forward(self, x, relations, here):
        n, bars, parts, _ = x.shape
        q, k, v = self.qkv(self.n1(x)).view(n, bars, parts, 3, HEADS, -1).permute(3, 0, 1, 4, 2, 5)
        logits = q @ k.transpose(-1, -2) / (WIDTH / HEADS) ** 0.5 + self.lean(relations).permute(0, 1, 4, 2, 3)
        weights = logits.masked_fill(~here[:, :, None, None], -1e4).softmax(-1)
        x = x + self.drop(self.out((weights @ v).permute(0, 1, 3, 2, 4).reshape(n, bars, parts, WIDTH)))
        y = self.n2(x) * here[..., None]
        along = self.taps(y.permute(0, 2, 3, 1).reshape(n * parts, WIDTH, bars))
        along = along.view(n, parts, WIDTH, bars).permute(0, 3, 1, 2)
        x = x + self.drop(self.mix(torch.cat([F.gelu(along), y], -1)))
        return x + self.drop(self.narrow(F.gelu(self.wide(self.n3(x)))))


class Network(nn.Module):
    """Answers 3 (groups, S3) + 16 (groups, ten finer roles, relation; Le et al.) + 1 (lead) logits."""

    def __init__(self, inputs):
        super().__init__()
        self.input = nn.Linear(inputs, WIDTH)
        self.family, self.chair = nn.Embedding(7, WIDTH), nn.Embedding(4, WIDTH)  # the seventh: withheld
        self.blocks = nn.ModuleList(Block(stride) for stride in STRIDES)
        self.last, self.drop = nn.LayerNorm(WIDTH), nn.Dropout(DROPOUT)
        self.s3, self.le, self.lead = nn.Linear(WIDTH, 3), nn.Linear(WIDTH, 16), nn.Linear(WIDTH, 1)
        self.guess = nn.Linear(WIDTH, inputs)
        self.masked = nn.Parameter(torch.zeros(WIDTH))
        self.register_buffer("mean", torch.zeros(inputs))
        self.register_buffer("deviation", torch.ones(inputs))

    def forward(self, x, relations, here, family, chair, masked=None):
        x = ((x - self.mean) / self.deviation).clamp(-4, 4)
        if self.training:
            x = x + NOISE * torch.randn_like(x)
        x = self.input(self.drop(x))
        if masked is not None:
            x = torch.where(masked[..., None], self.masked, x)
        x = (x + self.family(family) + self.chair(chair)) * here[..., None]
        for block in self.blocks:
            x = block(x, relations, here)
        x = self.drop(self.last(x))
        le = self.le(x)
        # One hearing of the music, two habits of labelling.
        return torch.cat([0.5 * self.s3(x) + le[..., :3], le, self.lead(x)], -1), self.guess(x)


class Habits(nn.Module):
    """What sets the annotator of one movement off from the others: how often a group is written there, and how often beside another group. Learned beside the
    network, at a price for its size, and left out of every answer: a movement whose annotator writes no rhythm should not teach that there is none."""

    def __init__(self, pieces):
        super().__init__()
        self.often = nn.Parameter(torch.zeros(pieces, 6))
        self.beside = nn.Parameter(torch.zeros(pieces, 2, 3, 3))
        self.register_buffer("others", 1 - torch.eye(3))

    def forward(self, answers, pieces):
        """Answers with the habits of `pieces` (one a stretch) added to the groups of both collections."""
        groups = answers[..., :6]
        heard = torch.sigmoid(groups.detach()).unflatten(-1, (2, 3))
        beside = torch.einsum("nbphj,nhij->nbphi", heard, self.beside[pieces] * self.others).flatten(-2)
        return torch.cat([groups + self.often[pieces][:, None, None] + beside, answers[..., 6:]], -1)

    def price(self):
        return HABIT_PRICE * ((self.often**2).sum() + (self.beside**2).sum())


class Music:
    """The table on a device, cut into stretches of bars. Row 0 is silence."""

    def __init__(self, table, values, device):
        self.device = device
        put = lambda a, kind=torch.float32: torch.as_tensor(a, device=device).to(kind)
        pad = lambda a, blank: np.concatenate([np.full((1, *a.shape[1:]), blank, a.dtype), a])
        tokens = table["tokens"]
        self.values = put(pad(values, 0))
        self.relations = put(table["relations"])
        key = tokens[:, 0] * 100_000 + tokens[:, 2]
        first = np.r_[True, key[1:] != key[:-1]]
        start = np.flatnonzero(first)
        count = np.diff(np.r_[start, len(key)])
        bar = np.cumsum(first) - 1
        place = np.arange(len(key)) - start[bar]
        base = (np.cumsum(count**2) - count**2)[bar] + place * count[bar]
        self.place, self.base = put(pad(place, 0), torch.int64), put(pad(base, 0), torch.int64)
        self.family, self.chair = (put(pad(table["facts"][:, i], 0), torch.int64) for i in (0, 1))
        self.groups, self.fine = (put(pad(table[n], -1), torch.int64) for n in ("groups", "fine"))
        self.lead, self.fresh = put(pad(table["lead"], -1)), put(pad(~table["repeated"], False), torch.bool)
        self.grids, self.repeated = [], []
        for piece in range(len(table["stems"])):
            rows = np.flatnonzero(tokens[:, 0] == piece)
            grid = np.zeros((tokens[rows, 1].max() + 1, tokens[rows, 2].max() + 1), np.int64)
            grid[tokens[rows, 1], tokens[rows, 2]] = rows + 1
            repeated = np.zeros(grid.shape[1], bool)
            repeated[tokens[rows, 2]] = table["repeated"][rows]
            self.grids.append(grid)
            self.repeated.append(repeated)

    def stretch(self, places, bars, chance=None):
        """Rows `[stretch][bar][part]` of stretches that begin at (piece, bar); `chance` leaves out parts and bars."""
        chosen = []
        for piece, bar in places:
            grid = self.grids[piece][:, max(bar, 0) : bar + bars]
            parts = np.flatnonzero(grid.any(1))
            if chance is not None and len(parts):
                kept = parts
                if chance.random() < 0.5:
                    kept = kept[chance.random(len(kept)) > chance.random() * 0.35]
                parts = kept if len(kept) else parts
                if len(parts) > MOST_PARTS:
                    parts = np.sort(chance.choice(parts, MOST_PARTS, replace=False))
            chosen.append((grid[parts], max(-bar, 0)))
        rows = np.zeros((len(places), bars, max(1, *(len(grid) for grid, _ in chosen))), np.int64)
        for at, (grid, skip) in enumerate(chosen):
            rows[at, skip : skip + grid.shape[1], : len(grid)] = grid.T
        if chance is not None:
            rows[chance.random(rows.shape[:2]) < 0.04] = 0
        return torch.as_tensor(rows, device=self.device)

    def inputs(self, rows):
        here = rows > 0
        pair = self.base[rows][..., None] + self.place[rows][..., None, :]
        both = here[..., None] & here[..., None, :]
        relations = self.relations[torch.where(both, pair, 0)] * both[..., None]
        return self.values[rows] * here[..., None], relations, here, self.family[rows], self.chair[rows]


def loss_of(answers, guesses, music, rows, here, masked, values, network):
    loss, keep = 0.0, music.fresh[rows]
    labels = music.groups[rows]
    known = (labels[..., 0] >= 0) & keep & here
    soften = lambda y: y.clamp(0, 1).float() * (1 - 2 * SOFT) + SOFT
    if known.any():
        each = F.binary_cross_entropy_with_logits(answers[..., :3], soften(labels), reduction="none").sum(-1)
        loss = loss + (each * known).sum() / known.sum()
    labels = music.fine[rows]
    known = (labels[..., 0] >= 0) & keep & here
    if known.any():
        each = F.binary_cross_entropy_with_logits(answers[..., 3:6], soften(labels[..., :3]), reduction="none").sum(-1)
        kind = F.cross_entropy(answers[..., 6:16].movedim(-1, 1), labels[..., 3].clamp(min=0), reduction="none", label_smoothing=0.05)
        related = known & (labels[..., 4] >= 0)
        how = F.cross_entropy(answers[..., 16:19].movedim(-1, 1), labels[..., 4].clamp(min=0), reduction="none")
        loss = loss + 0.7 * (((each + 0.5 * kind) * known).sum() + 0.5 * (how * related).sum()) / known.sum()
    main, doubled = (music.lead[rows][..., i].clamp(min=0) * here for i in (0, 1))
    known = main.sum(2) > 0.3
    if known.any():
        log = torch.log_softmax(answers[..., 19].masked_fill(~here, -30.0), 2)
        each = -0.7 * (main / main.sum(2, keepdim=True).clamp(min=1e-3) * log).sum(2)
        each = each - 0.3 * torch.log((log.exp() * doubled.clamp(max=1)).sum(2) + 1e-4)
        loss = loss + 0.45 * (each * known).sum() / known.sum()
    scaled = ((values - network.mean) / network.deviation).clamp(-4, 4)
    if masked.any():
        loss = loss + 0.6 * ((guesses - scaled) ** 2)[masked].mean()
    return loss


def train(table, music, left_out, seed, steps=STEPS):
    torch.manual_seed(seed)
    chance = np.random.default_rng(seed)
    pieces = [p for p, work in enumerate(table["works"]) if work not in left_out]
    of = lambda array: set(np.unique(table["tokens"][array, 0]).tolist())
    groups, fine, lead = of(table["groups"][:, 0] >= 0), of(table["fine"][:, 0] >= 0), of(table["lead"][:, 0] >= 0)
    symphonies = {}
    for p in pieces:
        if p in groups:
            symphonies.setdefault(str(table["works"][p]), []).append(p)
    others = [among for among in ([p for p in pieces if p in fine], [p for p in pieces if p in lead]) if among]

    def begins(piece):
        repeated = music.repeated[piece]
        every = range(-BARS // 2, max(len(repeated) - BARS // 2, 1))
        return np.array([b for b in every if not repeated[max(b, 0) : b + BARS].all()] or [0])

    begin = {p: begins(p) for p in pieces}

    def pick(among):
        weight = np.array([len(begin[p]) for p in among]) ** 0.5
        piece = among[chance.choice(len(among), p=weight / weight.sum())]
        return piece, int(begin[piece][chance.integers(len(begin[piece]))])

    network = Network(music.values.shape[1]).to(music.device)
    inside = torch.as_tensor(np.flatnonzero(np.isin(table["tokens"][:, 0], pieces)) + 1, device=music.device)
    with torch.no_grad():
        network.mean.copy_(music.values[inside].mean(0))
        network.deviation.copy_(music.values[inside].std(0).clamp(min=0.05))
    mean = {k: v.clone() for k, v in network.state_dict().items()}
    matrices = [p for p in network.parameters() if p.ndim > 1]
    vectors = [p for p in network.parameters() if p.ndim <= 1]
    habits = Habits(len(table["works"])).to(music.device)
    weighed = [dict(params=matrices, weight_decay=DECAY), dict(params=vectors, weight_decay=0), dict(params=habits.parameters(), weight_decay=0)]
    descent = torch.optim.AdamW(weighed, lr=RATE, betas=(0.9, 0.98))
    pace = torch.optim.lr_scheduler.OneCycleLR(descent, [RATE, RATE, HABIT_RATE], total_steps=steps, pct_start=0.15)
    network.train()
    for step in range(1, steps + 1):
        places = []
        for _ in range(SEGMENTS):
            u = chance.random()
            if u < 0.5 or not others:
                places.append(pick(symphonies[sorted(symphonies)[chance.integers(len(symphonies))]]))
            else:
                places.append(pick(others[int((2 * u - 1) * len(others))]))
        rows = music.stretch(places, BARS, chance)
        values, relations, here, family, chair = music.inputs(rows)
        n, _, parts = rows.shape
        hide = torch.as_tensor((chance.random((n, 1, parts)) < 0.3) | (chance.random((n, 1, 1)) < 0.3), device=music.device)
        family, chair = torch.where(hide, 6, family), torch.where(hide, 0, chair)
        masked = (torch.as_tensor(chance.random(tuple(rows.shape)), device=music.device) < MASKED) & here
        answers, guesses = network(values, relations, here, family, chair, masked)
        answers = habits(answers, torch.as_tensor([piece for piece, _ in places], device=music.device))
        loss = loss_of(answers, guesses, music, rows, here, masked, values, network) + habits.price()
        descent.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        descent.step()
        pace.step()
        if step % 2 == 0:
            keep = min(0.995, step / (step + 20)) ** 2
            with torch.no_grad():
                for name, value in network.state_dict().items():
                    mean[name].lerp_(value, 1 - keep)
    # What is kept in half precision is what answers from here on.
    network.load_state_dict({name: value.half().float() for name, value in mean.items()})
    return network.eval()


@torch.no_grad()
def answer(network, music, pieces, bars=96, margin=20):
    """Logits of every row of `pieces`: rows, `[row][20]`."""
    rows, logits = [], []
    for piece in pieces:
        for start in range(0, music.grids[piece].shape[1], bars - 2 * margin):
            here = music.stretch([(piece, start - margin)], bars)
            out, _ = network(*music.inputs(here))
            inside = here[0, margin : bars - margin] > 0
            rows.append((here[0, margin : bars - margin][inside] - 1).cpu().numpy())
            logits.append(out[0, margin : bars - margin][inside].cpu().numpy())
    return np.concatenate(rows), np.concatenate(logits)


def weights(network):
    """All numbers in the order in which the program reads them."""
    out = [network.mean, network.deviation, network.input.weight, network.input.bias, network.family.weight[:6], network.chair.weight]
    for block in network.blocks:
        for part in (block.n1, block.n2, block.n3, block.qkv, block.out, block.lean, block.mix, block.wide, block.narrow):
            out += [part.weight, part.bias]
        out += [block.taps.weight, block.taps.bias]
    # The program's first head is what the forward pass answers: half its own logits and the other collection's.
    s3 = [0.5 * network.s3.weight + network.le.weight[:3], 0.5 * network.s3.bias + network.le.bias[:3]]
    out += [network.last.weight, network.last.bias, *s3, network.le.weight, network.le.bias, network.lead.weight, network.lead.bias]
    return np.concatenate([t.detach().float().cpu().numpy().ravel() for t in out]).astype("<f2")
