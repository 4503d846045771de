//! The grid on which harmony is read: half crotchets from each barline, with what sounds in each.

use std::num::NonZeroU32;

use ripieno_score::{Crotchets, Sounding};

/// Ticks to the crotchet for shares of time; spans themselves stay exact.
const TICKS: NonZeroU32 = NonZeroU32::new(480).unwrap();
/// Ticks of the slices in which the lowest note is looked for.
const SLICE: i64 = 60;
/// Units of a bar at most; a longer one (a cadenza written as one bar) is cut coarser.
const UNITS_IN_BAR: i64 = 256;

/// From this key (G3) on a note counts as treble.
const TREBLE: u8 = 55;

/// Twelve pitch classes from C.
pub(super) type Classes = [f32; 12];

/// A stretch of half a crotchet, or what is left of a bar.
#[derive(Debug, Clone, Copy)]
pub(super) struct Unit {
    pub onset: Crotchets,
    pub end: Crotchets,
    /// First of its bar.
    pub first: bool,
    /// Begins on a crotchet of its bar.
    pub beat: bool,
    /// Begins in the middle of its bar.
    pub middle: bool,
}

/// Units of a piece and the pitch classes in each.
pub(super) struct Units {
    pub units: Vec<Unit>,
    /// Notes times the share of the unit they last, by pitch class.
    pub weight: Vec<Classes>,
    /// Share of the unit in which the pitch class is the lowest to sound.
    pub bass: Vec<Classes>,
    /// As `weight`, of the notes below the treble, each pitch class at most 1.
    pub low: Vec<Classes>,
    /// Share of the unit in which the pitch class is the highest to sound.
    pub top: Vec<Classes>,
    /// Notes that begin in the unit, by pitch class.
    pub begun: Vec<Classes>,
}

impl Units {
    pub fn new(sounding: &Sounding) -> Self {
        let units = grid(sounding);
        let starts: Vec<i64> = units.iter().map(|unit| unit.onset.to_ticks(TICKS)).collect();
        let ends: Vec<i64> = units.iter().map(|unit| unit.end.to_ticks(TICKS)).collect();
        // Slices of unit `u`: `slices[u]..slices[u + 1]`.
        let mut slices = Vec::with_capacity(units.len() + 1);
        let mut count = 0usize;
        for (&start, &end) in starts.iter().zip(&ends) {
            slices.push(count);
            count += usize::try_from((end - start + SLICE - 1) / SLICE).unwrap_or(1).clamp(1, 64);
        }
        slices.push(count);
        let mut lowest = vec![u8::MAX; count];
        let mut highest = vec![0u8; count];
        let mut weight = vec![[0f32; 12]; units.len()];
        let mut low = weight.clone();
        let mut begun = weight.clone();
        let notes = &sounding.notes;
        for row in 0..notes.len() {
            let Some(key) = notes.key[row].map(ripieno_score::MidiKey::number) else { continue };
            let on = notes.onset[row].to_ticks(TICKS);
            let off = (notes.onset[row] + notes.duration[row]).to_ticks(TICKS);
            if off <= on {
                continue;
            }
            let begin = starts.partition_point(|&start| start <= on).saturating_sub(1);
            if let Some(begun) = begun.get_mut(begin) {
                begun[usize::from(key % 12)] += 1.0;
            }
            for unit in begin..units.len() {
                let (start, end) = (starts[unit], ends[unit]);
                if start >= off {
                    break;
                }
                let (from, to) = (on.max(start), off.min(end));
                if from >= to {
                    continue;
                }
                let share = (to - from) as f32 / (end - start) as f32;
                weight[unit][usize::from(key % 12)] += share;
                if key < TREBLE {
                    let low = &mut low[unit][usize::from(key % 12)];
                    *low = (*low + share).min(1.0);
                }
                let parts = (slices[unit + 1] - slices[unit]).cast_signed() as i64;
                let slice = |at: i64| ((at - start) * parts / (end - start)) as usize;
                let touched = slices[unit] + slice(from)..=slices[unit] + slice(to - 1);
                lowest[touched.clone()].iter_mut().for_each(|lowest| *lowest = key.min(*lowest));
                highest[touched].iter_mut().for_each(|highest| *highest = key.max(*highest));
            }
        }
        let shares = |outermost: &[u8], none: u8| -> Vec<Classes> {
            let of_unit = |unit: usize| {
                let keys = &outermost[slices[unit]..slices[unit + 1]];
                let mut shares = [0f32; 12];
                keys.iter().filter(|&&key| key != none).for_each(|&key| shares[usize::from(key % 12)] += 1.0 / keys.len() as f32);
                shares
            };
            (0..units.len()).map(of_unit).collect()
        };
        let (bass, top) = (shares(&lowest, u8::MAX), shares(&highest, 0));
        Self { units, weight, bass, low, top, begun }
    }

    pub const fn len(&self) -> usize {
        self.units.len()
    }

    /// Whether no pitch sounds in unit `unit`.
    pub fn is_silent(&self, unit: usize) -> bool {
        self.weight[unit].iter().all(|&weight| weight <= 0.0)
    }
}

fn grid(sounding: &Sounding) -> Vec<Unit> {
    let half = Crotchets::new(1, 2).unwrap_or(Crotchets::ONE);
    let mut units = Vec::new();
    for played in &sounding.bars {
        let mut step = half;
        while (played.length.checked_div(step)).is_some_and(|count| count.floor() > UNITS_IN_BAR) {
            step += step;
        }
        let end = played.start + played.length;
        let mut onset = played.start;
        while onset < end {
            let next = (onset + step).min(end);
            let beat = (onset - played.start).modulo(Crotchets::ONE).is_some_and(Crotchets::is_zero);
            let middle = (onset - played.start) + (onset - played.start) == played.length;
            units.push(Unit { onset, end: next, first: onset == played.start, beat, middle });
            onset = next;
        }
    }
    units
}
