//! Moments of a chart: only such as need no notes, each drawn from one measure.

use std::ops::Range;

use super::moments::Moment;
use super::words::capital;
use super::{of, runs};
use crate::material::Material;
use crate::measure::{Subject, Taken, Unit, Value};

/// Whole bars of rest after which an entry is worth looking at.
const REST: f64 = 8.0;
/// Bars for which a section has to stay split, or the melody alone.
const LASTS: usize = 3;
/// Most of one kind.
const MOST: usize = 4;

/// The moments, the most telling first.
pub(super) fn moments(material: &Material<'_>, taken: &[Taken]) -> Vec<Moment> {
    let mut found = Vec::new();
    for value in of(taken, "stack").iter().filter(|value| value.aspect == "tutti bars") {
        let Some(first) = runs(&value.bars).max_by_key(|run| (run.len(), std::cmp::Reverse(run.start))) else { continue };
        let whom =
            if value.of == Subject::Everybody { "The whole orchestra".to_owned() } else { capital(&material.name(value.of)) };
        let weight = if value.of == Subject::Everybody { 0.9 } else { 0.8 };
        let reason = format!(
            "{whom}, each section of it, in {}: the longest such stretch, of {} bars in all.",
            length(&first),
            value.bars.len()
        );
        found.push(Moment { kind: "tutti", bars: first, reason, weight });
    }
    let density = of(taken, "density").iter().filter(|value| value.of == Subject::Everybody && value.unit == Unit::Players);
    for value in density {
        let (kind, word) = match value.aspect.as_str() {
            "players, thickest bars" => ("most players", "most"),
            "players, thinnest bars" => ("fewest players", "fewest"),
            _ => continue,
        };
        let Some(first) = runs(&value.bars).max_by_key(|run| (run.len(), std::cmp::Reverse(run.start))) else { continue };
        let reason = format!("{} people sound at once on average, the {word} of any bar.", round(value.value));
        found.push(Moment { kind, bars: first, reason, weight: 0.7 });
    }
    let entries = of(taken, "entries").iter().filter(|value| {
        matches!(value.of, Subject::Section(_)) && value.aspect == "longest rest before an entry" && value.value >= REST
    });
    let mut entries: Vec<&Value> = entries.collect();
    entries.sort_by(|a, b| b.value.total_cmp(&a.value).then(a.of.cmp(&b.of)));
    for value in entries.into_iter().take(MOST) {
        let Some(&bar) = value.bars.first() else { continue };
        let reason = format!("{} come in after {} bars of rest.", capital(&material.name(value.of)), round(value.value));
        found.push(Moment { kind: "entry", bars: bar..bar + 1, reason, weight: 0.6 });
    }
    let splits = of(taken, "cohesion").iter().filter(|value| value.aspect.contains(" against "));
    let mut splits: Vec<(Range<u32>, &Value)> = splits.flat_map(|value| runs(&value.bars).map(move |run| (run, value))).collect();
    splits.retain(|(run, _)| run.len() >= LASTS);
    splits.sort_by_key(|(run, value)| (std::cmp::Reverse(run.len()), run.start, value.of));
    for (run, value) in splits.into_iter().take(MOST) {
        let reason = format!("{} split for {}: {}.", capital(&material.name(value.of)), length(&run), value.aspect);
        found.push(Moment { kind: "split section", bars: run, reason, weight: 0.55 });
    }
    for value in of(taken, "hand_offs").iter().filter(|value| value.aspect == "hands on to").take(MOST) {
        let (Some(&bar), Some(to)) = (value.bars.first(), value.with) else { continue };
        let reason = format!("The melody goes from the {} to the {}.", material.name(value.of), material.name(to));
        found.push(Moment { kind: "hand-off", bars: bar..bar + 1, reason, weight: 0.5 });
    }
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.bars.start.cmp(&b.bars.start)));
    found
}

fn length(bars: &Range<u32>) -> String {
    if bars.len() == 1 { "one bar".to_owned() } else { format!("{} bars", bars.len()) }
}

/// To one place, without a nought at the end.
fn round(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}
