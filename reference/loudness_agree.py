#!/usr/bin/env python3
"""loudness_agree.py --bin MEASURE_RAW [--render RIPIENO] [--seconds S] [WAV...]: is loudness the same as MoSQITo's (ISO 532-1) and pyloudnorm's (EBU R 128)?

MEASURE_RAW is `cargo build --release -p ripieno-loudness --examples`, target/release/examples/measure_raw. Ten sounds are made here from
a seed: tones, chords of harmonic tones, noises, ramps, repeated strokes. Compared are stationary loudness in free and diffuse field, N5,
N10 and the greatest loudness in time (within 5 % or 0.1 sone, what ISO 532-1, annex B, allows), integrated loudness (0.1 LU), true peak
against SciPy's resampling by 8 (0.4 dB, what ITU-R BS.1770 allows below the true one), and the contours of ISO 226:2003. Loudness range
is left to the signals of EBU Tech 3342 (crates/loudness/tests): pyloudnorm measures it with silence added at the end. WAV files (`ripieno
hear`) are compared as well: their first ten seconds (or S), mixed to one channel, as if played at 80 dB. With --render the ripieno program
renders ten passages of the demo for that. Ends with 1 when anything differs by more.
"""
import argparse
import pathlib
import subprocess
import sys
import tempfile

import numpy
import pyloudnorm
import scipy.io.wavfile
import scipy.signal
from mosqito.sq_metrics import loudness_zwst, loudness_zwtv
from mosqito.sq_metrics.loudness.utils.equal_loudness_contours import equal_loudness_contours

DEMO = pathlib.Path(__file__).resolve().parent.parent / "demo/lifeboat_overture.musicxml"
# Ten passages of the demo: bars and who is heard.
PASSAGES = [
    ("0-8", []),
    ("9-16", ["--only", "horns"]),
    ("17-24", ["--without", "strings"]),
    ("25-34", ["--only", "woodwind"]),
    ("35-45", []),
    ("46-50", ["--only", "horns,clarinets"]),
    ("51-58", ["--only", "clarinets,harps"]),
    ("71-80", []),
    ("81-88", ["--only", "brass"]),
    ("89-100", ["--only", "strings"]),
]
RATE = 48000
SECONDS = 2
REFERENCE = 2e-5


def at_level(sound, level):
    """Scaled to a root mean square level in dB."""
    return sound * REFERENCE * 10 ** (level / 20) / numpy.sqrt(numpy.mean(sound**2))


def harmonic(hertz, fall, time):
    """A tone whose partials fall by some dB an octave."""
    partials = [k for k in range(1, 60) if k * hertz < 16000]
    return sum(10 ** (-fall * numpy.log2(k) / 20) * numpy.sin(2 * numpy.pi * k * hertz * time + k * k) for k in partials)


def pink(random, count):
    """Noise of equal power in each octave, from 25 Hz up."""
    spectrum = numpy.fft.rfft(random.standard_normal(count))
    hertz = numpy.fft.rfftfreq(count, 1 / RATE)
    spectrum *= numpy.where(hertz < 22, 0, 1 / numpy.sqrt(numpy.maximum(hertz, 22)))
    return numpy.fft.irfft(spectrum, count)


def sounds():
    random = numpy.random.default_rng(532)
    time = numpy.arange(SECONDS * RATE) / RATE
    rise = 10 ** (numpy.linspace(-40, 0, len(time)) / 20)
    strokes = numpy.exp(-(time % 0.4) / 0.06)
    noise = random.standard_normal(len(time))
    band = scipy.signal.sosfilt(scipy.signal.butter(4, (300, 900), "bandpass", fs=RATE, output="sos"), noise)
    return {
        "tone of 440 Hz": at_level(numpy.sin(2 * numpy.pi * 440 * time), 70),
        "low tone of 65 Hz with partials": at_level(harmonic(65.4, 6, time), 75),
        "bright tone of 220 Hz": at_level(harmonic(220, 3, time), 80),
        "soft major chord": at_level(sum(harmonic(f, 9, time) for f in (130.8, 196, 329.6, 523.3)), 55),
        "loud low chord": at_level(sum(harmonic(f, 4, time) for f in (55, 110, 164.8, 220, 277.2)), 92),
        "pink noise": at_level(pink(random, len(time)), 60),
        "noise from 300 to 900 Hz": at_level(band, 70),
        "chord from soft to loud": at_level(rise * sum(harmonic(f, 5, time) for f in (174.6, 261.6, 440)), 78),
        "repeated strokes": at_level(strokes * harmonic(98, 5, time), 72),
        "tone in noise": at_level(harmonic(880, 8, time), 62) + at_level(noise, 55),
    }


def rendering(path, seconds):
    """The beginning of a WAV file of whole numbers or floats as pascals."""
    rate, samples = scipy.io.wavfile.read(path)
    begin = samples[: int(seconds * rate)]
    mixed = begin.reshape(len(begin), -1).mean(axis=1)
    return at_level(mixed if rate == RATE else scipy.signal.resample_poly(mixed, RATE, rate), 80)


def rendered(ripieno, seconds):
    """The passages of the demo, rendered now."""
    made = {}
    with tempfile.TemporaryDirectory() as folder:
        for number, (bars, who) in enumerate(PASSAGES):
            path = pathlib.Path(folder, f"{number}.wav")
            subprocess.run([ripieno, "hear", DEMO, "--bars", bars, *who, "--out", path], check=True, capture_output=True)
            made[f"demo {bars} {' '.join(who)}".strip()] = rendering(path, seconds)
    return made


def measured(program, arguments, arrays):
    """The figures the program prints for each array."""
    with tempfile.TemporaryDirectory() as folder:
        paths = []
        for index, array in enumerate(arrays):
            path = pathlib.Path(folder, f"{index}.raw")
            path.write_bytes(numpy.asarray(array, dtype="<f4").tobytes())
            paths.append(str(path))
        lines = subprocess.run([program, *arguments, *paths], check=True, capture_output=True, text=True).stdout.splitlines()
    return [[float(field) for field in line.split()] for line in lines]


class Tally:
    def __init__(self):
        self.worst, self.count, self.failures = {}, 0, 0

    def compare(self, what, where, ours, theirs, share, least):
        self.count += 1
        difference = abs(ours - theirs)
        part = difference / max(abs(theirs), 1e-9)
        if share:
            self.worst[what] = max(self.worst.get(what, (0, "")), (part * 100, where))
        else:
            self.worst[what] = max(self.worst.get(what, (0, "")), (difference, where))
        if not difference <= max(share * abs(theirs), least):
            self.failures += 1
            print(f"{what}, {where}: {ours:.3f} here, {theirs:.3f} there")


def zwicker(program, made, tally):
    for (name, sound), ours in zip(made.items(), measured(program, [], made.values())):
        free, diffuse = (loudness_zwst(sound, RATE, field_type=field)[0] for field in ("free", "diffuse"))
        course = loudness_zwtv(sound, RATE)[0]
        theirs = [free, diffuse, numpy.percentile(course, 95), numpy.percentile(course, 90), course.max()]
        names = ["stationary, free field", "stationary, diffuse field", "N5", "N10", "greatest"]
        for what, a, b in zip(names, ours, theirs):
            tally.compare(f"{what} [%]", name, a, float(b), 0.05, 0.1)


def programme(program, tally):
    random = numpy.random.default_rng(128)
    for rate in (RATE, 44100):
        made = {}
        for index, (name, sound) in enumerate(sounds().items()):
            long = numpy.tile(sound, 4) if index % 2 else numpy.concatenate([sound, 0.2 * sound, sound, 0.5 * sound])
            # pyloudnorm counts a last block that is not whole; ITU-R BS.1770 does not. Whole tenths of a second leave none.
            long = long[: len(long) // (rate // 10) * (rate // 10)]
            stereo = numpy.stack([long, 0.7 * numpy.roll(long, 480)], axis=1) + random.standard_normal((len(long), 2)) * 1e-5
            made[name] = numpy.float32(stereo / numpy.abs(stereo).max() * 0.6)
        for (name, stereo), ours in zip(made.items(), measured(program, ["--programme", "2", str(rate)], [s.reshape(-1) for s in made.values()])):
            meter = pyloudnorm.Meter(rate, filter_class="DeMan")
            tally.compare("integrated loudness [LU]", f"{name}, {rate}", ours[0], meter.integrated_loudness(stereo.astype(float)), 0, 0.1)
            peak = 20 * numpy.log10(numpy.abs(scipy.signal.resample_poly(stereo.astype(float), 8, 1)).max())
            tally.compare("true peak [dB]", f"{name}, {rate}", ours[3], peak, 0, 0.4)


def contours(program, tally):
    lines = subprocess.run([program, "--contours"], check=True, capture_output=True, text=True).stdout.splitlines()
    ours = [[float(field.strip(" []")) for field in line.replace(",", "").split()] for line in lines]
    for column, phon in enumerate((20, 40, 60, 80)):
        for row, hertz, level in zip(ours, *equal_loudness_contours(phon)[::-1]):
            tally.compare("contours [dB]", f"{hertz} Hz, {phon} phon", row[column + 1], float(level), 0, 0.01)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--bin", required=True, help="the example measure_raw")
    parser.add_argument("--render", metavar="RIPIENO", help="the ripieno program: ten passages of the demo are rendered and compared as well")
    parser.add_argument("--seconds", type=float, default=10, help="how much of each rendering (10)")
    parser.add_argument("renderings", nargs="*", metavar="WAV", help="renderings to compare as well")
    asked = parser.parse_args()
    program, tally = asked.bin, Tally()
    made = sounds() | {path: rendering(path, asked.seconds) for path in asked.renderings}
    if asked.render:
        made |= rendered(asked.render, asked.seconds)
    zwicker(program, made, tally)
    programme(program, tally)
    contours(program, tally)
    for what, (worst, where) in tally.worst.items():
        print(f"{what}: at most {worst:.3f} ({where})")
    print(f"{tally.count - tally.failures} of {tally.count} figures agree")
    sys.exit(1 if tally.failures else 0)


main()
