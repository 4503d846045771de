//! Notes no instrument of the kind can play: mostly a transposition that the file leaves out.

use ripieno_formats::{Finding, Place, Severity};
use ripieno_instruments::catalogue::{Instrument, catalogue};
use ripieno_score::{MidiKey, Score, Sounding};

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
}
