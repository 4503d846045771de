//! Who is held back, for what, and who plays only where another rests.

use std::collections::BTreeMap;

use ripieno_instruments::family::Family;
use ripieno_score::{BarIndex, DynamicLevel};

use super::Found;
use crate::measure::{Subject, Taken, Value};
use crate::measures::printed_levels;
use crate::noteworthy::course::Course;
use crate::noteworthy::marks::{FORGOTTEN, Sign};
use crate::noteworthy::words::{capital, counted, list, many, number, percent, the};
use crate::noteworthy::{of, one};

/// Whole bars of silence from which a late first entry is worth a sentence, and the share of the piece.
const LATE: (u32, f64) = (16, 0.08);
/// A section is rarely used below this share of the bars.
const RARELY: f64 = 0.25;

/// Sections that come in late or are rarely used; those with the same bars in one sentence.
pub(super) fn held_back(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let all = course.material.sounding.bars.len();
    let mut together: BTreeMap<&[u32], Vec<usize>> = BTreeMap::new();
    for (section, bars) in course.bars_of.iter().enumerate().filter(|(_, bars)| !bars.is_empty()) {
        together.entry(bars).or_default().push(section);
    }
    for (bars, sections) in together {
        let (Some(&first), Some(&section)) = (bars.first(), sections.first()) else { continue };
        // Soloists and choir are not one body; nor are the basses of a choir what an orchestra calls so.
        if sections.iter().any(|&section| course.family_of(section) == Family::Voice) {
            continue;
        }
        let names: Vec<&str> = sections.iter().map(|&section| course.section_name(section)).collect();
        let silent = course.rest(0..first);
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let (late, share) = (f64::from(silent) / all as f64, bars.len() as f64 / all as f64);
        let plural = many(&names);
        let (are, sound) = if plural { ("are", "sound") } else { ("is", "sounds") };
        let count = bars.len();
        let text = if silent >= LATE.0 && late >= LATE.1 {
            format!(
                "{} {are} silent for the first {silent} bars and {sound} in {count} of {all}{}.",
                capital(&the(&names)),
                stretches(bars)
            )
        } else if share < RARELY && count >= 2 {
            format!("{} {sound} in only {count} of {all} bars{}.", capital(&the(&names)), stretches(bars))
        } else {
            continue;
        };
        let Some(value) = one(taken, "presence", Subject::Section(section), "bars") else { continue };
        found.say("presence", value, text, 0.45 + 0.35 * late + 0.1 * (0.5 - share).max(0.0));
    }
}

/// Singers who come in late: soloists one by one, and the choir as one.
pub(super) fn singers(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let all = course.material.sounding.bars.len();
    let singing = |part: &usize| course.family_of(course.section_of[*part]) == Family::Voice && course.plays(*part);
    let voices: Vec<usize> = (0..course.section_of.len()).filter(singing).collect();
    let (soloists, choir): (Vec<usize>, Vec<usize>) = voices.into_iter().partition(|&part| course.is_soloist(part));
    let mut bodies: Vec<(String, &str, &[usize])> = Vec::new();
    if choir.len() > 1 {
        bodies.push(("The choir".to_owned(), "is", &choir));
    }
    let names: Vec<String> = soloists.iter().map(|&part| course.part_name(part)).collect();
    if soloists.len() > 1 {
        bodies.push((
            format!("The soloists ({})", list(&names.iter().map(String::as_str).collect::<Vec<_>>())),
            "are",
            &soloists,
        ));
    }
    for (name, are, parts) in bodies {
        let bars: Vec<u32> = (0u32..)
            .zip(&course.parts)
            .filter(|(_, sounds)| parts.iter().any(|&part| sounds[part]))
            .map(|(bar, _)| bar)
            .collect();
        let Some(&first) = bars.first() else { continue };
        let silent = course.rest(0..first);
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let late = f64::from(silent) / all as f64;
        let Some(value) = one(taken, "presence", Subject::Part(parts[0]), "bars").filter(|_| silent >= LATE.0 && late >= LATE.1)
        else {
            continue;
        };
        let sing = if are == "is" { "sings" } else { "sing" };
        let text =
            format!("{name} {are} silent for the first {silent} bars and {sing} in {} of {all}{}.", bars.len(), stretches(&bars));
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let share = bars.len() as f64 / all as f64;
        found.say_of("presence", (value.of, None, "singing", share), text, &bars, 0.45 + 0.35 * late);
    }
}

/// Bars of rest that part two stretches, and most stretches that are counted in words.
const STRETCHES: (u32, usize) = (8, 8);

/// ", in four stretches, the longest of 12 bars", where they are few.
fn stretches(bars: &[u32]) -> String {
    let stretches: Vec<u32> =
        bars.chunk_by(|a, b| b - a <= STRETCHES.0).filter_map(|run| Some(run.last()? - run.first()? + 1)).collect();
    let longest = stretches.iter().max().copied().unwrap_or(0) as usize;
    match stretches.len() {
        1 => format!(", in one stretch of {}", counted(longest, "bar")),
        count if count <= STRETCHES.1 => {
            format!(", in {} stretches with {} or more between them", number(count), counted(STRETCHES.0 as usize, "bar"))
        }
        _ => String::new(),
    }
}

/// Bars of some sections, and those of them that are loud.
type BarsAndLoud<'a> = (&'a [u32], &'a [u32]);

/// Sections that play less than their family and mostly where it is loud; those with the same bars in one sentence. Bars that are loud only by signs that
/// cannot be trusted any more ([`Marked`]) do not count.
pub(super) fn kept_for_loud_bars(course: &Course<'_>, taken: &[Taken], found: &mut Found<'_>) {
    let mut together: BTreeMap<BarsAndLoud<'_>, Vec<(usize, &Value)>> = BTreeMap::new();
    for value in of(taken, "reserve").iter().filter(|value| value.aspect == "in the loud bars") {
        let Subject::Section(section) = value.of else { continue };
        together.entry((&course.bars_of[section], &value.bars)).or_default().push((section, value));
    }
    let families = &course.material.groups.families;
    let marked: Vec<Marked> = families.iter().map(|group| Marked::new(course, group.family)).collect();
    for ((bars, loud), sections) in together {
        let Some(&(section, value)) = sections.first() else { continue };
        let family = course.family_of(section);
        let Some(index) = families.iter().position(|group| group.family == family) else { continue };
        let Some(usual) = one(taken, "reserve", Subject::Family(index), "loud bars") else { continue };
        let used = one(taken, "reserve", value.of, "use").map_or(1.0, |used| used.value);
        let known = &marked[index];
        // Loud is what the measure calls so, from the lowest such level that is printed: under a hairpin there are levels between.
        let from = usual.bars.iter().filter_map(|&bar| known.in_force[bar as usize]).reduce(f32::min);
        let signs = usual.bars.iter().filter_map(|&bar| known.sign[bar as usize]);
        let edge = signs.filter(|sign| from.is_some_and(|from| *sign >= from)).reduce(f32::min);
        let Some(edge) = edge else { continue };
        let is_loud = |bar: &u32| known.level[*bar as usize].is_some_and(|level| level >= edge);
        let loud: Vec<u32> = loud.iter().copied().filter(is_loud).collect();
        let all = bars.len();
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let (own, usual) = (
            loud.len() as f64 / all.max(1) as f64,
            usual.value * usual.bars.iter().filter(|bar| is_loud(bar)).count() as f64 / usual.bars.len().max(1) as f64,
        );
        if family == Family::Percussion
            || all < 8
            || used > 0.7
            || own < 0.5
            || own < usual * if family == Family::Brass { 1.4 } else { 1.7 }
        {
            continue;
        }
        let names: Vec<&str> = sections.iter().map(|&(section, _)| course.section_name(section)).collect();
        let count = if loud.len() == all { format!("All {all}") } else { format!("{} of the {all}", loud.len()) };
        let text = format!(
            "{count} bars of {} lie where the {} is at {} or louder ({}); of all bars of the {} {} do.",
            the(&names),
            family.name(),
            DynamicLevel(edge).mark(),
            percent(own),
            family.name(),
            percent(usual),
        );
        let about = (value.of, value.with, value.aspect.as_str(), value.value);
        found.say_of("reserve", about, text, &loud, 0.5 + 0.4 * (own - usual));
    }
}

/// By bar the loudest level in force for anyone of a family who sounds; and the loudest level and sign that can be trusted. Not trusted are signs after which
/// another part of the family has been given a softer one, and signs that stand more than [`FORGOTTEN`] bars back where their part has rested for a bar since or a
/// hairpin has come between: they say little of how loud it still is.
struct Marked {
    in_force: Vec<Option<f32>>,
    level: Vec<Option<f32>>,
    sign: Vec<Option<f32>>,
}

impl Marked {
    fn new(course: &Course<'_>, family: Family) -> Self {
        let material = course.material;
        let played = &material.sounding.bars;
        let levels = printed_levels(material);
        let is_member: Vec<bool> = course.section_of.iter().map(|&section| course.family_of(section) == family).collect();
        let mut signs: Vec<(usize, Sign)> = (0u32..)
            .zip(&course.signs)
            .filter_map(|(row, sign)| Some((material.part_of(row), (*sign)?)))
            .filter(|(part, _)| is_member[*part])
            .collect();
        signs.sort_unstable_by(|(a, one), (b, other)| {
            (one.place, a).cmp(&(other.place, b)).then_with(|| one.level.total_cmp(&other.level))
        });
        signs.dedup();
        let is_contradicted = |part: usize, sign: &Sign, bar: BarIndex| {
            let since = signs.partition_point(|(_, other)| other.place <= sign.place);
            let mut others = signs[since..].iter().take_while(|(_, other)| other.place.0 <= bar);
            others.any(|(other, softer)| *other != part && softer.level < sign.level)
        };
        let is_old = |sign: &Sign, bar: BarIndex| bar.at() > sign.place.0.at() + FORGOTTEN as usize;
        let none = || vec![None; played.len()];
        let mut found = Self { in_force: none(), level: none(), sign: none() };
        // Of each part the sign last in force, and the bar since which it has sounded in every bar.
        let mut last: Vec<Option<Sign>> = vec![None; is_member.len()];
        let mut since: Vec<u32> = vec![0; is_member.len()];
        let mut now = None;
        for (slice, rows) in material.slices.iter() {
            let at = slice.bar as usize;
            let bar = played[at].bar;
            if now.replace(slice.bar) != Some(slice.bar) {
                for (part, since) in since.iter_mut().enumerate() {
                    if at == 0 || !course.parts[at - 1][part] {
                        *since = slice.bar;
                    }
                }
            }
            for &row in rows {
                let part = material.part_of(row);
                if !is_member[part] {
                    continue;
                }
                let most = |known: Option<f32>, new: Option<f32>| known.into_iter().chain(new).reduce(f32::max);
                found.in_force[at] = most(found.in_force[at], levels[row as usize]);
                let own = course.signs[row as usize];
                last[part] = own.or(last[part]);
                let Some(sign) = last[part] else { continue };
                let plays_on = own.is_some() && played[since[part] as usize].bar <= sign.place.0;
                if is_contradicted(part, &sign, bar) || is_old(&sign, bar) && !plays_on {
                    continue;
                }
                found.level[at] = most(found.level[at], levels[row as usize]);
                found.sign[at] = most(found.sign[at], own.map(|own| own.level));
            }
        }
        found
    }
}

/// Sentences about parts that never meet.
const NEVER: usize = 4;

/// Parts that play only where another rests: of each the one partner that plays most, the fullest parts first, no more than a few.
pub(super) fn never_beside(course: &Course<'_>, found: &mut Found<'_>) {
    let bars: Vec<Vec<u32>> = (0..course.material.score.parts.len())
        .map(|part| (0u32..).zip(&course.parts).filter(|(_, parts)| parts[part]).map(|(bar, _)| bar).collect())
        .collect();
    let all = bars.iter().map(Vec::len).max().unwrap_or(0);
    let mut apart: Vec<(usize, usize)> = Vec::new();
    for (part, own) in bars.iter().enumerate().filter(|(_, own)| own.len() >= 8 && own.len() * 2 <= all) {
        let meets = |other: usize| own.iter().any(|bar| bars[other].binary_search(bar).is_ok());
        let partners = (0..bars.len()).filter(|&other| other != part && bars[other].len() * 4 >= all && !meets(other));
        // Two parts that never meet are told once.
        let new = partners.filter(|&other| !apart.contains(&(other, part)));
        apart.extend(new.max_by_key(|&other| (bars[other].len(), std::cmp::Reverse(other))).map(|other| (part, other)));
    }
    apart.sort_by_key(|&(part, _)| (std::cmp::Reverse(bars[part].len()), part));
    for (part, other) in apart.into_iter().take(NEVER) {
        let own = &bars[part];
        let (name, beside) = (found.name(Subject::Part(part)), found.name(Subject::Part(other)));
        let text = format!(
            "{name} sounds in {} of {} bars, always where {beside} rests.",
            own.len(),
            course.material.sounding.bars.len()
        );
        let about = (Subject::Part(part), Some(Subject::Part(other)), "never beside", 1.0);
        found.say_of("presence", about, text, own, 0.75);
    }
}
