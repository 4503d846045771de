//! Roles: who does what, with confidence and evidence.
//!
//! A line in a bar is a cell. Cells that go in unison or octaves over a stretch make a strand, strands in one rhythm a layer;
//! a role is weighed for the strand, from the learned probabilities and from what the notes do among all others that sound, then
//! decided along each line so that it changes when the music does.

mod cell;
mod evidence;
mod figure;
mod group;
mod known;
mod path;
mod pedal;
mod spans;
mod standing;
mod thread;
mod weigh;

use std::ops::Range;

use ripieno_score::{Crotchets, Score, Sounding};

use crate::learned::RoleProbabilities;
use crate::role::Role;
use crate::techniques::techniques;
pub use evidence::Evidence;
use spans::Findings;
pub use thread::Carried;
use weigh::{Fits, WEIGHED, weigh};

/// The lines of one voice on one staff of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RoleLine {
    /// The part, index into [`Score::parts`].
    pub part: usize,
    /// Staff within the part, from 1.
    pub staff: u8,
    /// Voice within the part, from 1.
    pub voice: u16,
}

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
    /// The line, index into [`RoleReading::lines`].
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
    /// The lines that play.
    pub lines: Vec<RoleLine>,
    /// Spans by part, then by time, then by line.
    pub spans: Vec<RoleSpan>,
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
        let tune = |span: &&RoleSpan| matches!(span.role(), Role::Melody | Role::Countermelody);
        let overlap = |span: &RoleSpan| (span.to.min(to) - span.from.max(from)).max(Crotchets::ZERO);
        let sung: Crotchets = self.of_part(part).iter().filter(tune).map(overlap).fold(Crotchets::ZERO, |sum, time| sum + time);
        sung + sung >= to - from
    }

    /// Spans of one part that touch a played bar.
    pub fn in_bar(&self, part: usize, bar: u32) -> impl Iterator<Item = &RoleSpan> {
        self.of_part(part).iter().filter(move |span| span.bars.contains(&bar))
    }
}

/// Decides the roles of all lines of `sounding`, which is `score` in written or played order; `learned` comes from
/// [`crate::predict`] on the same two. Cost grows with the notes and, inside a bar, with the square of the lines that sound.
#[must_use]
pub fn read_roles(score: &Score, sounding: &Sounding, learned: &RoleProbabilities) -> RoleReading {
    let (lines, line_of) = lines(sounding);
    let part_of: Vec<usize> = lines.iter().map(|line| line.part).collect();
    let cells = cell::cells(sounding, &line_of, &part_of, &techniques(score, sounding));
    let mut by_bar: Vec<Vec<usize>> = vec![Vec::new(); sounding.bars.len()];
    for (index, cell) in cells.iter().enumerate() {
        by_bar[cell.bar].push(index);
    }
    let places = group::places(&cells, &by_bar, lines.len());
    let known = known::know(score, sounding, learned, &cells, &by_bar, &places);
    let fits: Vec<Fits> = known.iter().map(weigh).collect();
    let roles = decide(&cells, &fits);
    let findings = Findings { cells: &cells, by_bar: &by_bar, places: &places, known: &known, fits: &fits, roles: &roles };
    let spans = spans::spans(&findings);
    let melody = thread::thread(sounding, learned, &cells, &by_bar, &places);
    let leads = thread::strengths(score.parts.len(), sounding.bars.len(), learned, &cells, &by_bar, &places);
    RoleReading { lines, spans, melody, leads }
}

/// The lines, and the line of each row.
fn lines(sounding: &Sounding) -> (Vec<RoleLine>, Vec<u32>) {
    let notes = &sounding.notes;
    let mut lines: Vec<RoleLine> = Vec::new();
    let mut line_of = Vec::with_capacity(notes.len());
    for rows in &notes.of_part {
        let of_part = lines.len();
        for row in rows.clone() {
            let line = RoleLine { part: usize::from(notes.part[row]), staff: notes.staff[row], voice: notes.voice[row] };
            let at = lines[of_part..].iter().position(|known| *known == line).map_or(lines.len(), |at| of_part + at);
            if at == lines.len() {
                lines.push(line);
            }
            line_of.push(u32::try_from(at).unwrap_or(u32::MAX));
        }
    }
    (lines, line_of)
}

/// The role of each cell, decided along its line.
fn decide(cells: &[cell::Cell], fits: &[Fits]) -> Vec<usize> {
    let mut roles = Vec::with_capacity(cells.len());
    for of_line in cells.chunk_by(|a, b| a.line == b.line) {
        let first = roles.len();
        let silence: Vec<bool> = (0..of_line.len()).map(|at| at == 0 || of_line[at].bar > of_line[at - 1].bar + 1).collect();
        roles.extend(path::path(&fits[first..first + of_line.len()], &silence));
    }
    debug_assert!(roles.iter().all(|&role| role < WEIGHED.len()));
    roles
}
