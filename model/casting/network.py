"""Sections attend to strands and to each other; each pair of them gets a score, and a softmax over the strands says what a section does.

The program's twin is crates/casting/src/assign/learned/network.rs.
"""
import torch
from torch import nn
from torch.nn.functional import gelu, pad


def mean(rows, has, along):
    """The mean of rows that are there."""
    return (rows * has[..., None]).sum(along, keepdim=True) / has[..., None].sum(along, keepdim=True).clamp_min(1)


class Block(nn.Module):
    def __init__(self, width, heads, drop):
        super().__init__()
        self.heads = heads
        self.before, self.between = nn.LayerNorm(width), nn.LayerNorm(width)
        self.ask, self.give = nn.Linear(width, 3 * width), nn.Linear(width, width)
        self.wide, self.narrow = nn.Linear(width, 2 * width), nn.Linear(2 * width, width)
        self.drop = nn.Dropout(drop)

    def forward(self, x, lean, there):
        b, n, w = x.shape
        q, k, v = self.ask(self.before(x)).view(b, n, 3, self.heads, w // self.heads).permute(2, 0, 3, 1, 4)
        logits = q @ k.transpose(-1, -2) / (w // self.heads) ** 0.5 + lean
        logits = logits.masked_fill(~there[:, None, None, :], -1e4)
        heard = (torch.softmax(logits, -1) @ v).transpose(1, 2).reshape(b, n, w)
        x = x + self.drop(self.give(heard))
        return x + self.drop(self.narrow(gelu(self.wide(self.between(x)))))


class Network(nn.Module):
    def __init__(self, numbers, kinds, width=64, blocks=2, heads=4, of_pair=32, drop=0.2, beside=1):
        super().__init__()
        self.beside = beside
        self.of_group, self.of_strand = nn.Linear(numbers[0] * (1 + beside), width), nn.Linear(numbers[1] * (1 + beside), width)
        self.of_pair = nn.Linear(numbers[2] * (1 + 2 * beside), of_pair)
        self.kind = nn.Embedding(kinds + 1, width)  # the last: unknown
        nn.init.normal_(self.kind.weight, 0, 0.3)
        self.blocks = nn.ModuleList(Block(width, heads, drop) for _ in range(blocks))
        self.lean_down, self.lean_up = nn.Linear(of_pair, heads * blocks), nn.Linear(of_pair, heads * blocks)
        self.last = nn.LayerNorm(width)
        self.from_group, self.from_strand, self.from_pair = nn.Linear(width, width), nn.Linear(width, width, bias=False), nn.Linear(of_pair, width, bias=False)
        self.score = nn.Linear(width, 1, bias=False)
        self.drop = nn.Dropout(drop)
        self.heads = heads

    def forward(self, groups, kinds, strands, pairs, has_group, has_strand):
        """Scores [phrase, group, strand]."""
        b, g, s = len(groups), groups.shape[1], strands.shape[1]
        if self.beside:
            # What sets each off from the others of its phrase.
            groups = torch.cat([groups, groups - mean(groups, has_group, 1)], -1)
            strands = torch.cat([strands, strands - mean(strands, has_strand, 1)], -1)
            pairs = torch.cat([pairs, pairs - mean(pairs, has_group[:, :, None], 1), pairs - mean(pairs, has_strand[:, None], 2)], -1)
        x = torch.cat([self.of_group(groups) + self.kind(kinds), self.of_strand(strands)], 1)
        x = self.drop(x)
        p = self.drop(gelu(self.of_pair(pairs)))
        down, up = self.lean_down(p), self.lean_up(p)
        there = torch.cat([has_group, has_strand], 1)
        for at, block in enumerate(self.blocks):
            own = slice(at * self.heads, (at + 1) * self.heads)
            lean = pad(down[..., own].permute(0, 3, 1, 2), (g, 0, 0, s)) + pad(up[..., own].permute(0, 3, 2, 1), (0, s, g, 0))
            x = block(x, lean, there)
        x = self.last(x)
        joint = self.from_group(x[:, :g])[:, :, None] + self.from_strand(x[:, g:])[:, None] + self.from_pair(p)
        scores = self.score(self.drop(gelu(joint)))[..., 0]
        return scores.masked_fill(~has_strand[:, None, :], -1e4)
