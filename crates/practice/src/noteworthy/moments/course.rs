//! Moments of the whole orchestra: tuttis, turns of the texture, the thinnest and fullest bars, the climax.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_score::DynamicLevel;

use super::Moment;
use crate::noteworthy::course::Course;
use crate::noteworthy::words::{capital, counted, list, number, percent};

/// Every stretch of two bars and more in which the orchestra plays as a whole; long and loud ones first.
pub(super) fn tuttis(course: &Course<'_>, found: &mut Vec<Moment>) {
    for bars in course.tuttis.iter().filter(|bars| bars.len() >= 2) {
        let level = course.mark(bars.clone()).map_or_else(String::new, |mark| format!(", up to {mark}"));
        let names =
            |sections: Vec<usize>| list(&sections.iter().map(|&section| course.section_name(section)).collect::<Vec<_>>());
        let (absent, partly) = course.missing(bars);
        let without = if absent.is_empty() { String::new() } else { format!(", without {}", names(absent)) };
        let partly = if partly.is_empty() { String::new() } else { format!(", {} only for less than half of it", names(partly)) };
        let reason = format!("The orchestra plays as a whole{without}{partly}{level}. {}", course.who_does_what(bars.clone()));
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

/// The barlines at which most changes: who sounds, and in which role.
pub(super) fn turns(course: &Course<'_>, found: &mut Vec<Moment>) {
    let material = course.material;
    let bars = material.sounding.bars.len();
    let mut texture: Vec<BTreeSet<(usize, &'static str)>> = vec![BTreeSet::new(); bars];
    for span in &material.roles.spans {
        for bar in span.bars.clone() {
            if let Some(bar) = texture.get_mut(bar as usize) {
                bar.insert((span.part, span.role().name()));
            }
        }
    }
    let mut changes: Vec<(usize, u32)> =
        (1u32..).zip(texture.windows(2)).map(|(bar, pair)| (pair[1].symmetric_difference(&pair[0]).count(), bar)).collect();
    changes.sort_by_key(|&(count, bar)| (std::cmp::Reverse(count), bar));
    for &(count, bar) in changes.iter().take(3).filter(|(count, _)| *count >= 4) {
        let told = |bar: u32| {
            let parts = course.parts[bar as usize].iter().filter(|sounds| **sounds).count();
            let level = course.mark(bar..bar + 1).map_or_else(String::new, |mark| format!(" at {mark}"));
            format!("{}{level}", counted(parts, "part"))
        };
        let change = |from: &BTreeSet<(usize, &'static str)>, to: &BTreeSet<(usize, &'static str)>| {
            from.difference(to).map(|(part, _)| part).collect::<BTreeSet<_>>().len()
        };
        let at = bar as usize;
        let now = course.who_does_what(bar..bar + 1).to_lowercase();
        let now = if now.is_empty() { now } else { format!(" Now {now}") };
        let reason = format!(
            "The texture changes most at this barline, from {} to {}: {} stop or leave what they did, {} begin something.{now}",
            told(bar - 1),
            told(bar),
            change(&texture[at - 1], &texture[at]),
            change(&texture[at], &texture[at - 1])
        );
        #[allow(clippy::cast_precision_loss)] // parts of a score
        let size = (count as f64 / (2 * material.score.parts.len()).max(1) as f64).min(1.0);
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
    let rank = |index: usize| {
        let higher = facts.iter().filter(|fact| fact[index] > facts[at][index]).count();
        #[allow(clippy::cast_precision_loss)] // bars of a score
        let share = higher as f64 / bars as f64;
        if share < 0.01 { "at its highest".to_owned() } else { format!("topped in only {} of the bars", percent(share)) }
    };
    let level = course.level[at].map_or_else(String::new, |level| format!(" at {}", DynamicLevel(level.floor()).mark()));
    let parts = course.parts[at].iter().filter(|sounds| **sounds).count();
    let reason = format!(
        "Loudness, height, attacks a second and people sounding, taken together, stand highest here: {} sound{level}; the top of the pitch range is {}, the number of people {}.",
        counted(parts, "part"),
        rank(1),
        rank(3)
    );
    let at = u32::try_from(at).unwrap_or(u32::MAX);
    found.push(Moment { kind: "climax", bars: at..at + 1, reason, weight: 0.85 });
}
