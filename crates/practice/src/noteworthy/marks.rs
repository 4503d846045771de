//! Printed signs in force: what a moment may say of loudness. A hairpin tells that it grows, not how loud it gets, and an old sign says little after a long rest.

use std::collections::BTreeMap;

use ripieno_score::{BarIndex, Crotchets, DirectionKind, DynamicMark, Mark, Part};

use crate::material::Material;
use crate::measures::printed_levels;

/// Where a sign stands.
type Place = (BarIndex, Crotchets);

/// A sign in force at a note: its level, and where it stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sign {
    pub level: f32,
    pub place: Place,
}

/// Bars of rest after which an older sign is no longer told.
pub(super) const FORGOTTEN: u32 = 8;

/// The signs of a part by staff, in order.
fn signs(part: &Part) -> BTreeMap<u8, Vec<Sign>> {
    let mut found: BTreeMap<u8, Vec<Sign>> = BTreeMap::new();
    let mut add = |mark: &DynamicMark, staff: u8, place: Place| {
        if let DynamicMark::Level(level) | DynamicMark::AttackThen(_, level) = mark {
            found.entry(staff).or_default().push(Sign { level: level.0, place });
        }
    };
    for direction in &part.directions {
        if let DirectionKind::Dynamic(mark) = &direction.kind {
            add(mark, direction.staff, (direction.bar, direction.at));
        }
    }
    for (note, mark) in &part.marks {
        if let (Mark::Dynamic(mark), Some(note)) = (mark, part.notes.get(*note as usize)) {
            add(mark, note.staff, (note.bar, note.at));
        }
    }
    for signs in found.values_mut() {
        signs.sort_by_key(|sign| sign.place);
    }
    found
}

/// By row of the notes the sign in force; `None` under a hairpin and after one that leads to no sign, before the first sign, and where it is older than a long rest.
/// `parts` says which part sounds in which bar.
pub(super) fn signs_in_force(material: &Material<'_>, parts: &[Vec<bool>]) -> Vec<Option<Sign>> {
    let notes = &material.sounding.notes;
    let bars = &material.sounding.bars;
    let levels = printed_levels(material);
    let mut found = vec![None; notes.len()];
    for (index, part) in material.score.parts.iter().enumerate() {
        let signs = signs(part);
        let since = entered(index, parts);
        for row in notes.of_part[index].clone() {
            let Some(own) = signs.get(&notes.staff[row]).or_else(|| signs.values().next()) else { continue };
            let played = notes.bar[row] as usize;
            let here = (bars[played].bar, notes.onset[row] - bars[played].start);
            let before = &own[..own.partition_point(|sign| sign.place <= here)];
            let Some(last) = before.last() else { continue };
            if bars[since[played] as usize].bar.at() <= last.place.0.at() + 1 {
                // Two voices may have a sign each at one moment.
                let mut same = before.iter().rev().take_while(|sign| sign.place == last.place);
                found[row] = same.find(|sign| levels[row].is_some_and(|level| (level - sign.level).abs() < 0.01)).copied();
            }
        }
    }
    found
}

/// By bar the bar in which a part last came in after a long rest.
fn entered(part: usize, parts: &[Vec<bool>]) -> Vec<u32> {
    let (mut since, mut rested) = (0, FORGOTTEN);
    (0u32..)
        .zip(parts)
        .map(|(bar, sounds)| {
            if sounds[part] {
                since = if rested >= FORGOTTEN { bar } else { since };
                rested = 0;
            } else {
                rested += 1;
            }
            since
        })
        .collect()
}
