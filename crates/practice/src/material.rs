//! Everything measures are taken from, prepared once.

use ripieno_score::{Crotchets, Score, Sounding};
use ripieno_texture::{Doublings, Harmony, Lines, Role, RoleReading, RoleSpan, Theme};

use crate::groups::Groups;
use crate::measure::Subject;
use crate::slices::Slices;

/// Everything measures are taken from. All of it belongs to one score in one order of bars.
#[derive(Debug, Clone)]
#[allow(missing_docs)] // each is described where it is defined
pub struct Material<'a> {
    pub score: &'a Score,
    pub sounding: &'a Sounding,
    pub groups: &'a Groups,
    pub lines: &'a Lines,
    pub doublings: &'a Doublings,
    pub roles: &'a RoleReading,
    pub harmony: &'a Harmony,
    pub themes: &'a [Theme],
    pub slices: Slices,
    /// Whether it is a chart: who plays when and in what role, without pitches and attacks.
    pub charted: bool,
    /// Spans of each line by time, indices into [`RoleReading::spans`].
    spans_of_line: Vec<Vec<u32>>,
}

impl<'a> Material<'a> {
    /// Prepares the parts of one analysis.
    #[must_use]
    #[allow(clippy::too_many_arguments)] // one analysis has this many parts, and they are of different types
    pub fn new(
        score: &'a Score,
        sounding: &'a Sounding,
        groups: &'a Groups,
        lines: &'a Lines,
        doublings: &'a Doublings,
        roles: &'a RoleReading,
        harmony: &'a Harmony,
        themes: &'a [Theme],
    ) -> Self {
        let mut spans_of_line = vec![Vec::new(); lines.lines.len()];
        for (index, span) in (0u32..).zip(&roles.spans) {
            if let Some(spans) = spans_of_line.get_mut(span.line) {
                spans.push(index);
            }
        }
        let slices = Slices::new(sounding);
        Self { score, sounding, groups, lines, doublings, roles, harmony, themes, slices, charted: false, spans_of_line }
    }

    /// The same of a chart, of which neither pitches nor attacks are known.
    #[must_use]
    pub fn of_chart(self) -> Self {
        Self { charted: true, ..self }
    }

    /// Whether a row has pitch; on a chart, whether its instrument has.
    #[must_use]
    pub fn has_pitch(&self, row: u32) -> bool {
        if !self.charted {
            return self.key_of(row).is_some();
        }
        self.groups.parts[self.part_of(row)].instrument.is_none_or(|instrument| instrument.pitched)
    }

    /// The span of roles in which a line is at a moment: the last that has begun; `None` before the line's first note.
    #[must_use]
    pub fn span_at(&self, line: usize, at: Crotchets) -> Option<&'a RoleSpan> {
        let spans = self.spans_of_line.get(line)?;
        let next = spans.partition_point(|&span| self.roles.spans[span as usize].from <= at);
        let span = spans.get(next.checked_sub(1)?)?;
        self.roles.spans.get(*span as usize)
    }

    /// The role a row of [`Sounding::notes`] has at a moment at which it sounds.
    #[must_use]
    pub fn role_at(&self, row: u32, at: Crotchets) -> Role {
        self.span_at(self.line_of(row), at).map_or(Role::Tacet, RoleSpan::role)
    }

    /// The line of a row.
    #[must_use]
    pub fn line_of(&self, row: u32) -> usize {
        self.lines.of_row[row as usize] as usize
    }

    /// The part of a row.
    #[must_use]
    pub fn part_of(&self, row: u32) -> usize {
        usize::from(self.sounding.notes.part[row as usize])
    }

    /// Sounding key of a row, as a number; `None` without pitch.
    #[must_use]
    pub fn key_of(&self, row: u32) -> Option<i32> {
        self.sounding.notes.key[row as usize].map(|key| i32::from(key.number()))
    }

    /// People on these rows, which sound together: at least as many as the page settles, no more in a part than it has. A body of unprinted
    /// size counts with its least.
    #[must_use]
    pub fn players(&self, rows: &[u32]) -> u32 {
        let of_part = |rows: &[u32]| {
            let sum: u32 = rows.iter().map(|&row| u32::from(self.sounding.notes.players[row as usize].least)).sum();
            let part = rows.first().map_or(0, |&row| self.part_of(row));
            sum.min(u32::from(self.score.parts[part].players.most).max(1))
        };
        rows.chunk_by(|&a, &b| self.part_of(a) == self.part_of(b)).map(of_part).sum()
    }

    /// Families, then sections, then the groups a person has named, then parts, each in page order; the whole score first.
    #[must_use]
    pub fn subjects(&self) -> Vec<Subject> {
        let families = (0..self.groups.families.len()).map(Subject::Family);
        let sections = (0..self.groups.sections.len()).map(Subject::Section);
        let named = (0..self.groups.named.len()).map(Subject::Named);
        let parts = (0..self.score.parts.len()).map(Subject::Part);
        std::iter::once(Subject::Everybody).chain(families).chain(sections).chain(named).chain(parts).collect()
    }

    /// Which parts belong to a subject, by part.
    #[must_use]
    pub fn members(&self, subject: Subject) -> Vec<bool> {
        let mut members = vec![false; self.score.parts.len()];
        for part in subject.parts(self.score, self.groups) {
            members[part] = true;
        }
        members
    }

    /// Whether the piece begins with a bar shorter than the next: an upbeat, which is no bar of rest.
    #[must_use]
    pub fn has_upbeat(&self) -> bool {
        matches!(self.sounding.bars.as_slice(), [first, second, ..] if first.length < second.length)
    }

    /// Name of a subject.
    #[must_use]
    pub fn name(&self, subject: Subject) -> String {
        subject.name(self.score, self.groups)
    }
}

/// What a musician calls a played bar: its printed number, or its place counted from 1 where none is printed. Empty for a bar that is not there.
#[must_use]
pub fn bar_label(score: &Score, sounding: &Sounding, bar: u32) -> String {
    let Some(played) = sounding.bars.get(bar as usize) else { return String::new() };
    match score.bars.get(played.bar.at()).map(|bar| bar.number.as_ref()) {
        Some("") | None => (played.bar.0 + 1).to_string(),
        Some(number) => number.to_owned(),
    }
}
