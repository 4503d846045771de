//! The brass: where all of it sounds, how its sections lie, whether they move as one, how many stand against how many.

use ripieno_instruments::family::{Family, Section};

use super::Found;
use super::bodies::ratio;
use crate::measure::{Subject, Taken, Value};
use crate::measures::{RHYTHMS, SEVERAL};
use crate::noteworthy::course::Course;
use crate::noteworthy::of as of_measure;
use crate::noteworthy::words::{capital, interval, number, percent, the};

/// Share of the bars up to which the whole brass is worth a sentence, and sections it has to have.
const FULL: (f64, usize) = (0.25, 3);

/// Where all of the brass sounds, if that is seldom.
pub(super) fn full_brass(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for value in of_measure(taken, "stack").iter().filter(|value| value.aspect == "tutti bars") {
        let Subject::Family(family) = value.of else { continue };
        let group = &course.material.groups.families[family];
        let sections: Vec<&str> = (0..course.bars_of.len())
            .filter(|&section| course.family_of(section) == Family::Brass && !course.bars_of[section].is_empty())
            .map(|section| course.section_name(section))
            .collect();
        if group.family != Family::Brass || sections.len() < FULL.1 || value.bars.is_empty() {
            continue;
        }
        let (count, all) = (value.bars.len(), course.material.sounding.bars.len());
        let share = ratio(count, all);
        if share <= FULL.0 {
            let text = format!("{} sound together in only {count} of {all} bars ({}).", capital(&the(&sections)), percent(share));
            found.say("stack", value, text, 0.62 + 0.6 * (FULL.0 - share));
        }
    }
}

/// Share of their bars up to which the horns are seldom all there.
const ALL_HORNS: f64 = 0.35;

/// How often all parts of the horns sound, where there are more than a pair.
pub(super) fn horns(course: &Course<'_>, found: &mut Found<'_>) {
    let Some(horns) = (0..course.bars_of.len()).find(|&section| course.section_name(section) == Section::Horns.name()) else {
        return;
    };
    let parts: Vec<usize> =
        course.material.groups.sections[horns].parts.iter().copied().filter(|&part| course.plays(part)).collect();
    let bars = &course.bars_of[horns];
    if parts.len() < 3 || bars.len() < 16 {
        return;
    }
    let sounding = |bar: u32| parts.iter().filter(|&&part| course.parts[bar as usize][part]).count();
    let full: Vec<u32> = bars.iter().copied().filter(|&bar| sounding(bar) == parts.len()).collect();
    let few = bars.iter().filter(|&&bar| sounding(bar) * 2 <= parts.len()).count();
    let share = ratio(full.len(), bars.len());
    if share <= ALL_HORNS && full.len() >= 2 {
        let text = format!(
            "All {} parts of the horns sound in {} of their {} bars ({}); in {few} half of the parts or fewer do.",
            number(parts.len()),
            full.len(),
            bars.len(),
            percent(share)
        );
        found.say_of("presence", (Subject::Section(horns), None, "all parts", share), text, &full, 0.55);
    }
}

/// How many horns stand against how many trombones most of the time, where the page settles how many play.
pub(super) fn horns_against_others(taken: &[Taken], found: &mut Found<'_>) {
    let weight = of_measure(taken, "brass_weight");
    let trombones = |value: &&Value| value.aspect.ends_with(" trombone") || value.aspect.ends_with(" trombones");
    let usual = weight.iter().filter(trombones).filter(|value| value.aspect.contains(" to ") && !value.aspect.contains('-'));
    let Some(usual) =
        usual.max_by(|a, b| a.value.total_cmp(&b.value)).filter(|usual| usual.value >= 0.4 && usual.bars.len() >= 4)
    else {
        return;
    };
    let text = format!(
        "Where horns and trombones share a chord at f or louder, {} stand against {} most of the time ({}).",
        usual.aspect.split(" to ").next().unwrap_or_default(),
        usual.aspect.split(" to ").nth(1).unwrap_or_default(),
        percent(usual.value)
    );
    found.say("brass_weight", usual, text, 0.6);
}

/// Bars in which all of the brass has to sound for a sentence on how it moves together.
const TOGETHER: usize = 8;

/// Whether the whole brass is one stack or several things at once.
pub(super) fn stack(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let values = of_measure(taken, "stack");
    let brass = |value: &&Value| matches!(value.of, Subject::Family(family) if course.material.groups.families[family].family == Family::Brass);
    let own: Vec<&Value> = values.iter().filter(brass).collect();
    let Some(full) = own.iter().find(|value| value.aspect == "tutti bars").filter(|full| full.bars.len() >= TOGETHER) else {
        return;
    };
    let of = |is: &dyn Fn(&str) -> bool| own.iter().filter(|value| is(&value.aspect)).map(|value| value.value).sum::<f64>();
    let (split, one) = (of(&|aspect| aspect.starts_with("split")), of(&|aspect| aspect == "one stack"));
    let text = format!(
        "The whole brass sounds in {} bars; for {} of that time it is one stack, a chord in one rhythm, and for {} its lines part in rhythm.",
        full.bars.len(),
        percent(one),
        percent(split)
    );
    found.say_of("stack", (full.of, None, "one stack", one), text, &full.bars, 0.5 + 0.1 * (one - split).abs());
}

/// Share of their common bars up to which players of a section seldom part, and from which they mostly do; and sentences told.
const PART: (f64, f64, usize) = (0.15, 0.6, 2);

/// Sections of brass that nearly always move in one rhythm, or seldom do.
pub(super) fn rhythms(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let mut told: Vec<(f64, &Value, usize, &[u32])> = Vec::new();
    let values = of_measure(taken, "cohesion");
    for value in values.iter().filter(|value| value.aspect == RHYTHMS) {
        let Subject::Section(section) = value.of else { continue };
        // The share is of the bars in which two lines and more sound at once.
        let Some(common) = values.iter().find(|several| several.of == value.of && several.aspect == SEVERAL) else { continue };
        if course.family_of(section) == Family::Brass
            && common.bars.len() >= 2 * TOGETHER
            && (value.value <= PART.0 || value.value >= PART.1)
        {
            told.push(((value.value - 0.5).abs(), value, section, &common.bars));
        }
    }
    told.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.2.cmp(&b.2)));
    for (_, value, section, common) in told.into_iter().take(PART.2) {
        let (several, section) = (common.len(), course.section_name(section));
        let which = format!("of the {several} bars in which at least two lines of the {section} sound at once");
        if value.bars.is_empty() {
            let text = format!("In none {which} do they move in different rhythms.");
            found.say_of("cohesion", (value.of, None, RHYTHMS, value.value), text, common, 0.5);
            continue;
        }
        let only = if value.value <= PART.0 { "only " } else { "" };
        let share = percent(value.value);
        let text = format!("In {only}{} {which} they move in different rhythms ({share}).", value.bars.len());
        found.say("cohesion", value, text, 0.5);
    }
}

/// Share of the piece for which two sections of brass have to be neighbours in register for a sentence on how they lie.
const NEIGHBOURS: f64 = 0.04;

/// How horns and trombones, horns and trumpets lie where they are neighbours in register: of the pair that is longest.
pub(super) fn separation(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let values = of_measure(taken, "separation");
    let brass = |subject: Subject| matches!(subject, Subject::Section(section) if course.family_of(section) == Family::Brass);
    let usual = values.iter().filter(|value| value.aspect == "usual interval" && brass(value.of));
    let Some(usual) = usual.max_by_key(|value| (value.bars.len(), std::cmp::Reverse((value.of, value.with)))) else { return };
    if ratio(usual.bars.len(), course.parts.len()) < NEIGHBOURS {
        return;
    }
    let of =
        |aspect: &str| values.iter().find(|value| (value.of, value.with) == (usual.of, usual.with) && value.aspect == aspect);
    let (Some(apart), Some(touching), Some(overlapping), Some(with)) =
        (of("apart"), of("touching"), of("overlapping"), usual.with)
    else {
        return;
    };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // semitones
    let size = |value: f64| interval(value.abs() as u32);
    let widest = of("widest gap").map_or_else(String::new, |gap| format!(", the widest gap {}", size(gap.value)));
    let deepest =
        of("deepest overlap").map_or_else(String::new, |overlap| format!(", the deepest overlap {}", size(overlap.value)));
    let text = format!(
        "Where the {} and the {} are neighbours in register, they overlap for {} of the time, touch for {} and lie apart for {}{widest}{deepest}.",
        course.material.name(usual.of),
        course.material.name(with),
        percent(overlapping.value),
        percent(touching.value),
        percent(apart.value)
    );
    found.say("separation", usual, text, 0.55);
}
