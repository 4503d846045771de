//! How often a part's figures come back: four intervals with the proportions of their times, wherever they stand.

use std::collections::HashMap;

use super::features::Features;
use super::piece::{CROTCHET, Piece};
use super::table::Feature as F;

/// Intervals in a figure.
const INTERVALS: usize = 4;
/// From this many bars away on a statement counts as far.
const FAR: usize = 8;

type Figure = ([i32; INTERVALS], [i64; INTERVALS]);

pub(super) fn fill(piece: &Piece, features: &mut Features) {
    let line = &piece.line;
    let mut ids: HashMap<Figure, usize> = HashMap::new();
    let mut statements: Vec<Vec<usize>> = Vec::new();
    for last in INTERVALS..line.len() {
        if let Some(figure) = figure(piece, last) {
            let id = *ids.entry(figure).or_insert(statements.len());
            if id == statements.len() {
                statements.push(Vec::new());
            }
            statements[id].push(last);
        }
    }
    // Far and near statements and parts that have it, the best of the figures that hold a note.
    let mut best = vec![[0usize; 3]; line.len()];
    for statements in &statements {
        let mut bars: Vec<usize> = statements.iter().map(|&last| line[last].bar).collect();
        bars.sort_unstable();
        bars.dedup();
        let mut parts: Vec<usize> = statements.iter().map(|&last| line[last].part).collect();
        parts.dedup();
        for &last in statements {
            let bar = line[last].bar;
            let near_from = bars.partition_point(|&other| other + FAR <= bar);
            let near_to = bars.partition_point(|&other| other < bar + FAR);
            let near = (near_to - near_from - 1).min(8);
            let far = (bars.len() - (near_to - near_from)).min(16);
            for note in &mut best[last - INTERVALS..=last] {
                for (have, new) in note.iter_mut().zip([far, near, parts.len()]) {
                    *have = (*have).max(new);
                }
            }
        }
    }
    let kinds = [F::th_far, F::th_near, F::th_parts];
    for part in 0..piece.parts() {
        for bar in 0..piece.bars() {
            let at = part * piece.bars() + bar;
            let notes = &best[piece.cells[at]..piece.cells[at + 1]];
            for (kind, feature) in kinds.into_iter().enumerate() {
                let sum: f64 = notes.iter().map(|note| (1.0 + note[kind] as f64).log2()).sum();
                features.set(part, bar, feature, sum / notes.len() as f64);
            }
        }
    }
    for bar in 0..piece.bars() {
        for (from, to) in [(F::th_far, F::th_far_rel), (F::th_near, F::th_near_rel)] {
            let values: Vec<f32> = (0..piece.parts()).map(|part| features.get(part, bar, from)).collect();
            let most = values.iter().copied().fold(-1.0, f32::max);
            for (part, value) in values.into_iter().enumerate() {
                features.set(part, bar, to, f64::from(value - most));
            }
        }
    }
}

/// The figure that ends with attack `last`: no rest beyond a crotchet inside, at least three different keys.
fn figure(piece: &Piece, last: usize) -> Option<Figure> {
    let notes = &piece.line[last - INTERVALS..=last];
    let mut keys: Vec<i32> = notes.iter().map(|note| note.key).collect();
    let mut intervals = [0; INTERVALS];
    let mut times = [0; INTERVALS];
    for (i, pair) in notes.windows(2).enumerate() {
        let (a, b) = (&pair[0], &pair[1]);
        if a.part != b.part || b.on - (a.on + a.dur) > CROTCHET {
            return None;
        }
        intervals[i] = b.key - a.key;
        times[i] = b.on - a.on;
    }
    keys.sort_unstable();
    keys.dedup();
    let shortest = *times.iter().min()?;
    if keys.len() < 3 || shortest == 0 {
        return None;
    }
    // Quarters of the shortest time tell rhythms apart and forgive a grid of ticks.
    Some((intervals, times.map(|time| (time as f64 / shortest as f64 * 4.0).round_ties_even() as i64)))
}
