//! Tutti bars: where every one of several groups sounds. A tutti says of whom.

use ripieno_score::Sounding;

use crate::presence::bars_with_sound;

/// Played bars in which every group sounds at some moment of the bar, ascending; none when there are no groups.
#[must_use]
pub fn bars_with_all(sounding: &Sounding, groups: &[Vec<usize>]) -> Vec<u32> {
    let mut groups = groups.iter().map(|parts| bars_with_sound(sounding, parts));
    let Some(mut common) = groups.next() else { return Vec::new() };
    for bars in groups {
        common.retain(|bar| bars.binary_search(bar).is_ok());
    }
    common
}
