//! How near a cast is to the best by its own prices, and how that is said.

/// How sure a cast is to be the best by its own prices.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Optimality {
    /// What all voicings cost.
    pub cost: f64,
    /// What they cost at least, where that is known ([`Optimality::bounded`]); else what each section's would cost by themselves.
    pub bound: f64,
    /// Whether `bound` is one: in no phrase chords of several sections were laid out beside each other.
    pub bounded: bool,
    /// Whether nothing was left out in the search for voicings.
    pub exact: bool,
    /// Phrases in which who does what is not known to be the best, and what the best could be worth more in all of them together.
    pub unsettled: (usize, f64),
}

impl Optimality {
    /// How far the cost may lie above the least possible, as a share of it; 0 also where no bound is known.
    #[must_use]
    pub fn gap(&self) -> f64 {
        if !self.bounded || self.bound.abs() < 1e-9 { 0.0 } else { ((self.cost - self.bound) / self.bound.abs()).max(0.0) }
    }

    /// Why the search stopped, in a sentence.
    #[must_use]
    pub fn reason(&self) -> String {
        match self.unsettled.0 {
            0 => self.voicings(),
            1 => format!(
                "in one phrase something better may exist, for the search for who does what stopped at its limit; {}",
                self.voicings()
            ),
            phrases => format!(
                "in {phrases} phrases something better may exist, for the search for who does what stopped at its limit; {}",
                self.voicings()
            ),
        }
    }

    fn voicings(&self) -> String {
        if !self.bounded {
            let tried = if self.exact {
                "every way of laying out each section's chords"
            } else {
                "in places only the likelier ways of laying out the chords"
            };
            return format!("{tried}, one section after another, was tried; how near the best together they are is not known");
        }
        match (self.exact, self.gap() < 1e-9) {
            (true, true) => "every way of laying out the chords was tried; none keeps the rules of voicing better".to_owned(),
            (true, false) => format!(
                "every way of laying out each section's chords was tried; together the sections keep the rules of voicing up to {:.1} % less well than each by itself could",
                100.0 * self.gap()
            ),
            (false, _) => format!(
                "in places only the likelier ways of laying out the chords were tried; together the sections keep the rules of voicing up to {:.1} % less well than each by itself could",
                100.0 * self.gap()
            ),
        }
    }
}
