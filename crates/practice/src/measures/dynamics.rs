//! Dynamics: at which printed level a section plays, in all and in each role.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::{BarIndex, Crotchets, DirectionKind, DynamicLevel, DynamicMark, Mark, Part};
use ripieno_texture::Role;

use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::spread::Spread;
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "dynamics",
    title: "Printed dynamics",
    says: "How much of its time a section plays at each printed dynamic, and how loud it is marked in each role.",
    definition: "Line by line: the time in which a line sounds at a level, summed over the lines of the section, divided by the time in which its lines sound, so \
                 that the shares of a section add up to 1. A note has the level at which it begins: the mark in force on its staff, on the way between two marks inside a hairpin or \
                 after “cresc.” and “dim.”; a stress such as sf does not raise it; a chord has that of its loudest note. The level counts to the nearest mark. Before the first mark a part \
                 is “unmarked”. Median: the level up to which half of the marked time is spent (ppp 1, pp 2, p 3, mp 4, mf 5, f 6, ff 7, fff 8). Levels as printed tell nothing of decibels.",
    source: "common practice; levels as in the sounding view of a score",
    example: "The demo's tuba plays nothing softer than fortissimo: it is kept for the tuttis of bars 35 to 45, 81 to 100 and 105 to 108.",
    on_chart: OnChart::Whole,
    take,
};

/// A step of dynamics in hundredths, to be counted exactly.
const HUNDREDTHS: f32 = 100.0;

/// What the sounding view of a score adds to the level of a note under a stress.
const STRESS: f32 = 1.0;

/// Where a part has stresses, as the sounding view reads them: staff by staff, a staff without dynamics of its own following the first that has some.
struct Stresses {
    staves: BTreeSet<u8>,
    at: BTreeSet<(u8, BarIndex, Crotchets)>,
}

impl Stresses {
    fn new(part: &Part) -> Self {
        let mut found = Self { staves: BTreeSet::new(), at: BTreeSet::new() };
        let mut add = |mark: &DynamicMark, place: (u8, BarIndex, Crotchets)| {
            found.staves.insert(place.0);
            if matches!(mark, DynamicMark::Attack(_) | DynamicMark::AttackThen(..)) {
                found.at.insert(place);
            }
        };
        for direction in &part.directions {
            if let DirectionKind::Dynamic(mark) = &direction.kind {
                add(mark, (direction.staff, direction.bar, direction.at));
            }
        }
        for (note, mark) in &part.marks {
            if let (Mark::Dynamic(mark), Some(note)) = (mark, part.notes.get(*note as usize)) {
                add(mark, (note.staff, note.bar, note.at));
            }
        }
        found
    }

    fn on(&self, staff: u8, bar: BarIndex, at: Crotchets) -> bool {
        let own = self.staves.get(&staff).or_else(|| self.staves.first());
        own.is_some_and(|&staff| self.at.contains(&(staff, bar, at)))
    }
}

/// The printed level of each row of the notes, stresses taken off.
#[must_use]
pub fn printed_levels(material: &Material<'_>) -> Vec<Option<f32>> {
    let stresses: Vec<Stresses> = material.score.parts.iter().map(Stresses::new).collect();
    let notes = &material.sounding.notes;
    let level = |row: usize| {
        let bar = &material.sounding.bars[notes.bar[row] as usize];
        let stressed = stresses[usize::from(notes.part[row])].on(notes.staff[row], bar.bar, notes.onset[row] - bar.start);
        notes.level[row].map(|level| if stressed { level.0 - STRESS } else { level.0 })
    };
    (0..notes.len()).map(level).collect()
}

/// What a section does.
#[derive(Default, Clone)]
struct Levels {
    by_role: BTreeMap<Role, Spread>,
    unmarked: Tally,
}

fn take(material: &Material<'_>) -> Vec<Value> {
    let mut section_of = vec![usize::MAX; material.score.parts.len()];
    for (index, section) in material.groups.sections.iter().enumerate() {
        section.parts.iter().for_each(|&part| section_of[part] = index);
    }
    let level_of = printed_levels(material);
    let mut levels = vec![Levels::default(); material.groups.sections.len()];
    // The lines that sound, each with its loudest level and one of its rows.
    let mut lines: BTreeMap<usize, (Option<f32>, u32)> = BTreeMap::new();
    for (slice, rows) in material.slices.iter() {
        lines.clear();
        for &row in rows {
            let loudest = lines.entry(material.line_of(row)).or_insert((None, row));
            loudest.0 = loudest.0.into_iter().chain(level_of[row as usize]).reduce(f32::max);
        }
        for &(level, row) in lines.values() {
            let Some(levels) = levels.get_mut(section_of[material.part_of(row)]) else { continue };
            match level {
                Some(level) => {
                    levels.by_role.entry(material.role_at(row, slice.from)).or_default().add(hundredths(level), slice);
                }
                None => levels.unmarked.add(slice),
            }
        }
    }
    levels.iter().enumerate().flat_map(|(section, levels)| levels_of(Subject::Section(section), levels)).collect()
}

#[allow(clippy::cast_possible_truncation)] // clamped far within range
fn hundredths(level: f32) -> i32 {
    (level.clamp(-100.0, 100.0) * HUNDREDTHS).round() as i32
}

#[allow(clippy::cast_precision_loss)] // at most 10 000
fn steps(hundredths: i32) -> f32 {
    hundredths as f32 / HUNDREDTHS
}

fn levels_of(of: Subject, levels: &Levels) -> Vec<Value> {
    let mut all = Spread::default();
    levels.by_role.values().for_each(|spread| all.join(spread));
    let whole: Crotchets = all.whole().time + levels.unmarked.time;
    let mut by_mark: Vec<(&str, Tally)> = Vec::new();
    for (level, tally) in all.iter() {
        let mark = DynamicLevel(steps(level)).mark();
        match by_mark.last_mut().filter(|last| last.0 == mark) {
            Some((_, sum)) => sum.join(tally),
            None => by_mark.push((mark, tally.clone())),
        }
    }
    if !levels.unmarked.time.is_zero() {
        by_mark.push(("unmarked", levels.unmarked.clone()));
    }
    let mut values: Vec<Value> = by_mark.into_iter().map(|(mark, tally)| tally.value(of, None, mark, whole)).collect();
    let median = |aspect: String, spread: &Spread| {
        spread.median().map(|level| Value {
            of,
            with: None,
            aspect,
            value: f64::from(level) / f64::from(HUNDREDTHS),
            unit: Unit::Level,
            bars: spread.whole().bars,
        })
    };
    values.extend(median("median".to_owned(), &all));
    values.extend(levels.by_role.iter().filter_map(|(role, spread)| median(format!("median, {role}"), spread)));
    values
}
