//! How many people play each row, now that it is known what sounds beside it.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use crate::players::PlayerMarks;
use crate::score::{Part, Score};
use crate::sounding::{NoteRow, PlayedBar};
use crate::time::Crotchets;

/// Fills in the players of each row. Rows are ordered by onset.
pub(crate) fn count_players(score: &Score, part: &Part, bars: &[PlayedBar], rows: &mut [NoteRow]) {
    if !part.is_body && part.players.most <= 1 {
        return;
    }
    let marks = PlayerMarks::new(part, &score.bars);
    let mut lines = Lines::default();
    let mut resting = Resting::new(part);
    for moment in rows.chunk_by_mut(|a, b| a.onset == b.onset) {
        lines.begin(moment);
        // At a barline the end of one bar and the start of the next are one moment: bar by bar, so that rests are met in order.
        moment.sort_by_key(|row| row.bar);
        for row in &mut *moment {
            let bar = bars[row.bar as usize];
            let at = row.onset - bar.start;
            let written = score.bars[bar.bar.at()].start + at;
            let rests = resting.beside(row, bar, at);
            (row.players, row.players_reason) = marks.count(part, written, row.staff, lines.on(row.staff), rests);
        }
        moment.sort_by_key(NoteRow::in_moment);
    }
}

/// Lines that sound on each staff: rows that have begun and not ended. Two rows of one key are two lines.
#[derive(Default)]
struct Lines {
    ends: BinaryHeap<Reverse<(Crotchets, u8)>>,
    counts: BTreeMap<u8, usize>,
}

impl Lines {
    /// Goes on to the moment at which these rows begin.
    fn begin(&mut self, rows: &[NoteRow]) {
        let Some(now) = rows.first().map(|row| row.onset) else { return };
        while let Some(&Reverse((_, staff))) = self.ends.peek().filter(|Reverse((end, _))| *end <= now) {
            self.ends.pop();
            if let Some(count) = self.counts.get_mut(&staff) {
                *count -= 1;
            }
        }
        for row in rows.iter().filter(|row| !row.duration.is_zero()) {
            self.ends.push(Reverse((row.onset + row.duration, row.staff)));
            *self.counts.entry(row.staff).or_default() += 1;
        }
    }

    fn on(&self, staff: u8) -> u16 {
        self.counts.get(&staff).map_or(0, |&count| u16::try_from(count).unwrap_or(u16::MAX))
    }
}

/// Which voices show a rest, met in order of time bar by bar.
struct Resting<'a> {
    part: &'a Part,
    /// The played bar the rests below are of.
    played: Option<u32>,
    /// The next rest to be met.
    next: usize,
    /// On each staff the two voices whose rests last longest, and until when in the bar: enough to know whether one beside a
    /// given voice rests.
    longest: BTreeMap<u8, [Option<(u16, Crotchets)>; 2]>,
}

impl<'a> Resting<'a> {
    const fn new(part: &'a Part) -> Self {
        Self { part, played: None, next: 0, longest: BTreeMap::new() }
    }

    /// Whether another voice on the row's staff visibly rests at `at` in its bar.
    fn beside(&mut self, row: &NoteRow, bar: PlayedBar, at: Crotchets) -> bool {
        let rests = &self.part.rests;
        if self.played != Some(row.bar) {
            self.played = Some(row.bar);
            self.longest.clear();
            self.next = rests.partition_point(|rest| rest.bar < bar.bar);
        }
        while let Some(rest) = rests.get(self.next).filter(|rest| rest.bar == bar.bar && rest.at <= at) {
            self.next += 1;
            if !rest.hidden && !rest.cue {
                let end = if rest.whole_bar { Crotchets::MAX } else { rest.at + rest.duration };
                meet(self.longest.entry(rest.staff).or_default(), rest.voice, end);
            }
        }
        let longest = self.longest.get(&row.staff);
        longest.is_some_and(|two| two.iter().flatten().any(|&(voice, end)| voice != row.voice && end > at))
    }
}

/// Keeps the two voices whose rests last longest.
fn meet(longest: &mut [Option<(u16, Crotchets)>; 2], voice: u16, end: Crotchets) {
    let known = longest.iter().position(|one| one.is_some_and(|(other, _)| other == voice));
    let place = known.unwrap_or(1);
    if longest[place].is_none_or(|(_, until)| until < end) {
        longest[place] = Some((voice, end));
    }
    let until = |one: Option<(u16, Crotchets)>| one.map(|(_, end)| end);
    if until(longest[0]) < until(longest[1]) {
        longest.swap(0, 1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_two_longest_rests_are_of_two_voices() {
        let mut longest = [None, None];
        let whole = Crotchets::whole;
        for (voice, end) in [(1, 2), (1, 4), (2, 1), (3, 3), (2, 6), (1, 5)] {
            meet(&mut longest, voice, whole(end));
        }
        assert_eq!(longest, [Some((2, whole(6))), Some((1, whole(5)))]);
    }
}
