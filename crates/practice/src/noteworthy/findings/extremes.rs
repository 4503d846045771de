//! The highest notes, the loudest marks, and who is marked softer when all are loud.

use std::collections::BTreeMap;

use ripieno_instruments::family::{Family, Section};
use ripieno_score::{DirectionKind, DynamicLevel, DynamicMark, MidiKey};

use super::Found;
use crate::measure::{Subject, Taken};
use crate::noteworthy::course::Course;
use crate::noteworthy::one;
use crate::noteworthy::words::{capital, counted, percent};

/// Bars in which a highest note may stand and still be kept for them.
const FEW: usize = 2;
/// Forte on the scale of [`DynamicLevel`].
const LOUD: f32 = 6.0;

/// Sections of brass whose highest note comes in very few bars: there the top is a matter of lips, elsewhere it tells little.
pub(super) fn highest(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for section in 0..course.bars_of.len() {
        if course.family_of(section) != Family::Brass || course.bars_of[section].len() < 24 {
            continue;
        }
        let Some(value) = one(taken, "tessitura", Subject::Section(section), "highest").filter(|value| value.bars.len() <= FEW)
        else {
            continue;
        };
        if !is_high(course, section, value.value) {
            continue;
        }
        // A semitone above what is common is no peak.
        let Some(next) = next_highest(course, section, value.value).filter(|next| *next + PEAK <= value.value) else { continue };
        let (Some(note), Some(next)) = (spelled(course, section, value.value), spelled(course, section, next)) else { continue };
        let full = value.bars.iter().filter(|bar| course.tuttis.iter().any(|tutti| tutti.contains(bar))).count();
        let where_ = if full == value.bars.len() { ", in a tutti" } else { "" };
        let text = format!(
            "The highest note of the {}, {note} in sounding pitch, comes in {} only{where_}; elsewhere they do not go beyond {next}.",
            course.section_name(section),
            counted(value.bars.len(), "bar")
        );
        let kept = if full == value.bars.len() { 0.06 } else { 0.0 };
        found.say("tessitura", value, text, 0.46 + kept);
    }
}

/// Semitones from the top of an instrument's compass within which a note is high for it: common practice of speaking.
const HIGH: f64 = 5.0;

/// Whether a key lies near the top of the compass of an instrument of the section.
fn is_high(course: &Course<'_>, section: usize, key: f64) -> bool {
    let instruments =
        course.material.groups.sections[section].parts.iter().filter_map(|&part| course.material.groups.parts[part].instrument);
    let tops = instruments.filter_map(|instrument| instrument.sounding(instrument.default_transposition()));
    tops.map(|ranges| f64::from(ranges.extreme.high())).reduce(f64::min).is_some_and(|top| key >= top - HIGH)
}

/// Semitones by which the highest note has to lie above the next.
const PEAK: f64 = 2.0;

/// The highest key of a section below this one.
fn next_highest(course: &Course<'_>, section: usize, top: f64) -> Option<f64> {
    let notes = &course.material.sounding.notes;
    let rows = course.material.groups.sections[section].parts.iter().flat_map(|&part| notes.of_part[part].clone());
    rows.filter_map(|row| notes.key[row]).map(|key| f64::from(key.number())).filter(|key| *key < top).reduce(f64::max)
}

/// A key as the section's part spells it.
#[allow(clippy::cast_possible_truncation)] // a key of the keyboard
fn spelled(course: &Course<'_>, section: usize, key: f64) -> Option<String> {
    let key = MidiKey::try_from(key as i32).ok()?;
    let notes = &course.material.sounding.notes;
    let parts = &course.material.groups.sections[section].parts;
    let row = parts.iter().flat_map(|&part| notes.of_part[part].clone()).find(|&row| notes.key[row] == Some(key))?;
    Some(notes.pitch[row].to_string().replace('#', "♯").replace('b', "♭"))
}

/// The loudest mark of the score, and how seldom it is in force.
pub(super) fn loudest(course: &Course<'_>, found: &mut Found<'_>) {
    let directions = course.material.score.parts.iter().flat_map(|part| &part.directions);
    let printed = directions.filter_map(|direction| match &direction.kind {
        DirectionKind::Dynamic(DynamicMark::Level(level)) => Some(level.0),
        _ => None,
    });
    let Some(top) = printed.reduce(f32::max) else { return };
    let bars: Vec<u32> = (0u32..)
        .zip(&course.level)
        .map(|(bar, _)| bar)
        .filter(|&bar| course.usual_level(bar).is_some_and(|level| level >= top))
        .collect();
    let all = course.level.len();
    if bars.len() * 5 <= all && bars.len() >= 2 {
        let mark = DynamicLevel(top).mark();
        let text = format!("The loudest mark, {mark}, is in force for most who play in {} of {all} bars only.", bars.len());
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let about = (Subject::Everybody, None, "loudest mark", bars.len() as f64 / all as f64);
        found.say_of("dynamics", about, text, &bars, 0.45);
    }
}

/// By bar the sign of the softest part of a section that sounds, soloists left out: what all of them reach.
fn softest(course: &Course<'_>, section: usize) -> Vec<Option<f32>> {
    let material = course.material;
    let mut softest: Vec<BTreeMap<usize, f32>> = vec![BTreeMap::new(); material.sounding.bars.len()];
    let parts = &material.groups.sections[section].parts;
    for &part in parts.iter().filter(|&&part| !course.is_soloist(part)) {
        for row in material.sounding.notes.of_part[part].clone() {
            let Some(level) = course.signs[row].map(|sign| sign.level) else { continue };
            let known = softest[material.sounding.notes.bar[row] as usize].entry(part).or_insert(level);
            *known = known.max(level);
        }
    }
    softest.iter().map(|of| of.values().copied().reduce(f32::min)).collect()
}

/// Sections of brass that are marked softer than the violins where both play and the violins are loud.
pub(super) fn marked_softer(course: &Course<'_>, found: &mut Found<'_>) {
    let violins = (0..course.bars_of.len()).find(|&section| course.section_name(section) == Section::Violins.name());
    let Some(violins) = violins else { return };
    let tutti_violins = softest(course, violins);
    for section in (0..course.bars_of.len()).filter(|&section| course.family_of(section) == Family::Brass) {
        let pairs = course.sign_of[section].iter().zip(&tutti_violins);
        let both: Vec<(u32, f32, f32)> = (0u32..)
            .zip(pairs)
            .filter_map(|(bar, (own, theirs))| Some((bar, (*own)?, (*theirs)?)))
            .filter(|both| both.2 >= LOUD)
            .collect();
        let softer: Vec<u32> = both.iter().filter(|(_, own, theirs)| *own + 1.0 <= *theirs).map(|(bar, ..)| *bar).collect();
        if softer.len() < 4 || softer.len() * 2 < both.len() {
            continue;
        }
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let share = softer.len() as f64 / both.len() as f64;
        let text = format!(
            "In {} of the {} bars in which the violins are at f or louder and the {} play too, these are at least one step softer ({}).",
            softer.len(),
            both.len(),
            course.section_name(section),
            percent(share)
        );
        let about = (Subject::Section(section), Some(Subject::Section(violins)), "softer at f", share);
        found.say_of("dynamics", about, capital(&text), &softer, 0.5 + 0.1 * share);
    }
}
