//! A person's word put into the reading of roles.
//!
//! Instructions are followed in their order, so that of two that contradict each other the later wins. Pieces into which a
//! span is cut begin and end with their notes, as spans do.

use ripieno_score::{Crotchets, Sounding};
use ripieno_texture::{Evidence, Held, Line, Lines, Role, RoleReading, RoleSpan};

use super::change::{Change, Instruction};
use super::layers::LayerWork;
use super::melody;

/// Roles with a person's corrections in force.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Corrected {
    /// The roles; what a person set has [`Evidence::SetByHand`] and confidence 1.
    pub roles: RoleReading,
    /// What a person said of each span, as [`RoleReading::spans`].
    pub said: Vec<Said>,
    /// What a person said of each layer, as [`ripieno_texture::Layers::layers`].
    pub said_of_layers: Vec<Said>,
}

/// What a person said of a span or a layer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Said {
    /// Identifiers of the corrections that made it what it is, in the order they were made; empty where nobody said anything.
    pub corrections: Vec<String>,
    /// What a person calls it.
    pub name: Option<String>,
}

/// A span on its way.
#[derive(Debug, Clone)]
struct Piece {
    span: RoleSpan,
    said: Said,
}

/// Puts instructions into force. `roles` was read from `sounding`, for which the instructions were settled, and its `lines`.
#[must_use]
pub fn apply(mut roles: RoleReading, instructions: &[Instruction], sounding: &Sounding, lines: &Lines) -> Corrected {
    let whole = |span: RoleSpan| Piece { span, said: Said::default() };
    let mut layers = LayerWork::new(lines, std::mem::take(&mut roles.layers));
    let mut work = Work { sounding, lines, pieces: std::mem::take(&mut roles.spans).into_iter().map(whole).collect(), roles };
    for instruction in instructions {
        let meant = work.meant(instruction);
        match &instruction.change {
            Change::SetRole(_) | Change::SplitRole | Change::MergeRoles | Change::NameRole(_) => work.follow(instruction, &meant),
            change @ (Change::SetLayer(_) | Change::SplitLayer | Change::MergeLayers | Change::NameLayer(_)) => {
                let bars = bars(sounding, instruction.from, instruction.to);
                layers.follow(&instruction.correction, change, &meant, &bars);
            }
            Change::Remark(_) => {}
        }
    }
    let Work { mut roles, mut pieces, .. } = work;
    pieces.sort_by_key(|piece| (piece.span.part, piece.span.from, piece.span.line));
    let said = pieces.iter().map(|piece| piece.said.clone()).collect();
    roles.spans = pieces.into_iter().map(|piece| piece.span).collect();
    let (layers, said_of_layers) = layers.finish();
    roles.layers = layers;
    Corrected { roles, said, said_of_layers }
}

struct Work<'a> {
    sounding: &'a Sounding,
    lines: &'a Lines,
    pieces: Vec<Piece>,
    /// Without spans while they are in work.
    roles: RoleReading,
}

impl Work<'_> {
    /// The lines an instruction is about, ascending.
    fn meant(&self, instruction: &Instruction) -> Vec<usize> {
        let meant = |line: &Line| {
            instruction.who.iter().any(|who| {
                who.part == line.part
                    && who.voice.is_none_or(|voice| voice == line.place)
                    && who.staff.is_none_or(|staff| staff == line.staff)
            })
        };
        let lines = self.lines.lines.iter().enumerate();
        lines.filter(|(_, line)| meant(line)).map(|(index, _)| index).collect()
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
                let span = trimmed(&piece.span, self.lines, self.sounding, a, b)?;
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
                let before: Vec<RoleSpan> = inside.iter().map(|piece| piece.span.clone()).collect();
                for piece in &mut inside {
                    piece.span.roles.clone_from(&held);
                    piece.span.evidence = vec![Evidence::SetByHand];
                    piece.said = Said::default();
                }
                inside = joined(inside, |before, after| after.span.bars.start <= before.span.bars.end);
                for piece in &mut inside {
                    piece.span.evidence.extend(found_before(&before, &piece.span));
                }
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
fn trimmed(span: &RoleSpan, lines: &Lines, sounding: &Sounding, a: Crotchets, b: Crotchets) -> Option<RoleSpan> {
    if a <= span.from && span.to <= b && (span.from < b || span.from == a) {
        return Some(span.clone());
    }
    let (a, b) = (a.max(span.from), b.min(span.to));
    if a >= b {
        return None;
    }
    let notes = &sounding.notes;
    let mut edges: Option<(Crotchets, Crotchets)> = None;
    for &row in &lines.lines.get(span.line)?.rows {
        let row = row as usize;
        let (onset, end) = (notes.onset[row], notes.onset[row] + notes.duration[row]);
        if onset >= b {
            break;
        }
        if end > a || onset >= a {
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

/// What had been found of a line before a person set it: each role once, with what decided where it was found first.
fn found_before(before: &[RoleSpan], now: &RoleSpan) -> Vec<Evidence> {
    let mut found: Vec<Evidence> = Vec::new();
    let mut add = |evidence: Evidence| {
        let role = |evidence: &Evidence| if let Evidence::FoundBefore { role, .. } = evidence { Some(*role) } else { None };
        if !found.iter().any(|known| role(known) == role(&evidence)) {
            found.push(evidence);
        }
    };
    let touches = |span: &&RoleSpan| span.line == now.line && span.bars.start < now.bars.end && now.bars.start < span.bars.end;
    for span in before.iter().filter(touches) {
        // Set twice: what was found at first stays.
        if span.evidence.contains(&Evidence::SetByHand) {
            span.evidence.iter().filter(|fact| matches!(fact, Evidence::FoundBefore { .. })).cloned().for_each(&mut add);
        } else if let Some(held) = span.roles.first() {
            add(Evidence::FoundBefore { role: held.role, share: held.confidence, because: span.evidence.clone() });
        }
    }
    found
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
