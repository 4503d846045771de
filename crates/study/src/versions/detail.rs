//! What a part does in a bar, note for note.

use ripieno_score::{Crotchets, Sounding};

use super::Touch;
use crate::Study;
use crate::corrections::parts::Pair;

/// A note as versions are compared: when it begins in the bar, its pitch, how long it sounds, its level in hundredths.
type Note = (Crotchets, i32, Crotchets, Option<i32>);

/// The notes of the parts both versions have, by pair of parts and bar.
pub(super) struct Details<'a> {
    pairs: &'a [Pair],
    before: Vec<Vec<Vec<Note>>>,
    after: Vec<Vec<Vec<Note>>>,
}

impl<'a> Details<'a> {
    pub fn new(old: &Study, new: &Study, pairs: &'a [Pair]) -> Self {
        let before = pairs.iter().map(|pair| notes(&old.sounding, pair.old, pair.shift)).collect();
        let after = pairs.iter().map(|pair| notes(&new.sounding, pair.new, 0)).collect();
        Self { pairs, before, after }
    }

    /// Parts of the newer score that are not the same in these bars.
    pub fn changed(&self, old: u32, new: u32) -> Vec<(usize, Touch)> {
        let mut parts: Vec<(usize, Touch)> = Vec::new();
        for (pair, (before, after)) in self.pairs.iter().zip(self.before.iter().zip(&self.after)) {
            if let Some((before, after)) = before.get(old as usize).zip(after.get(new as usize)) {
                parts.extend(touch(before, after).map(|touch| (pair.new, touch)));
            }
        }
        parts.sort_unstable();
        parts
    }
}

fn touch(before: &[Note], after: &[Note]) -> Option<Touch> {
    if before == after {
        return None;
    }
    if before.is_empty() {
        return Some(Touch::Enters);
    }
    if after.is_empty() {
        return Some(Touch::FallsSilent);
    }
    let same = |by: fn(&Note) -> (Crotchets, i32, Crotchets)| before.iter().map(by).eq(after.iter().map(by));
    if !same(|note| (note.0, note.1, Crotchets::ZERO)) {
        Some(Touch::Notes)
    } else if !same(|note| (note.0, note.1, note.2)) {
        Some(Touch::Lengths)
    } else {
        Some(Touch::Level)
    }
}

#[allow(clippy::cast_possible_truncation)] // levels are small
fn notes(sounding: &Sounding, part: usize, shift: i16) -> Vec<Vec<Note>> {
    let mut bars = vec![Vec::new(); sounding.bars.len()];
    let table = &sounding.notes;
    for row in table.of_part.get(part).cloned().into_iter().flatten() {
        let pitch = match table.key[row] {
            Some(key) => i32::from(key.number()) + i32::from(shift),
            None => table.pitch[row].semitones(),
        };
        let bar = table.bar[row] as usize;
        let (Some(notes), Some(played)) = (bars.get_mut(bar), sounding.bars.get(bar)) else { continue };
        let level = table.level[row].map(|level| (level.0 * 100.0).round() as i32);
        notes.push((table.onset[row] - played.start, pitch, table.duration[row], level));
    }
    bars.iter_mut().for_each(|notes| notes.sort_unstable());
    bars
}
