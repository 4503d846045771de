//! The networks: five units at a time into a recurrent net that reads the piece in both directions.
//!
//! Gated recurrent units (Cho and others, 2014; the reset gate on the product, as Torch has it); the model file tells how many layers.

use super::features::INPUTS;
use super::model::{CHORDS, KEYS};
use crate::model::sigmoid;
use crate::wide;

/// Units read at a time, the middle one being the unit told about.
pub(super) const TAPS: usize = 5;

/// `weights[input * outputs + output]`.
#[derive(Debug, Clone)]
pub(super) struct Linear {
    pub outputs: usize,
    pub weights: Vec<f32>,
    pub bias: Vec<f32>,
}

/// One layer in one direction: gates reset, update, new, each `width` wide.
#[derive(Debug, Clone)]
pub(super) struct Direction {
    pub input: Linear,
    pub state: Linear,
}

/// The whole net.
#[derive(Debug, Clone)]
pub(super) struct Network {
    pub width: usize,
    pub taps: Linear,
    /// Forwards, then backwards.
    pub layers: Vec<[Direction; 2]>,
    pub chord: Linear,
    pub key: Linear,
}

impl Network {
    fn answer(&self, rows: &[f32]) -> (Vec<f32>, Vec<f32>) {
        let units = rows.len() / INPUTS;
        let mut x = self.taps.repeated(units);
        for (unit, out) in x.chunks_exact_mut(self.width).enumerate() {
            for tap in 0..TAPS {
                let Some(there) = (unit + tap).checked_sub(TAPS / 2).filter(|&there| there < units) else { continue };
                let weights = &self.taps.weights[tap * INPUTS * self.width..];
                wide::add_by_fours(out, &rows[there * INPUTS..(there + 1) * INPUTS], weights);
            }
            out.iter_mut().for_each(|value| *value = value.max(0.0));
        }
        for layer in &self.layers {
            let mut next = vec![0.0; units * 2 * self.width];
            for (half, direction) in layer.iter().enumerate() {
                direction.run(&x, self.width, half, &mut next);
            }
            x = next;
        }
        let [mut chords, mut keys] = [&self.chord, &self.key].map(|head| head.apply(&x));
        normalise(&mut chords, &mut keys);
        (chords, keys)
    }
}

/// Natural logarithms of the probabilities of chords `[unit * CHORDS + chord]` and keys `[unit * KEYS + key]` from rows of [`INPUTS`]: the mean of several
/// networks.
pub(super) fn answer(networks: &[Network], rows: &[f32]) -> (Vec<f32>, Vec<f32>) {
    let mut answers = networks.iter().map(|network| network.answer(rows));
    let Some((mut chords, mut keys)) = answers.next() else { return (Vec::new(), Vec::new()) };
    for (more_chords, more_keys) in answers {
        chords.iter_mut().zip(more_chords).for_each(|(sum, more)| *sum += more);
        keys.iter_mut().zip(more_keys).for_each(|(sum, more)| *sum += more);
    }
    chords.iter_mut().chain(&mut keys).for_each(|sum| *sum /= networks.len() as f32);
    normalise(&mut chords, &mut keys);
    (chords, keys)
}

fn normalise(chords: &mut [f32], keys: &mut [f32]) {
    chords.chunks_exact_mut(CHORDS).for_each(logarithms);
    keys.chunks_exact_mut(KEYS).for_each(logarithms);
}

impl Direction {
    /// Writes the states into its half of each row of `out`; backwards when it is the second.
    fn run(&self, x: &[f32], width: usize, half: usize, out: &mut [f32]) {
        let given = self.input.apply(x);
        let units = out.len() / (2 * width);
        let mut state = vec![0.0; width];
        let mut gates = vec![0.0; 3 * width];
        for step in 0..units {
            let unit = if half == 0 { step } else { units - 1 - step };
            gates.copy_from_slice(&self.state.bias);
            wide::add_by_fours(&mut gates, &state, &self.state.weights);
            let given = &given[unit * 3 * width..(unit + 1) * 3 * width];
            for (i, state) in state.iter_mut().enumerate() {
                let reset = sigmoid(given[i] + gates[i]);
                let keep = sigmoid(given[width + i] + gates[width + i]);
                let new = (given[2 * width + i] + reset * gates[2 * width + i]).tanh();
                *state = keep * *state + (1.0 - keep) * new;
            }
            out[(2 * unit + half) * width..][..width].copy_from_slice(&state);
        }
    }
}

impl Linear {
    fn repeated(&self, rows: usize) -> Vec<f32> {
        self.bias.iter().copied().cycle().take(rows * self.outputs).collect()
    }

    fn apply(&self, x: &[f32]) -> Vec<f32> {
        wide::by_fours(x, &self.weights, &self.bias)
    }
}

fn logarithms(values: &mut [f32]) {
    let top = values.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let log = top + values.iter().map(|&z| (z - top).exp()).sum::<f32>().ln();
    values.iter_mut().for_each(|z| *z -= log);
}
