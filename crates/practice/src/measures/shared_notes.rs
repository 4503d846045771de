//! Notes begun together: moments at which two bodies begin the same pitch, or pitches octaves apart. Counted from the notes alone.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::Crotchets;

use crate::material::Material;
use crate::measure::{Subject, Unit, Value};

/// Octaves told.
pub(super) const WITHIN: i16 = 24;

/// What a body begins at a moment.
#[derive(Default)]
pub(super) struct Begun {
    pub bar: u32,
    /// Its keys, each once.
    pub keys: BTreeSet<i16>,
}

/// What some parts begin, moment by moment; grace notes and notes without pitch are left out.
pub(super) fn begun(material: &Material<'_>, parts: &[usize]) -> BTreeMap<Crotchets, Begun> {
    let notes = &material.sounding.notes;
    let mut moments: BTreeMap<Crotchets, Begun> = BTreeMap::new();
    for row in parts.iter().flat_map(|&part| notes.of_part[part].clone()).filter(|&row| notes.duration[row].is_positive()) {
        if let Some(key) = notes.key[row] {
            let begun = moments.entry(notes.onset[row]).or_default();
            begun.bar = notes.bar[row];
            begun.keys.insert(i16::from(key.number()));
        }
    }
    moments
}

/// Counts shared moments, interval by interval.
#[derive(Default)]
pub(super) struct Shared {
    of: BTreeMap<i16, (u32, Vec<u32>)>,
}

impl Shared {
    /// Adds a moment in `bar` at which one body begins `own` and the other `theirs`.
    pub fn add(&mut self, bar: u32, own: &BTreeSet<i16>, theirs: &BTreeSet<i16>) {
        let intervals: BTreeSet<i16> = own
            .iter()
            .flat_map(|key| theirs.iter().map(move |other| other - key))
            .filter(|interval| interval % 12 == 0 && interval.abs() <= WITHIN)
            .collect();
        for interval in intervals {
            let sum = self.of.entry(interval).or_default();
            sum.0 += 1;
            if sum.1.last() != Some(&bar) {
                sum.1.push(bar);
            }
        }
    }

    /// Shares of `whole` moments; fewer than three are chance.
    pub fn values(self, of: Subject, with: Subject, words: &str, whole: usize) -> Vec<Value> {
        let mut found: Vec<(i16, (u32, Vec<u32>))> =
            self.of.into_iter().filter(|(_, (count, _))| *count >= super::moments::NO_CHANCE).collect();
        found.sort_by_key(|(interval, _)| (interval.abs(), *interval));
        let value = |(interval, (count, mut bars)): (i16, (u32, Vec<u32>))| {
            bars.sort_unstable();
            bars.dedup();
            #[allow(clippy::cast_precision_loss)] // notes of a score
            let value = f64::from(count) / whole.max(1) as f64;
            let aspect = format!("{words}, {}", super::moments::octaves(interval));
            Value { of, with: Some(with), aspect, value, unit: Unit::ShareOfNotes, bars }
        };
        found.into_iter().map(value).collect()
    }
}
