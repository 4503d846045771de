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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percentages_do_not_round_away_what_is_there() {
        let texts: Vec<String> = [0.0, 0.004, 0.126, 0.997, 1.0].into_iter().map(percent).collect();
        assert_eq!(texts, ["0 %", "under 1 %", "13 %", "over 99 %", "100 %"]);
    }
}
