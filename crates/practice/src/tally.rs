//! Time and bars gathered slice by slice.

use ripieno_score::Crotchets;

use crate::measure::{Subject, Unit, Value};
use crate::slices::Slice;

/// Time, and the bars it lies in.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Tally {
    pub time: Crotchets,
    pub bars: Vec<u32>,
}

impl Tally {
    /// Adds a slice; slices come in order of time.
    pub fn add(&mut self, slice: &Slice) {
        self.time += slice.length();
        if self.bars.last() != Some(&slice.bar) {
            self.bars.push(slice.bar);
        }
    }

    /// Adds another's time and bars.
    pub fn join(&mut self, other: &Self) {
        self.time += other.time;
        self.bars.extend(&other.bars);
        self.bars.sort_unstable();
        self.bars.dedup();
    }

    /// Share of `whole`; 0 of nothing.
    pub fn share(&self, whole: Crotchets) -> f64 {
        self.time.checked_div(whole).map_or(0.0, Crotchets::to_f64)
    }

    /// A value of this share of time.
    pub fn value(self, of: Subject, with: Option<Subject>, aspect: impl Into<String>, whole: Crotchets) -> Value {
        Value { of, with, aspect: aspect.into(), value: self.share(whole), unit: Unit::ShareOfTime, bars: self.bars }
    }
}
