"""How well music21's own chord and key analysis agrees with annotated symphonies: the figures Ripieno has to beat.

    python reference/harmony_agree.py MIDI_FOLDER LABEL_FOLDER [SPANS.csv]

MIDI_FOLDER and LABEL_FOLDER hold NAME.mid and NAME.csv of the annotated movements (see model/harmony/README.md). Without SPANS.csv the
analysis is music21's: the chord of every moment (all sounding notes reduced to one staff) with `Chord.root()` and its quality, read at each change
of notes or once a crotchet, and `analyze('key')` in windows with five profiles and three lengths. The best way of each kind on these very
labels is what we compare with, which favours music21. With SPANS.csv (piece,onset,offset,root,quality,key,mode as the example `harmony_spans`
writes them) our own spans are scored on the same time. Shares of labelled time, mean over symphonies, strictly and with a crotchet at boundaries forgiven: the
second tells what part of the difference is only where a change falls.
"""
import sys
from collections import defaultdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "model" / "harmony"))
import align
import labels
import score as scoring


def slices(notes, step=None):
    """(onset, offset, sounding keys with weights) between changes, or every `step` crotchets."""
    if step is None:
        cuts = sorted({t for n in notes for t in n[:2]})
    else:
        end = max(n[1] for n in notes)
        cuts = [i * step for i in range(int(end / step) + 2)]
    index, active, out = 0, [], []
    for a, b in zip(cuts, cuts[1:]):
        active = [n for n in active if n[1] > a + 1e-9]
        while index < len(notes) and notes[index][0] < b - 1e-9:
            active.append(notes[index])
            index += 1
        weights = defaultdict(float)
        for on, off, key in active:
            overlap = min(off, b) - max(on, a)
            if overlap > 1e-9:
                weights[key] += overlap
        out.append((a, b, dict(weights)))
    return out


def chord_of(keys, cache={}):
    from music21 import chord

    bass = min(keys)
    name = (bass % 12, frozenset(k % 12 for k in keys))
    if name not in cache:
        c = chord.Chord(sorted({bass, *[60 + p if 60 + p > bass else 72 + p for p in name[1]]}))
        kind = c.quality
        quality = {"major": "M", "minor": "m", "diminished": "d", "augmented": "a"}.get(kind)
        for test, label in (("isDominantSeventh", "D7"), ("isDiminishedSeventh", "d7"), ("isHalfDiminishedSeventh", "h7")):
            if getattr(c, test)():
                quality = label
        if c.commonName == "minor seventh chord":
            quality = "m7"
        if c.commonName == "major seventh chord":
            quality = "M7"
        if c.isAugmentedSixth():
            quality = "a6"
        cache[name] = (c.root().pitchClass, quality)
    return cache[name]


def chords21(notes, step):
    spans = []
    for a, b, weights in slices(notes, step):
        root, quality = chord_of(set(weights)) if weights else (None, None)
        spans.append((a, b, root, quality))
    return spans


def keys21(notes, window, profile):
    from music21 import analysis, note, stream

    method = getattr(analysis.discrete, profile)()
    beats = slices(notes, 1.0)
    spans = []
    for start in range(0, len(beats), 2):
        lo, hi = max(0, start + 1 - window // 2), start + 1 + window // 2
        total = defaultdict(float)
        for _, _, weights in beats[lo:hi]:
            for key, weight in weights.items():
                total[key % 12] += weight
        if not total:
            continue
        part = stream.Stream()
        for pc, weight in sorted(total.items()):
            n = note.Note(60 + pc)
            n.quarterLength = max(round(weight * 4) / 4, 0.25)
            part.append(n)
        key = method.getSolution(part)
        spans.append((start, start + 2, key.tonic.pitchClass, int(key.mode == "minor")))
    return spans


def main():
    midi, truth = Path(sys.argv[1]), Path(sys.argv[2])
    names = sorted(p.stem for p in midi.glob("*.mid") if (truth / f"{p.stem}.csv").exists())
    table = {}
    for name in names:
        notes = align.notes(midi / f"{name}.mid")
        table[name] = (notes, align.aligned(labels.read(truth / f"{name}.csv"), notes))
    if len(sys.argv) > 3:
        spans = scoring.read_spans(sys.argv[3])
        scoring.report("Ripieno", {n: scoring.score(table[n][1], spans[n]) for n in names})
        scoring.report("Ripieno, a crotchet at boundaries forgiven", {n: scoring.forgiving(table[n][1], spans[n]) for n in names}, ("root", "quality", "key"))
        return
    for step in (None, 1.0, 2.0):
        spans = {n: [(a, b, r, q, None, None, None) for a, b, r, q in chords21(table[n][0], step)] for n in names}
        way = f"music21 chords, {'each change' if step is None else f'every {step:g}'}"
        scoring.report(way, {n: scoring.score(table[n][1], spans[n]) for n in names}, ("root", "quality"))
        scoring.report(f"{way}, a crotchet at boundaries forgiven", {n: scoring.forgiving(table[n][1], spans[n]) for n in names}, ("root", "quality"))
    for profile in ("KrumhanslSchmuckler", "AardenEssen", "SimpleWeights", "BellmanBudge", "TemperleyKostkaPayne"):
        for window in (8, 16, 32):
            result = {}
            for n in names:
                spans = [(a, b, None, None, None, k, m) for a, b, k, m in keys21(table[n][0], window, profile)]
                result[n] = scoring.score(table[n][1], spans)
            scoring.report(f"music21 keys, {profile}, {window} crotchets", result, ("key",))


if __name__ == "__main__":
    main()
