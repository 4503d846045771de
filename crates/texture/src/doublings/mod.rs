//! Doublings: who doubles whom, at which interval, over which notes.
//!
//! Two lines double each other where they attack at the same moments the same pitch, or pitches octaves apart, at one
//! interval. Length is left out of the comparison: a plucked bass under a bowed cello doubles it. Repeated notes
//! against one held note are no doubling. A doubling is *exact* when neither line attacks anything else between its first note and
//! its last; else it is *partial* and says which share of each line's notes the other has.
//!
//! A line may play fewer notes than the one it doubles (every other note of a run) and still double it. To stay one doubling, the
//! line with fewer notes must have at least [`FEWER_SHARE`] of its notes in common, and between two common notes at most one of
//! its own and three of the other line's. What is kept is no accident: four common notes, or a common note held for a bar, or
//! everything that both play between rests, or two notes that are all both begin in their bars. Where a line changes octave under
//! way, each stretch at one interval is a doubling of its own, and is kept when the stretches without a break have four notes
//! together. Cost: for each moment, the pairs of lines that begin the same pitch class there.
//!
//! A chord kept whole (harp, keyboards) is compared by its highest note.

mod find;

use std::ops::Range;

use ripieno_score::{Crotchets, Sounding};

use crate::lines::Lines;

/// Share of the sparser line's notes that must be common to both; chosen as common practice, not fitted.
pub const FEWER_SHARE: f32 = 0.75;

/// Common notes that make up for one of a line's own in [`Doubling::is_full`]; common practice, not fitted.
const SLIP: u32 = 8;

/// One line doubling another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Doubling {
    /// A line, index into [`Lines::lines`]; the smaller index.
    pub a: usize,
    /// The other.
    pub b: usize,
    /// `b` minus `a` in semitones, a multiple of 12: 0 is the unison, -12 means `b` sounds an octave below.
    pub interval: i16,
    /// First and last common attack, indices into `a`'s [`crate::Line::attacks`].
    pub a_attacks: (u32, u32),
    /// The same in `b`.
    pub b_attacks: (u32, u32),
    /// When the first common note begins.
    pub from: Crotchets,
    /// When the last common note has ended in both.
    pub to: Crotchets,
    /// Bars of the first and last common attack, indices into [`Sounding::bars`], both inclusive.
    pub bars: (u32, u32),
    /// Common attacks.
    pub shared: u32,
}

impl Doubling {
    /// Attacks of `a` in the span.
    #[must_use]
    pub const fn of_a(&self) -> u32 {
        self.a_attacks.1 - self.a_attacks.0 + 1
    }

    /// Attacks of `b` in the span.
    #[must_use]
    pub const fn of_b(&self) -> u32 {
        self.b_attacks.1 - self.b_attacks.0 + 1
    }

    /// Share of `a`'s attacks that `b` has too, 0 to 1.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn share_of_a(&self) -> f32 {
        self.shared as f32 / self.of_a() as f32
    }

    /// Share of `b`'s attacks that `a` has too, 0 to 1.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn share_of_b(&self) -> f32 {
        self.shared as f32 / self.of_b() as f32
    }

    /// Whether it holds throughout but for slips: in each line at most one attack of its own for every eight common ones. A foreign note or a
    /// rest does not turn a long doubling into one in part.
    #[must_use]
    pub const fn is_full(&self) -> bool {
        let slips = self.shared / SLIP;
        self.of_a() - self.shared <= slips && self.of_b() - self.shared <= slips
    }

    /// Whether neither line attacks anything else in the span.
    #[must_use]
    pub const fn is_exact(&self) -> bool {
        self.shared == self.of_a() && self.shared == self.of_b()
    }
}

/// All doublings of a score.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Doublings {
    /// By first moment, then by lines.
    pub all: Vec<Doubling>,
    /// Indices into `all`, by line; a doubling stands under both its lines.
    of_line: Vec<Vec<u32>>,
}

impl Doublings {
    /// Finds the doublings of `lines`, which come from `sounding`.
    #[must_use]
    pub fn new(sounding: &Sounding, lines: &Lines) -> Self {
        Self::of(find::find(sounding, lines), lines.lines.len())
    }

    /// Gathers doublings among so many lines, which come by first moment, then by lines.
    #[must_use]
    pub fn of(all: Vec<Doubling>, lines: usize) -> Self {
        let mut of_line = vec![Vec::new(); lines];
        for (index, doubling) in (0u32..).zip(&all) {
            of_line[doubling.a].push(index);
            of_line[doubling.b].push(index);
        }
        Self { all, of_line }
    }

    /// Doublings of one line, by first moment.
    pub fn of_line(&self, line: usize) -> impl Iterator<Item = &Doubling> {
        self.of_line.get(line).into_iter().flatten().filter_map(|&index| self.all.get(index as usize))
    }

    /// Doublings of one line that touch the bars.
    pub fn in_bars(&self, line: usize, bars: Range<u32>) -> impl Iterator<Item = &Doubling> {
        self.of_line(line).filter(move |doubling| doubling.bars.0 < bars.end && doubling.bars.1 >= bars.start)
    }
}
