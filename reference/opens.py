"""Does what Ripieno writes open elsewhere, without complaint and with every note?

    python reference/opens.py FILE.musicxml ...

Each file is opened by music21, partitura and the verovio library. Warnings and log lines are counted as complaints unless they
are listed below as about the library, not the file. music21 and partitura must find the same sounding notes as each other, by
part, place in the bar, duration and pitch; where only bar starts or unison ties differ it is a remark. Prints one line a file;
exit status 1 on a failure, a complaint or unequal notes.
"""

import argparse
import io
import os
import sys
import tempfile
import warnings
from collections import Counter, defaultdict
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path

import compare
import dump_music21
import dump_partitura
import witness
from witness import Dump

# About the library, whatever the file: (library, part of the message, why it says nothing about the file).
KNOWN = [
    ("partitura", "error parsing", "partitura reads only some words as tempo or dynamics and says so of all others; MusicXML words are free text"),
    ("partitura", "Did not find a wedge", "wedges may cross barlines and parts' voices; MusicXML pairs them by number only"),
    ("partitura", "ignoring direction type", "partitura has no place for metronome marks, rehearsal marks and the like"),
    ("partitura", "cannot parse dynamics words", "the same, for words"),
    ("partitura", "Found repeat without start", "a first repeat without a forward sign starts at the beginning, as the MusicXML documentation says"),
    ("partitura", "unknown direction", "the same as ignoring"),
    ("partitura", "ignoring empty <harmony> tag", "partitura keeps Roman numerals alone and calls every chord symbol empty"),
    ("partitura", "unhandled:", "the same, for words it half recognises"),
    ("partitura", "grace note without recoverable", "a grace note that ends a bar has its main note in the next one, or none; both are allowed"),
    ("partitura", "might be cadenza notation", "said after the line above"),
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


def by_music21(path: Path) -> Dump:
    return dump_music21.read(witness.files_of([str(path)])[0])


def by_partitura(path: Path) -> Dump:
    return dump_partitura.read(witness.files_of([str(path)])[0])


def by_verovio(path: Path) -> int:
    import verovio

    toolkit = verovio.toolkit()
    if not toolkit.loadFile(str(path)):
        raise ValueError("verovio refuses the file")
    return toolkit.getPageCount()


def unequal(first: Dump, second: Dump) -> tuple[list[str], list[str]]:
    """Parts in which two readings differ, and remarks. Two differences are faults of the libraries and no more than remarks:
    partitura loses one of two unison ties; music21 stretches a whole-bar rest of a pickup bar to the time signature, and a bar
    whose last direction has an offset, so that later bars start later in that part."""
    notes = [defaultdict(list), defaultdict(list)]
    for dump, by_part in zip((first, second), notes):
        for note in dump.notes:
            by_part[note.part].append(note)
    said, remarks = [], []
    for part in sorted(set(notes[0]) | set(notes[1])):
        result = compare.compare_part(notes[0][part], notes[1][part])
        kinds = Counter(d.kind for d in result.differences)
        remarks += [f"part {part}, bar index {bar}: partitura starts it {shift} crotchets later" for bar, shift in result.shifted_from]
        if kinds["tie"]:
            remarks.append(f"part {part}: ties joined otherwise")
        if set(kinds) - {"tie", "bar-shift"}:
            said.append(f"part {part}: music21 {result.ours} notes, partitura {result.theirs}: {dict(kinds)}")
    return said, remarks


def main() -> int:
    options = argparse.ArgumentParser(description="Open written MusicXML in music21, partitura and verovio")
    options.add_argument("files", nargs="+", type=Path)
    dump_music21.keep_flags()
    dump_partitura.keep_octave_changes()
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
        remarks: list[str] = []
        if results["music21"] is not None and results["partitura"] is not None:
            differing, remarks = unequal(results["music21"], results["partitura"])
            said += differing
        fine = None not in results.values() and not said
        bad += not fine
        counts = {name: dump and sum(not (n.silent or n.grace) for n in dump.notes) for name, dump in results.items() if name != "verovio"}
        print(f"{'ok ' if fine else 'BAD'} {path.name}: music21 {counts['music21']} notes, partitura {counts['partitura']}, verovio {results['verovio']} pages")
        if remarks:
            print(f"      remark: {remarks[0]}" + (f" (and {len(remarks) - 1} more)" if len(remarks) > 1 else ""))
        for line in said[:6]:
            print(f"      {line[:200]}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
