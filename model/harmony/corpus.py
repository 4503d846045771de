"""Chord labels of chorales and madrigals out of music21's own corpus, for more music to learn from than the annotated symphonies.

    python model/harmony/corpus.py OUT

music21 (BSD) comes with Roman-numeral analyses of the first 20 Riemenschneider chorales (A. Jones, D. Tymoczko, H. Robb) and of 48 madrigals of Monteverdi's books 3 to 5,
beside the scores. Writes OUT/NAME.mid (notes and bars as in the score, repeats not played) and OUT/NAME.spans (onset, offset, root, quality, inversion, tonic, minor in
crotchets and pitch classes; see labels.py). A piece in which less than three quarters of the sounding notes belong to the labelled chords is told and left out:
its analysis and its score count bars differently.
"""
import re
import sys
from pathlib import Path

import mido
import numpy as np
from music21 import common, converter, corpus

import align
import labels

TICKS = 480
LEAST = 75


def quality_of(numeral):
    """Kind of chord among labels.QUALITIES, or None."""
    figure = numeral.figure
    if re.match(r"^[b#]*(Ger|It|Fr|Sw)", figure) or numeral.isAugmentedSixth():
        return "a6"
    for test, name in (("isDominantSeventh", "D7"), ("isDiminishedSeventh", "d7"), ("isHalfDiminishedSeventh", "h7")):
        if getattr(numeral, test)():
            return name
    classes = {(p.pitchClass - numeral.root().pitchClass) % 12 for p in numeral.pitches}
    third = "m" if 3 in classes and 4 not in classes else "M"
    if 11 in classes and len(classes) > 3:
        return "M7" if third == "M" else "mM7"
    if 10 in classes and third == "m" and 7 in classes:
        return "m7"
    if 10 in classes and third == "M":
        return "D7"
    if 6 in classes and third == "m":
        return "d"
    if 8 in classes and third == "M":
        return "a"
    return third


def spans_of(path):
    analysis = converter.parse(path, format="romantext")
    out = []
    for numeral in analysis.recurse().getElementsByClass("RomanNumeral"):
        on = float(numeral.getOffsetInHierarchy(analysis))
        quality, root = quality_of(numeral), numeral.root().pitchClass
        if quality == "a6":
            root = (numeral.key.tonic.pitchClass + 6) % 12
        inversion = min(numeral.inversion(), 3)
        out.append([on, on + float(numeral.quarterLength), root, labels.QUALITIES.index(quality), inversion, numeral.key.tonic.pitchClass, int(numeral.key.mode == "minor")])
    out.sort(key=lambda s: s[0])
    for one, after in zip(out, out[1:]):
        one[1] = after[0]
    return [tuple(s) for s in out if s[1] > s[0]]


def bars_of(part):
    """(onset, length) of each bar; a bar cut in two by a repeat is one again."""
    out = []
    for measure in part.getElementsByClass("Measure"):
        on, length = float(measure.offset), float(measure.duration.quarterLength)
        full = float(measure.barDuration.quarterLength)
        if out and out[-1][1] < full and length < full and out[-1][1] + length <= full and len(out) > 1:
            out[-1][1] += length
        else:
            out.append([on, length])
    return out


def write_midi(score, path):
    """All notes, a time signature wherever bars change their length."""
    track, last = mido.MidiTrack(), None
    events = []
    for on, length in bars_of(score.parts[0]):
        if length != last and length > 0:
            last = length
            parts = round(length * 2)
            signature = (parts // 2, 4) if parts % 2 == 0 else (parts, 8)
            events.append((round(on * TICKS), 0, mido.MetaMessage("time_signature", numerator=max(1, signature[0]), denominator=signature[1])))
    for part in score.parts:
        for note in part.stripTies().flatten().notes:
            on = float(note.offset)
            for pitch in note.pitches:
                if note.quarterLength > 0:
                    events.append((round(on * TICKS), 2, mido.Message("note_on", note=pitch.midi, velocity=64)))
                    events.append((round((on + float(note.quarterLength)) * TICKS), 1, mido.Message("note_off", note=pitch.midi)))
    now = 0
    for at, _, message in sorted(events, key=lambda e: e[:2]):
        track.append(message.copy(time=at - now))
        now = at
    midi = mido.MidiFile(ticks_per_beat=TICKS, type=0)
    midi.tracks.append(track)
    midi.save(path)


def pieces():
    """(name, analysis, name of the score in the corpus)."""
    root = Path(common.getCorpusFilePath())
    for path in sorted((root / "bach" / "choraleAnalyses").glob("*.rntxt")):
        number = re.search(r"^BWV: *(\S+)", path.read_text(), re.M)[1].rstrip("s")
        divided = re.match(r"(\d+)\((\d)\)\.(\d+)", number)
        number = f"{divided[1]}.{divided[3]}-{divided[2]}" if divided else number
        yield f"chorale{path.stem[-3:]}", path, f"bach/bwv{number}"
    for path in sorted((root / "monteverdi").glob("*.rntxt")):
        yield path.stem.replace(".", "_"), path, f"monteverdi/{path.stem}.mxl"


def main(out):
    out = Path(out)
    out.mkdir(parents=True, exist_ok=True)
    for name, analysis, score in pieces():
        try:
            spans = spans_of(analysis)
            write_midi(corpus.parse(score), out / f"{name}.mid")
        except Exception as error:  # one piece that music21 cannot read is told, not fatal
            print(f"{name}: left out: {error}")
            continue
        notes = align.notes(out / f"{name}.mid")
        as_given = np.mean(align.fits(spans, notes))
        spans = align.aligned(spans, notes)
        fit = np.mean(align.fits(spans, notes))
        print(f"{name}: {len(spans)} chords, {as_given:.0f} % of the notes in them, {fit:.0f} % laid over", flush=True)
        if fit < LEAST:
            (out / f"{name}.mid").unlink()
            continue
        with open(out / f"{name}.spans", "w") as file:
            for span in spans:
                print(*span, file=file)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(sys.argv[1])
