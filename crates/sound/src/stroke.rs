//! Strokes from beginning to end: partials that die, their phases, and noise that has the energy the model gives it.

use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_4, LN_10, PI, SQRT_2, TAU};
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use ripieno_acoustics::{Band, Decay, Partial, Tone};

use crate::random::Random;
use crate::tables::{NOISE, single};

/// Longest struck sound, in seconds.
const LONGEST: f64 = 5.0;
/// How often the noise is made again at most to have the energies wanted, by how much a band is changed each time, and how near is near enough, in dB.
const MOST_FITTINGS: usize = 5;
const MOST_FITTED: f64 = 9.0;
const FITTED: f64 = 0.3;
/// Share of noise in the power of a stroke below which it is left to chance.
const LEAST_FITTED: f64 = 2e-3;
/// Partials whose phases are chosen, how often, from how many, and at how many places of a band.
const CHOSEN: usize = 48;
const SWEEPS: usize = 2;
const TURNS: usize = 8;
const PLACES: usize = 5;
/// Third of an octave.
const THIRD: f64 = 1.259_921_049_894_873_2;

/// Makes strokes, and noise for tones that are held.
pub(crate) struct Maker {
    rate: f64,
    noise: Arc<dyn ComplexToReal<f32>>,
    heard: Arc<dyn RealToComplex<f32>>,
}

impl Maker {
    pub(crate) fn new(rate: f64, planner: &mut RealFftPlanner<f32>) -> Self {
        Self { rate, noise: planner.plan_fft_inverse(NOISE), heard: planner.plan_fft_forward(NOISE) }
    }

    /// The bins of a band, end exclusive.
    fn bins(&self, band: &Band) -> (usize, usize) {
        let width = self.rate / NOISE as f64;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // bins of a spectrum
        let bin = |hz: f64| ((hz / width).round().max(1.0) as usize).min(NOISE / 2);
        (bin(band.hz / THIRD.sqrt()), bin(band.hz * THIRD.sqrt()))
    }

    /// Noise with these levels in its bands, of a power that is theirs.
    pub(crate) fn noise(&self, bands: &[Band], seed: &[u64]) -> Vec<f32> {
        let mut random = Random::of(seed);
        let mut spectrum = self.noise.make_input_vec();
        for band in bands {
            let (from, to) = self.bins(band);
            if to <= from {
                continue;
            }
            let each = 10f64.powf(band.db / 10.0) / (to - from) as f64;
            for value in &mut spectrum[from..to] {
                let (sin, cos) = (random.unit() * TAU).sin_cos();
                let size = (each / 2.0).sqrt();
                let (real, imaginary) = single(size * cos, size * sin);
                *value = Complex::new(real, imaginary);
            }
        }
        let mut samples = self.noise.make_output_vec();
        if self.noise.process(&mut spectrum, &mut samples).is_err() {
            samples.fill(0.0);
        }
        samples
    }

    /// A struck or plucked tone of unit power, before it is damped.
    pub(crate) fn stroke(&self, tone: &Tone, instrument: u64) -> Vec<f32> {
        let longest = tone.partials.iter().map(|partial| (partial.db, partial.t60));
        let longest = longest.chain(tone.noise.iter().map(|band| (band.db, band.t60)));
        // Until each part has sunk 70 dB below the whole at its beginning.
        let seconds = longest.map(|(db, own)| bounded(own) * ((70.0 + db) / 60.0).max(0.0)).fold(0.02, f64::max).min(LONGEST);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a few seconds
        let mut samples = vec![0.0f32; (seconds * self.rate) as usize];
        self.ring(&mut samples, tone);
        let voices = self.fitted(tone, &samples, instrument);
        for voice in &voices {
            let mut gain = 1.0f32;
            for (sample, noise) in samples.iter_mut().zip(voice.noise.iter().cycle()) {
                *sample += noise * gain;
                gain *= voice.decay;
            }
        }
        fade(&mut samples, tone.rise(), self.rate);
        samples
    }

    fn ring(&self, samples: &mut [f32], tone: &Tone) {
        let partials: Vec<Partial> = tone.partials.iter().filter(|partial| partial.hz <= 0.45 * self.rate).copied().collect();
        for (partial, phase) in partials.iter().zip(phases(&partials, tone.rise())) {
            let size = 10f64.powf(partial.db / 20.0) * SQRT_2;
            let decay = (-6.907_755 / (bounded(partial.t60) * self.rate)).exp();
            let (turn_sin, turn_cos) = (TAU * partial.hz / self.rate).sin_cos();
            let (turn_cos, turn_sin) = (turn_cos * decay, turn_sin * decay);
            let (sin, cos) = phase.sin_cos();
            let (mut x, mut y) = (size * cos, size * sin);
            #[allow(clippy::cast_possible_truncation)] // samples are single
            for sample in &mut *samples {
                *sample += y as f32;
                (x, y) = (x * turn_cos - y * turn_sin, x * turn_sin + y * turn_cos);
            }
        }
    }

    /// Noise in bands that die alike, since band by band would need a transform each. What so short a noise has in a narrow band is chance, and beside the skirts of partials
    /// again chance; it is made again with each band changed by what it lacked, so that the stroke has the energy the model gives it in every band.
    fn fitted(&self, tone: &Tone, ringing: &[f32], instrument: u64) -> Vec<Voice> {
        let mut by_decay: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
        for (index, band) in tone.noise.iter().enumerate() {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small class
            let class = (bounded(band.t60).log2() * 2.0 + 40.0).round() as u64;
            by_decay.entry(class).or_default().push(index);
        }
        let mut bands = tone.noise.clone();
        let mut voices: Vec<Voice> = Vec::new();
        for (class, mine) in by_decay {
            let t60 = mine.iter().map(|band| bounded(bands[*band].t60)).sum::<f64>() / mine.len() as f64;
            let decay = single((-6.907_755 / (t60 * self.rate)).exp(), 0.0).0;
            let mut voice = Voice { seed: [17, class, instrument], bands: mine, decay, noise: Vec::new() };
            self.make(&mut voice, &bands);
            voices.push(voice);
        }
        // Where there is next to no noise it is far under what rings in every band.
        let power: f64 = bands.iter().map(|band| 10f64.powf(band.db / 10.0)).sum();
        if power < LEAST_FITTED {
            return voices;
        }
        let (Some(ringing), wanted) = (self.energies(&[], ringing, tone.rise(), &bands), self.wanted(&bands, tone.rise())) else {
            return voices;
        };
        for _ in 0..MOST_FITTINGS {
            let Some(heard) = self.energies(&voices, &ringing.1, tone.rise(), &bands) else { break };
            let mut most = 0.0f64;
            for (index, band) in bands.iter_mut().enumerate() {
                let (wanted, ringing, heard) = (wanted[index], ringing.0[index], heard.0[index]);
                // Noise that hardly counts beside what rings cannot mend it.
                if heard > 0.0 && wanted > 0.05 * ringing {
                    let lacks = 10.0 * ((wanted + ringing) / heard).log10();
                    band.db += lacks.clamp(-MOST_FITTED, MOST_FITTED);
                    most = most.max(lacks.abs());
                }
            }
            if most < FITTED {
                break;
            }
            voices.iter_mut().for_each(|voice| self.make(voice, &bands));
        }
        voices
    }

    fn make(&self, voice: &mut Voice, bands: &[Band]) {
        let mine: Vec<Band> = voice.bands.iter().map(|band| bands[*band]).collect();
        voice.noise = self.noise(&mine, &voice.seed);
    }

    /// Energies in bands of the beginning of what rings and of noise that dies, over one circle of noise, and what rings there.
    fn energies(&self, voices: &[Voice], ringing: &[f32], rise: f64, bands: &[Band]) -> Option<(Vec<f64>, Vec<f32>)> {
        let mut sum = vec![0.0f32; NOISE];
        sum.iter_mut().zip(ringing).for_each(|(sum, own)| *sum = *own);
        let ringing = sum.clone();
        for voice in voices {
            let mut gain = 1.0f32;
            for (sum, noise) in sum.iter_mut().zip(&voice.noise) {
                *sum += noise * gain;
                gain *= voice.decay;
            }
        }
        fade(&mut sum, rise, self.rate);
        let mut spectrum = self.heard.make_output_vec();
        self.heard.process(&mut sum, &mut spectrum).ok()?;
        let energy = |band: &Band| {
            let (from, to) = self.bins(band);
            spectrum[from..to].iter().map(|value| f64::from(value.norm_sqr())).sum::<f64>() * 2.0 / NOISE as f64
        };
        Some((bands.iter().map(energy).collect(), ringing))
    }

    /// Energies of noise in its bands over one circle, in squares of samples: each line is as wide as its decay is short (Lorentz) and reaches into
    /// the neighbours; far ones less than that, by the shape of the attack.
    fn wanted(&self, bands: &[Band], rise: f64) -> Vec<f64> {
        let ends = |band: &Band| (band.hz / THIRD.sqrt(), band.hz * THIRD.sqrt());
        let into = |band: &Band| -> f64 {
            let (low, high) = ends(band);
            let from = |other: &Band| {
                let (from, to) = ends(other);
                let rate = 3.0 * LN_10 / bounded(other.t60);
                let half = rate / TAU;
                let twice = |x: f64| x * (x / half).atan() - half / 2.0 * (1.0 + (x / half).powi(2)).ln();
                let lasts = (1.0 - (-2.0 * rate * NOISE as f64 / self.rate).exp()) / (2.0 * rate) * self.rate;
                let density = 10f64.powf(other.db / 10.0) * lasts / (to - from);
                let off = (band.hz - other.hz).abs();
                let (real, imaginary) = Decay::of(other.t60, rise).transform(off);
                let shaped = if off > 1.5 * (to - from) {
                    real.hypot(imaginary).powi(2) * (rate * rate + (TAU * off).powi(2))
                } else {
                    1.0
                };
                let density = density * shaped;
                density * (twice(high - from) - twice(low - from) - twice(high - to) + twice(low - to)) / PI
            };
            bands.iter().map(from).sum()
        };
        bands.iter().map(into).collect()
    }
}

/// Noise in some bands of a stroke, and by what factor it dies a sample.
struct Voice {
    seed: [u64; 3],
    bands: Vec<usize>,
    decay: f32,
    noise: Vec<f32>,
}

fn bounded(t60: f64) -> f64 {
    t60.clamp(0.01, 60.0)
}

/// Phases of the partials of a stroke at its beginning. Where nothing rings by itself, the skirts of a sudden beginning meet in phase or against it; of
/// some phases for each partial in turn those are kept with which all together come nearest to the sum of their powers, band by band, which is what the model has.
fn phases(partials: &[Partial], rise: f64) -> Vec<f64> {
    // To begin with: in the middle of the attack neighbours a quarter of a turn apart, those beyond by the signs of Golay, Rudin and Shapiro.
    let first = |(number, partial): (usize, &Partial)| {
        let sign = if (number & (number >> 1)).count_ones().is_multiple_of(2) { 0.0 } else { PI };
        let quarter = if number.is_multiple_of(2) { 0.0 } else { PI / 2.0 };
        FRAC_PI_4 + quarter + sign - PI * partial.hz * rise
    };
    let mut phases: Vec<f64> = partials.iter().enumerate().map(first).collect();
    let places: Vec<f64> = (-17..=8)
        .flat_map(|band: i32| (0..PLACES).map(move |place| (band, place)))
        .map(|(band, place)| 1000.0 * 10f64.powf((f64::from(band) + (place as f64 + 0.5) / PLACES as f64 - 0.5) / 10.0))
        .collect();
    // What each contributes at each place: by its phase, and by the opposite one from the other side of zero.
    let skirts: Vec<Vec<(Complex<f64>, Complex<f64>)>> = partials
        .iter()
        .take(CHOSEN)
        .map(|partial| {
            let (decay, size) = (Decay::of(bounded(partial.t60), rise), 10f64.powf(partial.db / 20.0));
            let at = |off: f64| {
                let (real, imaginary) = decay.transform(off);
                Complex::new(real, imaginary) * size
            };
            places.iter().map(|hz| (at(hz - partial.hz), at(hz + partial.hz))).collect()
        })
        .collect();
    let turned = |phase: f64| Complex::from_polar(1.0, phase);
    let part = |number: usize, turned: Complex<f64>, place: usize| {
        let (near, far) = skirts[number][place];
        near * turned - far * turned.conj()
    };
    let powers: Vec<f64> = (0..places.len())
        .map(|place| skirts.iter().map(|skirts| skirts[place].0.norm_sqr() + skirts[place].1.norm_sqr()).sum::<f64>())
        .collect();
    let bands: Vec<f64> = powers.chunks(PLACES).map(|band| band.iter().sum::<f64>()).collect();
    let strongest = bands.iter().copied().fold(0.0, f64::max);
    let mut sums = vec![Complex::new(0.0, 0.0); places.len()];
    for (number, phase) in phases.iter().enumerate().take(skirts.len()) {
        let mine = turned(*phase);
        sums.iter_mut().enumerate().for_each(|(place, sum)| *sum += part(number, mine, place));
    }
    for number in (0..SWEEPS).flat_map(|_| 0..skirts.len()) {
        let mine = turned(phases[number]);
        let others: Vec<Complex<f64>> = sums.iter().enumerate().map(|(place, sum)| sum - part(number, mine, place)).collect();
        let off = |phase: f64| -> f64 {
            let phase = turned(phase);
            let of_band = |(band, power): (usize, &f64)| {
                let heard: f64 = (band * PLACES..(band + 1) * PLACES)
                    .map(|place| (others[place] + part(number, phase, place)).norm_sqr())
                    .sum();
                // What lies far under the strongest counts less.
                let counts = if *power > 1e-4 * strongest { 1.0 } else { 0.02 };
                if *power > 0.0 { counts * (heard / power + 1e-9).ln().powi(2) } else { 0.0 }
            };
            bands.iter().enumerate().map(of_band).sum()
        };
        let now = phases[number];
        let turns = (0..TURNS).map(|turn| now + TAU * turn as f64 / TURNS as f64);
        let best = turns.map(|phase| (off(phase), phase)).min_by(|a, b| a.0.total_cmp(&b.0)).map_or(now, |(_, phase)| phase);
        phases[number] = best;
        let best_turned = turned(best);
        sums.iter_mut().enumerate().for_each(|(place, sum)| *sum = others[place] + part(number, best_turned, place));
    }
    phases
}

/// Rises at the beginning and sinks at the end without a step.
fn fade(samples: &mut [f32], onset: f64, rate: f64) {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a few milliseconds
    let count = |seconds: f64| ((seconds * rate) as usize).max(8).min(samples.len() / 2);
    let (rise, fall) = (count(onset), count(0.02));
    let shape = |at: usize, of: usize| 0.5 - 0.5 * (std::f32::consts::PI * at as f32 / of as f32).cos();
    for (at, sample) in samples.iter_mut().take(rise).enumerate() {
        *sample *= shape(at, rise);
    }
    for (at, sample) in samples.iter_mut().rev().take(fall).enumerate() {
        *sample *= shape(at, fall);
    }
}
