//! Moments of the tune: who sounds alone, the longest solo, parallel lines.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::Crotchets;
use ripieno_texture::Carried;

use super::Moment;
use crate::attacks::{begun_at, in_bars};
use crate::measure::{Subject, Taken, Value};
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{counted, crotchets};
use crate::noteworthy::{of, runs};

/// The longest stretch in which one line sounds alone.
pub(super) fn alone(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let mut best: Option<(Crotchets, usize, Range<u32>)> = None;
    let mut now: Option<(Crotchets, usize, Range<u32>)> = None;
    for (slice, rows) in material.slices.iter() {
        let line = rows.first().map(|&row| material.line_of(row));
        let alone = line.filter(|&line| rows.iter().all(|&row| material.line_of(row) == line));
        now = match (now.take(), alone) {
            (Some((time, same, bars)), Some(line)) if same == line => {
                Some((time + slice.length(), line, bars.start..slice.bar + 1))
            }
            (_, Some(line)) => Some((slice.length(), line, slice.bar..slice.bar + 1)),
            (_, None) => None,
        };
        if let Some(now) = &now
            && best.as_ref().is_none_or(|best| now.0 > best.0)
        {
            best = Some(now.clone());
        }
    }
    if let Some((time, line, bars)) = best.filter(|best| best.0 >= Crotchets::whole(4)) {
        let part = course.part_name(material.lines.lines[line].part);
        let reason = format!("{part} sounds alone, longer than anyone else does: {}.", crotchets(time));
        found.push(Moment { kind: "alone", bars, reason, weight: 0.55 });
    }
}

/// Bars a solo has to last, and notes of it another may share, in percent.
const SOLO: (usize, usize) = (4, 10);

/// The longest stretch in which a single player leads the melody and nobody plays its notes, in unison or octaves.
pub(super) fn longest_solo(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let lines = &material.lines.lines;
    let doubled = |carried: &Carried| {
        let own = &lines[carried.line].attacks;
        let own = &own[lines[carried.line].attacks_in(carried.from, carried.to)];
        (0..lines.len()).filter(|&line| line != carried.line && !course.is_percussion(line)).any(|line| {
            let same = own.iter().filter(|attack| {
                let other = begun_at(&lines[line].attacks, attack.onset);
                other.is_some_and(|other| attack.top.zip(other.top).is_some_and(|(a, b)| a % 12 == b % 12))
            });
            same.count() * 100 > own.len() * SOLO.1
        })
    };
    let solo = |carried: &&Carried| {
        let people = material.score.parts[carried.part].players.most;
        people == 1 && carried.bars.len() >= SOLO.0 && material.roles.sings(carried.part, carried.from, carried.to)
    };
    let mut solos: Vec<&Carried> = material.roles.melody.iter().filter(solo).collect();
    solos.sort_by_key(|carried| (std::cmp::Reverse(carried.to - carried.from), carried.from));
    // A quartet of singers is no solo of its soprano.
    let voice = |part: usize| course.family_of(course.section_of[part]) == Family::Voice;
    let joined = |carried: &Carried| {
        let sings =
            |part: usize| carried.bars.clone().filter(|&bar| course.parts[bar as usize][part]).count() * 4 >= carried.bars.len();
        voice(carried.part) && (0..course.section_of.len()).any(|part| part != carried.part && voice(part) && sings(part))
    };
    let Some(longest) = solos.into_iter().find(|carried| !doubled(carried) && !joined(carried)) else { return };
    let bars = longest.bars.clone();
    let with: BTreeSet<usize> = (0..course.section_of.len())
        .filter(|&part| part != longest.part)
        .filter(|&part| bars.clone().filter(|&bar| course.parts[bar as usize][part]).count() * 2 >= bars.len())
        .collect();
    let beside = if with.is_empty() {
        "nobody else plays for half of them".to_owned()
    } else {
        format!("beside it, for half of them and more: {}", course.who_list(&with))
    };
    let reason = format!(
        "{} leads the melody through {}{} and nobody doubles it, the longest such solo; {beside}.",
        course.part_name(longest.part),
        counted(bars.len(), "bar"),
        course.mark_of(course.section_of[longest.part], bars.clone()),
    );
    found.push(Moment { kind: "solo", bars, reason, weight: 0.6 });
}

/// Parallels told.
const PAIRS: usize = 2;

/// Notes that two lines begin together in a stretch that is told as parallel, and of their steps the share that runs alike.
const PARALLEL: (usize, f64) = (8, 0.75);

/// Two lines that run parallel in a stretch: which, and at which interval mostly, the second below the first or above, in how many of their common notes.
struct Parallel {
    lines: (usize, usize),
    bars: Range<u32>,
    size: String,
    below: bool,
    at_it: usize,
    notes: usize,
}

/// The longest stretches in which two sections, or players of one, run parallel: found by the measure, then looked at note by note.
pub(super) fn thickened(course: &Course<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    let mut longest: Vec<(Range<u32>, &Value)> = of(taken, "thickened_lines")
        .iter()
        .filter(|value| value.aspect == "time")
        .flat_map(|value| runs(&value.bars).map(move |run| (run, value)))
        .filter(|(run, _)| run.len() >= 2)
        .collect();
    longest.sort_by_key(|(run, value)| (std::cmp::Reverse(run.len()), run.start, value.of, value.with));
    let mut told: Vec<Range<u32>> = Vec::new();
    for (run, value) in longest {
        let (Subject::Section(of), Some(Subject::Section(with))) = (value.of, value.with) else { continue };
        let Some(best) = most_parallel(course, (of, with), &run) else { continue };
        if told.len() == PAIRS {
            break;
        }
        // The same place is told once, whoever else runs there.
        if told.iter().any(|other| other.start < best.bars.end && best.bars.start < other.end) {
            continue;
        }
        told.push(best.bars.clone());
        let (upper, lower) = if best.below { best.lines } else { (best.lines.1, best.lines.0) };
        let like = |line: usize| -> Vec<usize> {
            let lines = &course.material.lines.lines;
            (0..lines.len())
                .filter(|&other| other == line || !course.is_percussion(other) && course.same_notes(line, other, &best.bars))
                .collect()
        };
        let who = |line: usize| course.who_in(&like(line), &best.bars);
        // Others may have much of either line without having all of it.
        let named: BTreeSet<usize> = [like(upper), like(lower)].concat().into_iter().collect();
        let partly: Vec<usize> = (0..course.material.lines.lines.len())
            .filter(|&line| !named.contains(&line) && !course.is_percussion(line))
            .filter(|&line| course.shares_notes(line, &[upper, lower], &best.bars))
            .collect();
        let partly = if partly.is_empty() {
            String::new()
        } else {
            format!("; in part with them: {}", course.who_in(&partly, &best.bars))
        };
        let reason = format!(
            "Two lines run parallel, in {} for {} of {} notes. Upper line, octaves aside: {}; lower: {}{partly}.",
            best.size,
            best.at_it,
            best.notes,
            who(upper),
            who(lower)
        );
        found.push(Moment { kind: "thickened line", bars: best.bars, reason, weight: 0.42 });
    }
}

/// "thirds", "tenths", "sixths and an octave" for a distance in semitones.
fn step(interval: i32) -> String {
    const NAMES: [&str; 12] = [
        "octaves", "seconds", "seconds", "thirds", "thirds", "fourths", "tritones", "fifths", "sixths", "sixths", "sevenths",
        "sevenths",
    ];
    let size = interval.unsigned_abs();
    match (size / 12, size % 12) {
        (0, 0) => "unison".to_owned(),
        (_, 0) => "octaves".to_owned(),
        (0, within) => NAMES[within as usize].to_owned(),
        (1, 3 | 4) => "tenths".to_owned(),
        (1, within) => format!("{} and an octave", NAMES[within as usize]),
        (octaves, within) => format!("{} and {octaves} octaves", NAMES[within as usize]),
    }
}

/// Of the lines of two sections the two that begin most notes together in a stretch, if those run parallel.
fn most_parallel(course: &Course<'_>, (of, with): (usize, usize), run: &Range<u32>) -> Option<Parallel> {
    let lines = &course.material.lines.lines;
    let in_run = |line: usize| {
        let attacks = &lines[line].attacks;
        &attacks[in_bars(attacks, run)]
    };
    let mut best: Option<Parallel> = None;
    for a in course.lines_of_section(of) {
        for b in course.lines_of_section(with).into_iter().filter(|&b| b != a) {
            let (own, theirs) = (in_run(a), in_run(b));
            let common: Vec<(i32, i32, u32)> = own
                .iter()
                .filter_map(|attack| {
                    let other = begun_at(theirs, attack.onset)?;
                    Some((i32::from(attack.top?), i32::from(other.top?), attack.bar))
                })
                .collect();
            if common.len() < PARALLEL.0 || common.len() * 4 < own.len() * 3 || common.len() * 4 < theirs.len() * 3 {
                continue;
            }
            let steps: Vec<(i32, i32)> = common.windows(2).map(|pair| (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1)).collect();
            let moving: Vec<&(i32, i32)> = steps.iter().filter(|step| **step != (0, 0)).collect();
            let alike = moving.iter().filter(|(x, y)| x.signum() == y.signum() && (x - y).abs() <= 2).count();
            #[allow(clippy::cast_precision_loss)] // notes of a stretch
            let parallel = moving.len() >= 4 && alike as f64 >= PARALLEL.1 * moving.len() as f64;
            let mut intervals: std::collections::BTreeMap<i32, usize> = std::collections::BTreeMap::new();
            common.iter().for_each(|(x, y, _)| *intervals.entry(y - x).or_default() += 1);
            let octaves: usize = intervals.iter().filter(|(interval, _)| *interval % 12 == 0).map(|(_, count)| count).sum();
            // Thirds are thirds, minor or major.
            let mut sizes: std::collections::BTreeMap<(bool, String), usize> = std::collections::BTreeMap::new();
            for (&interval, &count) in &intervals {
                *sizes.entry((interval < 0, step(interval))).or_default() += count;
            }
            let usual = sizes.into_iter().max_by(|a, b| a.1.cmp(&b.1).then_with(|| b.0.cmp(&a.0)));
            let (Some(((below, size), at_it)), Some(first), Some(last)) = (usual, common.first(), common.last()) else {
                continue;
            };
            if !parallel || octaves * 4 > common.len() || at_it * 4 < common.len() * 3 || last.2 == first.2 {
                continue;
            }
            if best.as_ref().is_none_or(|known| common.len() > known.notes) {
                best = Some(Parallel { lines: (a, b), bars: first.2..last.2 + 1, size, below, at_it, notes: common.len() });
            }
        }
    }
    best
}
