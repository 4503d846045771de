//! Whom a word means among the parts of a score: a section, a family, an instrument, a part by its name or place.
//!
//! Every place that lets a person name players asks here, so that one word means the same in all of them.

use std::fmt;

use ripieno_score::Part;

use crate::catalogue::{Instrument, Language, catalogue};
use crate::family::{Family, Section};
use crate::printed::is_same_name;

/// A part, as far as its being called goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chair<'a> {
    /// Name as printed.
    pub name: &'a str,
    /// Abbreviation as printed; may be empty.
    pub abbreviation: &'a str,
    /// The catalogue's id of what it plays; empty if unknown.
    pub instrument: &'a str,
}

impl<'a> From<&'a Part> for Chair<'a> {
    fn from(part: &'a Part) -> Self {
        Self { name: &part.name, abbreviation: &part.abbreviation, instrument: &part.instrument_id }
    }
}

/// Nobody is called so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Nobody {
    /// What was asked for.
    pub asked: String,
    /// Sections there are, in the order of the page.
    pub sections: Vec<&'static str>,
}

impl fmt::Display for Nobody {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the score has nobody called “{}”; it has {}, and each part by its name or its place from the top",
            self.asked,
            self.sections.join(", ")
        )
    }
}

impl std::error::Error for Nobody {}

/// The parts a word means, as indices in order; whatever the case. The first of these that fits somebody:
///
/// 1. in quotation marks, words of a part's printed name and nothing else;
/// 2. "everybody", "all", "orchestra";
/// 3. a part's whole name or abbreviation, as the file has it or as scores print it ("F Trumpet 1", "Trumpet 1 in F");
/// 4. a place from the top of the page, "3";
/// 5. a family ("brass", "winds") or a section ("horns", "horn"); "basses" are singers where there are any, else double basses;
/// 6. an instrument in any of the catalogue's languages, in the singular or plural ("Hörner", "english horns");
/// 7. the beginning of printed names, or whole words in them ("Violin I", "in F").
///
/// # Errors
/// When nobody is called so, with the sections there are.
pub fn called(chairs: &[Chair<'_>], text: &str) -> Result<Vec<usize>, Nobody> {
    let bare = text.trim().trim_matches(['\'', '"', '\u{2018}', '\u{2019}', '\u{201c}', '\u{201d}']).trim();
    let plain = bare.to_lowercase();
    let is_quoted = bare.len() < text.trim().len();
    let instruments: Vec<Option<&Instrument>> = chairs.iter().map(|chair| catalogue().by_id(chair.instrument)).collect();
    let those = |holds: &dyn Fn(usize) -> bool| -> Vec<usize> { (0..chairs.len()).filter(|&at| holds(at)).collect() };
    let playing = |holds: &dyn Fn(&Instrument) -> bool| those(&|at| instruments[at].is_some_and(holds));
    let words = || {
        let wanted = format!(" {plain} ");
        those(&|at| format!(" {} ", chairs[at].name.to_lowercase()).contains(&wanted))
    };
    let beginning = || those(&|at| chairs[at].name.to_lowercase().starts_with(&plain));
    let printed = || {
        let is = |known: &str| !known.is_empty() && (known.to_lowercase() == plain || is_same_name(known, bare));
        those(&|at| is(chairs[at].name) || is(chairs[at].abbreviation))
    };
    let found = match plain.as_str() {
        "" => Vec::new(),
        _ if is_quoted => first_of(&[&words, &beginning]),
        "everybody" | "everyone" | "all" | "orchestra" => (0..chairs.len()).collect(),
        _ => first_of(&[
            &printed,
            &|| {
                plain
                    .parse::<usize>()
                    .ok()
                    .filter(|place| (1..=chairs.len()).contains(place))
                    .map(|place| place - 1)
                    .into_iter()
                    .collect()
            },
            &|| family(&plain).map_or_else(Vec::new, |family| playing(&|one| one.family == family)),
            &|| {
                sections(&plain)
                    .into_iter()
                    .map(|section| playing(&|one| one.section == section))
                    .find(|found| !found.is_empty())
                    .unwrap_or_default()
            },
            &|| {
                let ids: Vec<&str> =
                    catalogue().all().iter().filter(|one| is_name(one, &plain)).map(|one| one.id.as_str()).collect();
                playing(&|one| ids.iter().any(|id| one.is_kind_of(id)))
            },
            &beginning,
            &words,
        ]),
    };
    if found.is_empty() {
        let mut sections: Vec<&'static str> = Vec::new();
        for name in instruments.iter().map(|one| one.map_or(Section::Others, |one| one.section).name()) {
            if !sections.contains(&name) {
                sections.push(name);
            }
        }
        return Err(Nobody { asked: bare.to_owned(), sections });
    }
    Ok(found)
}

/// What the first of these finds that finds anything.
fn first_of(ways: &[&dyn Fn() -> Vec<usize>]) -> Vec<usize> {
    ways.iter().map(|way| way()).find(|found| !found.is_empty()).unwrap_or_default()
}

fn family(plain: &str) -> Option<Family> {
    match plain {
        "woodwinds" | "winds" => Some(Family::Woodwind),
        "singers" | "voices" => Some(Family::Voice),
        "keyboards" => Some(Family::Keyboard),
        other => Family::ALL.iter().copied().find(|family| family.name() == other),
    }
}

/// Sections a word names, the likelier first.
fn sections(plain: &str) -> Vec<Section> {
    if plain == "basses" {
        return vec![Section::Basses, Section::DoubleBasses];
    }
    let named = Section::ALL.iter().copied().find(|section| {
        // "horn" for the horns: the instrument the section is called after.
        let after = catalogue()
            .all()
            .iter()
            .find(|one| one.section == *section && one.names(Language::English).plural.eq_ignore_ascii_case(section.name()));
        section.name() == plain || after.is_some_and(|one| one.names(Language::English).singular.to_lowercase() == plain)
    });
    named.into_iter().collect()
}

fn is_name(one: &Instrument, plain: &str) -> bool {
    Language::ALL.into_iter().any(|language| {
        let names = one.names(language);
        let all = [&names.singular, &names.plural].into_iter();
        all.chain(&names.variants).chain(&names.plural_variants).any(|name| name.to_lowercase() == plain)
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;

    const PAGE: [(&str, &str, &str); 9] = [
        ("Flute", "Fl.", "flute"),
        ("Piccolo", "Picc.", "piccolo"),
        ("Horn 1.2 in F", "Hn. 1.2", "horn"),
        ("Horn 3.4 in F", "Hn. 3.4", "horn"),
        ("Trumpet", "Tpt.", "trumpet"),
        ("Violin I", "Vl. I", "violin"),
        ("Violin II", "Vl. II", "violin"),
        ("Double bass", "Db.", "double-bass"),
        ("Wind machine", "", ""),
    ];

    fn chairs() -> Vec<Chair<'static>> {
        PAGE.iter().map(|&(name, abbreviation, instrument)| Chair { name, abbreviation, instrument }).collect()
    }

    #[test]
    fn one_word_means_the_same_everywhere() {
        let all = chairs();
        let ids: Vec<bool> = all.iter().map(|chair| catalogue().by_id(chair.instrument).is_some()).collect();
        assert_eq!(ids.iter().filter(|known| !**known).count(), 1, "{ids:?}");
        let told = |text: &str| called(&all, text).unwrap();
        assert_eq!(told("brass"), [2, 3, 4]);
        assert_eq!(told("horns"), [2, 3]);
        assert_eq!(told("Horn"), [2, 3]);
        assert_eq!(told("Hörner"), [2, 3]);
        assert_eq!(told("flutes"), [0, 1]);
        assert_eq!(told("flute"), [0], "printed so");
        assert_eq!(told("piccolo"), [1]);
        assert_eq!(told("hn. 3.4"), [3]);
        assert_eq!(told("3"), [2]);
        assert_eq!(told("violin i"), [5]);
        assert_eq!(told("Violin"), [5, 6]);
        assert_eq!(told("'Violin II'"), [6]);
        assert_eq!(told("basses"), [7]);
        assert_eq!(told("in F"), [2, 3]);
        assert_eq!(told("wind"), [8]);
        assert_eq!(told("all").len(), 9);
    }

    #[test]
    fn nobody_is_told_with_who_is_there() {
        let error = called(&chairs(), "tubas").unwrap_err();
        assert!(error.to_string().contains("flutes, horns, trumpets, violins, double basses, others"), "{error}");
        assert!(called(&chairs(), " ").is_err() && called(&[], "horns").is_err());
    }
}
