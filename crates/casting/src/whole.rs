//! Chords are whole wherever there is somebody to make them so: while a tone is sounded by nobody, players who rest join its strand, and then players who double what others
//! have as well, and last who has a further line of a role.
//!
//! Common practice, from memory (Rimsky-Korsakov, Piston: a chord is complete before anything is doubled). Who rests for the lips goes on resting, tune and bass keep a player
//! at their octave, and what a plan has set stays, and so does who has a note that a person has set.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_texture::Role;

use crate::assign::{Rest, Rests, is_further, present, seated_by_height, tones_of};
use crate::coverage::heard;
use crate::lineup::Lineup;
use crate::plan::{PhrasePlan, Plan, Task};
use crate::realise::{Around, PhraseCast, Seat, Setting, phrase, span_of};
use crate::sketch::Sketch;

/// Ways tried in a phrase at most, and how many players alone, or together, before a strand is given up.
const ASKED: usize = 24;
const TOGETHER: usize = 4;
/// Semitones that somebody who doubles another strand counts as further away than who rests, who has a further line of a role ("Answer 2"), and who would be the first of a section there.
const BUSY: i32 = 24;
const FURTHER: i32 = 48;
const ALONE: i32 = 5;

/// Chord tones of a phrase that nobody sounds, by strand: of those strands that somebody has.
fn missing(setting: &Setting<'_>, plan: &PhrasePlan, follows: bool, done: &PhraseCast) -> BTreeMap<usize, u32> {
    let span = span_of(setting.sketch, plan, Role::Harmony, follows);
    let mut found = BTreeMap::new();
    for one in heard(setting.sketch, &[span], &done.notes) {
        if one.missing != 0 && plan.tasks.iter().any(|task| task.strand == Some(one.strand)) {
            *found.entry(one.strand).or_insert(0) += one.missing.count_ones();
        }
    }
    found
}

/// A phrase realised with more players on strands of which tones were missing: casting's own tasks, from `own` on, are changed where that helps. `may`: who may play at all.
///
/// One player after another is tried, the nearest first; where none helps alone, as with a rhythm of more layers than one more player can carry, several together.
pub(crate) fn whole(
    setting: &Setting<'_>,
    plan: &mut PhrasePlan,
    own: usize,
    around: &Around,
    rests: &mut Rests,
    may: &dyn Fn(Seat) -> bool,
    mut done: PhraseCast,
) -> PhraseCast {
    let mut asked = 0;
    // Strands for which nobody can do more.
    let mut given_up: BTreeSet<usize> = BTreeSet::new();
    let mut lacks = missing(setting, plan, around.follows, &done);
    while let Some((&strand, _)) = lacks.iter().max_by_key(|(strand, many)| (**many, std::cmp::Reverse(**strand))) {
        let sum = |lacks: &BTreeMap<usize, u32>| lacks.values().sum::<u32>();
        let lost = &given_up;
        let mut better: Option<(PhrasePlan, PhraseCast, BTreeMap<usize, u32>)> = None;
        let mut attempt = |from: &PhrasePlan, (_, seat, at): (i32, Seat, usize)| {
            asked += 1;
            let mut changed = from.clone();
            joins(setting.lineup, &mut changed, own, (seat, at), strand, setting.sketch.strands[strand].role);
            seated_by_height(setting.sketch, setting.lineup, &mut changed, own);
            let tried = phrase(setting, &changed, around);
            let mut left = missing(setting, &changed, around.follows, &tried);
            left.retain(|strand, _| !lost.contains(strand));
            let helps = sum(&left) < sum(&lacks) && keeps_what_is_set(setting, plan, &changed);
            if helps {
                better = Some((changed.clone(), tried, left));
            }
            (asked < ASKED && !helps).then_some(changed)
        };
        let first = candidates(setting, plan, own, strand, rests, may);
        let mut alone = first.iter().take(TOGETHER).map(|&one| attempt(plan, one));
        if alone.all(|tried| tried.is_some()) {
            let mut together = plan.clone();
            for _ in 0..TOGETHER {
                let next = candidates(setting, &together, own, strand, rests, may).into_iter().next();
                let Some(more) = next.and_then(|one| attempt(&together, one)) else { break };
                together = more;
            }
        }
        let Some(found) = better else {
            given_up.insert(strand);
            lacks.remove(&strand);
            continue;
        };
        (*plan, done, lacks) = found;
        let plays = |seat: &Seat| {
            let has = |task: &Task| task.strand.is_some() && task.section == seat.0 && task.chairs.contains(&seat.1);
            plan.tasks.iter().any(has)
        };
        rests.retain(|seat, _| !plays(seat));
        if asked >= ASKED {
            break;
        }
    }
    done
}

/// Whether everybody who has a note in the phrase that a person has set has the same strand in both plans: others may change places for who joins.
fn keeps_what_is_set(setting: &Setting<'_>, plan: &PhrasePlan, changed: &PhrasePlan) -> bool {
    let span = Plan::span(setting.sketch, &plan.bars);
    let has = |plan: &PhrasePlan, seat: Seat| {
        plan.tasks
            .iter()
            .find(|task| task.section == seat.0 && task.chairs.contains(&seat.1))
            .map(|task| (task.strand, task.octave))
    };
    let seats = setting.locks.iter().map(|lock| lock.seat).filter(|&seat| setting.sets(seat, span));
    seats.into_iter().all(|seat| has(plan, seat) == has(changed, seat))
}

/// Who could join a strand, nearest first: how far off, seat, and the task he has now.
fn candidates(
    setting: &Setting<'_>,
    plan: &PhrasePlan,
    own: usize,
    strand: usize,
    rests: &Rests,
    may: &dyn Fn(Seat) -> bool,
) -> Vec<(i32, Seat, usize)> {
    let (sketch, lineup) = (setting.sketch, setting.lineup);
    let span = Plan::span(sketch, &plan.bars);
    let notes = sketch.strands[strand].between(span.0, span.1);
    let middle = notes.iter().map(|note| note.key()).sum::<i32>() / i32::try_from(notes.len()).unwrap_or(i32::MAX).max(1);
    let there = present(sketch, span);
    let mut found = Vec::new();
    for (at, task) in plan.tasks.iter().enumerate().skip(own).filter(|(_, task)| task.strand != Some(strand) && task.held == 0) {
        let busy = match task.strand {
            None => 0,
            Some(other) if can_spare(sketch, plan, at, other) => BUSY,
            Some(other) if is_further(sketch, &there, other) => FURTHER,
            Some(_) => continue,
        };
        for &chair in &task.chairs {
            let seat = (task.section, chair);
            if !may(seat) || setting.sets(seat, span) || task.strand.is_none() && rests.get(&seat) == Some(&Rest::Lips) {
                continue;
            }
            let beside = plan.tasks.iter().any(|other| other.section == task.section && other.strand == Some(strand));
            let off = (lineup.sections[seat.0].chairs[seat.1].reach.middle() - middle).abs();
            found.push((off + busy + if beside { 0 } else { ALONE }, seat, at));
        }
    }
    // Players of one task are alike: the nearest of them goes, of equals the last.
    found.sort_by_key(|&(off, seat, at)| (off, seat.0, std::cmp::Reverse(seat.1), at));
    let mut tasks: BTreeSet<usize> = BTreeSet::new();
    found.retain(|one| tasks.insert(one.2));
    found
}

/// Whether a task can spare a player: a line that others have at the same octave, chords that have more players than tones.
fn can_spare(sketch: &Sketch, plan: &PhrasePlan, at: usize, strand: usize) -> bool {
    let task = &plan.tasks[at];
    let with = |other: &&Task| other.strand == Some(strand) && other.octave.unwrap_or(0) == task.octave.unwrap_or(0);
    let players: usize = plan.tasks.iter().filter(with).map(|other| other.chairs.len()).sum();
    let needed = if sketch.strands[strand].is_chordal() { tones_of(sketch, strand, Plan::span(sketch, &plan.bars)) } else { 1 };
    players > needed
}

/// A player leaves a task for a strand.
fn joins(lineup: &Lineup, plan: &mut PhrasePlan, own: usize, (seat, at): (Seat, usize), strand: usize, role: Role) {
    plan.tasks[at].chairs.retain(|chair| *chair != seat.1);
    if plan.tasks[at].chairs.is_empty() {
        plan.tasks.remove(at);
    }
    let same = |task: &&mut Task| task.section == seat.0 && task.strand == Some(strand) && task.held == 0;
    match plan.tasks.iter_mut().skip(own).find(same) {
        Some(task) => {
            task.chairs.push(seat.1);
            task.chairs.sort_unstable();
        }
        None => {
            let section = &lineup.sections[seat.0];
            let whom = if section.is_body { "part of them, " } else { "" };
            let why = format!("{whom}so that no tone of it goes missing");
            plan.tasks.push(Task { why, ..Task::new(seat.0, vec![seat.1], role, Some(strand)) });
        }
    }
}
