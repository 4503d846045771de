//! The position inside a bar, counted in divisions and turned into crotchets once.

use ripieno_score::Crotchets;

use super::number::Decimal;

/// See the module. Positions never lie before the barline.
#[derive(Debug, Clone)]
pub(super) struct Clock {
    /// Position at the last change of divisions in this bar, or after a decimal duration.
    base: Crotchets,
    /// Whole divisions since.
    ticks: i64,
    /// Divisions in a crotchet; positive.
    divisions: Decimal,
    /// Whether the file has said so.
    pub divisions_given: bool,
}

impl Clock {
    pub const fn new() -> Self {
        Self { base: Crotchets::ZERO, ticks: 0, divisions: Decimal::whole(1), divisions_given: false }
    }

    /// Back to the barline.
    pub const fn new_bar(&mut self) {
        (self.base, self.ticks) = (Crotchets::ZERO, 0);
    }

    /// Where we are, from the barline.
    #[inline]
    pub fn now(&self) -> Crotchets {
        if self.ticks == 0 {
            return self.base;
        }
        let since = self.length(Decimal::whole(self.ticks));
        if self.base.is_zero() { since } else { self.base + since }
    }

    /// A duration in divisions as crotchets.
    #[inline]
    pub fn length(&self, duration: Decimal) -> Crotchets {
        duration.over(self.divisions).unwrap_or_default()
    }

    /// Moves on by a duration in divisions.
    #[inline]
    pub fn advance(&mut self, duration: Decimal) {
        match self.ticks.checked_add(duration.mantissa) {
            Some(ticks) if duration.scale == 1 => self.ticks = ticks,
            _ => self.advance_by(self.length(duration)),
        }
    }

    /// Moves on by a length in crotchets.
    pub fn advance_by(&mut self, length: Crotchets) {
        self.base += length;
    }

    /// Moves back; `false` when that would lead before the barline, where it stops.
    pub fn back(&mut self, duration: Decimal) -> bool {
        self.advance(Decimal { mantissa: -duration.mantissa, scale: duration.scale });
        let inside = self.now() >= Crotchets::ZERO;
        if !inside {
            self.new_bar();
        }
        inside
    }

    /// From here on a crotchet has this many divisions; `false` (and no change) unless positive.
    pub fn set_divisions(&mut self, divisions: Decimal) -> bool {
        if divisions.mantissa <= 0 {
            return false;
        }
        (self.base, self.ticks) = (self.now(), 0);
        self.divisions = divisions;
        self.divisions_given = true;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn divisions_may_change_inside_a_bar() {
        let mut clock = Clock::new();
        assert!(clock.set_divisions(Decimal::whole(2)));
        clock.advance(Decimal::whole(3));
        assert!(clock.set_divisions(Decimal::whole(3)));
        clock.advance(Decimal::whole(1));
        assert_eq!(clock.now().to_string(), "11/6");
        assert!(clock.back(Decimal::whole(5)));
        assert_eq!(clock.now().to_string(), "1/6");
        assert!(!clock.back(Decimal::whole(1)));
        assert_eq!(clock.now(), Crotchets::ZERO);
    }

    #[test]
    fn decimal_durations_add_up_exactly() {
        let mut clock = Clock::new();
        for _ in 0..4 {
            clock.advance(Decimal::parse("0.25").unwrap());
        }
        assert_eq!(clock.now(), Crotchets::ONE);
    }

    #[test]
    fn nonsense_divisions_are_refused() {
        assert!(!Clock::new().set_divisions(Decimal::whole(0)));
        assert!(!Clock::new().set_divisions(Decimal::whole(-4)));
    }
}
