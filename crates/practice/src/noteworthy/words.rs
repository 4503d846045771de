//! Numbers, intervals and names in words.

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

/// Semitones of a value counted in them, its sign left out.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // whole semitones of a keyboard
pub(super) fn semitones(value: f64) -> u32 {
    value.abs().round() as u32
}

/// "34 %".
pub(super) fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
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
