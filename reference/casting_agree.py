"""Bach chorales of the music21 package cast for brass, judged by music21.

  casting_agree.py sketches OUT [COUNT]      melody, chords (alto and tenor) and bass of COUNT chorales as sketches
  casting_agree.py judge SKETCHES CAST       what came back, against Bach's own and a plain assignment of the four voices

CAST is what `cargo run -p ripieno-casting --example measure -- chorales SKETCHES LINEUP CAST` wrote.
Parallels are music21's own (voiceLeading.VoiceLeadingQuartet). A parallel is new where Bach's four voices have none at that moment.
"""

import collections
import csv
import fractions
import pathlib
import sys

from music21 import chord, corpus, instrument, note, pitch, stream, voiceLeading

F = fractions.Fraction


def four_voices(count):
    found = 0
    for work in corpus.chorales.Iterator():
        parts = list(work.parts)
        if len(parts) != 4 or found >= count:
            continue
        if any(len(list(p.recurse().getElementsByClass(chord.Chord))) for p in parts):
            continue
        if list(work.recurse().getElementsByClass("RepeatMark")):
            continue
        found += 1
        yield work, parts


def sketches(out, count):
    out = pathlib.Path(out)
    out.mkdir(parents=True, exist_ok=True)
    for number, (work, parts) in enumerate(four_voices(count)):
        score = stream.Score()
        soprano, alto, tenor, bass = parts

        def plain(part, name):
            new = part.stripTies(inPlace=False)
            for old in list(new.recurse().getElementsByClass(instrument.Instrument)):
                new.remove(old, recurse=True)
            new = part
            new.partName = name
            new.id = name.replace(" ", "")
            return new

        middle = stream.Part()
        middle.partName = "Chords"
        middle.id = "Chords"
        lows = list(tenor.getElementsByClass(stream.Measure))
        for at, measure in enumerate(alto.getElementsByClass(stream.Measure)):
            new = stream.Measure(number=measure.number)
            for kind in ("Clef", "KeySignature", "TimeSignature"):
                for element in measure.getElementsByClass(kind):
                    new.insert(element.offset, element)
            for source in (measure, lows[at] if at < len(lows) else None):
                if source is None:
                    continue
                voice = stream.Voice()
                for element in source.recurse().notesAndRests:
                    voice.insert(element.getOffsetInHierarchy(source), element)
                new.insert(0, voice)
            new.paddingLeft = measure.paddingLeft
            middle.append(new)
        score.insert(0, plain(soprano, "Melody"))
        score.insert(0, middle)
        score.insert(0, plain(bass, "Bass"))
        for part in score.parts:
            for old in list(part.recurse().getElementsByClass(instrument.Instrument)):
                old.activeSite.remove(old)
        score.write("musicxml", out / f"{number:03}.musicxml")
        with open(out / f"{number:03}.csv", "w", newline="") as file:
            table = csv.writer(file)
            for voice, part in enumerate(parts):
                for element in part.stripTies().flatten().notes:
                    table.writerow([voice, F(element.offset).limit_denominator(96), F(element.quarterLength).limit_denominator(96), element.pitch.midi])


def at(line, moment):
    return next((n for n in line if n[0] <= moment < n[0] + n[1]), None)


def parallels(lines):
    """Moments at which two of the lines move in parallel fifths, octaves or unisons by music21's word."""
    found = collections.Counter()
    moments = sorted({n[0] for line in lines for n in line})
    names = list(range(len(lines)))
    for before, now in zip(moments, moments[1:]):
        for i in names:
            for j in names[i + 1:]:
                # What sounds just before the moment, and at it.
                a1 = next((n for n in lines[i] if n[0] < now <= n[0] + n[1]), None)
                b1 = next((n for n in lines[j] if n[0] < now <= n[0] + n[1]), None)
                a2, b2 = at(lines[i], now), at(lines[j], now)
                if not (a1 and a2 and b1 and b2) or a1 == a2 or b1 == b2:
                    continue
                if a1[2] == a2[2] or b1[2] == b2[2]:
                    continue
                hi, lo = (lines[i], lines[j])
                if (a1[2] - b1[2]) % 12 not in (0, 5, 7):
                    continue
                up1, low1 = (a1, b1) if a1[2] >= b1[2] else (b1, a1)
                up2, low2 = (a2, b2) if a1[2] >= b1[2] else (b2, a2)
                quartet = voiceLeading.VoiceLeadingQuartet(
                    note.Note(up1[2]), note.Note(up2[2]), note.Note(low1[2]), note.Note(low2[2]))
                if quartet.parallelFifth() or quartet.parallelOctave() or quartet.parallelUnison():
                    found[now] += 1
    return found


class Tally:
    def __init__(self):
        self.notes = self.out = self.strained = self.moves = self.leaps = self.crossings = self.new = 0

    def __str__(self):
        per = lambda a, b: f"{100 * a / max(b, 1):.2f} %"
        return (f"{self.notes} notes; out of range {self.out}; out of comfort {self.strained} ({per(self.strained, self.notes)}); "
                f"leaps over a fifth {self.leaps} of {self.moves} ({per(self.leaps, self.moves)}); crossings {self.crossings}; new parallels {self.new}")


def players(tally, seats, reach):
    """Seats: {(section, chair): notes}; counts range, comfort, leaps, and crossings inside a section."""
    for seat, notes in seats.items():
        low, high, comfort_low, comfort_high = reach[seat]
        for n in notes:
            tally.notes += 1
            tally.out += not low <= n[2] <= high
            tally.strained += not comfort_low <= n[2] <= comfort_high
        for a, b in zip(notes, notes[1:]):
            if a[2] != b[2]:
                tally.moves += 1
                tally.leaps += abs(a[2] - b[2]) > 7
    moments = sorted({n[0] for notes in seats.values() for n in notes})
    for (section, chair), notes in seats.items():
        for (other, lower), below in seats.items():
            if other != section or lower <= chair:
                continue
            for moment in moments:
                a, b = at(notes, moment), at(below, moment)
                # Horns are paired 1 3 2 4 from the top; with two they are in order.
                tally.crossings += bool(a and b and a[2] < b[2])


def judge(folder, cast):
    folder, cast = pathlib.Path(folder), pathlib.Path(cast)
    rows = collections.defaultdict(list)
    for row in csv.DictReader(open(cast / "notes.csv")):
        rows[row["file"]].append(row)
    ours, naive = Tally(), Tally()
    bach = 0
    where = []
    for name, notes in sorted(rows.items()):
        original = collections.defaultdict(list)
        for voice, onset, duration, key in csv.reader(open(folder / name.replace(".musicxml", ".csv"))):
            original[int(voice)].append((F(onset), F(duration), int(key)))
        own = parallels([original[v] for v in range(4)])
        bach += sum(own.values())
        seats, reach, lines = collections.defaultdict(list), {}, {}
        for row in notes:
            seat = int(row["section"]), int(row["chair"])
            seats[seat].append((F(row["onset"]), F(row["duration"]), int(row["key"])))
            reach[seat] = tuple(int(row[k]) for k in ("low", "high", "comfort_low", "comfort_high"))
            line = row["strand"], int(row["voice"])
            lines.setdefault(line, {}).setdefault(seat, []).append(seats[seat][-1])
        # One player a line; those who double it are not independent. A player's line may change between phrases, so lines are put together by time.
        joined = []
        for line in sorted(lines):
            merged = {}
            for part in lines[line].values():
                for n in part:
                    merged.setdefault(n[0], n)
            joined.append([merged[k] for k in sorted(merged)])
        found = parallels(joined)
        for moment, count in found.items():
            if not own.get(moment):
                ours.new += count
                where.append((name, str(moment)))
        players(ours, seats, reach)
        # Plain: the four voices in order, shared out among the players from the top of the page.
        order = sorted(seats)
        plain = {seat: original[place * 4 // len(order)] for place, seat in enumerate(order)}
        players(naive, plain, reach)
    print(f"{len(rows)} chorales; Bach's own parallels by this count: {bach}")
    print("cast:  ", ours)
    print("plain: ", naive)
    print("new parallels at", where[:20])


if __name__ == "__main__":
    if sys.argv[1] == "sketches":
        sketches(sys.argv[2], int(sys.argv[3]) if len(sys.argv) > 3 else 40)
    else:
        judge(sys.argv[2], sys.argv[3])
