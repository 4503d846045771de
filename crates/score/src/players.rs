//! How many people sound.

use std::fmt;

/// A number of players, exact when both ends agree, otherwise the range the page leaves open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct PlayerCount {
    /// At least this many.
    pub least: u16,
    /// At most this many.
    pub most: u16,
}

impl PlayerCount {
    /// Exactly `count`.
    #[must_use]
    pub const fn exactly(count: u16) -> Self {
        Self { least: count, most: count }
    }

    /// Between the two, whichever way round they are given.
    #[must_use]
    pub const fn between(a: u16, b: u16) -> Self {
        if a <= b { Self { least: a, most: b } } else { Self { least: b, most: a } }
    }
}

impl Default for PlayerCount {
    fn default() -> Self {
        Self::exactly(1)
    }
}

impl fmt::Display for PlayerCount {
    /// `2`, or `8-16`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.least == self.most { write!(f, "{}", self.least) } else { write!(f, "{}-{}", self.least, self.most) }
    }
}
