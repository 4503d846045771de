//! Moments of register: the widest hole in the sound and the deepest overlap of neighbours, each lasting at least a bar.

use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::Crotchets;

use super::Moment;
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{capital, counted, interval};
use crate::slices::Slice;

/// Parts that have to sound for a hole among them to be heard as one.
const PARTS: usize = 4;
/// The least hole worth a mention: an octave and a minor third.
const HOLE: i32 = 15;
/// The widest looked for, the keyboard.
const KEYS: i32 = 127;

/// A distance that stays open for a while: at least so wide, from when to when, in which bars.
struct Lasting {
    size: i32,
    bars: Range<u32>,
    /// Index of the slice in which it begins.
    first: usize,
}

/// The largest size that a fact of each slice reaches without a break for at least a bar; the longest such stretch, the first of equals.
fn lasting(course: &Course<'_>, facts: &[Option<i32>], least: i32) -> Option<Lasting> {
    let slices = &course.material.slices.slices;
    let bar_of = |slice: &Slice| course.material.sounding.bars.get(slice.bar as usize).map_or(Crotchets::ZERO, |bar| bar.length);
    let largest = facts.iter().flatten().copied().max().unwrap_or(0).min(KEYS);
    for size in (least..=largest).rev() {
        let mut best: Option<(Crotchets, Lasting)> = None;
        let mut at = 0;
        while at < facts.len() {
            if facts[at].is_none_or(|fact| fact < size) {
                at += 1;
                continue;
            }
            let end = at + facts[at..].iter().take_while(|fact| fact.is_some_and(|fact| fact >= size)).count();
            let (first, last) = (&slices[at], &slices[end - 1]);
            let time = last.to - first.from;
            if time >= bar_of(first) && best.as_ref().is_none_or(|(longest, _)| time > *longest) {
                best = Some((time, Lasting { size, bars: first.bar..last.bar + 1, first: at }));
            }
            at = end;
        }
        if let Some((_, found)) = best {
            return Some(found);
        }
    }
    None
}

/// The widest hole between sounding notes of the whole orchestra that lasts at least a bar.
pub(super) fn holes(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let sorted = |rows: &[u32]| {
        let mut keys: Vec<(i32, usize)> =
            rows.iter().filter_map(|&row| Some((material.key_of(row)?, material.part_of(row)))).collect();
        keys.sort_unstable();
        keys
    };
    let widest = |keys: &[(i32, usize)]| keys.windows(2).map(|pair| pair[1].0 - pair[0].0).max();
    let facts: Vec<Option<i32>> = material
        .slices
        .iter()
        .map(|(_, rows)| {
            let keys = sorted(rows);
            let mut parts: Vec<usize> = keys.iter().map(|key| key.1).collect();
            parts.sort_unstable();
            parts.dedup();
            widest(&keys).filter(|_| parts.len() >= PARTS)
        })
        .collect();
    let Some(hole) = lasting(course, &facts, HOLE) else { return };
    let keys = sorted(material.slices.rows(&material.slices.slices[hole.first]));
    let Some(edge) = keys.windows(2).position(|pair| Some(pair[1].0 - pair[0].0) == widest(&keys)) else { return };
    let name = |part: usize| course.section_name(course.section_of[part]);
    let (below, above) = (name(keys[edge].1), name(keys[edge + 1].1));
    let reason = format!(
        "A hole in the sound stays open, {} or more, with at least {} playing; where it begins the {above} are above it and the {below} below.",
        interval(hole.size.unsigned_abs()),
        counted(PARTS, "part")
    );
    found.push(Moment { kind: "widest gap", bars: hole.bars, reason, weight: 0.5 });
}

/// The deepest overlap of two sections of brass (of strings, where there are no two of brass) that lasts at least a bar.
pub(super) fn overlaps(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let sections_of =
        |family: Family| (0..course.bars_of.len()).filter(|&section| course.family_of(section) == family).collect::<Vec<_>>();
    let mut family = Family::Brass;
    let mut sections = sections_of(family);
    if sections.len() < 2 {
        family = Family::Strings;
        sections = sections_of(family);
    }
    let bands: Vec<Vec<Option<(i32, i32)>>> = material
        .slices
        .iter()
        .map(|(_, rows)| {
            let mut bands = vec![None; course.bars_of.len()];
            for &row in rows {
                let Some(key) = material.key_of(row) else { continue };
                let band: &mut Option<(i32, i32)> = &mut bands[course.section_of[material.part_of(row)]];
                *band = Some(band.map_or((key, key), |(low, high)| (low.min(key), high.max(key))));
            }
            bands
        })
        .collect();
    let mut best: Option<(Lasting, usize, usize)> = None;
    for (place, &a) in sections.iter().enumerate() {
        for &b in &sections[place + 1..] {
            let facts: Vec<Option<i32>> = bands.iter().map(|bands| Some(overlap(bands[a]?, bands[b]?))).collect();
            let deeper = best.as_ref().map_or(1, |(known, ..)| known.size + 1);
            if let Some(found) = lasting(course, &facts, deeper) {
                best = Some((found, a, b));
            }
        }
    }
    let Some((deepest, a, b)) = best else { return };
    let reason = format!(
        "The {} and the {} reach into each other's register by {} or more all the while, the deepest lasting overlap in the {}.",
        course.section_name(a),
        course.section_name(b),
        interval(deepest.size.unsigned_abs()),
        family.name()
    );
    found.push(Moment { kind: "deepest overlap", bars: deepest.bars, reason: capital(&reason), weight: 0.48 });
}

/// By how much two bands overlap; 0 or below when they keep apart.
fn overlap(a: (i32, i32), b: (i32, i32)) -> i32 {
    let (lower, upper) = if a.0 + a.1 <= b.0 + b.1 { (a, b) } else { (b, a) };
    lower.1 - upper.0
}
