"""What the reference scripts share: which files, where results are cached, and one plain form for notes.

A *witness* is an outside library (music21, partitura) reading the same file as Ripieno. Each dump holds the sounding notes of
one file in score order (repeats not unrolled), in crotchets as exact fractions, so that two dumps compare by equality.

Left to others: reading (dump_music21.py, dump_partitura.py), judging (agree.py).
"""

from __future__ import annotations

import argparse
import gzip
import hashlib
import json
import os
import signal
import sys
import time
import traceback
import warnings
import zipfile
from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from lxml import etree

# Raise when the meaning of a dump changes: older cache entries are then ignored.
DUMP_VERSION = 1

MUSICXML_SUFFIXES = (".xml", ".mxl", ".musicxml")
REPOSITORY = Path(__file__).resolve().parent.parent


def cache_root() -> Path:
    """Where dumps are kept: $RIPIENO_REFERENCE_CACHE, else target/reference in the repository."""
    return Path(os.environ.get("RIPIENO_REFERENCE_CACHE") or REPOSITORY / "target" / "reference")


def scores_folder() -> Path:
    """The annotated scores beside the checkout (absent for a stranger who clones the project)."""
    return Path(os.environ.get("RIPIENO_DATA") or REPOSITORY.parent / "shared" / "data") / "scores"


def corpus_folder() -> Path:
    """The scores inside the installed music21 package. Found without importing music21, which takes seconds."""
    from importlib.util import find_spec

    return Path(find_spec("music21").submodule_search_locations[0]) / "corpus"


@dataclass(frozen=True, order=True)
class ScoreFile:
    name: str  # "corpus/bach/bwv66.6.mxl", "scores/Brahms_Op.68_4.mxl": the same on every machine
    path: Path
    format: str  # "musicxml" | "kern"


def is_musicxml(path: Path) -> bool:
    """By content: an archive with a container, or text whose root is score-partwise or score-timewise."""
    if path.suffix.lower() not in MUSICXML_SUFFIXES:
        return False
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            return any(n == "META-INF/container.xml" for n in archive.namelist())
    head = path.read_bytes()[:20000]
    for encoding in ("utf-16", "utf-8"):
        try:
            text = head.decode(encoding, errors="ignore")
        except UnicodeError:
            continue
        if "<score-partwise" in text or "<score-timewise" in text:
            return True
    return False


def files_of(sets: list[str]) -> list[ScoreFile]:
    """The named sets ("corpus", "scores", "kern"), or single paths, in a fixed order."""
    found: list[ScoreFile] = []
    for item in sets:
        if item == "corpus":
            base = corpus_folder()
            found += [
                ScoreFile(f"corpus/{p.relative_to(base)}", p, "musicxml")
                for p in sorted(base.rglob("*"))
                if p.is_file() and is_musicxml(p)
            ]
        elif item == "kern":
            base = corpus_folder()
            found += [ScoreFile(f"corpus/{p.relative_to(base)}", p, "kern") for p in sorted(base.rglob("*.krn"))]
        elif item == "scores":
            base = scores_folder()
            found += [ScoreFile(f"scores/{p.name}", p, "musicxml") for p in sorted(base.glob("*.mxl"))]
        else:
            path = Path(item).resolve()
            if not path.is_file():
                raise SystemExit(f"{item}: no such file. Give a score, or one of corpus, scores, kern.")
            found.append(ScoreFile(known_name(path), path, "kern" if path.suffix == ".krn" else "musicxml"))
    return found


def known_name(path: Path) -> str:
    """The name by which a file is known in every cache and table."""
    path = Path(path).resolve()
    for prefix, base in (("corpus", corpus_folder()), ("scores", scores_folder())):
        try:
            return f"{prefix}/{path.relative_to(base.resolve())}"
        except ValueError:
            continue
    return path.name


def content_hash(path: Path) -> str:
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()[:20]


# ---------------------------------------------------------------------------------------------------------------- notes


@dataclass
class Note:
    """One sounding note. `pitch` is a MIDI key (None: unpitched, a float: a quarter tone).

    Flags: g grace, c cue (<cue/>), h hidden (print-object="no"), i invisible (no notehead and no stem), s cue size without <cue/>.
    Cue notes are silent and hidden notes are not on the page, so neither counts as playing. A note in cue size alone plays
    (MusicXML 4.0 schema, documentation of `cue`), as an oboe cadenza in small print does.
    """

    part: int
    onset: Fraction
    duration: Fraction
    pitch: float | None
    flags: str = ""
    bar: int = 0

    @property
    def silent(self) -> bool:
        return "c" in self.flags or "h" in self.flags

    @property
    def optional(self) -> bool:
        """Neither libraries nor standard say whether a note without notehead and stem plays: a reading may leave it out."""
        return "i" in self.flags

    @property
    def grace(self) -> bool:
        return "g" in self.flags


@dataclass
class Dump:
    """One file as one library reads it. `bars[part]` lists (start, length or None, printed number) in score order."""

    file: str
    library: str
    format: str
    parts: list[str] = field(default_factory=list)
    bars: list[list[tuple]] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    error: str | None = None
    warnings: list[str] = field(default_factory=list)
    seconds: float = 0.0


def frac(text) -> Fraction:
    return Fraction(text)


def plain(value: Fraction) -> str:
    """`3` or `1/3`."""
    return str(Fraction(value))


def pitch_number(value) -> float | int | None:
    """A MIDI key as an int where it is one; a quarter tone stays a float."""
    if value is None:
        return None
    value = float(value)
    return int(value) if value == int(value) else value


def save(dump: Dump, path: Path) -> None:
    record = {
        "file": dump.file,
        "library": dump.library,
        "format": dump.format,
        "error": dump.error,
        "warnings": dump.warnings,
        "seconds": round(dump.seconds, 3),
        "parts": dump.parts,
        "bars": [[(plain(s), None if n is None else plain(n), p) for s, n, p in part] for part in dump.bars],
        "notes": [(n.part, plain(n.onset), plain(n.duration), n.pitch, n.flags, n.bar) for n in dump.notes],
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_suffix(f".{os.getpid()}.tmp")
    with open(temporary, "wb") as raw, gzip.GzipFile(fileobj=raw, mode="wb", mtime=0, filename="") as packed:
        packed.write(json.dumps(record, separators=(",", ":")).encode())
    temporary.replace(path)


def load(path: Path) -> Dump:
    with gzip.open(path, "rb") as packed:
        record = json.loads(packed.read())
    exact = EXACT
    return Dump(
        file=record["file"],
        library=record["library"],
        format=record["format"],
        error=record["error"],
        warnings=record["warnings"],
        seconds=record["seconds"],
        parts=record["parts"],
        bars=[[(exact[s], None if n is None else exact[n], p) for s, n, p in part] for part in record["bars"]],
        notes=[Note(p, exact[o], exact[d], k, f, b) for p, o, d, k, f, b in record["notes"]],
    )


class _Exact(dict):
    """Fractions by their text; parsing each once makes loading several times faster."""

    def __missing__(self, text):
        value = self[text] = Fraction(text)
        return value


EXACT = _Exact()  # one for all files: equal values are mostly one object, which also compares faster


def cache_path(library: str, file: ScoreFile) -> Path:
    """`library` is "music21-10.5.1" or the like."""
    return cache_root() / f"{library}-d{DUMP_VERSION}" / f"{content_hash(file.path)}.json.gz"


# ----------------------------------------------------------------------------------------------------------------- ties


def join_ties(notes: list[tuple[Note, str, object]]) -> list[Note]:
    """Joins (note, tie, voice) of one part: a note whose tie starts, and the one of the same key where it ends whose tie stops.

    `tie` is "", "start", "stop" or "continue". A note of the same voice is preferred; otherwise any voice or staff of the part
    may continue it, since a tie is drawn between two noteheads, whatever voice they are written in. Grace notes stay apart.
    A start without a stop where it ends (let ring, a tie into a later ending) leaves the note as written.
    """
    waiting = defaultdict(list)  # (key, onset) -> [(index, voice)] of notes whose tie stops there
    for i, (note, tie, voice) in enumerate(notes):
        if tie in ("stop", "continue") and not note.grace:
            waiting[(note.pitch, note.onset)].append((i, voice))
    joined_to: dict[int, int] = {}
    taken: set[int] = set()
    order = sorted(range(len(notes)), key=lambda i: (notes[i][0].onset, i))
    for same_voice in (True, False):
        for i in order:
            note, tie, voice = notes[i]
            if tie not in ("start", "continue") or note.grace or note.duration == 0 or i in joined_to:
                continue
            for j, other in waiting.get((note.pitch, note.onset + note.duration), ()):
                if j not in taken and j != i and (other == voice) == same_voice:
                    joined_to[i] = j
                    taken.add(j)
                    break
    result = []
    for i in order:
        if i in taken:
            continue
        note = notes[i][0]
        total, k = note.duration, i
        while k in joined_to:
            k = joined_to[k]
            total += notes[k][0].duration
        result.append(Note(note.part, note.onset, total, note.pitch, note.flags, note.bar))
    return result


# ----------------------------------------------------------------------------------------------------------------- text


def musicxml_root(path: Path) -> etree._Element:
    """The root element of a MusicXML file, plain or in an archive. No entity is expanded and nothing is fetched."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True, load_dtd=False)
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            container = etree.fromstring(archive.read("META-INF/container.xml"))
            name = next(e.get("full-path") for e in container.iter() if etree.QName(e).localname == "rootfile")
            return etree.fromstring(archive.read(name), parser)
    return etree.fromstring(Path(path).read_bytes(), parser)


def part_ids(path: Path) -> list[str]:
    """The id of each <part> in the order of the file."""
    root = musicxml_root(path)
    if root.tag == "score-timewise":
        first = root.find("measure")
        return [p.get("id", "") for p in first.findall("part")]
    return [p.get("id", "") for p in root.findall("part")]


def note_flags(note: etree._Element) -> str:
    """The flags of one <note>, by its text."""
    flags = "g" if note.find("grace") is not None else ""
    kind = note.find("type")
    if note.find("cue") is not None:
        flags += "c"
    elif kind is not None and kind.get("size") in ("cue", "grace-cue"):
        flags += "s"
    if note.get("print-object") == "no":
        flags += "h"
    if (note.findtext("notehead") or "").strip() == "none" and (note.findtext("stem") or "").strip() == "none":
        flags += "i"
    return flags


# ---------------------------------------------------------------------------------------------------------------- runner


class Timeout(Exception):
    pass


def dump_all(files: list[ScoreFile], library: str, read, timeout: int, redo: bool = False) -> int:
    """Runs `read(file) -> Dump` over the files, one after another, and caches each result, failures too.

    Returns the number of files that failed. A file already in the cache is passed over.
    """

    def ring(signum, frame):
        raise Timeout(f"longer than {timeout} s")

    signal.signal(signal.SIGALRM, ring)
    failed = 0
    for i, file in enumerate(files, 1):
        target = cache_path(library, file)
        if target.exists() and not redo:
            failed += load(target).error is not None
            continue
        start = time.perf_counter()
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            signal.alarm(timeout)
            try:
                dump = read(file)
            except (Exception, RecursionError) as problem:
                place = traceback.extract_tb(problem.__traceback__)[-1]
                dump = Dump(file.name, library, file.format)
                dump.error = f"{type(problem).__name__}: {problem} ({Path(place.filename).name}:{place.lineno})"
            finally:
                signal.alarm(0)
        dump.seconds = time.perf_counter() - start
        seen = list(dump.warnings)
        for w in caught:
            if issubclass(w.category, (DeprecationWarning, ResourceWarning)):
                continue
            text = f"{w.category.__name__}: {' '.join(str(w.message).split())}"
            if text not in seen:
                seen.append(text)
        dump.warnings = seen[:40]
        failed += dump.error is not None
        save(dump, target)
        print(
            f"{i}/{len(files)} {file.name}: "
            + (dump.error or f"{len(dump.notes)} notes, {len(dump.parts)} parts")
            + f" ({dump.seconds:.1f} s)",
            file=sys.stderr,
            flush=True,
        )
    return failed


def dump_main(about: str, library: str, read) -> None:
    """The command of a dump script: reads the files it is given with `read` and says how it went."""
    options = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("files", nargs="+", help="corpus, scores, kern, or score files")
    options.add_argument("--timeout", type=int, default=300, help="seconds a file may take (default 300)")
    options.add_argument("--redo", action="store_true", help="read again what is already cached")
    chosen = options.parse_args()
    files = files_of(chosen.files)
    failed = dump_all(files, library, read, chosen.timeout, chosen.redo)
    print(f"{library}: {len(files)} files, {failed} failed, cache {cache_root()}")
