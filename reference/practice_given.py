"""What the practice of a score says where chords, roles, layers and the melody are given: they are taken from the tables that `ripieno study` writes, and the
rest is counted again from music21's notes. Used by practice_agree.py; definitions stand in docs/practice.md.
"""
import bisect
import collections
from fractions import Fraction

TONES = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "dominant seventh": (0, 4, 7, 10), "diminished seventh": (0, 3, 6, 9), "half-diminished seventh": (0, 3, 6, 10),
    "diminished": (0, 3, 6), "minor seventh": (0, 3, 7, 10), "major seventh": (0, 4, 7, 11), "augmented": (0, 4, 8), "augmented sixth": (0, 2, 6, 9),
    "minor with major seventh": (0, 3, 7, 11),
}
TUNE = ("melody", "countermelody")


class Given:
    """The tables, by line and moment; a line is (part, staff, place from above)."""

    def __init__(self, tables):
        self.chords, self.spans, self.layers = [], collections.defaultdict(list), collections.defaultdict(list)
        for row in tables["chords"]:
            root = (dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11)))[row["root"][0]] + row["root"].count("#") - row["root"][1:].count("b")) % 12
            self.chords.append((Fraction(row["onset"]), Fraction(row["offset"]), [(root + tone) % 12 for tone in TONES[row["quality"]]]))
        for row in tables["roles"]:
            self.spans[int(row["part_index"]), int(row["staff"]), int(row["line"])].append((Fraction(row["onset"]), Fraction(row["offset"]), row["role"]))
        for spans in self.spans.values():
            spans.sort(key=lambda span: span[0])
        for row in tables["layers"]:
            self.layers[int(row["part_index"]), int(row["line"])].append((int(row["first_bar_index"]), int(row["last_bar_index"]), row["layer"]))
        # The table of layers does not name the staff.
        self.one_staff = {part: len({staff for other, staff, _ in self.spans if other == part}) <= 1 for part, _, _ in self.spans}

    def lines_of(self, part, since, to):
        """The lines of a part that have a role in a stretch of time."""
        return [line for line, spans in self.spans.items() if line[0] == part and any(start < to and end > since for start, end, _ in spans)]

    def role(self, line, moment):
        spans = self.spans[line]
        return spans[max(bisect.bisect_right(spans, moment, key=lambda span: span[0]) - 1, 0)][2]

    def layer(self, line, bar):
        return next((layer for first, last, layer in self.layers[line[0], line[2]] if first <= bar <= last), None)

    def chord(self, moment):
        at = bisect.bisect_right(self.chords, moment, key=lambda chord: chord[0]) - 1
        return self.chords[at][2] if at >= 0 and moment < self.chords[at][1] else None


Slice = collections.namedtuple("Slice", "start end bar keys notes")


def slices(bars, lines):
    """Stretches of time in which nothing begins or ends: of each line that sounds its keys, and the notes as (line, their start, key or None)."""
    edges = sorted({edge for notes in lines.values() for start, end, _ in notes for edge in (start, end)} | {bar[0] for bar in bars} | {bars[-1][1]})
    index = {edge: at for at, edge in enumerate(edges)}
    keys_at, notes_at = [collections.defaultdict(list) for _ in edges], [[] for _ in edges]
    for line, notes in lines.items():
        for start, end, keys in notes:
            for at in range(index[start], index[end]):
                keys_at[at][line] += keys
                notes_at[at].append((line, start, keys[0] if keys else None))
    starts = [bar[0] for bar in bars]
    for at, (start, end) in enumerate(zip(edges, edges[1:])):
        if start < bars[-1][1]:
            yield Slice(start, end, bisect.bisect_right(starts, start) - 1, keys_at[at], notes_at[at])


def median(spread):
    """The value up to which half of the time is spent."""
    half, sum_ = sum(spread.values()), Fraction(0)
    for value, time in sorted(spread.items()):
        sum_ += time
        if 2 * sum_ >= half:
            return value
    return None


def is_close(pitches, classes):
    """Whether no tone that sounds in the chord fits between two neighbours above the lowest pitch."""
    return not any(key % 12 in classes for low, high in zip(pitches[1:], pitches[2:]) for key in range(low + 1, high))


def voicing(cut, given, groups, rows, spans_text, checks, length):
    """Chord voicing of the score, its families and its sections. `groups` maps (kind, name) to parts; percussion is left out of them."""
    for (kind, name), parts in groups.items():
        chord = collections.defaultdict(set)
        times, gaps = collections.Counter(), collections.defaultdict(collections.Counter)
        members = set(parts)
        for start, end, bar, sounding, _ in cut:
            tones = given.chord(start)
            if tones is None:
                continue
            keys = [key for line, own in sounding.items() if line[0] in members for key in own]
            own = [key for key in keys if key % 12 in tones]
            if len({key % 12 for key in own}) < 3:
                continue
            pitches = sorted({*own, min(keys)})
            between = [high - low for low, high in zip(pitches, pitches[1:])]
            told = ["in chords", "close" if is_close(pitches, {key % 12 for key in own}) else "open"]
            told += ["within an octave"] if pitches[-1] - pitches[0] <= 12 else []
            for place, tone in enumerate(("root", "third", "fifth", "seventh")[: len(tones)]):
                told += [f"{tone} doubled"] if sum(key % 12 == tones[place] for key in own) > 1 else []
            for aspect in told:
                times[aspect] += end - start
                chord[aspect].add(bar)
            gaps["bottom gap"][between[0]] += end - start
            gaps["top gap"][between[-1]] += end - start
            above = sorted(between[1:])
            if above:
                gaps["usual gap"][above[(len(above) - 1) // 2]] += end - start
        whole = times["in chords"]
        for aspect in ("in chords", "close", "open", "within an octave", "root doubled", "third doubled", "fifth doubled", "seventh doubled"):
            row = rows.get(("chord_voicing", kind, name, aspect))
            if row is None and not whole:
                continue
            row = row or {"value": "nan", "bars": "nothing"}
            checks.check("voicing of chords", f"{name}, {aspect}", float(row["value"]), float(times[aspect] / (length if aspect == "in chords" else whole)))
            checks.check("bars of a voicing", f"{name}, {aspect}", row["bars"], spans_text(chord[aspect]))
        for aspect, spread in gaps.items():
            checks.check("gaps in chords", f"{name}, {aspect}", float(rows["chord_voicing", kind, name, aspect]["value"]), float(median(spread)))


ON_TONES = ("root", "third", "fifth", "seventh")


def standing(own, other):
    """How one section lies to another, both as sets of chord tones that sound."""
    if own & other:
        return "overlapped"
    if min(own) > max(other):
        return "layered above"
    if max(own) < min(other):
        return "layered below"
    if min(own) < min(other) and max(other) < max(own):
        return "encloses"
    return "enclosed" if min(other) < min(own) and max(own) < max(other) else "interlocked"


def sections_in_chords(cut, given, sections, people_on, rows, spans_text, checks):
    """How sections lie over, within and among each other in chords, and how many people each has on which tone. `sections` maps a section to its parts, in page
    order; `people_on` counts the people on some notes of one part."""
    names, of_part = list(sections), {part: section for section, parts in sections.items() for part in parts}
    both, lying = collections.Counter(), collections.defaultdict(lambda: [Fraction(0), set()])
    player_time, on_tone = collections.Counter(), collections.Counter()
    for start, end, bar, _, notes in cut:
        tones = given.chord(start)
        if tones is None:
            continue
        here, by_part = collections.defaultdict(set), collections.defaultdict(list)
        for note in notes:
            line, _, key = note
            if key is not None and line[0] in of_part and key % 12 in tones:
                here[of_part[line[0]]].add(key)
                by_part[line[0], tones.index(key % 12)].append(note)
        if len({key % 12 for keys in here.values() for key in keys}) < 3:
            continue
        for section, tone in {(of_part[part], tone) for part, tone in by_part}:
            on_tone[section, tone] += end - start
            player_time[section, tone] += (end - start) * sum(people_on(own) for (part, at), own in by_part.items() if at == tone and of_part[part] == section)
        full = [name for name in names if len(here[name]) > 1]
        for at, one in enumerate(full):
            for other in full[at + 1 :]:
                both[one, other] += end - start
                sums = lying[one, other, standing(here[one], here[other])]
                sums[0] += end - start
                sums[1].add(bar)
    for (one, other, how), (time, where) in lying.items():
        row = rows.get(("section", one, "chord_voicing", "section", other, how), {"value": "nan", "bars": "nothing"})
        checks.check("sections layered, interlocked, enclosed or overlapped", f"{one} and {other}, {how}", float(row["value"]), float(time / both[one, other]))
        checks.check("bars in which they lie so", f"{one} and {other}, {how}", row["bars"], spans_text(where))
    for (section, tone), time in on_tone.items():
        whole = sum(player_time[section, at] for at in range(len(ON_TONES)))
        expected = {f"players on the {ON_TONES[tone]}": player_time[section, tone] / time, f"on the {ON_TONES[tone]}": player_time[section, tone] / whole}
        for aspect, value in expected.items():
            row = rows.get(("section", section, "chord_voicing", "", "", aspect), {"value": "nan"})
            checks.check("people on each tone of chords", f"{section}, {aspect}", float(row["value"]), float(value))


def stacks(cut, given, groups, one_rhythm, rows, spans_text, checks):
    """One stack, octaves, or split by roles, and in how many layers, in the full bars of the score and of families. `groups` maps (kind, name) to parts and full bars."""
    for (subject, family), (parts, full) in groups.items():
        if not full:
            continue
        rhythm = {bar: one_rhythm(bar, parts) for bar in full}
        times, where, whole, unclear = collections.Counter(), collections.defaultdict(set), Fraction(0), False
        for start, end, bar, sounding, _ in cut:
            if bar not in rhythm:
                continue
            here = {line: keys for line, keys in sounding.items() if line[0] in parts and keys}
            keys = sorted({key for own in here.values() for key in own})
            classes = {key % 12 for key in keys}
            if rhythm[bar]:
                tones = given.chord(start)
                foreign = sum(tone not in tones for tone in classes) if tones else 0
                spaced = all(high - low <= 12 for low, high in zip(keys[1:], keys[2:]))
                kind = ["silence", "octaves", "two tones in one rhythm"][len(classes)] if len(classes) < 3 else (
                    "one stack" if spaced and foreign <= 1 else "one rhythm, chord with holes or foreign notes")
            else:
                roles = {given.role(line, start) for line in here}
                kind = ["silence", "split in rhythm, one role"][len(roles)] if len(roles) < 2 else f"split, {len(roles)} roles"
            kinds = [kind]
            layers = {given.layer(line, bar) for line in here}
            # The table of layers does not name the staff.
            if here and all(given.one_staff[line[0]] for line in here):
                kinds.append(f"in {LAYERS[min(len(layers), 4)]}")
            elif here:
                unclear = True
            for kind in kinds:
                times[kind] += end - start
                where[kind].add(bar)
            whole += end - start
        for kind, time in times.items():
            if unclear and kind.startswith("in "):
                continue
            row = rows.get(("stack", subject, family, kind), {"value": "nan", "bars": "nothing"})
            checks.check("one stack or several", f"{family}, {kind}", float(row["value"]), float(time / whole))
            checks.check("bars of one stack or several", f"{family}, {kind}", row["bars"], spans_text(where[kind]))


LAYERS = ("no layer", "one layer", "two layers", "three layers", "four layers or more")


def cohesion(cut, given, sections, rows, spans_text, checks):
    """Whether the lines of a section share a layer or a role."""
    for section, parts in sections.items():
        if not all(given.one_staff.get(part, True) for part in parts):
            continue
        times, where, several = collections.Counter(), collections.defaultdict(set), Fraction(0)
        for start, end, bar, sounding, _ in cut:
            here = [line for line in sounding if line[0] in parts]
            if len(here) < 2:
                continue
            several += end - start
            layers, roles = {given.layer(line, bar) for line in here}, {given.role(line, start) for line in here}
            kind = "together" if len(roles) == 1 or len(layers) == 1 and None not in layers else " against ".join(sorted(roles, key=ORDER.index))
            times[kind] += end - start
            where[kind].add(bar)
        for kind, time in times.items():
            row = rows.get(("cohesion", "section", section, kind), {"value": "nan", "bars": "nothing"})
            checks.check("a section together or split in roles", f"{section}, {kind}", float(row["value"]), float(time / several))
            checks.check("bars in which it is so", f"{section}, {kind}", row["bars"], spans_text(where[kind]))


def hand_offs(bars, parts, given, melody, line_up, rows, spans_text, checks):
    """Who takes the melody over from whom; pairs of sections are left out where a carrier has several lines at the time."""
    doubtful = set()
    named = {row["part"]: at for at, row in enumerate(line_up)}
    tops = [{start: max(keys) for start, end, keys in sorted(notes) if keys and end > start} for notes in parts]
    onsets = [sorted({start for start, end, keys in notes if end > start}) for notes in parts]

    def begun(part, start, end):
        return onsets[part][bisect.bisect_left(onsets[part], start) : bisect.bisect_left(onsets[part], end)]

    def sings(part, start, end):
        spans = [span for line in given.lines_of(part, start, end) for span in given.spans[line]]
        sung = sum((max(min(to, end) - max(since, start), Fraction(0)) for since, to, role in spans if role in TUNE), Fraction(0))
        return 2 * sung >= end - start

    def plays_along(part, carried, start, end):
        theirs = begun(carried[0], max(start, carried[1]), min(end, carried[2]))
        return bool(theirs) and 2 * len(set(theirs) & set(onsets[part])) >= len(theirs)

    found = collections.defaultdict(list)
    starts = [bar[0] for bar in bars]
    for one, other in zip(melody, melody[1:]):
        old, new = ((int(row["part_index"]), Fraction(row["onset"]), Fraction(row["offset"])) for row in (one, other))
        also = [{named[name] for name in row["with"].split("; ") if name in named} for row in (one, other)]
        bar = bars[int(other["first_bar_index"])]
        bar = bar[1] - bar[0]
        tunes = all(
            end - start >= bar and len(begun(part, start, end)) >= 4 and len({tops[part].get(moment) for moment in begun(part, start, end)}) >= 3
            for part, start, end in (old, new)
        )
        goes_on = old[0] == new[0] or new[0] in also[0] or old[0] in also[1]
        before, after = sings(new[0], max(new[1] - bar, old[1]), new[1]), sings(old[0], new[1], min(new[1] + bar, new[2]))
        apart = not plays_along(new[0], old, new[1] - bar, new[1]) and not plays_along(old[0], new, new[1], new[1] + bar)
        pair = line_up[old[0]]["section"], line_up[new[0]]["section"]
        if any(len(given.lines_of(part, old[1] - bar, new[2] + bar)) > 1 for part in (old[0], new[0])):
            doubtful.add(pair)
        if not goes_on and new[1] - old[2] <= bar and sings(*old) and sings(*new) and not before and not after and tunes and apart:
            found[pair].append(bisect.bisect_right(starts, new[1]) - 1)
    told = {(of, with_) for measure, of, with_, aspect in rows if measure == "hand_offs" and aspect == "hands on to"}
    for of, with_ in sorted(told | {pair for pair in found if pair[0] != pair[1]}):
        if (of, with_) not in doubtful:
            row = rows.get(("hand_offs", of, with_, "hands on to"), {"value": "0", "bars": ""})
            where = found[of, with_]
            checks.check("who takes the melody over from whom", f"{of} to {with_}", float(row["value"]), float(len(where)))
            checks.check("bars in which it is handed on", f"{of} to {with_}", row["bars"], spans_text(set(where)))


ORDER = ["melody", "countermelody", "bass", "harmony", "pedal", "rhythm", "figuration", "punctuation", "effect", "tacet"]
