"""How long music21 and partitura take to read one score to sounding notes, on one core.

    python reference/bench_readers.py FILE [--runs 1]

Prints the best of the runs for each, in seconds on the clock and of the processor, import time left out. On a loaded machine only
processor seconds say something; compare them with processor seconds. music21: converter.parse without its cache, then concert
pitch and ties joined, read note by note. partitura: load_score, then its note array.
"""

import argparse
import os
import time
import warnings
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[threads] = "1"  # before numpy is imported
warnings.simplefilter("ignore")


def by_music21(path: str) -> int:
    from music21 import converter

    score = converter.parseFile(path, forceSource=True)
    score.toSoundingPitch(inPlace=True)
    return sum(len(note.pitches) for part in score.parts for note in part.stripTies().recurse().notes)


def by_partitura(path: str) -> int:
    import partitura

    return sum(len(part.note_array()) for part in partitura.load_score(path).parts)


def main() -> None:
    options = argparse.ArgumentParser(description="Time music21 and partitura on one score")
    options.add_argument("file", type=Path)
    options.add_argument("--runs", type=int, default=1)
    chosen = options.parse_args()
    import music21  # noqa: F401 - so that importing is not timed
    import partitura  # noqa: F401

    for name, read in (("music21", by_music21), ("partitura", by_partitura)):
        best = best_cpu = float("inf")
        for _ in range(chosen.runs):
            start, start_cpu = time.perf_counter(), time.process_time()
            notes = read(str(chosen.file))
            best = min(best, time.perf_counter() - start)
            best_cpu = min(best_cpu, time.process_time() - start_cpu)
        print(f"{chosen.file.name}: {name} {best:.2f} s, {best_cpu:.2f} s of the processor, {notes} notes", flush=True)


if __name__ == "__main__":
    main()
