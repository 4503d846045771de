//! How the groups stand together: the full brass, sections that split, neighbours in register, who plays whose line.

use std::collections::BTreeMap;

use ripieno_instruments::family::{Family, Section};

use super::Found;
use crate::measure::{Subject, Taken, Value};
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{capital, interval, percent, semitones};
use crate::noteworthy::{of, one};

/// Where all of the brass sounds, and whether it is one chord then.
pub(super) fn full_brass(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for value in of(taken, "stack").iter().filter(|value| value.aspect == "tutti bars") {
        let Subject::Family(family) = value.of else { continue };
        if course.material.groups.families[family].family != Family::Brass {
            continue;
        }
        let (count, all) = (value.bars.len(), course.material.sounding.bars.len());
        let text = format!("All sections of the brass sound in {count} of {all} bars.");
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let share = count as f64 / all as f64;
        found.say("stack", value, text, 0.6 + 0.2 * (0.5 - share).max(0.0));
        if let Some(stack) = one(taken, "stack", value.of, "one stack").filter(|stack| stack.bars.len() >= 2) {
            let text = format!(
                "In {} of the {count} bars in which all sections of the brass sound, they form one chord in one rhythm ({} of the time of all {count}).",
                stack.bars.len(),
                percent(stack.value)
            );
            found.say("stack", stack, text, 0.55);
        }
    }
}

/// Sections that often split, with how; and large ones that never do.
pub(super) fn cohesion(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for value in of(taken, "cohesion").iter().filter(|value| value.aspect == "together") {
        let Subject::Section(section) = value.of else { continue };
        let several = one(taken, "cohesion", value.of, "several lines, of all its time");
        let name = course.section_name(section);
        // Passing double stops say nothing about a section.
        if several.is_none_or(|several| several.value < 0.25 || several.bars.len() < 8) {
            continue;
        }
        if value.value >= 0.995 && course.material.groups.sections[section].parts.len() >= 3 {
            let text = format!("The {name} always act together, in one layer or one role.");
            found.say("cohesion", value, text, 0.3);
            continue;
        }
        // That the lowest of a block has its bass goes without saying, and lines in one rhythm are heard as one thing.
        let exceptions: Vec<(&Value, Vec<u32>)> = of(taken, "cohesion")
            .iter()
            .filter(|other| other.of == value.of && other.aspect.contains(" against ") && other.aspect != "bass against harmony")
            .map(|other| (other, course.in_several_rhythms(other)))
            .collect();
        let mut bars: Vec<u32> = exceptions.iter().flat_map(|(_, bars)| bars.iter().copied()).collect();
        bars.sort_unstable();
        bars.dedup();
        let most = exceptions.iter().max_by(|a, b| a.1.len().cmp(&b.1.len()).then_with(|| b.0.aspect.cmp(&a.0.aspect)));
        let all = course.bars_of[section].len();
        if let Some((most, often)) = most.filter(|_| bars.len() >= 8 && bars.len() * 5 >= all) {
            let text = format!(
                "In {} of the {all} bars of the {name} their lines have different tasks in different rhythms, most often {} ({} bars).",
                bars.len(),
                most.aspect,
                often.len()
            );
            #[allow(clippy::cast_precision_loss)] // bars of a score
            let share = bars.len() as f64 / all as f64;
            found.say_of(
                "cohesion",
                (value.of, None, "different tasks in different rhythms", share),
                text,
                &bars,
                0.4 + 0.3 * share,
            );
        }
    }
}

/// Neighbours of the brass, and the families, that mostly overlap or keep a wide distance.
pub(super) fn neighbours(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for value in of(taken, "separation") {
        let (Subject::Section(section), Some(with)) = (value.of, value.with) else { continue };
        if course.family_of(section) != Family::Brass || value.bars.len() < 8 {
            continue;
        }
        let pair = format!("the {} and the {}", course.section_name(section), found.name(with));
        let where_ = "with no other brass between them";
        if value.aspect == "overlapping" && value.value >= 0.6 {
            let text = format!(
                "Where {pair} are neighbours, {where_}, they overlap in register for {} of the time.",
                percent(value.value)
            );
            found.say("separation", value, text, 0.35 + 0.2 * value.value);
        } else if value.aspect == "apart" && value.value >= 0.9 {
            let usual = of(taken, "separation")
                .iter()
                .find(|other| other.of == value.of && other.with == value.with && other.aspect == "usual interval");
            let Some(usual) = usual else { continue };
            let text = format!(
                "Where {pair} are neighbours, {where_}, they keep apart for {} of the time, usually by {}.",
                percent(value.value),
                interval(semitones(usual.value))
            );
            found.say("separation", value, text, 0.35 + 0.1 * value.value);
        }
    }
}

/// For each section the line of another family that it shares most of its time; and cellos and basses when they do not go together.
pub(super) fn doublings(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let presence = |subject: Subject| one(taken, "presence", subject, "time").map_or(0.0, |value| value.value);
    let usual = |a: usize, b: usize| {
        let names = [course.section_name(a), course.section_name(b)];
        [Section::Cellos, Section::DoubleBasses].iter().all(|low| names.contains(&low.name()))
    };
    // The best of each section that sounds less than its partner.
    let mut best: BTreeMap<usize, (&Value, usize, bool)> = BTreeMap::new();
    for value in of(taken, "doubled_sections") {
        let (Subject::Section(a), Some(Subject::Section(b))) = (value.of, value.with) else { continue };
        // The share is of the time of whoever sounds less.
        let (sparser, other) = if presence(value.of) <= presence(Subject::Section(b)) { (a, b) } else { (b, a) };
        let families = [course.family_of(a), course.family_of(b)];
        if course.bars_of[sparser].len() < 12 || families.contains(&Family::Percussion) {
            continue;
        }
        if usual(a, b) {
            if value.aspect == "any interval" && value.value < 0.6 {
                let text = format!(
                    "The {} go with the {} for only {} of the time in which they sound.",
                    course.section_name(sparser),
                    course.section_name(other),
                    percent(value.value)
                );
                found.say("doubled_sections", value, text, 0.5 - 0.3 * value.value);
            }
        } else if families[0] != families[1]
            && value.value >= 0.4
            && !value.aspect.contains(',')
            && value.aspect != "any interval"
        {
            let known = best.entry(sparser).or_insert((value, other, sparser == b));
            if value.value > known.0.value {
                *known = (value, other, sparser == b);
            }
        }
    }
    for (sparser, (value, other, second)) in best {
        let place = if value.aspect == "unison" { "in unison".to_owned() } else { direction(&value.aspect, second) };
        // The measure speaks of sections: one player of several is enough.
        let several = |section: usize| course.material.groups.sections[section].parts.len() > 1;
        let who = if several(sparser) { "at least one part of them plays" } else { "they play" };
        let with = if several(other) { "with at least one part of" } else { "with" };
        let text = format!(
            "For {} of the time in which the {} sound, {who} {with} the {} {place}, in runs of three notes and more.",
            percent(value.value),
            course.section_name(sparser),
            course.section_name(other)
        );
        found.say("doubled_sections", value, text, 0.35 + 0.3 * (value.value - 0.4));
    }
}

/// "an octave below": where the second of a pair sounds, or the first when `second` is not who is told of.
fn direction(aspect: &str, second: bool) -> String {
    let (size, place) = aspect.rsplit_once(' ').unwrap_or((aspect, ""));
    let place = match (place, second) {
        ("below", true) | ("above", false) => "below",
        _ => "above",
    };
    if size == "octave" { format!("an octave {place}") } else { format!("{size} {place}") }
}

/// How many horns stand against each trombone and trumpet.
pub(super) fn horns_against_others(taken: &[Taken], found: &mut Found<'_>) {
    for value in of(taken, "brass_weight").iter().filter(|value| value.with.is_none()) {
        let Some(other) = value.aspect.strip_prefix("horns per ").filter(|other| !other.contains(',')) else { continue };
        let text = format!(
            "On chords that horns and {other}s share at forte and louder, {:.2} horns stand against each {other}, in the median.",
            value.value
        );
        found.say("brass_weight", value, capital(&text), 0.48);
    }
}
