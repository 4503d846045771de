"""Matches two readings of one part and sorts what differs into classes.

Notes are compared as multisets of (onset, duration, pitch) with exact fractions: that count is `agreed`. A second count,
`agreed_in_bar`, takes out one shift per bar, where the two readings start that bar at different times. What is left over is
paired, most alike first, so that each class says what went wrong. Grace notes are compared apart, by (onset, pitch). Silent
notes (cue, hidden) are left out on both sides; a note without notehead and stem counts only if both have it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from fractions import Fraction

from witness import Note

CLASSES = {
    "bar-shift": "same place in the bar, but the bar starts at another time",
    "octave": "same onset and duration, pitch differs by octaves",
    "pitch": "same onset and duration, another pitch",
    "pitch-kind": "pitched on one side, unpitched on the other",
    "duration": "same onset and pitch, another duration",
    "tie": "one note on one side, tied or repeated notes on the other",
    "onset": "same bar, pitch and duration, another onset",
    "grace-kind": "a grace note on one side, a note with duration on the other",
    "missing": "the witness has a note here that the reading lacks",
    "extra": "the reading has a note here that the witness lacks",
    "grace-missing": "the witness has a grace note here that the reading lacks",
    "grace-extra": "the reading has a grace note here that the witness lacks",
}


@dataclass
class Difference:
    """Onsets are those of the reading: a witness note in a shifted bar has been moved into place."""

    kind: str
    ours: Note | None
    theirs: Note | None
    text: str = ""  # whom the text sides with: "ours", "theirs", "both", "neither"; "" where unknown
    explained: object = None  # the entry of exceptions.toml that covers it

    @property
    def bar(self) -> int:
        return (self.ours or self.theirs).bar


@dataclass
class Result:
    ours: int = 0
    theirs: int = 0
    agreed: int = 0
    agreed_in_bar: int = 0
    grace_ours: int = 0
    grace_theirs: int = 0
    grace_agreed: int = 0
    differences: list[Difference] = field(default_factory=list)
    shifted_from: list[tuple[int, Fraction]] = field(default_factory=list)  # (bar, how much later the witness starts it)

    def __iadd__(self, other: "Result") -> "Result":
        for name in ("ours", "theirs", "agreed", "agreed_in_bar", "grace_ours", "grace_theirs", "grace_agreed"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.differences += other.differences
        return self

    @property
    def larger(self) -> int:
        return max(self.ours, self.theirs)

    @property
    def rate(self) -> float:
        """Share agreed of the larger reading; 1 for a part that is empty in both."""
        return self.agreed / self.larger if self.larger else 1.0

    @property
    def rate_in_bar(self) -> float:
        return self.agreed_in_bar / self.larger if self.larger else 1.0


def key_of(note: Note):
    return (note.onset, note.duration, note.pitch)


def grace_key(note: Note):
    return (note.onset, note.pitch)


def compare_part(ours: list[Note], theirs: list[Note]) -> Result:
    """Compares the notes of one part; both lists may hold grace and silent notes."""
    result = Result()
    ours, ours_grace = _sounding(ours)
    theirs, theirs_grace = _sounding(theirs)
    ours, theirs = _drop_optional(ours, theirs, key_of)
    theirs, ours = _drop_optional(theirs, ours, key_of)
    ours_grace, theirs_grace = _drop_optional(ours_grace, theirs_grace, grace_key)
    theirs_grace, ours_grace = _drop_optional(theirs_grace, ours_grace, grace_key)
    result.ours, result.theirs = len(ours), len(theirs)
    result.grace_ours, result.grace_theirs = len(ours_grace), len(theirs_grace)

    keys, their_keys = Counter(map(key_of, ours)), Counter(map(key_of, theirs))
    graces, their_graces = Counter(map(grace_key, ours_grace)), Counter(map(grace_key, theirs_grace))
    if dict.__eq__(keys, their_keys) and dict.__eq__(graces, their_graces):  # as dictionaries: much faster
        # Nearly every part: what follows only sorts differences.
        result.agreed = result.agreed_in_bar = result.ours
        result.grace_agreed = result.grace_ours
        return result
    for notes in (ours, theirs, ours_grace, theirs_grace):
        notes.sort(key=_order)
    result.agreed = sum((keys & their_keys).values())
    result.agreed_in_bar = result.agreed
    shifts: dict[int, Fraction] = {}
    if result.agreed < result.larger:
        shifts = _bar_shifts(ours, theirs)
        if any(shifts.values()):
            theirs = [replace(n, onset=n.onset - shifts.get(n.bar, 0)) for n in theirs]
            theirs_grace = [replace(n, onset=n.onset - shifts.get(n.bar, 0)) for n in theirs_grace]
    before = Fraction(0)
    for bar, shift in sorted(shifts.items()):
        if shift != before:
            result.shifted_from.append((bar, shift))
            before = shift
    left_ours, left_theirs, result.agreed_in_bar = _leftovers(ours, theirs, key_of)
    unmatched = set(map(id, left_theirs))
    shifted = [n for n in theirs if shifts.get(n.bar) and id(n) not in unmatched]
    for b in shifted[: max(result.agreed_in_bar - result.agreed, 0)]:
        result.differences.append(Difference("bar-shift", None, b))
    left_grace_ours, left_grace_theirs, result.grace_agreed = _leftovers(ours_grace, theirs_grace, grace_key)

    left = _Left(left_ours, left_theirs, result)
    left.pair(_pitch_kind, lambda n: (n.onset, n.duration))
    spans_ours, spans_theirs = _spans(ours), _spans(theirs)
    left.pair(lambda a, b: "tie" if _is_tie(a, b, spans_ours, spans_theirs) else "duration", grace_key)
    left.pair("onset", lambda n: (n.bar, n.duration, n.pitch))
    graces = _Left(left.ours, left_grace_theirs, result)
    graces.pair("grace-kind", grace_key)
    left.ours, left_grace_theirs = graces.ours, graces.theirs
    graces = _Left(left_grace_ours, left.theirs, result)
    graces.pair("grace-kind", grace_key)
    left_grace_ours, left.theirs = graces.ours, graces.theirs
    for b in left.theirs:
        result.differences.append(Difference("tie" if _inside(b, spans_ours) else "missing", None, b))
    for a in left.ours:
        result.differences.append(Difference("tie" if _inside(a, spans_theirs) else "extra", a, None))
    result.differences += [Difference("grace-missing", None, b) for b in left_grace_theirs]
    result.differences += [Difference("grace-extra", a, None) for a in left_grace_ours]
    return result


# ------------------------------------------------------------------------------------------------------------- matching


def _order(n: Note):
    return (n.onset, n.pitch if n.pitch is not None else -1, n.duration)


def _sounding(notes: list[Note]) -> tuple[list[Note], list[Note]]:
    notes = [n for n in notes if not n.silent]
    return [n for n in notes if not n.grace], [n for n in notes if n.grace]


def _drop_optional(notes: list[Note], other: list[Note], key) -> tuple[list[Note], list[Note]]:
    """Leaves out of `notes` the optional ones that `other` does not have."""
    if not any(n.optional for n in notes):
        return notes, other
    have = Counter(map(key, other)) - Counter(key(n) for n in notes if not n.optional)
    kept = []
    for n in notes:
        if n.optional:
            if have[key(n)] <= 0:
                continue
            have[key(n)] -= 1
        kept.append(n)
    return kept, other


def _leftovers(ours: list[Note], theirs: list[Note], key) -> tuple[list[Note], list[Note], int]:
    """Notes of either side without a partner of equal key, and how many had one."""
    common = Counter(map(key, ours)) & Counter(map(key, theirs))

    def rest(notes):
        counts, left = Counter(common), []
        for n in notes:
            k = key(n)
            if counts[k] > 0:
                counts[k] -= 1
            else:
                left.append(n)
        return left

    return rest(ours), rest(theirs), sum(common.values())


def _bar_shifts(ours: list[Note], theirs: list[Note]) -> dict[int, Fraction]:
    """For each bar the shift (theirs minus ours) under which most of its notes match; no shift unless more match with it."""
    ours_by_bar, theirs_by_bar = defaultdict(list), defaultdict(list)
    for a in ours:
        ours_by_bar[a.bar].append(a)
    for b in theirs:
        theirs_by_bar[b.bar].append(b)
    shifts, before = {}, Fraction(0)
    for bar in sorted(set(ours_by_bar) | set(theirs_by_bar)):
        onsets = defaultdict(set)
        for b in theirs_by_bar[bar]:
            onsets[(b.duration, b.pitch)].add(b.onset)
        votes = Counter(at - a.onset for a in ours_by_bar[bar] for at in onsets.get((a.duration, a.pitch), ()))
        most = max(votes.values(), default=0)
        if most == 0 or votes[Fraction(0)] == most:
            shift = Fraction(0) if most else before
        elif votes[before] == most:
            shift = before
        else:
            shift = min((s for s in votes if votes[s] == most), key=lambda s: (abs(s), s))
            if most * 2 < max(len(ours_by_bar[bar]), len(theirs_by_bar[bar])):
                shift = before
        shifts[bar] = before = shift
    return shifts


class _Left:
    """What is still unmatched on both sides, with pairing by any key."""

    def __init__(self, ours: list[Note], theirs: list[Note], result: Result):
        self.ours, self.theirs, self.result = ours, theirs, result

    def pair(self, kind, key):
        """Pairs leftovers of equal key; `kind` is a class name or a function of the pair."""
        waiting = defaultdict(list)
        for b in reversed(self.theirs):
            waiting[key(b)].append(b)
        matched, rest = set(), []
        for a in self.ours:
            partners = waiting.get(key(a))
            if partners:
                b = partners.pop()
                matched.add(id(b))
                self.result.differences.append(Difference(kind(a, b) if callable(kind) else kind, a, b))
            else:
                rest.append(a)
        self.ours = rest
        self.theirs = [b for b in self.theirs if id(b) not in matched]


def _pitch_kind(a: Note, b: Note) -> str:
    if a.pitch is None or b.pitch is None:
        return "pitch-kind"
    return "octave" if (a.pitch - b.pitch) % 12 == 0 else "pitch"


def _spans(notes: list[Note]):
    spans = defaultdict(list)
    for n in notes:
        spans[n.pitch].append((n.onset, n.onset + n.duration))
    return spans


def _inside(note: Note, spans) -> bool:
    """The note lies within a longer note of its pitch on the other side."""
    end = note.onset + note.duration
    return any(s <= note.onset and end <= e and (s, e) != (note.onset, end) for s, e in spans.get(note.pitch, ()))


def _is_tie(a: Note, b: Note, spans_ours, spans_theirs) -> bool:
    """Durations differ because one side goes on with a further note of the same pitch exactly where the shorter one ends."""
    short, spans = (a, spans_ours) if a.duration < b.duration else (b, spans_theirs)
    end = short.onset + short.duration
    return any(s == end for s, _ in spans.get(short.pitch, ()))
