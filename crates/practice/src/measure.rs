//! What a measure is: a number with its unit, its definition and the bars behind it.

use ripieno_score::Score;

use crate::groups::{Group, Groups};
use crate::material::Material;

/// Whom a value is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// The whole score.
    Everybody,
    /// A family, index into [`Groups::families`].
    Family(usize),
    /// A section, index into [`Groups::sections`].
    Section(usize),
    /// A group a person has named, index into [`Groups::named`].
    Named(usize),
    /// A part, index into [`Score::parts`].
    Part(usize),
}

impl Subject {
    /// "family", "section", "group", "part", "score".
    #[must_use]
    pub const fn kind(self) -> &'static str {
        match self {
            Self::Everybody => "score",
            Self::Family(_) => "family",
            Self::Section(_) => "section",
            Self::Named(_) => "group",
            Self::Part(_) => "part",
        }
    }

    /// Its name: "horns", "brass", the part's name, "everybody".
    #[must_use]
    pub fn name(self, score: &Score, groups: &Groups) -> String {
        let group = |groups: &[Group], index: usize| groups.get(index).map_or("", |group| group.name).to_owned();
        match self {
            Self::Everybody => "everybody".to_owned(),
            Self::Family(index) => group(&groups.families, index),
            Self::Section(index) => group(&groups.sections, index),
            Self::Named(index) => groups.named.get(index).map_or(String::new(), |group| group.name.clone()),
            Self::Part(index) => score.parts.get(index).map_or(String::new(), |part| part.name.trim().to_owned()),
        }
    }

    /// Its parts, in page order.
    #[must_use]
    pub fn parts(self, score: &Score, groups: &Groups) -> Vec<usize> {
        let group = |groups: &[Group], index: usize| groups.get(index).map_or_else(Vec::new, |group| group.parts.clone());
        match self {
            Self::Everybody => (0..score.parts.len()).collect(),
            Self::Family(index) => group(&groups.families, index),
            Self::Section(index) => group(&groups.sections, index),
            Self::Named(index) => groups.named.get(index).map_or_else(Vec::new, |group| group.parts.clone()),
            Self::Part(index) => vec![index],
        }
    }
}

/// In what a value is counted. Shares lie in 0 to 1 and say of what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Unit {
    /// Share of the played bars asked about.
    ShareOfBars,
    /// Share of the time asked about, in crotchets.
    ShareOfTime,
    /// Share of time times players, in crotchets.
    ShareOfPlayerTime,
    /// Share of notes asked about.
    ShareOfNotes,
    /// Played bars.
    Bars,
    /// Time in crotchets.
    Crotchets,
    /// Semitones.
    Semitones,
    /// MIDI key, 60 being middle C.
    Key,
    /// Things counted.
    Count,
    /// People, as the page prints them.
    Players,
    /// A quotient of players.
    Ratio,
    /// Events a second, at the printed tempo.
    PerSecond,
    /// Steps of printed dynamics ([`ripieno_score::DynamicLevel`]).
    Level,
}

impl Unit {
    /// The unit in words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ShareOfBars => "share of bars",
            Self::ShareOfTime => "share of time",
            Self::ShareOfPlayerTime => "share of player-time",
            Self::ShareOfNotes => "share of notes",
            Self::Bars => "bars",
            Self::Crotchets => "crotchets",
            Self::Semitones => "semitones",
            Self::Key => "MIDI key",
            Self::Count => "count",
            Self::Players => "players",
            Self::Ratio => "ratio",
            Self::PerSecond => "per second",
            Self::Level => "dynamic step",
        }
    }
}

/// One number.
#[derive(Debug, Clone, PartialEq)]
pub struct Value {
    /// Whom it is about.
    pub of: Subject,
    /// The other group, where two are compared.
    pub with: Option<Subject>,
    /// Which side of the measure: "overlapping", "melody", "widest gap"; empty where there is only one.
    pub aspect: String,
    /// The number.
    pub value: f64,
    /// What it is counted in.
    pub unit: Unit,
    /// The played bars behind it, ascending, each once.
    pub bars: Vec<u32>,
}

/// What of a measure a chart can tell, which knows who plays when and in what role, but no pitch and no attack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnChart {
    /// All of it.
    Whole,
    /// All but this: "without attacks".
    Without(&'static str),
    /// Nothing: it is about pitches or attacks.
    Not,
}

/// A measure as the register lists it: one source for report, page, tables and documentation.
#[derive(Debug, Clone, Copy)]
pub struct Measure {
    /// Name in tables, lower case with underscores.
    pub name: &'static str,
    /// Heading.
    pub title: &'static str,
    /// What it tells a musician, one sentence.
    pub says: &'static str,
    /// How it is counted, exactly.
    pub definition: &'static str,
    /// Whose idea it is: a source, or "common practice".
    pub source: &'static str,
    /// An example from the demo overture, with bars.
    pub example: &'static str,
    /// What of it a chart can tell.
    pub on_chart: OnChart,
    /// Takes it.
    pub take: fn(&Material<'_>) -> Vec<Value>,
}

impl PartialEq for Measure {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

/// A measure with its values.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken {
    /// The measure.
    pub measure: &'static Measure,
    /// Its values, in a fixed order.
    pub values: Vec<Value>,
}
