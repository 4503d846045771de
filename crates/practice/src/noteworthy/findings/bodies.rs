//! How the groups stand together: the full brass, sections that split, neighbours in register, who plays whose line.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::{Family, Section};

use super::Found;
use crate::attacks::begun_at;
use crate::measure::{Subject, Taken, Value};
use crate::measures::{RHYTHMS, is_one_rhythm, octaves};
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{capital, interval, list, percent, semitones};
use crate::noteworthy::{of as of_measure, one};

/// Where all of the brass sounds, and whether it is one chord then.
pub(super) fn full_brass(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for value in of_measure(taken, "stack").iter().filter(|value| value.aspect == "tutti bars") {
        let Subject::Family(family) = value.of else { continue };
        if course.material.groups.families[family].family != Family::Brass {
            continue;
        }
        let (count, all) = (value.bars.len(), course.material.sounding.bars.len());
        let text = format!("All sections of the brass sound in {count} of {all} bars.");
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let share = count as f64 / all as f64;
        found.say("stack", value, text, 0.6 + 0.2 * (0.5 - share).max(0.0));
        let member = course.material.members(value.of);
        let together: Vec<u32> = value.bars.iter().copied().filter(|&bar| is_one_rhythm(course.material, &member, bar)).collect();
        if together.len() >= 2 && value.bars.len() >= 8 {
            let share = ratio(together.len(), count);
            let text = format!(
                "In {} of the {count} bars in which all sections of the brass sound, they move in one rhythm ({}); in the others the lines of the brass part.",
                together.len(),
                percent(share)
            );
            found.say_of("stack", (value.of, None, "one rhythm", share), text, &together, 0.55);
        }
    }
}

/// Sections of wind and brass whose lines often part in rhythm, and large ones that never do.
pub(super) fn cohesion(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for value in of_measure(taken, "cohesion").iter().filter(|value| value.aspect == RHYTHMS) {
        let Subject::Section(section) = value.of else { continue };
        let Some(whole) = one(taken, "cohesion", value.of, "several lines, of all its time") else { continue };
        let name = course.section_name(section);
        if !matches!(course.family_of(section), Family::Woodwind | Family::Brass) || whole.bars.len() < 16 {
            continue;
        }
        let lines = course.lines_of_section(section).len();
        let (apart, all) = (value.bars.len(), whole.bars.len());
        if apart == 0 && lines >= 3 {
            let text = format!("In all {all} bars in which lines of the {name} sound together, these move in one rhythm.");
            let about = (value.of, None, RHYTHMS, value.value);
            found.say_of("cohesion", about, text, &whole.bars, 0.36);
        } else if apart >= 8 && value.value >= 0.35 {
            let share = percent(value.value);
            let text = format!(
                "In {apart} of the {all} bars in which lines of the {name} sound together, their rhythms part ({share})."
            );
            found.say("cohesion", value, text, 0.36 + 0.25 * value.value);
        }
    }
}

/// Neighbours of the brass, and the families, that mostly overlap or keep a wide distance.
pub(super) fn neighbours(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    for value in of_measure(taken, "separation") {
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
        } else if value.aspect == "apart" && value.value >= 0.9 && !lowest_brass(course, section, with) {
            let usual = of_measure(taken, "separation")
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

/// Trombones above a tuba: that they keep apart goes without saying.
fn lowest_brass(course: &Course<'_>, section: usize, with: Subject) -> bool {
    let Subject::Section(other) = with else { return false };
    [section, other].iter().any(|&section| course.section_name(section) == Section::Tubas.name())
}

/// Share of its notes that a part or section has to have in common with another to be told, and notes it has to have.
const COMMON: (f64, usize) = (0.5, 60);
/// Doublings told.
const DOUBLINGS: usize = 5;

/// Notes of one part, and how many of them each section begins with it, by interval from it.
struct PartNotes {
    part: usize,
    notes: usize,
    with: BTreeMap<(usize, i16), (usize, Vec<u32>)>,
}

/// Wind that begins most of its notes with a section of another family in unison or at one octave: the whole section where each of its parts does, else the
/// parts that do.
pub(super) fn doublings(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let mut told: Vec<(f64, Sharing)> = Vec::new();
    for section in 0..course.bars_of.len() {
        let group = &course.material.groups.sections[section];
        let parts: Vec<PartNotes> = group.parts.iter().map(|&part| part_notes(course, part)).filter(|of| of.notes > 0).collect();
        let partners: BTreeSet<(usize, i16)> = parts.iter().flat_map(|of| of.with.keys().copied()).collect();
        let share = |of: &PartNotes, key: &(usize, i16)| ratio(of.with.get(key).map_or(0, |with| with.0), of.notes);
        let mut best: Option<(f64, Sharing)> = None;
        for key in partners.into_iter().filter(|&(other, _)| worth_telling(course, section, other)) {
            let those: Vec<&PartNotes> = parts.iter().filter(|of| share(of, &key) >= COMMON.0).collect();
            let notes: usize = those.iter().map(|of| of.notes).sum();
            let shared: usize = those.iter().filter_map(|of| of.with.get(&key)).map(|with| with.0).sum();
            if notes < COMMON.1 {
                continue;
            }
            let mut bars: Vec<u32> =
                those.iter().filter_map(|of| of.with.get(&key)).flat_map(|with| with.1.iter().copied()).collect();
            bars.sort_unstable();
            bars.dedup();
            let all = those.len() == parts.len();
            let sharing = Sharing { section, key, parts: those.iter().map(|of| of.part).collect(), all, notes, shared, bars };
            let of = ratio(shared, notes);
            if best.as_ref().is_none_or(|(known, _)| of > *known) {
                best = Some((of, sharing));
            }
        }
        told.extend(best);
    }
    told.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.section.cmp(&b.1.section)));
    for (of, sharing) in told.into_iter().take(DOUBLINGS) {
        sharing.tell(course, taken, found, of);
    }
}

/// Parts of a section that share their notes with another section.
struct Sharing {
    section: usize,
    key: (usize, i16),
    parts: Vec<usize>,
    all: bool,
    notes: usize,
    shared: usize,
    bars: Vec<u32>,
}

impl Sharing {
    fn tell(&self, course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>, of: f64) {
        let (other, interval) = self.key;
        let aspect = octaves(interval);
        let place = match interval {
            0 => "in unison".to_owned(),
            -12 | 12 => format!("an {aspect}"),
            _ => aspect,
        };
        let names: Vec<String> = self.parts.iter().map(|&part| course.part_name(part)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let who = if self.all { format!("the {}", course.section_name(self.section)) } else { list(&names) };
        let begin = if self.all || names.len() > 1 { "begin" } else { "begins" };
        let (notes, shared, percent) = (self.notes, self.shared, percent(of));
        let with_whom = course.section_name(other);
        let text = format!(
            "With {shared} of the {notes} notes that {who} {begin}, the {with_whom} begin the same note {place} ({percent})."
        );
        let text = text.replace("the same note in unison", "the same note");
        let (own, with) = (Subject::Section(self.section), Subject::Section(other));
        let pair = |value: &&Value| {
            value.aspect == "any interval"
                && ((value.of, value.with) == (own, Some(with)) || (value.of, value.with) == (with, Some(own)))
        };
        let number = of_measure(taken, "doubled_sections").iter().find(pair).map_or(of, |value| value.value);
        found.say_of("doubled_sections", (own, Some(with), "any interval", number), text, &self.bars, 0.3 + 0.25 * of);
    }
}

/// Wind beside another family: within a family doubling is the custom of the orchestra.
fn worth_telling(course: &Course<'_>, section: usize, other: usize) -> bool {
    let families = [course.family_of(section), course.family_of(other)];
    !families.contains(&Family::Percussion)
        && matches!(families[0], Family::Woodwind | Family::Brass)
        && families[0] != families[1]
}

#[allow(clippy::cast_precision_loss)] // notes of a score
fn ratio(part: usize, whole: usize) -> f64 {
    part as f64 / whole.max(1) as f64
}

/// Counts the notes of a part, those that begin together in one line as one, and those that other sections begin at the same moment in unison or octaves with the highest of them.
fn part_notes(course: &Course<'_>, part: usize) -> PartNotes {
    let lines = &course.material.lines.lines;
    let mut of = PartNotes { part, notes: 0, with: BTreeMap::new() };
    let own = course.section_of[part];
    let mut here: Vec<(usize, i16)> = Vec::new();
    for line in lines.iter().filter(|line| line.part == part) {
        for attack in &line.attacks {
            let Some(key) = attack.top else { continue };
            of.notes += 1;
            here.clear();
            for other in lines.iter().filter(|other| course.section_of[other.part] != own) {
                let Some(begun) = begun_at(&other.attacks, attack.onset) else { continue };
                let theirs = [begun.top, begun.bottom].into_iter().flatten();
                here.extend(theirs.map(|theirs| (course.section_of[other.part], i16::from(theirs) - i16::from(key))));
            }
            here.retain(|(_, interval)| interval % 12 == 0);
            here.sort_unstable();
            here.dedup();
            for key in &here {
                let with = of.with.entry(*key).or_default();
                with.0 += 1;
                with.1.push(attack.bar);
            }
        }
    }
    of
}

/// How many horns stand against each trombone and trumpet.
pub(super) fn horns_against_others(taken: &[Taken], found: &mut Found<'_>) {
    for value in of_measure(taken, "brass_weight").iter().filter(|value| value.with.is_none()) {
        let Some(other) = value.aspect.strip_prefix("horns per ").filter(|other| !other.contains(',')) else { continue };
        let text = format!(
            "On chords that horns and {other}s share at forte and louder, {:.2} horns stand against each {other}, in the median.",
            value.value
        );
        found.say("brass_weight", value, capital(&text), 0.48);
    }
}

/// Bars in which a family has to sound alone to be told.
const ALONE: usize = 4;

/// Families that sound without any other in some bars, not in most.
pub(super) fn families_alone(course: &Course<'_>, found: &mut Found<'_>) {
    let families = &course.material.groups.families;
    let of_part = course.material.groups.family_of_parts();
    let mut alone: Vec<Vec<u32>> = vec![Vec::new(); families.len()];
    for (bar, parts) in (0u32..).zip(&course.parts) {
        let here: BTreeSet<usize> = (0..parts.len()).filter(|&part| parts[part]).map(|part| of_part[part]).collect();
        if let [family] = here.into_iter().collect::<Vec<_>>()[..] {
            alone[family].push(bar);
        }
    }
    let all = course.parts.len();
    for (index, bars) in alone.iter().enumerate().filter(|(_, bars)| bars.len() >= ALONE && bars.len() * 2 < all) {
        if families.len() < 2 {
            continue;
        }
        let name = families[index].name;
        let share = ratio(bars.len(), all);
        let text = format!(
            "In {} of {all} bars the {name} sound{} and nobody else does.",
            bars.len(),
            if crate::noteworthy::words::many(&[name]) { "" } else { "s" }
        );
        found.say_of("presence", (Subject::Family(index), None, "alone", share), text, bars, 0.5 - 0.2 * share);
    }
}

/// Sections of brass, and timpani, that hardly sound without another of them.
pub(super) fn company(course: &Course<'_>, found: &mut Found<'_>) {
    let name = |section: usize| course.section_name(section);
    let told: Vec<usize> = (0..course.bars_of.len())
        .filter(|&section| course.family_of(section) == Family::Brass || name(section) == Section::Timpani.name())
        .filter(|&section| course.bars_of[section].len() >= 12)
        .collect();
    for &section in &told {
        let own = &course.bars_of[section];
        let with = |other: usize| own.iter().filter(|bar| course.bars_of[other].binary_search(bar).is_ok()).count();
        // The rarest of those who are always there says most.
        let others = told.iter().copied().filter(|&other| other != section && course.bars_of[other].len() >= own.len());
        let best =
            others.filter(|&other| with(other) * 20 >= own.len() * 19).min_by_key(|&other| (course.bars_of[other].len(), other));
        let Some(other) = best.filter(|&other| course.bars_of[other].len() * 5 < course.parts.len() * 3) else { continue };
        let count = with(other);
        let text = if count == own.len() {
            format!("In all {count} bars of the {} the {} sound too.", name(section), name(other))
        } else {
            format!("In {count} of the {} bars of the {} the {} sound too.", own.len(), name(section), name(other))
        };
        let bars: Vec<u32> = own.iter().copied().filter(|bar| course.bars_of[other].binary_search(bar).is_ok()).collect();
        let about = (Subject::Section(section), Some(Subject::Section(other)), "in company", ratio(count, own.len()));
        found.say_of("presence", about, text, &bars, 0.42);
    }
}
