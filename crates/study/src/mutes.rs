//! Mutes that a file puts on and never takes off.

use ripieno_formats::{Finding, Place, Severity};
use ripieno_score::{Score, Sounding};
use ripieno_texture::Techniques;

/// Played bars from which on a mute that stays to the end is worth a warning: a piece may well end muted, but seldom for so long.
const LONG: u32 = 48;

/// A warning for each part that is muted from some bar to its last note, over many bars: the page may say "senza sord." where the file does not.
pub(crate) fn lasting_mutes(file: &str, score: &Score, sounding: &Sounding, ways: &[Techniques]) -> Vec<Finding> {
    let notes = &sounding.notes;
    let of_part = |(index, part): (usize, &ripieno_score::Part)| {
        let rows = notes.of_part.get(index)?.clone();
        let muted = |row: &usize| ways.get(*row).is_some_and(|ways| ways.contains(Techniques::MUTED));
        let first = rows.clone().rev().take_while(muted).last()?;
        let last = rows.clone().next_back()?;
        let (from, to) = (notes.bar[first], notes.bar[last]);
        // Muted all through is a way to play, not a word forgotten.
        if to - from + 1 < LONG || first == rows.start {
            return None;
        }
        let printed = |bar: u32| {
            let bar = sounding.bars.get(bar as usize).and_then(|bar| score.bars.get(bar.bar.at()));
            bar.map_or_else(String::new, |bar| bar.number.to_string())
        };
        Some(Finding {
            severity: Severity::Warning,
            code: "mute-stays",
            place: Place { file: file.to_owned(), part: Some(part.name.trim().to_owned()), bar: Some(printed(from)), line: None },
            what: format!(
                "the mute put on here is never taken off: {} bars, to {}, are read as muted",
                to - from + 1,
                printed(to)
            ),
            hint: "Where the printed page takes it off, write “senza sord.” there in the file; otherwise nothing is amiss"
                .to_owned(),
        })
    };
    score.parts.iter().enumerate().filter_map(of_part).collect()
}

#[cfg(test)]
mod tests {
    use ripieno_formats::{Limits, read};
    use ripieno_score::Unroll;
    use ripieno_texture::techniques;

    use super::*;

    fn findings(bars: usize, off: Option<usize>) -> Vec<Finding> {
        let words = |text: &str| format!("<direction><direction-type><words>{text}</words></direction-type></direction>");
        let note = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>";
        let bar = |number: usize| {
            let start = if number == 1 { "<attributes><divisions>1</divisions></attributes>" } else { "" };
            let said = match number {
                2 => words("con sord."),
                number if Some(number) == off => words("senza sord."),
                _ => String::new(),
            };
            format!("<measure number=\"{number}\">{start}{said}{note}</measure>")
        };
        let music = format!(
            "<score-partwise><part-list><score-part id=\"P1\"><part-name>Violin</part-name></score-part></part-list><part id=\"P1\">{}</part></score-partwise>",
            (1..=bars).map(bar).collect::<String>()
        );
        let score = read("cue.musicxml", music.as_bytes(), &Limits::default()).map(|reading| reading.score).unwrap_or_default();
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        lasting_mutes("cue.musicxml", &score, &sounding, &techniques(&score, &sounding))
    }

    #[test]
    fn a_mute_that_stays_is_told_with_its_bars() {
        let told = findings(60, None);
        assert_eq!(told.len(), 1, "{told:?}");
        assert_eq!((told[0].code, told[0].place.bar.as_deref()), ("mute-stays", Some("2")));
        assert!(told[0].what.contains("59 bars, to 60"), "{}", told[0].what);
        assert_eq!(findings(60, Some(40)), []);
        assert_eq!(findings(20, None), [], "a short piece may end muted");
    }
}
