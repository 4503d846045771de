//! Under what a value stands, so that values of different scores can be laid side by side.

use serde::{Deserialize, Serialize};

use crate::measure::Unit;
use crate::measures::SEVERAL;

/// What kind of body a value is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// The whole score.
    Score,
    /// A family.
    Family,
    /// A section.
    Section,
    /// A group a person has named.
    Group,
    /// An instrument of the catalogue: its parts, one with the other.
    Instrument,
}

impl Kind {
    /// "score", "family", "section", "group", "instrument".
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Score => "score",
            Self::Family => "family",
            Self::Section => "section",
            Self::Group => "group",
            Self::Instrument => "instrument",
        }
    }
}

/// Whom a value is about, by a name that means the same in every score: never a part's own name.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Whom {
    /// What kind of body.
    pub kind: Kind,
    /// "everybody", "brass", "horns", "bass-clarinet" (the catalogue's identifier).
    pub name: String,
    /// Its family; empty for the whole score.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub family: String,
    /// The section of an instrument; empty otherwise.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub section: String,
}

impl Whom {
    /// The name as one would say it: "bass clarinet".
    #[must_use]
    pub fn spoken(&self) -> String {
        self.name.replace('-', " ")
    }

    /// Whether it belongs to the body of this name: is it, or is a section or an instrument of it.
    #[must_use]
    pub fn belongs_to(&self, group: &str) -> bool {
        [&self.name, &self.family, &self.section].into_iter().any(|name| name == group) || self.spoken() == group
    }
}

/// In what a value of a profile is counted: [`Unit`], with what grows with the length of a piece set against that length.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // as in Unit
pub enum Counted {
    ShareOfBars,
    ShareOfTime,
    ShareOfPlayerTime,
    ShareOfNotes,
    /// Crotchets, of all crotchets of the piece.
    ShareOfPiece,
    /// Events or bars in a hundred bars of the piece.
    PerHundredBars,
    /// Notes or attacks in a hundred crotchets of the piece.
    PerHundredCrotchets,
    Bars,
    Semitones,
    Key,
    Count,
    Players,
    Ratio,
    PerSecond,
    Level,
}

impl Counted {
    /// The unit in words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ShareOfBars => Unit::ShareOfBars.name(),
            Self::ShareOfTime => Unit::ShareOfTime.name(),
            Self::ShareOfPlayerTime => Unit::ShareOfPlayerTime.name(),
            Self::ShareOfNotes => Unit::ShareOfNotes.name(),
            Self::ShareOfPiece => "share of the piece",
            Self::PerHundredBars => "in 100 bars",
            Self::PerHundredCrotchets => "in 100 crotchets",
            Self::Bars => Unit::Bars.name(),
            Self::Semitones => Unit::Semitones.name(),
            Self::Key => Unit::Key.name(),
            Self::Count => Unit::Count.name(),
            Self::Players => Unit::Players.name(),
            Self::Ratio => Unit::Ratio.name(),
            Self::PerSecond => Unit::PerSecond.name(),
            Self::Level => Unit::Level.name(),
        }
    }

    /// Whether it is a share, 0 to 1.
    #[must_use]
    pub const fn is_share(self) -> bool {
        matches!(self, Self::ShareOfBars | Self::ShareOfTime | Self::ShareOfPlayerTime | Self::ShareOfNotes | Self::ShareOfPiece)
    }
}

/// Under what a value stands.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Key {
    /// Name of the measure.
    pub measure: String,
    /// Whom it is about.
    pub of: Whom,
    /// The other body, where two are compared.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub with: Option<Whom>,
    /// Which side of the measure.
    pub aspect: String,
    /// In what it is counted.
    pub unit: Counted,
}

/// How the values of the cues of one work become one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Within {
    /// Their mean, weighted by time.
    Mean,
    /// The least of them.
    Least,
    /// The greatest of them.
    Most,
}

/// What it means that a score has no value under a key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Absent {
    /// Nothing is known: the question does not arise there.
    Unknown,
    /// Zero, where the bodies sound.
    ZeroWhereTheySound,
    /// Zero, where the measure has another share of the same whole for the same bodies.
    ZeroBesideOthers,
}

impl Key {
    /// Whether the value is one event, the extreme of a piece: the longer the piece, the farther out it lies.
    #[must_use]
    pub fn is_extreme(&self) -> bool {
        const BEGINS: [&str; 7] = ["lowest", "highest", "widest", "deepest", "longest", "first entry", "last note"];
        BEGINS.iter().any(|begin| self.aspect.starts_with(begin))
            || self.aspect.contains("thinnest")
            || self.aspect.contains("thickest")
    }

    /// Whether another value of the same measure tells a musician the same more plainly: the edge of a register beside its median, numbers of
    /// notes beside shares, what is left without the bass.
    #[must_use]
    pub fn is_secondary(&self) -> bool {
        const BEGINS: [&str; 2] = ["middle half", "median rest"];
        const ENDS: [&str; 3] = ["bass left out", "in part", "players per line"];
        BEGINS.iter().any(|begin| self.aspect.starts_with(begin))
            || ENDS.iter().any(|end| self.aspect.ends_with(end))
            || matches!(self.unit, Counted::PerHundredCrotchets | Counted::ShareOfPiece | Counted::ShareOfPlayerTime)
            || matches!(self.aspect.as_str(), "exits" | SEVERAL)
    }

    /// How much a value tells of scoring, 0 to 1, by convention: who leads and supports the melody, who does what, how the groups stand together come before
    /// counts of entries and shares of single marks, and those before what the file leaves open.
    #[must_use]
    pub fn interest(&self) -> f64 {
        let aspect = self.aspect.as_str();
        match self.measure.as_str() {
            _ if matches!(aspect, "unmarked" | "silence" | "exits" | "tacet") => 0.1,
            "chord_voicing" if self.unit == Counted::Players => 0.2,
            // What drums do beside the music of the others is soon said.
            "role_shares" | "sharing" if self.of.family == "percussion" || self.of.name == "percussion" => 0.25,
            "melody_support" | "role_shares" | "separation" | "stack" | "brass_weight" | "sharing" => 1.0,
            "presence" if matches!(aspect, "bars" | "player-time") => 0.9,
            "reserve" | "cohesion" | "hand_offs" => 0.9,
            "doubled_sections" if aspect.starts_with("same notes") || aspect == "any interval" => 0.9,
            "tessitura" if aspect.starts_with("median") => 0.9,
            "thickened_lines" | "doubled_sections" => 0.6,
            "dynamics" if aspect.starts_with("median") => 0.7,
            "chord_voicing" => 0.5,
            "entries" | "density" => 0.4,
            "dynamics" => 0.25,
            _ => 0.4,
        }
    }

    pub(crate) fn within_work(&self) -> Within {
        let starts = |words: &[&str]| words.iter().any(|word| self.aspect.starts_with(word));
        if starts(&["lowest", "deepest"]) || self.aspect.contains("thinnest") {
            Within::Least
        } else if starts(&["highest", "widest", "longest"]) || self.aspect.contains("thickest") {
            Within::Most
        } else {
            Within::Mean
        }
    }

    pub(crate) fn absent(&self) -> Absent {
        let share = self.unit.is_share();
        match self.measure.as_str() {
            "role_shares" | "dynamics" | "stack" | "sharing" | "brass_weight" | "chord_voicing" if share => {
                Absent::ZeroBesideOthers
            }
            "cohesion" if self.aspect.contains(" against ") => Absent::ZeroBesideOthers,
            "reserve" if self.aspect.starts_with("enters with") => Absent::ZeroBesideOthers,
            "reserve" if self.unit == Counted::PerHundredBars => Absent::ZeroWhereTheySound,
            "doubled_sections" | "melody_support" if share => Absent::ZeroWhereTheySound,
            "hand_offs" => Absent::ZeroWhereTheySound,
            "thickened_lines" if matches!(self.unit, Counted::ShareOfPiece | Counted::PerHundredCrotchets) => {
                Absent::ZeroWhereTheySound
            }
            "thickened_lines" if self.aspect == "share of the tune" => Absent::ZeroWhereTheySound,
            _ => Absent::Unknown,
        }
    }

    /// The whole that shares of one measure are of, where one that is missing is zero; `None` for a value that is no such share.
    pub(crate) fn whole(&self) -> Option<&'static str> {
        if !self.unit.is_share() {
            return None;
        }
        match self.measure.as_str() {
            "cohesion" if self.aspect == "together" || self.aspect.contains(" against ") => Some("several lines"),
            "reserve" if self.aspect.starts_with("enters with") => Some("entries"),
            "role_shares" | "dynamics" | "stack" | "sharing" | "brass_weight" | "chord_voicing" => Some("all"),
            _ => None,
        }
    }
}

/// The unit of a profile for a value of a measure.
pub(crate) fn counted(measure: &str, aspect: &str, unit: Unit) -> Counted {
    match unit {
        Unit::ShareOfBars => Counted::ShareOfBars,
        Unit::ShareOfTime => Counted::ShareOfTime,
        Unit::ShareOfPlayerTime => Counted::ShareOfPlayerTime,
        Unit::ShareOfNotes => Counted::ShareOfNotes,
        Unit::Bars if aspect == "tutti bars" => Counted::PerHundredBars,
        Unit::Bars => Counted::Bars,
        Unit::Crotchets => Counted::ShareOfPiece,
        Unit::Semitones => Counted::Semitones,
        Unit::Key => Counted::Key,
        // Density counts what sounds at a moment, which no length changes.
        Unit::Count if measure == "density" => Counted::Count,
        Unit::Count if matches!(aspect, "attacks" | "notes") => Counted::PerHundredCrotchets,
        Unit::Count => Counted::PerHundredBars,
        Unit::Players => Counted::Players,
        Unit::Ratio => Counted::Ratio,
        Unit::PerSecond => Counted::PerSecond,
        Unit::Level => Counted::Level,
    }
}
