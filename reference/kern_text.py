"""A plain reading of Humdrum kern, straight from the text, to say which library is right where two differ.

This is not an outside witness: we wrote it. It follows the published definition in the plainest way that could be checked by
eye, and shares no code with the Rust reader. agree.py uses it only to sort differences, and exceptions.toml to explain no more
than what it can show.

    python reference/kern_text.py kern                                      (caches its notes)
    python reference/agree.py --between text-kern music21 kern              (its notes against a witness)

Rules (Humdrum User Guide, chapters 4 to 6; Representation Reference, `**kern` and `**recip`):
  line        tokens on one line sound together; `.` goes on with what sounds. So a line begins when the tokens before it in
              its spines end, and a file in which they end at different times is refused here: lines check lengths.
  length      n is the n-th part of a semibreve, so 3 is 4/3 of a crotchet; 0 is a breve, 00 a long, 000 a maxima; n%m is m
              n-th parts; each dot adds half of what was added before. Notes of a chord share the first one's length.
  pitch       c is middle C, each further letter an octave up; C the octave below it, each further letter an octave down.
  ties        `[` begins, `_` goes on, `]` ends a tie, for each note of a chord by itself; ties join notes of one pitch.
  grace       q takes no time.
  spines      `*^` splits a spine, `*v` side by side join them again: sub-spines are voices of one part.
Parts are the `**kern` spines from the right, which is from the top of the page.
"""

from __future__ import annotations

import argparse
import re
from dataclasses import dataclass
from fractions import Fraction

import witness
from witness import Dump, Note, ScoreFile

LIBRARY = "text-kern"
STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
LENGTH = re.compile(r"(\d+)(?:%(\d+))?(\.*)")
PITCH = re.compile(r"([a-gA-G])\1*(#+|-+|)")


@dataclass
class Column:
    """One column of the file at some line: a spine or a piece of a split one."""

    spine: int | None  # number of the kern spine from the left; None where it holds something else
    free: Fraction  # when what sounds in it ends
    begun: int  # line where the column begins: with `spine` it names the voice


def length_of(token: str) -> Fraction | None:
    found = LENGTH.search(token)
    if found is None:
        return None
    digits, over, dots = found.groups()
    whole = Fraction(2 ** len(digits)) if set(digits) == {"0"} else Fraction(int(over or 1), int(digits))
    return 4 * whole * (2 - Fraction(1, 2 ** len(dots)))


def pitch_of(token: str) -> int | None:
    found = PITCH.search(token)
    if found is None:
        return None
    letters = re.match(r"([a-gA-G])\1*", found.group()).group()
    octave = 4 + len(letters) - 1 if letters[0].islower() else 3 - (len(letters) - 1)
    marks = found.group(2)
    return 12 * (octave + 1) + STEPS[letters[0].lower()] + marks.count("#") - marks.count("-")


def tie_of(note: str) -> str:
    if "_" in note:
        return "continue"
    return "start" if "[" in note else "stop" if "]" in note else ""


def follow_paths(columns: list[Column], tokens: list[str], line: int) -> list[Column]:
    """The columns after a line of spine paths."""
    result, k = [], 0
    while k < len(tokens):
        column, token = columns[k], tokens[k]
        if token == "*^":
            result += [column, Column(column.spine, column.free, line)]
        elif token == "*v":
            joined = [k]
            while k + 1 < len(tokens) and tokens[k + 1] == "*v":
                k += 1
                joined.append(k)
            if len({columns[j].free for j in joined}) > 1:
                raise ValueError(f"line {line}: sub-spines join that do not end together")
            result.append(columns[joined[0]])
        elif token in ("*+", "*x"):
            raise ValueError(f"line {line}: {token} is not read here")
        elif token != "*-":
            result.append(column)
        k += 1
    return result


def read(file: ScoreFile) -> Dump:
    dump = Dump(file.name, LIBRARY, file.format)
    columns: list[Column] | None = None
    spines, heads, bar = 0, [], -1
    for line, text in enumerate(file.path.read_text(encoding="utf-8", errors="replace").splitlines(), 1):
        if not text or text.startswith("!"):
            continue
        tokens = text.split("\t")
        if columns is None:
            columns = []
            for token in tokens:
                columns.append(Column(spines if token == "**kern" else None, Fraction(0), 0))
                spines += token == "**kern"
            continue
        if len(tokens) != len(columns):
            raise ValueError(f"line {line}: {len(tokens)} tokens for {len(columns)} columns")
        if text.startswith("*"):
            columns = follow_paths(columns, tokens, line)
        elif text.startswith("="):
            bar += 1
        else:
            heads += data_line(columns, tokens, line, max(bar, 0))
    for part in range(spines):
        spine = spines - 1 - part
        mine = [(note, tie, voice) for s, note, tie, voice in heads if s == spine]
        for note, _, _ in mine:
            note.part = part
        dump.parts.append(f"spine {spine + 1}")
        dump.notes += witness.join_ties(mine)
    return dump


def data_line(columns: list[Column], tokens: list[str], line: int, bar: int):
    """(spine, note, tie, voice) of each notehead on one line; moves the columns on."""
    heads, begins = [], set()
    for column, token in zip(columns, tokens):
        if column.spine is None or token == ".":
            continue
        grace = "q" in token.lower()
        length = Fraction(0) if grace else length_of(token)
        if length is None:
            raise ValueError(f"line {line}: {token} has no length")
        if not grace:
            begins.add(column.free)
        for note in token.split(" "):
            if "r" not in note:
                flags = ("g" if grace else "") + ("h" if "yy" in note else "")
                sound = Note(0, column.free, length, pitch_of(note), flags, bar)
                heads.append((column.spine, sound, tie_of(note), (column.spine, column.begun)))
        column.free += length
    if len(begins) > 1:
        raise ValueError(f"line {line}: its tokens begin at {', '.join(map(str, sorted(begins)))}")
    return heads


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("files", nargs="+", help="kern, or kern files")
    options.add_argument("--redo", action="store_true")
    chosen = options.parse_args()
    files = [f for f in witness.files_of(chosen.files) if f.format == "kern"]
    failed = witness.dump_all(files, LIBRARY, read, 120, chosen.redo)
    print(f"{LIBRARY}: {len(files)} files, {failed} failed")


if __name__ == "__main__":
    main()
