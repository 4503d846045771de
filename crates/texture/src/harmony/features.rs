//! What the two networks read: pitch classes of a unit and of its surroundings, near in detail, far in sums.
//!
//! A feature row is a number of blocks of twelve pitch classes and a few facts about the metre. The networks turn the blocks through the
//! twelve transpositions, so that what they learn in one key holds in all.

use super::units::{Classes, Units};

/// Blocks of twelve for the chord network.
pub(super) const CHORD_BLOCKS: usize = 5 * 3 + 4 * 2 + 4 * 2 + 2 + 2;
/// Blocks of twelve for the key network.
pub(super) const KEY_BLOCKS: usize = 9 * 2 + 1;
/// Facts that do not turn: first of the bar, on a crotchet, a note begins, rests.
pub(super) const FACTS: usize = 4;

/// Sums up to each unit, so that any window costs the same.
pub(super) struct Windows<'a> {
    units: &'a Units,
    /// Shares of each pitch class, and their sums.
    shares: Vec<Classes>,
    share_sums: Vec<[f64; 12]>,
    bass_sums: Vec<[f64; 12]>,
    low_sums: Vec<[f64; 12]>,
    bars: Vec<(usize, usize)>,
}

impl<'a> Windows<'a> {
    pub fn new(units: &'a Units) -> Self {
        let shares: Vec<Classes> = units.weight.iter().map(share).collect();
        let mut bars: Vec<(usize, usize)> = vec![(0, 0); units.len()];
        let mut from = 0;
        for to in 1..=units.len() {
            if to == units.len() || units.units[to].first {
                bars[from..to].fill((from, to));
                from = to;
            }
        }
        Self { units, share_sums: sums(&shares), bass_sums: sums(&units.bass), low_sums: sums(&units.low), shares, bars }
    }

    /// Blocks of the chord network for unit `unit`, then the facts.
    pub fn chord(&self, unit: usize, row: &mut Vec<f32>) {
        let at = unit.cast_signed();
        for offset in -2..=2 {
            let there = usize::try_from(at + offset).ok().filter(|&there| there < self.units.len());
            match there {
                Some(there) => {
                    row.extend(self.units.weight[there].iter().map(|weight| weight.min(1.0)));
                    row.extend(self.shares[there]);
                    row.extend(self.units.bass[there]);
                }
                None => row.extend([0.0; 36]),
            }
        }
        for (from, to) in [(-6, -2), (3, 7), (-14, -6), (7, 15)] {
            self.both(at + from, at + to, row);
        }
        let (from, to) = self.bars[unit];
        self.both(from.cast_signed(), to.cast_signed(), row);
        let before = from.checked_sub(1).map_or((0, 0), |last| self.bars[last]);
        let after = self.bars.get(to).copied().unwrap_or((0, 0));
        for (from, to) in [self.crotchet(unit), before, after] {
            self.both(from.cast_signed(), to.cast_signed(), row);
        }
        row.extend(self.units.low[unit]);
        mean(&self.low_sums, from.cast_signed(), to.cast_signed(), row);
        mean(&self.share_sums, at - 46, at - 14, row);
        mean(&self.share_sums, at + 15, at + 47, row);
        let here = self.units.units[unit];
        let silent = self.units.is_silent(unit);
        row.extend([here.first, here.beat, self.units.attacked[unit], silent].map(|yes| f32::from(u8::from(yes))));
    }

    /// Blocks of the key network for unit `unit`.
    pub fn key(&self, unit: usize, row: &mut Vec<f32>) {
        let at = unit.cast_signed();
        for (from, to) in [(0, 2), (-4, 0), (2, 6), (-12, -4), (6, 14), (-28, -12), (14, 30), (-60, -28), (30, 62)] {
            self.both(at + from, at + to, row);
        }
        mean(&self.share_sums, 0, self.units.len().cast_signed(), row);
    }

    /// Units of the crotchet that unit `unit` lies in.
    fn crotchet(&self, unit: usize) -> (usize, usize) {
        let units = &self.units.units;
        let (first, last) = self.bars[unit];
        let from = if units[unit].beat || unit == first { unit } else { unit - 1 };
        let to = if from + 1 < last && !units[from + 1].beat { from + 2 } else { from + 1 };
        (from, to)
    }

    fn both(&self, from: isize, to: isize, row: &mut Vec<f32>) {
        mean(&self.share_sums, from, to, row);
        mean(&self.bass_sums, from, to, row);
    }
}

fn share(weight: &Classes) -> Classes {
    let sum: f32 = weight.iter().sum();
    if sum > 0.0 { weight.map(|weight| weight / sum) } else { *weight }
}

fn sums(classes: &[Classes]) -> Vec<[f64; 12]> {
    let mut sum = [0f64; 12];
    let mut all = Vec::with_capacity(classes.len() + 1);
    all.push(sum);
    for classes in classes {
        for (sum, &class) in sum.iter_mut().zip(classes) {
            *sum += f64::from(class);
        }
        all.push(sum);
    }
    all
}

/// Mean over the units `from..to` that exist.
fn mean(sums: &[[f64; 12]], from: isize, to: isize, row: &mut Vec<f32>) {
    let last = sums.len().cast_signed() - 1;
    let (from, to) = (from.clamp(0, last), to.clamp(0, last));
    if from >= to {
        row.extend([0.0; 12]);
        return;
    }
    let (a, b) = (&sums[from as usize], &sums[to as usize]);
    row.extend(b.iter().zip(a).map(|(b, a)| ((b - a) / (to - from) as f64) as f32));
}
