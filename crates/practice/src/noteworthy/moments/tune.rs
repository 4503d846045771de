//! Moments of the tune: who sounds alone, the longest solo, exchanged roles, parallel lines, themes in a new scoring.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_score::Crotchets;
use ripieno_texture::{Carried, Statement};

use super::{MOST, Moment};
use crate::attacks::{begun_at, in_bars};
use crate::measure::{Subject, Taken, Value};
use crate::noteworthy::course::Course;
use crate::noteworthy::tasks::Task;
use crate::noteworthy::words::{capital, interval};
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
    if let Some((time, line, bars)) = best.filter(|best| best.0 >= Crotchets::whole(2)) {
        let part = material.name(Subject::Part(material.lines.lines[line].part));
        let reason = format!("{part} sounds alone, longer than anyone else does: {time} crotchets.");
        found.push(Moment { kind: "alone", bars, reason, weight: 0.55 });
    }
}

/// Bars a solo has to last.
const SOLO: usize = 4;

/// The longest stretch in which a single player leads the melody and nobody doubles it.
pub(super) fn longest_solo(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let doubled = |carried: &Carried| {
        material.doublings.all.iter().any(|doubling| {
            (doubling.a == carried.line || doubling.b == carried.line)
                && doubling.shared >= 3
                && doubling.from < carried.to
                && carried.from < doubling.to
        })
    };
    let solo = |carried: &&Carried| {
        let people = material.score.parts[carried.part].players.most;
        people == 1 && carried.bars.len() >= SOLO && material.roles.sings(carried.part, carried.from, carried.to)
    };
    let mut solos: Vec<&Carried> = material.roles.melody.iter().filter(solo).collect();
    solos.sort_by_key(|carried| (std::cmp::Reverse(carried.to - carried.from), carried.from));
    let Some(longest) = solos.into_iter().find(|carried| !doubled(carried)) else { return };
    let reason = format!(
        "{} leads the melody through {} bars and nobody doubles it: the longest such solo.",
        material.name(Subject::Part(longest.part)),
        longest.bars.len()
    );
    found.push(Moment { kind: "solo", bars: longest.bars.clone(), reason, weight: 0.5 });
}

/// What a part does in a stretch of bars; `None` where it does not keep to one thing or its lines differ.
fn task_of(course: &Course<'_>, part: usize, bars: &Range<u32>) -> Option<Task> {
    let lines = &course.material.lines.lines;
    let own = (0..lines.len()).filter(|&line| lines[line].part == part && course.tasks.sounds(line, bars) > 0);
    course.tasks.agreed(own, bars)
}

/// Where the melody passes to a part that accompanied before, and its former carrier goes on as accompaniment.
pub(super) fn exchanges(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let mut exchanges: Vec<(Crotchets, Moment)> = Vec::new();
    for pair in material.roles.melody.windows(2) {
        let (old, new) = (&pair[0], &pair[1]);
        let Some(bar) = material.sounding.bars.get(new.bars.start as usize).map(|bar| bar.length + bar.length) else { continue };
        let sung =
            |carried: &Carried| carried.to - carried.from >= bar && material.roles.sings(carried.part, carried.from, carried.to);
        if course.section_of[old.part] == course.section_of[new.part] || !sung(old) || !sung(new) || new.from - old.to > bar {
            continue;
        }
        let all = u32::try_from(material.sounding.bars.len()).unwrap_or(u32::MAX);
        let at = new.bars.start;
        let (before, after) = (at.saturating_sub(2)..at, at..(at + 2).min(all));
        let accompanies = |task: Option<Task>| task.filter(|task| !matches!(task, Task::Melody | Task::WithMelody | Task::Own));
        let takes =
            task_of(course, new.part, &after) == Some(Task::Melody) && task_of(course, old.part, &before) == Some(Task::Melody);
        let tasks = accompanies(task_of(course, new.part, &before)).zip(accompanies(task_of(course, old.part, &after)));
        let Some((before, after)) = tasks.filter(|_| takes) else { continue };
        let (name, other) = (course.part_name(new.part), course.part_name(old.part));
        let reason = format!(
            "{name}, with {} until here, takes the melody; {other}, which had it, goes on with {}.",
            done(before),
            done(after)
        );
        let bars = new.bars.start.saturating_sub(1)..new.bars.start + 1;
        let moment = Moment { kind: "exchange of roles", bars, reason: capital(&reason), weight: 0.5 };
        exchanges.push(((old.to - old.from).min(new.to - new.from), moment));
    }
    exchanges.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.bars.start.cmp(&b.1.bars.start)));
    found.extend(exchanges.into_iter().take(MOST).map(|(_, moment)| moment));
}

/// A task as something done.
fn done(task: Task) -> String {
    match task {
        Task::Bass => "the bass".to_owned(),
        task => task.name().to_owned(),
    }
}

/// Notes that two lines begin together in a stretch that is told as parallel, and of their steps the share that runs alike.
const PARALLEL: (usize, f64) = (6, 0.75);

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
    let mut told = 0;
    for (run, value) in longest {
        let (Subject::Section(of), Some(Subject::Section(with))) = (value.of, value.with) else { continue };
        let Some(best) = most_parallel(course, (of, with), &run) else { continue };
        if told == MOST {
            break;
        }
        told += 1;
        let line = |line: usize| course.part_name(course.material.lines.lines[line].part);
        let (a, b) = (line(best.lines.0), line(best.lines.1));
        let pair = if a == b { format!("Two lines of {a} run") } else { format!("{a} and {b} run") };
        let where_ = if best.below { "below" } else { "above" };
        let who = if a == b { String::new() } else { format!(" ({b} {where_})") };
        let reason = format!("{pair} parallel, in {} for {} of {} notes{who}.", best.size, best.at_it, best.notes);
        found.push(Moment { kind: "thickened line", bars: best.bars, reason, weight: 0.4 });
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
            if !parallel || octaves * 4 > common.len() || at_it * 2 < common.len() || last.2 == first.2 {
                continue;
            }
            if best.as_ref().is_none_or(|known| common.len() > known.notes) {
                best = Some(Parallel { lines: (a, b), bars: first.2..last.2 + 1, size, below, at_it, notes: common.len() });
            }
        }
    }
    best
}

/// Share of its figures that a statement must have in common with the theme, and its notes.
const LIKE: (f32, usize) = (0.6, 6);
/// Themes, from the weightiest, that are followed.
const THEMES: usize = 4;

/// A theme, clearly the same, as melody of a section that has had nothing of it before, alone or beside others.
pub(super) fn scorings(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    for theme in material.themes.iter().take(THEMES) {
        let mut had: BTreeSet<usize> = BTreeSet::new();
        for (number, statement) in theme.statements.iter().enumerate() {
            let section = course.section_of[statement.part];
            let others = statement.supporters.iter().map(|supporter| course.section_of[supporter.part]);
            let new = !had.contains(&section);
            had.insert(section);
            had.extend(others);
            let clear = statement.similarity >= LIKE.0 && statement.notes.len() >= LIKE.1;
            if number == 0 || !new || !clear || !material.roles.sings(statement.part, statement.onset, statement.end) {
                continue;
            }
            let first = u32::try_from(material.sounding.bar_at(statement.onset).unwrap_or(0)).unwrap_or(u32::MAX);
            let last = material.sounding.bars.partition_point(|bar| bar.start < statement.end);
            let last = u32::try_from(last).unwrap_or(u32::MAX).max(first + 1);
            let reason = format!(
                "Theme {} comes to the {} for the first time{}.",
                theme.id,
                course.section_name(section),
                moved(statement)
            );
            found.push(Moment { kind: "theme in a new scoring", bars: first..last, reason, weight: 0.52 });
        }
    }
}

/// ", a fifth higher than in its first full form, octaves aside"; empty where it keeps its pitches or changes octave only.
fn moved(statement: &Statement) -> String {
    let up = statement.transposition.rem_euclid(12).unsigned_abs();
    match up {
        0 => String::new(),
        1..=6 => format!(", {} higher than in its first full form, octaves aside", interval(up)),
        _ => format!(", {} lower than in its first full form, octaves aside", interval(12 - up)),
    }
}
