"""Does Ripieno read the same notes as music21 and partitura?

    ripieno notes FILE... --csv --score-order > notes.csv
    python reference/agree.py notes.csv
    python reference/agree.py --between music21 partitura corpus scores       (the two libraries against each other)
    python reference/agree.py --between text-aligned music21 corpus scores    (our plain reading of the text as the reading)
    python reference/agree.py --between text-kern music21 kern                (the same for kern)

The witnesses' notes come from the caches that dump_music21.py and dump_partitura.py write; with --dump missing ones are made.
Every difference is printed by class, part and bar. Those listed in exceptions.toml, with who is right and why, are counted as
explained, in a column of their own: they are never taken out of the table. Where a witness divides a score into parts
otherwise, exceptions.toml says which parts are compared as one. Exit status: 0 when agreed and explained notes reach the
thresholds for every witness, in total and in every part, and the notes that agree from the start of each bar, explained or
not, reach theirs; 1 when not; 2 when nothing could be compared.
"""

from __future__ import annotations

import argparse
import csv
import fnmatch
import json
import subprocess
import sys
import tomllib
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from importlib.metadata import version
from pathlib import Path

import compare
import witness
from compare import Result
from witness import Note, ScoreFile

HERE = Path(__file__).resolve().parent
WITNESSES = ("music21", "partitura")


def library_name(name: str) -> str:
    return name if name.startswith("text-") else f"{name}-{version(name)}"


# -------------------------------------------------------------------------------------------------------------- reading


@dataclass
class Reading:
    """One file as `ripieno notes` (or another witness) gives it."""

    file: ScoreFile
    parts: dict[int, str] = field(default_factory=dict)  # index -> name
    notes: dict[int, list[Note]] = field(default_factory=lambda: defaultdict(list))


class FileNames:
    """Finds the score behind the `file` column: a path that exists, else the only known file whose path ends so."""

    def __init__(self, sets: list[str]):
        self.known = witness.files_of(sets)
        self.by_suffix: dict[str, list[ScoreFile]] = defaultdict(list)
        for file in self.known:
            pieces = Path(file.name).parts
            for k in range(len(pieces)):
                ending = "/".join(pieces[k:])
                self.by_suffix[ending].append(file)
                self.by_suffix[str(Path(ending).with_suffix(""))].append(file)

    def find(self, text: str) -> ScoreFile:
        path = Path(text)
        if path.is_file():
            return witness.files_of([text])[0]
        pieces = path.parts
        for k in range(len(pieces)):
            found = self.by_suffix.get("/".join(pieces[k:]), [])
            if len(found) == 1:
                return found[0]
        raise SystemExit(f"{text}: not a file here, and no single known score is named so. Run where the path is valid.")


COLUMNS = ("file", "part", "part_index", "bar", "onset", "duration", "pitch")


def readings_of_csv(path: str, names: FileNames):
    """The files of one `ripieno notes --csv` table, one after another; rows of a file stand together."""
    with open(path, newline="", encoding="utf-8") if path != "-" else sys.stdin as handle:
        rows = csv.DictReader(handle)
        absent = [c for c in COLUMNS if c not in (rows.fieldnames or ())]
        if absent:
            raise SystemExit(f"{path}: column {absent[0]} is missing. Expected the table of `ripieno notes --csv`.")
        exact = witness.EXACT
        reading, current = None, None
        for row in rows:
            if row["file"] != current:
                if reading is not None:
                    yield reading
                current, reading = row["file"], Reading(names.find(row["file"]))
            if row.get("pass") not in (None, "", "1"):
                raise SystemExit(f"{path}: {current} has a second pass. Write the table with --score-order.")
            index = int(row["part_index"])
            reading.parts[index] = row["part"]
            duration = exact[row["duration"]]
            pitch = witness.pitch_number(row["pitch"]) if row["pitch"] else None
            flags = "g" if duration == 0 else ""
            reading.notes[index].append(Note(index, exact[row["onset"]], duration, pitch, flags, int(row["bar"])))
        if reading is not None:
            yield reading


def readings_of_witness(name: str, files: list[ScoreFile]):
    for file in files:
        path = witness.cache_path(library_name(name), file)
        if not path.exists():
            continue
        dump = witness.load(path)
        if dump.error:
            continue
        reading = Reading(file, dict(enumerate(dump.parts)))
        for note in dump.notes:
            reading.notes[note.part].append(note)
        yield reading


# ------------------------------------------------------------------------------------------------------------ exceptions


@dataclass
class Explanation:
    """One entry of exceptions.toml."""

    file: str
    format: str
    part: object  # an index, a list of them, or "*"
    classes: list[str]
    witness: str
    right: str
    why: str
    bars: list[int] | None
    text: str | None
    used: int = 0

    def concerns(self, file: ScoreFile) -> bool:
        return self.format in ("*", file.format) and fnmatch.fnmatch(file.name, self.file)

    def covers(self, name: str, file: ScoreFile, part: int, difference: compare.Difference) -> bool:
        return (
            difference.kind in self.classes
            and self.witness in ("*", name)
            and (self.part == "*" or part in (self.part if isinstance(self.part, list) else [self.part]))
            and self.concerns(file)
            and (self.bars is None or difference.bar in self.bars)
            and (self.text is None or difference.text == self.text)
        )


@dataclass
class Division:
    """One `parts` entry of exceptions.toml: the witness divides a file into parts otherwise than the reading."""

    file: str
    witness: str
    groups: list[tuple[list[int], list[int]]]  # our parts and theirs that are compared as one
    why: str
    used: int = 0


def load_exceptions(path: Path) -> tuple[list[Explanation], list[Division]]:
    if not path.exists():
        return [], []
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    divisions = []
    for k, e in enumerate(table.get("parts", []), 1):
        groups = list(zip(e.get("ours", []), e.get("theirs", []), strict=True))
        if not (groups and e.get("file") and e.get("witness") and e.get("why")):
            raise SystemExit(f"{path}: parts entry {k} needs file, witness, ours, theirs and why.")
        divisions.append(Division(e["file"], e["witness"], groups, e["why"]))
    entries = table.get("exception", [])
    result = []
    for k, e in enumerate(entries, 1):
        unknown = [c for c in e.get("class", []) if c not in compare.CLASSES]
        if unknown or e.get("right") not in ("reading", "witness") or not e.get("why"):
            raise SystemExit(f"{path}: entry {k} needs class (known ones), right = reading or witness, and why.")
        result.append(
            Explanation(
                e.get("file", "*"), e.get("format", "*"), e.get("part", "*"), e["class"], e.get("witness", "*"), e["right"], e["why"],
                e.get("bars"), e.get("text"),
            )
        )
    return result, divisions


# -------------------------------------------------------------------------------------------------------------- judging


def judge_by_text(result: Result, text: list[Note]) -> None:
    """Marks whose notes the plain reading of the text has (text_reading.py; ours, so only a hint)."""
    have = {(n.grace, n.onset, n.duration, n.pitch) for n in text if not n.silent}

    def has(note):
        return note is not None and (note.grace, note.onset, note.duration, note.pitch) in have

    for d in result.differences:
        if d.kind in ("missing", "grace-missing"):
            d.text = "theirs" if has(d.theirs) else "ours"
        elif d.kind in ("extra", "grace-extra"):
            d.text = "ours" if has(d.ours) else "theirs"
        elif d.kind == "bar-shift":
            d.text = "ours" if has(d.theirs) else "neither"  # already moved to where the reading has the bar
        elif d.ours is None or d.theirs is None:
            mine, note = (d.ours is not None), d.ours or d.theirs
            d.text = ("ours" if mine else "theirs") if has(note) else ("theirs" if mine else "ours")
        else:
            d.text = {(True, True): "both", (True, False): "ours", (False, True): "theirs"}.get(
                (has(d.ours), has(d.theirs)), "neither"
            )


def part_groups(reading: Reading, dump: witness.Dump, name: str, divisions: list[Division]):
    """Parts of the reading and of the witness that stand for each other; mostly one and one, in order."""
    division = next((d for d in divisions if d.file == reading.file.name and d.witness == name), None)
    if division is not None:
        division.used += 1
        named = {i for mine, _ in division.groups for i in mine}, {i for _, theirs in division.groups for i in theirs}
        absent = [i for i in reading.parts if i not in named[0]], [i for i in range(len(dump.parts)) if i not in named[1]]
        return division.groups + [([i], []) for i in absent[0]] + [([], [i]) for i in absent[1]]
    return [([i], [i]) for i in range(max([len(dump.parts), *[i + 1 for i in reading.parts]]))]


@dataclass
class Row:
    """One part of one file against one witness."""

    file: ScoreFile
    part: int  # the first of those compared as one
    name: str
    result: Result
    explained: int = 0

    @property
    def reached(self) -> float:
        """Agreed and explained notes, as a share of the larger reading."""
        larger = self.result.larger
        return (self.result.agreed + self.explained) / larger if larger else 1.0


@dataclass
class Report:
    witness: str
    rows: list[Row] = field(default_factory=list)
    failed: list[tuple[str, str]] = field(default_factory=list)
    absent: list[str] = field(default_factory=list)

    def reached(self, raw: bool = False) -> float:
        """Agreed (and explained) notes as a share of the larger reading of each part, so that no part makes up for another."""
        return sum(row.result.agreed + (0 if raw else row.explained) for row in self.rows) / self.larger if self.larger else 1.0

    @property
    def larger(self) -> int:
        return sum(row.result.larger for row in self.rows)

    def total(self) -> tuple[Result, int]:
        result, explained = Result(), 0
        for row in self.rows:
            result += row.result
            explained += row.explained
        return result, explained


def compare_file(
    reading: Reading, name: str, report: Report, exceptions: list[Explanation], divisions: list[Division], make: bool
) -> None:
    file = reading.file
    path = witness.cache_path(library_name(name), file)
    if not path.exists() and make:
        subprocess.run([sys.executable, str(HERE / f"dump_{name}.py"), str(file.path)], check=True)
    if not path.exists():
        report.absent.append(file.name)
        return
    dump = witness.load(path)
    if dump.error:
        report.failed.append((file.name, dump.error))
        return
    theirs, text = defaultdict(list), None
    for n in dump.notes:
        theirs[n.part].append(n)
    for mine, others in part_groups(reading, dump, name, divisions):
        ours_index = mine[0] if mine else -1
        result = compare.compare_part(
            [n for i in mine for n in reading.notes.get(i, ())], [n for i in others for n in theirs[i]]
        )
        row = Row(file, ours_index, " + ".join(reading.parts.get(i, "?") for i in mine) or "?", result)
        if result.differences:
            if text is None:
                text = text_notes(file)
            judge_by_text(result, [n for i in mine for n in text[i]])
        explained = Counter()
        for d in result.differences:
            cover = next((e for e in exceptions if e.covers(name, file, ours_index, d)), None)
            if cover is not None:
                cover.used += 1
                # A pair, or the longer half of a split tie, accounts for one note of the larger reading.
                counts = not d.kind.startswith("grace")
                explained["ours"] += counts and (d.ours is not None or d.kind == "bar-shift")
                explained["theirs"] += counts and (d.theirs is not None or d.kind == "bar-shift")
                d.explained = cover
        side = "ours" if result.ours >= result.theirs else "theirs"
        row.explained = explained[side]
        report.rows.append(row)


def text_notes(file: ScoreFile) -> dict[int, list[Note]]:
    import kern_text
    import text_reading

    reader = kern_text if file.format == "kern" else text_reading
    path = witness.cache_path(reader.LIBRARY, file)
    dump = witness.load(path) if path.exists() else reader.read(file)
    notes = defaultdict(list)
    for n in dump.notes:
        notes[n.part].append(n)
    return notes


# ------------------------------------------------------------------------------------------------------------- printing


def percent(share: float) -> str:
    """Rounded down, so that 100.000 % means every note."""
    return f"{int(share * 100000) / 1000:.3f} %"


def show(note: Note | None) -> str:
    if note is None:
        return "-"
    pitch = "unpitched" if note.pitch is None else note.pitch
    return f"{pitch} at {note.onset} for {note.duration}"


def print_report(report: Report, worst: int, part_threshold: float, examples: int) -> None:
    total, explained = report.total()
    files = {row.file.name for row in report.rows}
    print(f"\n{library_name(report.witness)}: {len(files)} files, {len(report.rows)} parts")
    print(f"  notes: reading {total.ours}, witness {total.theirs}")
    print(f"  agreed (part, onset, duration, pitch)       {total.agreed:>8}  {percent(total.rate)}")
    print(f"  agreed counting from the start of each bar  {total.agreed_in_bar:>8}  {percent(total.rate_in_bar)}")
    print(f"  agreed or explained in exceptions.toml      {total.agreed + explained:>8}  {percent(report.reached())}, of {report.larger} in the larger reading of each part")
    print(f"  grace notes: reading {total.grace_ours}, witness {total.grace_theirs}, agreed {total.grace_agreed}")
    for name, error in report.failed:
        print(f"  the witness cannot read {name}: {error}")
    if report.absent:
        print(f"  no cached reading of {len(report.absent)} files, first {report.absent[0]}: run dump_{report.witness}.py")
    if not total.differences:
        return
    print(f"\n  {'class':<14}{'count':>7}{'explained':>10}{'files':>6}   the text sides with the reading / witness / neither")
    for kind, meaning in compare.CLASSES.items():
        rows = [(row, d) for row in report.rows for d in row.result.differences if d.kind == kind]
        if not rows:
            continue
        sides = Counter(d.text for _, d in rows)
        known = sum(d.explained is not None for _, d in rows)
        count = len({row.file.name for row, _ in rows})
        neither = sides["neither"] + sides["both"]
        print(f"  {kind:<14}{len(rows):>7}{known:>10}{count:>6}   {sides['ours']:>7} / {sides['theirs']} / {neither}   {meaning}")
    print(f"\n  worst parts: agreed or explained (raw)")
    order = sorted((r for r in report.rows if r.result.differences), key=lambda r: (r.reached, r.result.rate, r.file, r.part))
    for row in order[:worst]:
        kinds = ", ".join(f"{n} {c}" for c, n in Counter(d.kind for d in row.result.differences).most_common())
        print(f"  {percent(row.reached)} (raw {percent(row.result.rate)})  {row.file.name}, part {row.part} {row.name}: {kinds}")
        for bar, shift in row.result.shifted_from[:examples]:
            print(f"      from bar index {bar} the witness starts each bar {shift} crotchets later")
        for d in [d for d in row.result.differences if d.explained is None and d.kind != "bar-shift"][:examples]:
            side = f"; text: {d.text}" if d.text else ""
            print(f"      bar index {d.bar} {d.kind}: reading {show(d.ours)}, witness {show(d.theirs)}{side}")
    if len(order) > worst:
        low = sum(row.reached * 100 < part_threshold for row in order[worst:])
        print(f"  and {len(order) - worst} more parts with differences, {low} of them below {part_threshold} % (--json has all)")


def as_json(report: Report) -> dict:
    total, explained = report.total()

    def numbers(result: Result, explained: int) -> dict:
        return {
            "reading": result.ours,
            "witness": result.theirs,
            "agreed": result.agreed,
            "agreed_in_bar": result.agreed_in_bar,
            "explained": explained,
            "grace": [result.grace_ours, result.grace_theirs, result.grace_agreed],
        }

    parts = []
    for row in report.rows:
        if not row.result.differences:
            continue
        entry = {"file": row.file.name, "part": row.part, "name": row.name, **numbers(row.result, row.explained)}
        entry["shifted_from"] = [[bar, str(shift)] for bar, shift in row.result.shifted_from]
        entry["differences"] = [
            {
                "class": d.kind,
                "bar": d.bar,
                "reading": show(d.ours),
                "witness": show(d.theirs),
                "text": d.text,
                "explained": d.explained.why if d.explained is not None else None,
            }
            for d in [d for d in row.result.differences if d.kind != "bar-shift"][:50]
        ]
        parts.append(entry)
    return {
        "witness": library_name(report.witness),
        "files": len({row.file.name for row in report.rows}),
        "failed": report.failed,
        "not_cached": report.absent,
        "total": numbers(total, explained),
        "parts_with_differences": parts,
    }


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("tables", nargs="+", help="tables of `ripieno notes --csv --score-order` (- for standard input)")
    options.add_argument("--witness", nargs="+", choices=WITNESSES, default=list(WITNESSES))
    options.add_argument("--between", nargs=2, metavar=("A", "B"), help="compare two witnesses; then name sets or files")
    options.add_argument("--threshold", type=float, default=99.9, help="per cent of all notes (default 99.9)")
    options.add_argument("--part-threshold", type=float, default=99.0, help="per cent in every part (default 99)")
    options.add_argument(
        "--bar-threshold", type=float, default=99.9,
        help="per cent of all notes that must agree counting from the start of each bar, explained or not (default 99.9)",
    )
    options.add_argument("--raw", action="store_true", help="explained differences do not count towards the thresholds")
    options.add_argument("--exceptions", type=Path, default=HERE / "exceptions.toml")
    options.add_argument("--expect-files", type=int, help="fail if the tables hold fewer files, or a witness lacks one")
    options.add_argument("--worst", type=int, default=15, help="how many parts to show (default 15)")
    options.add_argument("--examples", type=int, default=3, help="differences to show for each part (default 3)")
    options.add_argument("--dump", action="store_true", help="let the witness read what is not cached yet")
    options.add_argument("--json", type=Path, help="write the whole report here")
    chosen = options.parse_args()

    exceptions, divisions = load_exceptions(chosen.exceptions)
    seen: list[ScoreFile] = []
    if chosen.between:
        first, second = chosen.between
        reports = [Report(second)]
        for reading in readings_of_witness(first, witness.files_of(chosen.tables)):
            known = exceptions if first.startswith("text-") else []
            compare_file(reading, second, reports[0], known, [], chosen.dump and second in WITNESSES)
    else:
        names = FileNames([s for s in ("corpus", "scores", "kern")])
        reports = [Report(name) for name in chosen.witness]
        for table in chosen.tables:
            for reading in readings_of_csv(table, names):
                seen.append(reading.file)
                for report in reports:
                    compare_file(reading, report.witness, report, exceptions, divisions, chosen.dump)

    verdict = 0
    if chosen.expect_files is not None and (len(seen) < chosen.expect_files or any(report.absent for report in reports)):
        print(f"FAIL: {len(seen)} files in the tables, {chosen.expect_files} expected, and a cached reading of each by every witness")
        verdict = 1
    for report in reports:
        print_report(report, chosen.worst, chosen.part_threshold, chosen.examples)
        total, _ = report.total()
        if not report.rows:
            print("Nothing compared: no cached reading of these files. Run the dump scripts first, or pass --dump.")
            verdict = 2
            continue
        share = report.reached(chosen.raw)
        low = [r for r in report.rows if (r.result.rate if chosen.raw else r.reached) * 100 < chosen.part_threshold]
        good = share * 100 >= chosen.threshold and not low and total.rate_in_bar * 100 >= chosen.bar_threshold
        print(
            f"\n  {'PASS' if good else 'FAIL'}: {percent(share)} in total (at least {chosen.threshold} %), "
            f"{percent(total.rate_in_bar)} from the start of each bar (at least {chosen.bar_threshold} %), "
            f"{len(low)} parts below {chosen.part_threshold} %"
        )
        verdict = max(verdict, 0 if good else 1)
    stale = [e for e in exceptions if not e.used and any(e.concerns(file) for file in seen)]
    if stale:
        print(f"\n{len(stale)} entries of {chosen.exceptions.name} explained nothing here, first: {stale[0].file} {stale[0].classes}")
    if chosen.json:
        chosen.json.write_text(json.dumps([as_json(r) for r in reports], indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return verdict


if __name__ == "__main__":
    sys.exit(main())
