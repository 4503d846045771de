//! Hand-offs: who passes the melody to whom.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::Crotchets;
use ripieno_texture::{Carried, Line};

use crate::attacks::begun_at;
use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};

pub(super) const MEASURE: Measure = Measure {
    name: "hand_offs",
    title: "Who passes the melody to whom",
    says: "From which section to which the melody goes, how often, and in which bars.",
    definition: "The melody goes from carrier to carrier as in docs/roles.md. A hand-off is a change of carrier in which the new one did not already double the old \
                 one, and the old one does not double the new one; each has melody or countermelody for at least half of its stretch, the new one in neither role for half of the bar before, nor the old one for half of the bar after, and no more than a bar of silence lies between; each lasts a bar or more with at least four notes on three pitches, and neither begins half of the other's notes with it in the bar on its side of the change. It counts in the bar in which the new carrier begins. Takes over and hands on \
                 are sums over all others; within the section is one player or desk after another of the same section.",
    source: "common practice",
    example: "In the demo the theme goes from horn to oboe in bar 4, from oboe to horns in 8, from horns to violins in 16.",
    on_chart: OnChart::Without("by time alone, without asking for four notes on three pitches"),
    take,
};

fn take(material: &Material<'_>) -> Vec<Value> {
    let section_of = material.groups.section_of_parts();
    // Bars of each kind of change; several may fall in one bar.
    let mut found: BTreeMap<(Subject, Option<Subject>, &str), Vec<u32>> = BTreeMap::new();
    for pair in material.roles.melody.windows(2) {
        let (old, new) = (&pair[0], &pair[1]);
        if !is_hand_off(material, old, new) {
            continue;
        }
        let (from, to) = (Subject::Section(section_of[old.part]), Subject::Section(section_of[new.part]));
        let bar = bar_at(material, new);
        let mut add = |of, with, aspect| found.entry((of, with, aspect)).or_default().push(bar);
        add(Subject::Everybody, None, "hand-offs");
        if from == to {
            add(from, None, "within the section");
        } else {
            add(from, Some(to), "hands on to");
            add(from, None, "hands on");
            add(to, None, "takes over");
        }
    }
    let value = |((of, with, aspect), mut bars): ((Subject, Option<Subject>, &str), Vec<u32>)| {
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let count = bars.len() as f64;
        bars.sort_unstable();
        bars.dedup();
        Value { of, with, aspect: aspect.to_owned(), value: count, unit: Unit::Count, bars }
    };
    found.into_iter().map(value).collect()
}

fn is_hand_off(material: &Material<'_>, old: &Carried, new: &Carried) -> bool {
    let bar = material.sounding.bars.get(new.bars.start as usize).map_or_else(Default::default, |bar| bar.length);
    let goes_on = old.part == new.part || old.is_carried_by(new.part) || new.is_carried_by(old.part);
    let sings = |carried: &Carried| material.roles.sings(carried.part, carried.from, carried.to);
    // Who joins in before, or goes on beside, hands nothing over.
    let before = material.roles.sings(new.part, (new.from - bar).max(old.from), new.from);
    let after = material.roles.sings(old.part, new.from, (new.from + bar).min(new.to));
    let lasts = [old, new].into_iter().all(|carried| carried.to - carried.from >= bar);
    // A chart knows no notes to ask.
    let tunes = material.charted || [old, new].into_iter().all(|carried| is_tune(&material.lines.lines[carried.line], carried));
    let apart = material.charted
        || !plays_along(material, new.line, old, new.from - bar, new.from)
            && !plays_along(material, old.line, new, new.from, new.from + bar);
    !goes_on && new.from - old.to <= bar && sings(old) && sings(new) && !before && !after && lasts && tunes && apart
}

/// Notes and pitches that make a tune worth handing on.
const TUNE: (usize, usize) = (4, 3);

/// Whether a carrier has something to hand on: several notes on several pitches.
fn is_tune(line: &Line, carried: &Carried) -> bool {
    let attacks = &line.attacks[line.attacks_in(carried.from, carried.to)];
    let pitches: BTreeSet<Option<u8>> = attacks.iter().map(|attack| attack.top).collect();
    attacks.len() >= TUNE.0 && pitches.len() >= TUNE.1
}

/// Whether a line begins at least half of the notes that the carrier begins in a stretch of time: one who plays along already has what is handed on.
fn plays_along(material: &Material<'_>, line: usize, carried: &Carried, from: Crotchets, to: Crotchets) -> bool {
    let carrier = &material.lines.lines[carried.line];
    let attacks = &carrier.attacks[carrier.attacks_in(from.max(carried.from), to.min(carried.to))];
    let own = &material.lines.lines[line].attacks;
    let shared = attacks.iter().filter(|attack| begun_at(own, attack.onset).is_some()).count();
    shared * 2 >= attacks.len() && !attacks.is_empty()
}

/// The played bar in which a carrier begins, its upbeat's where it has one.
fn bar_at(material: &Material<'_>, carried: &Carried) -> u32 {
    let bars = &material.sounding.bars;
    let next = bars.partition_point(|bar| bar.start <= carried.from);
    u32::try_from(next.saturating_sub(1)).unwrap_or(u32::MAX)
}
