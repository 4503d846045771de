//! Notes no instrument of the kind can play: mostly a transposition that the file leaves out.

use ripieno_formats::{Finding, Place, Severity};
use ripieno_instruments::catalogue::{Instrument, catalogue};
use ripieno_instruments::printed;
use ripieno_practice::BY_PITCH;
use ripieno_score::{MidiKey, Score, Sounding};

use crate::Study;

/// So many semitones beyond the catalogue's extreme are left to bold writing.
const BOLD: i32 = 2;
/// Fewer notes than this are left to misprints.
const FEW: usize = 3;

/// A finding for each part of a single instrument that goes beyond what the instrument can sound.
pub(crate) fn beyond_compass(file: &str, score: &Score, sounding: &Sounding) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, part) in score.parts.iter().enumerate() {
        let Some((low, high)) = catalogue().by_id(&part.instrument_id).and_then(compass) else { continue };
        let Some(rows) = sounding.notes.of_part.get(index).filter(|_| part.instruments.len() < 2) else { continue };
        let key = |row: usize| sounding.notes.key[row].map(|key| i32::from(key.number()));
        let outside: Vec<usize> =
            rows.clone().filter(|&row| key(row).is_some_and(|key| key > high + BOLD || key < low - BOLD)).collect();
        let (Some(&first), true) = (outside.first(), outside.len() >= FEW) else { continue };
        let furthest = outside.iter().filter_map(|&row| key(row)).max_by_key(|key| (key - high).max(low - key));
        let name = |key: i32| MidiKey::try_from(key).map_or_else(|_| key.to_string(), |key| key.pitch().to_string());
        let (Some(furthest), instrument) = (furthest, catalogue().by_id(&part.instrument_id).map_or("", |it| it.name())) else {
            continue;
        };
        let bar = sounding.bars.get(sounding.notes.bar[first] as usize).and_then(|bar| score.bars.get(bar.bar.at()));
        let (edge, side) = if furthest > high { (high, "above") } else { (low, "below") };
        findings.push(Finding {
            severity: Severity::Warning,
            code: "beyond-compass",
            place: Place {
                file: file.to_owned(),
                part: Some(part.name.trim().to_owned()),
                bar: bar.map(|bar| bar.number.to_string()),
                line: None,
            },
            what: format!(
                "{} notes lie {side} {}, where the {instrument} ends, as far as {}; they are read as the file has them",
                outside.len(),
                name(edge),
                name(furthest)
            ),
            hint: "The file may lack the part's transposition (a horn in C sounds an octave lower than written): add it there, or read this part's register and octaves with care".to_owned(),
        });
    }
    findings
}

/// Kinds of moment that tell of register or octaves.
const MOMENTS_BY_PITCH: [&str; 7] =
    ["first full brass", "line taken up", "pedal", "crossed sections", "deepest overlap", "widest gap", "thickened line"];

/// Findings and moments about the register of a part that [`beyond_compass`] doubts say so themselves: whoever reads the first of them has not seen the end
/// of the report.
pub(crate) fn with_caveats(study: &mut Study) {
    let mut doubted: Vec<(Vec<String>, String)> = Vec::new();
    for (part, identity) in study.score.parts.iter().zip(&study.groups.parts) {
        let is_doubted =
            |finding: &Finding| finding.code == "beyond-compass" && finding.place.part.as_deref() == Some(part.name.trim());
        if study.findings.iter().any(is_doubted) {
            let name = printed(&part.name);
            doubted.push((vec![name.to_lowercase(), identity.section.name().to_lowercase()], name));
        }
    }
    let caveat = |text: &str| {
        let text = text.to_lowercase();
        let of_text = doubted.iter().filter(|(names, _)| names.iter().any(|name| names_it(&text, name)));
        let names: Vec<&str> = of_text.map(|(_, name)| name.as_str()).collect();
        let goes = if names.len() == 1 { "goes beyond its compass" } else { "go beyond their compass" };
        (!names.is_empty())
            .then(|| format!(" Doubtful: {} {goes} in this file and may stand in a wrong octave.", names.join(" and ")))
    };
    for found in study.noteworthy.iter_mut().filter(|found| BY_PITCH.contains(&found.measure)) {
        found.text.extend(caveat(&found.text));
    }
    for moment in study.moments.iter_mut().filter(|moment| MOMENTS_BY_PITCH.contains(&moment.kind)) {
        moment.reason.extend(caveat(&moment.reason));
    }
}

/// Whether a name stands in a text as words of its own.
fn names_it(text: &str, name: &str) -> bool {
    let parts = |before: &str, after: &str| !before.ends_with(char::is_alphanumeric) && !after.starts_with(char::is_alphanumeric);
    !name.is_empty() && text.match_indices(name).any(|(at, _)| parts(&text[..at], &text[at + name.len()..]))
}

/// Lowest and highest key of an instrument in any of its transpositions.
fn compass(instrument: &Instrument) -> Option<(i32, i32)> {
    let ranges = instrument.transpositions.iter().filter_map(|transposition| instrument.sounding(transposition));
    let all: Vec<_> = ranges.map(|ranges| ranges.extreme).collect();
    let low = all.iter().map(|range| i32::from(range.low())).min()?;
    let high = all.iter().map(|range| i32::from(range.high())).max()?;
    Some((low, high))
}

#[cfg(test)]
mod tests {
    use ripieno_formats::{Limits, read};
    use ripieno_score::Unroll;

    use super::*;

    fn findings(octave: u8) -> Vec<Finding> {
        let note = format!("<note><pitch><step>C</step><octave>{octave}</octave></pitch><duration>1</duration></note>");
        let music = format!(
            "<score-partwise><part-list><score-part id=\"P1\"><part-name>C Horn 1</part-name></score-part></part-list><part id=\"P1\"><measure number=\"28\"><attributes>\
<divisions>1</divisions></attributes>{}</measure></part></score-partwise>",
            note.repeat(4)
        );
        let score = read("cue.musicxml", music.as_bytes(), &Limits::default()).map(|reading| reading.score).unwrap_or_default();
        beyond_compass("cue.musicxml", &score, &Sounding::new(&score, Unroll::AsWritten))
    }

    /// A horn ends at F5 by every handbook (`ripieno_instruments` has the sources); C6 was read in a score whose horns in C lack their transposition.
    #[test]
    fn a_horn_at_c6_is_told_and_one_at_c5_is_not() {
        assert_eq!(findings(5), []);
        let told = findings(6);
        assert_eq!(told.len(), 1, "{told:?}");
        assert_eq!((told[0].code, told[0].place.bar.as_deref()), ("beyond-compass", Some("28")));
        assert!(told[0].what.starts_with("4 notes lie above"), "{}", told[0].what);
    }

    /// Of a horn read at C6 and of one at C4: what is said of its register carries the doubt in the first case alone, and what is said of others never.
    #[test]
    fn what_rests_on_a_doubted_register_says_so() {
        let told = |octave: u8| -> Vec<String> {
            let note = format!("<note><pitch><step>C</step><octave>{octave}</octave></pitch><duration>1</duration></note>");
            let music = format!(
                "<score-partwise><part-list><score-part id=\"P1\"><part-name>C Horn 1</part-name></score-part></part-list><part id=\"P1\"><measure number=\"28\"><attributes>\
<divisions>1</divisions></attributes>{}</measure></part></score-partwise>",
                note.repeat(4)
            );
            let Ok(reading) = read("cue.musicxml", music.as_bytes(), &Limits::default()) else { return Vec::new() };
            let mut study = crate::analyse("cue.musicxml".to_owned(), reading);
            let sentence = |measure: &'static str, text: &str| ripieno_practice::Sentence {
                text: text.to_owned(),
                measure,
                key: String::new(),
                number: 0.0,
                bars: vec![0],
                weight: 0.5,
            };
            study.noteworthy = vec![
                sentence("separation", "The horns lie above the trumpets."),
                sentence("presence", "The horns sound in one bar."),
                sentence("separation", "The trumpets lie above the trombones."),
            ];
            let reason = "The horns and the trombones overlap.".to_owned();
            study.moments = vec![ripieno_practice::Moment { kind: "deepest overlap", bars: 0..1, reason, weight: 0.5 }];
            with_caveats(&mut study);
            let sentences = study.noteworthy.into_iter().map(|found| found.text);
            sentences.chain(study.moments.into_iter().map(|moment| moment.reason)).collect()
        };
        let doubtful =
            |octave: u8| told(octave).iter().map(|text| text.contains("may stand in a wrong octave")).collect::<Vec<_>>();
        assert_eq!(doubtful(6), [true, false, false, true]);
        assert_eq!(doubtful(4), [false; 4]);
        assert!(names_it("the horns and trombones", "horns") && !names_it("hornpipe", "horn"));
    }
}
