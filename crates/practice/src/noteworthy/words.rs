//! Numbers, intervals and names in words.

use ripieno_score::Crotchets;

/// A number in words up to twelve.
pub(super) fn number(number: usize) -> String {
    const WORDS: [&str; 13] =
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
    WORDS.get(number).map_or_else(|| number.to_string(), |word| (*word).to_owned())
}

/// So many of something whose plural ends in s.
pub(super) fn counted(count: usize, what: &str) -> String {
    let number = number(count);
    if count == 1 { format!("{number} {what}") } else { format!("{number} {what}s") }
}

/// "an octave and a fifth" for 19.
pub(super) fn interval(semitones: u32) -> String {
    const NAMES: [&str; 12] = [
        "a unison",
        "a semitone",
        "a tone",
        "a minor third",
        "a major third",
        "a fourth",
        "a tritone",
        "a fifth",
        "a minor sixth",
        "a major sixth",
        "a minor seventh",
        "a major seventh",
    ];
    let name = NAMES[(semitones % 12) as usize];
    match (semitones / 12, semitones % 12) {
        (0, _) => name.to_owned(),
        (1, 0) => "an octave".to_owned(),
        (octaves, 0) => counted(octaves as usize, "octave"),
        (1, _) => format!("an octave and {name}"),
        (octaves, _) => format!("{} and {name}", counted(octaves as usize, "octave")),
    }
}

/// Time as "six crotchets", "14.5 crotchets".
pub(super) fn crotchets(time: Crotchets) -> String {
    match (time.denominator(), time.numerator()) {
        (1, 1) => "one crotchet".to_owned(),
        (1, whole) => format!("{} crotchets", number(usize::try_from(whole).unwrap_or(0))),
        _ => {
            let text = format!("{:.2}", time.to_f64());
            format!("{} crotchets", text.trim_end_matches('0'))
        }
    }
}

/// "34 %".
pub(super) fn percent(share: f64) -> String {
    // A sum of nothing is minus nothing.
    format!("{:.0} %", (share * 100.0).abs())
}

/// "a, b and c".
pub(super) fn list(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [some @ .., last] => format!("{} and {last}", some.join(", ")),
    }
}

/// The sentence with a capital letter.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The sentence with a small letter.
pub(super) fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// Whether these names, of sections or families, take the verb in the plural: "the horns sound", "the brass sounds".
pub(super) fn many(names: &[&str]) -> bool {
    names.len() > 1 || names.iter().any(|name| name.ends_with('s') && *name != "brass" || matches!(*name, "timpani" | "celli"))
}

/// "the horns and the tubas".
pub(super) fn the(names: &[&str]) -> String {
    let articles: Vec<String> = names.iter().map(|name| format!("the {name}")).collect();
    list(&articles.iter().map(String::as_str).collect::<Vec<_>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_and_lists_read_well() {
        assert_eq!(
            [0, 7, 12, 19, 24, 28].map(interval),
            ["a unison", "a fifth", "an octave", "an octave and a fifth", "two octaves", "two octaves and a major third"]
        );
        assert_eq!(counted(1, "bar"), "one bar");
        assert_eq!(counted(13, "bar"), "13 bars");
        assert_eq!(the(&["horns", "trombones", "tubas"]), "the horns, the trombones and the tubas");
        assert!(
            many(&["horns"]) && many(&["timpani"]) && !many(&["brass"]) && many(&["brass", "harp"]) && !many(&["percussion"])
        );
    }
}
