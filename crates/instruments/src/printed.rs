//! The name of a part as scores print it: instrument, number, key ("Clarinet 1 in B♭"), whatever order the file has them in.
//!
//! Files write "Bb Clarinet 1", "Clarinet in Bb 1", "Horns in F 3"; printed scores have the instrument first, then the number of the player, then the
//! key with its sign (common practice). A name that is not understood keeps its words and gets only the signs of its keys.

use std::collections::HashMap;
use std::sync::LazyLock;

use crate::catalogue::{Language, catalogue};

/// A part's name as scores print it; on one line.
#[must_use]
pub fn printed(name: &str) -> String {
    let words: Vec<String> = name.split_whitespace().map(signed).collect();
    let told = key_first(&words).or_else(|| number_last(&words));
    told.unwrap_or_else(|| words.join(" "))
}

/// Whether two texts name one part: as the file has it, as scores print it ([`printed`]), or with letters for signs; whatever the case.
#[must_use]
pub fn is_same_name(one: &str, other: &str) -> bool {
    let told = |name: &str| printed(name).to_lowercase();
    told(one) == told(other)
}

/// "Bb" as "B♭", "F#" as "F♯", also before a comma or in brackets; any other word as it is.
#[must_use]
pub fn signed(word: &str) -> String {
    let letter = |c: u8| c.is_ascii_uppercase() && c <= b'G';
    let bytes = word.as_bytes();
    let at = usize::from(bytes.first() == Some(&b'('));
    let rest = word.get(at + 2..).unwrap_or("x");
    match bytes.get(at..at + 2) {
        Some([step, mark @ (b'b' | b'#')]) if letter(*step) && rest.chars().all(|c| ",;)/".contains(c)) => {
            let sign = if *mark == b'b' { '\u{266d}' } else { '\u{266f}' };
            format!("{}{sign}{rest}", &word[..=at])
        }
        _ => word.to_owned(),
    }
}

/// "B♭", "F", "C,": the letter of a key, with a comma where others follow.
fn is_key(word: &str) -> bool {
    let mut chars = word.trim_end_matches(',').chars();
    chars.next().is_some_and(|c| ('A'..='H').contains(&c)) && matches!(chars.as_str(), "" | "\u{266d}" | "\u{266f}")
}

/// "1", "3.4", "1,2", "II": who plays.
fn is_number(word: &str) -> bool {
    let figures =
        word.starts_with(|c: char| c.is_ascii_digit()) && word.chars().all(|c| c.is_ascii_digit() || ".,/-–&".contains(c));
    figures || (!word.is_empty() && word.len() <= 4 && word.chars().all(|c| "IVX".contains(c)))
}

/// "(basso)", "alto": which octave of the key.
fn octave(word: &str) -> Option<&str> {
    let bare = word.trim_matches(['(', ')']);
    matches!(bare.to_lowercase().as_str(), "basso" | "alto" | "bass" | "hoch" | "tief").then_some(bare)
}

/// Names of instruments whose part can stand in a key, in small letters: nothing for one of them, and for several the name of one.
static KEYED: LazyLock<HashMap<String, Option<&'static str>>> = LazyLock::new(|| {
    let mut found = HashMap::new();
    let keyed = catalogue().all().iter().filter(|one| one.transpositions.len() > 1 || one.id.contains("timpani"));
    for names in keyed.flat_map(|instrument| Language::ALL.map(|language| instrument.names(language))) {
        // The first that has a name keeps it, and what is also the name of one is that.
        for one in names.variants.iter().chain([&names.singular]) {
            found.entry(one.to_lowercase()).or_insert(None);
        }
        for several in names.plural_variants.iter().chain([&names.plural]) {
            found.entry(several.to_lowercase()).or_insert(Some(names.singular.as_str()));
        }
    }
    found
});

/// An instrument whose part can stand in a key, in the plural too; the name for one of them.
fn one_of(words: &[String]) -> Option<String> {
    let name = words.join(" ");
    let Some(singular) = KEYED.get(&name.to_lowercase())? else { return Some(name) };
    let mut letters = singular.chars();
    let first = letters.next()?;
    let first = if name.starts_with(char::is_uppercase) { first.to_uppercase().to_string() } else { first.to_string() };
    Some(first + letters.as_str())
}

/// Instrument, number and key in the order of a printed score.
fn told(instrument: &[String], number: Option<&String>, keys: &[String], octave: Option<&str>) -> Option<String> {
    let one = one_of(instrument)?;
    let is_one = number.is_some_and(|number| number.chars().all(char::is_alphanumeric));
    let name = if is_one { one } else { instrument.join(" ") };
    let number = number.map_or_else(String::new, |number| format!(" {number}"));
    let octave = octave.map_or_else(String::new, |octave| format!(" {octave}"));
    Some(format!("{name}{number} in {}{octave}", keys.join(" ")))
}

/// "B♭ (basso) Horn 3", "A Bass Clarinet", "C, G Timpani".
fn key_first(words: &[String]) -> Option<String> {
    let keys = words.iter().take_while(|word| is_key(word)).count();
    // All but the last of several keys have a comma, and the last has none.
    let listed = words.iter().take(keys).enumerate().all(|(at, key)| key.ends_with(',') == (at + 1 < keys));
    if keys == 0 || !listed {
        return None;
    }
    let (keys, rest) = words.split_at(keys);
    let (octave, rest) = match rest.split_first().and_then(|(word, rest)| Some((octave(word)?, rest))) {
        // "A Bass Clarinet" names an instrument.
        Some((octave, behind)) if one_of(rest).is_none() && rest[0].starts_with('(') => (Some(octave), behind),
        _ => (None, rest),
    };
    let (number, instrument) = match rest.split_last() {
        Some((last, before)) if is_number(last) => (Some(last), before),
        _ => (None, rest),
    };
    told(instrument, number, keys, octave)
}

/// "Horns in F 1", "Clarinet in B♭ 2", "Horn in B♭ basso 3".
fn number_last(words: &[String]) -> Option<String> {
    let (number, before) = words.split_last().filter(|(last, _)| is_number(last))?;
    let at = before.iter().position(|word| word == "in")?;
    let (instrument, keys) = (&before[..at], &before[at + 1..]);
    match keys {
        [key] if is_key(key) => told(instrument, Some(number), std::slice::from_ref(key), None),
        [key, word] if is_key(key) => told(instrument, Some(number), std::slice::from_ref(key), Some(octave(word)?)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::printed;

    /// Names as they stand in files, and as printed scores have them (common practice of the trade).
    #[test]
    fn instrument_then_number_then_key() {
        for (file, score) in [
            ("Bb Clarinet 1", "Clarinet 1 in B♭"),
            ("F Horn 3", "Horn 3 in F"),
            ("Eb Horn 2 ", "Horn 2 in E♭"),
            ("Horns in F 1", "Horn 1 in F"),
            ("Horns in F 1,2", "Horns 1,2 in F"),
            ("Clarinet in Bb 1", "Clarinet 1 in B♭"),
            ("Trumpets in Bb 3", "Trumpet 3 in B♭"),
            ("A Clarinet 2", "Clarinet 2 in A"),
            ("A Bass Clarinet", "Bass Clarinet in A"),
            ("Bb (basso) Horn 4", "Horn 4 in B♭ basso"),
            ("C Trumpet 1", "Trumpet 1 in C"),
            ("Bb Clarinet", "Clarinet in B♭"),
            ("C, G Timpani", "Timpani in C, G"),
            ("F, Bb Timpani", "Timpani in F, B♭"),
        ] {
            assert_eq!(printed(file), score, "{file}");
        }
    }

    #[test]
    fn what_is_printed_well_stays_as_it_is() {
        for name in [
            "Horn 1.2 in F",
            "Clarinet 1.2 in B♭",
            "Oboe 2 (English horn)",
            "Violin 1",
            "Violin I",
            "Viola",
            "Bass drum",
            "A",
            "",
            "Tenor",
            "Flute in G",
            "B C",
        ] {
            assert_eq!(printed(name), name);
        }
        assert_eq!(printed("Something in Bb for F#"), "Something in B♭ for F♯");
        assert_eq!(printed(" Violin   I "), "Violin I");
        assert_eq!([printed("Ab"), printed("Abb"), printed("(Bb)")], ["A♭", "Abb", "(B♭)"]);
        for odd in ["((", "é b", "♭♭", "1", "in", "in F 1", "A,", "A, B, 1"] {
            let _ = printed(odd);
        }
    }
}
