//! Who leads a line strand of a reduction, bar by bar: one line as long as it goes on, so that somebody's answer does not cut its phrase.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_score::Score;
use ripieno_texture::{Lines, Role, RoleReading};

use crate::reduction::staff_of;

/// What a change of leader has to be worth. Leads and shares of attacks lie between 0 and 1, so that an answer of a bar or two never
/// takes over from a line that still sounds (common practice of reduction; the number is ours).
const CHANGE: f32 = 1.0;
/// What a skip of more than a sixth costs where somebody else has the same line within a sixth: the line goes on by pitch, and who doubles it an
/// octave higher does not take it there. More than a change, so that it is worth one (handbook rule from memory; the number is ours).
const SKIP: f32 = 1.8;
/// A major sixth.
const SIXTH: i32 = 9;
/// What it is worth to have the role throughout the passage.
const STEADY: f32 = 0.25;

/// A line that has the role in a bar.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    line: usize,
    /// Sum of keys over the attacks of the bar, divided by their number; the other way round for a bass.
    height: i32,
    weight: f32,
    /// Its first key in the bar, and its last.
    first: i32,
    last: i32,
    /// It only holds what it began before: nobody can take over with it.
    holds: bool,
}

/// The line that leads a strand in each of these bars, `None` where nobody begins anything. The strongest lead counts for the melody, for the
/// others the most attacks; of equals the highest, for a bass the lowest, and before all the line that has the role longest. `but`: bars and lines that are not asked, because they
/// stand on a staff already.
pub(crate) fn leaders(
    score: &Score,
    lines: &Lines,
    roles: &RoleReading,
    bars: &Range<usize>,
    role: Role,
    but: &BTreeSet<(usize, usize)>,
) -> Vec<Option<usize>> {
    let open = |bar: usize| {
        let mut found = candidates(score, lines, roles, bar, role);
        found.retain(|candidate| !but.contains(&(bar, candidate.line)));
        // Nobody can begin with what is only held.
        if found.iter().all(|candidate| candidate.holds) { Vec::new() } else { found }
    };
    let mut found: Vec<Vec<Candidate>> = bars.clone().map(open).collect();
    let mut present = std::collections::BTreeMap::<usize, u16>::new();
    for candidate in found.iter().flatten() {
        *present.entry(candidate.line).or_default() += 1;
    }
    let all = u16::try_from(bars.len().max(1)).unwrap_or(u16::MAX);
    for candidate in found.iter_mut().flatten() {
        let bars = present.get(&candidate.line).copied().unwrap_or(0);
        candidate.weight += STEADY * f32::from(bars) / f32::from(all);
    }
    steadiest(&found)
}

/// The lines that have the role in a bar, the one that leads most first; empty where none of them begins a note.
fn candidates(score: &Score, lines: &Lines, roles: &RoleReading, bar: usize, role: Role) -> Vec<Candidate> {
    let (Ok(played), Some(place)) = (u32::try_from(bar), score.bars.get(bar)) else { return Vec::new() };
    let (from, to) = (place.start, place.start + place.length);
    let mut here: Vec<Candidate> = Vec::new();
    for span in roles.spans.iter().filter(|span| span.bars.contains(&played) && staff_of(span.role()) == Some(role)) {
        let line = &lines.lines[span.line];
        let begun = line.attacks_in(from, to);
        let held = begun.start.checked_sub(1).map(|last| &line.attacks[last]).filter(|last| last.end > from);
        let attacks = &line.attacks[begun];
        let keys: Option<Vec<i32>> = attacks.iter().chain(held).map(|attack| attack.top.map(i32::from)).collect();
        let Some(keys) = keys.filter(|keys| !keys.is_empty()) else { continue };
        let height = keys.iter().sum::<i32>() / i32::try_from(keys.len()).unwrap_or(1).max(1);
        #[allow(clippy::cast_precision_loss)] // attacks of a bar
        let weight = if role == Role::Melody {
            roles.leads.get(span.part).and_then(|leads| leads.get(bar)).copied().unwrap_or(0.0)
        } else {
            attacks.len() as f32
        };
        let height = if role == Role::Bass { -height } else { height };
        let (first, last) = match attacks {
            [] => (keys[0], keys[0]),
            attacks => (keys[0], keys[attacks.len() - 1]),
        };
        here.push(Candidate { line: span.line, height, weight, first, last, holds: attacks.is_empty() });
    }
    if role != Role::Melody {
        let most = here.iter().map(|candidate| candidate.weight).fold(1.0, f32::max);
        for candidate in &mut here {
            candidate.weight /= most;
        }
    }
    here.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(b.height.cmp(&a.height)).then(a.line.cmp(&b.line)));
    here.dedup_by_key(|candidate| candidate.line);
    here
}

/// The way through all bars of the greatest weight less the price of its changes; bars without candidates are passed over.
fn steadiest(bars: &[Vec<Candidate>]) -> Vec<Option<usize>> {
    /// Worth of the best way to a candidate, and the candidate it comes from.
    type Way = Option<(f32, Option<usize>)>;
    let mut ways: Vec<Vec<Way>> = Vec::with_capacity(bars.len());
    let mut last: Option<usize> = None;
    for (bar, here) in bars.iter().enumerate() {
        let way = |candidate: &Candidate| -> Way {
            let Some(last) = last else { return (!candidate.holds).then_some((candidate.weight, None)) };
            let mut best: Way = None;
            for (at, (before, way)) in bars[last].iter().zip(&ways[last]).enumerate() {
                let Some((worth, _)) = *way else { continue };
                let same = before.line == candidate.line;
                let worth = if same { worth } else { worth - CHANGE } + candidate.weight;
                // Somebody else has the same line nearer.
                let far = |other: &Candidate| (other.first - before.last).abs() > SIXTH;
                let nearer = |other: &Candidate| !other.holds && !far(other) && (other.first - candidate.first) % 12 == 0;
                let skips = !candidate.holds && far(candidate) && here.iter().any(nearer);
                let worth = if skips { worth - SKIP } else { worth };
                if (same || !candidate.holds) && best.is_none_or(|(known, _)| worth > known) {
                    best = Some((worth, Some(at)));
                }
            }
            best
        };
        let found: Vec<Way> = here.iter().map(way).collect();
        ways.push(found);
        if !here.is_empty() {
            last = Some(bar);
        }
    }
    let mut leads = vec![None; bars.len()];
    // Of equals the first, which leads most.
    let mut at = last.and_then(|last| {
        let worth = |at: &usize| ways[last][*at].map_or(f32::NEG_INFINITY, |(worth, _)| worth);
        (0..ways[last].len()).rev().max_by(|a, b| worth(a).total_cmp(&worth(b)))
    });
    for bar in (0..bars.len()).rev().filter(|&bar| !bars[bar].is_empty()) {
        let Some(here) = at else { break };
        leads[bar] = Some(bars[bar][here].line);
        at = ways[bar][here].and_then(|(_, before)| before);
    }
    leads
}

#[cfg(test)]
mod tests {
    use super::*;

    fn candidate(line: usize, weight: f32, holds: bool) -> Candidate {
        Candidate { line, height: 60, weight, first: 60, last: 60, holds }
    }

    /// B4, then C5 with the flute an octave above who leads a little more: the line steps (a rule of part writing; the numbers are ours).
    #[test]
    fn a_line_goes_on_by_step_and_not_with_who_doubles_it_above() {
        let at = |line, weight, first, last| Candidate { first, last, ..candidate(line, weight, false) };
        let bars = [vec![at(0, 0.9, 71, 71), at(1, 0.5, 71, 71)], vec![at(0, 0.9, 84, 88), at(1, 0.5, 72, 76)]];
        assert_eq!(steadiest(&bars), [Some(1), Some(1)]);
        // A skip that everybody has is the tune's own.
        let bars = [vec![at(0, 0.9, 71, 71), at(1, 0.5, 71, 71)], vec![at(0, 0.9, 84, 88), at(1, 0.5, 84, 88)]];
        assert_eq!(steadiest(&bars), [Some(0), Some(0)]);
    }

    #[test]
    fn an_answer_over_a_held_cadence_does_not_take_over() {
        let sings = |weight| candidate(0, weight, false);
        let bars = [vec![sings(0.5)], vec![candidate(1, 0.9, false), sings(0.1)], vec![sings(0.6)], vec![]];
        assert_eq!(steadiest(&bars), [Some(0), Some(0), Some(0), None]);
    }

    #[test]
    fn who_rests_hands_over_and_who_only_holds_cannot_take_over() {
        let bars = [
            vec![candidate(0, 0.5, false)],
            vec![candidate(2, 0.9, true), candidate(1, 0.4, false)],
            vec![candidate(1, 0.4, false), candidate(2, 0.4, false)],
        ];
        assert_eq!(steadiest(&bars), [Some(0), Some(1), Some(1)]);
    }
}
