//! Tutti bars: where every one of several groups sounds. A tutti says of whom.

/// Bars that stand in every one of these lists, each ascending as in [`crate::Presence::bars`]; none when there are no lists.
#[must_use]
pub fn bars_with_all(groups: &[&[u32]]) -> Vec<u32> {
    let Some((first, others)) = groups.split_first() else { return Vec::new() };
    first.iter().copied().filter(|bar| others.iter().all(|bars| bars.binary_search(bar).is_ok())).collect()
}
