//! A person's word put into the reading of roles.
//!
//! Instructions are followed in their order, so that of two that contradict each other the later wins. Pieces into which a
//! span is cut begin and end with their notes, as spans do.

use ripieno_score::{Crotchets, Sounding};
use ripieno_texture::{Evidence, Held, Role, RoleReading, RoleSpan};

use super::change::{Change, Instruction};
use super::melody;

/// Roles with a person's corrections in force.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Corrected {
    /// The roles; what a person set has [`Evidence::SetByHand`] and confidence 1.
    pub roles: RoleReading,
    /// What a person said of each span, as [`RoleReading::spans`].
    pub said: Vec<Said>,
    /// What a person said of layers, in the order it was said.
    pub layers: Vec<LayerSaid>,
}

/// What a person said of a span.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Said {
    /// Identifiers of the corrections that made it what it is, in the order they were made; empty where nobody said anything.
    pub corrections: Vec<String>,
    /// What a person calls it.
    pub name: Option<String>,
}

/// What a person said of layers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LayerSaid {
    /// Identifier of the correction.
    pub correction: String,
    /// [`Change::SetLayer`], [`Change::SplitLayer`], [`Change::MergeLayers`] or [`Change::NameLayer`].
    pub change: Change,
    /// The lines, indices into [`RoleReading::lines`], ascending.
    pub lines: Vec<usize>,
    /// Beginning, in crotchets from the start.
    pub from: Crotchets,
    /// End, not included.
    pub to: Crotchets,
}

/// A span on its way.
#[derive(Debug, Clone)]
struct Piece {
    span: RoleSpan,
    said: Said,
}

/// Puts instructions into force. `roles` was read from `sounding`, for which the instructions were settled.
#[must_use]
pub fn apply(mut roles: RoleReading, instructions: &[Instruction], sounding: &Sounding) -> Corrected {
    let whole = |span: RoleSpan| Piece { span, said: Said::default() };
    let mut work = Work { sounding, pieces: std::mem::take(&mut roles.spans).into_iter().map(whole).collect(), roles };
    let mut layers = Vec::new();
    for instruction in instructions {
        let lines = work.lines(instruction);
        match &instruction.change {
            Change::SetRole(_) | Change::SplitRole | Change::MergeRoles | Change::NameRole(_) => work.follow(instruction, &lines),
            Change::SetLayer(_) | Change::SplitLayer | Change::MergeLayers | Change::NameLayer(_) => layers.push(LayerSaid {
                correction: instruction.correction.clone(),
                change: instruction.change.clone(),
                lines,
                from: instruction.from,
                to: instruction.to,
            }),
            Change::Remark(_) => {}
        }
    }
    let Work { mut roles, mut pieces, .. } = work;
    pieces.sort_by_key(|piece| (piece.span.part, piece.span.from, piece.span.line));
    let said = pieces.iter().map(|piece| piece.said.clone()).collect();
    roles.spans = pieces.into_iter().map(|piece| piece.span).collect();
    Corrected { roles, said, layers }
}

struct Work<'a> {
    sounding: &'a Sounding,
    pieces: Vec<Piece>,
    /// Without spans while they are in work.
    roles: RoleReading,
}

impl Work<'_> {
    fn lines(&self, instruction: &Instruction) -> Vec<usize> {
        let meant = |index: &usize| {
            let line = self.roles.lines[*index];
            instruction.who.iter().any(|who| {
                who.part == line.part
                    && who.voice.is_none_or(|voice| voice == line.voice)
                    && who.staff.is_none_or(|staff| staff == line.staff)
            })
        };
        (0..self.roles.lines.len()).filter(meant).collect()
    }

    fn follow(&mut self, instruction: &Instruction, lines: &[usize]) {
        let (from, to) = (instruction.from, instruction.to);
        let (mut inside, mut outside) = (Vec::new(), Vec::new());
        for piece in self.pieces.drain(..) {
            if lines.binary_search(&piece.span.line).is_err()
                || piece.span.to <= from && piece.span.from < from
                || piece.span.from >= to
            {
                outside.push(piece);
                continue;
            }
            let cut = |a: Crotchets, b: Crotchets| {
                let span = trimmed(&piece.span, &self.roles, self.sounding, a, b)?;
                Some(Piece { span, said: piece.said.clone() })
            };
            outside.extend(cut(Crotchets::ZERO, from));
            inside.extend(cut(from, to));
            outside.extend(cut(to, Crotchets::MAX));
        }
        inside.sort_by_key(|piece| (piece.span.line, piece.span.from));
        match &instruction.change {
            Change::SetRole(roles) => {
                let held: Vec<Held> = roles.iter().map(|&role| Held { role, confidence: 1.0 }).collect();
                for piece in &mut inside {
                    piece.span.roles.clone_from(&held);
                    piece.span.evidence = vec![Evidence::SetByHand];
                    piece.said = Said::default();
                }
                inside = joined(inside, |before, after| after.span.bars.start <= before.span.bars.end);
            }
            Change::MergeRoles => {
                let longest = longest(&inside);
                inside = joined(inside, |_, _| true);
                for piece in &mut inside {
                    if let Some((_, roles, evidence)) = longest.iter().find(|(line, ..)| *line == piece.span.line) {
                        piece.span.roles.clone_from(roles);
                        piece.span.evidence.clone_from(evidence);
                    }
                }
            }
            Change::NameRole(name) => inside.iter_mut().for_each(|piece| piece.said.name = Some(name.clone())),
            _ => {}
        }
        for piece in &mut inside {
            piece.said.corrections.push(instruction.correction.clone());
        }
        if let Change::SetRole(roles) = &instruction.change {
            let set: Vec<&RoleSpan> = inside.iter().map(|piece| &piece.span).collect();
            let others: Vec<&RoleSpan> = outside.iter().map(|piece| &piece.span).collect();
            if roles.contains(&Role::Melody) {
                melody::give(&mut self.roles.melody, &set, self.sounding);
            } else {
                melody::take(&mut self.roles.melody, (from, to), &set, &others, self.sounding);
            }
        }
        self.pieces = outside;
        self.pieces.extend(inside);
    }
}

/// What of a span lies from `a` to `b`, drawn in to its notes; `None` when no note of it does.
fn trimmed(span: &RoleSpan, roles: &RoleReading, sounding: &Sounding, a: Crotchets, b: Crotchets) -> Option<RoleSpan> {
    if a <= span.from && span.to <= b && (span.from < b || span.from == a) {
        return Some(span.clone());
    }
    let (a, b) = (a.max(span.from), b.min(span.to));
    if a >= b {
        return None;
    }
    let line = roles.lines.get(span.line)?;
    let notes = &sounding.notes;
    let rows = notes.of_part.get(span.part)?.clone();
    let mut edges: Option<(Crotchets, Crotchets)> = None;
    for row in rows.take_while(|&row| notes.onset[row] < b) {
        let (onset, end) = (notes.onset[row], notes.onset[row] + notes.duration[row]);
        if notes.voice[row] == line.voice && notes.staff[row] == line.staff && (end > a || onset >= a) {
            let here = (onset.max(a), end.min(b));
            edges = Some(edges.map_or(here, |known| (known.0.min(here.0), known.1.max(here.1))));
        }
    }
    let (from, to) = edges?;
    Some(RoleSpan { from, to, bars: bars(sounding, from, to), ..span.clone() })
}

/// Played bars from one moment to another, end exclusive.
pub(super) fn bars(sounding: &Sounding, from: Crotchets, to: Crotchets) -> std::ops::Range<u32> {
    let number = |bar: usize| u32::try_from(bar).unwrap_or(u32::MAX);
    let first = sounding.bar_at(from).unwrap_or(0);
    let end = sounding.bars.partition_point(|bar| bar.start < to).max(first + 1).min(sounding.bars.len());
    number(first)..number(end)
}

/// Joins pieces of one line, sorted by line and time, where `goes_on` says so.
fn joined(pieces: Vec<Piece>, goes_on: impl Fn(&Piece, &Piece) -> bool) -> Vec<Piece> {
    let mut out: Vec<Piece> = Vec::with_capacity(pieces.len());
    for piece in pieces {
        match out.last_mut() {
            Some(last) if last.span.line == piece.span.line && goes_on(last, &piece) => {
                last.span.to = last.span.to.max(piece.span.to);
                last.span.bars.end = last.span.bars.end.max(piece.span.bars.end);
                for id in piece.said.corrections {
                    if !last.said.corrections.contains(&id) {
                        last.said.corrections.push(id);
                    }
                }
                last.said.name = last.said.name.take().or(piece.said.name);
            }
            _ => out.push(piece),
        }
    }
    out
}

/// For each line the roles that hold longest in its pieces, with the evidence of the longest piece of these.
fn longest(pieces: &[Piece]) -> Vec<(usize, Vec<Held>, Vec<Evidence>)> {
    let mut found = Vec::new();
    for of_line in pieces.chunk_by(|a, b| a.span.line == b.span.line) {
        let total = |role: Role| -> Crotchets {
            of_line.iter().filter(|piece| piece.span.role() == role).map(|piece| piece.span.to - piece.span.from).sum()
        };
        let mut best: Option<(&Piece, (Crotchets, Crotchets))> = None;
        for piece in of_line {
            let weight = (total(piece.span.role()), piece.span.to - piece.span.from);
            if best.is_none_or(|best| weight > best.1) {
                best = Some((piece, weight));
            }
        }
        if let Some((piece, _)) = best {
            found.push((piece.span.line, piece.span.roles.clone(), piece.span.evidence.clone()));
        }
    }
    found
}
