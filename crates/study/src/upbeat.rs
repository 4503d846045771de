//! How the file counts an upbeat.

use ripieno_formats::{Finding, Place, Severity};
use ripieno_score::{Score, Sounding};

/// A note where the file counts its upbeat as bar 1: editions mostly begin to count with the first whole bar, so every number may be one ahead of the page.
pub(crate) fn counted_upbeat(file: &str, score: &Score, sounding: &Sounding) -> Option<Finding> {
    let [first, second, ..] = sounding.bars.as_slice() else { return None };
    let number = score.bars.get(first.bar.at()).map(|bar| bar.number.as_ref())?;
    (first.length < second.length && number == "1").then(|| Finding {
        severity: Severity::Note,
        code: "upbeat-counted",
        place: Place { file: file.to_owned(), part: None, bar: Some("1".to_owned()), line: None },
        what: "the file counts its upbeat as bar 1; bars are cited as the file numbers them".to_owned(),
        hint: "Where the printed page begins to count with the first whole bar, its numbers are one lower throughout".to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use ripieno_formats::{Limits, read};
    use ripieno_score::Unroll;

    use super::*;

    fn finding(first: &str, number: &str) -> Option<Finding> {
        let bar = |number: &str, start: &str, length: u8| {
            let note = format!("<note><pitch><step>C</step><octave>5</octave></pitch><duration>{length}</duration></note>");
            format!("<measure number=\"{number}\"{first}>{start}{note}</measure>", first = if length == 1 { first } else { "" })
        };
        let start = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        let music = format!(
            "<score-partwise><part-list><score-part id=\"P1\"><part-name>Violin</part-name></score-part></part-list><part id=\"P1\">{}{}</part></score-partwise>",
            bar(number, start, 1),
            bar("2", "", 4)
        );
        let score = read("cue.musicxml", music.as_bytes(), &Limits::default()).map(|reading| reading.score).unwrap_or_default();
        counted_upbeat("cue.musicxml", &score, &Sounding::new(&score, Unroll::AsWritten))
    }

    #[test]
    fn an_upbeat_numbered_one_is_noted_and_one_numbered_nought_is_not() {
        assert_eq!(finding(" implicit=\"yes\"", "1").map(|found| found.code), Some("upbeat-counted"));
        assert_eq!(finding(" implicit=\"yes\"", "0"), None);
    }
}
