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
                lineup.label(task.section)
            } else {
                let numbers: Vec<String> = task.chairs.iter().map(|chair| (chair + 1).to_string()).collect();
                format!("{} {}", lineup.label(task.section), numbers.join("."))
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
            if task.muted {
                what.push_str(", muted");
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

/// Several castings of one sketch beside each other: criterion by criterion, the best value starred where they differ, and how many players do something else than in the first.
#[must_use]
pub fn side_by_side(lineup: &Lineup, casts: &[Cast]) -> String {
    let mut text = "proposals beside each other\n".to_owned();
    let Some(first) = casts.first() else { return text };
    for (at, criterion) in first.criteria.all.iter().enumerate() {
        let values: Vec<Option<f64>> = casts.iter().map(|cast| cast.criteria.get(criterion.name)).collect();
        let known = || values.iter().flatten().copied();
        let best = if criterion.more_is_better {
            known().fold(f64::NEG_INFINITY, f64::max)
        } else {
            known().fold(f64::INFINITY, f64::min)
        };
        let differ = known().any(|value| (value - best).abs() > 5e-4);
        let cells: Vec<String> = values
            .iter()
            .map(|value| {
                let star = if differ && value.is_some_and(|value| (value - best).abs() <= 5e-4) { "*" } else { " " };
                value.map_or_else(|| format!("{:>9} ", "-"), |value| format!("{value:>9.3}{star}"))
            })
            .collect();
        let _ = writeln!(text, "  {:<32} {} {}", first.criteria.all[at].name, cells.join(" "), criterion.unit);
    }
    let cells: Vec<String> = casts
        .iter()
        .map(|cast| {
            let (other, all) = differing(lineup, first, cast);
            format!("{:>9} ", format!("{other}/{all}"))
        })
        .collect();
    let _ = writeln!(text, "  {:<32} {} players' phrases", "other tasks than in the first", cells.join(" "));
    text
}

/// Of all players in all phrases, how many have another strand or octave in the second casting than in the first.
#[must_use]
pub fn differing(lineup: &Lineup, a: &Cast, b: &Cast) -> (usize, usize) {
    let (mut other, mut all) = (0, 0);
    for (x, y) in a.plan.phrases.iter().zip(&b.plan.phrases) {
        for (section, found) in lineup.sections.iter().enumerate() {
            for chair in 0..found.chairs.len() {
                let has = |phrase: &crate::plan::PhrasePlan| {
                    let task = phrase.tasks.iter().find(|task| task.section == section && task.chairs.contains(&chair));
                    task.and_then(|task| task.strand.map(|strand| (strand, task.octave.unwrap_or(0))))
                };
                all += 1;
                other += usize::from(has(x) != has(y));
            }
        }
    }
    (other, all)
}
