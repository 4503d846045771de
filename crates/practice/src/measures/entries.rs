//! Entries and exits: who comes in when, after how long a rest, and who leaves.

use super::presence::presence;
use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};

pub(super) const MEASURE: Measure = Measure {
    name: "entries",
    title: "Entries and exits",
    says: "How often a section or part enters after a rest and leaves for one, how long it waits, and how long it plays on.",
    definition: "In played bars, a note reaching into a bar included. A rest is a run of whole bars without a sound. Entries: bars with sound that follow a rest, the rest before the first \
                 note included. Exits: bars with sound that a rest follows, the rest after the last note included. Longest rest before an entry: its bars, and where it ends. Longest \
                 stretch: most bars in a row that all have sound. First entry: how many whole bars pass before it, and where it is; last note: how many whole bars follow the last with sound, and where that is.",
    source: "common practice",
    example: "The demo's trombones enter for the first time in bar 35 and then rest for 35 bars, from 46 to 80, before they come back with the whole orchestra.",
    on_chart: OnChart::Whole,
    take,
};

fn take(material: &Material<'_>) -> Vec<Value> {
    let subjects =
        material.subjects().into_iter().filter(|of| matches!(of, Subject::Section(_) | Subject::Named(_) | Subject::Part(_)));
    subjects
        .flat_map(|of| {
            let bars = presence(material.sounding, &of.parts(material.score, material.groups)).bars;
            of_bars(of, &bars, material.sounding.bars.len())
        })
        .collect()
}

/// Entries and exits of whoever sounds in these bars of so many.
#[allow(clippy::cast_precision_loss)] // bars of a score
fn of_bars(of: Subject, bars: &[u32], all: usize) -> Vec<Value> {
    let stretches: Vec<&[u32]> = bars.chunk_by(|&a, &b| b == a + 1).collect();
    let (Some(&first), Some(&last)) = (bars.first(), bars.last()) else { return Vec::new() };
    let value = |aspect: &str, value: f64, unit: Unit, bars: Vec<u32>| Value {
        of,
        with: None,
        aspect: aspect.to_owned(),
        value,
        unit,
        bars,
    };
    // Bar of entry and the rest before it; a rest of no bars before the first note is none.
    let mut free = 0;
    let mut entries: Vec<(u32, u32)> = Vec::new();
    for stretch in &stretches {
        entries.push((stretch[0], stretch[0] - free));
        free = stretch[stretch.len() - 1] + 1;
    }
    entries.retain(|entry| entry.1 > 0);
    let after = u32::try_from(all).unwrap_or(u32::MAX).saturating_sub(free);
    let mut exits: Vec<u32> = stretches.iter().map(|stretch| stretch[stretch.len() - 1]).collect();
    if after == 0 {
        exits.pop();
    }
    let entered: Vec<u32> = entries.iter().map(|entry| entry.0).collect();
    let mut values = vec![
        value("entries", entered.len() as f64, Unit::Count, entered),
        value("exits", exits.len() as f64, Unit::Count, exits),
    ];
    if let Some(longest) = entries.iter().map(|entry| entry.1).max() {
        let at = entries.iter().filter(|entry| entry.1 == longest).map(|entry| entry.0).collect();
        values.push(value("longest rest before an entry", f64::from(longest), Unit::Bars, at));
    }
    if let Some(longest) = stretches.iter().map(|stretch| stretch.len()).max() {
        let at = stretches.iter().filter(|stretch| stretch.len() == longest).flat_map(|stretch| stretch.iter().copied());
        values.push(value("longest stretch", longest as f64, Unit::Bars, at.collect()));
    }
    values.push(value("first entry", f64::from(first), Unit::Bars, vec![first]));
    values.push(value("last note", f64::from(after), Unit::Bars, vec![last]));
    values
}
