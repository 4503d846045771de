//! Presence: in which bars, and for how much of the time, some of these parts sound.

use ripieno_score::{Crotchets, Sounding};

use crate::material::Material;
use crate::measure::{Measure, OnChart, Unit, Value};

pub(super) const MEASURE: Measure = Measure {
    name: "presence",
    title: "Presence",
    says: "In how many bars, for how much of the time, and with how much of all playing a part, section or family is there.",
    definition: "Bars: played bars in which something of the group sounds, a note reaching into a bar included, of all played bars. Time: crotchets in \
                 which something of it sounds, players together counted once, of all crotchets. Player-time: crotchets times people playing, \
                 of the same for the whole score; people are counted as printed, a body of strings without a number with its least.",
    source: "common practice",
    example: "The demo's trombones are silent until their reserved entry; their presence names the bars.",
    on_chart: OnChart::Without("without attacks"),
    take,
};

#[allow(clippy::cast_precision_loss)] // attacks are far below 2^52
fn take(material: &Material<'_>) -> Vec<Value> {
    let sounding = material.sounding;
    let mut of_part = vec![Crotchets::ZERO; material.score.parts.len()];
    for (slice, rows) in material.slices.iter() {
        for of_one in rows.chunk_by(|&a, &b| material.part_of(a) == material.part_of(b)) {
            let people = i64::from(material.players(of_one));
            of_part[material.part_of(of_one[0])] += slice.length() * Crotchets::whole(people);
        }
    }
    let whole: Crotchets = of_part.iter().copied().sum();
    let mut values = Vec::new();
    for of in material.subjects() {
        let parts = of.parts(material.score, material.groups);
        let here = presence(sounding, &parts);
        let people: Crotchets = parts.iter().map(|&part| of_part[part]).sum();
        let people = people.checked_div(whole).map_or(0.0, Crotchets::to_f64);
        let numbers = [
            ("bars", here.share_of_bars, Unit::ShareOfBars),
            ("time", here.share_of_time, Unit::ShareOfTime),
            ("player-time", people, Unit::ShareOfPlayerTime),
            ("attacks", here.attacks as f64, Unit::Count),
        ];
        let numbers = numbers.into_iter().filter(|number| !material.charted || number.2 != Unit::Count);
        values.extend(numbers.map(|(aspect, value, unit)| Value {
            of,
            with: None,
            aspect: aspect.to_owned(),
            value,
            unit,
            bars: here.bars.clone(),
        }));
    }
    values
}

/// Presence of a part or a group of parts.
#[derive(Debug, Clone, PartialEq)]
pub struct Presence {
    /// Played bars in which something of the group sounds, ascending. A note that reaches into a bar counts there.
    pub bars: Vec<u32>,
    /// Time in which something of the group sounds; players together are counted once.
    pub time: Crotchets,
    /// Share of all bars, 0 to 1.
    pub share_of_bars: f64,
    /// Share of the whole time, 0 to 1.
    pub share_of_time: f64,
    /// Number of attacks: notes begun, grace notes included.
    pub attacks: usize,
}

/// Played bars in which any of `parts` sounds, ascending.
#[must_use]
pub(crate) fn bars_with_sound(sounding: &Sounding, parts: &[usize]) -> Vec<u32> {
    let mut sounds = vec![false; sounding.bars.len()];
    for rows in parts.iter().filter_map(|&part| sounding.notes.of_part.get(part)) {
        for row in rows.clone() {
            let end = sounding.notes.onset[row] + sounding.notes.duration[row];
            let first = sounding.notes.bar[row] as usize;
            sounds[first] = true;
            for (bar, sounds) in sounding.bars[first..].iter().zip(&mut sounds[first..]).skip(1) {
                if bar.start >= end {
                    break;
                }
                *sounds = true;
            }
        }
    }
    (0u32..).zip(sounds).filter_map(|(bar, sounds)| sounds.then_some(bar)).collect()
}

/// Measures presence of `parts` taken together.
#[must_use]
#[allow(clippy::cast_precision_loss)] // bar counts are far below 2^52
pub fn presence(sounding: &Sounding, parts: &[usize]) -> Presence {
    let bars = bars_with_sound(sounding, parts);
    let rows = || parts.iter().filter_map(|&part| sounding.notes.of_part.get(part)).flat_map(Clone::clone);
    let mut spans: Vec<(Crotchets, Crotchets)> =
        rows().map(|row| (sounding.notes.onset[row], sounding.notes.onset[row] + sounding.notes.duration[row])).collect();
    spans.sort_unstable();
    let (mut time, mut reached) = (Crotchets::ZERO, Crotchets::ZERO);
    for (from, to) in spans {
        let from = from.max(reached);
        if to > from {
            time += to - from;
            reached = to;
        }
    }
    let whole = sounding.length();
    Presence {
        share_of_bars: if sounding.bars.is_empty() { 0.0 } else { bars.len() as f64 / sounding.bars.len() as f64 },
        share_of_time: time.checked_div(whole).map_or(0.0, Crotchets::to_f64),
        attacks: rows().count(),
        bars,
        time,
    }
}
