//! Which parts a name means: sections, families, instruments, parts of the score.

use std::collections::BTreeSet;

use ripieno_instruments::{Family, Language, Section, catalogue};
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

/// The parts that a name means in this score: a section, a family, an instrument in the singular or plural, or a part by words
/// of its name. A name that is a section's means the section; "basses" are singers where the score has them.
///
/// # Errors
/// One sentence when the score has nobody of that name.
pub fn parts_named(score: &Score, name: &str) -> Result<BTreeSet<usize>, String> {
    let plain = name.trim().trim_matches(['\'', '"', '\u{2018}', '\u{2019}', '\u{201c}', '\u{201d}']).to_lowercase();
    let quoted = plain.len() < name.trim().len();
    let instruments: Vec<_> = score.parts.iter().map(|part| catalogue().by_id(&part.instrument_id)).collect();
    let where_ = |holds: &dyn Fn(&ripieno_instruments::Instrument) -> bool| -> BTreeSet<usize> {
        (0..instruments.len()).filter(|&part| instruments[part].is_some_and(holds)).collect()
    };
    let known = !quoted && !plain.is_empty();
    let mut found = BTreeSet::new();
    if known {
        let family = match plain.as_str() {
            "woodwinds" | "winds" => Some(Family::Woodwind),
            "singers" | "voices" => Some(Family::Voice),
            "keyboards" => Some(Family::Keyboard),
            other => Family::ALL.iter().copied().find(|family| family.name() == other),
        };
        let section = Section::ALL.iter().copied().find(|section| is_name_of(&plain, *section));
        found = match (plain.as_str(), family, section) {
            ("everybody" | "everyone" | "orchestra" | "all", ..) => (0..score.parts.len()).collect(),
            ("basses", ..) => {
                let singers = where_(&|one| one.section == Section::Basses);
                if singers.is_empty() { where_(&|one| one.section == Section::DoubleBasses) } else { singers }
            }
            (_, Some(family), _) => where_(&|one| one.family == family),
            (_, None, Some(section)) => where_(&|one| one.section == section),
            _ => {
                let means = |one: &ripieno_instruments::Instrument| {
                    let english = one.names(Language::English);
                    let all = [&english.singular, &english.plural].into_iter();
                    all.chain(&english.variants).chain(&english.plural_variants).any(|text| text.to_lowercase() == plain)
                };
                let ids: Vec<&str> = catalogue().all().iter().filter(|one| means(one)).map(|one| one.id.as_str()).collect();
                where_(&|one| ids.iter().any(|id| one.is_kind_of(id)))
            }
        };
    }
    if found.is_empty() && !plain.is_empty() {
        let named = |part: &ripieno_score::Part| format!(" {} ", part.name.to_lowercase()).contains(&format!(" {plain} "));
        found = (0..score.parts.len()).filter(|&part| named(&score.parts[part])).collect();
    }
    if found.is_empty() {
        let all: BTreeSet<usize> = (0..score.parts.len()).collect();
        let names: Vec<String> = gather(score, &all, Gather::Sections).into_iter().map(|group| group.name).collect();
        return Err(format!("the score has nobody called “{}”; it has {}", name.trim(), names.join(", ")));
    }
    Ok(found)
}

/// Whether the text is the section's name, or the singular of the instrument it is called after.
fn is_name_of(text: &str, section: Section) -> bool {
    let named_after = || {
        catalogue()
            .all()
            .iter()
            .find(|one| one.section == section && one.names(Language::English).plural.eq_ignore_ascii_case(section.name()))
    };
    text == section.name() || named_after().is_some_and(|one| one.names(Language::English).singular.to_lowercase() == text)
}
