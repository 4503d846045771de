"""The piece under construction: bars, lines put into parts, chords; one source for the score and every table.

A *line* is what one voice plays over a span: its notes together with what the composer meant by them (role, manner,
layer). Several parts may play one line, at the unison or in octaves; that is what the tables call a doubling.
"""
from collections import defaultdict
from dataclasses import dataclass, field, replace
from fractions import Fraction

from . import notation, orchestra

ROLES = ("melody", "countermelody", "bass", "harmony", "pedal", "rhythm", "figuration", "punctuation", "effect")
MANNERS = ("moving", "sustained", "repeated", "arpeggio", "run", "hit", "tremolo", "roll", "glissando")
SHARED = {"a2": "a 2", "1": "1.", "2": "2."}
STRINGS = {"solo": "solo", "div": "div."}


@dataclass
class Bar:
    number: int
    length: Fraction
    time: tuple
    fifths: int
    start: Fraction = Fraction(0)
    tempo: tuple = ()            # (text, beat unit, dots, per minute)
    rehearsal: str = ""
    mode: str = "major"          # of the printed key signature
    words: str = ""
    repeat_start: bool = False
    repeat_end: bool = False
    ending: tuple = ()           # (number, 'start' | 'stop' | 'both' | 'discontinue')
    double_after: bool = False
    fermata: bool = False        # held at its last sounding moment; resting parts show it too


@dataclass
class Line:
    """One line as one part plays it."""
    part: str
    voice: int
    staff: int
    notes: list
    signs: list
    start: Fraction
    end: Fraction
    role: str
    manner: str
    layer: str
    who: str
    relation: str                # 'lead', 'unison', 'octave', 'parallel', 'rhythm' or ''
    leader: str                  # part id of the line it doubles or runs parallel to
    octave: int
    theme: tuple = ()            # (theme id, key of statement, variant)
    line: int = 0                # lines with one number have the same notes, octaves apart
    instrument: int = 0
    also: tuple = ()             # further roles true of the same notes


class Piece:
    def __init__(self):
        self.bars, self.lines, self.chords, self.changes, self.clefs = [], [], [], {}, {}
        self.tutti = []
        self._line = self.last_line = 0

    # -- bars ---------------------------------------------------------------------------------------------------

    def add_bars(self, first, last, time, fifths):
        beats, unit = time
        for number in range(first, last + 1):
            start = self.bars[-1].start + self.bars[-1].length if self.bars else Fraction(0)
            self.bars.append(Bar(number, Fraction(4 * beats, unit), time, fifths, start))

    def add_pickup(self, time, fifths, length):
        self.bars.append(Bar(0, Fraction(length), time, fifths))

    def bar(self, number):
        return self.bars[number]

    def time_of(self, at):
        """A moment given as bar number, or (bar number, crotchets after its barline)."""
        number, offset = at if isinstance(at, tuple) else (at, 0)
        return self.end if number == len(self.bars) else self.bars[number].start + Fraction(offset)

    def bar_at(self, moment):
        return max((b for b in self.bars if b.start <= moment), key=lambda b: b.start)

    @property
    def end(self):
        return self.bars[-1].start + self.bars[-1].length

    # -- music --------------------------------------------------------------------------------------------------

    def put(self, parts, at, text, role, manner, layer, theme=(), dyn=None, say=None, voice=1, staff=1,
            relation=None, leader=None, until=None, also=(), line=None):
        """Give a phrase to one part or several.

        `parts`: 'vn1 vn2:-1 hn12/a2' = Violin I leads, Violin II an octave lower, Horns 1.2 a 2 at pitch.
        Several parts share one line: the first leads, the others double it. `dyn` replaces the first dynamic,
        `say` adds words at the start. `until` checks the bar after the last.
        Returns the number of the line, to be passed as `line` when more parts join it with marks of their own.
        """
        if role not in ROLES or manner not in MANNERS or not set(also) <= set(ROLES):
            raise ValueError(f"{at} {parts}: unknown role or manner {role} {manner} {also}")
        start = self.time_of(at)
        joined = next((l for l in self.lines if l.line == line), None) if line else None
        if line is None:
            self._line += 1
            line = self._line
        self.last_line = line
        for place, token in enumerate(parts.split()):
            head, _, who = token.partition("/")
            part, _, octave = head.partition(":")
            octave = int(octave or 0)
            phrase = notation.octaves(notation.parse(text), octave)
            for moment in phrase.bars:
                if not any(b.start == start + moment for b in self.bars) and start + moment != self.end:
                    bar = self.bar_at(start + moment)
                    raise ValueError(f"{part} from {at}: barline falls in bar {bar.number} at "
                                     f"{start + moment - bar.start}: {text}")
            if until is not None and start + phrase.length != self.time_of(until):
                bar = self.bar_at(start + phrase.length)
                raise ValueError(f"{part} from {at}: ends in bar {bar.number} at {start + phrase.length - bar.start}")
            signs = list(phrase.signs)
            if dyn:
                first = next((i for i, s in enumerate(signs) if s.kind == "dynamic"), None)
                if first is None:
                    signs.insert(0, notation.Sign(Fraction(0), "dynamic", dyn))
                else:
                    signs[first] = replace(signs[first], value=dyn)
            sounding = [n for n in phrase.notes if n.sounds]
            if say and sounding:
                at_first = sounding[0].onset
                signs = [notation.Sign(at_first, "words", w) for w in say.split("|")] + signs
            base = orchestra.BY_ID[part]
            if not who:
                who = "div" if base.players == 2 else "all" if base.players == 0 else "1"
            if relation:
                how, led = relation, leader or ""
            elif joined:
                how, led = "unison" if octave == joined.octave else "octave", joined.part
                lead_octave, lead_part = joined.octave, joined.part
            elif place == 0:
                how, led, lead_octave, lead_part = "lead", "", octave, part
            else:
                how = "unison" if octave == lead_octave else "octave"
                led = lead_part
            self.lines.append(Line(
                part, voice, staff, [replace(n, onset=n.onset + start) for n in phrase.notes],
                [replace(s, onset=s.onset + start) for s in signs], start, start + phrase.length, role, manner,
                layer, who, how, led, octave, theme, line, self.instrument_at(part, start), tuple(also)))
        return line

    def change(self, part, at, instrument):
        """From bar `at` the player of `part` holds another instrument (index into the part's instruments)."""
        self.changes.setdefault(part, []).append((self.time_of(at), instrument))

    def instrument_at(self, part, moment):
        current = 0
        for time, instrument in self.changes.get(part, []):
            if time <= moment:
                current = instrument
        return current

    def clef(self, part, at, sign, line, staff=1):
        self.clefs.setdefault(part, []).append((self.time_of(at), staff, sign, line))

    # -- harmony ------------------------------------------------------------------------------------------------

    def harmony(self, first, key, text, until=None):
        """Chord plan: bars separated by |, a chord is SYMBOL or SYMBOL:duration; a bar may hold several."""
        number = first
        for bar_text in text.split("|"):
            bar, now = self.bars[number], Fraction(0)
            tokens = bar_text.split()
            for token in tokens:
                symbol, _, value = token.partition(":")
                length = notation._value(value)[0] if value else bar.length / len(tokens)
                self.chords.append((bar.start + now, length, symbol, key))
                now += length
            if now != bar.length:
                raise ValueError(f"chords of bar {number} last {now}, the bar {bar.length}")
            number += 1
        if until is not None and number != until:
            raise ValueError(f"chord plan from bar {first} ends before bar {number}, not {until}")

    # -- views --------------------------------------------------------------------------------------------------

    def sounding(self):
        """All sounding notes as (line, note), by part and time."""
        order = {p.id: i for i, p in enumerate(orchestra.PARTS)}
        return sorted(((l, n) for l in self.lines for n in l.notes if n.sounds),
                      key=lambda x: (order[x[0].part], x[1].onset, x[0].staff, x[0].voice))

    def check(self):
        """No part plays two things in one voice at once; every tie finds its note; every bar has a chord."""
        slots = defaultdict(list)
        for line, note in self.sounding():
            slots[line.part, line.staff, line.voice].append((note.onset, note.end, note, line))
        for (part, *_), notes in slots.items():
            for (a0, a1, a, la), (b0, b1, b, lb) in zip(notes, notes[1:]):
                bar = self.bar_at(b0)
                if b0 < a1:
                    raise ValueError(f"{part}, bar {bar.number}: two phrases overlap ({la.layer}, {lb.layer})")
                if "~" in a.marks and not (b0 == a1 and (set(a.pitches) & set(b.pitches) or a.stroke == b.stroke > 0)):
                    raise ValueError(f"{part}, bar {bar.number}: tie leads nowhere")
        for line, note in self.sounding():
            bar = self.bar_at(note.onset)
            if note.end > bar.start + bar.length:
                raise ValueError(f"{line.part}, bar {bar.number}: note crosses the barline")
            base = orchestra.BY_ID[line.part]
            if base.players == 2 and line.who == "div" and len(note.pitches) != 2:
                raise ValueError(f"{line.part}, bar {bar.number}: does not say which of two players plays one note")
            if base.players == 2 and line.who != "div" and len(note.pitches) != 1:
                raise ValueError(f"{line.part}, bar {bar.number}: a chord under {line.who}")
        if sum((c[1] for c in self.chords), Fraction(0)) + self.bars[0].length != self.end:
            raise ValueError("the chord plan does not cover the piece")
