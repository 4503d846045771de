//! Which bar of a revised score is which bar of the one before.
//!
//! A global alignment: a sequence of bars found again, bars put in and bars taken out, in the order of both. Bars that hold
//! in some part a figure found once in each score settle most of it (anchors); between anchors every pairing is weighed
//! (Needleman and Wunsch 1970: "A general method applicable to the search for similarities in the amino acid sequence of
//! two proteins"). Time and memory are bounded: a stretch too long to weigh in full is weighed along its diagonal.

use super::fingerprint::{Cell, Fingerprint};
use super::parts::{Pair, expected};

/// Where each bar of the older score is now.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Alignment {
    /// For each older bar the newer one and how alike they are, 0 to 1; `None` when it was taken out. Newer bars ascend.
    pub bars: Vec<Option<(usize, f32)>>,
}

/// Cells of one score in bar order: the parts that both scores have, side by side.
struct Grid {
    width: usize,
    cells: Vec<Cell>,
}

impl Grid {
    fn new(bars: usize, width: usize, cell: impl Fn(usize, usize) -> Cell) -> Self {
        let cells = (0..bars).flat_map(|bar| (0..width).map(move |part| (bar, part))).map(|(bar, part)| cell(bar, part));
        Self { width, cells: cells.collect() }
    }

    fn bar(&self, bar: usize) -> &[Cell] {
        &self.cells[bar * self.width..(bar + 1) * self.width]
    }

    fn bars(&self) -> usize {
        self.cells.len() / self.width
    }
}

/// Weight of a part that is silent in both bars, beside one that plays in either.
const BOTH_SILENT: f32 = 0.05;
/// Likeness of two bars in which nobody plays: some reason to pair them, but little.
const EMPTY: f32 = 0.4;
/// A pairing pays when the bars are at least this much alike; less still beats taking one out and putting the other in.
const PAYS: f32 = 0.15;
/// Cost of a bar put in or taken out.
const GAP: f32 = 0.1;
/// Anchors must be this much alike.
const ANCHOR: f32 = 0.6;
/// Most pairings of single cells weighed in one stretch.
const MOST_WORK: usize = 100_000_000;
/// Most pairings of bars weighed in one stretch.
const MOST_PAIRINGS: usize = 8_000_000;

fn likeness(old: &[Cell], new: &[Cell]) -> f32 {
    let (mut sum, mut weight) = (0.0f32, 0.0f32);
    let mut playing = false;
    for (a, b) in old.iter().zip(new) {
        if a.is_silent() && b.is_silent() {
            sum += BOTH_SILENT;
            weight += BOTH_SILENT;
        } else {
            playing = true;
            sum += a.likeness(*b);
            weight += 1.0;
        }
    }
    if playing { sum / weight } else { EMPTY }
}

/// Aligns the bars of two scores whose parts have been paired.
pub(crate) fn align(old: &Fingerprint, new: &Fingerprint, pairs: &[Pair]) -> Alignment {
    let (m, n) = (old.lengths.len(), new.lengths.len());
    if pairs.is_empty() {
        return Alignment { bars: vec![None; m] };
    }
    let before = Grid::new(m, pairs.len(), |bar, part| expected(old, pairs[part], bar));
    let cell_of_new = |bar: usize, part: usize| new.parts[pairs[part].new].cells.get(bar).copied().unwrap_or_default();
    let after = Grid::new(n, pairs.len(), cell_of_new);
    let mut bars = vec![None; m];
    let (mut i0, mut j0) = (0, 0);
    for (i, j) in anchors(&before, &after).into_iter().chain([(m, n)]) {
        weigh(&before, &after, i0..i, j0..j, &mut bars);
        if i < m {
            bars[i] = Some((j, likeness(before.bar(i), after.bar(j))));
        }
        (i0, j0) = (i + 1, j + 1);
    }
    Alignment { bars }
}

/// Pairs of bars that are the same for certain, ascending in both.
fn anchors(before: &Grid, after: &Grid) -> Vec<(usize, usize)> {
    let mut votes: Vec<(usize, usize)> = Vec::new();
    for part in 0..before.width {
        let (one, other) = (unique(before, part), unique(after, part));
        let (mut i, mut j) = (0, 0);
        while i < one.len() && j < other.len() {
            match one[i].0.cmp(&other[j].0) {
                std::cmp::Ordering::Less => i += 1,
                std::cmp::Ordering::Greater => j += 1,
                std::cmp::Ordering::Equal => {
                    votes.push((one[i].1, other[j].1));
                    (i, j) = (i + 1, j + 1);
                }
            }
        }
    }
    votes.sort_unstable();
    let mut candidates: Vec<(usize, usize, f32)> = votes
        .chunk_by(|a, b| a == b)
        .filter_map(|run| {
            let (i, j) = run[0];
            let alike = likeness(before.bar(i), after.bar(j));
            (alike >= ANCHOR).then_some((i, j, alike))
        })
        .collect();
    // Also from both ends, where nothing has changed: a piece of repeated bars has no figure found once.
    let same = |i: usize, j: usize| before.bar(i) == after.bar(j);
    let (m, n) = (before.bars(), after.bars());
    let head = (0..m.min(n)).take_while(|&k| same(k, k)).count();
    let tail = (0..m.min(n) - head).take_while(|&k| same(m - 1 - k, n - 1 - k)).count();
    candidates.retain(|&(i, j, _)| (head..m - tail).contains(&i) && (head..n - tail).contains(&j));
    let mut found: Vec<(usize, usize)> = (0..head).map(|k| (k, k)).collect();
    found.extend(heaviest_ascent(&candidates));
    found.extend((0..tail).rev().map(|k| (m - 1 - k, n - 1 - k)));
    found
}

/// Cells of a part that occur in one bar only, with that bar, sorted by cell.
fn unique(grid: &Grid, part: usize) -> Vec<((u64, u8), usize)> {
    let mut cells: Vec<((u64, u8), usize)> = (0..grid.bars())
        .map(|bar| (grid.bar(bar)[part], bar))
        .filter(|(cell, _)| !cell.is_silent())
        .map(|(cell, bar)| ((cell.shape, cell.lowest), bar))
        .collect();
    cells.sort_unstable();
    cells.chunk_by(|a, b| a.0 == b.0).filter(|run| run.len() == 1).map(|run| run[0]).collect()
}

/// The chain of greatest likeness in all that ascends strictly in both bars; `candidates` are sorted by the first, then the second.
fn heaviest_ascent(candidates: &[(usize, usize, f32)]) -> Vec<(usize, usize)> {
    let Some(most) = candidates.iter().map(|candidate| candidate.1).max() else { return Vec::new() };
    // A tree of running maxima over the second bar: (weight of the best chain that ends at or before it, its last candidate).
    let mut tree: Vec<(f32, Option<usize>)> = vec![(0.0, None); most + 2];
    let mut chains: Vec<(f32, Option<usize>)> = Vec::with_capacity(candidates.len());
    let mut open = 0;
    for (k, &(i, j, alike)) in candidates.iter().enumerate() {
        // Candidates of one first bar do not follow each other: enter those of earlier bars only.
        while candidates[open].0 < i {
            let (chain, mut at) = (chains[open].0, candidates[open].1 + 1);
            while at < tree.len() {
                if tree[at].0 < chain {
                    tree[at] = (chain, Some(open));
                }
                at += at & at.wrapping_neg();
            }
            open += 1;
        }
        let (mut best, mut at) = ((0.0, None), j);
        while at > 0 {
            if tree[at].0 > best.0 {
                best = tree[at];
            }
            at &= at - 1;
        }
        chains.push((best.0 + alike, best.1));
        debug_assert_eq!(chains.len(), k + 1);
    }
    let mut last = (0..chains.len()).fold(None, |best: Option<usize>, k| match best {
        Some(b) if chains[b].0 >= chains[k].0 => Some(b),
        _ => Some(k),
    });
    let mut chain = Vec::new();
    while let Some(k) = last {
        chain.push((candidates[k].0, candidates[k].1));
        last = chains[k].1;
    }
    chain.reverse();
    chain
}

/// Weighs every pairing of a stretch of both scores and writes the best into `bars`.
fn weigh(
    before: &Grid,
    after: &Grid,
    old: std::ops::Range<usize>,
    new: std::ops::Range<usize>,
    bars: &mut [Option<(usize, f32)>],
) {
    let (m, n) = (old.len(), new.len());
    if m == 0 || n == 0 {
        return;
    }
    let pairings = MOST_PAIRINGS.min(MOST_WORK / before.width.max(1)).max(1);
    // Half the width of the band along the diagonal; all of it where that is affordable.
    // Never narrower than one step of the diagonal, or its rows would not meet.
    let half = if m * n <= pairings { n } else { (pairings / m / 2).max(n / m + 1) };
    let band = |i: usize| {
        let centre = i * n / m;
        (centre.saturating_sub(half), (centre + half).min(n))
    };
    let width = (2 * half + 1).min(n + 1);
    let mut steps = vec![Step::Out; (m + 1) * width];
    let mut scores = vec![f32::NEG_INFINITY; n + 1];
    let (low, high) = band(0);
    for j in low..=high {
        scores[j] = -GAP * j as f32;
        steps[j - low] = Step::In;
    }
    for i in 1..=m {
        let (before_low, before_high) = band(i - 1);
        let (low, high) = band(i);
        let row = before.bar(old.start + i - 1);
        let mut diagonal = if low > before_low { scores[low - 1] } else { f32::NEG_INFINITY };
        let mut left = f32::NEG_INFINITY;
        for j in low..=high {
            let above = if (before_low..=before_high).contains(&j) { scores[j] } else { f32::NEG_INFINITY };
            let pair = if j > 0 && diagonal > f32::NEG_INFINITY {
                diagonal + likeness(row, after.bar(new.start + j - 1)) - PAYS
            } else {
                f32::NEG_INFINITY
            };
            let (out, put_in) = (above - GAP, left - GAP);
            let (score, step) = if pair >= out && pair >= put_in {
                (pair, Step::Pair)
            } else if out >= put_in {
                (out, Step::Out)
            } else {
                (put_in, Step::In)
            };
            diagonal = above;
            scores[j] = score;
            left = score;
            steps[i * width + (j - low)] = step;
        }
    }
    let (mut i, mut j) = (m, n);
    while i > 0 && j > 0 {
        let Some(column) = j.checked_sub(band(i).0) else { break };
        match steps[i * width + column] {
            Step::Pair => {
                (i, j) = (i - 1, j - 1);
                let (one, other) = (old.start + i, new.start + j);
                bars[one] = Some((other, likeness(before.bar(one), after.bar(other))));
            }
            Step::Out => i -= 1,
            Step::In => j -= 1,
        }
    }
}

/// How the best alignment of two beginnings ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// The two last bars are paired.
    Pair,
    /// The last older bar was taken out.
    Out,
    /// The last newer bar was put in.
    In,
}

#[cfg(test)]
mod tests {
    use super::super::fingerprint::PartPrint;
    use super::*;
    use proptest::prelude::*;
    use ripieno_score::Crotchets;

    /// A score each of whose bars has a rhythm of its own in every part; `salt` makes all its pitches others.
    fn print(bars: &[u16], parts: usize, salt: u64) -> Fingerprint {
        let cell = |&bar: &u16| Cell { shape: (u64::from(bar) + 1) << 32 | salt, lowest: 60, rhythm: bar, classes: 0b1001_0001 };
        let part = |at: usize| PartPrint { id: at.to_string(), name: at.to_string(), cells: bars.iter().map(cell).collect() };
        Fingerprint { lengths: vec![Crotchets::whole(4); bars.len()], parts: (0..parts).map(part).collect() }
    }

    fn pairs(parts: usize) -> Vec<Pair> {
        (0..parts).map(|part| Pair { old: part, new: part, shift: 0 }).collect()
    }

    fn found(old: &[u16], new: &[u16], parts: usize, salt: u64) -> Vec<Option<usize>> {
        let alignment = align(&print(old, parts, 0), &print(new, parts, salt), &pairs(parts));
        alignment.bars.into_iter().map(|bar| bar.map(|bar| bar.0)).collect()
    }

    #[test]
    fn bars_put_in_and_taken_out() {
        assert_eq!(found(&[1, 2, 3], &[1, 9, 2, 3], 2, 0), [Some(0), Some(2), Some(3)]);
        assert_eq!(found(&[1, 2, 3, 4], &[1, 4], 2, 0), [Some(0), None, None, Some(1)]);
        assert_eq!(found(&[1, 2, 3], &[], 2, 0), [None; 3]);
        assert_eq!(found(&[], &[1], 2, 0), []);
        assert_eq!(found(&[1], &[1], 0, 0), [None], "without parts nothing can be told");
    }

    /// All pitches changed: only the rhythm tells, so that there are no anchors and every pairing is weighed.
    #[test]
    fn rewritten_bars_are_told_by_their_rhythm() {
        assert_eq!(found(&[1, 2, 3, 4, 5], &[1, 2, 9, 3, 4, 5], 2, 7), [Some(0), Some(1), Some(3), Some(4), Some(5)]);
    }

    /// A stretch too long to be weighed in full: 400 times 420 bars of 700 parts.
    #[test]
    fn a_long_stretch_is_weighed_along_its_diagonal() {
        let old: Vec<u16> = (0..400).collect();
        let new: Vec<u16> = (1000..1020).chain(0..400).collect();
        assert!(old.len() * new.len() > MOST_WORK / 700);
        assert_eq!(found(&old, &new, 700, 7), (20..420).map(Some).collect::<Vec<_>>());
    }

    #[test]
    fn lengths_that_differ_greatly_are_within_bounds() {
        let long: Vec<u16> = (0..3000).collect();
        assert_eq!(found(&[1, 2, 3], &long, 200, 7).len(), 3);
        assert_eq!(found(&long, &[1, 2, 3], 200, 7).len(), 3000);
    }

    proptest! {
        /// The tree finds as heavy a chain as looking at all pairs.
        #[test]
        fn chains_are_the_heaviest(mut candidates in prop::collection::vec((0usize..12, 0usize..12, 1u8..10), 0..30)) {
            candidates.sort_unstable();
            candidates.dedup_by_key(|candidate| (candidate.0, candidate.1));
            let candidates: Vec<(usize, usize, f32)> = candidates.into_iter().map(|(i, j, w)| (i, j, f32::from(w))).collect();
            let chain = heaviest_ascent(&candidates);
            prop_assert!(chain.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 < pair[1].1));
            let weight_of = |pair: &(usize, usize)| candidates.iter().find(|c| (c.0, c.1) == *pair).unwrap().2;
            let mut best = vec![0f32; candidates.len()];
            for k in 0..candidates.len() {
                let (i, j, weight) = candidates[k];
                let before = (0..k).filter(|&l| candidates[l].0 < i && candidates[l].1 < j).map(|l| best[l]);
                best[k] = weight + before.fold(0.0, f32::max);
            }
            prop_assert_eq!(chain.iter().map(weight_of).sum::<f32>(), best.iter().copied().fold(0.0, f32::max));
        }

        #[test]
        fn newer_bars_ascend(old in prop::collection::vec(0u16..6, 0..30), new in prop::collection::vec(0u16..6, 0..30), salt in 0u64..2) {
            let places: Vec<usize> = found(&old, &new, 2, salt).into_iter().flatten().collect();
            prop_assert!(places.windows(2).all(|pair| pair[0] < pair[1]));
            prop_assert!(places.iter().all(|&place| place < new.len()));
        }
    }
}
