//! Moments: spans worth looking at, each with its reason, ranked, each place once.
//!
//! A kind of moment is left out of a score in which its premise does not hold: better no sentence than one that hedges.

mod bodies;
mod register;
mod returns;
mod tune;
mod turns;
mod whole;

use std::ops::Range;

use super::course::Course;
use super::varied;
use crate::measure::Taken;

/// A span worth looking at.
#[derive(Debug, Clone, PartialEq)]
pub struct Moment {
    /// Kind: "tutti", "widest gap", "alone".
    pub kind: &'static str,
    /// Played bars, end exclusive.
    pub bars: Range<u32>,
    /// Why it is worth looking at, a sentence or two.
    pub reason: String,
    /// Places in the ranking: larger comes first, 0 to 1, less for each of its kind before it.
    pub weight: f64,
}

/// Moments of a score from its measures, the most telling first. Of two of one kind that overlap the weightier stays.
pub(super) fn moments(course: &Course<'_>, taken: &[Taken]) -> Vec<Moment> {
    let mut found = Vec::new();
    whole::tuttis(course, &mut found);
    whole::unisons(course, &mut found);
    whole::thinnest_and_fullest(course, &mut found);
    whole::climax(course, &mut found);
    turns::turns(course, &mut found);
    turns::silences(course, &mut found);
    turns::fillings(course, &mut found);
    bodies::full_brass(course, &mut found);
    bodies::entries(course, &mut found);
    bodies::splits(course, &mut found);
    bodies::families_alone(course, &mut found);
    register::holes(course, &mut found);
    register::overlaps(course, &mut found);
    register::crossings(course, &mut found);
    register::pedals(course, &mut found);
    tune::alone(course, &mut found);
    tune::longest_solo(course, &mut found);
    tune::thickened(course, taken, &mut found);
    returns::returns(course, &mut found);
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.bars.start.cmp(&b.bars.start)).then(a.kind.cmp(b.kind)));
    let mut kept: Vec<Moment> = Vec::new();
    for moment in found {
        let same = |other: &Moment| {
            other.kind == moment.kind && other.bars.start < moment.bars.end && moment.bars.start < other.bars.end
        };
        if !kept.iter().any(same) {
            kept.push(moment);
        }
    }
    varied(kept, |moment| moment.kind, |moment| &mut moment.weight)
}
