//! What sentences ask for and notes do not show at a glance: instruments that players take, tuttis, swells, and the bars behind some measures.

use ripieno_score::{PartLevels, Swell};
use ripieno_study::Study;

use super::Table;
use super::column::{Cell, Filling};
use super::made::table;
use crate::answer::runs;

/// The table "instruments": on what each part plays, in the bars from one change to the next in which it sounds.
pub(super) fn instruments(study: &Study) -> Table {
    let held = study.instruments_of_parts();
    table("instruments", |rows: &mut Filling| {
        for (part, measured) in study.of_parts.iter().enumerate() {
            let own: Vec<_> = held.iter().filter(|held| held.part == part).collect();
            // The one taken up last sounds on where nothing begins.
            let mut last: Option<usize> = None;
            let mut spans: Vec<Option<(u32, u32)>> = vec![None; own.len()];
            for &bar in &measured.presence.bars {
                let begun: Vec<usize> = (0..own.len()).filter(|&at| own[at].bars.binary_search(&bar).is_ok()).collect();
                let here = if begun.is_empty() { last.into_iter().collect() } else { begun };
                for (at, span) in spans.iter_mut().enumerate() {
                    match span {
                        Some((_, end)) if here.contains(&at) => *end = bar,
                        None if here.contains(&at) => *span = Some((bar, bar)),
                        Some((first, end)) => {
                            rows.push(instrument_row(part, *first, *end, own[at].instrument.map(|it| it.id.as_str())));
                            *span = None;
                        }
                        None => {}
                    }
                }
                last = here.last().copied().or(last);
            }
            for (at, (first, end)) in spans.into_iter().enumerate().filter_map(|(at, span)| Some((at, span?))) {
                rows.push(instrument_row(part, first, end, own[at].instrument.map(|it| it.id.as_str())));
            }
        }
    })
}

fn instrument_row(part: usize, first: u32, last: u32, id: Option<&str>) -> [Cell<'_>; 4] {
    [Cell::count(part), Cell::Whole(i64::from(first)), Cell::Whole(i64::from(last)), Cell::text(id)]
}

/// The table "tuttis".
pub(super) fn tuttis(study: &Study) -> Table {
    table("tuttis", |rows: &mut Filling| {
        for full in study.full_bars() {
            let (Some(&first), Some(&last)) = (full.bars.first(), full.bars.last()) else { continue };
            let name = |&section: &usize| study.groups.sections.get(section).map_or("", |section| section.name);
            let without = full.without.iter().map(name).collect::<Vec<_>>().join("; ");
            rows.push([
                Cell::Whole(i64::from(first)),
                Cell::Whole(i64::from(last)),
                Cell::text(Some(without.as_str()).filter(|without| !without.is_empty())),
            ]);
        }
    })
}

/// The table "swells": bars under a hairpin or after "cresc." and "dim." up to what they lead to, part by part.
pub(super) fn swells(study: &Study) -> Table {
    let bars = &study.sounding.bars;
    table("swells", |rows: &mut Filling| {
        for (index, part) in study.score.parts.iter().enumerate() {
            let levels = PartLevels::new(part, &study.score.bars);
            let mut held = [vec![false; bars.len()], vec![false; bars.len()]];
            for (from, to, swell) in levels.swells() {
                let touched = study.bars_between(from, to);
                let of = &mut held[usize::from(swell == Swell::Diminuendo)];
                of.iter_mut().take(touched.end as usize).skip(touched.start as usize).for_each(|held| *held = true);
            }
            for (name, held) in ["crescendo", "diminuendo"].into_iter().zip(&held) {
                for (first, last) in runs(held) {
                    rows.push([Cell::count(index), Cell::count(first), Cell::count(last), Cell::Text(name)]);
                }
            }
        }
    })
}

/// Measures whose bars are kept one by one, and the values of each.
fn is_kept(measure: &str, aspect: &str) -> bool {
    match measure {
        "thickened_lines" => aspect == "time",
        "chord_voicing" => ["close", "open", "within an octave"].contains(&aspect),
        "stack" => true,
        // "6 horns to 3 trombones"
        "brass_weight" => aspect.contains(" to "),
        "cohesion" => aspect == "rhythms part" || aspect.contains(" against "),
        _ => false,
    }
}

/// The table "proofs": the bars behind values of measures that sentences ask for.
pub(super) fn proofs(study: &Study) -> Table {
    table("proofs", |rows: &mut Filling| {
        for taken in &study.practice {
            for value in taken.values.iter().filter(|value| is_kept(taken.measure.name, &value.aspect)) {
                let name = |subject: ripieno_study::Subject| subject.name(&study.score, &study.groups);
                let (of, with) = (name(value.of), value.with.map(name));
                for span in value.bars.chunk_by(|a, b| a + 1 == *b) {
                    let (Some(&first), Some(&last)) = (span.first(), span.last()) else { continue };
                    rows.push([
                        Cell::Text(taken.measure.name),
                        Cell::Text(value.of.kind()),
                        Cell::Text(&of),
                        Cell::text(with.as_deref()),
                        Cell::Text(&value.aspect),
                        Cell::Whole(i64::from(first)),
                        Cell::Whole(i64::from(last)),
                    ]);
                }
            }
        }
    })
}
