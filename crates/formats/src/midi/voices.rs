//! Sorting the notes of one part into voices that can be written down.
//!
//! Notes that begin and end together are a chord. Where chords overlap otherwise, they go to as many voices as sound at
//! once, each to the free voice nearest in pitch; within every stretch of overlapping notes the voices are numbered from
//! the highest down (after E. Chew and X. Wu, "Separating Voices in Polyphonic Music: A Contig Mapping Approach", CMMR
//! 2004, with their contigs joined greedily from left to right).

use std::ops::Range;

use super::events::{Strike, StrikeKind};

/// Notes of one voice that begin and end together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Chord {
    pub(super) on: u32,
    pub(super) off: u32,
    /// Which strikes.
    pub(super) notes: Range<usize>,
    /// Voice, from 1.
    pub(super) voice: u16,
}

/// More voices than this at once are joined: no page shows them.
const MOST_VOICES: usize = 24;

/// Sorts strikes, ordered by onset, end and key, into chords with voices, which replace what `chords` held; answers the
/// number of voices.
/// Grace notes go with voice 1. Where more sound than there are voices, notes share one and overlap in it.
pub(super) fn separate(strikes: &[Strike], chords: &mut Vec<Chord>, kind: impl Fn(StrikeKind) -> bool) -> u16 {
    chords.clear();
    gather(strikes, chords, kind);
    let mut voices = 1;
    let (mut first, mut until) = (0, 0);
    for index in 0..=chords.len() {
        let on = chords.get(index).map_or(u32::MAX, |chord| chord.on);
        if on < until {
            until = until.max(chords.get(index).map_or(0, |chord| chord.off));
            continue;
        }
        if index - first > 1
            && let Some(stretch) = chords.get_mut(first..index)
        {
            voices = voices.max(share_out(stretch, strikes));
        }
        first = index;
        until = chords.get(index).map_or(0, |chord| chord.off);
    }
    voices
}

fn gather(strikes: &[Strike], chords: &mut Vec<Chord>, kind: impl Fn(StrikeKind) -> bool) {
    for (index, strike) in strikes.iter().enumerate() {
        if !kind(strike.kind) {
            continue;
        }
        let before = index.checked_sub(1).and_then(|before| strikes.get(before));
        match (chords.last_mut(), before) {
            // Two players on one pitch stay apart, in two voices.
            (Some(last), Some(before))
                if last.notes.end == index && (last.on, last.off) == (strike.on, strike.off) && before.key != strike.key =>
            {
                last.notes.end = index + 1;
            }
            _ => chords.push(Chord { on: strike.on, off: strike.off, notes: index..index + 1, voice: 1 }),
        }
    }
}

/// A voice within a stretch of overlapping chords.
struct Lane {
    free_at: u32,
    /// Keys of the last chord, doubled and averaged.
    last: u32,
    sum: u64,
    count: u64,
}

/// Gives the chords of a stretch their voices; answers how many.
fn share_out(stretch: &mut [Chord], strikes: &[Strike]) -> u16 {
    let mut lanes: Vec<Lane> = Vec::new();
    for chord in stretch.iter_mut() {
        if chord.off <= chord.on {
            continue;
        }
        let height = height(chord, strikes);
        let free = lanes.iter().enumerate().filter(|(_, lane)| lane.free_at <= chord.on);
        let nearest = free.min_by_key(|(_, lane)| lane.last.abs_diff(height)).map(|(index, _)| index);
        let index = match nearest {
            Some(index) => index,
            None if lanes.len() < MOST_VOICES => {
                lanes.push(Lane { free_at: 0, last: height, sum: 0, count: 0 });
                lanes.len() - 1
            }
            None => {
                let earliest = lanes.iter().enumerate().min_by_key(|(_, lane)| lane.free_at);
                earliest.map_or(0, |(index, _)| index)
            }
        };
        if let Some(lane) = lanes.get_mut(index) {
            lane.free_at = lane.free_at.max(chord.off);
            lane.last = height;
            lane.sum += u64::from(height);
            lane.count += 1;
        }
        chord.voice = u16::try_from(index).unwrap_or(0);
    }
    let mut order: Vec<usize> = (0..lanes.len()).collect();
    order.sort_by_key(|&index| std::cmp::Reverse(lanes.get(index).map_or(0, |lane| lane.sum / lane.count.max(1))));
    let mut numbers = vec![1u16; lanes.len()];
    for (number, &lane) in (1u16..).zip(&order) {
        if let Some(place) = numbers.get_mut(lane) {
            *place = number;
        }
    }
    for chord in stretch.iter_mut() {
        chord.voice = if chord.off <= chord.on { 1 } else { numbers.get(usize::from(chord.voice)).copied().unwrap_or(1) };
    }
    u16::try_from(lanes.len()).unwrap_or(u16::MAX).max(1)
}

/// Mean key of a chord, times 64.
fn height(chord: &Chord, strikes: &[Strike]) -> u32 {
    let notes = strikes.get(chord.notes.clone()).unwrap_or_default();
    let sum: u32 = notes.iter().map(|strike| u32::from(strike.key) * 64).sum();
    sum / u32::try_from(notes.len()).unwrap_or(1).max(1)
}
