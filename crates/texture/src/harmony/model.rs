//! The trained numbers: networks and the tables of the decoder. `model/harmony/README.md` tells the form of the file.

use super::chord::Quality;
use super::features::INPUTS;
use super::network::{Direction, Linear, Network, TAPS};
use crate::model::{halves, text_and_numbers};

/// Qualities told apart.
pub(super) const QUALITIES: usize = Quality::ALL.len();
/// Roots times qualities: chord `root * QUALITIES + quality`.
pub(super) const CHORDS: usize = 12 * QUALITIES;
/// Tonics times modes: key `tonic * 2 + minor`.
pub(super) const KEYS: usize = 24;

/// Weights of the decoder's terms.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Knobs {
    /// On the chord network's logarithm, a unit.
    pub chord_weight: f32,
    /// On the key network's logarithm, a unit.
    pub key_weight: f32,
    /// On how usual the chord is in the key, a unit.
    pub context_weight: f32,
    /// On how usually one chord follows the other, a change.
    pub after_weight: f32,
    /// Charge for a change of chord.
    pub chord_change: f32,
    /// Charge on top for a change of chord off the crotchets.
    pub off_beat: f32,
    /// Charge for a change of key.
    pub key_change: f32,
    /// The logistic that turns mean probability over a span into how often such chords are right: slope, then shift.
    pub sure_slope: f32,
    /// See [`Knobs::sure_slope`].
    pub sure_shift: f32,
}

/// Everything learned about harmony, parsed from a model file.
#[derive(Debug, Clone)]
pub struct HarmonyModel {
    /// Their logarithms are averaged.
    pub(super) networks: Vec<Network>,
    pub(super) knobs: Knobs,
    /// `[mode][root from the tonic][quality]`.
    pub(super) usual: Vec<f32>,
    /// `[mode][chord before, from the tonic][chord]`.
    pub(super) after: Vec<f32>,
    /// `[mode before][tonic from the tonic before][mode]`.
    pub(super) keys: Vec<f32>,
}

impl HarmonyModel {
    /// Reads a model file; `None` when it is not one.
    #[must_use]
    pub fn parse(file: &[u8]) -> Option<Self> {
        let (head, numbers) = text_and_numbers(file)?;
        let (mut lines, mut numbers) = (head.lines(), Numbers(numbers));
        if lines.next()? != "ripieno harmony 2" {
            return None;
        }
        let mut shape = lines.next()?.strip_prefix("networks ")?.split(' ').map(str::parse::<usize>);
        let mut next = || shape.next()?.ok();
        let (inputs, width, layers, networks) = (next()?, next()?, next()?, next()?);
        // A bound on what a damaged file can ask for.
        let sizes = (1..=512).contains(&width) && (1..=4).contains(&layers) && (1..=8).contains(&networks);
        if inputs != INPUTS || !sizes || shape.next().is_some() {
            return None;
        }
        let mut knobs = Knobs::default();
        for line in lines {
            let (name, value) = line.split_once(' ')?;
            let value = value.parse().ok()?;
            match name {
                "chord_weight" => knobs.chord_weight = value,
                "key_weight" => knobs.key_weight = value,
                "context_weight" => knobs.context_weight = value,
                "after_weight" => knobs.after_weight = value,
                "chord_change" => knobs.chord_change = value,
                "off_beat" => knobs.off_beat = value,
                "key_change" => knobs.key_change = value,
                "sure_slope" => knobs.sure_slope = value,
                "sure_shift" => knobs.sure_shift = value,
                _ => return None,
            }
        }
        let networks = (0..networks).map(|_| numbers.network(width, layers)).collect::<Option<_>>()?;
        let usual = numbers.take(2 * CHORDS)?;
        let after = numbers.take(2 * CHORDS * CHORDS)?;
        let keys = numbers.take(2 * KEYS)?;
        numbers.0.is_empty().then_some(Self { networks, knobs, usual, after, keys })
    }
}

/// Half-precision numbers, taken in order.
struct Numbers<'a>(&'a [u8]);

impl Numbers<'_> {
    fn take(&mut self, count: usize) -> Option<Vec<f32>> {
        halves(&mut self.0, count)
    }

    fn linear(&mut self, inputs: usize, outputs: usize) -> Option<Linear> {
        Some(Linear { outputs, weights: self.take(inputs * outputs)?, bias: self.take(outputs)? })
    }

    fn network(&mut self, width: usize, layers: usize) -> Option<Network> {
        let taps = self.linear(TAPS * INPUTS, width)?;
        let mut inputs = width;
        let mut read = Vec::with_capacity(layers);
        for _ in 0..layers {
            let mut direction =
                || Some(Direction { input: self.linear(inputs, 3 * width)?, state: self.linear(width, 3 * width)? });
            read.push([direction()?, direction()?]);
            inputs = 2 * width;
        }
        Some(Network { width, taps, layers: read, chord: self.linear(inputs, CHORDS)?, key: self.linear(inputs, KEYS)? })
    }
}
