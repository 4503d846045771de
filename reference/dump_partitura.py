"""Caches the sounding notes of score files as partitura reads them.

    python reference/dump_partitura.py corpus scores kern

partitura decides onset, duration, written pitch, divisions, and ties (its tie_prev and tie_next links).
Ours: undoing transposition (partitura keeps the <transpose> element but leaves notes as written, and drops octave-change,
so a small wrapper keeps it), and the flags of cue and hidden notes, looked up in the file by the order of <note> elements.
"""

from __future__ import annotations

import bisect
import math
from fractions import Fraction
from importlib.metadata import version

import partitura
import partitura.score as ps
from partitura.io import importmusicxml

import witness
from witness import Dump, Note, ScoreFile

LIBRARY = f"partitura-{version('partitura')}"


def keep_octave_changes() -> None:
    """Remember semitones of <transpose>, octaves included, on the part as partitura meets it."""
    original = importmusicxml._handle_attributes

    def with_octaves(e, position, part):
        original(e, position, part)
        for transpose in e.findall("transpose"):
            semitones = float(transpose.findtext("chromatic") or 0) + 12 * int(transpose.findtext("octave-change") or 0)
            staff = int(transpose.get("number") or 0)
            part.__dict__.setdefault("_transpositions", []).append((position, staff, semitones))

    importmusicxml._handle_attributes = with_octaves


class Clock:
    """Divisions to crotchets, exactly, through every change of divisions."""

    def __init__(self, part):
        self.times = [int(t) for t in part._quarter_times]
        self.divisions = [int(d) for d in part._quarter_durations]
        self.starts = [Fraction(0)]
        for k in range(1, len(self.times)):
            self.starts.append(self.starts[-1] + Fraction(self.times[k] - self.times[k - 1], self.divisions[k - 1]))

    def at(self, time) -> Fraction:
        k = max(bisect.bisect_right(self.times, time) - 1, 0)
        return self.starts[k] + Fraction(int(time) - self.times[k], self.divisions[k])


def semitones_at(transpositions, time, staff) -> float:
    value = 0.0
    for position, only_staff, semitones in transpositions:
        if position <= time and only_staff in (0, staff):
            value = semitones
    return value


def element_flags(part_element) -> list[str]:
    """Flags of each <note> of a part in the order of the file; grace notes partitura marks itself."""
    return [witness.note_flags(note).replace("g", "") for note in part_element.iter("note")]


def tied_duration(note, clock: Clock) -> Fraction:
    total, seen = Fraction(0), set()
    while note is not None and id(note) not in seen:
        seen.add(id(note))
        total += clock.at(note.end.t) - clock.at(note.start.t)
        note = note.tie_next
    return total


def part_notes(part, index: int, flags: list[str]):
    clock = Clock(part)
    transpositions = getattr(part, "_transpositions", [])
    measures = sorted(part.iter_all(ps.Measure), key=lambda m: m.start.t)
    starts = [m.start.t for m in measures]
    bars = []
    for m in measures:
        length = None if m.end is None else clock.at(m.end.t) - clock.at(m.start.t)
        bars.append((clock.at(m.start.t), length, str(m.name if m.name is not None else m.number)))
    notes = []
    for note in part.iter_all(ps.GenericNote, include_subclasses=True):
        if isinstance(note, ps.Rest):
            continue
        grace = isinstance(note, ps.GraceNote)
        if note.tie_prev is not None and not grace and not isinstance(note.tie_prev, ps.GraceNote):
            continue
        if isinstance(note, ps.UnpitchedNote):
            pitch = None
        else:
            pitch = witness.pitch_number(note.midi_pitch + semitones_at(transpositions, note.start.t, note.staff))
        mark = "g" if grace else ""
        if note.doc_order is not None and note.doc_order < len(flags):
            mark += flags[note.doc_order]
        bar = max(bisect.bisect_right(starts, note.start.t) - 1, 0)
        duration = Fraction(0) if grace else tied_duration(note, clock)
        notes.append(Note(index, clock.at(note.start.t), duration, pitch, mark, bar))
    notes.sort(key=lambda n: (n.onset, n.pitch if n.pitch is not None else -math.inf, n.duration))
    return notes, bars


def read(file: ScoreFile) -> Dump:
    dump = Dump(file.name, LIBRARY, file.format)
    if file.format == "kern":
        score = partitura.load_kern(str(file.path))
        order = list(score.parts)
        dump.parts = [str(p.id) for p in order]
        flags = [[] for _ in order]
    else:
        score = partitura.load_musicxml(str(file.path))
        root = witness.musicxml_root(file.path)
        elements = root.findall("part")
        dump.parts = [e.get("id", "P1") for e in elements]
        by_id = {p.id: p for p in score.parts}
        order = [by_id.get(i) for i in dump.parts]
        flags = [element_flags(e) for e in elements]
    dump.bars = [[] for _ in order]
    for index, part in enumerate(order):
        if part is None:
            dump.warnings.append(f"part {dump.parts[index]} not read")
            continue
        notes, dump.bars[index] = part_notes(part, index, flags[index])
        dump.notes += notes
    return dump


if __name__ == "__main__":
    keep_octave_changes()
    witness.dump_main(__doc__, LIBRARY, read)
