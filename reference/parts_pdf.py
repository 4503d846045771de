"""Measures the PDFs that `ripieno deliver` wrote against the guidelines for orchestral parts.

    python reference/parts_pdf.py FOLDER

FOLDER has `parts/*.pdf` and `score/score.pdf`. What is asked, with its source:

- staves of parts 7.0 to 8.5 mm, of scores 4.0 mm or more; bar numbers at the start of each system of a part, every bar of a score
  numbered (Major Orchestra Librarians' Association, Guidelines for Music Preparation, 2017, and its text of 2006);
- at most ten staves a page of a part of one staff, margins of 19 mm on all sides of its music (the same, from memory);
- title and the reader's name on the first page, the page's number on the others (common practice).

Read with pdfplumber, which knows nothing of how the pages were made. Exits with 1 when anything is wrong.
"""

import re
import sys
from pathlib import Path

import pdfplumber

MM = 72 / 25.4
LEAST, MOST, LEAST_IN_SCORE = 7.0, 8.5, 4.0
MARGIN, SLACK = 19.0, 1.0
# What printers commonly cannot reach (common practice).
LEAST_TO_EDGE = 6.0


def staves(page):
    """Tops and feet of the five-line staves, in points from the top."""
    rows = sorted({round(line["top"], 1) for line in page.lines if abs(line["top"] - line["bottom"]) < 0.05 and line["x1"] - line["x0"] > 15})
    merged = []
    for row in rows:
        if not merged or row - merged[-1] > 0.3:
            merged.append(row)
    found, at = [], 0
    while at + 4 < len(merged):
        five = merged[at : at + 5]
        gaps = [b - a for a, b in zip(five, five[1:])]
        if max(gaps) - min(gaps) < 0.35:
            found.append((five[0], five[-1]))
            at += 5
        else:
            at += 1
    return found


def numbers_before(page, staff, left):
    """Figures that stand above the beginning of a staff."""
    top, foot = staff
    near = [char for char in page.chars if char["x0"] < left + 40 and top - 30 < char["top"] < top + 1]
    return re.findall(r"\d+", "".join(char["text"] for char in sorted(near, key=lambda char: char["x0"])))


def check_part(path, faults):
    heights, most = [], 0
    with pdfplumber.open(path) as pdf:
        for number, page in enumerate(pdf.pages, 1):
            own = staves(page)
            most = max(most, len(own))
            heights += [(foot - top) / MM for top, foot in own]
            left = min((line["x0"] for line in page.lines), default=0)
            text = page.extract_text() or ""
            if number > 1 and not re.search(rf"\b{number}\b", text.splitlines()[0] if text else ""):
                faults.append(f"{path.name}, page {number}: no page number")
            systems = own if not braced(path) else own[::2]
            for place, staff in enumerate(systems):
                if (number > 1 or place > 0) and not numbers_before(page, staff, left):
                    faults.append(f"{path.name}, page {number}, system {place + 1}: no bar number")
            # Bar numbers hang in the margin; the music keeps clear of it.
            begins, ends = [line["x0"] for line in page.lines], [line["x1"] for line in page.lines]
            if begins and (min(begins) / MM < MARGIN - SLACK or (page.width - max(ends)) / MM < MARGIN - SLACK):
                faults.append(f"{path.name}, page {number}: music in the margin")
            text_begins = [char["x0"] for char in page.chars]
            if text_begins and min(text_begins) / MM < LEAST_TO_EDGE:
                faults.append(f"{path.name}, page {number}: words at the edge of the paper")
    if not heights and is_unpitched(path):
        # One line a staff: nothing to measure by.
        return [], 0
    if not heights:
        faults.append(f"{path.name}: no staves found")
    elif not LEAST - 0.05 <= min(heights) <= max(heights) <= MOST + 0.05:
        faults.append(f"{path.name}: staves of {min(heights):.2f} to {max(heights):.2f} mm")
    if most > 10 and not braced(path):
        faults.append(f"{path.name}: {most} staves on a page")
    return heights, most


def braced(path):
    """Whether the part has two staves."""
    beside = path.with_suffix(".musicxml")
    return beside.exists() and "<staves>2" in beside.read_text(encoding="utf-8")


def is_unpitched(path):
    """Whether the part is written on single lines."""
    beside = path.with_suffix(".musicxml")
    return beside.exists() and "<staff-lines>1" in beside.read_text(encoding="utf-8")


def check_score(path, bars, faults):
    seen, heights = [], []
    with pdfplumber.open(path) as pdf:
        for page in pdf.pages:
            own = staves(page)
            heights += [(foot - top) / MM for top, foot in own]
            small = [char for char in page.chars if own and char["size"] < 0.45 * (own[0][1] - own[0][0])]
            rows = {}
            for char in small:
                rows.setdefault(round(char["top"]), []).append(char)
            for row in rows.values():
                words, last = [], None
                for char in sorted(row, key=lambda char: char["x0"]):
                    if last is not None and char["x0"] - last < char["size"]:
                        words[-1] += char["text"]
                    else:
                        words.append(char["text"])
                    last = char["x1"]
                seen += words
    missing = [bar for bar in bars if bar not in seen]
    if missing:
        faults.append(f"{path.name}: bars without a number: {', '.join(missing[:12])}")
    if not heights or min(heights) < LEAST_IN_SCORE - 0.02:
        faults.append(f"{path.name}: staves of {min(heights, default=0):.2f} mm")
    return heights


def main(folder):
    faults = []
    parts = sorted((folder / "parts").glob("*.pdf"))
    if not parts:
        sys.exit(f"{folder}: no parts/*.pdf; was `ripieno deliver` built with the engraver?")
    every = []
    for path in parts:
        heights, most = check_part(path, faults)
        every += heights
        print(f"{path.name}: {len(heights)} staves, at most {most} on a page")
    text = (folder / "score" / "score.musicxml").read_text(encoding="utf-8")
    first = text[text.index("<part ") : text.index("</part>")]
    bars = re.findall(r'<measure number="([^"]+)"', first)
    heights = check_score(folder / "score" / "score.pdf", bars, faults)
    print(f"{len(parts)} parts, staves {min(every):.2f} to {max(every):.2f} mm; score of {len(bars)} bars, staves {min(heights):.2f} mm")
    for fault in faults:
        print("FAULT", fault)
    print(f"{len(faults)} faults")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
