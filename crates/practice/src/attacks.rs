//! Attacks of a line looked up: by the moment, and by the bars in which they begin.

use std::ops::Range;

use ripieno_score::Crotchets;
use ripieno_texture::Attack;

/// The attack that begins at a moment, of attacks by onset.
pub(crate) fn begun_at(attacks: &[Attack], onset: Crotchets) -> Option<&Attack> {
    attacks.binary_search_by_key(&onset, |attack| attack.onset).ok().map(|at| &attacks[at])
}

/// Attacks that begin in some bars, an index range.
pub(crate) fn in_bars(attacks: &[Attack], bars: &Range<u32>) -> Range<usize> {
    let first = attacks.partition_point(|attack| attack.bar < bars.start);
    first..attacks.partition_point(|attack| attack.bar < bars.end)
}
