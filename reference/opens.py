"""Does what Ripieno writes open elsewhere, without complaint and with every note?

    python reference/opens.py FILE.musicxml ...

Each file is opened by music21, partitura and the verovio library. Warnings and log lines are counted as complaints unless they
are listed below as about the library, not the file. music21 and partitura must find as many sounding notes (ties joined, grace
notes aside) as each other. Prints one line a file; exit status 1 on a failure, a complaint or unequal counts.
"""

import argparse
import io
import os
import sys
import tempfile
import warnings
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path

# About the library, whatever the file: (library, part of the message, why it says nothing about the file).
KNOWN = [
    ("partitura", "error parsing", "partitura reads only some words as tempo or dynamics and says so of all others; MusicXML words are free text"),
    ("partitura", "Did not find a wedge", "wedges may cross barlines and parts' voices; MusicXML pairs them by number only"),
    ("partitura", "ignoring direction type", "partitura has no place for metronome marks, rehearsal marks and the like"),
    ("partitura", "cannot parse dynamics words", "the same, for words"),
    ("partitura", "Found repeat without start", "a first repeat without a forward sign starts at the beginning, as the MusicXML documentation says"),
    ("partitura", "unknown direction", "the same as ignoring"),
    ("verovio", "Unsupported direction-type", "an element of MusicXML 4.0 that verovio does not import"),
    ("verovio", "Insufficient space to draw mixed beam", "layout"),
]


@contextmanager
def complaints():
    """Gathers Python warnings and everything written to either output, C code included."""
    gathered: list[str] = []
    with tempfile.TemporaryFile() as sink, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        sys.stderr.flush()
        saved = os.dup(2)
        os.dup2(sink.fileno(), 2)
        out, err = io.StringIO(), io.StringIO()
        try:
            with redirect_stdout(out), redirect_stderr(err):
                yield gathered
        finally:
            os.dup2(saved, 2)
            os.close(saved)
            sink.seek(0)
            text = sink.read().decode(errors="replace") + out.getvalue() + err.getvalue()
            gathered += [line for line in text.splitlines() if line.strip()]
            gathered += [str(warning.message) for warning in caught if not issubclass(warning.category, DeprecationWarning)]


def by_music21(path: Path) -> int:
    from music21 import converter

    score = converter.parseFile(str(path), forceSource=True)
    count = 0
    for part in score.parts:
        for note in part.stripTies().recurse().notes:
            if "ChordSymbol" in note.classes or note.duration.isGrace or getattr(note.style, "hideObjectOnPrint", False):
                continue
            count += len(note.pitches) if note.isChord else 1
    return count


def by_partitura(path: Path) -> int:
    import partitura

    score = partitura.load_musicxml(str(path))
    grace = partitura.score.GraceNote
    return sum(1 for part in score.parts for note in part.notes_tied if not isinstance(note, grace))


def by_verovio(path: Path) -> int:
    import verovio

    toolkit = verovio.toolkit()
    if not toolkit.loadFile(str(path)):
        raise ValueError("verovio refuses the file")
    return toolkit.getPageCount()


def main() -> int:
    options = argparse.ArgumentParser(description="Open written MusicXML in music21, partitura and verovio")
    options.add_argument("files", nargs="+", type=Path)
    bad = 0
    for path in options.parse_args().files:
        results, said = {}, []
        for name, reader in (("music21", by_music21), ("partitura", by_partitura), ("verovio", by_verovio)):
            with complaints() as gathered:
                try:
                    results[name] = reader(path)
                except Exception as failure:  # noqa: BLE001 - any failure to open is the finding
                    gathered.append(f"{type(failure).__name__}: {failure}")
                    results[name] = None
            said += [f"{name}: {line}" for line in gathered if not any(lib == name and part in line for lib, part, _ in KNOWN)]
        fine = None not in results.values() and not said
        bad += not fine
        print(f"{'ok ' if fine else 'BAD'} {path.name}: music21 {results['music21']} notes, partitura {results['partitura']}, verovio {results['verovio']} pages")
        for line in said[:6]:
            print(f"      {line[:200]}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
