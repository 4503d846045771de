//! Figure: how much a line's notes in a bar repeat, hold, break chords, run, swing to and fro, strike or sing. Each a strength 0 to 1.

use super::cell::Cell;

/// Strengths, 0 to 1; several may be high at once.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Figure {
    /// One key or one chord struck again and again.
    pub repeated: f32,
    /// Held notes.
    pub sustained: f32,
    /// Chord tones one after another, by leaps.
    pub arpeggio: f32,
    /// Steps in one direction.
    pub run: f32,
    /// To and fro between two keys or two groups.
    pub oscillation: f32,
    /// Short and alone, silence around.
    pub hit: f32,
    /// Every note short against the silence after it.
    pub detached: f32,
    /// Few attacks for the time: at most about one a crotchet.
    pub few: f32,
    /// Several keys and values, mostly by step: it sings.
    pub moving: f32,
}

impl Figure {
    /// How far a line like this can be a tune: figures, pulses and shimmer take less of the lead than the learned model gives
    /// them when a tune sounds as well.
    pub fn tuneful(&self, tremolo: f32) -> f32 {
        1.0 - 0.8 * self.arpeggio.max(self.run).max(self.oscillation).max(0.7 * self.repeated).max(tremolo)
    }
}

/// Measures one cell.
#[allow(clippy::cast_precision_loss)] // a few attacks
pub(crate) fn figure(cell: &Cell) -> Figure {
    let attacks = cell.attacks.len();
    let keys: Vec<i32> = cell.tops.iter().flatten().map(|&key| i32::from(key)).collect();
    let steps: Vec<i32> = keys.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let share = |count: usize| if steps.is_empty() { 0.0 } else { count as f32 / steps.len() as f32 };
    let repeats = share(steps.iter().filter(|&&step| step == 0).count());
    let leaps = share(steps.iter().filter(|step| (3..=12).contains(&step.abs())).count());
    let stepwise = share(steps.iter().filter(|step| (1..=2).contains(&step.abs())).count());
    let turns = share(steps.windows(2).filter(|pair| pair[0].signum() * pair[1].signum() < 0).count());
    // Longest stretch of steps in one direction.
    let (mut longest_run, mut run, mut way) = (0usize, 0usize, 0i32);
    for &step in &steps {
        let here = if (1..=2).contains(&step.abs()) { step.signum() } else { 0 };
        run = if here != 0 && here == way { run + 1 } else { usize::from(here != 0) };
        way = here;
        longest_run = longest_run.max(run);
    }
    let values: Vec<f32> = cell.attacks.windows(2).map(|pair| (pair[1] - pair[0]).to_f64() as f32).collect();
    let even = values.iter().copied().fold(f32::INFINITY, f32::min) >= 0.99 * values.iter().copied().fold(0.0, f32::max);
    let pace = if attacks > 1 { cell.length / attacks as f32 } else { cell.length };
    let fast = ramp(1.05, 0.5, pace);
    let enough = ramp(2.0, 5.0, attacks as f32);
    let distinct = cell.keys.len();
    let other_keys = keys.iter().copied().step_by(2).collect::<std::collections::BTreeSet<_>>().len();
    Figure {
        repeated: if attacks >= 3 { repeats * ramp(2.0, 3.0, attacks as f32) } else { 0.0 },
        sustained: if attacks <= 2 { ramp(0.45, 0.8, cell.sounding) } else { ramp(1.2, 2.0, pace) * cell.sounding },
        arpeggio: if distinct >= 3 { ramp(0.45, 0.75, leaps) * enough * fast * if even { 1.0 } else { 0.5 } } else { 0.0 },
        run: ramp(3.0, 6.0, longest_run as f32)
            * ramp(0.7, 0.45, pace)
            * ramp(0.4, 0.7, longest_run as f32 / steps.len().max(1) as f32),
        oscillation: if other_keys <= 2 && distinct <= 3 && distinct > 1 { ramp(0.7, 0.95, turns) * enough * fast } else { 0.0 },
        hit: if attacks >= 1 { ramp(0.45, 0.3, cell.sounding) * ramp(3.0, 1.0, attacks as f32) } else { 0.0 },
        detached: ramp(0.7, 0.5, cell.sounding),
        few: ramp(0.6, 0.9, pace),
        moving: ramp(1.0, 3.0, distinct as f32) * ramp(0.1, 0.4, stepwise.max(leaps * 0.8)) * ramp(0.35, 0.6, cell.sounding),
    }
}

/// 0 up to `from`, 1 from `to` on, a straight line between; falling when `to` lies below `from`.
pub(crate) fn ramp(from: f32, to: f32, at: f32) -> f32 {
    ((at - from) / (to - from)).clamp(0.0, 1.0)
}
