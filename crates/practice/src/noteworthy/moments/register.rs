//! Moments of register: the widest hole in the sound and the deepest overlap of neighbours, each lasting at least a bar.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_instruments::family::{Family, Section};
use ripieno_score::Crotchets;

use super::Moment;
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{capital, counted, crotchets, interval};
use crate::slices::Slice;

/// Parts that have to sound for a hole among them to be heard as one.
const PARTS: usize = 4;
/// The least hole worth a mention: an octave and a minor third.
const HOLE: i32 = 15;
/// The widest looked for, the keyboard.
const KEYS: i32 = 127;

/// A distance that stays open for a while: at least so wide, from when to when, in which bars.
struct Lasting {
    size: i32,
    bars: Range<u32>,
    /// Index of the slice in which it begins.
    first: usize,
}

/// The largest size that a fact of each slice reaches without a break for at least a bar; the longest such stretch, the first of equals.
fn lasting(course: &Course<'_>, facts: &[Option<i32>], least: i32) -> Option<Lasting> {
    let slices = &course.material.slices.slices;
    let bar_of = |slice: &Slice| course.material.sounding.bars.get(slice.bar as usize).map_or(Crotchets::ZERO, |bar| bar.length);
    let largest = facts.iter().flatten().copied().max().unwrap_or(0).min(KEYS);
    for size in (least..=largest).rev() {
        let mut best: Option<(Crotchets, Lasting)> = None;
        let mut at = 0;
        while at < facts.len() {
            if facts[at].is_none_or(|fact| fact < size) {
                at += 1;
                continue;
            }
            let end = at + facts[at..].iter().take_while(|fact| fact.is_some_and(|fact| fact >= size)).count();
            let (first, last) = (&slices[at], &slices[end - 1]);
            let time = last.to - first.from;
            if time >= bar_of(first) && best.as_ref().is_none_or(|(longest, _)| time > *longest) {
                best = Some((time, Lasting { size, bars: first.bar..last.bar + 1, first: at }));
            }
            at = end;
        }
        if let Some((_, found)) = best {
            return Some(found);
        }
    }
    None
}

/// The widest hole between sounding notes of the whole orchestra that lasts at least a bar.
pub(super) fn holes(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let pitched = |part: usize| course.family_of(course.section_of[part]) != Family::Percussion;
    let sorted = |rows: &[u32]| {
        let mut keys: Vec<(i32, usize)> = rows
            .iter()
            .filter_map(|&row| Some((material.key_of(row)?, material.part_of(row))))
            .filter(|key| pitched(key.1))
            .collect();
        keys.sort_unstable();
        keys
    };
    let widest = |keys: &[(i32, usize)]| keys.windows(2).map(|pair| pair[1].0 - pair[0].0).max();
    let facts: Vec<Option<i32>> = material
        .slices
        .iter()
        .map(|(_, rows)| {
            let keys = sorted(rows);
            let mut parts: Vec<usize> = keys.iter().map(|key| key.1).collect();
            parts.sort_unstable();
            parts.dedup();
            widest(&keys).filter(|_| parts.len() >= PARTS)
        })
        .collect();
    let Some(hole) = lasting(course, &facts, HOLE) else { return };
    let keys = sorted(material.slices.rows(&material.slices.slices[hole.first]));
    let Some(edge) = keys.windows(2).position(|pair| Some(pair[1].0 - pair[0].0) == widest(&keys)) else { return };
    // Who stays above it and who below, all the while.
    let (bottom, top) = (keys[edge].0, keys[edge + 1].0);
    let (mut above, mut below): (BTreeSet<usize>, BTreeSet<usize>) = (BTreeSet::new(), BTreeSet::new());
    for (slice, fact) in material.slices.slices.iter().zip(&facts).skip(hole.first) {
        if fact.is_none_or(|fact| fact < hole.size) {
            break;
        }
        let keys = sorted(material.slices.rows(slice));
        let Some(edge) = keys.windows(2).position(|pair| Some(pair[1].0 - pair[0].0) == widest(&keys)) else { break };
        below.extend(keys[..=edge].iter().map(|key| key.1));
        above.extend(keys[edge + 1..].iter().map(|key| key.1));
    }
    if !above.is_disjoint(&below) {
        return;
    }
    let bars = hole.bars.clone();
    let spelled = |key: i32| u8::try_from(key).map_or_else(|_| String::new(), |key| course.spelled(key, &bars));
    // A note held into the stretch is spelled where it begins.
    let edges = match (spelled(bottom), spelled(top)) {
        (low, high) if low.is_empty() || high.is_empty() => String::new(),
        (low, high) => format!(", between {low} and {high} where it begins"),
    };
    let reason = format!(
        "A hole of {} or more stays open in the sound{edges}. Above it: {}; below it: {}.",
        interval(hole.size.unsigned_abs()),
        course.who_list(&above),
        course.who_list(&below)
    );
    found.push(Moment { kind: "widest gap", bars: hole.bars, reason, weight: 0.5 });
}

/// Semitones from which an overlap is worth a mention.
const OVERLAP: i32 = 7;

/// The deepest overlap of two sections of brass (of strings, where there are no two of brass) that lasts at least a bar.
pub(super) fn overlaps(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let sections_of =
        |family: Family| (0..course.bars_of.len()).filter(|&section| course.family_of(section) == family).collect::<Vec<_>>();
    let mut family = Family::Brass;
    let mut sections = sections_of(family);
    if sections.len() < 2 {
        family = Family::Strings;
        sections = sections_of(family);
    }
    let bands: Vec<Vec<Option<(i32, i32)>>> = material
        .slices
        .iter()
        .map(|(_, rows)| {
            let mut bands = vec![None; course.bars_of.len()];
            for &row in rows {
                let Some(key) = material.key_of(row) else { continue };
                let band: &mut Option<(i32, i32)> = &mut bands[course.section_of[material.part_of(row)]];
                *band = Some(band.map_or((key, key), |(low, high)| (low.min(key), high.max(key))));
            }
            bands
        })
        .collect();
    let mut best: Option<(Lasting, usize, usize)> = None;
    for (place, &a) in sections.iter().enumerate() {
        for &b in &sections[place + 1..] {
            let facts: Vec<Option<i32>> = bands.iter().map(|bands| Some(overlap(bands[a]?, bands[b]?))).collect();
            let deeper = best.as_ref().map_or(1, |(known, ..)| known.size + 1);
            if let Some(found) = lasting(course, &facts, deeper) {
                best = Some((found, a, b));
            }
        }
    }
    let Some((deepest, a, b)) = best else { return };
    // One held chord is a matter of its voicing.
    if deepest.size < OVERLAP || deepest.bars.len() < 2 {
        return;
    }
    let slices = material.slices.iter().zip(&bands).skip(deepest.first);
    let here: Vec<_> = slices.take_while(|((slice, _), _)| deepest.bars.contains(&slice.bar)).map(|(_, bands)| bands).collect();
    let range = |of: usize| {
        let band = here.iter().filter_map(|bands| bands[of]).reduce(|x, y| (x.0.min(y.0), x.1.max(y.1)));
        let name = |key: i32| u8::try_from(key).map_or_else(|_| String::new(), |key| course.spelled(key, &deepest.bars));
        match band.map(|(low, high)| (name(low), name(high))) {
            Some((low, high)) if !low.is_empty() && !high.is_empty() => format!(" ({low} to {high})"),
            _ => String::new(),
        }
    };
    let reason = format!(
        "The {}{} and the {}{} share {} or more of their register all the while{}, the deepest lasting overlap in the {}.",
        course.section_name(a),
        range(a),
        course.section_name(b),
        range(b),
        interval(deepest.size.unsigned_abs()),
        course.mark(deepest.bars.clone()),
        family.name()
    );
    found.push(Moment { kind: "deepest overlap", bars: deepest.bars, reason: capital(&reason), weight: 0.48 });
}

/// By how much two bands overlap; 0 or below when they keep apart.
fn overlap(a: (i32, i32), b: (i32, i32)) -> i32 {
    a.1.min(b.1) - a.0.max(b.0)
}

/// Crotchets for which one section has to lie above another, and crossings told.
const CROSSING: (i64, usize) = (8, 3);
/// Sections of one family from above, as they lie by custom.
const FROM_ABOVE: [&[Section]; 3] = [
    &[Section::Flutes, Section::Oboes, Section::Clarinets, Section::Bassoons],
    &[Section::Trumpets, Section::Horns, Section::Trombones, Section::Tubas],
    &[Section::Violins, Section::Violas, Section::Cellos, Section::DoubleBasses],
];

/// Where a section lies wholly above one that lies above it by custom: cellos over violas, horns over trumpets.
pub(super) fn crossings(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let section = |of: Section| (0..course.bars_of.len()).find(|&section| course.section_name(section) == of.name());
    let chief = chief_instruments(course);
    let mut crossings: Vec<(Crotchets, Moment)> = Vec::new();
    for order in FROM_ABOVE {
        for pair in order.windows(2) {
            let (Some(upper), Some(lower)) = (section(pair[0]), section(pair[1])) else { continue };
            let mut best: Option<(Crotchets, usize, usize, i32)> = None;
            let mut now: Option<(Crotchets, usize, usize, i32)> = None;
            for (at, (slice, rows)) in material.slices.iter().enumerate() {
                let keys = |of: usize| {
                    let chief = &chief;
                    rows.iter()
                        .filter(move |&&row| course.section_of[material.part_of(row)] == of && chief[row as usize])
                        .filter_map(|&row| material.key_of(row))
                };
                let distance = keys(lower).min().zip(keys(upper).max()).map(|(low, high)| low - high);
                now = match (now.take(), distance) {
                    (Some((time, first, _, least)), Some(distance)) if distance > 0 => {
                        Some((time + slice.length(), first, at, least.min(distance)))
                    }
                    (None, Some(distance)) if distance > 0 => Some((slice.length(), at, at, distance)),
                    _ => None,
                };
                if let Some(now) = now.filter(|now| best.is_none_or(|best| now.0 > best.0)) {
                    best = Some(now);
                }
            }
            let Some((time, first, last, least)) = best.filter(|best| best.0 >= Crotchets::whole(CROSSING.0)) else { continue };
            let (first, last) = (&material.slices.slices[first], &material.slices.slices[last]);
            let bars = first.bar..last.bar + 1;
            let leads =
                course.tasks.leader(&bars).is_some_and(|line| course.section_of[material.lines.lines[line].part] == lower);
            let leads = if leads { format!("; the {} have the melody", course.section_name(lower)) } else { String::new() };
            let reason = format!(
                "The {} lie above the {}, for {} on end, by {} or more{}{leads}.",
                course.section_name(lower),
                course.section_name(upper),
                crotchets(time),
                interval(least.unsigned_abs()),
                course.mark(bars.clone())
            );
            crossings.push((time, Moment { kind: "crossed sections", bars, reason, weight: 0.52 }));
        }
    }
    crossings.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.bars.start.cmp(&b.1.bars.start)));
    found.extend(crossings.into_iter().take(CROSSING.1).map(|(_, moment)| moment));
}

/// By row whether it is played on the chief instrument of its section: an English horn that an oboist takes is no oboe.
fn chief_instruments(course: &Course<'_>) -> Vec<bool> {
    let material = course.material;
    let id = |part: usize| material.groups.parts[part].instrument.map(|instrument| instrument.id.as_str());
    let mut chief = vec![true; material.sounding.notes.len()];
    for section in &material.groups.sections {
        let first = section.parts.iter().copied().find(|&part| course.plays(part)).and_then(id);
        for &part in &section.parts {
            // A part begins on its own instrument.
            let rows = material.sounding.notes.of_part[part].clone();
            let own = material.sounding.notes.instrument.get(rows.start).copied();
            for row in rows {
                chief[row] = id(part) == first && Some(material.sounding.notes.instrument[row]) == own;
            }
        }
    }
    chief
}

/// Bars that a pedal has to last, pitch classes that have to sound above it, and pedals told.
const PEDAL: (usize, usize, usize) = (6, 6, 2);

/// The longest stretches of whole bars whose lowest note never changes, octaves aside, while others move above it.
pub(super) fn pedals(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let bars = material.sounding.bars.len();
    // By bar the classes of the lowest notes, and all classes.
    let mut lowest: Vec<BTreeSet<i32>> = vec![BTreeSet::new(); bars];
    let mut above: Vec<BTreeSet<i32>> = vec![BTreeSet::new(); bars];
    for (slice, rows) in material.slices.iter() {
        let keys = || rows.iter().filter_map(|&row| material.key_of(row));
        let Some(low) = keys().min() else { continue };
        lowest[slice.bar as usize].insert(low % 12);
        above[slice.bar as usize].extend(keys().map(|key| key % 12));
    }
    let mut stretches: Vec<(Range<u32>, i32)> = Vec::new();
    let mut at = 0;
    while at < bars {
        let one = |bar: usize| (lowest[bar].len() == 1).then(|| lowest[bar].first().copied()).flatten();
        let Some(class) = one(at) else {
            at += 1;
            continue;
        };
        let end = (at..bars).find(|&bar| one(bar) != Some(class)).unwrap_or(bars);
        let all: BTreeSet<i32> = above[at..end].iter().flatten().copied().collect();
        if end - at >= PEDAL.0 && all.len() >= PEDAL.1 {
            stretches.push((u32::try_from(at).unwrap_or(0)..u32::try_from(end).unwrap_or(0), class));
        }
        at = end;
    }
    stretches.sort_by_key(|(run, _)| (std::cmp::Reverse(run.len()), run.start));
    for (run, class) in stretches.into_iter().take(PEDAL.2) {
        // Who plays nothing else, in half of the bars at least.
        let notes = &material.sounding.notes;
        let mut holders: BTreeSet<usize> = BTreeSet::new();
        let mut name = String::new();
        for part in 0..course.section_of.len() {
            let rows = notes.of_part[part].clone().filter(|&row| run.contains(&notes.bar[row]));
            let keys: Vec<(i32, usize)> = rows.filter_map(|row| Some((i32::from(notes.key[row]?.number()), row))).collect();
            let bars = run.clone().filter(|&bar| course.parts[bar as usize][part]).count();
            if keys.iter().all(|(key, _)| key % 12 == class)
                && bars * 2 >= run.len()
                && (!keys.is_empty() || holds(course, part, &run, class))
            {
                holders.insert(part);
            }
            if let Some(&(_, row)) = keys.iter().find(|(key, _)| key % 12 == class) {
                let pitch = notes.pitch[row].to_string();
                name = pitch.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-').replace('#', "♯").replace('b', "♭");
            }
        }
        if holders.is_empty() || name.is_empty() {
            continue;
        }
        let reason = format!(
            "{name} is the lowest note throughout, a pedal of {}{}: {} nothing else.",
            counted(run.len(), "bar"),
            course.mark(run.clone()),
            course.who_do(&holders, ["plays", "play"])
        );
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let weight = 0.48 + 0.25 * (run.len() as f64 / 24.0).min(1.0);
        found.push(Moment { kind: "pedal", bars: run, reason, weight });
    }
}

/// Whether a part holds one pitch class into a stretch and through it.
fn holds(course: &Course<'_>, part: usize, bars: &Range<u32>, class: i32) -> bool {
    let (notes, material) = (&course.material.sounding.notes, course.material);
    let from = material.sounding.bars[bars.start as usize].start;
    let rows = notes.of_part[part].clone();
    rows.filter(|&row| notes.onset[row] < from && notes.onset[row] + notes.duration[row] > from)
        .all(|row| notes.key[row].is_some_and(|key| i32::from(key.number()) % 12 == class))
}
