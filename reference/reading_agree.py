"""Reads scores with Ripieno and with the witnesses, and compares: one command for what agree.py does with tables.

    python reference/reading_agree.py --bin target/release/ripieno [SET or FILE ...]       (default: corpus scores)
    python reference/reading_agree.py --bin target/release/ripieno kern

Witness dumps that are missing are made first, music21 and partitura side by side; they are kept in the cache (witness.py), so
that the next run is quick. Thresholds are those of agree.py, and may be raised.
"""

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

import witness

HERE = Path(__file__).resolve().parent


def main() -> int:
    options = argparse.ArgumentParser(description="Compare reading with music21 and partitura")
    options.add_argument("--bin", type=Path, default=Path("target/release/ripieno"))
    options.add_argument("--threshold", default="99.9", help="per cent agreed or explained, in total")
    options.add_argument("--bar-threshold", default="99.9", help="per cent agreed from the start of each bar, explained or not")
    options.add_argument("--part-threshold", default="99", help="per cent agreed or explained, in every part")
    options.add_argument("sets", nargs="*", default=["corpus", "scores"])
    chosen = options.parse_args()
    paths = [str(file.path) for file in witness.files_of(chosen.sets)]
    dumps = [
        subprocess.Popen([sys.executable, HERE / f"dump_{name}.py", *chosen.sets], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for name in ("music21", "partitura")
    ]
    for dump in dumps:
        dump.wait()
    with tempfile.NamedTemporaryFile("w", suffix=".csv") as table:
        subprocess.run([chosen.bin, "notes", "--csv", "--score-order", *paths], stdout=table, stderr=subprocess.DEVNULL, check=False)
        table.flush()
        compare = [sys.executable, HERE / "agree.py", table.name, "--worst", "5", "--examples", "1", "--expect-files", str(len(paths))]
        for name in ("threshold", "bar_threshold", "part_threshold"):
            compare += [f"--{name.replace('_', '-')}", getattr(chosen, name)]
        return subprocess.run(compare, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
