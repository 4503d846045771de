//! What a part's name tells the model: family, section, chair.
//!
//! The rules are those of the encoding the model was trained with, so that a name means the same to both.

use ripieno_score::Part;

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
    /// Name without key and chair number: parts of equal section are desk mates.
    pub section: String,
    /// Number of the chair, 1 if none, at most 3.
    pub player: usize,
    /// A second or fourth chair.
    pub second: bool,
    /// Drums and cymbals.
    pub unpitched: bool,
}

fn any(name: &str, words: &[&str]) -> bool {
    words.iter().any(|word| name.contains(word))
}

impl PartFacts {
    /// Reads the name of `part`; a name that says nothing gives way to the catalogue's id.
    pub fn of(part: &Part) -> Self {
        let name = part.name.to_lowercase();
        let id = part.instrument_id.to_lowercase().replace(['-', '_'], " ");
        let first = |judge: fn(&str) -> Family| match judge(&name) {
            Family::Other => judge(&id),
            known => known,
        };
        let digits: Vec<u32> = name.chars().filter_map(|c| c.to_digit(10)).collect();
        Self {
            family: first(family),
            network_family: first(network_family),
            section: section(&part.name),
            player: digits.last().map_or(1, |&d| d.min(3) as usize),
            second: second_chair(&name),
            unpitched: any(&name, &["drum", "cymbal", "triangle"]),
        }
    }
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

/// "Horn 2" and "F (alto) Horn 1" belong to "horn".
fn section(name: &str) -> String {
    let mut rest = name;
    for key in ["Bb", "Eb", "A", "B", "C", "D", "E", "F", "G"] {
        if let Some(after) = name.strip_prefix(key)
            && after.starts_with(char::is_whitespace)
        {
            rest = after.trim_start();
            if rest.starts_with('(')
                && let Some(close) = rest.rfind(')')
            {
                rest = rest[close + 1..].trim_start();
            }
            break;
        }
    }
    rest.trim_end_matches(|c: char| c.is_ascii_digit() || c.is_whitespace()).trim().to_lowercase()
}

fn second_chair(name: &str) -> bool {
    let chars: Vec<char> = name.chars().collect();
    (0..chars.len()).any(|i| {
        matches!(chars[i], '2' | '4' | '6' | '8') && chars.get(i + 1).is_none_or(|next| !next.is_alphanumeric() && *next != '_')
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts(name: &str) -> PartFacts {
        PartFacts::of(&Part { name: name.to_owned(), ..Part::default() })
    }

    #[test]
    fn names_give_family_section_and_chair() {
        let horn = facts("F (alto) Horn 4");
        assert_eq!((horn.family, horn.section.as_str(), horn.player, horn.second), (Family::Brass, "horn", 3, true));
        assert_eq!(facts("Violin I").network_family, Family::Strings);
        assert_eq!(facts("English Horn").network_family, Family::Woodwind);
        assert!(facts("Bass Drum").unpitched);
    }

    #[test]
    fn an_unknown_name_gives_way_to_the_catalogue() {
        let part = Part { name: "Geigen".to_owned(), instrument_id: "violin".to_owned(), ..Part::default() };
        assert_eq!(PartFacts::of(&part).family, Family::Strings);
    }
}
