//! What is worth looking at: moments with their reasons, and findings in words, both from the measures, each with its bars.
//!
//! Neither says anything beyond the score in hand. Weights, 0 to 1, only order the lists: what kind of thing it is comes first, how marked it is second.

mod course;
mod findings;
mod moments;
mod words;

pub use findings::{Sentence, findings};
pub use moments::{Moment, moments};

use crate::measure::{Subject, Taken, Value};

/// Values of one measure.
fn of<'a>(taken: &'a [Taken], measure: &str) -> &'a [Value] {
    taken.iter().find(|taken| taken.measure.name == measure).map_or(&[], |taken| taken.values.as_slice())
}

/// One value of one measure.
fn one<'a>(taken: &'a [Taken], measure: &str, subject: Subject, aspect: &str) -> Option<&'a Value> {
    of(taken, measure).iter().find(|value| value.of == subject && value.with.is_none() && value.aspect == aspect)
}

/// Stretches of bars that follow on each other, end exclusive.
fn runs(bars: &[u32]) -> impl Iterator<Item = std::ops::Range<u32>> + '_ {
    bars.chunk_by(|a, b| *b <= *a + 1).filter_map(|run| Some(*run.first()?..*run.last()? + 1))
}
