//! Moments of the course: barlines at which many stop or begin, silences, the orchestra filling up and thinning out.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_score::{Crotchets, DynamicLevel};

use super::Moment;
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{capital, counted, crotchets, list, number};

/// Turns told, bars that have to lie between two, and the least number of parts and share of all in percent that stop or begin.
const TURNS: usize = 4;
const APART: u32 = 8;
const CHANGED: (usize, usize) = (6, 40);

/// The barlines at which most parts stop or begin, and stay so for two bars on either side.
pub(super) fn turns(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let bars = &material.sounding.bars;
    let all = (0..course.section_of.len()).filter(|&part| course.plays(part)).count();
    let heard = Heard::new(course);
    let mut turns: Vec<(usize, u32, [BTreeSet<usize>; 3])> = Vec::new();
    for bar in (2u32..).take(bars.len().saturating_sub(3)) {
        let (mut stop, mut begin, mut stay) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
        let mut unclear = 0;
        for part in 0..course.section_of.len() {
            let plays = |bar: u32| course.parts[bar as usize][part];
            let before = heard.well(part, bar - 1);
            let after = heard.well(part, bar);
            // The last note of a phrase may fall on the barline.
            let gone = heard.brief(part, bar) && !plays(bar + 1);
            match (before, after) {
                (true, true) => drop(stay.insert(part)),
                (true, false) if gone => drop(stop.insert(part)),
                (false, true) if !plays(bar - 1) && !plays(bar - 2) => drop(begin.insert(part)),
                (false, false) if !plays(bar) && !plays(bar - 1) => {}
                _ => unclear += 1,
            }
        }
        // Silence is told by itself.
        if stay.is_empty() && (stop.is_empty() || begin.is_empty()) {
            continue;
        }
        let changed = stop.len() + begin.len();
        if changed >= CHANGED.0 && changed * 100 >= CHANGED.1 * all && unclear == 0 {
            turns.push((changed, bar, [stop, begin, stay]));
        }
    }
    turns.sort_by_key(|&(changed, bar, _)| (std::cmp::Reverse(changed), bar));
    let mut told: Vec<u32> = Vec::new();
    for (changed, bar, [stop, begin, stay]) in turns {
        if told.len() == TURNS || told.iter().any(|&other| other.abs_diff(bar) < APART) {
            continue;
        }
        told.push(bar);
        let (before, after) = (stop.len() + stay.len(), begin.len() + stay.len());
        let level = |bar: u32| course.usual_level(bar).map(|level| DynamicLevel(level.floor()).mark());
        let level = match (level(bar - 1), level(bar)) {
            (Some(a), Some(b)) if a == b => format!(", {a} before and after"),
            (Some(a), Some(b)) => format!(", {a} before and {b} after"),
            _ => String::new(),
        };
        let mut told: Vec<String> = Vec::new();
        for (who, does) in [(&stop, ["stops", "stop"]), (&begin, ["comes in", "come in"]), (&stay, ["goes on", "go on"])] {
            if !who.is_empty() {
                told.push(course.who_do(who, does));
            }
        }
        let reason = format!(
            "At the barline before {} {}. {} before, {} after{level}.",
            course.printed(bar),
            told.join("; "),
            capital(&counted(before, "part")),
            number(after)
        );
        #[allow(clippy::cast_precision_loss)] // parts of a score
        let size = (changed as f64 / all.max(1) as f64).min(1.0);
        found.push(Moment { kind: "change of texture", bars: bar - 1..bar + 1, reason, weight: 0.4 + 0.3 * size });
    }
}

/// How long parts sound in each bar.
struct Heard {
    /// By part, then bar: share of the bar, in percent.
    share: Vec<Vec<u32>>,
}

impl Heard {
    fn new(course: &Course<'_>) -> Self {
        let material = course.material;
        let bars = &material.sounding.bars;
        let mut time = vec![vec![Crotchets::ZERO; bars.len()]; course.section_of.len()];
        for (slice, rows) in material.slices.iter() {
            for of_part in rows.chunk_by(|&a, &b| material.part_of(a) == material.part_of(b)) {
                time[material.part_of(of_part[0])][slice.bar as usize] += slice.length();
            }
        }
        let percent = |(time, bar): (&Crotchets, &ripieno_score::PlayedBar)| {
            (*time * Crotchets::whole(100)).checked_div(bar.length).map_or(0, |share| u32::try_from(share.floor()).unwrap_or(0))
        };
        Self { share: time.iter().map(|of| of.iter().zip(bars).map(percent).collect()).collect() }
    }

    /// Sounds for a good part of a bar, or at least a good part of it in short notes.
    fn well(&self, part: usize, bar: u32) -> bool {
        self.share[part][bar as usize] >= 34
    }

    /// Does not, or with one short note only.
    fn brief(&self, part: usize, bar: u32) -> bool {
        self.share[part][bar as usize] <= 25
    }
}

/// Crotchets, and share of a bar in percent, that a silence has to last; and silences told.
const SILENCE: (i64, i64, usize) = (2, 50, 2);
/// Parts that have to sound before it.
const BEFORE: usize = 6;

/// The longest silences of all in the middle of the piece.
pub(super) fn silences(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let slices = &material.slices;
    let mut silences: Vec<(Crotchets, usize, usize)> = Vec::new();
    let mut at = 0;
    while at < slices.slices.len() {
        let silent = |index: usize| slices.rows(&slices.slices[index]).is_empty();
        if !silent(at) {
            at += 1;
            continue;
        }
        let end = (at..slices.slices.len()).find(|&index| !silent(index)).unwrap_or(slices.slices.len());
        if at > 0 && end < slices.slices.len() {
            silences.push((slices.slices[end].from - slices.slices[at].from, at, end));
        }
        at = end;
    }
    let parts = |index: usize| -> BTreeSet<usize> {
        slices.rows(&slices.slices[index]).iter().map(|&row| material.part_of(row)).collect()
    };
    silences.retain(|&(time, first, _)| {
        let bar = &material.sounding.bars[slices.slices[first].bar as usize];
        time >= Crotchets::whole(SILENCE.0)
            && time * Crotchets::whole(100) >= bar.length * Crotchets::whole(SILENCE.1)
            && parts(first - 1).len() >= BEFORE
    });
    silences.sort_by_key(|&(time, first, _)| (std::cmp::Reverse(time), first));
    for (time, first, end) in silences.into_iter().take(SILENCE.2) {
        let (before, after) = (parts(first - 1), parts(end));
        let bars = slices.slices[first].bar..slices.slices[end - 1].bar + 1;
        let level = |bar: u32| course.mark(bar..bar + 1);
        let last = slices.slices[first - 1].bar;
        let reason = format!(
            "Nobody plays for {}, after {}{}; then {} on{}.",
            crotchets(time),
            counted(before.len(), "part"),
            level(last),
            course.who_do(&after, ["goes", "go"]),
            level(slices.slices[end].bar),
        );
        found.push(Moment { kind: "silence", bars, reason, weight: 0.5 });
    }
}

/// Bars in which the orchestra has to fill up or thin out, at least and at most, and steps in which it does.
const FILLING: (u32, u32, usize) = (4, 32, 3);

/// Where the orchestra fills up section by section to a tutti, nobody leaving, and thins out after one, nobody coming back: the one with most steps of each.
pub(super) fn fillings(course: &Course<'_>, found: &mut Vec<Moment>) {
    let there = |section: usize, bar: u32| course.bars_of[section].binary_search(&bar).is_ok();
    let bars = u32::try_from(course.level.len()).unwrap_or(u32::MAX);
    let mut best: [Option<(usize, Vec<u32>)>; 2] = [None, None];
    // While it fills up a bar of rest between two is no leaving; who comes back has not left.
    let sections_in = |bar: u32, way: usize| -> BTreeSet<usize> {
        let is =
            |section: usize| there(section, bar) || way == 0 && bar > 0 && there(section, bar - 1) && there(section, bar + 1);
        (0..course.bars_of.len()).filter(|&section| is(section)).collect()
    };
    for (way, best) in best.iter_mut().enumerate() {
        let sections_in = |bar: u32| sections_in(bar, way);
        for full in 0..bars {
            let next = |bar: u32| if way == 0 { bar.checked_sub(1) } else { Some(bar + 1).filter(|&bar| bar < bars) };
            let most = sections_in(full);
            if most.len() * 3 < course.bars_of.len() * 2 {
                continue;
            }
            // Walks from the full bar into the thin ones.
            let (mut here, mut bar, mut path, mut steps) = (most.clone(), full, vec![full], 0);
            while let Some(other) = next(bar) {
                let there = sections_in(other);
                if !there.is_subset(&here) || there.is_empty() || path.len() as u32 >= FILLING.1 {
                    break;
                }
                steps += usize::from(there.len() < here.len());
                path.push(other);
                (here, bar) = (there, other);
            }
            // The even stretch at the thin end belongs to it for no more than a bar.
            while path.len() >= 2 && sections_in(path[path.len() - 1]) == sections_in(path[path.len() - 2]) {
                path.pop();
            }
            let thin = sections_in(path[path.len() - 1]);
            let enough = steps >= FILLING.2 && path.len() as u32 >= FILLING.0 && thin.len() * 2 <= most.len();
            // Of two with as many steps the shorter, which begins where it is just full.
            if enough && best.as_ref().is_none_or(|(known, old)| steps > *known || steps == *known && path.len() < old.len()) {
                path.sort_unstable();
                *best = Some((steps, path));
            }
        }
    }
    for (way, best) in best.into_iter().enumerate() {
        let Some((steps, path)) = best else { continue };
        let sections_in = |bar: u32| sections_in(bar, way);
        let bars = path[0]..path[path.len() - 1] + 1;
        let names = |sections: &BTreeSet<usize>| {
            let parts =
                (0..course.section_of.len()).filter(|&part| course.plays(part) && sections.contains(&course.section_of[part]));
            course.who_list(&parts.collect())
        };
        let mut told: Vec<String> = Vec::new();
        for pair in path.windows(2) {
            let (old, new) = (sections_in(pair[0]), sections_in(pair[1]));
            if way == 0 && new.len() > old.len() {
                told.push(format!("{} from {}", names(&new.difference(&old).copied().collect()), course.printed(pair[1])));
            } else if way == 1 && new.len() < old.len() {
                told.push(format!("{} to {}", names(&old.difference(&new).copied().collect()), course.printed(pair[0])));
            }
        }
        let told = list(&told.iter().map(String::as_str).collect::<Vec<_>>());
        let level = levels(course, &bars);
        let (kind, reason) = if way == 0 {
            let first = names(&sections_in(path[0]));
            (
                "filling up",
                format!(
                    "The orchestra fills up section by section and nobody who has come in rests for more than a bar{level}: {first} at first, {told}."
                ),
            )
        } else {
            let last = names(&sections_in(path[path.len() - 1]));
            (
                "thinning out",
                format!("The orchestra thins out section by section and nobody comes back{level}: {told}; {last} at last."),
            )
        };
        #[allow(clippy::cast_precision_loss)] // a handful of steps
        found.push(Moment { kind, bars, reason, weight: 0.5 + 0.04 * steps.min(8) as f64 });
    }
}

/// ", p at first and ff at last".
fn levels(course: &Course<'_>, bars: &Range<u32>) -> String {
    let level = |bar: u32| course.usual_level(bar).map(|level| DynamicLevel(level.floor()).mark());
    match (level(bars.start), level(bars.end - 1)) {
        (Some(a), Some(b)) if a == b => format!(", {a} at either end"),
        (Some(a), Some(b)) => format!(", {a} at first and {b} at last"),
        _ => String::new(),
    }
}
