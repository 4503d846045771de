//! Names of parts as they are printed.

use ripieno_instruments::{Clues, Language, catalogue, recognise};
use ripieno_score::Part;

/// Most players a staff is divided among.
pub(crate) const MOST: u16 = 6;

/// The players' numbers in a part's name: "Horns 1.2" has 1 and 2.
pub(crate) fn numbers_in_name(name: &str) -> Option<Vec<u16>> {
    let (_, numbers) = numbered(name)?;
    Some(numbers)
}

/// Where the numbers of the players stand in a name, and which they are.
pub(crate) fn numbered(name: &str) -> Option<(std::ops::Range<usize>, Vec<u16>)> {
    let is_part = |c: char| c.is_ascii_digit() || ".,-&/+ \u{2013}".contains(c) || c == 'I' || c == 'V';
    let mut start = None;
    for (at, c) in name.char_indices().chain([(name.len(), '\0')]) {
        let begins = c.is_ascii_digit() || ((c == 'I' || c == 'V') && name[..at].ends_with(' '));
        match start {
            None if begins && at > 0 => start = Some(at),
            Some(from) if !is_part(c) => {
                let text = name[from..at].trim_end();
                let numbers = list(text);
                if numbers.len() > 1 {
                    return Some((from..from + text.len(), numbers));
                }
                start = None;
            }
            _ => {}
        }
    }
    None
}

/// "1.2", "1, 2", "1-4", "I.II" as numbers.
fn list(text: &str) -> Vec<u16> {
    const ROMAN: [&str; 8] = ["I", "II", "III", "IV", "V", "VI", "VII", "VIII"];
    let number = |token: &str| match ROMAN.iter().zip(1..).find(|(roman, _)| **roman == token.trim()) {
        Some((_, number)) => Some(number),
        None => token.trim().parse::<u16>().ok(),
    };
    if let Some((from, to)) = text.split_once(['-', '\u{2013}'])
        && let (Some(from), Some(to)) = (number(from), number(to.trim_end_matches('.')))
        && from < to
        && to - from < MOST
    {
        return (from..=to).collect();
    }
    text.split(['.', ',', '&', '/', '+', ' ']).filter_map(number).collect()
}

/// "Horns 1" as "Horn 1", where the catalogue knows both words.
pub(crate) fn singular(name: &str, instrument: &str) -> String {
    let Some(instrument) = catalogue().by_id(instrument) else { return name.to_owned() };
    for language in [Language::English, Language::German, Language::Italian, Language::French] {
        let names = instrument.names(language);
        let (one, many) = (&names.singular, &names.plural);
        if !many.is_empty() && one != many && name.len() >= many.len() && name.is_char_boundary(many.len()) {
            let (head, tail) = name.split_at(many.len());
            if head.to_lowercase() == many.to_lowercase() && !tail.starts_with(char::is_alphabetic) {
                // As large a beginning as on the page.
                let capital = head.starts_with(char::is_uppercase);
                let mut letters = one.chars();
                let first = letters.next().map(|c| if capital { c.to_uppercase().to_string() } else { c.to_string() });
                return format!("{}{}{tail}", first.unwrap_or_default(), letters.as_str());
            }
        }
    }
    name.to_owned()
}

/// The name of some players of a section: "Horns in F" and 1 is "Horn 1 in F", with 1 and 2 "Horns 1.2 in F".
#[must_use]
pub fn players_name(section: &str, instrument: &str, numbers: &[u16]) -> String {
    let numbers_text = numbers.iter().map(u16::to_string).collect::<Vec<_>>().join(".");
    let name = if numbers.len() == 1 { singular(section, instrument) } else { section.to_owned() };
    match name.split_once(" in ") {
        Some((instrument, key)) => format!("{instrument} {numbers_text} in {key}"),
        None => format!("{name} {numbers_text}"),
    }
}

/// What stands before the staves of a part after the first system: its abbreviation, or the usual one of its instrument with its numbers.
pub(crate) fn abbreviation(part: &Part) -> String {
    if !part.abbreviation.is_empty() {
        return part.abbreviation.clone();
    }
    let found = recognise(&Clues { name: &part.name, ..Clues::default() });
    let instrument = catalogue().by_id(&part.instrument_id).filter(|_| found.fallback).unwrap_or(found.instrument);
    let Some(usual) = instrument.names(Language::English).abbreviations.first().filter(|_| found.confidence >= 0.6) else {
        return part.name.clone();
    };
    let mut letters = usual.chars();
    let capital: String = letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect());
    let numbers: Vec<String> = found.numbers.iter().map(u16::to_string).collect();
    let shown = format!("{capital} {}", numbers.join("."));
    let shown = shown.trim_end();
    if shown.chars().count() < part.name.chars().count() { shown.to_owned() } else { part.name.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn players_are_numbered_as_on_the_page() {
        let told = |name: &str| numbered(name).map(|(_, numbers)| numbers);
        assert_eq!(told("Horns 1.2 in F"), Some(vec![1, 2]));
        assert_eq!(told("Horns 3. 4"), Some(vec![3, 4]));
        assert_eq!(told("Corni I II"), Some(vec![1, 2]));
        assert_eq!(told("Trumpets 1-3"), Some(vec![1, 2, 3]));
        assert_eq!(told("Horns V.VI in F"), Some(vec![5, 6]));
        assert_eq!(told("Horns VII, VIII"), Some(vec![7, 8]));
        assert_eq!(told("Horn 1"), None);
        assert_eq!(told("2 Flutes"), None);
    }

    #[test]
    fn players_are_called_as_on_a_title_page() {
        assert_eq!(players_name("Horns in F", "horn", &[1]), "Horn 1 in F");
        assert_eq!(players_name("Trumpets in B\u{266d}", "trumpet", &[2, 3]), "Trumpets 2.3 in B\u{266d}");
        assert_eq!(players_name("Trombones", "trombone", &[2]), "Trombone 2");
        assert_eq!(players_name("Band", "", &[2]), "Band 2");
    }

    /// Usual abbreviations; common practice, kept in the catalogue.
    #[test]
    fn staves_after_the_first_system_are_called_short() {
        let short = |name: &str, instrument: &str| {
            abbreviation(&Part { name: name.to_owned(), instrument_id: instrument.to_owned(), ..Part::default() })
        };
        assert_eq!(short("Horn 1 in F", "horn"), "Hn. 1");
        assert_eq!(short("Horn 3.4 in F", "horn"), "Hn. 3.4");
        assert_eq!(short("Bass trombone", "bass-trombone"), "B. tbn.");
        // A full stop saves nothing here.
        assert_eq!(short("Tuba", "tuba"), "Tuba");
        assert_eq!(short("Zonk", "unspecified"), "Zonk");
        let own = Part { name: "Violin I".to_owned(), abbreviation: "Vl. I".to_owned(), ..Part::default() };
        assert_eq!(abbreviation(&own), "Vl. I");
    }
}
