"""The compact notation in which the phrases are written.

    Eb4q.   pitch, duration (w h q e s z; dots), then marks; the duration stays until changed
    [Eb4,G4]h  chord         rq  rest        xq x2q  unpitched stroke (on instrument 1, 2)
    marks:  '  staccato   _ tenuto   > accent   ^ marcato   ~ tie   ( ) slur   @ fermata   , breath
            *3 tremolo strokes   {tr} {+} {arp} {gliss} {gliss.} {open} {harm}
    gD5     grace note before the next note
    3{ .. } triplet (6{ = six in the time of four)
    !p !ff  dynamic     !< !> !!  hairpin begins, ends       "pizz."  words (_ for space)
    |       barline, checked against the metre
"""
import re
from dataclasses import dataclass, field, replace
from fractions import Fraction

from . import pitch as P

LENGTHS = {"w": Fraction(4), "h": Fraction(2), "q": Fraction(1), "e": Fraction(1, 2),
           "s": Fraction(1, 4), "z": Fraction(1, 8)}
NORMAL = {3: 2, 6: 4, 5: 4, 2: 3}
NOTE = re.compile(r"(\[[^\]]+\]|[A-G](?:bb|b|##|#)?\d|r|x\d?|[1-9])([whqesz]\.{0,2})?(.*)")
MARK = re.compile(r"['_>^~()@,]|\*\d|\{[^}]*\}")


@dataclass(frozen=True)
class Note:
    """A note, chord, stroke or rest. Times in crotchets from the start of the phrase, then of the piece."""
    onset: Fraction
    length: Fraction
    letter: str
    dots: int
    pitches: tuple
    marks: tuple = ()
    graces: tuple = ()
    stroke: int = 0            # unpitched instrument, counted from 1
    tuplet: tuple = ()         # (actual, normal, 'start' | 'stop' | '')

    @property
    def sounds(self):
        return bool(self.pitches or self.stroke)

    @property
    def end(self):
        return self.onset + self.length


@dataclass(frozen=True)
class Sign:
    """A dynamic, hairpin end or words at a moment. `kind`: dynamic, wedge, words."""
    onset: Fraction
    kind: str
    value: str


@dataclass
class Phrase:
    """Notes and signs of one phrase, times from its start."""
    notes: list = field(default_factory=list)
    signs: list = field(default_factory=list)
    bars: list = field(default_factory=list)     # where the text says a barline stands
    length: Fraction = Fraction(0)


def _value(text):
    length = LENGTHS[text[0]]
    dots = len(text) - 1
    return length * (2 - Fraction(1, 2 ** dots)), text[0], dots


def parse(text):
    """Read one phrase. Raises ValueError naming the token."""
    out, now, value, graces = Phrase(), Fraction(0), "q", []
    tuplet, first, members = None, False, []
    for token in text.split():
        if token == "|":
            out.bars.append(now)
        elif token[0] == "!":
            kind = "wedge" if token[1] in "<>!" else "dynamic"
            out.signs.append(Sign(now, kind, token[1:]))
        elif token[0] == '"':
            out.signs.append(Sign(now, "words", token.strip('"').replace("_", " ")))
        elif re.fullmatch(r"\d\{", token):
            tuplet, first, members = int(token[0]), True, []
        elif token == "}":
            last = out.notes[-1]
            out.notes[-1] = replace(last, tuplet=last.tuplet[:2] + ("stop",))
            tuplet = None
        elif token[0] == "g":
            graces.append(P.parse(token[1:]))
        else:
            match = NOTE.fullmatch(token)
            if not match:
                raise ValueError(f"cannot read {token!r} in {text!r}")
            head, new, marks = match.groups()
            value = new or value
            length, letter, dots = _value(value)
            kind = ()
            if tuplet:
                length = length * NORMAL[tuplet] / tuplet
                kind = (tuplet, NORMAL[tuplet], "start" if first else "")
                first = False
            stroke = int(head[1:] or 1) if head[0] == "x" else 0
            if head[0] == "[":
                pitches = tuple(sorted((P.parse(p) for p in head[1:-1].split(",")), key=P.midi))
            else:
                pitches = () if head[0] in "rx" else (P.parse(head),)
            found = tuple(MARK.findall(marks))
            if "".join(found) != marks:
                raise ValueError(f"unknown mark in {token!r}")
            out.notes.append(Note(now, length, letter, dots, pitches, found, tuple(graces), stroke, kind))
            graces = []
            now += length
    out.length = now
    return out


def octaves(phrase, count):
    """The same phrase `count` octaves higher."""
    if not count:
        return phrase
    up = lambda p: (p[0], p[1], p[2] + count)
    notes = [replace(n, pitches=tuple(up(p) for p in n.pitches), graces=tuple(up(p) for p in n.graces))
             for n in phrase.notes]
    return Phrase(notes, list(phrase.signs), list(phrase.bars), phrase.length)


def stamp(harmony, pattern):
    """Write a chord succession in a rhythm: a phrase text.

    `harmony` is notation with chords, `pattern` one bar of rhythm in which x stands for the whole chord and
    1, 2, 3 .. for its tones from below (beyond the top: the octave above). Signs in either are kept.
    """
    chords, words = parse(harmony), []
    bars = [Fraction(0)] + chords.bars
    ends = chords.bars + [chords.length]
    signs = {}
    for sign in chords.signs:
        signs.setdefault(sign.onset, []).append(
            f"!{sign.value}" if sign.kind != "words" else '"' + sign.value.replace(" ", "_") + '"')
    for number, (start, end) in enumerate(zip(bars, ends)):
        now, value, tuplet = start, "q", None
        for token in pattern.split():
            if re.fullmatch(r"\d\{", token) or token == "}":
                tuplet = int(token[0]) if token != "}" else None
                words.append(token)
                continue
            if token[0] in '!"':
                words.append(token)
                continue
            match = NOTE.fullmatch(token)
            head, new, marks = match.groups()
            value = new or value
            for onset in sorted(o for o in signs if o <= now):
                words += signs.pop(onset)
            chord = next((n for n in chords.notes if n.onset <= now < n.end), None)
            if chord is None:
                raise ValueError(f"pattern runs past bar {number + 1} of {harmony!r}")
            if head == "r" or not chord.pitches:
                words.append("r" + value)
            elif head[0] == "x":
                words.append("[" + ",".join(P.name(p) for p in chord.pitches) + "]" + value + marks)
            else:
                turn, index = divmod(int(head) - 1, len(chord.pitches))
                step, alter, octave = chord.pitches[index]
                words.append(P.name((step, alter, octave + turn)) + value + marks)
            length = _value(value)[0]
            now += length * NORMAL[tuplet] / tuplet if tuplet else length
        if now != end:
            raise ValueError(f"pattern {pattern!r} does not fill bar {number + 1} of {harmony!r}")
        if number < len(bars) - 1:
            words.append("|")
    for onset in sorted(signs):
        words += signs[onset]
    return " ".join(words)
