//! The melody's way through the score, after a person has said who has it or has it not.

use std::collections::BTreeSet;

use ripieno_score::{Crotchets, Sounding};
use ripieno_texture::{Carried, Role, RoleSpan};

use super::apply::bars;

/// The melody over these spans lies with their lines: with the highest on the page where none was thought to carry it.
///
/// Where one of the parts was thought to carry it already, nothing changes.
pub(super) fn give(melody: &mut Vec<Carried>, set: &[&RoleSpan], sounding: &Sounding) {
    let parts: BTreeSet<usize> = set.iter().map(|span| span.part).collect();
    let mut order: Vec<&&RoleSpan> = set.iter().collect();
    order.sort_by_key(|span| (span.part, span.from, span.line));
    for span in order {
        let carried = |one: &Carried| one.parts.iter().any(|part| parts.contains(part));
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
            let with: Vec<usize> =
                set.iter().filter(|other| other.from < to && from < other.to).map(|other| other.part).collect();
            let with: BTreeSet<usize> = with.into_iter().collect();
            let (part, line) = (span.part, span.line);
            melody.push(Carried { from, to, bars: bars(sounding, from, to), part, line, parts: with.into_iter().collect() });
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
        let mut one = Carried { from, to, bars: bars(sounding, from, to), ..one.clone() };
        one.parts.retain(|&part| !parts.contains(&part) || still(part, from, to).is_some());
        if lines.contains(&one.line) {
            let next = one.parts.iter().find_map(|&part| {
                still(part, from, to).or_else(|| others.iter().find(|span| span.part == part && span.from < to && from < span.to))
            });
            match next {
                Some(span) => (one.part, one.line) = (span.part, span.line),
                None => continue,
            }
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
                    && last.parts == one.parts
                    && (one.from == from || one.from == to) =>
            {
                last.to = one.to;
                last.bars.end = one.bars.end;
            }
            _ => whole.push(one),
        }
    }
    *melody = whole;
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
                left.push(Carried { from, to, bars: bars(sounding, from, to), ..one.clone() });
            }
        }
    }
    *melody = left;
}
