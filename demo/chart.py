#!/usr/bin/env python3
"""Writes the chart of the demo overture: what its plan says of who does what, bar by bar, without a note.

    python3 demo/chart.py [--out FILE]

Reads demo/planted/roles.csv alone, so that the chart can be held against demo/planted/practice.csv. Standard library only; the same bytes every time.
"""
import argparse
import csv
import pathlib

HERE = pathlib.Path(__file__).resolve().parent

HEAD = """# Written by demo/chart.py from demo/planted/roles.csv.
format = "ripieno-chart"
version = 1
title = "The Boat Goes Out"
composer = "Ripieno project"
made = "by hand, from the plan of the piece"
"""

# Bar 0 is an upbeat of a crotchet; 51 to 70 are in 3/4 (PLANTED.md).
BARS = [
    {"count": 1, "number": '"0"', "uncounted": "true", "metre": '"4/4"', "length": '"1"'},
    {"count": 50},
    {"count": 20, "metre": '"3/4"'},
    {"count": 38, "metre": '"4/4"'},
]


def quoted(text):
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=pathlib.Path, default=HERE / "chart_lifeboat.toml")
    out = parser.parse_args().out
    with open(HERE / "planted" / "roles.csv", encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file)]
    names = list(dict.fromkeys(row["part"] for row in rows))
    text = [HEAD]
    for name in names:
        text.append(f"\n[[part]]\nname = {quoted(name)}\n")
    for run in BARS:
        text.append("\n[[bars]]\n" + "".join(f"{key} = {value}\n" for key, value in run.items()))
    # Bar by bar, since a role may change inside one: then it has both.
    of_bar = {}
    for row in rows:
        roles = row["roles"].split(";")
        if roles == ["tacet"]:
            continue
        lines = sorted({(other["staff"], other["voice"]) for other in rows if other["part"] == row["part"] and other["voice"]})
        line = (names.index(row["part"]), lines.index((row["staff"], row["voice"])) + 1)
        for bar in range(int(row["first_bar"]), int(row["last_bar"]) + 1):
            known, layer = of_bar.get((line, bar), ([], row["layer"]))
            of_bar[line, bar] = (known + [role for role in roles if role not in known], layer)
    # What is said again later stands in one row.
    told = {}
    for ((part, line), bar), (roles, layer) in sorted(of_bar.items()):
        spans = told.setdefault((part, line, tuple(roles), layer), [])
        if spans and spans[-1][1] == bar - 1:
            spans[-1][1] = bar
        else:
            spans.append([bar, bar])
    told = {key: [str(first) if first == last else f"{first}-{last}" for first, last in spans] for key, spans in told.items()}
    for (part, line, roles, layer), bars in sorted(told.items()):
        text.append("\n[[row]]\nwho = " + quoted(names[part]) + "\n" + (f"line = {line}\n" if line > 1 else ""))
        listed = quoted(roles[0]) if len(roles) == 1 else "[" + ", ".join(quoted(role) for role in roles) + "]"
        text.append(f"bars = {quoted(', '.join(bars))}\nrole = {listed}\n" + (f"layer = {quoted(layer)}\n" if layer else ""))
    out.write_text("".join(text), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
