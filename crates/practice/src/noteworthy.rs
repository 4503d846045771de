//! What is worth looking at: moments with their reasons, and findings in words, both from the measures, each with its bars.
//!
//! Neither says anything beyond the score in hand. Weights, 0 to 1, only order the lists: what kind of thing it is comes first, how marked it is second.

mod charted;
mod course;
mod findings;
mod layers;
mod marks;
mod moments;
mod names;
mod tasks;
mod words;

pub use findings::{Sentence, among_works};
pub use moments::Moment;

use course::Course;

use crate::material::Material;
use crate::measure::{Subject, Taken, Value};

/// Moments of a score and sentences about it, from its measures, the most telling first. Of two moments of one kind that overlap the weightier stays.
#[must_use]
pub fn noteworthy(material: &Material<'_>, taken: &[Taken]) -> (Vec<Moment>, Vec<Sentence>) {
    let course = Course::new(material);
    // What a chart has no notes for is not told of it.
    let moments = if material.charted { charted::moments(material, taken) } else { moments::moments(&course, taken) };
    (moments, findings::findings(&course, taken))
}

/// Values of one measure.
fn of<'a>(taken: &'a [Taken], measure: &str) -> &'a [Value] {
    taken.iter().find(|taken| taken.measure.name == measure).map_or(&[], |taken| taken.values.as_slice())
}

/// One value of one measure.
fn one<'a>(taken: &'a [Taken], measure: &str, subject: Subject, aspect: &str) -> Option<&'a Value> {
    of(taken, measure).iter().find(|value| value.of == subject && value.with.is_none() && value.aspect == aspect)
}

/// What a further item of a kind that has been told already loses of its weight.
const AGAIN: f64 = 0.05;

/// Orders items by weight, the heaviest first, so that not all of one kind come in a row: each loses something for every item of its kind before it.
/// Equals keep their order.
fn varied<T, K: Ord>(items: Vec<T>, kind: impl Fn(&T) -> K, weight: impl Fn(&mut T) -> &mut f64) -> Vec<T> {
    let mut waiting: Vec<(K, T)> = items.into_iter().map(|item| (kind(&item), item)).collect();
    let mut told = Vec::with_capacity(waiting.len());
    loop {
        let weights: Vec<f64> = waiting.iter_mut().map(|(_, item)| *weight(item)).collect();
        let best = (0..weights.len()).max_by(|&a, &b| weights[a].total_cmp(&weights[b]).then(b.cmp(&a)));
        let Some(best) = best else { return told };
        let (kind, item) = waiting.remove(best);
        told.push(item);
        for (_, other) in waiting.iter_mut().filter(|(other, _)| *other == kind) {
            let weight = weight(other);
            *weight = (*weight - AGAIN).max(0.0);
        }
    }
}

/// Stretches of bars that follow on each other, end exclusive.
fn runs(bars: &[u32]) -> impl Iterator<Item = std::ops::Range<u32>> + '_ {
    bars.chunk_by(|a, b| *b <= *a + 1).filter_map(|run| Some(*run.first()?..*run.last()? + 1))
}
