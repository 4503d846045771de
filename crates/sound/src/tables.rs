//! Sound prepared once and played many times: one period of a held tone, a stretch of its noise, the whole of a struck one.
//!
//! Everything is made from a [`Tone`] and kept by (instrument, way of playing, pitch, dynamic). Tables hold unit power for the
//! whole tone (partials and noise together), so that its level is one gain.

use std::collections::BTreeMap;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner};
use ripieno_acoustics::{Source, Tone, Ways, hertz};
use ripieno_score::DynamicLevel;

use crate::random::Random;
use crate::stroke::Maker;

/// Samples of one period.
pub(crate) const PERIOD: usize = 2048;
/// Samples of a stretch of noise that is played in a circle.
pub(crate) const NOISE: usize = 1 << 16;
/// Bytes of strokes kept ready; beyond that they are made anew.
const MOST_BYTES: usize = 160 << 20;
/// Stretches of noise kept ready, a quarter of a megabyte each.
const MOST_NOISES: usize = 512;

/// A held tone at one pitch and dynamic.
#[derive(Debug)]
pub(crate) struct HeldTable {
    /// One period and its first samples again.
    pub(crate) period: Box<[f32; PERIOD + 1]>,
    /// Share of the noise in the amplitude of the tone.
    pub(crate) noise_share: f32,
    pub(crate) power_db: f32,
    pub(crate) onset: f32,
    pub(crate) release: f32,
    pub(crate) vibrato: f32,
}

/// A struck or plucked tone from beginning to end.
#[derive(Debug)]
pub(crate) struct Stroke {
    pub(crate) samples: Vec<f32>,
    pub(crate) power_db: f32,
    pub(crate) release: f32,
    /// Seconds for which a steady sound of its first power would have its energy.
    pub(crate) energy: f32,
}

/// How far apart the dynamics lie at which tables of held tones are made, in printed dynamics.
const STEPS: f64 = 1.0;

type Key = (u16, u16, i16, i16);

/// Everything prepared so far.
pub(crate) struct Tables {
    rate: f64,
    sources: Vec<&'static Source>,
    held: BTreeMap<Key, Arc<HeldTable>>,
    noises: BTreeMap<Key, Arc<Vec<f32>>>,
    strokes: BTreeMap<Key, Arc<Stroke>>,
    stroke_bytes: usize,
    kinds: BTreeMap<(u16, u16), bool>,
    period: Arc<dyn ComplexToReal<f32>>,
    maker: Maker,
    /// Phase of each partial, the same for all instruments, so that neighbouring tables add rather than cancel.
    phases: Vec<(f32, f32)>,
}

impl Tables {
    pub(crate) fn new(rate: f64) -> Self {
        let mut planner = RealFftPlanner::new();
        let mut random = Random::of(&[11]);
        let phase = |_| {
            let (sin, cos) = (random.unit() * std::f64::consts::TAU).sin_cos();
            single(cos, sin)
        };
        Self {
            rate,
            sources: Vec::new(),
            held: BTreeMap::new(),
            noises: BTreeMap::new(),
            strokes: BTreeMap::new(),
            stroke_bytes: 0,
            kinds: BTreeMap::new(),
            period: planner.plan_fft_inverse(PERIOD),
            maker: Maker::new(rate, &mut planner),
            phases: (0..=PERIOD / 2).map(phase).collect(),
        }
    }

    /// A short name for an instrument.
    pub(crate) fn instrument(&mut self, id: &str) -> u16 {
        let source = Source::of(id);
        let at = self.sources.iter().position(|known| known.id == source.id).unwrap_or_else(|| {
            self.sources.push(source);
            self.sources.len() - 1
        });
        u16::try_from(at).unwrap_or(u16::MAX)
    }

    fn ask(&self, instrument: u16, ways: Ways, key: f64, level: f64) -> Tone {
        let source = self.sources.get(usize::from(instrument)).copied().unwrap_or_else(|| Source::of(""));
        #[allow(clippy::cast_possible_truncation)] // a dynamic
        source.tone(key, DynamicLevel(level as f32), ways, 0.42 * self.rate)
    }

    /// Whether the instrument holds its tones when played so.
    pub(crate) fn is_held(&mut self, instrument: u16, ways: Ways) -> bool {
        if let Some(held) = self.kinds.get(&(instrument, ways.bits())) {
            return *held;
        }
        let held = self.ask(instrument, ways, 60.0, 5.0).held;
        self.kinds.insert((instrument, ways.bits()), held);
        held
    }

    /// The layers below and above a dynamic, and how far it lies towards the upper one.
    pub(crate) fn layer(level: f32) -> (i16, f32) {
        let steps = f64::from(level.clamp(-1.0, 10.0)) / STEPS;
        #[allow(clippy::cast_possible_truncation)] // between -1 and 10
        let below = (steps.floor() as i16).min(9);
        #[allow(clippy::cast_possible_truncation)] // a share
        let share = (steps - f64::from(below)) as f32;
        (below, share)
    }

    /// One period at a MIDI key and a layer of dynamics.
    pub(crate) fn held(&mut self, instrument: u16, ways: Ways, key: i16, layer: i16) -> Arc<HeldTable> {
        let at = (instrument, ways.bits(), key, layer);
        if let Some(table) = self.held.get(&at) {
            return Arc::clone(table);
        }
        let tone = self.ask(instrument, ways, f64::from(key), f64::from(layer) * STEPS);
        let table = Arc::new(self.period_of(&tone, key));
        self.held.insert(at, Arc::clone(&table));
        table
    }

    fn period_of(&self, tone: &Tone, key: i16) -> HeldTable {
        let fundamental = hertz(f64::from(key));
        let mut spectrum = vec![Complex::new(0.0f32, 0.0); PERIOD / 2 + 1];
        for partial in &tone.partials {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small count
            let number = (partial.hz / fundamental).round().max(1.0) as usize;
            if number >= PERIOD / 2 || partial.hz > 0.45 * self.rate {
                continue;
            }
            #[allow(clippy::cast_possible_truncation)]
            // The peak of a sine of mean square 1 is the square root of 2; half of it at each of the two frequencies.
            let size = (10f64.powf(partial.db / 20.0) * std::f64::consts::FRAC_1_SQRT_2) as f32;
            let (cos, sin) = self.phases[number];
            spectrum[number] += Complex::new(size * cos, size * sin);
        }
        let mut period = Box::new([0.0f32; PERIOD + 1]);
        // Lengths are right and the ends real, so it cannot fail; silence if it did.
        if self.period.process(&mut spectrum, &mut period[..PERIOD]).is_err() {
            period.fill(0.0);
        }
        period[PERIOD] = period[0];
        let noise: f64 = tone.noise.iter().map(|band| 10f64.powf(band.db / 10.0)).sum();
        HeldTable {
            period,
            noise_share: single(noise.sqrt(), 0.0).0,
            power_db: single(tone.power.db, 0.0).0,
            onset: single(tone.onset.clamp(0.004, 0.4), 0.0).0,
            release: single(tone.release.clamp(0.012, 1.0), 0.0).0,
            vibrato: single(tone.vibrato, 0.0).0,
        }
    }

    /// A stretch of the noise of a held tone, of mean square 1.
    pub(crate) fn noise(&mut self, instrument: u16, ways: Ways, key: i16, layer: i16) -> Arc<Vec<f32>> {
        // Noise hardly knows the semitone: one stretch for a tritone and for two layers.
        let at = (instrument, ways.bits(), (key.max(0) / 6) * 6 + 3, (layer / 2) * 2);
        if let Some(table) = self.noises.get(&at) {
            return Arc::clone(table);
        }
        let tone = self.ask(instrument, ways, f64::from(at.2), f64::from(at.3) * STEPS);
        let mut samples = self.maker.noise(&tone.noise, &[13, u64::from(instrument)]);
        let power = samples.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>() / NOISE as f64;
        let gain = if power > 0.0 { single(power.sqrt().recip(), 0.0).0 } else { 0.0 };
        samples.iter_mut().for_each(|sample| *sample *= gain);
        let table = Arc::new(samples);
        if self.noises.len() >= MOST_NOISES {
            self.noises.clear();
        }
        self.noises.insert(at, Arc::clone(&table));
        table
    }

    /// A struck or plucked tone, made for the nearest half of a printed dynamic.
    pub(crate) fn stroke(&mut self, instrument: u16, ways: Ways, key: i16, level: f32) -> Arc<Stroke> {
        #[allow(clippy::cast_possible_truncation)] // between -2 and 20
        let half = (level.clamp(-1.0, 10.0) * 2.0).round() as i16;
        let at = (instrument, ways.bits(), key, half);
        if let Some(stroke) = self.strokes.get(&at) {
            return Arc::clone(stroke);
        }
        let tone = self.ask(instrument, ways, f64::from(key), f64::from(half) / 2.0);
        let samples = self.maker.stroke(&tone, u64::from(instrument));
        let energy = samples.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>() / self.rate;
        let stroke = Arc::new(Stroke {
            samples,
            energy: single(energy, 0.0).0,
            power_db: single(tone.power.db, 0.0).0,
            release: single(tone.release.clamp(0.02, 3.0), 0.0).0,
        });
        let bytes = stroke.samples.len() * size_of::<f32>();
        if self.stroke_bytes + bytes > MOST_BYTES {
            self.strokes.clear();
            self.stroke_bytes = 0;
        }
        self.stroke_bytes += bytes;
        self.strokes.insert(at, Arc::clone(&stroke));
        stroke
    }
}

#[allow(clippy::cast_possible_truncation)] // sound is single precision
pub(crate) const fn single(a: f64, b: f64) -> (f32, f32) {
    (a as f32, b as f32)
}
