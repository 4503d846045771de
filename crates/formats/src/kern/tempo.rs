//! Metronome marks inside tempo headings: `Allegro [quarter] = 132`.

use ripieno_score::NoteValue;

/// The words of a heading, and the metronome mark if it ends with one.
pub(super) fn split(heading: &str) -> (&str, Option<(NoteValue, f64)>) {
    let mark = heading.rfind('[').and_then(|open| Some((open, read(heading.get(open..)?)?)));
    match mark {
        Some((open, mark)) => (heading.get(..open).unwrap_or_default().trim_end_matches([' ', ',', '(']), Some(mark)),
        None => (heading, None),
    }
}

/// `[quarter-dot] = 60`.
fn read(text: &str) -> Option<(NoteValue, f64)> {
    let (name, rest) = text.strip_prefix('[')?.split_once(']')?;
    let (name, dots) = match name.trim_end_matches("-dot") {
        plain if plain.len() == name.len() => (name, 0),
        plain => (plain, u8::try_from((name.len() - plain.len()) / 4).ok().filter(|&dots| dots <= 3)?),
    };
    let halvings = match name {
        "breve" => -1,
        "whole" => 0,
        "half" => 1,
        "quarter" => 2,
        "eighth" => 3,
        "sixteenth" => 4,
        _ => return None,
    };
    let number = rest.trim_start_matches([' ', '=']).trim_end_matches([' ', ')']);
    let number = number.trim_start_matches(|c: char| !c.is_ascii_digit());
    let digits = number.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(number.len());
    let per_minute: f64 = number.get(..digits)?.parse().ok()?;
    (per_minute > 0.0 && per_minute <= 2000.0).then_some((NoteValue { halvings, dots }, per_minute))
}

#[cfg(test)]
mod tests {
    use super::split;

    #[test]
    fn finds_the_mark() {
        let (words, mark) = split("Allegro vivace [quarter] = 132");
        assert_eq!(
            (words, mark.map(|(beat, per_minute)| (beat.halvings, beat.dots, per_minute))),
            ("Allegro vivace", Some((2, 0, 132.0)))
        );
        let (words, mark) = split("Andante ([eighth-dot]=c. 60)");
        assert_eq!(
            (words, mark.map(|(beat, per_minute)| (beat.halvings, beat.dots, per_minute))),
            ("Andante", Some((3, 1, 60.0)))
        );
        assert_eq!(split("Adagio [sic]"), ("Adagio [sic]", None));
        assert_eq!(split("Adagio"), ("Adagio", None));
    }
}
