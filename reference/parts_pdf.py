"""Measures the PDFs that `ripieno deliver` wrote against the guidelines for orchestral parts.

    python reference/parts_pdf.py FOLDER

FOLDER has `parts/*.pdf` and `score/score.pdf`. What is asked, with its source:

- staves of parts 7.0 to 8.5 mm, of scores 4.0 mm or more; bar numbers at the start of each system of a part, every bar of a score
  numbered (Major Orchestra Librarians' Association, Guidelines for Music Preparation, 2017, and its text of 2006);
- at most ten staves a page of a part of one staff, margins of 19 mm on all sides of its music (the same, from memory);
- title and the reader's name on the first page, the page's number on the others (common practice);
- no words nearer to the edge of the paper than the margin, on the right as well (common practice of printers);
- rehearsal letters of a score over the first beat of their own bar, clear of staves and of other words, once on top of a system and once over its
  strings at most; bar numbers under everything else (common practice). Which bar has which letter is read from the MusicXML beside.

Read with pdfplumber, which knows nothing of how the pages were made. Exits with 1 when anything is wrong.
"""

import re
import sys
from pathlib import Path

import pdfplumber

MM = 72 / 25.4
LEAST, MOST, LEAST_IN_SCORE = 7.0, 8.5, 4.0
MARGIN, MARGIN_OF_SCORE, SLACK = 19.0, 15.0, 1.0
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
            faults += [f"{path.name}, page {number}: {fault}" for fault in words_in_margin(page, MARGIN)]
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


def words_in_margin(page, margin):
    """What runs into the margin on the right, or to the edge on the left, where bar numbers and names may hang."""
    faults = []
    if page.chars and min(char["x0"] for char in page.chars) / MM < LEAST_TO_EDGE:
        faults.append("words at the edge of the paper on the left")
    end = page.width - (margin - SLACK) * MM
    over = [char for char in page.chars if char["x1"] > end]
    if over:
        farthest = max(char["x1"] for char in over)
        faults.append(f"words {(farthest - end) / MM + SLACK:.1f} mm in the margin: {''.join(char['text'] for char in over)}")
    return faults


def words_of(chars):
    """Chars of one size and height that stand together: text, left, top, right, foot."""
    rows = {}
    for char in chars:
        rows.setdefault((round(char["bottom"] * 2), round(char["size"], 1)), []).append(char)
    words = []
    for row in rows.values():
        last = None
        for char in sorted(row, key=lambda char: char["x0"]):
            if last is not None and char["x0"] - last["x1"] < 0.35 * char["size"]:
                words[-1][0] += char["text"]
                words[-1][3] = char["x1"]
            else:
                words.append([char["text"], char["x0"], char["top"], char["x1"], char["bottom"]])
            last = char
    return words


def check_score(path, bars, letters, faults):
    """Heights of staves. `letters`: for each rehearsal letter the number of its bar."""
    seen, heights, lettered = [], [], {}
    with pdfplumber.open(path) as pdf:
        for number, page in enumerate(pdf.pages, 1):
            own = staves(page)
            heights += [(foot - top) / MM for top, foot in own]
            faults += [f"{path.name}, page {number}: {fault}" for fault in words_in_margin(page, MARGIN_OF_SCORE)]
            if not own:
                continue
            staff = own[0][1] - own[0][0]
            words = words_of(page.chars)
            numbers = numbers_under(page, own, words)
            seen += [word[0] for word in numbers]
            faults += [f"{path.name}, page {number}: {fault}" for fault in hit(page, numbers)]
            frames = [rect for rect in page.rects + page.curves if staff * 0.3 < rect["x1"] - rect["x0"] < staff * 3 and staff * 0.3 < rect["bottom"] - rect["top"] < staff * 2]
            for word in words:
                text, left, top, right, foot = word
                middle = (left + right) / 2
                framed = any(rect["x0"] <= left + 1 and right - 1 <= rect["x1"] and rect["top"] <= top + staff and foot - staff <= rect["bottom"] for rect in frames)
                if text not in letters or not framed:
                    continue
                below = [word for word in numbers if word[2] > foot]
                row = min((word[2] for word in below), default=None)
                begun = [word for word in below if word[2] - row < 2 and word[1] - 1.2 * staff <= middle]
                bar = max(begun, key=lambda word: word[1], default=[None])[0]
                lettered.setdefault(text, []).append(bar)
                if any(upper - 0.1 * staff < (top + foot) / 2 < lower + 0.1 * staff for upper, lower in own):
                    faults.append(f"{path.name}, page {number}: letter {text} inside a staff")
                for other in words:
                    apart = other[1] >= right or other[3] <= left or other[2] + 0.25 * (other[4] - other[2]) >= foot or other[4] <= top + 0.25 * (foot - top)
                    if other is not word and not apart and other[0].strip():
                        faults.append(f"{path.name}, page {number}: letter {text} on the words {other[0]}")
    missing = [bar for bar in bars if bar not in seen]
    if missing:
        faults.append(f"{path.name}: bars without a number: {', '.join(missing[:12])}")
    for letter, bar in letters.items():
        if set(lettered.get(letter, [])) != {bar} or len(lettered[letter]) > 2:
            faults.append(f"{path.name}: letter {letter} of bar {bar} stands over bars {lettered.get(letter)}")
    if not heights or min(heights) < LEAST_IN_SCORE - 0.02:
        faults.append(f"{path.name}: staves of {min(heights, default=0):.2f} mm")
    return heights


def numbers_under(page, own, words):
    """Bar numbers: figures in rows of several, or of one at the left, that lie in no staff."""
    plain = [word for word in words if re.fullmatch(r"[0-9]+[a-z]?", word[0])]
    level = [line for line in page.lines if abs(line["top"] - line["bottom"]) < 0.05 and line["x1"] - line["x0"] > 15]
    left = min((line["x0"] for line in level), default=0)
    rows = {}
    for word in plain:
        rows.setdefault(round(word[4]), []).append(word)
    found = []
    for row in rows.values():
        begins = min(word[1] for word in row)
        values = [int(re.match(r"[0-9]+", word[0])[0]) for word in sorted(row, key=lambda word: word[1])]
        if begins - left < 12 and values == list(range(values[0], values[0] + len(values))) and row[0][2] > own[0][1]:
            found += row
    return found


def hit(page, numbers):
    """Bar numbers on which something else is drawn."""
    faults = []
    for text, left, top, right, foot in numbers:
        # Figures fill two thirds of their type.
        height = foot - top
        top, foot = top + 0.25 * height, foot - 0.2 * height
        drawn = [one for one in page.lines + page.curves + page.rects if one["x1"] - one["x0"] < page.width * 0.9]
        on = [one for one in drawn if one["x0"] < right and left < one["x1"] and one["top"] < foot and top < one["bottom"]]
        words = [char for char in page.chars if char["x0"] < right and left < char["x1"] and char["top"] + 0.25 * char["size"] < foot and top < char["bottom"] - 0.2 * char["size"] and char["text"] not in text]
        if on or words:
            faults.append(f"bar number {text} is hit")
    return faults


def letters_of(part):
    """Rehearsal letters of a part's MusicXML with the numbers of their bars."""
    found = {}
    for bar in re.split(r"<measure ", part)[1:]:
        number = re.match(r'number="([^"]+)"', bar)[1]
        for letter in re.findall(r"<rehearsal[^>]*>([^<]+)<", bar):
            found[letter] = number
    return found


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
    heights = check_score(folder / "score" / "score.pdf", bars, letters_of(first), faults)
    print(f"{len(parts)} parts, staves {min(every):.2f} to {max(every):.2f} mm; score of {len(bars)} bars, staves {min(heights):.2f} mm")
    for fault in faults:
        print("FAULT", fault)
    print(f"{len(faults)} faults")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
