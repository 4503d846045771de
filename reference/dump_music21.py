"""Caches the sounding notes of score files as music21 reads them.

    python reference/dump_music21.py corpus scores kern
    python reference/dump_music21.py my.musicxml

music21 decides onset, duration, written pitch, transposition (Score.toSoundingPitch), voices, and which notes carry tie ends.
Ours: expanding chords, adding offsets up the stream, joining ties by `witness.join_ties` (its stripTies loses ties between
voices), leaving out chord symbols, naming the part of each staff, and the flags of cue notes, which music21 does not keep.
"""

from __future__ import annotations

import re
from collections import defaultdict
from fractions import Fraction

import music21
from music21 import converter, harmony, note as m21note, stream
from music21.musicxml import xmlToM21

import witness
from witness import Dump, Note, ScoreFile

LIBRARY = f"music21-{music21.VERSION_STR}"


def keep_flags() -> None:
    """music21 drops <cue/> and a missing stem; remember them as group names on the note, which changes nothing else."""
    original = xmlToM21.MeasureParser.xmlToSimpleNote

    def with_flag(self, mxNote, freeSpanners=True):
        result = original(self, mxNote, freeSpanners)
        flags = witness.note_flags(mxNote)
        for flag, name in (("c", "cue"), ("i", "invisible")):
            if flag in flags:
                result.groups.append(name)
        return result

    xmlToM21.MeasureParser.xmlToSimpleNote = with_flag


def exact(value) -> Fraction:
    """music21 offsets are Fractions, or floats that are exact binary fractions."""
    return Fraction(value)


def events(container, start: Fraction):
    """(element, onset, voice) of everything that is not a stream, down the stream tree."""
    for element in container:
        onset = start + exact(container.elementOffset(element))
        if isinstance(element, stream.Stream):
            for inner, at, voice in events(element, onset):
                yield inner, at, (element.id if isinstance(element, stream.Voice) else voice)
        else:
            yield element, onset, None


def flags_of(element, single) -> str:
    flags = "g" if element.duration.isGrace else ""
    if "cue" in single.groups:
        flags += "c"
    elif single.hasStyleInformation and str(getattr(single.style, "noteSize", None)) in ("cue", "grace-cue"):
        flags += "s"
    if (single.hasStyleInformation and single.style.hideObjectOnPrint) or (
        element.hasStyleInformation and element.style.hideObjectOnPrint
    ):
        flags += "h"
    if "invisible" in single.groups:
        flags += "i"
    return flags


def part_notes(part, index: int, base: Fraction):
    """(note, tie, voice) for each notehead of a part, and its bars."""
    noteheads, bars = [], []
    for container in part:
        offset = base + exact(part.elementOffset(container))
        if isinstance(container, stream.Measure):
            number = f"{container.number}{container.numberSuffix or ''}"
            bars.append((offset, None, number))
            inside = events(container, offset)
        elif isinstance(container, stream.Stream):
            inside = events(container, offset)
        else:
            inside = [(container, offset, None)]
        bar = max(len(bars) - 1, 0)
        for element, onset, voice in inside:
            if not isinstance(element, m21note.NotRest) or isinstance(element, harmony.Harmony):
                continue
            duration = Fraction(0) if element.duration.isGrace else exact(element.duration.quarterLength)
            for single in getattr(element, "notes", (element,)):
                pitch = None if isinstance(single, m21note.Unpitched) else witness.pitch_number(single.pitch.ps)
                tie = single.tie.type if single.tie is not None else ""
                noteheads.append(
                    (Note(index, onset, duration, pitch, flags_of(element, single), bar), tie, (str(part.id), voice))
                )
    return noteheads, bars


def part_id(part, known: list[str]) -> str | None:
    """The MusicXML id of the <part> a music21 Part or PartStaff came from."""
    for group in part.groups:
        if group in known:
            return group
    for group in part.groups:
        base = re.sub(r"-Staff\d+$", "", group)
        if base in known:
            return base
    return None


def read(file: ScoreFile) -> Dump:
    dump = Dump(file.name, LIBRARY, file.format)
    format_name = "musicxml" if file.format == "musicxml" else "humdrum"
    parsed = converter.parse(file.path, format=format_name, forceSource=True, storePickle=False)
    scores = list(parsed.scores) if isinstance(parsed, stream.Opus) else [parsed]
    known = witness.part_ids(file.path) if file.format == "musicxml" else []
    dump.parts = list(known)
    heads, bars_of = defaultdict(list), {}
    base, first = Fraction(0), 0
    for score in scores:  # a kern file may hold several scores: one after another, parts numbered on
        score.toSoundingPitch(inPlace=True)
        for k, part in enumerate(score.parts):
            if file.format == "musicxml":
                name = part_id(part, known)
                if name is None:
                    raise ValueError(f"music21 part {part.id!r} belongs to no <part>")
                index = known.index(name)
            else:
                index = first + k
                dump.parts.append(str(part.partName or part.id))
            noteheads, bars = part_notes(part, index, base)
            heads[index] += noteheads
            if len(bars) > len(bars_of.get(index, ())):
                bars_of[index] = bars
        first += len(score.parts)
    dump.bars = [bars_of.get(i, []) for i in range(len(dump.parts))]
    for index in sorted(heads):
        dump.notes += witness.join_ties(heads[index])
    return dump


if __name__ == "__main__":
    keep_flags()
    witness.dump_main(__doc__, LIBRARY, read)
