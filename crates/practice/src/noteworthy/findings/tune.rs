//! Who has the melody, who supports it, who passes it on, and what a section mostly does.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::{Family, Section};

use super::Found;
use crate::measure::{Subject, Taken, Value};
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{counted, list, percent};
use crate::noteworthy::{of, one};

/// Who carries the melody, the three that carry most of it; and how much of it stands alone.
pub(super) fn carriers(taken: &[Taken], found: &mut Found<'_>) {
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
        found.say("melody_support", first, text, 0.55);
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

/// The most regular supports of those that carry a good part of the melody.
pub(super) fn support(taken: &[Taken], found: &mut Found<'_>) {
    let support = of(taken, "melody_support");
    let carried =
        |of: Subject| support.iter().find(|value| value.of == of && value.aspect == "carries").map_or(0.0, |value| value.value);
    let mut best: Vec<(f64, &Value)> = support
        .iter()
        .filter_map(|value| {
            let share = carried(value.with?);
            let regular = matches!(value.of, Subject::Section(_)) && value.value >= 0.25 && share >= 0.08;
            (regular && Some(value.of) != value.with && value.bars.len() >= 4).then_some((value.value * share, value))
        })
        .collect();
    best.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| (a.1.of, a.1.with, &a.1.aspect).cmp(&(b.1.of, b.1.with, &b.1.aspect))));
    let mut told: BTreeSet<(Subject, Subject)> = BTreeSet::new();
    for (_, value) in best {
        let Some(with) = value.with else { continue };
        if told.len() == SUPPORTS || !told.insert((value.of, with)) {
            continue;
        }
        let place = if value.aspect == "unison" { "in unison".to_owned() } else { article(&value.aspect) };
        let text = format!(
            "Where the {} lead the melody, the {} double it {place} for {} of the time.",
            found.name(with),
            found.name(value.of),
            percent(value.value)
        );
        found.say("melody_support", value, text, 0.5 + 0.2 * value.value);
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
        let text = format!("The {} hand the melody on to the {} {times}.", found.name(value.of), found.name(with));
        found.say("hand_offs", value, text, 0.3 + 0.02 * value.value.min(10.0));
    }
}

/// What a section does nearly always, where that is not what such sections are there for, and who of the singers never sings.
pub(super) fn roles(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let mut of_section: BTreeMap<Subject, Vec<&Value>> = BTreeMap::new();
    for value in of(taken, "role_shares").iter().filter(|value| matches!(value.of, Subject::Section(_))) {
        of_section.entry(value.of).or_default().push(value);
    }
    for (subject, roles) in of_section {
        let Subject::Section(section) = subject else { continue };
        if !melodic(course, section) || course.bars_of[section].len() < 16 {
            continue;
        }
        for value in roles.iter().filter(|value| value.value >= 0.7) {
            let text = format!(
                "The {} have {} for {} of the time in which they play.",
                course.section_name(section),
                value.aspect,
                percent(value.value)
            );
            let telling = if value.aspect == "harmony" { 0.35 } else { 0.45 };
            found.say("role_shares", value, text, telling);
        }
        let sings = roles.iter().any(|value| matches!(value.aspect.as_str(), "melody" | "countermelody"));
        if let Some(value) = one(taken, "presence", subject, "bars").filter(|_| !sings) {
            let bars = course.bars_of[section].len();
            let text =
                format!("In their {bars} bars the {} have neither melody nor countermelody.", course.section_name(section));
            let about = (subject, None, "melody", 0.0);
            found.say_of("role_shares", about, text, &value.bars, 0.42);
        }
    }
}

/// Sections that sing as a rule: not the percussion, and not those that carry the bass by their nature.
fn melodic(course: &Course<'_>, section: usize) -> bool {
    let name = course.section_name(section);
    let low = [Section::Tubas, Section::DoubleBasses].iter().any(|low| low.name() == name);
    matches!(course.family_of(section), Family::Woodwind | Family::Brass | Family::Strings) && !low
}
