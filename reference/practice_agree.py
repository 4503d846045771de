#!/usr/bin/env python3
"""practice_agree.py --bin RIPIENO SCORE...: what the practice of a score says, counted again with music21.

For each MusicXML score `ripieno study` writes its tables, and music21 (BSD-3-Clause), sharing no code with it, reads the file. From notes alone are counted again:
presence of every part (bars, share of time); entries, exits, rests and stretches of sections and parts; bars with all brass sections; how far the brass sections lie
apart; how often and after which rests a section comes out of reserve; which section of a family is used most and least; which notes two sections begin together, in
unison or octaves, and which notes of the leader of the melody others begin with it. Which part belongs to which section is taken from parts.csv, who leads from
melody.csv. Where lines, chords, roles and layers are given (practice_lines.py, practice_given.py): who doubles whom over which notes, in which bars the lines of a
section part in rhythm, how chords are voiced and how sections lie in them, what is one stack, how sections split, who takes the melody over from whom, and how many
horns stand against trombones and trumpets. Each as docs/practice.md defines it. Ends with 1 when anything differs by more than the tables' four decimals.
"""
import argparse
import bisect
import collections
import csv
import itertools
import pathlib
import re
import subprocess
import sys
import tempfile
import warnings
from fractions import Fraction

import music21

import practice_given
import practice_lines

CLOSE = 0.00015


def read(path):
    """Bars as (start, end, printed number), and of each part its notes as (start, end, keys)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path, forceSource=True).toSoundingPitch()
        parts, last = [], None
        for part in score.parts:
            notes = joined(part)
            # music21 makes a part of each staff of a keyboard or harp.
            name = re.sub(r"-Staff\d+$", "", str(part.id))
            if parts and name == last:
                parts[-1].extend(notes)
            else:
                parts.append(notes)
            last = name
        measures = score.parts[0].getElementsByClass(music21.stream.Measure)
        starts = [Fraction(measure.offset) for measure in measures]
        labels = [f"{measure.number}{measure.numberSuffix or ''}" for measure in measures]
        end = starts[-1] + Fraction(measures[-1].duration.quarterLength)
    return list(zip(starts, [*starts[1:], end], labels)), parts


def joined(part):
    """The notes of a part as (start, end, keys), ties joined pitch by pitch: music21's own joining gives up where voices or chords change under a tie."""
    notes, open_ties = [], collections.defaultdict(list)
    for element in part.flatten().notes:
        if element.style.noteSize == "cue" or element.style.hideObjectOnPrint or shows_nothing(element):
            continue
        start = Fraction(element.offset)
        end = start + (Fraction(0) if element.duration.isGrace else Fraction(element.quarterLength))
        percussion = isinstance(element, (music21.note.Unpitched, music21.percussion.PercussionChord))
        for member in [element] if percussion else getattr(element, "notes", [element]):
            key, tie = None if percussion else member.pitch.midi, member.tie.type if member.tie else None
            waiting = open_ties[key, start] if tie in ("stop", "continue") else []
            # Two voices of a staff may hold one pitch.
            at = waiting.pop(0) if waiting else None
            if at is None:
                at = len(notes)
                notes.append((start, end, [] if percussion else [key]))
            else:
                notes[at] = (notes[at][0], end, notes[at][2])
            if tie in ("start", "continue") and end > start:
                open_ties[key, end].append(at)
    return notes


def shows_nothing(element):
    """Whether the page shows neither notehead nor stem. music21 turns `<notehead>none</notehead>` into no notehead at all, `None`; others are "normal"."""
    return getattr(element, "notehead", "normal") is None and getattr(element, "stemDirection", None) == "noStem"


def first_is_upbeat(bars):
    """Whether the first bar is shorter than the second."""
    return len(bars) > 1 and bars[0][1] - bars[0][0] < bars[1][1] - bars[1][0]


def bars_of(bars, notes):
    """Indices of the bars in which something sounds."""
    starts = [bar[0] for bar in bars]
    found = set()
    for start, end, _ in notes:
        at = bisect.bisect_right(starts, start) - 1
        found.add(at)
        while at + 1 < len(bars) and bars[at + 1][0] < end:
            at += 1
            found.add(at)
    return found


def union(notes):
    """Time in which something sounds."""
    total, reached = Fraction(0), Fraction(0)
    for start, end in sorted((start, end) for start, end, _ in notes):
        start = max(start, reached)
        if end > start:
            total += end - start
            reached = end
    return total


def separation(bars, sections):
    """Of each pair of register neighbours the time at each interval, and the bars."""
    edges = sorted({edge for notes in sections.values() for start, end, _ in notes for edge in (start, end)} | {bar[0] for bar in bars} | {bars[-1][1]})
    index = {edge: at for at, edge in enumerate(edges)}
    bands = {name: [None] * len(edges) for name in sections}
    for name, notes in sections.items():
        for start, end, keys in notes:
            for at in range(index[start], index[end]):
                if keys:
                    low, high = bands[name][at] or (200, 0)
                    bands[name][at] = (min(low, *keys), max(high, *keys))
    starts = [bar[0] for bar in bars]
    found = collections.defaultdict(lambda: collections.defaultdict(lambda: [Fraction(0), set()]))
    for at, (start, end) in enumerate(zip(edges, edges[1:])):
        if start >= bars[-1][1]:
            break
        levels = collections.defaultdict(list)
        for name in sections:
            if bands[name][at]:
                levels[sum(bands[name][at])].append(name)
        order = sorted(levels)
        pairs = [(a, b) for level in order for i, a in enumerate(levels[level]) for b in levels[level][i + 1 :]]
        pairs += [(a, b) for low, high in zip(order, order[1:]) for a in levels[low] for b in levels[high]]
        for lower, upper in pairs:
            here = found[frozenset((lower, upper))][bands[upper][at][0] - bands[lower][at][1]]
            here[0] += end - start
            here[1].add(bisect.bisect_right(starts, start) - 1)
    return found


def begun(notes):
    """What is begun, grace notes left out: of each moment its keys."""
    moments = collections.defaultdict(set)
    for start, end, keys in notes:
        if end > start and keys:
            moments[start].update(keys)
    return moments


def held_over(notes):
    """Moments at which something is begun while an earlier note with pitch sounds on, notes so begun aside."""
    found, reached = set(), Fraction(-1)
    for start, group in itertools.groupby(sorted((start, end) for start, end, keys in notes if keys and end > start), key=lambda note: note[0]):
        if reached > start:
            found.add(start)
        else:
            reached = max(end for _, end in group)
    return found


def shared(own, theirs):
    """Of each interval of up to two octaves the moments at which it is begun together, `theirs` seen from `own`."""
    found = collections.defaultdict(list)
    for moment in sorted(own):
        intervals = {other - key for key in own[moment] for other in theirs.get(moment, ())}
        for interval in intervals:
            if interval % 12 == 0 and abs(interval) <= 24:
                found[interval].append(moment)
    return found


def sound_together(bars, lines):
    """Bars in which at least two of these lines sound at once, grace notes left out."""
    starts = [bar[0] for bar in bars]
    edges = []
    for at, notes in enumerate(lines):
        for start, end, _ in notes:
            if end > start:
                edges += [(start, 1, at), (end, 0, at)]
    now, found = collections.Counter(), set()
    edges.sort()
    for (moment, begins, at), after in zip(edges, [*edges[1:], (bars[-1][1], 0, 0)]):
        now[at] += 1 if begins else -1
        if sum(count > 0 for count in now.values()) > 1 and after[0] > moment:
            first = bisect.bisect_right(starts, moment) - 1
            while first < len(bars) and bars[first][0] < after[0]:
                found.add(first)
                first += 1
    return found


def pitched(notes):
    """The notes with pitch and length, as (start, end), in order; and their starts."""
    here = sorted((start, end) for start, end, keys in notes if keys and end > start)
    return here, [start for start, _ in here]


def one_rhythm(bar, lines):
    """Whether each line (see `pitched`) that sounds in the bar has three quarters of all moments at which any begins a note; who only holds on has none."""
    start, end = bar[0], bar[1]
    rhythms = []
    for notes, starts in lines:
        first, last = bisect.bisect_left(starts, start), bisect.bisect_left(starts, end)
        own = set(starts[first:last])
        # A chord holds on as long as its longest note, which stands last.
        if own or first and notes[first - 1][1] > start:
            rhythms.append(own)
    moments = set().union(*rhythms) if rhythms else set()
    return bool(rhythms) and all(len(own) * 4 >= len(moments) * 3 for own in rhythms)


class Checks:
    """What agreed and what did not."""

    def __init__(self):
        self.agreed, self.wrong = collections.Counter(), []

    def check(self, what, where, ours, theirs):
        same = abs(ours - theirs) <= CLOSE if isinstance(theirs, float) else ours == theirs
        if same:
            self.agreed[what] += 1
        else:
            self.wrong.append(f"{what}, {where}: ripieno {ours}, music21 {theirs}")


def spans(bars, indices):
    """Printed bars as the tables write them."""
    found = []
    for at in sorted(indices):
        if found and found[-1][1] == at - 1:
            found[-1][1] = at
        else:
            found.append([at, at])
    return ", ".join(bars[a][2] if a == b else f"{bars[a][2]}–{bars[b][2]}" for a, b in found)


def compare(binary, path, checks):
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([binary, "study", path, "--out", folder], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        table = lambda name: list(csv.DictReader(open(pathlib.Path(folder) / name, encoding="utf-8")))
        line_up, practice, melody = table("parts.csv"), table("practice.csv"), table("melody.csv")
        read_tables = {name: table(f"{name}.csv") for name in ("chords", "roles", "layers", "doublings")}
        notes = practice_lines.kept_notes(binary, path, folder)
    bars, parts = read(path)
    if len(parts) != len(line_up):
        checks.wrong.append(f"{path}: {len(line_up)} parts here, {len(parts)} in music21")
        return
    length = bars[-1][1]
    by_part = [[row for row in practice if row["measure"] == "presence" and row["of_kind"] == "part" and row["aspect"] == aspect] for aspect in ("bars", "time")]
    present = [bars_of(bars, notes) for notes in parts]
    for at, row in enumerate(line_up):
        checks.check("presence in bars", row["part"], by_part[0][at]["bars"], spans(bars, present[at]))
        checks.check("presence in time", row["part"], float(by_part[1][at]["value"]), float(union(parts[at]) / length))
    sections = collections.defaultdict(list)
    for at, row in enumerate(line_up):
        sections[row["section"], row["family"]].append(at)
    brass = {section: indices for (section, family), indices in sections.items() if family == "brass"}
    if len(brass) > 1:
        everyone = set.intersection(*({bar for at in indices for bar in present[at]} for indices in brass.values()))
        told = [row for row in practice if row["measure"] == "stack" and row["of"] == "brass" and row["aspect"] == "tutti bars"]
        checks.check("bars with all brass sections", path, told[0]["bars"] if told else "", spans(bars, everyone))
    for (section, _), indices in sections.items():
        here = sorted({bar for at in indices for bar in present[at]})
        # An upbeat is no bar of rest: a first bar shorter than the second.
        upbeat = first_is_upbeat(bars)
        rests = [b - a - 1 for a, b in zip([0 if upbeat and here[0] > 0 else -1, *here], here)]
        told = [row for row in practice if row["measure"] == "reserve" and row["of"] == section and row["aspect"] == "longest rest before an entry"]
        if told:
            checks.check("longest rest before an entry", section, float(told[0]["value"]), float(max(rests)))
    for family in {family for _, family in sections}:
        of_family = {section: indices for (section, other), indices in sections.items() if other == family}
        together = {bar for indices in of_family.values() for at in indices for bar in present[at]}
        for section, indices in of_family.items():
            told = [row for row in practice if row["measure"] == "reserve" and row["of"] == section and row["aspect"] == "use"]
            if told and len(of_family) > 1:
                here = {bar for at in indices for bar in present[at]}
                checks.check("use beside the family", section, float(told[0]["value"]), len(here) / len(together))
    lines = practice_lines.Lines(parts, notes, line_up, checks)
    entries(bars, present, line_up, sections, practice, checks)
    by_section(bars, parts, present, sections, lines, practice, checks)
    by_notes(bars, parts, sections, melody, practice, checks)
    by_given(bars, parts, present, line_up, sections, melody, practice, read_tables, lines, checks)
    told = {}
    for row in practice:
        if row["measure"] == "separation" and row["of"] in brass and row["with"] in brass and not row["aspect"].endswith("left out"):
            told[frozenset((row["of"], row["with"])), row["aspect"]] = row
    for pair, intervals in separation(bars, {name: [note for at in indices for note in parts[at]] for name, indices in brass.items()}).items():
        where = " and ".join(sorted(pair))
        whole = sum(time for time, _ in intervals.values())
        kinds = {"apart": lambda i: i > 2, "touching": lambda i: 0 <= i <= 2, "overlapping": lambda i: i < 0}
        for aspect, kind in kinds.items():
            share = float(sum(time for interval, (time, _) in intervals.items() if kind(interval)) / whole)
            checks.check(f"separation: {aspect}", where, float(told[pair, aspect]["value"]), share)
        for aspect, extreme, real in (("widest gap", max(intervals), max(intervals) > 0), ("deepest overlap", min(intervals), min(intervals) < 0)):
            if real:
                row = told[pair, aspect]
                checks.check(f"separation: {aspect}", where, float(row["value"]), float(extreme))
                checks.check(f"separation: bars of the {aspect}", where, row["bars"], spans(bars, intervals[extreme][1]))


def by_section(bars, parts, present, sections, lines, practice, checks):
    """Reserve, use, and rhythms within sections and families."""
    rows = {(row["measure"], row["of_kind"], row["of"], row["aspect"]): row for row in practice if not row["with"]}
    upbeat = first_is_upbeat(bars)
    for (section, family), indices in sections.items():
        here = sorted({bar for at in indices for bar in present[at]})
        entries = [(b, b - a - 1) for a, b in zip([0 if upbeat and here and here[0] > 0 else -1, *here], here)]
        entries = [(bar, rest) for bar, rest in entries if rest >= 4]
        row = rows.get(("reserve", "section", section, "entries out of reserve"))
        if row:
            checks.check("entries out of reserve", section, row["bars"], spans(bars, [bar for bar, _ in entries]))
            checks.check("number of entries out of reserve", section, float(row["value"]), float(len(entries)))
            rests = sorted(rest for _, rest in entries)
            median = (rests[(len(rests) - 1) // 2] + rests[len(rests) // 2]) / 2
            checks.check("median rest before an entry", section, float(rows["reserve", "section", section, "median rest before an entry"]["value"]), median)
        row = rows.get(("cohesion", "section", section, "rhythms part"))
        if row:
            own = [notes for line, notes in lines.notes.items() if line[0] in indices]
            together = sound_together(bars, own)
            rhythms = [pitched(notes) for notes in own]
            apart = {bar for bar in together if not one_rhythm(bars[bar], rhythms)}
            checks.check("bars in which the rhythms of a section part", section, row["bars"], spans(bars, apart))
            checks.check("share of bars in which they do", section, float(row["value"]), len(apart) / len(together))
    for family in sorted({family for _, family in sections}):
        used = {section: len({bar for at in indices for bar in present[at]}) for (section, other), indices in sections.items() if other == family}
        told = {section: rows.get(("reserve", "section", section, "use")) for section in used}
        if len(used) > 1 and all(told.values()):
            told = {section: float(row["value"]) for section, row in told.items()}
            for what, chosen in (("most", max), ("least", min)):
                ours = {section for section in told if told[section] == chosen(told.values())}
                theirs = {section for section in used if used[section] == chosen(used.values())}
                checks.check(f"section of a family used {what}", family, ours, theirs)


def by_notes(bars, parts, sections, melody, practice, checks):
    """Notes that sections begin together, and notes begun with whoever leads the melody."""
    starts = [bar[0] for bar in bars]
    bar_of = lambda moment: bisect.bisect_right(starts, moment) - 1
    rows = {(row["measure"], row["of"], row["with"], row["aspect"]): row for row in practice if row["with"]}
    order = sorted(sections, key=lambda key: sections[key][0])
    moments = {section: begun([note for at in sections[section] for note in parts[at]]) for section in order}
    told = {key for key in rows if key[0] == "doubled_sections" and key[3].startswith("same notes")}
    for place, a in enumerate(order):
        for b in order[place + 1 :]:
            for interval, where in shared(moments[a], moments[b]).items():
                if len(where) < 3:
                    continue
                key = ("doubled_sections", a[0], b[0], f"same notes, {practice_lines.octaves(interval)}")
                value = len(where) / min(len(moments[a]), len(moments[b]))
                name = f"{a[0]} with {b[0]}, {practice_lines.octaves(interval)}"
                row = rows.get(key, {"value": "nan", "bars": "nothing"})
                checks.check("same notes of two sections", name, float(row["value"]), value)
                checks.check("bars with the same notes", name, row["bars"], spans(bars, {bar_of(moment) for moment in where}))
                told.discard(key)
    for key in sorted(told):
        checks.wrong.append(f"same notes, {key[1:]}: only in ripieno")
    section_of = {at: section for section, indices in sections.items() for at in indices}
    led, with_leader = collections.Counter(), collections.defaultdict(lambda: collections.defaultdict(list))
    divided = set()
    for row in melody:
        part, start, end = int(row["part_index"]), Fraction(row["onset"]), Fraction(row["offset"])
        leader = section_of[part]
        # What begins while an earlier note of the part sounds on is a second voice on its staff, not the line that leads.
        second = held_over(parts[part])
        tops = {moment: {max(keys)} for moment, keys in begun(parts[part]).items() if start <= moment < end and moment not in second}
        led[leader] += len(tops)
        # Which line leads where the leader's part divides is not in the table.
        if any(len(keys) > 1 for moment, keys in begun(parts[part]).items() if start <= moment < end):
            divided.add(leader)
        for section in order:
            if section != leader:
                for interval, where in shared(tops, moments[section]).items():
                    with_leader[section, leader][interval] += where
    for (section, leader), intervals in with_leader.items():
        if leader in divided:
            continue
        for interval, where in intervals.items():
            if len(where) < 3:
                continue
            row = rows.get(("melody_support", section[0], leader[0], f"notes with the leader, {practice_lines.octaves(interval)}"), {"value": "nan", "bars": "nothing"})
            name = f"{section[0]} with {leader[0]}, {practice_lines.octaves(interval)}"
            checks.check("notes begun with the leader", name, float(row["value"]), len(where) / led[leader])
            checks.check("bars with notes of the leader", name, row["bars"], spans(bars, {bar_of(moment) for moment in where}))


def entries(bars, present, line_up, sections, practice, checks):
    """Entries, exits, rests and stretches of sections and parts."""
    last = len(bars) - 1
    groups = collections.defaultdict(list)
    for (section, family), indices in sections.items():
        groups["section", section] += indices
    of_parts = collections.defaultdict(list)
    for row in practice:
        if row["measure"] == "entries":
            of_parts[row["of_kind"], row["aspect"]].append(row)
    rows = {(row["of_kind"], row["of"], row["aspect"]): row for row in practice if row["measure"] == "entries"}

    def of_group(where, row_of, here):
        if not here:
            return
        stretches = []
        for bar in sorted(here):
            if stretches and stretches[-1][-1] == bar - 1:
                stretches[-1].append(bar)
            else:
                stretches.append([bar])
        before = [stretch[0] - end for end, stretch in zip([0, *(stretch[-1] + 1 for stretch in stretches)], stretches)]
        entered = {stretch[0]: rest for rest, stretch in zip(before, stretches) if rest}
        left = [stretch[-1] for stretch in stretches if stretch[-1] < last]
        longest = max(len(stretch) for stretch in stretches)
        expected = {
            "entries": (len(entered), entered), "exits": (len(left), left), "first entry": (stretches[0][0], [stretches[0][0]]),
            "last note": (last - stretches[-1][-1], [stretches[-1][-1]]),
            "longest stretch": (longest, [bar for stretch in stretches if len(stretch) == longest for bar in stretch]),
        }
        if entered:
            expected["longest rest before an entry"] = (max(entered.values()), [bar for bar, rest in entered.items() if rest == max(entered.values())])
        for aspect, (value, at) in expected.items():
            row = row_of(aspect) or {"value": "nan", "bars": "nothing"}
            checks.check("entries, exits, rests and stretches", f"{where}, {aspect}", float(row["value"]), float(value))
            checks.check("their bars", f"{where}, {aspect}", row["bars"], spans(bars, at))

    for (kind, name), indices in groups.items():
        of_group(name, lambda aspect: rows.get((kind, name, aspect)), {bar for at in indices for bar in present[at]})
    # Parts may share a name; those with notes stand in page order.
    playing = [at for at in range(len(line_up)) if present[at]]
    for aspect in ("entries", "exits", "first entry", "last note", "longest stretch"):
        if len(of_parts["part", aspect]) != len(playing):
            checks.wrong.append(f"{aspect} of parts: {len(of_parts['part', aspect])} in ripieno, {len(playing)} in music21")
            return
    of_part = {(at, aspect): of_parts["part", aspect][place] for place, at in enumerate(playing) for aspect in ("entries", "exits", "first entry", "last note", "longest stretch")}
    for at in playing:
        # Not every part has a rest before an entry, so that rows cannot be told by place.
        of_group(line_up[at]["part"], lambda aspect: of_part.get((at, aspect)) or rows.get(("part", line_up[at]["part"], aspect)), present[at])


def full_bars(bars, present, sections, parts):
    """Of the score and of each family the parts and the bars in which it plays as a whole."""
    here = {key: {bar for at in indices for bar in present[at]} for key, indices in sections.items()}
    has_pitch = {key: any(keys for at in indices for _, _, keys in parts[at]) for key, indices in sections.items()}
    groups, standing = {}, []
    for family in dict.fromkeys(family for _, family in sections):
        own = [key for key in sections if key[1] == family]
        with_pitch = [key for key in own if has_pitch[key]]
        if len(with_pitch) > 1:
            groups["family", family] = ([at for key in with_pitch for at in sections[key]], set.intersection(*(here[key] for key in with_pitch)))
        if family in ("woodwind", "brass", "strings") and 10 * len(set().union(*(here[key] for key in own))) >= len(bars):
            standing.append(own)
    of_all = lambda bar: all(3 * sum(bar in here[key] for key in own) >= 2 * len(own) for own in standing)
    if standing:
        groups["score", None] = ([at for own in standing for key in own for at in sections[key]], {bar for bar in range(len(bars)) if of_all(bar)})
    return groups


def by_given(bars, parts, present, line_up, sections, melody, practice, tables, lines, checks):
    """Chords, stacks, sections in roles, doublings, hand-offs and the weight of the brass, where lines, chords, roles, layers and the melody are given."""
    given = practice_given.Given(tables)
    named = lambda row, side: None if row[f"{side}_kind"] == "score" else row[side]
    alone = {(row["measure"], row["of_kind"], named(row, "of"), row["aspect"]): row for row in practice if not row["with"]}
    between = {(row["of_kind"], row["of"], row["measure"], row["with_kind"], row["with"], row["aspect"]): row for row in practice}
    pairs = {(row["measure"], row["of"], row["with"], row["aspect"]): row for row in practice if row["with"]}
    text = lambda where: spans(bars, where)
    cut = list(practice_given.slices(bars, lines.notes))
    groups = {("score", None): [at for at, row in enumerate(line_up) if row["family"] != "percussion"]}
    families = collections.defaultdict(list)
    for (section, family), indices in sections.items():
        if family != "percussion":
            groups["section", section] = indices
            families[family] += indices
    in_chords = {section: indices for (kind, section), indices in groups.items() if kind == "section"}
    groups |= {("family", family): indices for family, indices in families.items()}
    practice_given.voicing(cut, given, groups, alone, text, checks, bars[-1][1])
    practice_given.sections_in_chords(cut, given, in_chords, lines.people_on, between, text, checks)
    rhythms = {line: pitched(notes) for line, notes in lines.notes.items()}
    rhythm = lambda bar, members: one_rhythm(bars[bar], [own for line, own in rhythms.items() if line[0] in members])
    practice_given.stacks(cut, given, full_bars(bars, present, sections, parts), rhythm, alone, text, checks)
    several = {section: indices for (section, family), indices in sections.items() if ("cohesion", "section", section, "together") in alone}
    practice_given.cohesion(cut, given, several, alone, text, checks)
    practice_given.hand_offs(bars, parts, given, melody, line_up, pairs, text, checks)
    practice_lines.doublings(bars, cut, lines, line_up, tables["doublings"], between, text, checks)
    practice_lines.brass_weight(cut, lines, line_up, given, practice, text, checks)


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--bin", required=True)
    arguments.add_argument("scores", nargs="+")
    arguments = arguments.parse_args()
    failed = False
    for path in arguments.scores:
        print(f"{pathlib.Path(path).name}: ", end="", flush=True)
        checks = Checks()
        compare(arguments.bin, path, checks)
        print(f"{sum(checks.agreed.values())} agree, {len(checks.wrong)} differ")
        for what, count in checks.agreed.items():
            print(f"  {count:4} {what}")
        for line in checks.wrong[:20]:
            print(f"  DIFFERS: {line}")
        failed |= bool(checks.wrong) or not checks.agreed
    sys.exit(failed)


if __name__ == "__main__":
    main()
