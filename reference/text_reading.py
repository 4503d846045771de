"""A third reading, straight from the MusicXML text, to say which library is right where two differ.

This is not an outside witness: we wrote it. It follows the MusicXML 4.0 documentation element by element, in the plainest way
that could be checked by eye, and shares no code with the Rust reader. agree.py uses it only to sort differences.

    python reference/text_reading.py corpus scores

Rules taken from the MusicXML 4.0 schema documentation:
  duration    in divisions of the crotchet, decimal allowed; kept as an exact fraction.
  chord       starts with the preceding note that is not a chord note; "does not move the musical position".
  backup      may not leave the bar; one that does is held at the bar's start.
  grace       takes no time. cue: takes time, makes no sound. print-object="no": not shown, so not counted as playing.
  tie         the sounding tie; tied (notation) alone does not join. A tie out of a bar that its part leaves short is held to
              the barline.
  pitch       as written for transposing instruments; octave-shift and clef-octave-change are already in it.
  transpose   diatonic, chromatic and octave-change from written to sounding, per staff where it has a number.
              for-part (4.0) describes a part made from a concert score and moves nothing here.
  measure     measures of the same index are one bar in every part (partwise and timewise scores are the same music). Where
              parts fill a bar unevenly it is as long as its last sounding note needs, and at least the time signature if some
              part reaches that: a second whole-bar rest in one part lengthens nothing. In an unnumbered (implicit) bar, such
              as a pickup, only parts with notes count, since a whole-bar rest fills any bar. `--parts-apart` adds
              up each part alone, as both libraries do, so that parts drift apart after an uneven bar.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from fractions import Fraction

import witness
from witness import Dump, Note, ScoreFile

LIBRARY = "text-aligned"
LIBRARY_APART = "text-apart"
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def number(element, tag, default="0") -> Fraction:
    text = element.findtext(tag)
    return Fraction(text.strip()) if text and text.strip() else Fraction(default)


def measures_by_part(root) -> list[list]:
    if root.tag != "score-timewise":
        return [part.findall("measure") for part in root.findall("part")]
    columns = [m.findall("part") for m in root.findall("measure")]
    return [[column[k] for column in columns if k < len(column)] for k in range(len(columns[0]) if columns else 0)]


def written_key(note):
    pitch = note.find("pitch")
    if pitch is None:
        return None
    alter = number(pitch, "alter")
    return 12 * (int(pitch.findtext("octave")) + 1) + STEPS[pitch.findtext("step").strip()] + alter


class PartReader:
    """Reads the bars of one part in order; keeps what lasts from bar to bar."""

    def __init__(self, index: int):
        self.index = index
        self.divisions = Fraction(1)
        self.transpose: dict[int, Fraction] = {}
        self.time = None  # bar length by the time signature

    def bar(self, measure):
        """([(note relative to the bar, tie, voice)], length reached, end of the last note) of one <measure>."""
        heads, position, reached, chord_onset, sounded = [], Fraction(0), Fraction(0), Fraction(0), Fraction(0)
        for element in measure:
            if element.tag == "attributes":
                self.attributes(element)
            elif element.tag == "backup":
                position = max(position - number(element, "duration") / self.divisions, Fraction(0))
            elif element.tag == "forward":
                position += number(element, "duration") / self.divisions
            elif element.tag == "note":
                length = number(element, "duration") / self.divisions
                if element.find("grace") is not None:
                    length = Fraction(0)
                if element.find("chord") is None:
                    chord_onset = position
                    position += length
                if element.find("rest") is None:
                    heads.append(self.head(element, chord_onset, length))
                    sounded = max(sounded, chord_onset + length)
            reached = max(reached, position)
        return heads, reached, sounded

    def attributes(self, element):
        if element.findtext("divisions"):
            self.divisions = number(element, "divisions")
        time = element.find("time")
        if time is not None:
            pairs = zip(time.findall("beats"), time.findall("beat-type"))
            try:
                self.time = sum(
                    (Fraction(4 * sum(int(b) for b in beats.text.split("+")), int(kind.text)) for beats, kind in pairs),
                    Fraction(0),
                )
            except (ValueError, AttributeError):
                self.time = None
            self.time = self.time or None
        for transpose in element.findall("transpose"):
            semitones = number(transpose, "chromatic") + 12 * number(transpose, "octave-change")
            staff = int(transpose.get("number") or 0)
            if staff == 0:
                self.transpose = {}
            self.transpose[staff] = semitones

    def head(self, element, onset, length):
        key = written_key(element)
        if key is not None:
            staff = int(element.findtext("staff") or 1)
            key += self.transpose.get(staff, self.transpose.get(0, 0))
        kinds = {t.get("type") for t in element.findall("tie")}
        tie = "continue" if {"start", "stop"} <= kinds else next(iter(kinds & {"start", "stop"}), "")
        voice = element.findtext("voice")
        return Note(self.index, onset, length, witness.pitch_number(key), witness.note_flags(element)), tie, voice


def bar_length(reached: list[Fraction], sounded: list[Fraction], signature: Fraction) -> Fraction:
    """Length of one bar from what each part fills (notes and rests), where its last note ends, and the time signature."""
    longest = max(reached)
    if longest == 0:
        return signature
    if len(set(reached)) == 1:
        return longest
    return max(max(sounded), min(longest, signature))


def read(file: ScoreFile, apart: bool = False) -> Dump:
    root = witness.musicxml_root(file.path)
    dump = Dump(file.name, LIBRARY_APART if apart else LIBRARY, file.format, parts=witness.part_ids(file.path))
    parts = measures_by_part(root)
    read_bars, signatures = [], defaultdict(list)
    for index, measures in enumerate(parts):
        reader = PartReader(index)
        bars = []
        for k, measure in enumerate(measures):
            bars.append(reader.bar(measure))
            if reader.time is not None:
                signatures[k].append(reader.time)
        read_bars.append(bars)
    lengths = []
    for k in range(max((len(b) for b in read_bars), default=0)):
        here = [bars[k] for bars in read_bars if k < len(bars)]
        implicit = any(part[k].get("implicit") == "yes" for part in parts if k < len(part))
        if implicit and any(b[2] for b in here):
            here = [b for b in here if b[2]]
        lengths.append(bar_length([b[1] for b in here], [b[2] for b in here], max(signatures[k], default=Fraction(4))))
        reached = [bars[k][1] for bars in read_bars if k < len(bars)]
        if len(set(reached)) > 1:
            reach = ", ".join(witness.plain(r) for r in reached)
            dump.warnings.append(f"bar index {k}: parts reach {reach}; taken as {witness.plain(lengths[k])}")
    for index, bars in enumerate(read_bars):
        start, heads, table = Fraction(0), [], []
        for k, (inside, reached, _) in enumerate(bars):
            length = reached if apart else lengths[k]
            table.append((start, length, parts[index][k].get("number") or ""))
            for note, tie, voice in inside:
                if tie in ("start", "continue") and not note.grace and note.onset + note.duration == reached < length:
                    note.duration += length - reached
                note.onset += start
                note.bar = k
                heads.append((note, tie, voice))
            start += length
        dump.bars.append(table)
        dump.notes += witness.join_ties(heads)
    return dump


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("files", nargs="+", help="corpus, scores, or MusicXML files")
    options.add_argument("--parts-apart", action="store_true", help="add up the bars of each part alone")
    options.add_argument("--redo", action="store_true")
    chosen = options.parse_args()
    files = [f for f in witness.files_of(chosen.files) if f.format == "musicxml"]
    library = LIBRARY_APART if chosen.parts_apart else LIBRARY
    failed = witness.dump_all(files, library, lambda f: read(f, chosen.parts_apart), 120, chosen.redo)
    print(f"{library}: {len(files)} files, {failed} failed")


if __name__ == "__main__":
    main()
