//! Moments of groups: the first full brass, entries after long rests, sections that split.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::DynamicLevel;

use super::{MOST, Moment};
use crate::measure::{Subject, Taken};
use crate::measures::is_one_rhythm;
use crate::noteworthy::course::Course;
use crate::noteworthy::tasks::Task;
use crate::noteworthy::told::{CHANGING, Jobs, told};
use crate::noteworthy::words::{capital, list, many};
use crate::noteworthy::{of, runs};

/// The first stretch in which all of the brass sounds, and what each section does there.
pub(super) fn full_brass(course: &Course<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    for value in of(taken, "stack").iter().filter(|value| value.aspect == "tutti bars") {
        let brass =
            matches!(value.of, Subject::Family(family) if course.material.groups.families[family].family == Family::Brass);
        let mut stretches = runs(&value.bars);
        let Some(very_first) = stretches.next().filter(|_| brass) else { continue };
        // A single chord is told, but the first stretch that lasts is shown.
        let lasting = (very_first.len() < 2).then(|| stretches.find(|run| run.len() >= 2)).flatten();
        let first = lasting.clone().unwrap_or_else(|| very_first.clone());
        let parts: Vec<bool> = course.section_of.iter().map(|&section| course.family_of(section) == Family::Brass).collect();
        let before = match lasting {
            None => "for the first time".to_owned(),
            Some(_) => {
                format!("for the first time for longer than a bar (for a moment already in {})", course.printed(very_first.start))
            }
        };
        let reason = format!(
            "All sections of the brass sound together{} {before}. {}",
            course.mark(first.clone()),
            course.who_does_what(&first, &parts)
        );
        found.push(Moment { kind: "first full brass", bars: first, reason: reason.trim().to_owned(), weight: 0.9 });
    }
}

/// Whole bars of rest after which an entry is worth looking at, and the share of the piece.
const REST: (u32, u32) = (16, 25);

/// Entries of sections after long rests; those that come in together in one. The two longest rests of each section.
pub(super) fn entries(course: &Course<'_>, found: &mut Vec<Moment>) {
    let mut at: BTreeMap<u32, Vec<(usize, u32, bool)>> = BTreeMap::new();
    for (section, bars) in course.bars_of.iter().enumerate() {
        let mut rested = 0;
        let mut own: Vec<(u32, u32)> = Vec::new();
        for &bar in bars {
            let rest = course.rest(rested..bar);
            if rest >= REST.0 && u64::from(rest) * u64::from(REST.1) >= course.whole_bars() as u64 {
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
        let first_bars = bar..(bar + 4).min(u32::try_from(course.level.len()).unwrap_or(u32::MAX));
        // How loud and with what a section comes in.
        let how = |section: usize| {
            let level = course.level_of[section][bar as usize].map(|level| DynamicLevel(level.floor()).mark());
            let job = course.task_of(section, &first_bars).filter(|task| *task != Task::Own).map(Task::name);
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

/// Bars for which a section has to stay split.
const SPLIT: usize = 3;

/// The longest stretches in which lines of one section do different things in different rhythms, two of each section at most.
pub(super) fn splits(course: &Course<'_>, found: &mut Vec<Moment>) {
    let mut longest: Vec<(Range<u32>, usize, String)> = Vec::new();
    for section in 0..course.bars_of.len() {
        let family = course.family_of(section);
        if matches!(family, Family::Percussion | Family::Keyboard | Family::Plucked) {
            continue;
        }
        let parts: Vec<bool> = course.section_of.iter().map(|of| *of == section).collect();
        let apart: Vec<u32> = course.bars_of[section].iter().copied().filter(|&bar| is_apart(course, &parts, bar)).collect();
        for run in runs(&apart).filter(|run| run.len() >= SPLIT) {
            // Of a long run the stretch in which each keeps to one thing.
            for phase in course.phases(&run, &parts) {
                let jobs: Jobs = course.jobs(&phase, &parts).into_iter().filter(|(job, _)| *job != CHANGING).collect();
                if phase.len() >= SPLIT && jobs.len() >= 2 {
                    longest.push((phase, section, told(&jobs)));
                }
            }
        }
    }
    longest.sort_by_key(|(run, section, _)| (std::cmp::Reverse(run.len()), run.start, *section));
    let mut told: BTreeMap<usize, usize> = BTreeMap::new();
    longest.retain(|(_, section, _)| {
        let count = told.entry(*section).or_default();
        *count += 1;
        *count <= 2
    });
    for (run, section, jobs) in longest.into_iter().take(MOST) {
        let reason = format!("The {} split: {jobs}.", course.section_name(section));
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let weight = 0.35 + 0.3 * (run.len() as f64 / 12.0).min(1.0);
        found.push(Moment { kind: "split section", bars: run, reason: capital(&reason), weight });
    }
}

/// Whether lines of some parts have different tasks in a bar, and different rhythms.
fn is_apart(course: &Course<'_>, parts: &[bool], bar: u32) -> bool {
    let lines = &course.material.lines.lines;
    let tasks: BTreeSet<Task> =
        (0..lines.len()).filter(|&line| parts[lines[line].part]).filter_map(|line| course.tasks.at(line, bar)).collect();
    tasks.len() > 1 && !is_one_rhythm(course.material, parts, bar)
}
