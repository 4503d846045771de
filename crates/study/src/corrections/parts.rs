//! Which part of a revised score is which part of the one before.
//!
//! By name where the music under the name is still much the same; what is left by the best sum of shared music, name and
//! identifier. Shared music is counted without regard to order, so that inserted bars do not matter here.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use super::fingerprint::{Cell, Fingerprint, PartPrint};

/// A part found again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pair {
    /// Its place in the older score.
    pub old: usize,
    /// Its place in the newer.
    pub new: usize,
    /// Semitones by which most of its music now lies higher.
    pub shift: i16,
}

/// A part whose name stayed is itself when it shares this much of its music; otherwise others are considered too.
const SAME_UNDER_ITS_NAME: f32 = 0.5;
/// Music shared by which a part is recognised under another name.
const RECOGNISED: f32 = 0.3;

/// Finds the parts of `old` in `new`; at most one each, in the order of `old`.
pub(crate) fn pair_parts(old: &Fingerprint, new: &Fingerprint) -> Vec<Pair> {
    let (before, after) = (digests(old), digests(new));
    let mut of_old: Vec<Option<usize>> = vec![None; before.len()];
    let mut of_new = vec![false; after.len()];
    for (i, one) in before.iter().enumerate() {
        let own = after.iter().position(|other| other.name == one.name && other.nth == one.nth);
        if let Some(j) = own.filter(|&j| one.shared(&after[j]) >= SAME_UNDER_ITS_NAME) {
            (of_old[i], of_new[j]) = (Some(j), true);
        }
    }
    let mut open: Vec<(f32, usize, usize)> = Vec::new();
    for (i, one) in before.iter().enumerate().filter(|&(i, _)| of_old[i].is_none()) {
        for (j, other) in after.iter().enumerate().filter(|&(j, _)| !of_new[j]) {
            let shared = one.shared(other);
            let (same_name, same_id) = (one.name == other.name && !one.name.is_empty(), one.id == other.id);
            if shared >= RECOGNISED || same_name || (one.is_silent() && other.is_silent() && same_id) {
                let named = if same_name { 1.0 } else { 0.0 } + if same_id { 0.25 } else { 0.0 };
                open.push((2.0 * shared + named, i, j));
            }
        }
    }
    // Best first; of equals the one that keeps its place best.
    open.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.abs_diff(a.2).cmp(&b.1.abs_diff(b.2))).then((a.1, a.2).cmp(&(b.1, b.2))));
    for (_, i, j) in open {
        if of_old[i].is_none() && !of_new[j] {
            (of_old[i], of_new[j]) = (Some(j), true);
        }
    }
    let pair = |(old_at, new_at): (usize, Option<usize>)| {
        let new_at = new_at?;
        Some(Pair { old: old_at, new: new_at, shift: shift(&old.parts[old_at], &new.parts[new_at]) })
    };
    of_old.into_iter().enumerate().filter_map(pair).collect()
}

/// What a part is compared by.
struct Digest<'a> {
    id: &'a str,
    name: String,
    /// How many parts above bear the same name.
    nth: usize,
    /// Shapes of its sounding bars, sorted.
    shapes: Vec<u64>,
    /// The same with their pitch, sorted.
    exact: Vec<(u64, u8)>,
}

fn digests(print: &Fingerprint) -> Vec<Digest<'_>> {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let mut digests = Vec::with_capacity(print.parts.len());
    for part in &print.parts {
        let sounding = part.cells.iter().filter(|cell| !cell.is_silent());
        let mut exact: Vec<(u64, u8)> = sounding.map(|cell| (cell.shape, cell.lowest)).collect();
        exact.sort_unstable();
        let name = plain(&part.name);
        let count = seen.entry(name.clone()).or_default();
        let shapes = exact.iter().map(|cell| cell.0).collect();
        digests.push(Digest { id: &part.id, name, nth: *count, shapes, exact });
        *count += 1;
    }
    digests
}

impl Digest<'_> {
    fn is_silent(&self) -> bool {
        self.shapes.is_empty()
    }

    /// Share of the two parts' bars that are the same music, 0 to 1, most of it for the shape and some for the very pitch.
    fn shared(&self, other: &Self) -> f32 {
        0.7 * common(&self.shapes, &other.shapes) + 0.3 * common(&self.exact, &other.exact)
    }
}

/// Twice what two sorted lists have in common over what they have in all.
#[allow(clippy::cast_precision_loss)]
fn common<T: Ord>(one: &[T], other: &[T]) -> f32 {
    let (mut i, mut j, mut both) = (0, 0, 0usize);
    while i < one.len() && j < other.len() {
        match one[i].cmp(&other[j]) {
            Ordering::Less => i += 1,
            Ordering::Greater => j += 1,
            Ordering::Equal => (i, j, both) = (i + 1, j + 1, both + 1),
        }
    }
    if both == 0 { 0.0 } else { 2.0 * both as f32 / (one.len() + other.len()) as f32 }
}

/// A name without capitals, doubled spaces and the choice of flat sign.
pub(crate) fn plain(name: &str) -> String {
    let lower = name.to_lowercase().replace('♭', "b").replace('♯', "#");
    lower.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The interval by which most bars of a shape found in both have moved; of equals the smallest.
fn shift(old: &PartPrint, new: &PartPrint) -> i16 {
    // Shapes that occur once in each are matched for certain; scales and held notes of one shape and many pitches are not.
    let once = |part: &PartPrint| -> BTreeMap<u64, Option<u8>> {
        let mut found = BTreeMap::new();
        for cell in part.cells.iter().filter(|cell| !cell.is_silent()) {
            found
                .entry(cell.shape)
                .and_modify(|lowest: &mut Option<u8>| {
                    if *lowest != Some(cell.lowest) {
                        *lowest = None;
                    }
                })
                .or_insert(Some(cell.lowest));
        }
        found
    };
    let (before, after) = (once(old), once(new));
    let mut votes: BTreeMap<i16, usize> = BTreeMap::new();
    for (shape, lowest) in before {
        if let (Some(before), Some(Some(after))) = (lowest, after.get(&shape)) {
            *votes.entry(i16::from(*after) - i16::from(before)).or_default() += 1;
        }
    }
    let most = votes.values().copied().max().unwrap_or(0);
    votes.into_iter().filter(|vote| vote.1 == most).map(|vote| vote.0).min_by_key(|shift| shift.unsigned_abs()).unwrap_or(0)
}

/// The cell as it would stand in the newer score.
pub(crate) fn expected(old: &Fingerprint, pair: Pair, bar: usize) -> Cell {
    old.parts[pair.old].cells.get(bar).copied().unwrap_or_default().moved(pair.shift)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::Crotchets;

    /// Parts by name and the music of each bar: a letter is a figure, 0 for silence; `+7` after the name puts all of it higher.
    fn print(parts: &[(&str, &str)]) -> Fingerprint {
        let part = |(at, (name, music)): (usize, &(&str, &str))| {
            let (name, higher) = name.split_once('+').unwrap_or((name, "0"));
            let higher = higher.parse::<i16>().unwrap();
            let cell = |letter: u8| match letter {
                b'0' => Cell::SILENT,
                letter => Cell { shape: u64::from(letter), lowest: 48 + letter % 12, rhythm: 1, classes: 1 }.moved(higher),
            };
            PartPrint { id: format!("P{at}"), name: name.to_owned(), cells: music.bytes().map(cell).collect() }
        };
        Fingerprint { lengths: vec![Crotchets::whole(4); 8], parts: parts.iter().enumerate().map(part).collect() }
    }

    #[track_caller]
    fn check(old: &[(&str, &str)], new: &[(&str, &str)], expected: &[(usize, usize, i16)]) {
        let pairs = pair_parts(&print(old), &print(new));
        assert_eq!(pairs.iter().map(|pair| (pair.old, pair.new, pair.shift)).collect::<Vec<_>>(), expected);
    }

    const QUARTET: [(&str, &str); 4] = [("Oboe", "abcd00ef"), ("Horn", "ghij0klm"), ("Viola", "nopqrstu"), ("Cello", "vwxyzABC")];

    #[test]
    fn the_same_parts() {
        check(&QUARTET, &QUARTET, &[(0, 0, 0), (1, 1, 0), (2, 2, 0), (3, 3, 0)]);
    }

    #[test]
    fn reordered_and_renamed() {
        let new = [("Vc.", "vwxyzABC"), ("HORN", "ghij0klm"), ("Fl.", "DEFGHIJK"), ("Ob.", "abcd00ef"), ("Viola", "nopqrstu")];
        check(&QUARTET, &new, &[(0, 3, 0), (1, 1, 0), (2, 4, 0), (3, 0, 0)]);
    }

    #[test]
    fn another_instrument_a_fifth_higher() {
        let new = [("Oboe", "abcd00ef"), ("Trumpet+7", "ghij0klm"), ("Viola", "nopqrstu"), ("Cello", "vwxyzABC")];
        check(&QUARTET, &new, &[(0, 0, 0), (1, 1, 7), (2, 2, 0), (3, 3, 0)]);
    }

    #[test]
    fn names_exchanged_follow_the_music() {
        let new = [("Horn", "abcd00ef"), ("Oboe", "ghij0klm"), ("Viola", "nopqrstu"), ("Cello", "vwxyzABC")];
        check(&QUARTET, &new, &[(0, 0, 0), (1, 1, 0), (2, 2, 0), (3, 3, 0)]);
    }

    #[test]
    fn a_rewritten_part_keeps_its_name_and_a_strange_one_is_nobody() {
        let new = [("Oboe", "DEFGHIJK"), ("Tuba", "LMNOPQRS"), ("Viola", "nopqrstu"), ("Cello", "vwxyzABC")];
        check(&QUARTET, &new, &[(0, 0, 0), (2, 2, 0), (3, 3, 0)]);
    }

    #[test]
    fn desks_of_one_name_in_octaves() {
        let old = [("Violin", "abcdefgh"), ("Violin+12", "abcdefgh"), ("Violin", "00000000")];
        check(&old, &old, &[(0, 0, 0), (1, 1, 0), (2, 2, 0)]);
        let new = [("New+12", "abcdefgh"), ("Newer", "abcdefgh")];
        check(&old, &new, &[(0, 1, 0), (1, 0, 0)]);
    }
}
