"""Known answers to questions about the scoring, counted from the planted lines."""
from collections import defaultdict

from . import pitch as P, views
from .orchestra import BRASS, BY_ID, PARTS, SECTIONS


def practice(piece):
    """Rows: measure, subject, value, unit, bars, definition. Bars as printed, the pickup is bar 0, repeats not counted twice."""
    rows = [("measure", "subject", "value", "unit", "bars", "definition")]
    bars = _section_bars(piece)
    total = len(piece.bars)
    for section in SECTIONS:
        rows.append(("presence", section, len(bars[section]), f"bars of {total}", views.spans(bars[section]),
                     "printed bars in which any player of the section sounds"))
    full = set.intersection(*(bars[s] for s in BRASS))
    rows.append(("first bar with all brass sections", "brass", min(full), "bar", str(min(full)),
                 "horns, trumpets, trombones and tuba each sound at some time in the bar"))
    rows.append(("bars with all brass sections", "brass", len(full), "bars", views.spans(full), "as above"))
    everyone = [b.number for b in piece.bars if _everyone(piece, b)]
    rows.append(("bars with every brass player", "brass", len(everyone), "bars", views.spans(everyone),
                 "6 horns, 3 trumpets, 3 trombones and tuba all sound at some time in the bar"))
    for name, group in (("brass", BRASS), ("orchestra", SECTIONS)):
        for word, pick in (("most", max), ("least", min)):
            best = pick(len(bars[s]) for s in group)
            named = [s for s in group if len(bars[s]) == best]
            rows.append((f"section playing {word}", name, ";".join(named), f"{best} bars", views.spans(bars[named[0]]),
                         "by printed bars with sound"))
    for first, last, kind in piece.tutti:
        rows.append(("tutti", f"{first}-{last}", kind, "", f"{first}-{last}",
                     "layered: groups hold different roles; single stack: one same-rhythm layer of adjacent chord tones"))
    for section in ("trombones", "tuba", "trumpets", "glockenspiel"):
        first = min(bars[section])
        rows.append(("reserved entry", section, first, "bar", str(first),
                     f"first sound after {len([b for b in piece.bars if b.number < first])} printed bars including the pickup"))
    for part in PARTS:
        rest = _longest_rest(piece, part)
        rows.append(("longest rest before an entry", part.name, rest[1] - rest[0] + 1, "whole bars", f"{rest[0]}-{rest[1]}",
                     "most consecutive printed bars without sound, followed by a bar with sound") if rest else
                    ("longest rest before an entry", part.name, 0, "whole bars", "", "never a whole bar without sound before an entry"))
    rows += _roles(piece) + _splits(piece) + _gaps(piece)
    return rows


def _section_bars(piece):
    out = defaultdict(set)
    for line, note in piece.sounding():
        out[BY_ID[line.part].section].add(piece.bar_at(note.onset).number)
    return out


def _everyone(piece, bar):
    brass = [p for p in PARTS if p.section in BRASS]
    return all(views.players(piece, p, bar)[0] == p.players for p in brass)


def _longest_rest(piece, part):
    sounding = set(views.lines_by_bar(piece, part.id))
    best, start = None, 0
    for number in sorted(sounding):
        if number > start and (best is None or number - start > best[1] - best[0] + 1):
            best = (start, number - 1)
        start = number + 1
    return best


def _roles(piece):
    """Bars in which a brass section holds each role."""
    rows, found = [], defaultdict(set)
    for line, note in piece.sounding():
        section = BY_ID[line.part].section
        if section in BRASS:
            for role in (line.role,) + line.also:
                found[section, role].add(piece.bar_at(note.onset).number)
    for (section, role), bars in sorted(found.items()):
        rows.append(("bars with role", f"{section}: {role}", len(bars), "bars", views.spans(bars),
                     "printed bars in which some player of the section holds the role"))
    return rows


def _splits(piece):
    """Bars in which lines of one section sound at one moment sharing neither layer nor role."""
    found = defaultdict(set)
    by_section = defaultdict(list)
    for line, note in piece.sounding():
        by_section[BY_ID[line.part].section].append((note.onset, note.end, line))
    for section, notes in by_section.items():
        for i, (start, end, a) in enumerate(notes):
            for other, stop, b in notes[i + 1:]:
                roles = set((a.role,) + a.also) & set((b.role,) + b.also)
                if a is not b and other < end and start < stop and a.layer != b.layer and not roles:
                    found[section].add(piece.bar_at(max(start, other)).number)
    return [("section splits", section, len(bars), "bars", views.spans(bars),
             "at some moment two lines of the section sound together and share neither layer nor role")
            for section, bars in sorted(found.items())]


def _gaps(piece):
    """Between brass sections that are neighbours in register: widest gap and deepest overlap."""
    notes = [(n.onset, n.end, BY_ID[l.part].section, [P.midi(p) for p in n.pitches]) for l, n in piece.sounding()
             if BY_ID[l.part].section in BRASS]
    gaps = defaultdict(set)
    for moment in sorted({n[0] for n in notes}):
        bands = {}
        for start, end, section, keys in notes:
            if start <= moment < end:
                low, high = bands.get(section, (200, 0))
                bands[section] = (min(low, *keys), max(high, *keys))
        order = sorted(bands.items(), key=lambda b: (sum(b[1]), b[0]))
        for (lower, (_, top)), (upper, (bottom, _)) in zip(order, order[1:]):
            gaps[bottom - top, upper, lower].add(piece.bar_at(moment).number)
    rows = []
    definition = ("lowest sounding note of the upper section minus highest of the lower, brass sections neighbouring in "
                  "register (ordered by the middle of their bands), at every attack; negative is an overlap")
    for word, extreme in (("largest gap", max), ("deepest overlap", min)):
        size = extreme(gaps)[0]
        for key in sorted(k for k in gaps if k[0] == size):
            rows.append((word, f"{key[1]} over {key[2]}", size, "semitones", views.spans(gaps[key]), definition))
    return rows
