//! Moments of the whole orchestra: tuttis, bare unisons, the thinnest and fullest bars, the climax.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_score::DynamicLevel;

use super::Moment;
use crate::noteworthy::course::Course;
use crate::noteworthy::layers::Layering;
use crate::noteworthy::words::{capital, counted, list, lower, number, percent};

/// Bars in which a tutti has to keep still to be told, pieces of it that are told, the share of it in percent that they have to fill for it to be told as a whole, and how many
/// tuttis are.
const TUTTI: (u32, usize, usize, usize) = (3, 3, 75, 5);

/// Stretches in which the orchestra plays as a whole, told piece by piece where everybody keeps to one thing; the longest and loudest few. Of a tutti that mostly changes
/// only the longest such piece.
pub(super) fn tuttis(course: &Course<'_>, found: &mut Vec<Moment>) {
    let mut told: Vec<Moment> = Vec::new();
    for tutti in course.tuttis.iter().filter(|bars| bars.len() >= TUTTI.0 as usize) {
        let mut pieces: Vec<Layering> = Vec::new();
        let mut free: Vec<Range<u32>> = vec![tutti.clone()];
        while pieces.len() < TUTTI.1 {
            let best = free
                .iter()
                .enumerate()
                .filter_map(|(at, within)| Some((course.still(within, &course.everybody(), TUTTI.0)?, at)));
            let Some((still, at)) = best.max_by_key(|(still, at)| (still.bars.len(), std::cmp::Reverse(*at))) else { break };
            let within = free.swap_remove(at);
            free.extend([within.start..still.bars.start, still.bars.end..within.end]);
            pieces.push(still);
        }
        let Some(longest) = pieces.first().cloned() else { continue };
        let filled: usize = pieces.iter().map(|piece| piece.bars.len()).sum();
        let whole = filled * 100 >= TUTTI.2 * tutti.len();
        if !whole {
            pieces = vec![longest.clone()];
        }
        pieces.sort_by_key(|piece| piece.bars.start);
        let bars = if whole { tutti.clone() } else { longest.bars.clone() };
        let playing: BTreeSet<usize> = (0..course.section_of.len()).filter(|&part| course.plays(part)).collect();
        let tell = |piece: &Layering| {
            let silent: BTreeSet<usize> = playing.difference(&piece.parts(course)).copied().collect();
            let without = if silent.is_empty() { String::new() } else { format!(" (silent: {})", course.who_list(&silent)) };
            let layers = course.layers_in_words(piece);
            if piece.bars == bars {
                format!("{layers}{without}.")
            } else {
                format!("{}: {}{without}.", capital(&course.span(&piece.bars)), lower(&layers))
            }
        };
        let layers: Vec<String> = pieces.iter().map(tell).collect();
        let level = course.mark(bars.clone());
        let head = if whole {
            format!("The orchestra plays as a whole{level}.")
        } else {
            let (first, last) = (course.printed(tutti.start), course.printed(tutti.end - 1));
            format!("In the tutti of {first} to {last} everybody keeps to one thing here{level}.")
        };
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let length = (bars.len() as f64 / 12.0).min(1.0);
        let loud = course.loudest(bars.clone()).map_or(0.5, |level| f64::from(level / 8.0).clamp(0.0, 1.0));
        told.push(Moment {
            kind: "tutti",
            bars,
            reason: format!("{head} {}", layers.join(" ")),
            weight: 0.4 + 0.25 * length + 0.15 * loud,
        });
    }
    told.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.bars.start.cmp(&b.bars.start)));
    found.extend(told.into_iter().take(TUTTI.3));
}

/// Parts that have to sound for a unison to be one of the orchestra, different pitches and moments it has to have, and stretches told.
const UNISON: (usize, usize, usize, usize) = (5, 4, 6, 2);

/// Of a bar in which no two pitch classes sound at once: parts, pitch classes, and moments with sound.
type Bare = (BTreeSet<usize>, BTreeSet<i32>, usize);

/// The longest stretches of whole bars in which all who play, percussion aside, have the same notes in unison and octaves.
pub(super) fn unisons(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let percussion = |part: usize| course.family_of(course.section_of[part]) == ripieno_instruments::family::Family::Percussion;
    let mut bars: Vec<Option<Bare>> = vec![Some((BTreeSet::new(), BTreeSet::new(), 0)); material.sounding.bars.len()];
    for (slice, rows) in material.slices.iter() {
        let here = &mut bars[slice.bar as usize];
        let pitched: Vec<(i32, usize)> = rows
            .iter()
            .map(|&row| (material.key_of(row), material.part_of(row)))
            .filter(|&(_, part)| !percussion(part))
            .filter_map(|(key, part)| Some((key?, part)))
            .collect();
        let classes: BTreeSet<i32> = pitched.iter().map(|(key, _)| key % 12).collect();
        if classes.len() > 1 {
            *here = None;
        } else if let Some((parts, keys, moments)) = here {
            parts.extend(pitched.iter().map(|(_, part)| *part));
            keys.extend(classes);
            *moments += usize::from(!pitched.is_empty());
        }
    }
    let bare: Vec<u32> = (0u32..)
        .zip(&bars)
        .filter(|(_, bar)| bar.as_ref().is_some_and(|(parts, ..)| parts.len() >= UNISON.0))
        .map(|(bar, _)| bar)
        .collect();
    let mut stretches: Vec<Range<u32>> = crate::noteworthy::runs(&bare).filter(|run| run.len() >= 2).collect();
    stretches.retain(|run| {
        let here = || bars[run.start as usize..run.end as usize].iter().flatten();
        let keys: BTreeSet<i32> = here().flat_map(|(_, keys, _)| keys.iter().copied()).collect();
        keys.len() >= UNISON.1 && here().map(|(.., moments)| moments).sum::<usize>() >= UNISON.2
    });
    stretches.sort_by_key(|run| (std::cmp::Reverse(run.len()), run.start));
    for run in stretches.iter().take(UNISON.3) {
        let here = || bars[run.start as usize..run.end as usize].iter().flatten();
        let parts: BTreeSet<usize> = here().flat_map(|(parts, ..)| parts.iter().copied()).collect();
        let struck = run
            .clone()
            .any(|bar| course.parts[bar as usize].iter().enumerate().any(|(part, sounds)| *sounds && percussion(part)));
        let aside = if struck { ", percussion aside" } else { "" };
        let reason = format!(
            "All who play{aside} have the same notes, in unison and octaves, for {}{}: {}.",
            counted(run.len(), "bar"),
            course.mark(run.clone()),
            course.who_list(&parts),
        );
        #[allow(clippy::cast_precision_loss)] // bars and parts of a score
        let weight =
            0.5 + 0.2 * (run.len() as f64 / 8.0).min(1.0) + 0.15 * parts.len() as f64 / course.section_of.len().max(1) as f64;
        found.push(Moment { kind: "unison", bars: run.clone(), reason, weight });
    }
}

/// Where fewest and most parts sound, the longest such stretch of each.
pub(super) fn thinnest_and_fullest(course: &Course<'_>, found: &mut Vec<Moment>) {
    let counts: Vec<usize> = course.parts.iter().map(|parts| parts.iter().filter(|sounds| **sounds).count()).collect();
    // Half a bar is thin by being short.
    let is_whole = |bar: usize| course.is_whole(bar);
    let sounding =
        || counts.iter().copied().enumerate().filter(|&(bar, count)| count > 0 && is_whole(bar)).map(|(_, count)| count);
    let (Some(fewest), Some(most)) = (sounding().min(), sounding().max()) else { return };
    if fewest == most {
        return;
    }
    for (count, kind) in [(fewest, "thinnest bars"), (most, "fullest bars")] {
        let bars: Vec<u32> =
            (0u32..).zip(&counts).filter(|(bar, here)| **here == count && is_whole(*bar as usize)).map(|(bar, _)| bar).collect();
        let stretches: Vec<Range<u32>> = crate::noteworthy::runs(&bars).collect();
        let Some(longest) = stretches.iter().max_by_key(|run| (run.len(), std::cmp::Reverse(run.start))) else { continue };
        let others = match stretches.len() - 1 {
            0 => ", here only".to_owned(),
            others => format!(", the longest of {} such stretches", number(others + 1)),
        };
        let all = course.material.score.parts.len();
        let reason = if kind == "thinnest bars" {
            let of_bar = |bar: u32| (0..all).filter(|&part| course.parts[bar as usize][part]).collect::<BTreeSet<usize>>();
            let parts: BTreeSet<usize> = longest.clone().flat_map(of_bar).collect();
            let first = of_bar(longest.start);
            let who = if parts == first { course.who_list(&parts) } else { format!("at first {}", course.who_list(&first)) };
            let sound = if count == 1 { "sounds" } else { "sound" };
            format!("Only {} of {all} {sound} in a bar{others}{}: {}.", counted(count, "part"), course.mark(longest.clone()), who)
        } else {
            let as_full = match bars.len() {
                same if same == longest.len() => String::new(),
                all => format!("; {all} of {} are as full", counted(counts.len(), "bar")),
            };
            format!(
                "{} of {all} sound in a bar, the most there are{others}{}{as_full}.",
                capital(&counted(count, "part")),
                course.mark(longest.clone()),
            )
        };
        let weight = if kind == "thinnest bars" { 0.4 } else { 0.42 };
        found.push(Moment { kind, bars: longest.clone(), reason, weight });
    }
}

/// Of the fullest bars those with the loudest sign; among them the bar in which height, density and people together stand highest above their means.
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
    for (fact, bar) in facts.iter_mut().zip(&material.sounding.bars) {
        let tempo = &material.sounding.tempo;
        fact[2] /= (tempo.seconds(bar.start + bar.length) - tempo.seconds(bar.start)).max(0.25);
    }
    let mut sums = vec![0.0; bars];
    for index in 1..4 {
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let count = bars.max(1) as f64;
        let mean = facts.iter().map(|fact| fact[index]).sum::<f64>() / count;
        let spread = (facts.iter().map(|fact| (fact[index] - mean).powi(2)).sum::<f64>() / count).sqrt();
        if spread > 0.0 {
            sums.iter_mut().zip(&facts).for_each(|(sum, fact)| *sum += (fact[index] - mean) / spread);
        }
    }
    let parts = |bar: usize| course.parts[bar].iter().filter(|sounds| **sounds).count();
    let most = (0..bars).map(parts).max().unwrap_or(0);
    // No climax without nearly all who ever play together.
    let full: Vec<usize> = (0..bars).filter(|&bar| parts(bar) * 10 >= most * 9 && course.is_whole(bar)).collect();
    let level = |bar: usize| u32::try_from(bar).ok().and_then(|bar| course.usual_level(bar)).map(f32::floor);
    let Some(loudest) = full.iter().filter_map(|&bar| level(bar)).reduce(f32::max) else { return };
    let best = full.into_iter().filter(|&bar| level(bar) == Some(loudest));
    let best = best.max_by(|&a, &b| sums[a].total_cmp(&sums[b]).then(b.cmp(&a)));
    let Some(at) = best.filter(|&bar| sums[bar] > 1.0) else { return };
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
    let level = DynamicLevel(loudest).mark();
    let parts = parts(at);
    let told = [("no bar goes higher", "it goes higher", 1), ("no bar has more people", "more people play", 3)];
    let ranks: Vec<String> = told.into_iter().filter_map(|(highest, what, index)| rank(highest, what, index)).collect();
    let ranks = list(&ranks.iter().map(String::as_str).collect::<Vec<_>>());
    let ranks = if ranks.is_empty() { String::new() } else { format!("; {ranks}") };
    let reason = format!(
        "{} sound at {level}; no bar as full is marked louder, and of those marked so it stands highest in pitch, attacks a second and people sounding, taken together{ranks}.",
        capital(&counted(parts, "part"))
    );
    let at = u32::try_from(at).unwrap_or(u32::MAX);
    found.push(Moment { kind: "climax", bars: at..at + 1, reason, weight: 0.85 });
}
