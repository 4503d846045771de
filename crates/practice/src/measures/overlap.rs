//! Stretches of time that may overlap, counted once.

use ripieno_score::{Crotchets, Sounding};

use crate::tally::Tally;

/// Stretches of time in any order.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Overlap(Vec<(Crotchets, Crotchets)>);

impl Overlap {
    /// Adds a stretch; one that ends before it begins is nothing.
    pub fn add(&mut self, from: Crotchets, to: Crotchets) {
        if to > from {
            self.0.push((from, to));
        }
    }

    /// The time covered, and the played bars it lies in.
    pub fn tally(mut self, sounding: &Sounding) -> Tally {
        self.0.sort_unstable();
        let (mut tally, mut reached) = (Tally::default(), Crotchets::ZERO);
        for (from, to) in self.0 {
            let from = from.max(reached);
            if to <= from {
                continue;
            }
            tally.time += to - from;
            reached = to;
            let first = sounding.bars.partition_point(|bar| bar.start + bar.length <= from);
            let bars = (first..).zip(&sounding.bars[first..]).take_while(|(_, bar)| bar.start < to);
            for (bar, _) in bars.filter(|(_, bar)| bar.length.is_positive()) {
                let bar = u32::try_from(bar).unwrap_or(u32::MAX);
                if tally.bars.last() != Some(&bar) {
                    tally.bars.push(bar);
                }
            }
        }
        tally
    }
}
