"""Spelled pitches and their transposition.

A pitch is (step, alter, octave): step 'A'..'G', alter in semitones, octave with C4 = middle C.
Everything in the music files is sounding (concert) pitch; written pitch is derived.
"""
import re

STEPS = "CDEFGAB"
SEMITONES = dict(zip(STEPS, (0, 2, 4, 5, 7, 9, 11)))
FIFTHS_ORDER = "FCGDAEB"
PATTERN = re.compile(r"([A-G])(bb|b|##|#)?(\d)")


def parse(text):
    """'Eb4' -> ('E', -1, 4)."""
    match = PATTERN.fullmatch(text)
    if not match:
        raise ValueError(f"not a pitch: {text!r}")
    step, accidental, octave = match.groups()
    accidental = accidental or ""
    return step, accidental.count("#") - accidental.count("b"), int(octave)


def midi(pitch):
    """MIDI key number, 60 for C4."""
    step, alter, octave = pitch
    return 12 * (octave + 1) + SEMITONES[step] + alter


def name(pitch):
    """('E', -1, 4) -> 'Eb4'."""
    step, alter, octave = pitch
    return f"{step}{'b' * -alter}{'#' * alter}{octave}"


def shift(pitch, diatonic, chromatic):
    """Move by a spelled interval: `diatonic` steps and `chromatic` semitones."""
    step, _, octave = pitch
    index = STEPS.index(step) + 7 * octave + diatonic
    octave, step = index // 7, STEPS[index % 7]
    natural = 12 * (octave + 1) + SEMITONES[step]
    return step, midi(pitch) + chromatic - natural, octave


def key_alter(step, fifths):
    """Alteration a key signature of `fifths` gives to `step`."""
    if fifths >= 0:
        return 1 if step in FIFTHS_ORDER[:fifths] else 0
    return -1 if step in FIFTHS_ORDER[fifths:] else 0
