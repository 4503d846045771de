"""Views of the piece that several tables need."""
import re
from collections import defaultdict

from . import pitch as P
from .orchestra import PARTS

INTERVALS = {"": (0, 4, 7), "m": (0, 3, 7), "7": (0, 4, 7, 10), "m7": (0, 3, 7, 10)}
ORDER = {part.id: i for i, part in enumerate(PARTS)}


def in_bar(line, bar):
    """The sounding notes of a line that begin in a bar (no note crosses a barline)."""
    return [n for n in line.notes if n.sounds and bar.start <= n.onset < bar.start + bar.length]


def lines_by_bar(piece, part_id):
    """{bar number: lines of a part that sound there}."""
    out = defaultdict(list)
    for line in piece.lines:
        if line.part == part_id:
            for number in dict.fromkeys(piece.bar_at(n.onset).number for n in line.notes if n.sounds):
                out[number].append(line)
    return out


def melody_lines(piece, bar):
    """[(lead line, parts that double it, parts that thicken it)] of a bar, lead lines by entry."""
    sounding = [l for l in piece.lines if l.role == "melody" and in_bar(l, bar)]
    out = []
    for number in dict.fromkeys(l.line for l in sounding if l.relation != "parallel"):
        same = sorted((l for l in sounding if l.line == number), key=lambda l: l.relation != "lead")
        lead, helpers = same[0], [l.part for l in same[1:]]
        parallel = [l.part for l in sounding if l.relation == "parallel" and l.layer == lead.layer]
        out.append((lead, sorted(helpers, key=ORDER.get), sorted(parallel, key=ORDER.get)))
    return out


def chord(symbol):
    """'Bb7/D' -> ('Bb', '7', 'D'); the bass is the root unless named."""
    root, quality, bass = re.fullmatch(r"([A-G][b#]?)(m7|m|7|)(?:/([A-G][b#]?))?", symbol).groups()
    return root, quality, bass or root


def pitch_class(name):
    return P.midi(P.parse(name + "4")) % 12


def inversion(root, quality, bass):
    """0 root position, 1, 2, 3; None when the bass is foreign to the chord (a pedal)."""
    above = (pitch_class(bass) - pitch_class(root)) % 12
    return INTERVALS[quality].index(above) if above in INTERVALS[quality] else None


def players(piece, part, bar):
    """(people sounding in the bar at most, what the page says)."""
    lines = [l for l in piece.lines if l.part == part.id and in_bar(l, bar)]
    if not lines:
        return 0, "tacet"
    if part.players == 0:
        who = {l.who for l in lines}
        if who == {"solo"}:
            return 1, "solo"
        return "section", "div." if "div" in who else "tutti"
    if part.players == 1:
        return 1, ""
    count, marks = 0, []
    if any(l.who == "v" for l in lines):
        return 2, "two voices"
    for line in lines:
        number = 1 if line.who in "12" else 2
        count = max(count, number)
        marks.append({"a2": "a 2", "1": "1.", "2": "2.", "div": "chord"}[line.who])
    if {"1.", "2."} <= set(marks):
        count = 2
    return count, " then ".join(dict.fromkeys(marks))


def spans(numbers):
    """[1, 2, 3, 7] -> '1-3 7'."""
    out = []
    for n in sorted(numbers):
        if out and out[-1][1] == n - 1:
            out[-1][1] = n
        else:
            out.append([n, n])
    return " ".join(f"{a}" if a == b else f"{a}-{b}" for a, b in out)
