"""Asks the desk whatever its OpenAPI description allows, and much that it does not, by schemathesis (MIT).

    target/reference-venv/bin/python reference/desk_fuzz.py --bin target/debug/ripieno [--seconds 100]

The desk must answer every request within half a minute, never with a fault of its own (5xx), with a status, a kind of content and a body as its
description says. It runs on a library of its own, with the demonstration score open, which is thrown away.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CHECKS = "not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance"
SCHEMATHESIS = Path(sys.executable).with_name("schemathesis")


def started(program: Path, library: Path) -> tuple[subprocess.Popen[str], str, str]:
    """The desk, its address without the key, and the cookie that opens it."""
    command = [program, "desk", "--library", library, "--no-open"]
    desk = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert desk.stdout is not None
    address = re.search(r"http://\S+", desk.stdout.readline())
    if address is None:
        raise SystemExit("the desk does not say its address")
    with urllib.request.urlopen(address[0], timeout=30) as page:
        cookie = page.headers["Set-Cookie"].split(";")[0]
    return desk, address[0].split("/?")[0], cookie


def with_demo(base: str, cookie: str) -> None:
    """Opens the demonstration score and waits for its study."""

    def asked(path: str, method: str) -> dict[str, object]:
        request = urllib.request.Request(base + path, method=method, headers={"Cookie": cookie})
        with urllib.request.urlopen(request, timeout=30) as answer:
            found: dict[str, object] = json.load(answer)
            return found

    job = asked("/api/demo", "POST")["job"]
    for _ in range(600):
        if asked(f"/api/jobs/{job}", "GET")["stage"] == "done":
            return
        time.sleep(0.2)
    raise SystemExit("the demonstration score does not open")


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--bin", type=Path, required=True)
    arguments.add_argument("--seconds", type=int, default=100)
    chosen = arguments.parse_args()
    with tempfile.TemporaryDirectory(prefix="ripieno-fuzz-") as folder:
        desk, base, cookie = started(chosen.bin, Path(folder) / "library.db")
        try:
            with_demo(base, cookie)
            command = [
                *(SCHEMATHESIS, "run", ROOT / "crates/desk/openapi.json", "--url", base, "-H", f"Cookie: {cookie}"),
                *("--checks", CHECKS, "--phases", "examples,coverage,fuzzing", "--max-time", str(chosen.seconds)),
                *("--request-timeout", "30", "--continue-on-failure", "--seed", "20251126", "--warnings", "off", "--no-color"),
                # Server-sent events are text with data in it, which it holds against a schema of whole events; crates/desk/tests/server.rs asks for them.
                *("--suppress-health-check", "all", "--exclude-path-regex", "/events$"),
            ]
            surroundings = {**os.environ, "PYTHONPATH": str(Path(__file__).parent), "SCHEMATHESIS_HOOKS": "desk_fuzz_kinds"}
            result = subprocess.run(command, check=False, timeout=chosen.seconds + 70, cwd=folder, env=surroundings)
            if desk.poll() is not None:
                print("the desk has ended", file=sys.stderr)
                return 1
            return result.returncode
        finally:
            desk.terminate()
            desk.wait(timeout=20)


if __name__ == "__main__":
    sys.exit(main())
