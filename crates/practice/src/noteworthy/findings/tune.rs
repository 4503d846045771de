//! Who plays the notes of the melody, who supports it, and who mostly holds or repeats.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::{Family, Section};

use super::Found;
use crate::attacks::begun_at;
use crate::measure::{Subject, Taken, Value};
use crate::measures::NOTES;
use crate::noteworthy::course::Course;
use crate::noteworthy::of;
use crate::noteworthy::tasks::Task;
use crate::noteworthy::words::{list, percent};

/// Shares of the melody's notes from which a section is worth a sentence: brass, low strings, and any other than the violins that has the most.
const SHARES: (f64, f64) = (0.25, 0.3);
/// Such sentences.
const MOST: usize = 2;

/// Who plays the notes of the melody, whoever of them leads: those who have most of it, and brass and low strings that have a good part.
pub(super) fn shares(course: &Course<'_>, found: &mut Found<'_>) {
    let material = course.material;
    let sections = course.bars_of.len();
    let mut notes = 0usize;
    let mut of: Vec<(usize, BTreeSet<u32>)> = vec![(0, BTreeSet::new()); sections];
    let mut here = vec![false; sections];
    for carried in &material.roles.melody {
        let line = &material.lines.lines[carried.line];
        for attack in &line.attacks[line.attacks_in(carried.from, carried.to)] {
            notes += 1;
            here.fill(false);
            here[course.section_of[line.part]] = true;
            for other in &material.lines.lines {
                let with = begun_at(&other.attacks, attack.onset);
                let same = with.is_some_and(|with| attack.top.zip(with.top).is_some_and(|(a, b)| a % 12 == b % 12));
                here[course.section_of[other.part]] |= same;
            }
            for (of, _) in of.iter_mut().zip(&here).filter(|(_, here)| **here) {
                of.0 += 1;
                of.1.insert(attack.bar);
            }
        }
    }
    if notes < 60 {
        return;
    }
    #[allow(clippy::cast_precision_loss)] // notes of a score
    let share = |section: usize| of[section].0 as f64 / notes as f64;
    let mut order: Vec<usize> = (0..sections).collect();
    order.sort_by(|&a, &b| share(b).total_cmp(&share(a)).then(a.cmp(&b)));
    let low = |section: usize| [Section::Cellos, Section::Violas].iter().any(|low| low.name() == course.section_name(section));
    let first = order[0];
    let violins = course.section_name(first) == Section::Violins.name();
    let rare = order.iter().copied().filter(|&section| {
        section == first && !violins
            || course.family_of(section) == Family::Brass && share(section) >= SHARES.0
            || low(section) && share(section) >= SHARES.1
    });
    for section in rare.take(MOST) {
        let second = order.iter().copied().find(|&other| other != section);
        let next = second.map_or_else(String::new, |other| {
            let rank = if section == first { "next come" } else { "the most have" };
            format!("; {rank} the {}, {}", course.section_name(other), percent(share(other)))
        });
        let text = format!(
            "The {} play {} of the {notes} notes of the melody, leading it or with whoever leads, in unison or octaves{next}.",
            course.section_name(section),
            percent(share(section))
        );
        let bars: Vec<u32> = of[section].1.iter().copied().collect();
        let about = (Subject::Section(section), None, "notes of the melody", share(section));
        found.say_of("melody_support", about, text, &bars, 0.5 + 0.1 * share(section));
    }
}

/// Supports told, and the least share of notes.
const SUPPORTS: (usize, f64) = (3, 0.42);

/// The most regular supports of those that carry a good part of the melody, counted note by note, those of one leader in one sentence.
pub(super) fn support(taken: &[Taken], found: &mut Found<'_>) {
    let support = of(taken, "melody_support");
    let carried =
        |of: Subject| support.iter().find(|value| value.of == of && value.aspect == "carries").map_or(0.0, |value| value.value);
    let mut by_leader: BTreeMap<Subject, Vec<(&Value, &str)>> = BTreeMap::new();
    for value in support {
        let place = value.aspect.strip_prefix(NOTES).and_then(|place| place.strip_prefix(", "));
        let (Some(place), Some(with)) = (place, value.with) else { continue };
        if value.value >= SUPPORTS.1 && carried(with) >= 0.08 && value.bars.len() >= 6 {
            by_leader.entry(with).or_default().push((value, place));
        }
    }
    let mut leaders: Vec<(Subject, Vec<(&Value, &str)>)> = by_leader.into_iter().collect();
    leaders.sort_by(|a, b| carried(b.0).total_cmp(&carried(a.0)).then(a.0.cmp(&b.0)));
    for (leader, mut values) in leaders.into_iter().take(SUPPORTS.0) {
        values.sort_by(|a, b| b.0.value.total_cmp(&a.0.value).then(a.0.of.cmp(&b.0.of)));
        values.truncate(4);
        let told: Vec<String> = values
            .iter()
            .map(|(value, place)| {
                let place = if *place == "unison" { "in unison".to_owned() } else { article(place) };
                format!("the {} begin {} with them {place}", found.name(value.of), percent(value.value))
            })
            .collect();
        let text = format!(
            "Of the notes that the {} begin while they lead the melody, {}.",
            found.name(leader),
            list(&told.iter().map(String::as_str).collect::<Vec<_>>())
        );
        found.say("melody_support", values[0].0, text, 0.5 + 0.2 * values[0].0.value);
    }
}

/// "an octave below", "two octaves above".
fn article(place: &str) -> String {
    if place.starts_with("octave") { format!("an {place}") } else { place.to_owned() }
}

/// Share of its bars in which a wind section does one humble thing and nothing else, to be told.
const HUMBLE: f64 = 0.5;

/// Such sentences.
const MOST_HUMBLE: usize = 2;

/// Wind that holds or repeats notes most of the time and does nothing else.
pub(super) fn humble(course: &Course<'_>, found: &mut Found<'_>) {
    let mut humble: Vec<(f64, usize, Task, String, Vec<u32>)> = Vec::new();
    for section in 0..course.bars_of.len() {
        let all = &course.bars_of[section];
        let tubas = course.section_name(section) == Section::Tubas.name();
        if tubas || !matches!(course.family_of(section), Family::Woodwind | Family::Brass) || all.len() < 16 {
            continue;
        }
        let (name, count) = (course.section_name(section), all.len());
        let lines: Vec<usize> = course.lines_of_section(section);
        for (task, does) in [(Task::Held, "hold long notes"), (Task::Repeated, "repeat notes")] {
            let does_it = |bar: &u32| {
                let mut ways = lines.iter().filter_map(|&line| course.tasks.way_in(line, *bar)).peekable();
                ways.peek().is_some() && ways.all(|other| other == task)
            };
            let bars: Vec<u32> = all.iter().copied().filter(does_it).collect();
            #[allow(clippy::cast_precision_loss)] // bars of a score
            let share = bars.len() as f64 / count as f64;
            if share >= HUMBLE {
                let text = format!(
                    "In {} of their {count} bars the {name} {does} and do nothing else ({}).",
                    bars.len(),
                    percent(share)
                );
                humble.push((share, section, task, text, bars));
            }
        }
    }
    humble.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    for (share, section, task, text, bars) in humble.into_iter().take(MOST_HUMBLE) {
        found.say_of("role_shares", (Subject::Section(section), None, task.name(), share), text, &bars, 0.38 + 0.2 * share);
    }
}
