//! The melody's way through the score, after a person has said who has it or has it not.

use std::collections::BTreeSet;

use ripieno_score::{Crotchets, Sounding};
use ripieno_texture::{Carried, Role, RoleSpan, Support};

use super::apply::bars;

/// The melody over these spans lies with their lines: with the highest on the page where none was thought to carry it.
///
/// Where one of the parts was thought to carry it already, nothing changes.
pub(super) fn give(melody: &mut Vec<Carried>, set: &[&RoleSpan], sounding: &Sounding) {
    let parts: BTreeSet<usize> = set.iter().map(|span| span.part).collect();
    let mut order: Vec<&&RoleSpan> = set.iter().collect();
    order.sort_by_key(|span| (span.part, span.from, span.line));
    for span in order {
        let carried = |one: &Carried| one.parts().iter().any(|part| parts.contains(part));
        // What is already theirs stays; the gaps between become this line's.
        let theirs: Vec<(Crotchets, Crotchets)> =
            melody.iter().filter(|one| carried(one)).map(|one| (one.from.max(span.from), one.to.min(span.to))).collect();
        let mut gaps = Vec::new();
        let mut at = span.from;
        for (from, to) in theirs.into_iter().filter(|(from, to)| from < to) {
            if at < from {
                gaps.push((at, from));
            }
            at = at.max(to);
        }
        if at < span.to {
            gaps.push((at, span.to));
        }
        for (from, to) in gaps {
            cut_out(melody, from, to, sounding);
            let (part, line) = (span.part, span.line);
            let along = set.iter().filter(|other| other.part != part && other.from < to && from < other.to);
            let along = along.map(|other| support(sounding, other.part, other.from.max(from), other.to.min(to)));
            let support = joined(along.collect());
            melody.push(Carried { from, to, bars: bars(sounding, from, to), part, line, support });
            melody.sort_by_key(|one| (one.from, one.to));
        }
    }
}

/// The lines of these spans do not carry the melody over the time given: others that were thought to carry it with them go on,
/// as `others` tells.
pub(super) fn take(
    melody: &mut Vec<Carried>,
    (from, to): (Crotchets, Crotchets),
    set: &[&RoleSpan],
    others: &[&RoleSpan],
    sounding: &Sounding,
) {
    let lines: BTreeSet<usize> = set.iter().map(|span| span.line).collect();
    let parts: BTreeSet<usize> = set.iter().map(|span| span.part).collect();
    let still = |part: usize, from: Crotchets, to: Crotchets| {
        others.iter().find(|span| {
            span.part == part && span.from < to && from < span.to && span.roles.iter().any(|held| held.role == Role::Melody)
        })
    };
    let mut inside = Vec::new();
    for one in melody.iter().filter(|one| one.from < to && from < one.to) {
        let (from, to) = (one.from.max(from), one.to.min(to));
        let mut one = clipped(one, from, to, sounding);
        let has_it = |part: usize| !parts.contains(&part) || still(part, from, to).is_some();
        let after: Vec<usize> = one.parts().into_iter().filter(|&part| has_it(part)).collect();
        one.support.retain(|support| has_it(support.part));
        if lines.contains(&one.line) {
            let next = after.iter().find_map(|&part| {
                still(part, from, to).or_else(|| others.iter().find(|span| span.part == part && span.from < to && from < span.to))
            });
            match next {
                Some(span) => (one.part, one.line) = (span.part, span.line),
                None => continue,
            }
            let chief = one.part;
            one.support.retain(|support| support.part != chief);
        }
        inside.push(one);
    }
    cut_out(melody, from, to, sounding);
    melody.extend(inside);
    melody.sort_by_key(|one| (one.from, one.to));
    // What was cut at the edges without need becomes whole again.
    let mut whole: Vec<Carried> = Vec::with_capacity(melody.len());
    for one in melody.drain(..) {
        match whole.last_mut() {
            Some(last)
                if last.to == one.from
                    && last.line == one.line
                    && last.parts() == one.parts()
                    && (one.from == from || one.from == to) =>
            {
                last.to = one.to;
                last.bars.end = one.bars.end;
                last.support = joined(std::mem::take(&mut last.support).into_iter().chain(one.support).collect());
            }
            _ => whole.push(one),
        }
    }
    *melody = whole;
}

fn support(sounding: &Sounding, part: usize, from: Crotchets, to: Crotchets) -> Support {
    Support { part, from, to, bars: bars(sounding, from, to) }
}

/// A stretch between two moments within it, with those who play along meanwhile.
fn clipped(one: &Carried, from: Crotchets, to: Crotchets, sounding: &Sounding) -> Carried {
    let along = one.support.iter().filter(|along| along.from < to && from < along.to);
    let support = along.map(|along| support(sounding, along.part, along.from.max(from), along.to.min(to))).collect();
    Carried { from, to, bars: bars(sounding, from, to), support, ..one.clone() }
}

/// By part and time; what touches is one.
fn joined(mut along: Vec<Support>) -> Vec<Support> {
    along.sort_by_key(|support| (support.part, support.from, support.to));
    let mut joined: Vec<Support> = Vec::with_capacity(along.len());
    for next in along {
        match joined.last_mut().filter(|last| last.part == next.part && next.from <= last.to) {
            Some(last) => (last.to, last.bars.end) = (last.to.max(next.to), last.bars.end.max(next.bars.end)),
            None => joined.push(next),
        }
    }
    joined
}

/// Leaves only what lies before `from` and after `to`.
fn cut_out(melody: &mut Vec<Carried>, from: Crotchets, to: Crotchets, sounding: &Sounding) {
    let mut left = Vec::with_capacity(melody.len() + 1);
    for one in melody.drain(..) {
        if one.to <= from || one.from >= to {
            left.push(one);
            continue;
        }
        for (from, to) in [(one.from, from), (to, one.to)] {
            if from < to {
                left.push(clipped(&one, from, to, sounding));
            }
        }
    }
    *melody = left;
}
