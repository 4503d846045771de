#!/usr/bin/env python3
"""Writes the demo overture and the tables of what was planted in it.

    python3 demo/compose.py [--out DIR]

Standard library only; the same bytes every time.
"""
import argparse
import pathlib
import sys

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from overture import close, first_tutti, form, middle, musicxml, opening, tables  # noqa: E402
from overture.piece import Piece  # noqa: E402


def compose():
    piece = Piece()
    form.build(piece)
    for section in (opening, first_tutti, middle, close):
        section.write(piece)
    piece.check()
    return piece


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=pathlib.Path, default=HERE, help="folder to write into (default: demo/)")
    out = parser.parse_args().out
    piece = compose()
    (out / "planted").mkdir(parents=True, exist_ok=True)
    text = musicxml.write(piece, form.TITLE, form.SUBTITLE)
    (out / "lifeboat_overture.musicxml").write_text(text, encoding="utf-8", newline="\n")
    for name, content in tables.tables(piece).items():
        (out / "planted" / name).write_text(content, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
