//! Moments of the whole orchestra: tuttis, turns of the texture, the thinnest and fullest bars, the climax.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_score::DynamicLevel;

use super::Moment;
use crate::noteworthy::course::Course;
use crate::noteworthy::tasks::Task;
use crate::noteworthy::told::{CHANGING, Jobs, told as told_of};
use crate::noteworthy::words::{capital, counted, list, number, percent};

/// Bars that a tutti has to last to be told; shorter ones stand in the table of tuttis.
const TUTTI: usize = 4;

/// Every stretch of four bars and more in which the orchestra plays as a whole; long and loud ones first.
pub(super) fn tuttis(course: &Course<'_>, found: &mut Vec<Moment>) {
    for bars in course.tuttis.iter().filter(|bars| bars.len() >= TUTTI) {
        let level = course.mark(bars.clone());
        let names =
            |sections: Vec<usize>| list(&sections.iter().map(|&section| course.section_name(section)).collect::<Vec<_>>());
        let (absent, partly) = course.missing(bars);
        let without = if absent.is_empty() { String::new() } else { format!(", without {}", names(absent)) };
        let partly = if partly.is_empty() { String::new() } else { format!(", {} only for less than half of it", names(partly)) };
        let told = course.who_does_what(bars, &course.everybody());
        let reason = format!("The orchestra plays as a whole{level}{without}{partly}. {told}");
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let length = (bars.len() as f64 / 16.0).min(1.0);
        let loud = course.loudest(bars.clone()).map_or(0.5, |level| f64::from(level / 8.0).clamp(0.0, 1.0));
        found.push(Moment {
            kind: "tutti",
            bars: bars.clone(),
            reason: reason.trim().to_owned(),
            weight: 0.35 + 0.25 * length + 0.25 * loud,
        });
    }
}

/// Turns told, and bars that have to lie between two.
const TURNS: usize = 3;
const APART: u32 = 8;

/// The barlines at which most changes: who sounds, and with which task.
pub(super) fn turns(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let bars = material.sounding.bars.len();
    // Lines with what they do; who does nothing is not there.
    let texture: Vec<BTreeSet<(usize, Task)>> = (0u32..)
        .take(bars)
        .map(|bar| (0..material.lines.lines.len()).filter_map(|line| Some((line, course.tasks.at(line, bar)?))).collect())
        .collect();
    // A turn lasts: what the two bars before do against what the two bars after do.
    let steady = |first: u32| {
        let pair = [texture.get(first as usize), texture.get(first as usize + 1)];
        pair.into_iter().flatten().fold(BTreeSet::new(), |all, bar| all.union(bar).copied().collect())
    };
    let mut changes: Vec<(usize, u32)> = (2u32..)
        .take(bars.saturating_sub(3))
        .map(|bar| (steady(bar).symmetric_difference(&steady(bar - 2)).count(), bar))
        .collect();
    changes.sort_by_key(|&(count, bar)| (std::cmp::Reverse(count), bar));
    let mut told: Vec<u32> = Vec::new();
    for (count, bar) in changes.into_iter().filter(|(count, _)| *count >= 4) {
        if told.len() == TURNS || told.iter().any(|&other| other.abs_diff(bar) < APART) {
            continue;
        }
        told.push(bar);
        let parts = |bar: u32| {
            let parts = course.parts[bar as usize].iter().filter(|sounds| **sounds).count();
            format!("{}{}", counted(parts, "part"), course.mark(bar..bar + 1))
        };
        let everybody = course.everybody();
        let jobs = |bars: Range<u32>| {
            let settled: Jobs = course.jobs(&bars, &everybody).into_iter().filter(|(job, _)| *job != CHANGING).collect();
            told_of(&settled)
        };
        let (before, now) = (jobs(bar - 2..bar), jobs(bar..bar + 2));
        if before.is_empty() || now.is_empty() {
            continue;
        }
        let reason = format!(
            "One of the greatest changes of texture falls on the barline of {}, from {} to {}. In the two bars before, {before}. In the two bars from here, {now}.",
            course.printed(bar),
            parts(bar - 1),
            parts(bar),
        );
        #[allow(clippy::cast_precision_loss)] // parts of a score
        let size = (count as f64 / (2 * material.lines.lines.len()).max(1) as f64).min(1.0);
        found.push(Moment {
            kind: "change of texture",
            bars: bar - 1..bar + 1,
            reason: reason.trim().to_owned(),
            weight: 0.45 + 0.3 * size,
        });
    }
}

/// Where fewest and most parts sound, the longest such stretch of each. A full stretch inside a tutti has been told already.
pub(super) fn thinnest_and_fullest(course: &Course<'_>, found: &mut Vec<Moment>) {
    let counts: Vec<usize> = course.parts.iter().map(|parts| parts.iter().filter(|sounds| **sounds).count()).collect();
    let sounding = || counts.iter().copied().filter(|count| *count > 0);
    let (Some(fewest), Some(most)) = (sounding().min(), sounding().max()) else { return };
    if fewest == most {
        return;
    }
    for (count, kind) in [(fewest, "thinnest bars"), (most, "fullest bars")] {
        let bars: Vec<u32> = (0u32..).zip(&counts).filter(|(_, here)| **here == count).map(|(bar, _)| bar).collect();
        let stretches: Vec<Range<u32>> = crate::noteworthy::runs(&bars).collect();
        let Some(longest) = stretches.iter().max_by_key(|run| (run.len(), std::cmp::Reverse(run.start))) else { continue };
        let others = match stretches.len() - 1 {
            0 => ", here only".to_owned(),
            others => format!(", the longest of {} such stretches", number(others + 1)),
        };
        let reason = if kind == "thinnest bars" {
            let parts: Vec<String> = (0..course.material.score.parts.len())
                .filter(|&part| course.parts[longest.start as usize][part])
                .map(|part| course.material.score.parts[part].name.trim().to_owned())
                .collect();
            let parts = list(&parts.iter().map(String::as_str).collect::<Vec<_>>());
            format!("Only {} of {} sounds in a bar{others}: {parts}.", counted(count, "part"), course.material.score.parts.len())
        } else {
            format!(
                "{} of {} sound in a bar, the most there are{others}.",
                capital(&counted(count, "part")),
                course.material.score.parts.len()
            )
        };
        let reason = if count == 1 { reason } else { reason.replace("sounds in a bar", "sound in a bar") };
        let weight = if kind == "thinnest bars" { 0.4 } else { 0.42 };
        found.push(Moment { kind, bars: longest.clone(), reason, weight });
    }
}

/// The bar in which loudness, height, density and people together stand highest above their means.
pub(super) fn climax(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let bars = material.sounding.bars.len();
    let mut facts: Vec<[f64; 4]> = vec![[0.0; 4]; bars];
    for (slice, rows) in material.slices.iter() {
        let fact = &mut facts[slice.bar as usize];
        fact[1] = rows.iter().filter_map(|&row| material.key_of(row)).fold(fact[1], |most, key| most.max(f64::from(key)));
        fact[2] += 1.0;
        fact[3] = fact[3].max(f64::from(material.players(rows)));
    }
    for ((fact, bar), level) in facts.iter_mut().zip(&material.sounding.bars).zip(&course.level) {
        let tempo = &material.sounding.tempo;
        fact[2] /= (tempo.seconds(bar.start + bar.length) - tempo.seconds(bar.start)).max(0.25);
        fact[0] = level.map_or(0.0, f64::from);
    }
    let mut sums = vec![0.0; bars];
    for index in 0..4 {
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let count = bars.max(1) as f64;
        let mean = facts.iter().map(|fact| fact[index]).sum::<f64>() / count;
        let spread = (facts.iter().map(|fact| (fact[index] - mean).powi(2)).sum::<f64>() / count).sqrt();
        if spread > 0.0 {
            sums.iter_mut().zip(&facts).for_each(|(sum, fact)| *sum += (fact[index] - mean) / spread);
        }
    }
    let best = (0..bars).max_by(|&a, &b| sums[a].total_cmp(&sums[b]).then(b.cmp(&a)));
    let Some(at) = best.filter(|&bar| sums[bar] > 2.0) else { return };
    // What is no peak by itself is left out of the sentence.
    let rank = |highest: &str, what: &str, index: usize| {
        let higher = facts.iter().filter(|fact| fact[index] > facts[at][index]).count();
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let share = higher as f64 / bars as f64;
        match higher {
            0 => Some(highest.to_owned()),
            _ if share < 0.1 => Some(format!("{what} in only {} of the bars", percent(share.max(0.01)))),
            _ => None,
        }
    };
    let level = course.level[at].map_or_else(String::new, |level| format!(" at {}", DynamicLevel(level.floor()).mark()));
    let parts = course.parts[at].iter().filter(|sounds| **sounds).count();
    let told = [("no bar goes higher", "it goes higher", 1), ("no bar has more people", "more people play", 3)];
    let ranks: Vec<String> = told.into_iter().filter_map(|(highest, what, index)| rank(highest, what, index)).collect();
    let ranks = list(&ranks.iter().map(String::as_str).collect::<Vec<_>>());
    let ranks = if ranks.is_empty() { String::new() } else { format!("; {ranks}") };
    let reason = format!(
        "Loudness, height, attacks a second and people sounding, taken together, stand highest here: {} sound{level}{ranks}.",
        counted(parts, "part")
    );
    let at = u32::try_from(at).unwrap_or(u32::MAX);
    found.push(Moment { kind: "climax", bars: at..at + 1, reason, weight: 0.85 });
}
