//! Moments of groups: the first full brass, entries after long rests, sections that split, a family alone.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::{Crotchets, DynamicLevel};

use super::Moment;
use crate::noteworthy::course::Course;
use crate::noteworthy::layers::Group;
use crate::noteworthy::runs;
use crate::noteworthy::tasks::Task;
use crate::noteworthy::words::{capital, counted, list, lower, many, number};

/// The first stretch of two bars and more in each of which all sections of the brass sound at once for at least half of the bar: how high and low each lies, and who moves with
/// whom where that keeps still.
pub(super) fn full_brass(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let brass: Vec<usize> = (0..course.bars_of.len())
        .filter(|&section| course.family_of(section) == Family::Brass && !course.bars_of[section].is_empty())
        .collect();
    if brass.len() < 2 {
        return;
    }
    // Time in which all of them sound together, by bar.
    let mut time = vec![Crotchets::ZERO; material.sounding.bars.len()];
    for (slice, rows) in material.slices.iter() {
        let sounds = |section: usize| rows.iter().any(|&row| course.section_of[material.part_of(row)] == section);
        if brass.iter().all(|&section| sounds(section)) {
            time[slice.bar as usize] += slice.length();
        }
    }
    let full: Vec<u32> = (0u32..)
        .zip(material.sounding.bars.iter().zip(&time))
        .filter(|(_, (played, time))| **time * Crotchets::whole(2) >= played.length)
        .map(|(bar, _)| bar)
        .collect();
    let stretches: Vec<Range<u32>> = runs(&full).filter(|run| run.len() >= 2).collect();
    let Some(first) = stretches.first().cloned() else { return };
    let of_section = |section: usize| {
        // Notes held into the stretch sound in it.
        let notes = &material.sounding.notes;
        let slices = material.slices.iter().filter(|(slice, _)| first.contains(&slice.bar));
        let rows = slices.flat_map(|(_, rows)| rows).filter(|&&row| course.section_of[material.part_of(row)] == section);
        let keys: Vec<u8> = rows.filter_map(|&row| notes.key[row as usize]).map(|key| key.number()).collect();
        let (low, high) = (keys.iter().min()?, keys.iter().max()?);
        let (low, high) = (course.spelled(*low, &first), course.spelled(*high, &first));
        let name = course.section_name(section);
        Some(if low == high { format!("{name} on {low}") } else { format!("{name} {low} to {high}") })
    };
    let ranges: Vec<String> = brass.iter().filter_map(|&section| of_section(section)).collect();
    let ranges = list(&ranges.iter().map(String::as_str).collect::<Vec<_>>());
    let silent: BTreeSet<usize> = (0..course.section_of.len())
        .filter(|&part| course.family_of(course.section_of[part]) == Family::Brass && course.plays(part))
        .filter(|&part| first.clone().all(|bar| !course.parts[bar as usize][part]))
        .collect();
    let without = if silent.is_empty() { String::new() } else { format!(", without {}", course.who_list(&silent)) };
    let members = course.members(|section| course.family_of(section) == Family::Brass);
    let least = u32::try_from(first.len()).unwrap_or(2).div_ceil(2).clamp(2, 8);
    let who = course.still(&first, &members, least).map_or_else(String::new, |still| {
        let place = if still.bars == first { String::new() } else { format!("{}: ", capital(&course.span(&still.bars))) };
        let told = course.layers_in_words(&still);
        format!(" {place}{}.", if place.is_empty() { told } else { lower(&told) })
    });
    let names: Vec<&str> = brass.iter().map(|&section| course.section_name(section)).collect();
    let bars: usize = stretches.iter().map(Range::len).sum();
    let reason = format!(
        "The first two bars and more in each of which all sections of the brass ({}) sound at once for at least half of the bar{}{without}: {ranges}.{who} There {}, {bars} bars in all.",
        list(&names),
        course.mark(first.clone()),
        if stretches.len() == 1 {
            "is no other such stretch".to_owned()
        } else {
            format!("are {} such stretches", number(stretches.len()))
        },
    );
    // Where the brass plays as a whole all the time its first time says little.
    let share = bars * 3 / material.sounding.bars.len().max(1);
    found.push(Moment { kind: "first full brass", bars: first, reason, weight: if share == 0 { 0.9 } else { 0.6 } });
}

/// Whole bars of rest after which an entry is worth looking at, and the share of the piece.
const REST: (u32, u32) = (16, 25);
/// Entries told.
const ENTRIES: usize = 7;

/// Entries of sections after long rests; those that come in together in one. The two longest rests of each section.
pub(super) fn entries(course: &Course<'_>, found: &mut Vec<Moment>) {
    let mut at: BTreeMap<u32, Vec<(usize, u32, bool)>> = BTreeMap::new();
    // Where soloists stand beside a choir, a section of voices is no body.
    let is_solo = |part: usize| course.family_of(course.section_of[part]) == Family::Voice && course.is_soloist(part);
    let mixed = (0..course.section_of.len()).any(is_solo);
    let voices = |section: usize| mixed && course.family_of(section) == Family::Voice;
    for (section, bars) in course.bars_of.iter().enumerate().filter(|(section, _)| !voices(*section)) {
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
    let mut order: Vec<u32> = at.keys().copied().collect();
    order.sort_by_key(|bar| (std::cmp::Reverse(at[bar].iter().map(|entry| entry.1).max()), *bar));
    order.truncate(ENTRIES);
    at.retain(|bar, _| order.contains(bar));
    for (bar, mut entering) in at {
        entering.sort_by_key(|&(section, rest, _)| (std::cmp::Reverse(rest), section));
        let Some(&(_, longest, _)) = entering.first() else { continue };
        let first = entering.iter().filter(|entry| entry.1 == longest).all(|&(.., first)| first);
        let first_bars = bar..(bar + 4).min(u32::try_from(course.level.len()).unwrap_or(u32::MAX));
        // How loud and with what a section comes in.
        let how = |section: usize| {
            let level = course.sign_of[section][bar as usize].map(|level| DynamicLevel(level.floor()).mark());
            let told = |task: &Task| match task {
                Task::Melody | Task::WithMelody => course.family_of(section) != Family::Percussion,
                Task::Own | Task::Bass => false,
                _ => true,
            };
            let job = course.task_of(section, &first_bars).filter(told).map(Task::name);
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

/// Bars for which a section has to stay split, and splits told of each section and in all.
const SPLIT: (u32, usize, usize) = (4, 1, 4);

/// The longest stretches in which players of one instrument do different things and keep to them, and who goes with whom. First and second violins are two sections to everybody.
pub(super) fn splits(course: &Course<'_>, found: &mut Vec<Moment>) {
    let mut longest: Vec<(Range<u32>, usize, String)> = Vec::new();
    for section in 0..course.bars_of.len() {
        let family = course.family_of(section);
        let violins = course.section_name(section) == ripieno_instruments::family::Section::Violins.name();
        if violins || !matches!(family, Family::Woodwind | Family::Brass | Family::Strings) {
            continue;
        }
        let alike = alike(course, section);
        // Two lines of one part of strings may be double stops.
        let parts = alike.iter().filter(|inside| **inside).count();
        if parts == 0 || family == Family::Strings && parts < 2 {
            continue;
        }
        let lines = &course.material.lines.lines;
        let own: Vec<usize> = (0..lines.len()).filter(|&line| alike[lines[line].part]).collect();
        let apart: Vec<u32> = course.bars_of[section]
            .iter()
            .copied()
            .filter(|&bar| {
                let sounding: Vec<usize> = own.iter().copied().filter(|&line| course.tasks.at(line, bar).is_some()).collect();
                sounding.windows(2).any(|pair| !course.tasks.together(pair[0], pair[1], bar))
            })
            .collect();
        for run in runs(&apart).filter(|run| run.len() >= SPLIT.0 as usize) {
            let Some(still) = course.still(&run, &alike, SPLIT.0) else { continue };
            if still.groups.len() != 2 {
                continue;
            }
            let clear = |group: &Group| !group.melody.is_empty() || group.way.is_some();
            let tasks: Vec<Option<Task>> = still.groups.iter().map(|group| group.way).collect();
            let melody: Vec<bool> = still.groups.iter().map(|group| !group.melody.is_empty()).collect();
            if !still.groups.iter().all(clear) || tasks[0] == tasks[1] && melody[0] == melody[1] {
                continue;
            }
            longest.push((still.bars.clone(), section, with_whom(course, &still.bars, &still.groups)));
        }
    }
    longest.sort_by_key(|(run, section, _)| (std::cmp::Reverse(run.len()), run.start, *section));
    let mut told: BTreeMap<usize, usize> = BTreeMap::new();
    longest.retain(|(_, section, _)| {
        let count = told.entry(*section).or_default();
        *count += 1;
        *count <= SPLIT.1
    });
    for (run, section, jobs) in longest.into_iter().take(SPLIT.2) {
        let reason = format!("The {} split: {jobs}.", course.section_name(section));
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let weight = 0.4 + 0.3 * (run.len() as f64 / 12.0).min(1.0);
        found.push(Moment { kind: "split section", bars: run, reason: capital(&reason), weight });
    }
}

/// Parts of a section that play its chief instrument, a soloist left out.
fn alike(course: &Course<'_>, section: usize) -> Vec<bool> {
    let parts = &course.material.groups.sections[section].parts;
    let id = |part: usize| course.material.groups.parts[part].instrument.map(|instrument| instrument.id.as_str());
    let solo = |part: usize| course.is_soloist(part);
    let first = parts.iter().copied().find(|&part| course.plays(part) && !solo(part)).and_then(id);
    (0..course.section_of.len()).map(|part| parts.contains(&part) && id(part) == first && !solo(part)).collect()
}

/// "melody: F Horn 1 and F Horn 2 (with flutes and violins); held notes: F Horn 3 and F Horn 4".
fn with_whom(course: &Course<'_>, bars: &Range<u32>, groups: &[Group]) -> String {
    let all = &course.material.lines.lines;
    let told = groups.iter().map(|group| {
        let own: Vec<usize> = group.melody.iter().chain(&group.bass).chain(&group.others).copied().collect();
        let what = match (group.melody.is_empty(), group.way) {
            (false, _) => "melody",
            (true, Some(way)) => way.name(),
            (true, None) => "a line of their own",
        };
        let section = course.section_of[all[own[0]].part];
        let same: BTreeSet<usize> = (0..all.len())
            .filter(|&line| course.section_of[all[line].part] != section && !course.is_percussion(line))
            .filter(|&line| course.same_notes(own[0], line, bars))
            .map(|line| all[line].part)
            .collect();
        let with =
            if same.is_empty() { String::new() } else { format!(" (the same notes, octaves aside: {})", course.who_list(&same)) };
        format!("{what}: {}{with}", course.who_in(&own, bars))
    });
    told.collect::<Vec<_>>().join("; ")
}

/// Bars for which a family has to play alone, and the share of the piece in percent beyond which it is no news.
const ALONE: (usize, usize) = (3, 30);

/// The longest stretch in which woodwind, brass or strings play alone, for each of them.
pub(super) fn families_alone(course: &Course<'_>, found: &mut Vec<Moment>) {
    let of_part = course.material.groups.family_of_parts();
    for (index, group) in course.material.groups.families.iter().enumerate() {
        if !matches!(group.family, Family::Woodwind | Family::Brass | Family::Strings)
            || course.material.groups.families.len() < 2
        {
            continue;
        }
        let alone = |parts: &Vec<bool>| {
            let here: Vec<usize> = (0..parts.len()).filter(|&part| parts[part]).collect();
            here.len() >= 2 && here.iter().all(|&part| of_part[part] == index)
        };
        let bars: Vec<u32> = (0u32..).zip(&course.parts).filter(|(_, parts)| alone(parts)).map(|(bar, _)| bar).collect();
        let stretches: Vec<Range<u32>> = runs(&bars).filter(|run| run.len() >= ALONE.0).collect();
        let Some(longest) = stretches.iter().max_by_key(|run| (run.len(), std::cmp::Reverse(run.start))) else { continue };
        if bars.len() * 100 > ALONE.1 * course.parts.len() {
            continue;
        }
        let parts: BTreeSet<usize> =
            longest.clone().flat_map(|bar| (0..of_part.len()).filter(move |&part| course.parts[bar as usize][part])).collect();
        let who = course.who_list(&parts);
        let who = if who == group.name { "all of it".to_owned() } else { who };
        let others = match bars.len() - longest.len() {
            0 => "here only".to_owned(),
            others => format!("the longest such stretch; {others} more of {} bars are like it", course.parts.len()),
        };
        let reason = format!(
            "Nobody but the {} plays for {}{}: {who}; {others}.",
            group.name,
            counted(longest.len(), "bar"),
            course.mark(longest.clone()),
        );
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let weight = 0.48 + 0.2 * (longest.len() as f64 / 16.0).min(1.0);
        found.push(Moment { kind: "family alone", bars: longest.clone(), reason, weight });
    }
}
