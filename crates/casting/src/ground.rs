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
        let there = || roles.spans.iter().enumerate().filter(|(_, span)| span.bars.contains(&bar));
        let begin = there().filter_map(|(_, span)| attacks_in(lines, span.line, bar).first()).map(|attack| attack.onset).min();
        let Some(begin) = begin else { continue };
        // What is held from before lies there too.
        let heard = |span: &RoleSpan| -> Vec<&Attack> {
            let held = held_at(lines, span.line, bar).filter(|attack| attack.end > begin);
            held.into_iter().chain(attacks_in(lines, span.line, bar)).collect()
        };
        let here: Vec<(usize, &RoleSpan, Vec<&Attack>)> = there()
            .map(|(at, span)| (at, span, heard(span)))
            .filter(|(_, _, attacks)| !attacks.is_empty() && attacks.iter().all(|attack| attack.top.is_some()))
            .collect();
        let held_bass = |span: &&RoleSpan| span.role() == Role::Bass && span.bars.contains(&bar);
        if here.len() < 2 || roles.spans.iter().any(|span| held_bass(&span)) {
            continue;
        }
        let height = |attacks: &[&Attack]| {
            let keys = attacks.iter().filter_map(|attack| attack.top).map(i32::from);
            keys.sum::<i32>() * 16 / i32::try_from(attacks.len()).unwrap_or(1).max(1)
        };
        let Some((_, span, ground)) = here.iter().min_by_key(|(at, _, attacks)| (height(attacks), *at)) else { continue };
        if span.role() != Role::Countermelody {
            continue;
        }
        let notes: BTreeSet<(Crotchets, u8)> = ground.iter().copied().filter_map(class_at).collect();
        for (at, _, attacks) in here.iter().filter(|(_, span, _)| span.role() == Role::Countermelody) {
            let same = attacks.iter().copied().filter_map(class_at).filter(|note| notes.contains(note)).count();
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

/// The last attack of a line before a bar.
fn held_at(lines: &Lines, line: usize, bar: u32) -> Option<&Attack> {
    let attacks = &lines.lines[line].attacks;
    attacks.partition_point(|attack| attack.bar < bar).checked_sub(1).map(|last| &attacks[last])
}

/// The attacks of a line in a bar.
fn attacks_in(lines: &Lines, line: usize, bar: u32) -> &[Attack] {
    let attacks = &lines.lines[line].attacks;
    let first = attacks.partition_point(|attack| attack.bar < bar);
    let end = attacks.partition_point(|attack| attack.bar <= bar);
    &attacks[first..end]
}

#[cfg(test)]
mod tests {
    use ripieno_texture::{Held, Line, Told};

    use super::*;

    /// A bar, the key begun there, and for how many crotchets it lasts.
    type Begun = (u32, u8, i64);

    /// Lines of one part each in bars of four crotchets, with their roles.
    fn score(parts: &[(Role, &[Begun])]) -> (Lines, RoleReading) {
        let (mut lines, mut roles) = (Lines::default(), RoleReading::default());
        for (part, (role, notes)) in parts.iter().enumerate() {
            let attack = |&(bar, key, lasts): &Begun| {
                let onset = Crotchets::whole(4 * i64::from(bar));
                Attack { onset, end: onset + Crotchets::whole(lasts), bar, top: Some(key), bottom: Some(key), first: 0, notes: 1 }
            };
            let attacks = notes.iter().map(attack).collect();
            lines.lines.push(Line { part, staff: 1, place: 1, told: Told::Alone, rows: Vec::new(), attacks });
            let held = Held { role: *role, confidence: 1.0 };
            let (from, to) = (Crotchets::ZERO, Crotchets::whole(16));
            roles.spans.push(RoleSpan { part, line: part, bars: 0..4, from, to, roles: vec![held], evidence: Vec::new() });
        }
        (lines, roles)
    }

    fn bass_bars(lines: &Lines, roles: &RoleReading) -> Vec<u32> {
        let spans = grounded(lines, roles, &(0..4)).spans;
        spans.iter().filter(|span| span.role() == Role::Bass).flat_map(|span| span.bars.clone()).collect()
    }

    const TUNE: [Begun; 4] = [(0, 72, 4), (1, 74, 4), (2, 76, 4), (3, 77, 4)];
    const ANSWER: [Begun; 4] = [(0, 48, 4), (1, 50, 4), (2, 52, 4), (3, 53, 4)];

    #[test]
    fn an_answer_below_everything_is_the_bass() {
        let (lines, roles) = score(&[(Role::Melody, &TUNE), (Role::Countermelody, &ANSWER)]);
        assert_eq!(bass_bars(&lines, &roles), [0, 1, 2, 3]);
    }

    /// C2 begun in the first bar and held for three: until it ends, it is what the harmony stands on.
    #[test]
    fn what_is_held_below_an_answer_keeps_it_from_being_the_bass() {
        let (lines, roles) = score(&[(Role::Melody, &TUNE), (Role::Countermelody, &ANSWER), (Role::Pedal, &[(0, 36, 12)])]);
        assert_eq!(bass_bars(&lines, &roles), [3]);
    }
}
