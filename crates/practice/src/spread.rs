//! Numbers and the time spent at each: extremes, median, quartiles.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;

use crate::slices::Slice;
use crate::tally::Tally;

/// Time by number.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Spread(BTreeMap<i32, Tally>);

impl Spread {
    /// Adds a slice spent at `number`; slices come in order of time.
    pub fn add(&mut self, number: i32, slice: &Slice) {
        self.0.entry(number).or_default().add(slice);
    }

    /// Adds a bar in which `number` is touched for no time of its own.
    pub fn touch(&mut self, number: i32, bar: u32) {
        self.0.entry(number).or_default().join(&Tally { time: Crotchets::ZERO, bars: vec![bar] });
    }

    /// Adds what another has.
    pub fn join(&mut self, other: &Self) {
        for (&number, tally) in &other.0 {
            self.0.entry(number).or_default().join(tally);
        }
    }

    /// Numbers from below, with their time and bars.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (i32, &Tally)> {
        self.0.iter().map(|(&number, tally)| (number, tally))
    }

    /// All time and bars.
    pub fn whole(&self) -> Tally {
        let mut whole = Tally { time: self.0.values().map(|tally| tally.time).sum(), bars: Vec::new() };
        whole.bars = self.0.values().flat_map(|tally| tally.bars.iter().copied()).collect();
        whole.bars.sort_unstable();
        whole.bars.dedup();
        whole
    }

    /// The lowest number up to which at least `share` of the time is spent; `None` without time.
    pub fn at(&self, share: Crotchets) -> Option<i32> {
        let aim = self.0.values().map(|tally| tally.time).sum::<Crotchets>() * share;
        let mut sum = Crotchets::ZERO;
        let found = self.0.iter().find(|(_, tally)| {
            sum += tally.time;
            sum >= aim
        });
        found.filter(|_| aim.is_positive()).map(|(&number, _)| number)
    }

    /// [`Spread::at`] the half.
    pub fn median(&self) -> Option<i32> {
        self.at(Crotchets::new(1, 2)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quartiles_fall_on_numbers_that_occur() {
        let tally = |time| Tally { time: Crotchets::whole(time), bars: vec![0] };
        let spread = Spread(BTreeMap::from([(60, tally(1)), (62, tally(1)), (70, tally(2)), (90, tally(0))]));
        let at = |numerator| spread.at(Crotchets::new(numerator, 4).unwrap_or(Crotchets::ONE));
        assert_eq!([at(1), at(2), at(3)], [Some(60), Some(62), Some(70)]);
        assert_eq!(Spread(BTreeMap::from([(90, tally(0))])).median(), None, "a grace note alone has no time");
    }
}
