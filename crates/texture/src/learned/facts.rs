//! What a part's name tells the model: family, section, chair.
//!
//! What the catalogue makes of the name decides, so that every language and every way of writing says the same; a part of which a file tells
//! nothing but notes has no family.

use std::collections::BTreeMap;

use ripieno_instruments::catalogue::catalogue;
use ripieno_instruments::recognise::{Clues, recognise};
use ripieno_score::{Part, PartInstrument};

/// Family of instruments, in the model's order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Family {
    Woodwind,
    Brass,
    Percussion,
    Strings,
    Voice,
    Other,
}

/// One part's standing in the orchestra.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PartFacts {
    /// For the features that count families.
    pub family: Family,
    /// The family whose vector the network adds; named parts differ from `family` in a few voices only.
    pub network_family: Family,
    /// Parts of equal section are desk mates.
    pub section: String,
    /// Number of the chair, at most 3; 1 if none, and where nothing tells.
    pub player: usize,
    /// A second or fourth chair.
    pub second: bool,
    /// Drums and cymbals.
    pub unpitched: bool,
}

fn any(name: &str, words: &[&str]) -> bool {
    words.iter().any(|word| name.contains(word))
}

/// What tells what a part is.
enum Known {
    /// Its name, which has these numbers.
    Named(Vec<u16>),
    /// A program or sound of its file, behind a name like "Track 3".
    Sounded,
    /// Its compass at best.
    Guessed,
}

impl Known {
    fn of(part: &Part) -> Self {
        let named = recognise(&Clues { name: &part.name, ..Clues::default() });
        // Program 1 is what files have when nobody chose.
        let sounds = |instrument: &PartInstrument| {
            !instrument.sound.is_empty()
                || instrument.channel == Some(10)
                || instrument.program.is_some_and(|program| program > 1)
        };
        if !named.fallback || family(&part.name.to_lowercase()) != Family::Other {
            Self::Named(named.numbers)
        } else if part.instruments.first().is_some_and(sounds) {
            Self::Sounded
        } else {
            Self::Guessed
        }
    }
}

/// Whether nothing but its compass and clef tells what `part` is.
pub(crate) fn is_guessed(part: &Part) -> bool {
    matches!(Known::of(part), Known::Guessed)
}

impl PartFacts {
    /// The facts of all parts of a score. What a name says counts, in whatever language the catalogue has; chairs of parts that only a program
    /// tells are counted from the top.
    pub fn of_all(parts: &[Part]) -> Vec<Self> {
        let mut seats: BTreeMap<&str, usize> = BTreeMap::new();
        parts
            .iter()
            .map(|part| {
                let seat = seats.entry(&part.instrument_id).or_default();
                *seat += 1;
                Self::of(part, *seat)
            })
            .collect()
    }

    /// `seat` counts the parts of its instrument from the top of the score.
    fn of(part: &Part, seat: usize) -> Self {
        let name = part.name.to_lowercase();
        let mut facts = Self {
            family: Family::Other,
            network_family: Family::Other,
            section: part.instrument_id.clone(),
            player: 1,
            second: false,
            unpitched: any(&name, &["drum", "cymbal", "triangle"]),
        };
        match Known::of(part) {
            Known::Named(printed) => {
                let digits = name.split(|c: char| !c.is_ascii_digit()).filter_map(|digits| digits.parse::<u16>().ok());
                let digits: Vec<u16> = digits.collect();
                let chairs = if digits.is_empty() { printed } else { digits };
                if part.instrument_id.is_empty() || name.contains("solo") || name.contains("choir") {
                    facts.section = name.trim_end_matches(|c: char| c.is_ascii_digit() || c.is_whitespace()).to_owned();
                }
                // The last digit, as in training.
                facts.player = chairs.last().map_or(1, |chair| usize::from(chair % 10).min(3));
                facts.second = chairs.iter().any(|chair| matches!(chair % 10, 2 | 4 | 6 | 8));
            }
            Known::Sounded => (facts.player, facts.second) = (seat.min(3), seat.is_multiple_of(2)),
            // A family guessed wrongly costs more than none (docs/roles-figures.md, How much hangs on the file).
            Known::Guessed => return facts,
        }
        (facts.family, facts.network_family) = families(part, &name);
        facts
    }
}

/// Family for counting, and for the network: the catalogue's, else what the words of the name or of the instrument's id say.
fn families(part: &Part, name: &str) -> (Family, Family) {
    use ripieno_instruments::family::Family as Catalogued;
    let of_catalogue = match catalogue().by_id(&part.instrument_id).map(|instrument| instrument.family) {
        Some(Catalogued::Woodwind) => Some(Family::Woodwind),
        Some(Catalogued::Brass) => Some(Family::Brass),
        Some(Catalogued::Percussion) => Some(Family::Percussion),
        Some(Catalogued::Strings) => Some(Family::Strings),
        Some(Catalogued::Voice) => Some(Family::Voice),
        _ => None,
    };
    let id = part.instrument_id.replace('-', " ");
    let by_words = |judge: fn(&str) -> Family| match judge(name) {
        Family::Other => judge(&id),
        known => known,
    };
    (of_catalogue.unwrap_or_else(|| by_words(family)), of_catalogue.unwrap_or_else(|| by_words(network_family)))
}

fn family(n: &str) -> Family {
    if any(n, &["choir", "solo", "soprano", "baritone"]) {
        return Family::Voice;
    }
    if any(n, &["timp", "drum", "cymbal", "triangle", "glock", "tambour"]) {
        return Family::Percussion;
    }
    let woodwind = [
        "flute",
        "piccolo",
        "oboe",
        "clarinet",
        "bassoon",
        "fagott",
        "traverso",
        "english",
        "corno inglese",
        "oboi",
        "flauto",
        "flauti",
        "d'amore",
    ];
    if any(n, &woodwind) {
        return Family::Woodwind;
    }
    if any(n, &["horn", "trumpet", "tromba", "trombone", "tuba", "corno", "posaune", "cornet"]) {
        return Family::Brass;
    }
    if ["alto", "tenor", "bass", "s1", "s2", "s", "a", "t", "b"].contains(&n.trim()) {
        return Family::Voice;
    }
    if any(n, &["violin", "viola", "cello", "bass", "violone", "vln"]) { Family::Strings } else { Family::Other }
}

fn network_family(n: &str) -> Family {
    if any(n, &["timp", "drum", "cymbal", "triangle", "percussion"]) {
        return Family::Percussion;
    }
    let voice = ["soprano", "alto", "tenor", "baritone"].iter().any(|word| n.starts_with(word));
    if any(n, &["choir", "solo"]) || (voice && !n.contains("trombone")) || ["bass", "bass 1", "bass 2"].contains(&n) {
        return Family::Voice;
    }
    let piccolo = n.contains("piccolo") && !n.contains("trumpet");
    if piccolo || any(n, &["english", "inglese", "oboe", "flute", "traverso", "clarinet", "bassoon", "fagott"]) {
        return Family::Woodwind;
    }
    if any(n, &["trombone", "tuba", "posaune", "trumpet", "tromba", "cornet", "clarino", "horn", "corno"]) {
        return Family::Brass;
    }
    if n == "basso" || any(n, &["cello", "contrabass", "doublebass", "violone", "viola", "violin"]) {
        return Family::Strings;
    }
    Family::Other
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts(name: &str, id: &str, program: Option<u8>) -> PartFacts {
        let instruments = vec![PartInstrument { program, ..PartInstrument::default() }];
        let part = Part { name: name.to_owned(), instrument_id: id.to_owned(), instruments, ..Part::default() };
        PartFacts::of_all(&[part]).remove(0)
    }

    #[test]
    fn names_give_family_section_and_chair() {
        let horn = facts("F (alto) Horn 4", "horn", None);
        assert_eq!((horn.family, horn.section.as_str(), horn.player, horn.second), (Family::Brass, "horn", 3, true));
        assert_eq!(facts("English Horn", "english-horn", None).network_family, Family::Woodwind);
        assert!(facts("Bass Drum", "bass-drum", None).unpitched);
        assert_eq!(facts("tenorchoir", "choir", None).section, "tenorchoir");
    }

    #[test]
    fn every_language_says_the_same() {
        for (id, names) in [("viola", ["Viola", "Bratsche", "Alto"]), ("horn", ["Horn II in F", "Corno II", "Cor II"])] {
            let told = names.map(|name| facts(name, id, None));
            assert!(told.iter().all(|facts| facts == &told[0]), "{told:?}");
        }
        assert_eq!(facts("Cor II", "horn", None).player, 2);
    }

    #[test]
    fn a_name_that_tells_nothing_gives_way_to_the_program_and_a_guess_to_nothing() {
        let flute = |at: usize| Part {
            name: format!("Track {}", at + 3),
            instrument_id: "flute".to_owned(),
            instruments: vec![PartInstrument { program: Some(74), ..PartInstrument::default() }],
            ..Part::default()
        };
        let told = PartFacts::of_all(&[flute(0), flute(1)]);
        assert_eq!((told[1].family, told[1].player, told[1].second, told[0].player), (Family::Woodwind, 2, true, 1));
        let guessed = facts("Track 3", "flute", None);
        assert_eq!((guessed.family, guessed.player), (Family::Other, 1));
    }
}
