//! The trained numbers: two small networks and the tables of the decoder. `model/harmony/README.md` tells the form of the file.

use super::chord::Quality;
use super::features::{CHORD_BLOCKS, FACTS, KEY_BLOCKS};

/// Qualities told apart.
pub(super) const QUALITIES: usize = Quality::ALL.len();
/// Roots times qualities: chord `root * QUALITIES + quality`.
pub(super) const CHORDS: usize = 12 * QUALITIES;
/// Tonics times modes: key `tonic * 2 + minor`.
pub(super) const KEYS: usize = 24;

/// One hidden layer, the same for all twelve turns of the input.
#[derive(Debug, Clone)]
pub(super) struct Network {
    hidden: usize,
    outputs: usize,
    /// `[input][turn][hidden]`: an input of pitch class `i` meets, for turn `r`, the weights of class `i - r`.
    first: Vec<f32>,
    first_bias: Vec<f32>,
    second: Vec<f32>,
    second_bias: Vec<f32>,
}

impl Network {
    /// Natural logarithms of the probabilities, `out[turn * outputs + output]`, written over `out`.
    pub fn answer(&self, row: &[f32], sums: &mut Vec<f32>, out: &mut Vec<f32>) {
        let width = 12 * self.hidden;
        sums.clear();
        for _ in 0..12 {
            sums.extend(&self.first_bias);
        }
        for (&value, weights) in row.iter().zip(self.first.chunks_exact(width)) {
            if value != 0.0 {
                for (sum, &weight) in sums.iter_mut().zip(weights) {
                    *sum += value * weight;
                }
            }
        }
        out.clear();
        for hidden in sums.chunks_exact(self.hidden) {
            let from = out.len();
            out.extend(&self.second_bias);
            for (&value, weights) in hidden.iter().zip(self.second.chunks_exact(self.outputs)) {
                if value > 0.0 {
                    for (sum, &weight) in out[from..].iter_mut().zip(weights) {
                        *sum += value * weight;
                    }
                }
            }
        }
        let top = out.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        let log = top + out.iter().map(|&z| (z - top).exp()).sum::<f32>().ln();
        out.iter_mut().for_each(|z| *z -= log);
    }
}

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
    pub(super) chord: Network,
    pub(super) key: Network,
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
        let split = file.windows(2).position(|pair| pair == b"\n\n")?;
        let head = std::str::from_utf8(&file[..split]).ok()?;
        let mut numbers = Numbers(&file[split + 2..]);
        let mut lines = head.lines();
        if lines.next()? != "ripieno harmony 1" {
            return None;
        }
        let [chord_in, chord_hidden, qualities] = shape(lines.next()?, "chord")?;
        let [key_in, key_hidden, modes] = shape(lines.next()?, "key")?;
        if (chord_in, qualities) != (12 * CHORD_BLOCKS + FACTS, QUALITIES) || (key_in, modes) != (12 * KEY_BLOCKS, 2) {
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
        let chord = numbers.network(chord_in, FACTS, chord_hidden, QUALITIES)?;
        let key = numbers.network(key_in, 0, key_hidden, 2)?;
        let usual = numbers.take(2 * CHORDS)?;
        let after = numbers.take(2 * CHORDS * CHORDS)?;
        let keys = numbers.take(2 * KEYS)?;
        numbers.0.is_empty().then_some(Self { chord, key, knobs, usual, after, keys })
    }
}

fn shape(line: &str, name: &str) -> Option<[usize; 3]> {
    let mut words = line.split(' ');
    if words.next()? != name {
        return None;
    }
    let shape = [words.next()?.parse().ok()?, words.next()?.parse().ok()?, words.next()?.parse().ok()?];
    // A bound on what a damaged file can ask for.
    (words.next().is_none() && shape.iter().all(|&n| (1..=4096).contains(&n))).then_some(shape)
}

struct Numbers<'a>(&'a [u8]);

impl Numbers<'_> {
    fn take(&mut self, count: usize) -> Option<Vec<f32>> {
        let (mine, rest) = self.0.split_at_checked(count.checked_mul(4)?)?;
        self.0 = rest;
        let values: Vec<f32> = mine.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect();
        values.iter().all(|value| value.is_finite()).then_some(values)
    }

    fn network(&mut self, inputs: usize, facts: usize, hidden: usize, outputs: usize) -> Option<Network> {
        let written = self.take(inputs * hidden)?;
        let first_bias = self.take(hidden)?;
        let second = self.take(hidden * outputs)?;
        let second_bias = self.take(outputs)?;
        let mut first = Vec::with_capacity(12 * written.len());
        for input in 0..inputs {
            for turn in 0..12 {
                // Turn `r` puts class `i + r` on input `i`.
                let source = if input < inputs - facts { input / 12 * 12 + (input % 12 + 12 - turn) % 12 } else { input };
                first.extend(&written[source * hidden..(source + 1) * hidden]);
            }
        }
        Some(Network { hidden, outputs, first, first_bias, second, second_bias })
    }
}
