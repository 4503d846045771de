"""Writes each movement again several times with some of its parts left out, others an octave away: more to learn from than keys alone give.

    python model/harmony/variants.py MIDI OUT COUNT

OUT/NAME~K.mid for K from 0; the labels of NAME hold for all of them. Parts are drawn by a seed made of NAME and K.
"""
import random
import sys
from pathlib import Path

import mido

# Each variant keeps every part with one chance of these, and moves one by an octave with the other.
KEPT = (0.4, 0.55, 0.7, 0.85)
MOVED = 0.1


def variant(midi, seed):
    rng = random.Random(seed)
    kept, out = rng.choice(KEPT), mido.MidiFile(ticks_per_beat=midi.ticks_per_beat, type=1)
    for track in midi.tracks:
        notes = any(event.type == "note_on" for event in track)
        silent, by = notes and rng.random() > kept, rng.choice((-12, 12)) if rng.random() < MOVED else 0
        new = mido.MidiTrack()
        for event in track:
            if event.type in ("note_on", "note_off"):
                event = event.copy(note=min(127, max(0, event.note + by)))
                if silent:
                    event = mido.MetaMessage("marker", text="", time=event.time)
            new.append(event)
        out.tracks.append(new)
    return out


def main(folder, out, count):
    Path(out).mkdir(parents=True, exist_ok=True)
    for path in sorted(Path(folder).glob("*.mid")):
        midi = mido.MidiFile(path)
        for k in range(int(count)):
            variant(midi, f"{path.stem}~{k}").save(Path(out) / f"{path.stem}~{k}.mid")


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    main(*sys.argv[1:])
