//! Who has the melody, who supports it, who passes it on, and what a section mostly does.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::{Family, Section};

use super::Found;
use crate::attacks::begun_at;
use crate::measure::{Subject, Taken, Value};
use crate::measures::NOTES;
use crate::noteworthy::course::Course;
use crate::noteworthy::tasks::Task;
use crate::noteworthy::words::{counted, list, percent};
use crate::noteworthy::{of, one};

/// Who carries the melody, the three that carry most of it; and how much of it stands alone.
pub(super) fn carriers(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let support = of(taken, "melody_support");
    let mut carriers: Vec<&Value> = support.iter().filter(|value| value.aspect == "carries").collect();
    carriers.sort_by(|a, b| b.value.total_cmp(&a.value).then(a.of.cmp(&b.of)));
    if let Some((first, others)) = carriers.split_first() {
        let next: Vec<String> = others
            .iter()
            .take(2)
            .filter(|value| value.value >= 0.05)
            .map(|value| format!("the {} {}", found.name(value.of), percent(value.value)))
            .collect();
        let next = list(&next.iter().map(String::as_str).collect::<Vec<_>>());
        let and = if next.is_empty() { String::new() } else { format!(", {next}") };
        let text = format!("The {} lead the melody for {} of its time{and}.", found.name(first.of), percent(first.value));
        // Violins that lead most of the time are the custom of the orchestra.
        let usual = found.name(first.of) == Section::Violins.name() && first.value >= 0.6;
        if !usual || others.iter().any(|value| value.value >= 0.05 && course.of_brass(value.of)) {
            found.say("melody_support", first, text, 0.55);
        }
    }
    if let Some(alone) = support.iter().find(|value| value.of == Subject::Everybody && value.aspect == "alone")
        && (alone.value >= 0.5 || alone.value <= 0.2)
    {
        let text = format!("For {} of its time the melody stands alone: nobody doubles it.", percent(alone.value));
        found.say("melody_support", alone, text, 0.45);
    }
}

/// Supports told.
const SUPPORTS: usize = 4;

/// The most regular supports of those that carry a good part of the melody, counted note by note.
pub(super) fn support(taken: &[Taken], found: &mut Found<'_>) {
    let support = of(taken, "melody_support");
    let carried =
        |of: Subject| support.iter().find(|value| value.of == of && value.aspect == "carries").map_or(0.0, |value| value.value);
    let mut best: Vec<(f64, &Value, &str)> = support
        .iter()
        .filter_map(|value| {
            let place = value.aspect.strip_prefix(NOTES)?.strip_prefix(", ")?;
            let share = carried(value.with?);
            (value.value >= 0.25 && share >= 0.08 && value.bars.len() >= 6).then_some((value.value * share, value, place))
        })
        .collect();
    best.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| (a.1.of, a.1.with, &a.1.aspect).cmp(&(b.1.of, b.1.with, &b.1.aspect))));
    let mut told: BTreeSet<(Subject, Subject)> = BTreeSet::new();
    for (_, value, place) in best {
        let Some(with) = value.with else { continue };
        if told.len() == SUPPORTS || !told.insert((value.of, with)) {
            continue;
        }
        let place = if place == "unison" { "in unison".to_owned() } else { article(place) };
        let text = format!(
            "Of the notes that the {} begin while they lead the melody, the {} begin {} with them {place}.",
            found.name(with),
            found.name(value.of),
            percent(value.value)
        );
        found.say("melody_support", value, text, 0.45 + 0.2 * value.value);
    }
}

/// "an octave below", "two octaves above".
fn article(place: &str) -> String {
    if place.starts_with("octave") { format!("an {place}") } else { place.to_owned() }
}

/// Sections between which the melody passes again and again.
pub(super) fn hand_offs(taken: &[Taken], found: &mut Found<'_>) {
    let mut often: Vec<&Value> =
        of(taken, "hand_offs").iter().filter(|value| value.aspect == "hands on to" && value.value >= 3.0).collect();
    often.sort_by(|a, b| b.value.total_cmp(&a.value).then((a.of, a.with).cmp(&(b.of, b.with))));
    for value in often.into_iter().take(3) {
        let Some(with) = value.with else { continue };
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small count
        let times = counted(value.value.round() as usize, "time");
        let text = format!("The melody passes from the {} to the {} {times}.", found.name(value.of), found.name(with));
        found.say("hand_offs", value, text, 0.3 + 0.02 * value.value.min(10.0));
    }
}

/// Bars in which a section has so many of the melody's notes have it as melody.
const OF_TUNE: usize = 3;

/// Which wind have the melody never or hardly ever, and who does one humble thing most of the time.
pub(super) fn roles(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for section in 0..course.bars_of.len() {
        let subject = Subject::Section(section);
        let all = &course.bars_of[section];
        if !melodic(course, section) || all.len() < 16 {
            continue;
        }
        let (name, count) = (course.section_name(section), all.len());
        let tune = tune_bars(course, section);
        if tune.is_empty() {
            let text = format!(
                "In none of their {count} bars do the {name} lead the melody or begin three of its notes with whoever leads."
            );
            found.say_of("role_shares", (subject, None, "melody", 0.0), text, all, 0.44);
        } else if tune.len() * 20 <= count {
            #[allow(clippy::cast_precision_loss)] // bars of a score
            let share = tune.len() as f64 / count as f64;
            let measured = one(taken, "role_shares", subject, "melody").map_or(share, |value| value.value);
            let text = format!(
                "In only {} of their {count} bars do the {name} lead the melody or begin three of its notes with whoever leads.",
                tune.len()
            );
            found.say_of("role_shares", (subject, None, "melody", measured), text, &tune, 0.44);
        }
        let lines: Vec<usize> = course.lines_of_section(section);
        for (task, does) in
            [(Task::Held, "hold long notes and do nothing else"), (Task::Repeated, "repeat notes and do nothing else")]
        {
            let does_it = |bar: &u32| {
                let mut tasks = lines.iter().filter_map(|&line| course.tasks.at(line, *bar)).peekable();
                tasks.peek().is_some() && tasks.all(|other| other == task)
            };
            let bars: Vec<u32> = all.iter().copied().filter(does_it).collect();
            #[allow(clippy::cast_precision_loss)] // bars of a score
            let share = bars.len() as f64 / count as f64;
            if share >= 0.35 {
                let text = format!("In {} of their {count} bars the {name} {does} ({}).", bars.len(), percent(share));
                found.say_of("role_shares", (subject, None, task.name(), share), text, &bars, 0.3 + 0.2 * share);
            }
        }
    }
}

/// Bars in which a section leads the melody, or begins at least [`OF_TUNE`] notes with whoever leads, in unison or octaves.
fn tune_bars(course: &Course<'_>, section: usize) -> Vec<u32> {
    let material = course.material;
    let mut notes: BTreeMap<(u32, usize), usize> = BTreeMap::new();
    let mut led: BTreeSet<u32> = BTreeSet::new();
    let own = course.lines_of_section(section);
    for carried in &material.roles.melody {
        let line = &material.lines.lines[carried.line];
        let attacks = &line.attacks[line.attacks_in(carried.from, carried.to)];
        if course.section_of[line.part] == section {
            led.extend(attacks.iter().map(|attack| attack.bar));
            continue;
        }
        for attack in attacks {
            for &other in &own {
                let Some(theirs) = begun_at(&material.lines.lines[other].attacks, attack.onset) else { continue };
                if attack.top.zip(theirs.top).is_some_and(|(a, b)| a % 12 == b % 12) {
                    *notes.entry((attack.bar, other)).or_default() += 1;
                }
            }
        }
    }
    led.extend(notes.into_iter().filter(|(_, count)| *count >= OF_TUNE).map(|((bar, _), _)| bar));
    led.into_iter().collect()
}

/// Sections that sing as a rule: not the percussion, and not those that carry the bass by their nature.
fn melodic(course: &Course<'_>, section: usize) -> bool {
    let name = course.section_name(section);
    let low = [Section::Tubas, Section::DoubleBasses].iter().any(|low| low.name() == name);
    matches!(course.family_of(section), Family::Woodwind | Family::Brass | Family::Strings) && !low
}
