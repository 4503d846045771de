//! Tunes that come back note for note with others: where they first stood, who has them now, and answers at a short distance.
//!
//! Nothing is read here but notes: a tune is what one line plays, and it comes back where another plays the same steps in the same rhythm. "For the first time" is said
//! only of sections that have had nothing like its head before, steps altered or not.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::Crotchets;

use super::Moment;
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{capital, counted, interval};

/// Notes that a tune must have in common with its return, different pitches among them, turns of direction, and different lengths of notes.
const ALIKE: (usize, usize, usize, usize) = (8, 5, 2, 2);
/// Crotchets that it has to last.
const LENGTH: i64 = 4;
/// Notes of its head that another must not have had, however the steps are altered.
const HEAD: usize = 5;
/// Returns told in all, and of one tune.
const TOLD: (usize, usize) = (5, 2);
/// Bars within which a return is an answer.
const ANSWER: u32 = 6;

/// A note of a line: its step to the next and the time until that.
type Step = (i16, Crotchets);

/// Where something stands: the line, and its first attack.
type Place = (usize, usize);

/// Tunes that come to a section that has not had them.
pub(super) fn returns(course: &Course<'_>, found: &mut Vec<Moment>) {
    let lines = &course.material.lines.lines;
    let steps: Vec<Vec<Option<Step>>> = lines.iter().map(|line| steps(&line.attacks)).collect();
    let length = ALIKE.0 - 1;
    // Where each run of steps begins, by moment.
    let mut places: BTreeMap<&[Option<Step>], Vec<Place>> = BTreeMap::new();
    for (line, steps) in steps.iter().enumerate().filter(|(line, _)| !course.is_percussion(*line)) {
        for (at, run) in steps.windows(length).enumerate() {
            if run.iter().all(Option::is_some) {
                places.entry(run).or_default().push((line, at));
            }
        }
    }
    let onset = |place: Place| lines[place.0].attacks[place.1].onset;
    let mut tunes: Vec<Vec<Place>> = Vec::new();
    for (run, mut at) in places {
        if at.len() < 2 || !is_tune(run) {
            continue;
        }
        at.sort_by_key(|&place| (onset(place), place));
        tunes.push(at);
    }
    let heads = heads(course, &steps);
    let mut candidates: Vec<(usize, Place, Place, BTreeSet<usize>)> = Vec::new();
    for at in &tunes {
        let first = at[0];
        let with_first: BTreeSet<usize> = at
            .iter()
            .filter(|&&place| onset(place) == onset(first))
            .map(|place| course.section_of[lines[place.0].part])
            .collect();
        let mut had = with_first.clone();
        let mut rest = at.iter().copied().filter(|&place| onset(place) > onset(first)).peekable();
        while let Some(next) = rest.next() {
            let mut together: BTreeSet<usize> = BTreeSet::from([course.section_of[lines[next.0].part]]);
            while let Some(other) = rest.next_if(|&other| onset(other) == onset(next)) {
                together.insert(course.section_of[lines[other.0].part]);
            }
            let new: BTreeSet<usize> = together.difference(&had).copied().collect();
            had.extend(&together);
            let before = next.1 > 0
                && first.1 > 0
                && steps[next.0][next.1 - 1].is_some()
                && steps[next.0][next.1 - 1] == steps[first.0][first.1 - 1];
            // The beginning of a tune is told, not its middle.
            if new.is_empty() || before || new.len() < together.len() {
                continue;
            }
            // None of the new has had its head, however altered.
            let head = loose(&steps[next.0][next.1..next.1 + HEAD - 1]);
            let known = heads.get(&head).into_iter().flatten().any(|&(section, at)| at < onset(next) && new.contains(&section));
            if known {
                continue;
            }
            let common = common(&steps, first, next);
            // A flourish within a bar is no tune.
            let last = &lines[next.0].attacks[next.1 + common - 1];
            if last.end - onset(next) < Crotchets::whole(LENGTH) {
                continue;
            }
            // Somebody sings it, here or there.
            let sung = |place: Place| {
                let end = lines[place.0].attacks[place.1 + common - 1].end;
                course.material.roles.sings(lines[place.0].part, onset(place), end)
            };
            if !sung(first) && !sung(next) {
                continue;
            }
            candidates.push((common, first, next, together));
        }
    }
    candidates.sort_by_key(|(common, first, next, _)| (std::cmp::Reverse(*common), onset(*next), onset(*first)));
    let mut of_tune: BTreeMap<Crotchets, usize> = BTreeMap::new();
    let mut told: Vec<(Crotchets, Crotchets)> = Vec::new();
    for (common, first, next, _) in candidates {
        let end = lines[next.0].attacks[next.1 + common - 1].end;
        if told.len() == TOLD.0 || told.iter().any(|&(from, to)| onset(next) < to && from < end) {
            continue;
        }
        let count = of_tune.entry(onset(first)).or_default();
        if *count == TOLD.1 {
            continue;
        }
        *count += 1;
        told.push((onset(next), end));
        found.push(moment(course, &steps, (first, next), common));
    }
}

/// What is told of a tune at its first place and the next.
fn moment(course: &Course<'_>, steps: &[Vec<Option<Step>>], (first, next): (Place, Place), common: usize) -> Moment {
    let lines = &course.material.lines.lines;
    let attack = |place: Place, at: usize| &lines[place.0].attacks[place.1 + at];
    let bars = |place: Place| attack(place, 0).bar..attack(place, common - 1).bar + 1;
    let (was, is) = (bars(first), bars(next));
    // All who play these notes at the same time.
    let who = |place: Place| {
        let onset = attack(place, 0).onset;
        let of = |line: usize| {
            let at = lines[line].attacks.binary_search_by_key(&onset, |attack| attack.onset).ok()?;
            let same = (0..common - 1).all(|step| steps[line].get(at + step) == steps[place.0].get(place.1 + step));
            let class = |attack: &ripieno_texture::Attack| attack.top.map(|top| top % 12);
            (same && class(&lines[line].attacks[at]) == class(attack(place, 0))).then_some(line)
        };
        let with: Vec<usize> = (0..lines.len()).filter_map(of).collect();
        course.who_list(&with.iter().map(|&line| lines[line].part).collect())
    };
    let moved = match (attack(first, 0).top, attack(next, 0).top) {
        (Some(a), Some(b)) => moved(i32::from(b) - i32::from(a)),
        _ => String::new(),
    };
    let answer = is.start - was.start <= ANSWER;
    let (who_was, who_is) = (who(first), who(next));
    let place =
        if was.len() == 1 { format!("in {}", course.printed(was.start)) } else { format!("from {}", course.printed(was.start)) };
    let mark = course.mark(is.clone());
    let text = if answer {
        format!(
            "{who_is} answer{} {who_was} ({place}) with the same {} note for note{moved}",
            verb(&who_is),
            counted(common, "note")
        )
    } else {
        format!(
            "{who_is} {} for the first time what {who_was} had {place}, {} note for note{moved}",
            has(&who_is),
            counted(common, "note")
        )
    };
    #[allow(clippy::cast_precision_loss)] // notes of a tune
    let weight = 0.48 + 0.2 * (common as f64 / 24.0).min(1.0);
    let kind = if answer { "answer" } else { "line taken up" };
    Moment { kind, bars: is, reason: format!("{}{mark}.", capital(&text)), weight }
}

fn many(who: &str) -> bool {
    who.contains(" and ") || who.ends_with('s') && !who.ends_with("brass")
}

fn verb(who: &str) -> &'static str {
    if many(who) { "" } else { "s" }
}

fn has(who: &str) -> &'static str {
    if many(who) { "have" } else { "has" }
}

/// ", a fifth higher", ", an octave lower", ", at the same pitch".
fn moved(by: i32) -> String {
    match by {
        0 => ", at the same pitch".to_owned(),
        1.. => format!(", {} higher", interval(by.unsigned_abs())),
        _ => format!(", {} lower", interval(by.unsigned_abs())),
    }
}

/// How many notes two places have in common, from their first on.
fn common(steps: &[Vec<Option<Step>>], first: Place, next: Place) -> usize {
    let of = |place: Place| steps[place.0][place.1..].iter();
    1 + of(first).zip(of(next)).take_while(|(a, b)| a.is_some() && a == b).count()
}

/// Steps of a line: from each attack to the next, `None` where it has no pitch or several, or a long rest follows.
fn steps(attacks: &[ripieno_texture::Attack]) -> Vec<Option<Step>> {
    let step = |pair: &[ripieno_texture::Attack]| {
        let rest = pair[1].onset - pair[0].end;
        let (a, b) = (pair[0].top?, pair[1].top?);
        (rest <= Crotchets::whole(2)).then(|| (i16::from(b) - i16::from(a), pair[1].onset - pair[0].onset))
    };
    attacks.windows(2).map(step).collect()
}

/// Whether steps make a tune: different pitches, turns and lengths enough.
fn is_tune(run: &[Option<Step>]) -> bool {
    let mut keys = BTreeSet::from([0]);
    let mut key = 0;
    let mut turns = 0;
    let mut last = 0;
    let mut lengths: BTreeSet<Crotchets> = BTreeSet::new();
    for &(step, time) in run.iter().flatten() {
        key += step;
        keys.insert(key);
        lengths.insert(time);
        if step != 0 {
            turns += usize::from(last != 0 && last != step.signum());
            last = step.signum();
        }
    }
    keys.len() >= ALIKE.1 && turns >= ALIKE.2 && lengths.len() >= ALIKE.3
}

/// A head with its steps in rough sizes.
type Rough = Vec<(i16, Crotchets)>;

fn loose(run: &[Option<Step>]) -> Rough {
    let size = |step: i16| match step.abs() {
        0 => 0,
        1 | 2 => 1,
        3..=5 => 2,
        6..=9 => 3,
        _ => 4,
    };
    run.iter().flatten().map(|&(step, time)| (step.signum() * size(step), time)).collect()
}

/// Heads that each section has had, and when.
fn heads(course: &Course<'_>, steps: &[Vec<Option<Step>>]) -> BTreeMap<Rough, Vec<(usize, Crotchets)>> {
    let lines = &course.material.lines.lines;
    let mut heads: BTreeMap<Rough, Vec<(usize, Crotchets)>> = BTreeMap::new();
    for (line, steps) in steps.iter().enumerate() {
        for (at, run) in steps.windows(HEAD - 1).enumerate().filter(|(_, run)| run.iter().all(Option::is_some)) {
            heads.entry(loose(run)).or_default().push((course.section_of[lines[line].part], lines[line].attacks[at].onset));
        }
    }
    heads
}
