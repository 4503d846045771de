//! How good the players are.

use std::fmt;
use std::str::FromStr;

/// Whom a score is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Level {
    /// Members of a professional orchestra.
    #[default]
    Professional,
    /// Members of a good amateur orchestra or band.
    Amateur,
    /// Players after three or four years of lessons, a school orchestra.
    Student,
}

impl Level {
    /// All three, the ablest first.
    pub const ALL: [Self; 3] = [Self::Professional, Self::Amateur, Self::Student];

    /// `professional`, `amateur`, `student`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Professional => "professional",
            Self::Amateur => "amateur",
            Self::Student => "student",
        }
    }

    /// What is left of a professional's speed (source `levels`, memory).
    pub(crate) const fn speed(self) -> f64 {
        match self {
            Self::Professional => 1.0,
            Self::Amateur => 0.82,
            Self::Student => 0.65,
        }
    }

    /// How much longer a change takes than it takes a professional (source `levels`, memory).
    pub(crate) const fn slowness(self) -> f64 {
        match self {
            Self::Professional => 1.0,
            Self::Amateur => 1.3,
            Self::Student => 1.6,
        }
    }

    /// Litres of air for one phrase (source `flows`, memory; the professional's as a full breath well used).
    pub(crate) const fn air(self) -> f64 {
        match self {
            Self::Professional => 4.5,
            Self::Amateur => 4.0,
            Self::Student => 3.2,
        }
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for Level {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|level| level.name() == text.trim().to_lowercase())
            .ok_or_else(|| format!("“{text}” is not a level: professional, amateur or student"))
    }
}
