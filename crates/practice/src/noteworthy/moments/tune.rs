//! Moments of the tune: who sounds alone, the longest solo, exchanged roles, parallel lines, themes in a new scoring.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_score::Crotchets;
use ripieno_texture::{Carried, Role, Statement};

use super::{MOST, Moment};
use crate::measure::{Subject, Taken, Value};
use crate::noteworthy::course::Course;
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

/// The role in which a part spends most of a stretch; `None` where it sounds for less than half of it.
fn main_role(course: &Course<'_>, part: usize, from: Crotchets, to: Crotchets) -> Option<Role> {
    let mut times: BTreeMap<Role, Crotchets> = BTreeMap::new();
    for span in course.material.roles.of_part(part) {
        let time = span.to.min(to) - span.from.max(from);
        if time.is_positive() {
            *times.entry(span.role()).or_default() += time;
        }
    }
    let all: Crotchets = times.values().copied().sum();
    let main = times.into_iter().max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)));
    main.filter(|_| all + all >= to - from).map(|(role, _)| role)
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
        let accompanies = |role: Option<Role>| role.filter(|role| !role.is_tune() && *role != Role::Tacet);
        let before = accompanies(main_role(course, new.part, old.from.max(new.from - bar - bar), new.from));
        let after = accompanies(main_role(course, old.part, new.from, new.to.min(new.from + bar + bar)));
        let (Some(before), Some(after)) = (before, after) else { continue };
        let (name, other) = (material.name(Subject::Part(new.part)), material.name(Subject::Part(old.part)));
        let reason = format!("{name} goes from {before} to melody, {other} from melody to {after}.");
        let bars = new.bars.start.saturating_sub(1)..new.bars.start + 1;
        let moment = Moment { kind: "exchange of roles", bars, reason: capital(&reason), weight: 0.5 };
        exchanges.push(((old.to - old.from).min(new.to - new.from), moment));
    }
    exchanges.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.bars.start.cmp(&b.1.bars.start)));
    found.extend(exchanges.into_iter().take(MOST).map(|(_, moment)| moment));
}

/// The longest stretches in which two sections, or players of one, run parallel.
pub(super) fn thickened(course: &Course<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    let mut longest: Vec<(Range<u32>, &Value)> = of(taken, "thickened_lines")
        .iter()
        .filter(|value| value.aspect == "time")
        .flat_map(|value| runs(&value.bars).map(move |run| (run, value)))
        .filter(|(run, _)| run.len() >= 2)
        .collect();
    longest.sort_by_key(|(run, value)| (std::cmp::Reverse(run.len()), run.start, value.of, value.with));
    for (run, value) in longest.into_iter().take(MOST) {
        let Some(with) = value.with else { continue };
        let of = course.material.name(value.of);
        let reason = if with == value.of {
            format!("The {of} divide and run parallel among themselves.")
        } else {
            format!("The {of} and the {} run parallel.", course.material.name(with))
        };
        found.push(Moment { kind: "thickened line", bars: run, reason, weight: 0.4 });
    }
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
