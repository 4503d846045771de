"""Writes the piece as a transposed MusicXML 4.0 partwise score."""
from collections import defaultdict
from fractions import Fraction
from xml.sax.saxutils import escape

from . import orchestra, pitch as P

DIVISIONS = 24
TYPES = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "16th", "z": "32nd"}
LETTERS = {Fraction(4): ("w", 0), Fraction(2): ("h", 0), Fraction(3, 2): ("q", 1), Fraction(1): ("q", 0),
           Fraction(1, 2): ("e", 0), Fraction(1, 4): ("s", 0), Fraction(1, 8): ("z", 0)}
ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
ARTICULATIONS = {"'": "staccato", "_": "tenuto", ">": "accent", "^": "strong-accent", ",": "breath-mark"}
SOUNDS = {"pizz.": 'pizzicato="yes"', "arco": 'pizzicato="no"'}
MUTES = {"con sord.": "on", "senza sord.": "off"}
ROMAN = ("pizz.", "arco")


class Writer:
    """Indented XML, a line per element."""

    def __init__(self):
        self.out, self.depth = [], 0

    def open(self, tag):
        self.out.append("  " * self.depth + f"<{tag}>")
        self.depth += 1

    def close(self, tag):
        self.depth -= 1
        self.out.append("  " * self.depth + f"</{tag}>")

    def leaf(self, tag, text=None):
        name = tag.split()[0]
        self.out.append("  " * self.depth + (f"<{tag}/>" if text is None else f"<{tag}>{escape(str(text))}</{name}>"))


def write(piece, title, subtitle):
    w = Writer()
    w.out.append('<?xml version="1.0" encoding="UTF-8" standalone="no"?>')
    w.out.append('<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
                 '"http://www.musicxml.org/dtds/partwise.dtd">')
    w.open('score-partwise version="4.0"')
    _head(w, title, subtitle)
    _part_list(w)
    lines = defaultdict(list)
    for line in piece.lines:
        lines[line.part].append(line)
    for index, part in enumerate(orchestra.PARTS):
        w.open(f'part id="P{index + 1}"')
        _PartWriter(w, piece, part, index, lines[part.id]).write()
        w.close("part")
    w.close("score-partwise")
    return "\n".join(w.out) + "\n"


def _head(w, title, subtitle):
    w.open("work")
    w.leaf("work-title", title)
    w.close("work")
    w.open("identification")
    w.leaf('creator type="composer"', "Ripieno project")
    w.leaf("rights", "CC0 1.0 Universal")
    w.open("encoding")
    w.leaf("software", "demo/compose.py")
    w.leaf('supports element="accidental" type="yes"')
    w.leaf('supports element="beam" type="yes"')
    w.close("encoding")
    w.close("identification")
    w.open("defaults")
    w.open("scaling")
    w.leaf("millimeters", "4.2")
    w.leaf("tenths", "40")
    w.close("scaling")
    w.open("page-layout")
    w.leaf("page-height", "4000")
    w.leaf("page-width", "2829")
    w.open("page-margins")
    for side in ("left", "right", "top", "bottom"):
        w.leaf(f"{side}-margin", "120")
    w.close("page-margins")
    w.close("page-layout")
    w.close("defaults")
    for kind, text, size, x, y, justify in (("title", title, 24, 1414, 3900, "center"),
                                            ("subtitle", subtitle, 14, 1414, 3820, "center"),
                                            ("composer", "Ripieno project", 12, 2709, 3760, "right")):
        w.open('credit page="1"')
        w.leaf("credit-type", kind)
        w.leaf(f'credit-words default-x="{x}" default-y="{y}" font-size="{size}" justify="{justify}" valign="top"', text)
        w.close("credit")


def _part_list(w):
    w.open("part-list")
    families = [p.family for p in orchestra.PARTS]
    inner = {"hn12": "hn56", "tp12": "tp3", "tb12": "btb", "vn1": "vn2"}
    stop = set(inner.values())
    ports = 0
    for i, part in enumerate(orchestra.PARTS):
        if part.family != "harp" and (i == 0 or families[i - 1] != part.family):
            w.open('part-group number="1" type="start"')
            w.leaf("group-symbol", "bracket")
            w.leaf("group-barline", "yes")
            w.close("part-group")
        if part.id in inner:
            w.open('part-group number="2" type="start"')
            w.leaf("group-symbol", "square")
            w.leaf("group-barline", "yes")
            w.close("part-group")
        w.open(f'score-part id="P{i + 1}"')
        w.leaf("part-name", part.name)
        w.leaf("part-abbreviation", part.abbreviation)
        for k, inst in enumerate(part.instruments):
            w.open(f'score-instrument id="P{i + 1}-I{k + 1}"')
            w.leaf("instrument-name", inst.name)
            w.leaf("instrument-abbreviation", inst.abbreviation)
            w.leaf("instrument-sound", inst.sound)
            if part.players == 1:
                w.leaf("solo")
            else:
                w.leaf("ensemble", part.players or None)
            w.close("score-instrument")
        for k, inst in enumerate(part.instruments):
            port, channel = divmod(ports, 15)
            channel += 1 if channel < 9 else 2
            if inst.unpitched:
                port, channel = 0, 10
            else:
                ports += 1
            w.leaf(f'midi-device id="P{i + 1}-I{k + 1}" port="{port + 1}"')
            w.open(f'midi-instrument id="P{i + 1}-I{k + 1}"')
            w.leaf("midi-channel", channel)
            w.leaf("midi-program", inst.program)
            if inst.unpitched:
                w.leaf("midi-unpitched", inst.unpitched)
            w.close("midi-instrument")
        w.close("score-part")
        if part.id in stop:
            w.leaf('part-group number="2" type="stop"')
        if part.family != "harp" and (i + 1 == len(families) or families[i + 1] != part.family):
            w.leaf('part-group number="1" type="stop"')
    w.close("part-list")


def rests(start, end, bar):
    """Split a silence inside a bar at the beats: (onset, length) pairs, times from the barline."""
    out, now = [], start
    compound = bar.time[1] == 8
    while now < end:
        if compound:
            place = now % Fraction(3, 2)
            sizes = [Fraction(3, 2)] if place == 0 else []
            sizes += ([Fraction(1)] if place == 0 else []) + [Fraction(1, 2), Fraction(1, 4), Fraction(1, 8)]
            size = next(s for s in sizes if now + s <= end and now % Fraction(s if s < 1 else 1, 2) == 0
                        and (s != Fraction(1, 2) or place % s == 0))
        else:
            size = next(s for s in (Fraction(2), Fraction(1), Fraction(1, 2), Fraction(1, 4), Fraction(1, 8))
                        if now % s == 0 and now + s <= end)
        out.append((now, size))
        now += size
    return out


class _PartWriter:
    def __init__(self, w, piece, part, index, lines):
        self.w, self.piece, self.part, self.index = w, piece, part, index
        self.staves = len(part.clefs)
        self.notes = defaultdict(list)           # (bar number, staff, voice) -> [(note, line)]
        self.signs = defaultdict(list)
        for line in lines:
            for note in line.notes:
                if note.sounds or note.tuplet:
                    self.notes[piece.bar_at(note.onset).number, line.staff, line.voice].append((note, line))
        for content in self.notes.values():
            content.sort(key=lambda x: x[0].onset)
        self._collect_signs(lines)
        self.previous_state = {}
        self.tied = {}
        self.slides = {}

    # -- signs --------------------------------------------------------------------------------------------------

    def _collect_signs(self, lines):
        """Signs by bar; a sign at a barline that closes something belongs to the bar before it."""
        who, last_end, stroke = None, Fraction(-100), None
        for line in sorted(lines, key=lambda l: (l.start, l.voice)):
            sounding = [n for n in line.notes if n.sounds]
            if not sounding:
                continue
            first = sounding[0].onset
            bar = self.piece.bar_at(first)
            if line.voice == 1 and line.staff == 1:
                text = orchestra_mark(self.part, line.who, who, first - last_end)
                if text:
                    self._sign(bar, line.staff, first, "words", text)
                who = line.who
                last_end = max(last_end, sounding[-1].end)
            for sign in line.signs:
                place = self.piece.bar_at(sign.onset) if sign.onset < self.piece.end else self.piece.bars[-1]
                if sign.kind == "wedge" and sign.value == "!" and place.start == sign.onset and sign.onset > line.start:
                    place = self.piece.bars[place.number - 1]
                self._sign(place, line.staff, sign.onset, sign.kind, sign.value)
            for note in sounding:
                if note.stroke and len(self.part.instruments) > 1 and note.stroke != stroke:
                    stroke = note.stroke
                    name = self.part.instruments[stroke - 1].name
                    self._sign(self.piece.bar_at(note.onset), 1, note.onset, "words", name)

    def _sign(self, bar, staff, onset, kind, value):
        rank = {"words": 0, "dynamic": 1, "wedge": 2}[kind]
        if kind == "wedge" and value == "!":
            rank = -1
        self.signs[bar.number].append((onset, rank, staff, kind, value))

    def _direction(self, kind, value, staff):
        w = self.w
        above = kind == "words"
        w.open(f'direction placement="{"above" if above else "below"}"')
        w.open("direction-type")
        if kind == "dynamic":
            w.open("dynamics")
            w.leaf(value)
            w.close("dynamics")
        elif kind == "wedge":
            name = {"<": "crescendo", ">": "diminuendo", "!": "stop"}[value]
            w.leaf(f'wedge type="{name}" number="{staff}"')
        else:
            style = "normal" if value[0].isdigit() or value in ROMAN or value.startswith("a ") else "italic"
            w.leaf(f'words font-style="{style}"', value)
        w.close("direction-type")
        if self.staves > 1:
            w.leaf("staff", staff)
        if value in SOUNDS:
            w.leaf(f"sound {SOUNDS[value]}")
        elif value in MUTES:
            w.open("sound")
            w.open("play")
            w.leaf("mute", MUTES[value])
            w.close("play")
            w.close("sound")
        w.close("direction")

    # -- bars ---------------------------------------------------------------------------------------------------

    def write(self):
        fifths, time = None, None
        for bar in self.piece.bars:
            tag = f'measure number="{bar.number}"' + (' implicit="yes"' if bar.number == 0 else "")
            self.w.open(tag)
            self._left_barline(bar)
            self._attributes(bar, fifths, time)
            self._moment_signs(bar)
            fifths, time = bar.fifths, bar.time
            self._bar(bar)
            self._right_barline(bar)
            self.w.close("measure")

    def _left_barline(self, bar):
        if bar.repeat_start or bar.ending and bar.ending[1] in ("start", "both"):
            self.w.open('barline location="left"')
            if bar.repeat_start:
                self.w.leaf("bar-style", "heavy-light")
            if bar.ending and bar.ending[1] in ("start", "both"):
                self.w.leaf(f'ending number="{bar.ending[0]}" type="start"', f"{bar.ending[0]}.")
            if bar.repeat_start:
                self.w.leaf('repeat direction="forward"')
            self.w.close("barline")

    def _right_barline(self, bar):
        last = bar is self.piece.bars[-1]
        ends = bar.ending and bar.ending[1] in ("stop", "both", "discontinue")
        if not (last or ends or bar.repeat_end or bar.double_after):
            return
        self.w.open('barline location="right"')
        if last or bar.repeat_end:
            self.w.leaf("bar-style", "light-heavy")
        elif bar.double_after:
            self.w.leaf("bar-style", "light-light")
        if ends:
            kind = "discontinue" if bar.ending[1] == "discontinue" else "stop"
            self.w.leaf(f'ending number="{bar.ending[0]}" type="{kind}"')
        if bar.repeat_end:
            self.w.leaf('repeat direction="backward"')
        self.w.close("barline")

    def _attributes(self, bar, fifths, time):
        w, part = self.w, self.part
        first = bar.number == 0
        current = self.piece.instrument_at(part.id, bar.start)
        before = self.piece.instrument_at(part.id, bar.start - 1) if not first else None
        instrument = part.instruments[current]
        # parts without signature say so at every change, or a reader may let them inherit their neighbours' key
        new_key = bar.fifths != fifths or (part.key and before is not None and
                                           part.instruments[before].fifths != instrument.fifths)
        clefs = [c for c in self.piece.clefs.get(part.id, []) if c[0] == bar.start]
        changed = before is not None and before != current
        self.written_fifths = bar.fifths + instrument.fifths if part.key else 0
        if not (first or new_key or bar.time != time or clefs or changed):
            return
        w.open("attributes")
        if first:
            w.leaf("divisions", DIVISIONS)
        if first or new_key:
            w.open("key")
            w.leaf("fifths", self.written_fifths)
            if part.key:
                w.leaf("mode", bar.mode)
            w.close("key")
        if bar.time != time:
            w.open("time")
            w.leaf("beats", bar.time[0])
            w.leaf("beat-type", bar.time[1])
            w.close("time")
        if first:
            if self.staves > 1:
                w.leaf("staves", self.staves)
            if len(part.instruments) > 1:
                w.leaf("instruments", len(part.instruments))
            for staff, (sign, line) in enumerate(part.clefs, 1):
                self._clef(sign, line, staff)
            if part.lines != 5:
                w.open("staff-details")
                w.leaf("staff-lines", part.lines)
                w.close("staff-details")
        for _, staff, sign, line in clefs:
            self._clef(sign, line, staff)
        if first and instrument.transpose != (0, 0) or changed:
            diatonic, chromatic = instrument.transpose
            w.open("transpose")
            sign = 1 if chromatic >= 0 else -1
            octaves = sign * (abs(chromatic) // 12)
            w.leaf("diatonic", -(diatonic - 7 * octaves))
            w.leaf("chromatic", -(chromatic - 12 * octaves))
            if octaves:
                w.leaf("octave-change", -octaves)
            w.close("transpose")
        w.close("attributes")
        if changed:
            w.open('direction placement="above"')
            w.open("direction-type")
            w.leaf("words", instrument.name)
            w.close("direction-type")
            w.open("sound")
            w.open(f'instrument-change id="P{self.index + 1}-I{current + 1}"')
            w.leaf("instrument-sound", instrument.sound)
            w.close("instrument-change")
            w.close("sound")
            w.close("direction")

    def _clef(self, sign, line, staff):
        self.w.open(f'clef number="{staff}"' if self.staves > 1 else "clef")
        self.w.leaf("sign", sign)
        if line:
            self.w.leaf("line", line)
        self.w.close("clef")

    def _moment_signs(self, bar):
        if self.index:
            return
        w = self.w
        if bar.rehearsal:
            w.open('direction placement="above" system="only-top"')
            w.open("direction-type")
            w.leaf("rehearsal", bar.rehearsal)
            w.close("direction-type")
            w.close("direction")
        if bar.tempo:
            text, unit, dots, rate = bar.tempo
            w.open('direction placement="above" directive="yes" system="only-top"')
            w.open("direction-type")
            w.leaf('words font-weight="bold"', text)
            w.close("direction-type")
            w.open("direction-type")
            w.open("metronome")
            w.leaf("beat-unit", TYPES[unit])
            for _ in range(dots):
                w.leaf("beat-unit-dot")
            w.leaf("per-minute", rate)
            w.close("metronome")
            w.close("direction-type")
            crotchets = {"h": 2, "q": 1, "e": Fraction(1, 2)}[unit] * (Fraction(3, 2) if dots else 1) * rate
            w.leaf(f'sound tempo="{float(crotchets):g}"')
            w.close("direction")
        if bar.words:
            w.open('direction placement="above" system="only-top"')
            w.open("direction-type")
            w.leaf('words font-style="italic"', bar.words)
            w.close("direction-type")
            w.close("direction")

    def _bar(self, bar):
        w = self.w
        voices = sorted({k[1:] for k in self.notes if k[0] == bar.number} |
                        {(staff, 1) for staff in range(1, self.staves + 1)})
        accidentals = self._accidentals(bar, voices)
        signs = sorted(self.signs.get(bar.number, []), key=lambda s: (s[0], s[1]))
        length = bar.length
        first = True
        for staff, voice in voices:
            if not first:
                w.open("backup")
                w.leaf("duration", int(length * DIVISIONS))
                w.close("backup")
            first = False
            content = self.notes.get((bar.number, staff, voice), [])
            queue = [s for s in signs if s[2] == staff] if voice == 1 else []
            number = voice + 4 * (staff - 1)
            if not content:
                for s in queue:
                    self._direction(s[3], s[4], staff)
                if bar.number == 0:
                    # A rest that says it fills the bar is taken for a whole bar of the metre by some readers.
                    for _, size in rests(0, length, bar):
                        self._rest(size, LETTERS[size], number, staff)
                else:
                    self._rest(length, None, number, staff, whole=True, held=bar.fermata)
                continue
            beams = _beams(content, bar)
            now = Fraction(0)
            for (note, line) in content:
                onset = note.onset - bar.start
                for at, size in rests(now, onset, bar):
                    self._emit(queue, bar.start + at, staff)
                    self._rest(size, LETTERS[size], number, staff, held=bar.fermata and not at)
                self._emit(queue, note.onset, staff)
                self._note(note, line, number, staff, beams.get(note.onset, []), accidentals, (staff, voice))
                now = onset + note.length
            for at, size in rests(now, length, bar):
                self._emit(queue, bar.start + at, staff)
                self._rest(size, LETTERS[size], number, staff)
            self._emit(queue, bar.start + length, staff)

    def _emit(self, queue, moment, staff):
        while queue and queue[0][0] <= moment:
            s = queue.pop(0)
            self._direction(s[3], s[4], staff)

    def _rest(self, length, letter, voice, staff, whole=False, held=False):
        w = self.w
        w.open("note")
        w.leaf('rest measure="yes"' if whole else "rest")
        w.leaf("duration", int(length * DIVISIONS))
        w.leaf("voice", voice)
        if letter:
            w.leaf("type", TYPES[letter[0]])
            for _ in range(letter[1]):
                w.leaf("dot")
        if self.staves > 1:
            w.leaf("staff", staff)
        if held:
            w.open("notations")
            w.leaf('fermata type="upright"')
            w.close("notations")
        w.close("note")

    # -- notes --------------------------------------------------------------------------------------------------

    def _written(self, pitch, line):
        instrument = self.part.instruments[line.instrument]
        return P.shift(pitch, *instrument.transpose)

    def _accidentals(self, bar, voices):
        """Which written notes need an accidental: {(staff, voice, onset, pitch): cautionary}."""
        need = {}
        state, previous = {}, self.previous_state
        items = []
        for staff, voice in voices:
            for note, line in self.notes.get((bar.number, staff, voice), []):
                for grace in note.graces:
                    items.append((note.onset, 0, staff, voice, self._written(grace, line), False, "g"))
                for pitch in note.pitches:
                    held = self.tied.get((staff, voice), ())
                    items.append((note.onset, 1, staff, voice, self._written(pitch, line),
                                  pitch in held and note.onset == bar.start, "n"))
                if note.pitches:
                    self.tied[staff, voice] = note.pitches if "~" in note.marks else ()
        for onset, _, staff, voice, pitch, held, kind in sorted(items, key=lambda i: (i[0], i[1])):
            step, alter, octave = pitch
            default = P.key_alter(step, self.written_fifths)
            known = state.get((staff, step, octave), default)
            if held:
                continue
            if alter != known:
                need[staff, voice, onset, pitch, kind] = False
            elif (staff, step, octave) not in state and previous.get((staff, step, octave), alter) != alter:
                need[staff, voice, onset, pitch, kind] = True
            state[staff, step, octave] = alter
        self.previous_state = state
        return need

    def _note(self, note, line, voice, staff, beams, accidentals, slot):
        w, part = self.w, self.part
        for grace in note.graces:
            w.open("note")
            w.leaf('grace slash="yes"')
            self._pitch(self._written(grace, line))
            self._tail(line, voice, "e", 0, staff, accidentals.get((*slot, note.onset, self._written(grace, line), "g")))
            w.close("note")
        marks = note.marks
        if not note.sounds:
            w.open("note")
            w.leaf("rest")
            w.leaf("duration", int(note.length * DIVISIONS))
            w.leaf("voice", voice)
            w.leaf("type", TYPES[note.letter])
            self._tuplet_time(note)
            if self.staves > 1:
                w.leaf("staff", staff)
            if note.tuplet and note.tuplet[2]:
                w.open("notations")
                self._tuplet(note)
                w.close("notations")
            w.close("note")
            return
        starting = "~" in marks
        held = getattr(self, "_held", {}).get(slot, ())
        for place, pitch in enumerate(note.pitches or (None,)):
            w.open("note")
            if place:
                w.leaf("chord")
            if pitch is None:
                w.open("unpitched")
                w.leaf("display-step", "E")
                w.leaf("display-octave", 4)
                w.close("unpitched")
                written = None
            else:
                written = self._written(pitch, line)
                self._pitch(written)
            length = note.length * DIVISIONS
            assert length.denominator == 1
            w.leaf("duration", int(length))
            ties = []
            if held and (pitch in held or pitch is None):
                ties.append("stop")
            if starting and (pitch is None or pitch in self._next(note, slot)):
                ties.append("start")
            for tie in ties:
                w.leaf(f'tie type="{tie}"')
            if len(part.instruments) > 1:
                index = note.stroke - 1 if note.stroke else line.instrument
                w.leaf(f'instrument id="P{self.index + 1}-I{index + 1}"')
            w.leaf("voice", voice)
            w.leaf("type", TYPES[note.letter])
            for _ in range(note.dots):
                w.leaf("dot")
            caution = accidentals.get((*slot, note.onset, written, "n")) if written else None
            if caution is not None:
                text = ACCIDENTALS[written[1]]
                w.leaf('accidental cautionary="yes"' if caution else "accidental", text)
            self._tuplet_time(note)
            if note.stroke == 2:
                w.leaf("notehead", "x")
            if self.staves > 1:
                w.leaf("staff", staff)
            if not place:
                for level, beam in enumerate(beams, 1):
                    w.leaf(f'beam number="{level}"', beam)
            self._notations(note, ties, place == 0, place, slot)
            w.close("note")
        self._held = getattr(self, "_held", {})
        self._held[slot] = (note.pitches or (None,)) if starting else ()

    def _next(self, note, slot):
        bar = self.piece.bar_at(note.end)
        for other, _ in self.notes.get((bar.number, *slot), []):
            if other.onset == note.end:
                return other.pitches
        return ()

    def _pitch(self, pitch):
        w = self.w
        w.open("pitch")
        w.leaf("step", pitch[0])
        if pitch[1]:
            w.leaf("alter", pitch[1])
        w.leaf("octave", pitch[2])
        w.close("pitch")

    def _tail(self, line, voice, letter, dots, staff, caution):
        w = self.w
        if len(self.part.instruments) > 1:
            w.leaf(f'instrument id="P{self.index + 1}-I{line.instrument + 1}"')
        w.leaf("voice", voice)
        w.leaf("type", TYPES[letter])
        if caution is not None:
            # the grace note's own pitch is the last one written
            alter = next((l for l in reversed(self.w.out) if "<alter>" in l or "<step>" in l), "")
            value = int(alter.strip()[7:-8]) if "<alter>" in alter else 0
            w.leaf("accidental", ACCIDENTALS[value])
        if self.staves > 1:
            w.leaf("staff", staff)

    def _tuplet_time(self, note):
        if note.tuplet:
            w = self.w
            w.open("time-modification")
            w.leaf("actual-notes", note.tuplet[0])
            w.leaf("normal-notes", note.tuplet[1])
            w.close("time-modification")

    def _tuplet(self, note):
        if note.tuplet and note.tuplet[2]:
            self.w.leaf(f'tuplet type="{note.tuplet[2]}" number="1" bracket="{"no" if note.letter in "esz" else "yes"}"')

    def _notations(self, note, ties, full, place, slot):
        w = self.w
        marks = note.marks if full else tuple(m for m in note.marks if m == "{arp}")
        technical, ornaments, articulations, other = [], [], [], []
        for mark in marks:
            if mark in ARTICULATIONS:
                articulations.append(ARTICULATIONS[mark])
            elif mark == "{tr}":
                ornaments.append("trill-mark")
            elif mark[0] == "*":
                ornaments.append(("tremolo", mark[1]))
            elif mark == "{+}":
                technical.append("stopped")
            elif mark == "{open}":
                technical.append("open-string" if self.part.family == "strings" else "open")
            elif mark == "{harm}":
                technical.append("harmonic")
        slide = self.slides.pop(slot, False) if full else False
        gliss = "{gliss}" in marks
        if not (ties or marks and set(marks) != {"~"} or full and note.tuplet and note.tuplet[2] or slide):
            return
        w.open("notations")
        for tie in ties:
            w.leaf(f'tied type="{tie}"')
        number = slot[1]
        if ")" in marks:
            w.leaf(f'slur type="stop" number="{number}"')
        if "(" in marks:
            w.leaf(f'slur type="start" number="{number}"')
        if full:
            self._tuplet(note)
        if slide:
            w.leaf('glissando type="stop" number="1" line-type="wavy"')
        if gliss:
            w.leaf('glissando type="start" number="1" line-type="wavy"', "gliss.")
            self.slides[slot] = True
        if ornaments:
            w.open("ornaments")
            for item in ornaments:
                if isinstance(item, tuple):
                    w.leaf('tremolo type="single"', item[1])
                else:
                    w.leaf(item)
            w.close("ornaments")
        if technical:
            w.open("technical")
            for item in technical:
                if item == "harmonic":
                    w.open("harmonic")
                    w.leaf("natural")
                    w.close("harmonic")
                else:
                    w.leaf(item)
            w.close("technical")
        if articulations:
            w.open("articulations")
            for item in articulations:
                w.leaf(item)
            w.close("articulations")
        if "@" in marks:
            w.leaf('fermata type="upright"')
        if "{arp}" in marks:
            w.leaf("arpeggiate")
        w.close("notations")


def orchestra_mark(part, who, before, silence):
    """The words that say how many play: after a change, and again after two bars of rest."""
    if part.players == 2:
        if who != before or silence >= 8:
            return {"a2": "a 2", "1": "1.", "2": "2."}.get(who)
        return None
    if part.players == 0 and who != before:
        if who == "all":
            return {"solo": "tutti", "div": "unis."}.get(before)
        return {"solo": "solo", "div": "div."}[who]
    return None


def _beams(content, bar):
    """{onset: ['begin', ..]} for the notes of one voice in one bar."""
    beat = Fraction(3, 2) if bar.time[1] == 8 else Fraction(1)
    level = {"e": 1, "s": 2, "z": 3}
    windows = {}
    if bar.time == (4, 4):
        for half in (Fraction(0), Fraction(2)):
            inside = [n for n, _ in content if half <= n.onset - bar.start < half + 2]
            plain = all(n.letter == "e" and not n.dots and not n.tuplet and n.sounds for n in inside)
            if plain and sum((n.length for n in inside), Fraction(0)) == 2:
                windows[half] = windows[half + 1] = half
    groups = defaultdict(list)
    for note, _ in content:
        place = note.onset - bar.start
        base = place - place % beat
        groups[windows.get(base, base)].append(note)
    out = {}
    for group in groups.values():
        runs, run = [], []
        for note in group:
            joined = note.sounds and note.letter in level
            if joined and run and run[-1].end != note.onset:
                runs.append(run)
                run = []
            if joined:
                run.append(note)
            elif run:
                runs.append(run)
                run = []
        runs.append(run)
        for run in runs:
            if len(run) > 1:
                for i, note in enumerate(run):
                    out[note.onset] = [_beam(run, i, l, level) for l in range(1, level[note.letter] + 1)]
    return out


def _beam(run, i, l, level):
    before = i > 0 and level[run[i - 1].letter] >= l
    after = i + 1 < len(run) and level[run[i + 1].letter] >= l
    if before and after:
        return "continue"
    if after:
        return "begin"
    if before:
        return "end"
    return "backward hook" if i > 0 else "forward hook"
