//! What could not be made to sound as written, told to the reader of the score.

use std::collections::BTreeSet;

use ripieno_score::{BarIndex, Score, Sounding, Trouble, Unroll};

use crate::finding::{Finding, Findings, Place, Severity};

/// The troubles of a sounding view as findings, each once however often its bar is played. `file` is named in them.
///
/// A tie into a second ending comes from nowhere when bars are taken in the order of the page, one back to the start of a repeat
/// when they are played; only what is wrong both ways is told.
#[must_use]
pub fn trouble_findings(file: &str, score: &Score, sounding: &Sounding) -> Vec<Finding> {
    if sounding.troubles.is_empty() {
        return Vec::new();
    }
    let [written, played] = [Unroll::AsWritten, Unroll::AsPlayed].map(|unroll| Sounding::new(score, unroll).troubles);
    let played: BTreeSet<Trouble> = played.into_iter().collect();
    let mut told = BTreeSet::new();
    let mut findings = Findings::default();
    for trouble in written.into_iter().filter(|trouble| played.contains(trouble)) {
        let (part, bar, code, what, hint) = match trouble {
            Trouble::BeyondKeyboard { part, bar, semitones } => (
                part,
                bar,
                "pitch-beyond-keyboard",
                format!("a note would sound {} outside the MIDI keyboard and is left out", distance(semitones)),
                "Check its octave, the clef and the part's transposition",
            ),
            Trouble::TieFromNowhere { part, bar, pitch } => (
                part,
                bar,
                "tie-from-nowhere",
                format!("a tie arrives at {pitch} that no note before it sends; the note is taken as struck anew"),
                "Tie the note before it, or remove the tie",
            ),
        };
        if told.insert((part, bar, what.clone())) {
            let place =
                Place { file: file.to_owned(), part: part_name(score, part), bar: Some(bar_name(score, bar)), line: None };
            findings.push(Finding { severity: Severity::Warning, code, place, what, hint: hint.to_owned() });
        }
    }
    findings.into_vec()
}

/// How far a key beyond 0 to 127 lies outside.
fn distance(semitones: i32) -> String {
    let beyond = if semitones < 0 { semitones.saturating_neg() } else { semitones.saturating_sub(127) };
    if beyond == 1 { "a semitone".to_owned() } else { format!("{beyond} semitones") }
}

fn part_name(score: &Score, part: usize) -> Option<String> {
    let name = score.parts.get(part).map(|part| part.name.trim())?;
    Some(if name.is_empty() { format!("part {}", part + 1) } else { name.to_owned() })
}

/// The printed number, or the place counted from 1 where none is printed.
fn bar_name(score: &Score, bar: BarIndex) -> String {
    match score.bars.get(bar.at()).map(|bar| bar.number.as_ref()) {
        Some(number) if !number.is_empty() => number.to_owned(),
        _ => (bar.0 + 1).to_string(),
    }
}

#[cfg(test)]
mod tests {
    use ripieno_score::{Bar, Crotchets, Head, Note, NoteFlags, Part, Pitch, Step};

    use super::*;

    #[test]
    fn a_tie_into_a_second_ending_is_in_order() {
        let bars = [("1", None, vec![]), ("2", Some(2), vec![1]), ("3", None, vec![2])];
        let mut score = Score::default();
        for (number, repeat_end, ending_start) in bars {
            let ending_stop = !ending_start.is_empty();
            score.bars.push(Bar { repeat_end, ending_start, ending_stop, ..Bar::new(number, Crotchets::ZERO, Crotchets::ONE) });
        }
        let note = |bar, flags| Note { bar: BarIndex(bar), duration: Crotchets::ONE, flags, ..Note::default() };
        let notes = vec![note(0, NoteFlags::TIE_START), note(1, NoteFlags::TIE_STOP), note(2, NoteFlags::TIE_STOP)];
        score.parts.push(Part { name: "Viola".into(), notes, ..Part::default() });
        score.finish();
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        assert_eq!(sounding.troubles.len(), 1, "in page order the tie comes from nowhere");
        assert_eq!(trouble_findings("cue.xml", &score, &sounding), []);
    }

    #[test]
    fn each_trouble_is_told_once_with_its_place() {
        let mut bar = Bar::new("7", Crotchets::ZERO, Crotchets::ONE);
        bar.repeat_end = Some(2);
        let note = |octave, flags| Note {
            duration: Crotchets::ONE,
            head: Head::Pitched(Pitch::new(Step::C, 0, octave)),
            flags,
            ..Note::default()
        };
        let notes = vec![note(4, NoteFlags::TIE_STOP), note(-3, NoteFlags::empty())];
        let part = Part { name: "Tuba".into(), notes, ..Part::default() };
        let mut score = Score { bars: vec![bar], parts: vec![part], ..Score::default() };
        score.finish();
        let sounding = Sounding::new(&score, Unroll::AsPlayed);
        let mut told: Vec<String> = trouble_findings("cue.xml", &score, &sounding).iter().map(ToString::to_string).collect();
        told.sort();
        assert_eq!(
            told,
            [
                "cue.xml, Tuba, bar 7: a note would sound 24 semitones outside the MIDI keyboard and is left out. Check its octave, \
the clef and the part's transposition.",
                "cue.xml, Tuba, bar 7: a tie arrives at C4 that no note before it sends; the note is taken as struck anew. Tie the \
note before it, or remove the tie."
            ]
        );
    }
}
