//! Numbers and names as text.

use ripieno_score::MidiKey;

/// A share as a percentage: "0 %" only for nothing at all, "100 %" only for everything.
pub(crate) fn percent(share: f64) -> String {
    let percent = share * 100.0;
    if percent > 0.0 && percent < 1.0 {
        return "under 1 %".to_owned();
    }
    if percent > 99.0 && percent < 100.0 {
        return "over 99 %".to_owned();
    }
    format!("{percent:.0} %")
}

/// "1 bar", "12 bars".
pub(crate) fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// A sounding key as musicians write it: C4 is middle C.
pub(crate) fn key_name(key: MidiKey) -> String {
    key.pitch().to_string().replace('b', "\u{266d}").replace('#', "\u{266f}")
}

/// With a capital first letter.
pub(crate) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// A number as people write it: whole where it is, else with one decimal, two below one.
pub(crate) fn whole(value: f64) -> String {
    let decimals = if value.abs() < 1.0 { 2 } else { 1 };
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// "flutes", "flutes and oboes", "flutes, oboes and horns".
pub(crate) fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [before @ .., last] => format!("{} and {last}", before.join(", ")),
    }
}

/// "an octave lower", "two octaves lower"; `octaves` is negative.
pub(crate) fn octaves_lower(octaves: i16) -> String {
    let count = octaves.unsigned_abs();
    match count {
        1 => "an octave lower".to_owned(),
        2 => "two octaves lower".to_owned(),
        3 => "three octaves lower".to_owned(),
        4 => "four octaves lower".to_owned(),
        _ => format!("{count} octaves lower"),
    }
}

/// A key given as a number, such as a median: its name, or both neighbours where it lies between.
pub(crate) fn key_number_name(value: f64) -> String {
    #[allow(clippy::cast_possible_truncation)] // a number beyond the keyboard is no key
    let name = |key: f64| MidiKey::try_from(key as i32).map_or_else(|_| whole(value), key_name);
    if value.fract() == 0.0 { name(value) } else { format!("{}–{}", name(value.floor()), name(value.ceil())) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percentages_do_not_round_away_what_is_there() {
        let texts: Vec<String> = [0.0, 0.004, 0.126, 0.997, 1.0].into_iter().map(percent).collect();
        assert_eq!(texts, ["0 %", "under 1 %", "13 %", "over 99 %", "100 %"]);
    }

    #[test]
    fn lists_numbers_and_keys_read_as_written_by_hand() {
        assert_eq!(listed(&["flutes", "oboes", "horns"]), "flutes, oboes and horns");
        assert_eq!([whole(100.0), whole(2.5), whole(0.25), whole(-7.0)], ["100", "2.5", "0.25", "-7"]);
        assert_eq!([key_number_name(60.0), key_number_name(61.5)], ["C4", "C\u{266f}4–D4"]);
    }
}
