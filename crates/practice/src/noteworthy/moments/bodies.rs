//! Moments of groups: the first full brass, entries after long rests, sections that split.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::DynamicLevel;

use super::{MOST, Moment};
use crate::measure::{Subject, Taken, Value};
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{capital, list, many};
use crate::noteworthy::{of, runs};

/// The first stretch in which all of the brass sounds, and what each section does there.
pub(super) fn full_brass(course: &Course<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    for value in of(taken, "stack").iter().filter(|value| value.aspect == "tutti bars") {
        let brass =
            matches!(value.of, Subject::Family(family) if course.material.groups.families[family].family == Family::Brass);
        let Some(first) = runs(&value.bars).next().filter(|_| brass) else { continue };
        let level = course.mark(first.clone()).map_or_else(String::new, |mark| format!(", up to {mark}"));
        let reason = format!(
            "All sections of the brass sound together for the first time{level}. {}",
            course.who_does_what_of(Family::Brass, first.clone())
        );
        found.push(Moment { kind: "first full brass", bars: first, reason: reason.trim().to_owned(), weight: 0.9 });
    }
}

/// Whole bars of rest after which an entry is worth looking at.
const REST: u32 = 16;

/// Entries of sections after long rests; those that come in together in one. The two longest rests of each section.
pub(super) fn entries(course: &Course<'_>, found: &mut Vec<Moment>) {
    let mut at: BTreeMap<u32, Vec<(usize, u32, bool)>> = BTreeMap::new();
    for (section, bars) in course.bars_of.iter().enumerate() {
        let mut rested = 0;
        let mut own: Vec<(u32, u32)> = Vec::new();
        for &bar in bars {
            let rest = course.rest(rested..bar);
            if rest >= REST {
                own.push((rest, bar));
            }
            rested = bar + 1;
        }
        own.sort_by_key(|&(rest, bar)| (std::cmp::Reverse(rest), bar));
        for (rest, bar) in own.into_iter().take(2) {
            at.entry(bar).or_default().push((section, rest, bars.first() == Some(&bar)));
        }
    }
    for (bar, mut entering) in at {
        entering.sort_by_key(|&(section, rest, _)| (std::cmp::Reverse(rest), section));
        let Some(&(_, longest, _)) = entering.first() else { continue };
        let first = entering.iter().filter(|entry| entry.1 == longest).all(|&(.., first)| first);
        let jobs = course.jobs(bar..(bar + 4).min(u32::try_from(course.level.len()).unwrap_or(u32::MAX)));
        // How loud and with what a section comes in.
        let how = |section: usize| {
            let level = course.level_of[section][bar as usize].map(|level| DynamicLevel(level.floor()).mark());
            let job = jobs.iter().find(|(_, sections)| sections.contains(&section)).map(|(job, _)| *job);
            let how: Vec<&str> = job.into_iter().chain(level).collect();
            if how.is_empty() { String::new() } else { format!(" ({})", how.join(", ")) }
        };
        // Told by the rest of the first; others are said to join when theirs differs.
        let same: Vec<usize> = entering.iter().filter(|entry| entry.1 == longest).map(|entry| entry.0).collect();
        let mut told: Vec<String> =
            same.iter().map(|&section| format!("the {}{}", course.section_name(section), how(section))).collect();
        let plural = many(&same.iter().map(|&section| course.section_name(section)).collect::<Vec<_>>());
        let verb = match (first, plural) {
            (true, true) => "enter for the first time",
            (true, false) => "enters for the first time",
            (false, true) => "come back",
            (false, false) => "comes back",
        };
        let subject = capital(&list(&told.iter().map(String::as_str).collect::<Vec<_>>()));
        told = entering
            .iter()
            .filter(|entry| entry.1 != longest)
            .map(|entry| format!("the {}{} after {}", course.section_name(entry.0), how(entry.0), entry.1))
            .collect();
        let with = if told.is_empty() {
            String::new()
        } else {
            format!(", {}", list(&told.iter().map(String::as_str).collect::<Vec<_>>()))
        };
        let reason = format!("{subject} {verb} after {longest} bars of rest{with}.");
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let length = f64::from(longest) / course.whole_bars().max(1) as f64;
        let weight = 0.4 + 0.4 * length.min(1.0) + 0.03 * (entering.len() - 1).min(3) as f64;
        found.push(Moment { kind: "entry after a long rest", bars: bar..bar + 1, reason, weight });
    }
}

/// The longest stretches in which players of one section have different tasks in different rhythms, two of each section at most.
pub(super) fn splits(course: &Course<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    let mut longest: Vec<(Range<u32>, &Value)> = of(taken, "cohesion")
        .iter()
        .filter(|value| value.aspect.contains(" against "))
        .flat_map(|value| {
            let bars = course.in_several_rhythms(value);
            runs(&bars).map(|run| (run, value)).collect::<Vec<_>>()
        })
        .filter(|(run, _)| run.len() >= 2)
        .collect();
    longest.sort_by_key(|(run, _)| (std::cmp::Reverse(run.len()), run.start));
    let mut told: BTreeMap<Subject, usize> = BTreeMap::new();
    longest.retain(|(_, value)| {
        let count = told.entry(value.of).or_default();
        *count += 1;
        *count <= 2
    });
    for (run, value) in longest.into_iter().take(MOST) {
        let reason = format!("The {} split: {}.", course.material.name(value.of), value.aspect);
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let weight = 0.35 + 0.3 * (run.len() as f64 / 12.0).min(1.0);
        found.push(Moment { kind: "split section", bars: run, reason: capital(&reason), weight });
    }
}
