//! Which parts a name means: sections, families, instruments, parts of the score.

use std::collections::BTreeSet;

use ripieno_instruments::{Chair, Family, Section, called, catalogue};
use ripieno_score::Score;

/// Parts that are heard, and switched, together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Name: "horns", "brass", or the part's own.
    pub name: String,
    /// Its parts, indices into [`Score::parts`].
    pub parts: Vec<usize>,
}

/// How parts are gathered into groups.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Gather {
    /// The players of one kind of instrument.
    #[default]
    Sections,
    /// Woodwind, brass, percussion, strings ...
    Families,
    /// Every part by itself.
    Parts,
}

/// Gathers these parts into groups, in the order of the page. Groups of one name are one.
#[must_use]
pub fn gather(score: &Score, parts: &BTreeSet<usize>, by: Gather) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for &part in parts {
        let Some(of) = score.parts.get(part) else { continue };
        let known = catalogue().by_id(&of.instrument_id);
        let name = match by {
            Gather::Sections => known.map_or(Section::Others, |one| one.section).name().to_owned(),
            Gather::Families => known.map_or(Family::Other, |one| one.family).name().to_owned(),
            Gather::Parts => format!("{} {}", part + 1, of.name),
        };
        match groups.iter_mut().find(|group| group.name == name) {
            Some(group) => group.parts.push(part),
            None => groups.push(Group { name, parts: vec![part] }),
        }
    }
    groups
}

/// The parts that a name means in this score; see [`called`](ripieno_instruments::called::called).
///
/// # Errors
/// One sentence when the score has nobody of that name.
pub fn parts_named(score: &Score, name: &str) -> Result<BTreeSet<usize>, String> {
    let chairs: Vec<Chair<'_>> = score.parts.iter().map(Chair::from).collect();
    let found = called(&chairs, name).map_err(|nobody| nobody.to_string())?;
    Ok(found.into_iter().collect())
}
