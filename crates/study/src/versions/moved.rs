//! Bars that stand elsewhere now.

use crate::corrections::fingerprint::{Cell, Fingerprint};
use crate::corrections::parts::{Pair, expected};

/// Of the bars that the alignment left over on both sides, those that hold the same music, something of it at least: pairs of an older and a newer bar.
/// Of several that fit, the one that goes on where the bar before went.
pub(super) fn moved(
    before: &Fingerprint,
    after: &Fingerprint,
    pairs: &[Pair],
    aligned: &[Option<(usize, f32)>],
) -> Vec<(u32, u32)> {
    let row_before = |bar: usize| pairs.iter().map(|&pair| expected(before, pair, bar)).collect::<Vec<Cell>>();
    let row_after = |bar: usize| {
        let cell = |pair: &Pair| after.parts[pair.new].cells.get(bar).copied().unwrap_or_default();
        pairs.iter().map(cell).collect::<Vec<Cell>>()
    };
    let mut free: Vec<bool> = vec![true; after.lengths.len()];
    aligned.iter().flatten().for_each(|&(bar, _)| free[bar] = false);
    let rows: Vec<(usize, Vec<Cell>)> =
        free.iter().enumerate().filter(|(_, free)| **free).map(|(bar, _)| (bar, row_after(bar))).collect();
    let mut found: Vec<(u32, u32)> = Vec::new();
    for old in aligned.iter().enumerate().filter(|(_, place)| place.is_none()).map(|(bar, _)| bar) {
        let row = row_before(old);
        if row.iter().all(|cell| cell.is_silent()) {
            continue;
        }
        let next = found.last().filter(|last| last.0 as usize + 1 == old).map(|last| last.1 as usize + 1);
        let fits = |bar: &&(usize, Vec<Cell>)| free[bar.0] && bar.1 == row && before.lengths[old] == after.lengths[bar.0];
        let candidates = || rows.iter().filter(fits).map(|bar| bar.0);
        if let Some(new) = candidates().find(|&bar| Some(bar) == next).or_else(|| candidates().next()) {
            free[new] = false;
            found.push((u32::try_from(old).unwrap_or(u32::MAX), u32::try_from(new).unwrap_or(u32::MAX)));
        }
    }
    found
}
