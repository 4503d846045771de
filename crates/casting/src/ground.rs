//! Whoever is lowest and acts as the bass is the bass of a sketch.
//!
//! Where nobody has the bass in a bar and a countermelody lies below everything else, that line is what the harmony stands on: it stands on the Bass staff of a
//! reduction, with whoever doubles it (handbook rule, from memory: the lowest part is the bass whatever else it says).

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_score::Crotchets;
use ripieno_texture::{Attack, Lines, Role, RoleReading, RoleSpan};

/// The roles of a score with that settled in bars of it, as indices: what a reduction of these bars stands on.
#[must_use]
pub fn grounded(lines: &Lines, roles: &RoleReading, bars: &Range<usize>) -> RoleReading {
    let mut lowest: BTreeMap<usize, BTreeSet<u32>> = BTreeMap::new();
    for bar in bars.clone().filter_map(|bar| u32::try_from(bar).ok()) {
        let here: Vec<(usize, &RoleSpan, &[Attack])> = roles
            .spans
            .iter()
            .enumerate()
            .filter(|(_, span)| span.bars.contains(&bar))
            .map(|(at, span)| (at, span, attacks_in(lines, span.line, bar)))
            .filter(|(_, _, attacks)| !attacks.is_empty() && attacks.iter().all(|attack| attack.top.is_some()))
            .collect();
        let held_bass = |span: &&RoleSpan| span.role() == Role::Bass && span.bars.contains(&bar);
        if here.len() < 2 || roles.spans.iter().any(|span| held_bass(&span)) {
            continue;
        }
        let height = |attacks: &[Attack]| {
            let keys = attacks.iter().filter_map(|attack| attack.top).map(i32::from);
            keys.sum::<i32>() * 16 / i32::try_from(attacks.len()).unwrap_or(1).max(1)
        };
        let Some((_, span, ground)) = here.iter().min_by_key(|(at, _, attacks)| (height(attacks), *at)) else { continue };
        if span.role() != Role::Countermelody {
            continue;
        }
        let notes: BTreeSet<(Crotchets, u8)> = ground.iter().filter_map(class_at).collect();
        for (at, _, attacks) in here.iter().filter(|(_, span, _)| span.role() == Role::Countermelody) {
            let same = attacks.iter().filter_map(class_at).filter(|note| notes.contains(note)).count();
            if same * 2 > attacks.len() {
                lowest.entry(*at).or_default().insert(bar);
            }
        }
    }
    let mut grounded = RoleReading { spans: Vec::with_capacity(roles.spans.len()), ..roles.clone() };
    for (at, span) in roles.spans.iter().enumerate() {
        let Some(as_bass) = lowest.get(&at) else {
            grounded.spans.push(span.clone());
            continue;
        };
        let all: Vec<u32> = span.bars.clone().collect();
        for run in all.chunk_by(|a, b| as_bass.contains(a) == as_bass.contains(b)) {
            let mut piece = RoleSpan { bars: run[0]..run[run.len() - 1] + 1, ..span.clone() };
            if let (true, Some(held)) = (as_bass.contains(&run[0]), piece.roles.first_mut()) {
                held.role = Role::Bass;
            }
            grounded.spans.push(piece);
        }
    }
    grounded
}

/// When an attack is, and the class of its note.
fn class_at(attack: &Attack) -> Option<(Crotchets, u8)> {
    attack.top.map(|top| (attack.onset, top % 12))
}

/// The attacks of a line in a bar.
fn attacks_in(lines: &Lines, line: usize, bar: u32) -> &[Attack] {
    let attacks = &lines.lines[line].attacks;
    let first = attacks.partition_point(|attack| attack.bar < bar);
    let end = attacks.partition_point(|attack| attack.bar <= bar);
    &attacks[first..end]
}
