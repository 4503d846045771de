//! What a remedy does to the colour of a line: whether who joins it is of its own kind, of those that usually double it, or a stranger.

use std::sync::LazyLock;

use ripieno_instruments::{Instrument, catalogue};

use crate::data::rows;

/// How near the colour of who joins a line is to that of the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kinship {
    /// Of the same section: its own colour, fuller.
    Own,
    /// Of a section that usually doubles it; what that does to the line (`data/doublings.csv`).
    Usual(&'static str),
    /// Of the same family.
    Family,
    /// Of another family, and no usual doubling: the line changes its colour.
    Foreign,
}

impl Kinship {
    /// What becomes of the colour of the line, in words.
    #[must_use]
    pub const fn told(self) -> &'static str {
        match self {
            Self::Own => "keeps the colour of the line",
            Self::Usual(effect) => effect,
            Self::Family => "mixes the line with another colour of its family",
            Self::Foreign => "gives the line another colour",
        }
    }

    /// Whether it is a doubling of the repertoire.
    #[must_use]
    pub const fn is_usual(self) -> bool {
        matches!(self, Self::Usual(_))
    }
}

struct Doubling {
    line: String,
    joined_by: String,
    effect: String,
}

static DOUBLINGS: LazyLock<Vec<Doubling>> = LazyLock::new(|| {
    rows("doublings.csv", include_str!("../../data/doublings.csv"))
        .iter()
        .map(|row| Doubling {
            line: row.text("line").into(),
            joined_by: row.text("joined_by").into(),
            effect: row.text("effect").into(),
        })
        .collect()
});

/// How near an instrument of the catalogue that joins is to the one that has the line.
#[must_use]
pub fn kinship(line: &str, joins: &str) -> Kinship {
    let (Some(line), Some(joins)) = (catalogue().by_id(line), catalogue().by_id(joins)) else { return Kinship::Foreign };
    if line.section == joins.section {
        return Kinship::Own;
    }
    let section = |of: &Instrument| of.section.name();
    let usual = DOUBLINGS.iter().find(|row| row.line == section(line) && row.joined_by == section(joins));
    match usual {
        Some(doubling) => Kinship::Usual(&doubling.effect),
        None if line.family == joins.family => Kinship::Family,
        None => Kinship::Foreign,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_instruments::Section;

    #[test]
    fn every_row_names_sections_that_exist_once() {
        let known = |name: &str| Section::ALL.iter().any(|section| section.name() == name);
        let mut pairs: Vec<(&str, &str)> = DOUBLINGS.iter().map(|row| (row.line.as_str(), row.joined_by.as_str())).collect();
        assert!(pairs.iter().all(|(a, b)| known(a) && known(b) && a != b));
        pairs.sort_unstable();
        assert!(pairs.windows(2).all(|pair| pair[0] != pair[1]));
    }

    #[test]
    fn a_trumpet_is_a_stranger_to_a_flute_and_an_oboe_is_not() {
        assert_eq!(kinship("flute", "piccolo"), Kinship::Own);
        assert!(kinship("flute", "oboe").is_usual() && kinship("horn", "cello").is_usual());
        assert_eq!(kinship("flute", "trumpet"), Kinship::Foreign);
        assert_eq!(kinship("trumpet", "tuba"), Kinship::Family);
        assert!(kinship("flute", "oboe") < kinship("flute", "trumpet"));
    }
}
