//! Roles: who does what, with confidence and evidence.
//!
//! A line in a bar is a cell. Cells that go in unison or octaves over a stretch make a strand, strands in one rhythm a layer ([`crate::Layers`]);
//! a role is weighed for the strand, from the learned probabilities and from what the notes do among all others that sound, then
//! decided along each line so that it changes when the music does.

mod cell;
mod evidence;
mod figure;
mod known;
mod path;
mod pedal;
mod spans;
mod standing;
mod thread;
mod weigh;

use std::ops::Range;

use ripieno_score::{Crotchets, Score, Sounding};

use crate::layers::{Layers, group, layers};
use crate::learned::RoleProbabilities;
use crate::lines::Lines;
use crate::role::Role;
use crate::techniques::techniques;
pub(crate) use cell::Cell;
pub use evidence::{Evidence, Figured};
use spans::Findings;
pub use thread::{Carried, Support};
use weigh::{Fits, WEIGHED, weigh};

/// A role a line has, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Held {
    /// The role.
    pub role: Role,
    /// How likely annotators would put the line in the role's group (melody, rhythm or harmony), 0 to 1; calibrated on annotated
    /// scores for the group, not for the finer choice within it.
    pub confidence: f32,
}

/// One line, one stretch of bars, one set of roles.
#[derive(Debug, Clone, PartialEq)]
pub struct RoleSpan {
    /// The part, index into [`Score::parts`].
    pub part: usize,
    /// The line, index into [`Lines::lines`].
    pub line: usize,
    /// Played bars, end exclusive.
    pub bars: Range<u32>,
    /// When its first note sounds.
    pub from: Crotchets,
    /// When its last note ends within the last bar.
    pub to: Crotchets,
    /// The roles, the one shown first; never empty.
    pub roles: Vec<Held>,
    /// What decided, the most telling first.
    pub evidence: Vec<Evidence>,
}

impl RoleSpan {
    /// The role shown.
    #[must_use]
    pub fn role(&self) -> Role {
        self.roles.first().map_or(Role::Tacet, |held| held.role)
    }
}

/// Roles of a whole score. Where a part has no span it is tacet.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RoleReading {
    /// Spans by part, then by time, then by line.
    pub spans: Vec<RoleSpan>,
    /// The lines that act together.
    pub layers: Layers,
    /// The melody from carrier to carrier.
    pub melody: Vec<Carried>,
    /// How strongly each part carries the main melody, `[part][played bar]`: 0 where it is silent, to be compared within a bar.
    pub leads: Vec<Vec<f32>>,
}

impl RoleReading {
    /// Spans of one part, by time.
    #[must_use]
    pub fn of_part(&self, part: usize) -> &[RoleSpan] {
        let first = self.spans.partition_point(|span| span.part < part);
        let end = self.spans.partition_point(|span| span.part <= part);
        &self.spans[first..end]
    }

    /// Whether `part` has melody or countermelody for at least half of the time from `from` to `to`.
    #[must_use]
    pub fn sings(&self, part: usize, from: Crotchets, to: Crotchets) -> bool {
        let tune = |span: &&RoleSpan| span.role().is_tune();
        let overlap = |span: &RoleSpan| (span.to.min(to) - span.from.max(from)).max(Crotchets::ZERO);
        let sung: Crotchets = self.of_part(part).iter().filter(tune).map(overlap).fold(Crotchets::ZERO, |sum, time| sum + time);
        sung + sung >= to - from
    }

    /// Spans of one part that touch a played bar.
    pub fn in_bar(&self, part: usize, bar: u32) -> impl Iterator<Item = &RoleSpan> {
        self.of_part(part).iter().filter(move |span| span.bars.contains(&bar))
    }
}

/// Decides the roles of all `lines` of `sounding`, which is `score` in written or played order; `learned` comes from
/// [`crate::predict`] on the same two. Cost grows with the notes and, inside a bar, with the square of the lines that sound.
#[must_use]
pub fn read_roles(score: &Score, sounding: &Sounding, lines: &Lines, learned: &RoleProbabilities) -> RoleReading {
    let part_of: Vec<usize> = lines.lines.iter().map(|line| line.part).collect();
    let cells = cell::cells(sounding, &lines.of_row, &part_of, &techniques(score, sounding));
    let mut by_bar: Vec<Vec<usize>> = vec![Vec::new(); sounding.bars.len()];
    for (index, cell) in cells.iter().enumerate() {
        by_bar[cell.bar].push(index);
    }
    let places = group::places(&cells, &by_bar, part_of.len());
    let known = known::know(score, sounding, learned, &cells, &by_bar, &places);
    let fits: Vec<Fits> = known.iter().map(weigh).collect();
    let roles = decide(&cells, &fits);
    let told: Vec<Role> = roles.iter().map(|&role| WEIGHED[role]).collect();
    let findings =
        Findings { cells: &cells, by_bar: &by_bar, places: &places, known: &known, learned, fits: &fits, roles: &roles };
    let prominence = thread::prominence(score);
    RoleReading {
        spans: spans::spans(&findings),
        layers: layers(lines, &cells, &by_bar, &places, &told, |cell| learned.lead[cell.part][cell.bar]),
        melody: thread::thread(sounding, learned, &prominence, &cells, &by_bar, &places, &told),
        leads: thread::strengths(sounding.bars.len(), learned, &prominence, &cells, &by_bar, &places),
    }
}

/// The role of each cell, decided along its line.
fn decide(cells: &[Cell], fits: &[Fits]) -> Vec<usize> {
    let mut roles = Vec::with_capacity(cells.len());
    for of_line in cells.chunk_by(|a, b| a.line == b.line) {
        let first = roles.len();
        let silence: Vec<bool> = (0..of_line.len()).map(|at| at == 0 || of_line[at].bar > of_line[at - 1].bar + 1).collect();
        roles.extend(path::path(&fits[first..first + of_line.len()], &silence));
    }
    debug_assert!(roles.iter().all(|&role| role < WEIGHED.len()));
    roles
}
