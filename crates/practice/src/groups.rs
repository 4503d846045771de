//! Parts gathered into sections and families, by the instrument catalogue.

use ripieno_instruments::called::{Chair, called};
use ripieno_instruments::catalogue::{Instrument, catalogue};
use ripieno_instruments::family::{Family, Section};
use ripieno_score::Score;

/// What a part plays, as far as the catalogue tells.
#[derive(Debug, Clone, Copy)]
pub struct PartIdentity {
    /// The instrument at the start of the part; `None` when it was not recognised.
    pub instrument: Option<&'static Instrument>,
    /// Its family; [`Family::Other`] when not recognised.
    pub family: Family,
    /// Its section.
    pub section: Section,
}

impl PartIdentity {
    fn of(id: &str) -> Self {
        let instrument = catalogue().by_id(id);
        Self {
            instrument,
            family: instrument.map_or(Family::Other, |instrument| instrument.family),
            section: instrument.map_or(Section::Others, |instrument| instrument.section),
        }
    }
}

/// Parts that belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Name, lower case: "horns", "brass".
    pub name: &'static str,
    /// Family it lies in.
    pub family: Family,
    /// Its parts, indices into [`Score::parts`], in page order.
    pub parts: Vec<usize>,
}

/// How the parts of a score group.
#[derive(Debug, Clone, Default)]
pub struct Groups {
    /// What each part is.
    pub parts: Vec<PartIdentity>,
    /// Sections in the order they first appear on the page.
    pub sections: Vec<Group>,
    /// Families likewise.
    pub families: Vec<Group>,
    /// Groups a person has named, in the order they were named; they may share parts.
    pub named: Vec<NamedGroup>,
}

/// A group a person has named: "low brass".
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedGroup {
    /// The name.
    pub name: String,
    /// Its parts, indices into [`Score::parts`], in page order; never empty.
    pub parts: Vec<usize>,
}

impl Groups {
    /// Groups the parts of a score by their catalogue ids.
    #[must_use]
    pub fn new(score: &Score) -> Self {
        let parts: Vec<PartIdentity> = score.parts.iter().map(|part| PartIdentity::of(&part.instrument_id)).collect();
        let gather = |name_of: fn(&PartIdentity) -> &'static str| {
            let mut groups: Vec<Group> = Vec::new();
            for (index, identity) in parts.iter().enumerate() {
                let name = name_of(identity);
                match groups.iter_mut().find(|group| group.name == name && group.family == identity.family) {
                    Some(group) => group.parts.push(index),
                    None => groups.push(Group { name, family: identity.family, parts: vec![index] }),
                }
            }
            groups
        };
        let sections = gather(|identity| identity.section.name());
        let families = gather(|identity| identity.family.name());
        Self { parts, sections, families, named: Vec::new() }
    }

    /// Adds a group of a person's own: `members` are sections, families, instruments or parts, as [`called`] understands them.
    ///
    /// # Errors
    /// A sentence that says which member the score does not have and what there is, or that a group, a section or a family of this name is there already.
    pub fn name_group(&mut self, score: &Score, name: &str, members: &[String]) -> Result<(), String> {
        let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
        let built_in = || self.sections.iter().chain(&self.families).map(|group| group.name);
        if name.trim().is_empty()
            || built_in().chain(self.named.iter().map(|group| group.name.as_str())).any(|taken| same(taken, name))
        {
            return Err(format!("a group cannot be called {name:?}: the name is taken or empty"));
        }
        let chairs: Vec<Chair<'_>> = score.parts.iter().map(Chair::from).collect();
        let mut parts: Vec<usize> = Vec::new();
        for member in members {
            parts.extend(
                called(&chairs, member).map_err(|nobody| format!("the group {name:?} cannot have {member:?}: {nobody}"))?,
            );
        }
        parts.sort_unstable();
        parts.dedup();
        if parts.is_empty() {
            return Err(format!("the group {name:?} has no members"));
        }
        self.named.push(NamedGroup { name: name.trim().to_owned(), parts });
        Ok(())
    }

    /// For each part its section, index into [`Groups::sections`].
    #[must_use]
    pub fn section_of_parts(&self) -> Vec<usize> {
        by_part(&self.sections, self.parts.len())
    }

    /// For each part its family, index into [`Groups::families`].
    #[must_use]
    pub fn family_of_parts(&self) -> Vec<usize> {
        by_part(&self.families, self.parts.len())
    }
}

/// Every part lies in exactly one group.
fn by_part(groups: &[Group], parts: usize) -> Vec<usize> {
    let mut found = vec![0; parts];
    for (index, group) in groups.iter().enumerate() {
        group.parts.iter().for_each(|&part| found[part] = index);
    }
    found
}
