"""Runs Ripieno's own round trip (read, write MusicXML, read, compare what sounds) over sets of files.

    python reference/round_trip.py --bin target/release/examples/round_trip [--keep DIR] [SET or FILE ...]
"""

import argparse
import subprocess
import sys
from pathlib import Path

import witness


def main() -> int:
    options = argparse.ArgumentParser(description="Write and read again")
    options.add_argument("--bin", type=Path, default=Path("target/release/examples/round_trip"))
    options.add_argument("--keep", type=Path)
    options.add_argument("sets", nargs="*", default=["corpus", "kern", "scores"])
    chosen = options.parse_args()
    paths = [str(file.path) for file in witness.files_of(chosen.sets)]
    keep = ["--keep", str(chosen.keep)] if chosen.keep else []
    return subprocess.run([chosen.bin, *keep, *paths], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
