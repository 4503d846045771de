"""The planted truth as CSV tables, made from the same lines as the score."""
import csv
import io

from . import doubling, practice, pitch as P, views
from .orchestra import BY_ID, PARTS

REFERENCE = {"A": "Eb", "R": "Bb", "B": "G"}     # key of the plain form of each idea
QUALITIES = {"": "major", "m": "minor", "7": "dominant seventh", "m7": "minor seventh"}


def tables(piece):
    """{file name: CSV text}."""
    return {"roles.csv": _csv(roles(piece)), "doublings.csv": _csv(doubling.doublings(piece)),
            "thickened.csv": _csv(doubling.thickened(piece)), "melody.csv": _csv(melody(piece)),
            "chords.csv": _csv(chords(piece)), "themes.csv": _csv(themes(piece)),
            "players.csv": _csv(players(piece)), "practice.csv": _csv(practice.practice(piece)),
            "repeats.csv": _csv(repeats(piece))}


def _csv(rows):
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def roles(piece):
    """Every part in every bar: what it does there, or tacet. A part with two tasks in a bar has two rows."""
    rows = [("part", "part_id", "first_bar", "last_bar", "roles", "manner", "layer", "relation", "leader", "staff", "voice",
             "line")]
    for part in PARTS:
        by_bar = views.lines_by_bar(piece, part.id)
        spans = {}
        for bar in piece.bars:
            keys = {(";".join((l.role,) + l.also), l.manner, l.layer, l.relation,
                     BY_ID[l.leader].name if l.leader else "", l.staff, l.voice, l.line) for l in by_bar[bar.number]}
            for key in keys or {("tacet", "", "", "", "", "", "", "")}:
                runs = spans.setdefault(key, [])
                if runs and runs[-1][1] == bar.number - 1:
                    runs[-1][1] = bar.number
                else:
                    runs.append([bar.number, bar.number])
        found = [(first, last, key) for key, runs in spans.items() for first, last in runs]
        for first, last, key in sorted(found, key=lambda x: (x[0], x[1], str(x[2]))):
            rows.append((part.name, part.id, first, last, *key))
    return rows


def melody(piece):
    """The main line: in each bar its carrier, who doubles it, who thickens it, and whom the carrier took over from."""
    rows = [("bar", "start", "end", "carrier", "doubled_by", "thickened_by", "theme", "layer", "taken_over_from")]
    previous = None
    entries = []
    for bar in piece.bars:
        for lead, helpers, parallel in views.melody_lines(piece, bar):
            notes = [n for n in lead.notes if n.sounds and bar.start <= n.onset < bar.start + bar.length]
            entries.append((notes[0].onset, notes[-1].end, bar, lead, helpers, parallel))
    for start, end, bar, lead, helpers, parallel in sorted(entries, key=lambda e: (e[0], e[1])):
        taken = previous if previous and previous != lead.part else ""
        previous = lead.part
        rows.append((bar.number, start - bar.start, end - bar.start, BY_ID[lead.part].name,
                     ";".join(BY_ID[p].name for p in helpers), ";".join(BY_ID[p].name for p in parallel),
                     lead.theme[0] if lead.theme else "", lead.layer, BY_ID[taken].name if taken else ""))
    return rows


def chords(piece):
    rows = [("bar", "onset", "duration", "root", "quality", "bass", "inversion", "key", "mode")]
    for onset, length, symbol, key in piece.chords:
        bar = piece.bar_at(onset)
        root, quality, bass = views.chord(symbol)
        inversion = views.inversion(root, quality, bass)
        rows.append((bar.number, onset - bar.start, length, root, QUALITIES[quality], bass,
                     "pedal" if inversion is None else inversion, key.capitalize(), "minor" if key.islower() else "major"))
    return rows


def themes(piece):
    rows = [("theme", "first_bar", "start", "last_bar", "carrier", "doubled_by", "thickened_by", "key", "mode",
             "transposition", "variant", "role", "layer")]
    groups = {}
    for line in piece.lines:
        if line.theme:
            groups.setdefault((line.theme, line.layer), []).append(line)
    found = []
    for (theme, layer), lines in groups.items():
        ids = [l for l in lines if l.relation != "parallel"]
        for number in dict.fromkeys(l.line for l in ids):
            same = [l for l in ids if l.line == number]
            lead = min(same, key=lambda l: l.relation != "lead")
            notes = [n for n in lead.notes if n.sounds]
            inside = [l.part for l in lines if l.relation == "parallel" and l.start < lead.end and lead.start < l.end
                      and l.leader == lead.part]
            found.append((notes[0].onset, notes[-1].onset, theme, layer, lead, [l.part for l in same if l is not lead], inside))
    for start, last, (idea, key, variant), layer, lead, others, inside in sorted(found, key=lambda f: (f[0], f[2], f[3])):
        distance = (P.midi(P.parse(key.capitalize() + "4")) - P.midi(P.parse(REFERENCE[idea] + "4")) + 6) % 12 - 6
        bar = piece.bar_at(start)
        rows.append((idea, bar.number, start - bar.start, piece.bar_at(last).number, BY_ID[lead.part].name,
                     ";".join(BY_ID[p].name for p in dict.fromkeys(others)), ";".join(BY_ID[p].name for p in inside),
                     key.capitalize(), "minor" if key.islower() else "major", distance, variant, lead.role, layer))
    return rows


def players(piece):
    """How many people of a part sound; string sections by their marking."""
    rows = [("part", "first_bar", "last_bar", "players", "marking")]
    for part in PARTS:
        runs = []
        for bar in piece.bars:
            state = views.players(piece, part, bar)
            if runs and runs[-1][2] == state:
                runs[-1][1] = bar.number
            else:
                runs.append([bar.number, bar.number, state])
        rows += [(part.name, first, last, *state) for first, last, state in runs]
    return rows


def repeats(piece):
    rows = [("order", "printed_bar", "pass")]
    order = [(n, 1) for n in range(0, 33)] + [(n, 2) for n in range(25, 31)] + [(n, 1) for n in range(33, 109)]
    return rows + [(i, n, turn) for i, (n, turn) in enumerate(order, 1)]
