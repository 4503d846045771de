"""What the practice of a score says of its lines: who doubles whom, and how many horns stand against trombones and trumpets. Which note belongs to which line of its
staff, and how many people play it, is taken from the table `notes` of a library; the rest is counted again from music21's notes. Used by practice_agree.py; definitions
stand in docs/practice.md.
"""
import bisect
import collections
import csv
import pathlib
import subprocess
from fractions import Fraction

from practice_given import TUNE, median

NOTES = "SELECT part_index, staff, line, onset_exact AS onset, duration_exact AS duration, key, players_least, players_most, level FROM notes"
FORTE = 6


def kept_notes(binary, path, folder):
    """The table `notes`, by SQL from a library of this one score."""
    library = pathlib.Path(folder) / "one.db"
    run = lambda *words: subprocess.run([binary, *words, "--library", library], check=True, capture_output=True, text=True).stdout
    run("library", "add", path)
    return list(csv.DictReader(run("ask", "--sql", NOTES, "--format", "csv").splitlines()))


class Lines:
    """The notes of music21, sorted into the lines of their staves. A line is (part, staff, place from above)."""

    def __init__(self, parts, rows, line_up, checks):
        self.most = [max(int(row["players_most"]), 1) for row in line_up]
        waiting = collections.defaultdict(list)
        for row in rows:
            line = int(row["part_index"]), int(row["staff"]), int(row["line"])
            people = int(row["players_least"]), int(row["players_most"])
            key = int(row["key"]) if row["key"] else None
            level = float(row["level"]) if row["level"] else 0.0
            waiting[line[0], Fraction(row["onset"]), key].append((Fraction(row["duration"]), line, people, level))
        #: By line its notes as (start, end, keys), grace notes left out; people (least, most) and level of a note by line, start and key.
        self.notes, self.people, self.level = collections.defaultdict(list), {}, {}
        for part, notes in enumerate(parts):
            for start, end, keys in notes:
                if end <= start:
                    continue
                for key in keys or [None]:
                    same = waiting[part, start, key]
                    at = next((at for at, (duration, *_) in enumerate(same) if duration == end - start), None)
                    if at is None:
                        checks.wrong.append(f"a note of part {part} at {start}, key {key}: not in ripieno")
                        continue
                    _, line, people, level = same.pop(at)
                    self.notes[line].append((start, end, [] if key is None else [key]))
                    self.people[line, start, key], self.level[line, start, key] = people, level
        self.notes = {line: sorted(self.notes[line]) for line in sorted(self.notes)}

    def attacks(self):
        """By line what it begins, as (start, end of the longest, highest key or None)."""
        found = {}
        for line, notes in self.notes.items():
            together = collections.defaultdict(list)
            for start, end, keys in notes:
                together[start].append((end, keys[0] if keys else None))
            found[line] = [
                (start, max(end for end, _ in here), max((key for _, key in here if key is not None), default=None)) for start, here in sorted(together.items())
            ]
        return found

    def people_on(self, notes, side=0):
        """People on some notes of one part, (line, start, key), that sound together: at least, or with side 1 at most; no more than the part has."""
        return min(sum(self.people[note][side] for note in notes), self.most[notes[0][0][0]]) if notes else 0


Run = collections.namedtuple("Run", "interval notes")


def goes_on(run, i, j):
    """Whether a common note, the lines' i-th and j-th, still belongs to a run."""
    (first_i, first_j), (last_i, last_j) = run.notes[0], run.notes[-1]
    own = sorted((i - last_i - 1, j - last_j - 1))
    sparser = min(i - first_i, j - first_j) + 1
    return own == [0, 0] or own[0] <= 1 and own[1] <= 3 and 4 * (len(run.notes) + 1) >= 3 * sparser


def courses(meetings):
    """Runs of notes in common, gathered where one follows on another at a different interval without any other note in either line."""
    course = []
    for i, j, interval in meetings:
        last = course[-1].notes[-1] if course else None
        if course and course[-1].interval == interval and goes_on(course[-1], i, j):
            course[-1].notes.append((i, j))
        elif course and last == (i - 1, j - 1):
            course.append(Run(interval, [(i, j)]))
        else:
            if course:
                yield course
            course = [Run(interval, [(i, j)])]
    if course:
        yield course


def is_kept(run, one, other, bars, bar_of):
    """Whether a run of fewer than four notes is a doubling all the same."""
    count = len(run.notes)
    (first_i, first_j), (last_i, last_j) = run.notes[0], run.notes[-1]
    if last_i - first_i + 1 != count or last_j - first_j + 1 != count:
        return False
    start, end, _ = bars[bar_of(one[first_i][0])]
    if sum(min(one[i][1], other[j][1]) - one[i][0] for i, j in run.notes) >= end - start:
        return True

    def rests(line, first, last):
        before = first == 0 or 4 * (line[first][0] - line[first - 1][1]) >= end - start
        return before and (last + 1 == len(line) or 4 * (line[last + 1][0] - line[last][1]) >= end - start)

    def fills(line, first, last):
        before = first == 0 or bar_of(line[first - 1][0]) < bar_of(line[first][0])
        return before and (last + 1 == len(line) or bar_of(line[last + 1][0]) > bar_of(line[last][0]))

    ends = (one, first_i, last_i), (other, first_j, last_j)
    return all(rests(*here) for here in ends) or count >= 2 and all(fills(*here) for here in ends)


def find_doublings(attacks, bars):
    """Who doubles whom: (line, other line, Run)."""
    order = list(attacks)
    moments = collections.defaultdict(list)
    for place, line in enumerate(order):
        for at, (start, _, top) in enumerate(attacks[line]):
            if top is not None:
                moments[start, top % 12].append((place, at, top))
    meetings = collections.defaultdict(list)
    for _, here in sorted(moments.items()):
        for at, (a, i, low) in enumerate(here):
            for b, j, high in here[at + 1 :]:
                meetings[a, b].append((i, j, high - low))
    starts = [bar[0] for bar in bars]
    bar_of = lambda moment: bisect.bisect_right(starts, moment) - 1
    for (a, b), common in sorted(meetings.items()):
        one, other = order[a], order[b]
        for course in courses(sorted(common)):
            enough = sum(len(run.notes) for run in course) >= 4
            for run in course:
                if enough or is_kept(run, attacks[one], attacks[other], bars, bar_of):
                    yield one, other, run


def rounded(part, whole):
    """A share to four decimals, a half away from nothing as the tables have it."""
    return (20000 * part + whole) // (2 * whole) / 10000


def span_of(run, one, other):
    """From the first common note to the end of the last."""
    return one[run.notes[0][0]][0], max(max(one[i][1], other[j][1]) for i, j in run.notes)


def doublings(bars, cut, lines, line_up, table, rows, text, checks):
    """The table of doublings, row by row, and what is counted of them between sections and inside them."""
    attacks = lines.attacks()
    found = list(find_doublings(attacks, bars))
    theirs = collections.Counter()
    for one, other, run in found:
        if one[0] != other[0]:
            start, end = span_of(run, attacks[one], attacks[other])
            shares = [rounded(len(run.notes), run.notes[-1][side] - run.notes[0][side] + 1) for side in (0, 1)]
            theirs[start, end, one[0], one[2], other[0], other[2], run.interval, len(run.notes), *shares] += 1
    number = lambda row, *names: tuple(int(row[name]) for name in names)
    ours = collections.Counter(
        (Fraction(row["onset"]), Fraction(row["offset"]), *number(row, "part_index", "line", "other_index", "other_line", "interval", "shared_notes"),
         float(row["share_of_part"]), float(row["share_of_other"]))
        for row in table
    )
    same = sum((ours & theirs).values())
    checks.agreed["who doubles whom, at which interval, over which notes"] += same
    for who, only in (("ripieno", ours - theirs), ("music21", theirs - ours)):
        for row in sorted(only, key=str):
            checks.wrong.append(f"a doubling only in {who}: from {row[0]} to {row[1]}, part {row[2]} line {row[3]} and part {row[4]} line {row[5]}, {row[6:]}")
    doubled_sections(cut, lines, line_up, attacks, [entry for entry in found if len(entry[2].notes) >= 3], rows, text, checks)


def doubled_sections(cut, lines, line_up, attacks, found, rows, text, checks):
    starts = [here.start for here in cut]
    length = [here.end - here.start for here in cut]
    tops = [{line: max(keys) for line, keys in here.keys.items() if keys} for here in cut]
    place = {}
    for row in line_up:
        place.setdefault((row["section"], row["family"]), len(place))
    section = lambda line: place[line_up[line[0]]["section"], line_up[line[0]]["family"]]
    pairs = collections.defaultdict(lambda: (set(), set(), collections.defaultdict(set)))
    for one, other, run in found:
        start, end = span_of(run, attacks[one], attacks[other])
        beyond = [run.notes[-1][side] - run.notes[0][side] + 1 - len(run.notes) for side in (0, 1)]
        full = max(beyond) <= len(run.notes) // 8
        kind = section if section(one) != section(other) else lambda line: line[0]
        kind_name = "part" if section(one) == section(other) else "section"
        a, b, interval = (one, other, run.interval) if kind(one) <= kind(other) else (other, one, -run.interval)
        at = bisect.bisect_left(starts, start)
        while at < len(starts) and starts[at] < end:
            here = tops[at]
            if one in here and other in here and here[other] - here[one] == run.interval:
                all_, fully, doubled = pairs[kind_name, kind(a), kind(b), interval]
                all_.add(at)
                if full:
                    fully.add(at)
                doubled[at].add((a, b))
            at += 1
    names = [name for name, _ in place]
    sounds = collections.Counter()
    for at, here in enumerate(tops):
        for group in {("section", section(line)) for line in here} | {("part", line[0]) for line in here}:
            sounds[group] += length[at]
    time = lambda where: sum((length[at] for at in where), Fraction(0))
    bars_of = lambda where: text({cut[at].bar for at in where})
    people = lambda at, chosen: sum(lines.people_on([note for note in cut[at].notes if note[0] == line]) for line in chosen)
    # Parts of one name in one section cannot be told apart in the table.
    called = collections.Counter(row["part"] for row in line_up)
    told = {key for key in rows if key[2] == "doubled_sections" and not key[5].startswith(("same notes", "any interval"))}
    told = {key for key in told if key[0] == "section" or called[key[1]] == called[key[4]] == 1}
    for (kind, a, b, interval), (where, fully, doubled) in sorted(pairs.items()):
        name = (lambda at: names[at]) if kind == "section" else (lambda at: line_up[at]["part"])
        if kind == "part" and called[name(a)] + called[name(b)] > 2:
            continue
        sparser = min(sounds[kind, a], sounds[kind, b])
        word = octaves(interval)
        partly = where - fully
        on_lines = sum((length[at] * len({tops[at][one] for one, _ in pairs_}) for at, pairs_ in doubled.items()), Fraction(0))
        playing = sum((length[at] * people(at, {line for pair in pairs_ for line in pair}) for at, pairs_ in doubled.items()), Fraction(0))
        expected = {f"{word}, time": time(where), f"{word}, players per line": playing / on_lines}
        expected |= {word: time(fully) / sparser} if fully else {}
        expected |= {f"{word}, in part": time(partly) / sparser} if partly else {}
        for aspect, value in expected.items():
            key = (kind, name(a), "doubled_sections", kind, name(b), aspect)
            row = rows.get(key, {"value": "nan", "bars": "nothing"})
            what = "doublings of sections" if kind == "section" else "doublings inside a section"
            checks.check(what, f"{name(a)} with {name(b)}, {aspect}", float(row["value"]), float(value))
            told.discard(key)
        row = rows.get((kind, name(a), "doubled_sections", kind, name(b), f"{word}, time"), {"bars": "nothing"})
        checks.check("bars of these doublings", f"{name(a)} with {name(b)}, {word}", row["bars"], bars_of(where))
    for key in sorted(told):
        checks.wrong.append(f"a doubling of sections only in ripieno: {key}")


def octaves(interval):
    """As the tables name a distance of octaves."""
    number, side = abs(interval) // 12, "below" if interval < 0 else "above"
    words = {2: "two", 3: "three", 4: "four", 5: "five"}
    return "unison" if not number else f"octave {side}" if number == 1 else f"{words.get(number, number)} octaves {side}"


def brass_weight(cut, lines, line_up, given, practice, text, checks):
    """How many horns stand against each trombone and trumpet: who begins and holds which chord tone when is counted from music21's notes."""
    family = lambda line: line_up[line[0]]["family"]
    section = lambda line: line_up[line[0]]["section"]
    sums = {"trombones": collections.defaultdict(list), "trumpets": collections.defaultdict(list)}
    for start, end, bar, _, notes in cut:
        chord = given.chord(start)
        if chord is None:
            continue
        here = [note for note in notes if family(note[0]) == "brass" and note[2] is not None and note[2] % 12 in chord and lines.level[note] >= FORTE]
        layer = lambda line: given.layer(line, bar)
        stands = lambda line: given.role(line, start) not in TUNE or any(
            section(other) != section(line) and layer(other) is not None and layer(other) == layer(line) for other, _, _ in here
        )
        loud = [note for note in here if stands(note[0])]
        if len({chord.index(key % 12) for _, _, key in loud}) < 3:
            continue

        def people(name):
            by_part = collections.defaultdict(list)
            for note in loud:
                if section(note[0]) == name:
                    by_part[note[0][0]].append(note)
            return tuple(sum(lines.people_on(own, side) for own in by_part.values()) for side in (0, 1))

        for other, pairings in sums.items():
            horns, others = people("horns"), people(other)
            if horns[0] and others[0]:
                pairings[horns, others].append((end - start, bar))
    for other, pairings in sums.items():
        rows = {row["aspect"]: row for row in practice if row["measure"] == "brass_weight" and row["with"] == other}
        times = {pairing: sum(time for time, _ in here) for pairing, here in pairings.items()}
        whole = sum(times.values())
        for side, aspect in ((0, f"horns per {other[:-1]}"), (1, f"horns per {other[:-1]}, with all who may play")):
            if not times or side and all(horns[0] == horns[1] and others[0] == others[1] for horns, others in times):
                continue
            spread = collections.Counter()
            for (horns, others), time in times.items():
                spread[Fraction(horns[side], others[side])] += time
            row = rows.pop(aspect, {"value": "nan"})
            checks.check("horns to a trombone or trumpet", aspect, float(row["value"]), float(median(spread)))
        for (horns, others), time in times.items():
            plural = lambda span, word: f"1 {word}" if span == (1, 1) else f"{span[0]} {word}s" if span[0] == span[1] else f"{span[0]}-{span[1]} {word}s"
            aspect = f"{plural(horns, 'horn')} to {plural(others, other[:-1])}"
            row = rows.pop(aspect, {"value": "nan", "bars": "nothing"})
            checks.check("time of each number of horns and others", aspect, float(row["value"]), float(time / whole))
            checks.check("bars of each number of horns and others", aspect, row["bars"], text({bar for _, bar in pairings[horns, others]}))
        for aspect in rows:
            checks.wrong.append(f"horns against {other}, {aspect}: only in ripieno")
