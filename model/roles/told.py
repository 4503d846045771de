"""How far the ten roles agree with annotators when models never saw the work: the three groups they imply, and a confusion matrix.

    python3 model/roles/told.py learned OUT.csv          probabilities and leads of the twelve movements of S3, out of fold
    roles_told OUT.csv ../shared/data/texture/s3_midi/*.mid > TOLD.csv      the program's reading of them (an example of ripieno-texture)
    python3 model/roles/told.py judge TOLD.csv
"""
import collections
import csv
import sys

import numpy as np

import figures
from table import DATA, GROUPS, read_inputs

# Groups a role implies; a bass goes with harmony or rhythm, whichever the models hold likelier.
OF = {"melody": 0, "countermelody": 0, "rhythm": 1, "figuration": 1, "punctuation": 1, "harmony": 2, "pedal": 2}


def out_of_fold():
    """`(piece, part, bar) -> probabilities, decisions, lead`."""
    e = figures.Evidence()
    table, told = e.table, {}
    names = {}
    for symphony, (rows, _, _, decided, p) in figures.groups_of_s3(e).items():
        every, logits = e.fits["networks"][(symphony,)]
        lead = np.full(len(e.works), np.nan)
        lead[every] = np.exp(figures.leads(table, logits[:, 19].astype(float), every))
        for row, yes, probabilities in zip(rows, decided, p):
            piece, part, bar = table["tokens"][row]
            stem = str(table["stems"][piece])
            if stem not in names:
                names[stem] = read_inputs(stem)["names"]
            told[stem, names[stem][part], int(bar) + 1] = probabilities, yes, lead[row]
    return told


def learned(path):
    with open(path, "w", encoding="utf-8") as file:
        file.write("piece,part,bar,melody,rhythm,harmony,lead\n")
        for (piece, part, bar), (p, _, lead) in out_of_fold().items():
            file.write(f"{piece},{part},{bar},{p[0]:.5f},{p[1]:.5f},{p[2]:.5f},{lead:.6f}\n")


def judge(path):
    models, roles = out_of_fold(), collections.defaultdict(list)
    for row in csv.DictReader(open(path, encoding="utf-8")):
        roles[row["piece"], row["part"], int(row["bar"])].append(row["roles"].split(";"))
    gold, given = [], collections.defaultdict(list)
    matrix = collections.defaultdict(collections.Counter)
    for row in csv.DictReader(open(DATA / "texture" / "s3_gold.csv")):
        unit = row["piece"], row["part"], int(row["bar"])
        labels = [row[group] == "1" for group in GROUPS]
        if not any(labels) or unit not in roles or unit not in models:
            continue
        p, decided, _ = models[unit]

        def implied(told):
            groups = [False] * 3
            for role in told:
                if role == "bass":
                    groups[2 if p[2] >= p[1] else 1] = True
                elif role in OF:
                    groups[OF[role]] = True
            return groups

        gold.append(labels)
        given["groups of the models"].append(decided)
        given["groups implied by the told roles"].append(implied([role for line in roles[unit] for role in line]))
        given["by the first role alone"].append(implied([line[0] for line in roles[unit]]))
        matrix[roles[unit][0][0]]["+".join(group for group, yes in zip(GROUPS, labels) if yes)] += 1
    y = np.array(gold)
    print(len(y), "part-bars")
    for name, told in given.items():
        told = np.array(told)
        spell = lambda judge: " ".join(f"{judge(y[:, i], told[:, i]):.3f}" for i in range(3))
        print(f"{name:34s} kappa {spell(figures.kappa)}  F1 {spell(figures.f1)}")
    sets = ["mel", "mel+rhythm", "rhythm", "rhythm+harm", "harm", "mel+harm"]
    print("told".ljust(24), *(f"{name:>12s}" for name in sets))
    for role, counts in sorted(matrix.items(), key=lambda item: -item[1].total()):
        print(f"{role:14s} {counts.total():8d} ", *(f"{counts[name] / counts.total():12.2f}" for name in sets))


if __name__ == "__main__":
    {"learned": learned, "judge": judge}[sys.argv[1]](sys.argv[2])
