"""Chord labels of the annotated symphonies as spans of (onset, offset, root, quality, inversion, key, mode).

The tables (columns onset, offset, key, degree, quality, inversion, roman number; crotchets) name degrees by the scale of the
key: natural minor in minor, raised seventh and sixth where the quality asks for them. The numeral adds what the degree column leaves out:
accidentals, and the key a chord is borrowed from. Rows whose times run backwards are dropped, overlaps end at the next row.
"""
import csv
import re

QUALITIES = ["M", "m", "D7", "d7", "h7", "d", "m7", "M7", "a", "a6", "mM7"]
NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
MAJOR = [0, 2, 4, 5, 7, 9, 11]
MINOR = [0, 2, 3, 5, 7, 8, 10]
NUMERALS = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5, "VI": 6, "VII": 7}


def key_of(name):
    """Tonic pitch class and whether minor."""
    alter = sum({"-": -1, "b": -1, "#": 1, "+": 1}[c] for c in name[1:])
    return (NATURAL[name[0].upper()] + alter) % 12, name[0].islower()


def accidental(text):
    return sum({"-": -1, "b": -1, "#": 1, "+": 1}.get(c, 0) for c in text)


def piece_of(text):
    """(accidental, numeral, rest) of one numeral such as -II6 or vii-7; None for names as Gr+6."""
    found = re.match(r"^([-b#+]*)(VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)(?![a-z])(.*)$", text.replace("iV", "IV").replace("viio", "vii-"))
    return found and (accidental(found[1]), found[2], found[3])


def step(degree, alter, minor, leading):
    pc = (MINOR if minor else MAJOR)[degree - 1] + alter
    if degree == 7 and minor and leading and alter == 0:
        pc += 1
    return pc


# The submediant of minor in lower case is the raised one: the notes say so in 15 of 16 places.
RAISED_SIXTH = ("m", "m7", "d", "d7", "h7")


def root_of(row):
    tonic, minor = key_of(row["key"])
    degrees = row["degree"].split("/")
    numerals = row["roman number"].split("/")
    quality = row["quality"]
    # The degree column decides how the chord is borrowed, unless only the numeral says so.
    if len(degrees) == 1 and len(numerals) > 1:
        parsed = [piece_of(n) for n in numerals]
        if all(parsed):
            degrees = [("+" * p[0] if p[0] > 0 else "-" * -p[0]) + str(NUMERALS[p[1].upper()]) for p in parsed]
    for depth in range(len(degrees) - 1, 0, -1):
        alter, degree = accidental(degrees[depth][:-1]), int(degrees[depth][-1])
        tonic = (tonic + step(degree, alter, minor, False)) % 12
        mode = None
        if depth < len(numerals):
            parsed = piece_of(numerals[depth])
            if parsed and NUMERALS[parsed[1].upper()] == degree:
                mode = parsed[1].islower()
        minor = mode if mode is not None else (degree in (2, 3, 6) if not minor else degree in (1, 4, 5))
    alter, degree = accidental(degrees[0][:-1]), int(degrees[0][-1])
    parsed = piece_of(numerals[0])
    if parsed and alter == 0 and NUMERALS[parsed[1].upper()] == degree:
        alter = parsed[0]
    if minor and degree == 6 and alter == 0 and quality in RAISED_SIXTH:
        alter = 1
    if quality == "a6":
        alter = 1  # the augmented sixth stands on the raised fourth degree
    return (tonic + step(degree, alter, minor, quality in ("d", "d7", "h7"))) % 12


def read(path):
    rows = list(csv.DictReader(open(path)))
    spans, last = [], -1e9
    for index, row in enumerate(rows):
        on, off = float(row["onset"]), float(row["offset"])
        nxt = float(rows[index + 1]["onset"]) if index + 1 < len(rows) else off
        if off <= on and nxt > on:
            off = min(nxt, on + 4)  # a slip of the pen; a bar is safe, more is not
        if on < last or off <= on or off - on > 400:
            continue
        last = on
        spans.append([on, off, row])
    out = []
    for index, (on, off, row) in enumerate(spans):
        if index + 1 < len(spans):
            off = min(off, spans[index + 1][0])
        if off <= on:
            continue
        tonic, minor = key_of(row["key"])
        out.append((on, off, root_of(row), QUALITIES.index(row["quality"]), int(row["inversion"]), tonic, int(minor)))
    return out
