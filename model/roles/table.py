"""Gathers what training reads: the program's own numbers of every part in every bar, and the annotations beside them.

Reads target/roles/inputs (written by the example role_inputs) and the annotated collections; writes target/roles/table.npz.
A row is a part in a bar in which it sounds with pitch. Nothing here depends on chance.
"""
import collections
import csv
import os
import pathlib
import re

import numpy as np

ROOT = pathlib.Path(__file__).resolve().parents[2]
DATA = pathlib.Path(os.environ.get("RIPIENO_DATA", ROOT.parent / "shared" / "data"))
WORK = pathlib.Path(os.environ.get("RIPIENO_ROLES_WORK", ROOT / "target" / "roles"))
# Where the model and the values its tests compare with go: into the program, or into one folder to try a change.
PRODUCT = os.environ.get("RIPIENO_ROLES_PRODUCT")
MODEL = pathlib.Path(PRODUCT) / "roles.model" if PRODUCT else ROOT / "crates" / "texture" / "data" / "roles.model"
EXPECTED = pathlib.Path(PRODUCT) if PRODUCT else ROOT / "crates" / "texture" / "tests" / "learned"
SLOTS = 48
GROUPS = ["mel", "rhythm", "harm"]
FINE = ["mel", "decmel", "harm", "rhythm", "repeat_note", "osc", "batt", "arp", "scale", "sparse"]
RELATIONS = ["u", "h", "p"]
REPEAT = 4  # bars: a run as long as this that equals an earlier one at one distance is a literal repeat


def work_of(piece):
    """The work a piece belongs to, the same in every collection: folds leave out works."""
    if re.fullmatch(r"(be|mo|dv)\d", piece):
        return {"be": "Beethoven 9", "mo": "Mozart 41", "dv": "Dvorak 9"}[piece[:2]]
    symphony = re.match(r"Beethoven_Op\.(\d+)_", piece)
    if symphony:
        return "Beethoven " + {"21": "1", "55": "3", "67": "5", "92": "7", "125": "9"}[symphony.group(1)]
    return re.match(r"([A-Za-z]+_(?:Op|BWV|WAB)\.\d+)", piece).group(1)


def read_inputs(stem):
    with open(WORK / "inputs" / f"{stem}.txt", encoding="utf-8") as file:
        parts, bars, rows, width, notes = map(int, file.readline().split())
        names = [file.readline().rstrip("\n").split(" ", 2) for _ in range(parts)]
        starts = np.array(file.readline().split(), np.int64)
    raw = (WORK / "inputs" / f"{stem}.bin").read_bytes()
    at = 0

    def take(count, kind):
        nonlocal at
        part = np.frombuffer(raw, kind, count, at)
        at += part.nbytes
        return part

    tokens = take(2 * rows, "<u4").reshape(rows, 2).astype(np.int64)
    values = take(rows * width, "<f4").reshape(rows, width)
    here = np.bincount(tokens[:, 1], minlength=bars)
    relations = take(int((here**2).sum()) * 9, "<f4").reshape(-1, 9)
    table = take(notes * 4, "<i8").reshape(notes, 4)
    assert at == len(raw), stem
    facts = np.array([(int(f), int(c)) for f, c, _ in names], np.int64)
    return dict(names=[n for _, _, n in names], facts=facts, starts=starts, tokens=tokens, values=values, relations=relations, notes=table)


def literal_repeats(piece):
    bars = len(piece["starts"]) - 1
    begins = np.searchsorted(piece["starts"], piece["notes"][:, 1], "right") - 1
    content = collections.defaultdict(list)
    for (part, on, off, key), bar in zip(piece["notes"].tolist(), begins.tolist()):
        content[bar].append((part, on - int(piece["starts"][bar]), off - on, key))
    seen, run, repeated = collections.defaultdict(list), {}, np.zeros(bars, bool)
    for bar in range(bars):
        key = tuple(sorted(content[bar]))
        now = {bar - before: run.get(bar - before, 0) + 1 for before in seen[key]}
        for distance, length in now.items():
            if length >= REPEAT and distance >= REPEAT:
                repeated[bar - length + 1 : bar + 1] = True
        run = now
        seen[key].append(bar)
    return repeated


def rolls(piece):
    """Highest key and begin of the sounding note in each slot, `[part][bar][slot]`."""
    starts, parts, bars = piece["starts"], len(piece["names"]), len(piece["starts"]) - 1
    top, on = np.zeros((parts, bars, SLOTS), np.int64), np.zeros((parts, bars, SLOTS), bool)
    for part, begin, end, key in piece["notes"].tolist():
        bar, first = int(np.searchsorted(starts, begin, "right") - 1), True
        while bar < bars and starts[bar] < end:
            width = (starts[bar + 1] - starts[bar]) / SLOTS
            a = min(int((max(begin, starts[bar]) - starts[bar]) / width + 0.5) if first else 0, SLOTS - 1)
            z = min(max(int((min(end, starts[bar + 1]) - starts[bar]) / width + 0.5), a + 1), SLOTS)
            top[part, bar, a:z] = np.maximum(top[part, bar, a:z], key)
            on[part, bar, a] |= first
            first, bar = False, bar + 1
    return top, on


def main_melody(piece, path):
    """Share of the annotated time of each bar in which a part is the main part, and is it or doubles it; -1 where none is."""
    events = collections.OrderedDict()
    for row in csv.DictReader(open(path, encoding="utf-8-sig")):
        events.setdefault(round(float(row["qstamp"]) * 480), []).append(int(row["part_num"]))
    starts, times = piece["starts"], sorted(events)
    top, on = rolls(piece)
    parts, bars, _ = top.shape
    middle = starts[:-1, None] + (np.arange(SLOTS) + 0.5) / SLOTS * np.diff(starts)[:, None]
    which = np.searchsorted(times, middle.ravel(), "right").reshape(bars, SLOTS) - 1
    main = np.zeros(top.shape, bool)
    for index, time in enumerate(times):
        for part in events[time]:
            if part < parts:
                main[part] |= which == index
    main &= top > 0
    flat = np.where(on.reshape(parts, -1), np.arange(bars * SLOTS), -1)
    attack = np.maximum.accumulate(flat, 1).reshape(top.shape)
    doubled = main.copy()
    for part in range(parts):
        mine = main[part]
        if mine.any():
            doubled |= mine & (top > 0) & ((top - top[part]) % 12 == 0) & (attack == attack[part])
    has = main.any(0)
    share = np.stack([main.sum(2), doubled.sum(2)], -1) / np.maximum(has.sum(1), 1)[None, :, None]
    share[:, has.sum(1) == 0] = -1
    return share


SECTIONS = {"Fl": "flute", "Ob": "oboe", "Cl": "clarinet", "Fg": "bassoon|fagott", "Trp": "trumpet|tromba|clarin", "Timp": "timp", "Hrn": "horn|corno",
            "Vla": "viola", "Vc": "cello", "Cb": "contrabass|double ?bass|violone"}
HORNS = {"HrnD": [0, 1], "HrnB": [2, 3], "HrnEbI": [0], "HrnF": [0], "HrnEbIII": [2]}


def candidates(names, code, divisi, bar):
    """Which parts of the score a code of Le et al. means."""
    low = [n.lower() for n in names]
    if code.startswith("Vln"):
        violins = [i for i, n in enumerate(low) if "violin" in n]
        second = [i for i in violins if re.search(r"2|ii\b", low[i])]
        return second if code == "Vln2" else [i for i in violins if i not in second]
    stem = next(s for s in SECTIONS if code.startswith(s))
    parts = [i for i, n in enumerate(low) if re.search(SECTIONS[stem], n) and not (stem == "Hrn" and "english" in n) and not (stem == "Vc" and "violone" in n)
             and not (stem == "Fl" and "piccolo" in n)]
    if stem == "Cl":
        parts = [i for i in parts if "bass" not in low[i]]
    if stem == "Fg":
        parts = [i for i in parts if "contra" not in low[i]]
    if stem == "Hrn":
        pick = ([1] if 400 < bar < 505 else [0, 1]) if code == "HrnEbII" else HORNS.get(code)
        if pick is not None:
            parts = [parts[i] for i in pick if i < len(parts)]
    if divisi and len(parts) > 1:
        parts = [parts[min(int(divisi), len(parts)) - 1]]
    return parts


def main():
    s3 = collections.defaultdict(list)
    for row in csv.DictReader(open(DATA / "texture" / "s3_gold.csv")):
        s3[row["piece"]].append(row)
    le = collections.defaultdict(list)
    for row in csv.DictReader(open(DATA / "texture" / "le_gold.csv")):
        le[row["piece"]].append(row)
    maps, of_score = collections.defaultdict(dict), {"mo1": "mozart-symph41-k551-mvt1"}
    for row in csv.DictReader(open(DATA / "texture" / "le_bar_to_score.csv")):
        maps[row["le_piece"]][int(row["le_bar"])] = int(row["hs_measure_index"]) - 1
        of_score[row["hs_piece"]] = row["le_piece"]
    stems = sorted(p.stem for p in (DATA / "texture" / "s3_midi").glob("*.mid")) + sorted(p.stem for p in (DATA / "scores").glob("*.mxl"))
    out = collections.defaultdict(list)
    units, rows = [], 0
    for number, stem in enumerate(stems):
        piece = read_inputs(stem)
        tokens, bars = piece["tokens"], len(piece["starts"]) - 1
        index = np.full((len(piece["names"]), bars), -1, np.int64)
        index[tokens[:, 0], tokens[:, 1]] = np.arange(len(tokens))
        groups, lead = np.full((len(tokens), 3), -1, np.int8), np.full((len(tokens), 2), -1, np.float32)
        fine = np.full((len(tokens), 5), -1, np.int8)
        for row in s3.get(stem, []):
            at = index[piece["names"].index(row["part"]), int(row["bar"]) - 1]
            labels = [int(row[g]) for g in GROUPS]
            if at >= 0 and sum(labels) and int(row["n_sounding"]) > 0:
                groups[at] = labels
        if stem not in s3:
            lead = main_melody(piece, DATA / "scores" / f"{stem}_annotations.csv")[tokens[:, 0], tokens[:, 1]].astype(np.float32)
        for row in le.get(of_score.get(stem), []):
            bar = int(row["bar"])
            if of_score[stem] in maps:
                where = [maps[of_score[stem]][bar]] if bar in maps[of_score[stem]] else []
            else:  # Mozart 41: the exposition's repeat is written out
                where = [bar - 1, bar + 119] if bar <= 120 else [bar + 119]
            if row["role"] == "none":
                continue
            found = [index[p, b] for p in candidates(piece["names"], row["instrument_code"], row["divisi"], bar) for b in where if 0 <= b < bars]
            found = [int(at) for at in found if at >= 0]
            if not found:
                continue
            kind = row["relation"].split("-")[0]
            labels = [int(row[g]) for g in GROUPS] + [FINE.index(row["role"]), RELATIONS.index(kind) if kind in RELATIONS else -1]
            units.append((found, labels, rows))
            for at in found:
                if row["divisi"] or fine[at, 0] < 0:
                    fine[at] = labels
        out["tokens"].append(np.column_stack([np.full(len(tokens), number), tokens]))
        out["values"].append(piece["values"])
        out["relations"].append(np.round(piece["relations"], 4).astype(np.float16))
        out["facts"].append(piece["facts"][tokens[:, 0]])
        out["groups"].append(groups)
        out["fine"].append(fine)
        out["lead"].append(lead)
        out["repeated"].append(literal_repeats(piece)[tokens[:, 1]])
        out["times"].append(np.column_stack([piece["starts"][tokens[:, 1]], piece["starts"][tokens[:, 1] + 1]]))
        rows += len(tokens)
        print(stem, work_of(stem), len(tokens), "rows;", (groups[:, 0] >= 0).sum(), "S3;", (fine[:, 0] >= 0).sum(), "Le;", (lead[:, 0] > 0).sum(), "lead")
    arrays = {name: np.concatenate(parts) for name, parts in out.items()}
    arrays["unit_rows"] = np.concatenate([np.array(found) + first for found, _, first in units])
    arrays["unit_ends"] = np.cumsum([len(found) for found, *_ in units])
    arrays["unit_labels"] = np.array([labels for _, labels, _ in units], np.int8)
    arrays["names"] = np.array((WORK / "inputs" / "names.txt").read_text().split())
    arrays["stems"] = np.array(stems)
    arrays["works"] = np.array([work_of(stem) for stem in stems])
    np.savez_compressed(WORK / "table.npz", **arrays)
    print({name: array.shape for name, array in arrays.items()})


if __name__ == "__main__":
    main()
