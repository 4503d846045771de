"""What a teacher would count in first proposals, in the written scores: nothing of it is told by the crate.

  casting_craft.py RIPIENO OUT [--sketches FOLDER]

Reduces five passages with the command RIPIENO, casts each for every line-up of demo/lineups, writes all of it into OUT and prints a row for each cast and the sums. With
--sketches the sketches of that folder (NAME.musicxml) are cast instead of new ones. Notes come from `ripieno notes --csv`, which other witnesses check.
"""

import argparse
import collections
import csv
import io
import pathlib
import re
import subprocess
from fractions import Fraction as F

ROOT = pathlib.Path(__file__).resolve().parent.parent
SCORES = ROOT / "../shared/data/scores"
PASSAGES = {
    "theme": (ROOT / "demo/lifeboat_overture.musicxml", "51-66"),
    "development": (ROOT / "demo/lifeboat_overture.musicxml", "35-45"),
    "peroration": (ROOT / "demo/lifeboat_overture.musicxml", "81-100"),
    "brahms": (SCORES / "Brahms_Op.90_3.mxl", "1-24"),
    "beethoven": (SCORES / "Beethoven_Op.67_4.mxl", "1-16"),
}
PRINTED = {"parallels": "parallel fifths and octaves", "crossings": "crossings within a section", "cautions": "cautions found by players"}


def run(*words):
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{' '.join(map(str, words))}: {done.stderr.strip()}")
    return done.stdout


def notes(command, file):
    """Sounding notes by part: onset, duration, key."""
    found = collections.defaultdict(list)
    for row in csv.DictReader(io.StringIO(run(command, "notes", file, "--csv"))):
        if row["pitch"]:
            found[row["part"]].append((F(row["onset"]), F(row["duration"]), int(row["pitch"])))
    return found


def counts(sketch, draft):
    """Sums over one draft."""
    every = [note for part in draft.values() for note in part]
    at = lambda moment: [note for note in every if note[0] <= moment < note[0] + note[1]]
    lasting = lambda name: [note for note in sketch.get(name, []) if note[1] > 0]
    found = collections.Counter()
    for onset, _, key in lasting("Bass"):
        lowest = min((note[2] for note in at(onset)), default=None)
        found["bass notes"] += 1
        found["bass not lowest"] += lowest is None or lowest % 12 != key % 12
    octave = None
    for onset, _, key in lasting("Melody"):
        now = at(onset)
        own = [note[2] for note in now if note[0] == onset and note[2] % 12 == key % 12]
        found["tune notes"] += 1
        found["tune on top"] += bool(own) and max(own) >= max(note[2] for note in now)
        # The highest who has the tune goes to another octave than the sketch's line does: who doubles it above enters or leaves, or a line is broken.
        if own:
            found["tune's top leaves its octave"] += octave not in (None, (max(own) - key) // 12)
            octave = (max(own) - key) // 12
    # Halves and thirds of one beat in one part, where no strand but the rhythm has that pattern: two layers chopped into one.
    patterns = lambda part: {
        beat: frozenset(onset % 1 for onset, length, _ in part if length > 0 and onset // 1 == beat)
        for beat in {onset // 1 for onset, length, _ in part if length > 0}
    }
    known = collections.defaultdict(set)
    for name, part in sketch.items():
        if not name.startswith("Rhythm"):
            for beat, pattern in patterns(part).items():
                known[beat].add(pattern)
    for part in draft.values():
        for beat, pattern in patterns(part).items():
            mixed = any(x.denominator % 2 == 0 for x in pattern) and any(x.denominator % 3 == 0 for x in pattern)
            found["mixed beats"] += mixed and pattern not in known[beat]
    chords = lasting("Chords")
    for moment in sorted({note[0] for note in chords}):
        wanted = {note[2] % 12 for note in chords if note[0] <= moment < note[0] + note[1]}
        struck = {note[2] % 12 for note in every if note[0] == moment and note[1] >= 1}
        found["chords"] += 1
        found["chords not whole at the attack"] += len(wanted) > 1 and not wanted <= struck
    return found


def main():
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("command", type=pathlib.Path)
    arguments.add_argument("out", type=pathlib.Path)
    arguments.add_argument("--sketches", type=pathlib.Path)
    asked = arguments.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    total = collections.Counter()
    for name, (score, bars) in PASSAGES.items():
        file = (asked.sketches or asked.out) / f"{name}.musicxml"
        if not asked.sketches:
            run(asked.command, "sketch", score, "--bars", bars, "--lead", "--out", file)
        sketch = notes(asked.command, file)
        for lineup in sorted((ROOT / "demo/lineups").glob("*.toml")):
            draft = asked.out / f"{name}-{lineup.stem}.musicxml"
            told = run(asked.command, "cast", file, "--lineup", lineup, "--out", draft)
            found = counts(sketch, notes(asked.command, draft))
            for key, words in PRINTED.items():
                value = re.search(rf"^  {words}[a-z ]* +([\d.]+)", told, re.MULTILINE)
                found[key] = int(float(value[1])) if value else 0
            found["strands nobody has"] = len(re.findall("nobody has “", told))
            found["phrases without tune or bass"] = len(re.findall("nobody has “(?:Melody|Bass)”", told))
            total.update(found)
            print(f"{name:12}{lineup.stem:20}", ", ".join(f"{key} {value}" for key, value in found.items()))
    print("sums:", ", ".join(f"{key} {value}" for key, value in total.items()))


if __name__ == "__main__":
    main()
