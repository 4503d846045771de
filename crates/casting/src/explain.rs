//! Who does what and why, as text.

use std::fmt::Write as _;

use crate::cast::Cast;
use crate::lineup::Lineup;
use crate::plan::{Doubling, Thickening};
use crate::sketch::Sketch;

/// A table of a casting: phrase by phrase who has what and why, then the criteria, how near the best it is, and what has to be said.
#[must_use]
pub fn explain(sketch: &Sketch, lineup: &Lineup, cast: &Cast) -> String {
    let mut text = String::new();
    for (phrase, done) in cast.plan.phrases.iter().zip(&cast.phrases) {
        let last = phrase.bars.end.saturating_sub(1);
        let _ = writeln!(text, "bars {}–{}", sketch.bar_name(phrase.bars.start), sketch.bar_name(last));
        for task in &phrase.tasks {
            let section = &lineup.sections[task.section];
            let who = if task.chairs.len() == section.chairs.len() || section.is_body {
                section.name.clone()
            } else {
                let numbers: Vec<String> = task.chairs.iter().map(|chair| (chair + 1).to_string()).collect();
                format!("{} {}", section.name, numbers.join("."))
            };
            let keys =
                task.chairs.iter().filter_map(|&chair| done.notes.get(&(task.section, chair))).flatten().map(|note| note.key());
            let range = keys.fold(None, |range: Option<(i32, i32)>, key| {
                Some(range.map_or((key, key), |(low, high)| (low.min(key), high.max(key))))
            });
            let name =
                |key: i32| ripieno_score::MidiKey::try_from(key).map_or_else(|_| key.to_string(), |key| key.pitch().to_string());
            let mut what = task.strand.map_or_else(|| "silence".to_owned(), |strand| sketch.strands[strand].name.to_lowercase());
            if let Some(octave) = task.octave.filter(|octave| *octave != 0) {
                let _ = write!(what, ", {octave:+} octave");
            }
            if task.doubling == Doubling::Octaves {
                what.push_str(", in octaves");
            }
            match task.thickening {
                Thickening::None => {}
                Thickening::Diatonic => what.push_str(", thickened in thirds"),
                Thickening::ChordTones => what.push_str(", thickened by chord tones"),
                Thickening::Triads => what.push_str(", thickened to triads"),
            }
            let register = range.map_or_else(String::new, |(low, high)| format!("{}–{}", name(low), name(high)));
            let _ = writeln!(text, "  {who:<24} {what:<28} {register:<10} {}", task.why);
        }
    }
    text.push_str("criteria\n");
    for criterion in &cast.criteria.all {
        let _ = writeln!(text, "  {:<32} {:>8.3} {}", criterion.name, criterion.value, criterion.unit);
    }
    let _ = writeln!(text, "search: {}", cast.optimality.reason());
    for remark in &cast.remarks {
        let _ = writeln!(text, "note: {remark}");
    }
    text
}
