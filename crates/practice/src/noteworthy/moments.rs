//! Moments: spans worth looking at, each with its reason, ranked, each place once.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::Crotchets;

use super::{interval, of, one, runs};
use crate::material::Material;
use crate::measure::{Subject, Taken, Value};

/// A span worth looking at.
#[derive(Debug, Clone, PartialEq)]
pub struct Moment {
    /// Kind: "tutti", "widest gap", "solo".
    pub kind: &'static str,
    /// Played bars, end exclusive.
    pub bars: Range<u32>,
    /// Why it is worth looking at, one sentence.
    pub reason: String,
    /// Places in the ranking: larger comes first, 0 to 1.
    pub weight: f64,
}

/// Moments of a score from its measures, the most telling first. Of two of one kind that overlap the weightier stays.
#[must_use]
pub fn moments(material: &Material<'_>, taken: &[Taken]) -> Vec<Moment> {
    let mut found = Vec::new();
    tuttis(material, taken, &mut found);
    registers(material, taken, &mut found);
    reserves(material, taken, &mut found);
    splits(material, taken, &mut found);
    thickened(material, taken, &mut found);
    densities(taken, &mut found);
    solos(material, &mut found);
    turns(material, &mut found);
    scorings(material, &mut found);
    climax(material, &mut found);
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.bars.start.cmp(&b.bars.start)).then(a.kind.cmp(b.kind)));
    let mut kept: Vec<Moment> = Vec::new();
    for moment in found {
        let same = |other: &Moment| {
            other.kind == moment.kind && other.bars.start < moment.bars.end && moment.bars.start < other.bars.end
        };
        if !kept.iter().any(same) {
            kept.push(moment);
        }
    }
    kept
}

/// Most moments of one kind that are kept where a score has many.
const MOST: usize = 6;

fn tuttis(material: &Material<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    for value in of(taken, "stack").iter().filter(|value| value.aspect == "tutti bars") {
        let brass = matches!(value.of, Subject::Family(family) if material.groups.families[family].family == Family::Brass);
        if brass && let Some(first) = runs(&value.bars).next() {
            let reason = "All sections of the brass sound together for the first time.".to_owned();
            found.push(Moment { kind: "first full brass", bars: first, reason, weight: 0.9 });
        }
        if value.of != Subject::Everybody {
            continue;
        }
        let kinds: Vec<&Value> = of(taken, "stack")
            .iter()
            .filter(|other| other.of == value.of && other.aspect != "tutti bars" && other.aspect != "silence")
            .collect();
        for run in runs(&value.bars).filter(|run| run.len() >= 2) {
            let in_run = |kind: &Value| kind.bars.iter().filter(|bar| run.contains(bar)).count();
            let best = kinds.iter().max_by_key(|kind| in_run(kind));
            let what = best.map_or("", |kind| kind.aspect.as_str());
            let reason = format!("Woodwind, brass and strings play together; mostly: {what}.");
            let weight = 0.5 + 0.3 * (run.len() as f64 / 16.0).min(1.0);
            found.push(Moment { kind: "tutti", bars: run, reason, weight });
        }
    }
}

fn registers(material: &Material<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    for (aspect, kind, what) in
        [("widest gap", "widest gap", "lie furthest apart"), ("deepest overlap", "deepest overlap", "overlap most deeply")]
    {
        let sections =
            of(taken, "separation").iter().filter(|value| value.aspect == aspect && matches!(value.of, Subject::Section(_)));
        let furthest = sections.max_by(|a, b| a.value.abs().total_cmp(&b.value.abs()));
        let Some((value, with)) = furthest.and_then(|value| Some((value, value.with?))) else { continue };
        let Some(run) = runs(&value.bars).next() else { continue };
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // whole semitones
        let size = interval(value.value.abs() as u32);
        let reason = format!(
            "{} and {} {what} of all neighbouring sections in one family: by {size}.",
            capital(&material.name(value.of)),
            material.name(with)
        );
        found.push(Moment { kind, bars: run, reason, weight: 0.6 });
    }
}

fn reserves(material: &Material<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    for value in of(taken, "reserve").iter().filter(|value| value.aspect == "longest rest before an entry") {
        for &bar in value.bars.iter().take(1) {
            let reason = format!("{} enter after {} bars of rest.", capital(&material.name(value.of)), value.value);
            let length = material.sounding.bars.len().max(1) as f64;
            let weight = 0.35 + 0.5 * (value.value / length).min(1.0);
            found.push(Moment { kind: "entry out of reserve", bars: bar..bar + 1, reason, weight });
        }
    }
}

fn splits(material: &Material<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    let mut longest: Vec<(Range<u32>, &Value)> = of(taken, "cohesion")
        .iter()
        .filter(|value| value.aspect != "together")
        .flat_map(|value| runs(&value.bars).map(move |run| (run, value)))
        .filter(|(run, _)| run.len() >= 2)
        .collect();
    longest.sort_by_key(|(run, _)| (std::cmp::Reverse(run.len()), run.start));
    for (run, value) in longest.into_iter().take(MOST) {
        let reason = format!("{} split: {}.", capital(&material.name(value.of)), value.aspect);
        let weight = 0.3 + 0.3 * (run.len() as f64 / 12.0).min(1.0);
        found.push(Moment { kind: "split section", bars: run, reason, weight });
    }
}

fn thickened(material: &Material<'_>, taken: &[Taken], found: &mut Vec<Moment>) {
    let mut longest: Vec<(Range<u32>, &Value)> = of(taken, "thickened_lines")
        .iter()
        .filter(|value| value.aspect == "time")
        .flat_map(|value| runs(&value.bars).map(move |run| (run, value)))
        .collect();
    longest.sort_by_key(|(run, value)| (std::cmp::Reverse(run.len()), run.start, value.of, value.with));
    for (run, value) in longest.into_iter().take(MOST) {
        let with = value.with.map_or_else(String::new, |with| format!(" the tune of the {}", material.name(with)));
        let reason = format!("{} thicken{with} in parallel.", capital(&material.name(value.of)));
        found.push(Moment { kind: "thickened line", bars: run, reason, weight: 0.4 });
    }
}

fn densities(taken: &[Taken], found: &mut Vec<Moment>) {
    for (which, kind, what) in [("thinnest", "thinnest bars", "Fewest"), ("thickest", "fullest bars", "Most")] {
        let Some(value) = one(taken, "density", Subject::Everybody, &format!("players, {which} bars")) else { continue };
        if let Some(run) = runs(&value.bars).max_by_key(|run| (run.len(), std::cmp::Reverse(run.start))) {
            let reason = format!("{what} people sound here: {:.0} on average.", value.value);
            found.push(Moment { kind, bars: run, reason, weight: 0.45 });
        }
    }
}

/// The longest stretch in which one line sounds alone.
fn solos(material: &Material<'_>, found: &mut Vec<Moment>) {
    let mut best: Option<(Crotchets, usize, Range<u32>)> = None;
    let mut now: Option<(Crotchets, usize, Range<u32>)> = None;
    for (slice, rows) in material.slices.iter() {
        let line = rows.first().map(|&row| material.line_of(row));
        let alone = line.filter(|&line| rows.iter().all(|&row| material.line_of(row) == line));
        now = match (now.take(), alone) {
            (Some((time, same, bars)), Some(line)) if same == line => {
                Some((time + slice.length(), line, bars.start..slice.bar + 1))
            }
            (_, Some(line)) => Some((slice.length(), line, slice.bar..slice.bar + 1)),
            (_, None) => None,
        };
        if let Some(now) = &now
            && best.as_ref().is_none_or(|best| now.0 > best.0)
        {
            best = Some(now.clone());
        }
    }
    if let Some((time, line, bars)) = best.filter(|best| best.0 >= Crotchets::whole(2)) {
        let part = Subject::Part(material.lines.lines[line].part);
        let reason = format!("{} sounds alone, longer than any other line: {} crotchets.", material.name(part), time);
        found.push(Moment { kind: "alone", bars, reason, weight: 0.5 });
    }
}

/// The barlines at which most changes: who sounds, and in which role.
fn turns(material: &Material<'_>, found: &mut Vec<Moment>) {
    let bars = material.sounding.bars.len();
    let parts = material.score.parts.len();
    let mut texture: Vec<BTreeSet<(usize, &'static str)>> = vec![BTreeSet::new(); bars];
    for span in &material.roles.spans {
        for bar in span.bars.clone() {
            if let Some(bar) = texture.get_mut(bar as usize) {
                bar.insert((span.part, span.role().name()));
            }
        }
    }
    let mut changes: Vec<(usize, usize)> =
        (1..bars).map(|bar| (texture[bar].symmetric_difference(&texture[bar - 1]).count(), bar)).collect();
    changes.sort_by_key(|&(count, bar)| (std::cmp::Reverse(count), bar));
    for &(count, bar) in changes.iter().take(3).filter(|(count, _)| *count >= 4) {
        let (Ok(at), enter, leave) = (
            u32::try_from(bar),
            texture[bar].difference(&texture[bar - 1]).count(),
            texture[bar - 1].difference(&texture[bar]).count(),
        ) else {
            continue;
        };
        let reason =
            format!("The texture changes most at this barline: {leave} parts leave what they did, {enter} begin something else.");
        let weight = 0.4 + 0.3 * (count as f64 / (2 * parts).max(1) as f64).min(1.0);
        found.push(Moment { kind: "change of texture", bars: at - 1..at + 1, reason, weight });
    }
}

/// A theme in a section that has not carried it before.
fn scorings(material: &Material<'_>, found: &mut Vec<Moment>) {
    for theme in material.themes.iter().take(3) {
        let mut carried: BTreeSet<&str> = BTreeSet::new();
        for (number, statement) in theme.statements.iter().enumerate() {
            let Some(section) = material.groups.sections.iter().find(|group| group.parts.contains(&statement.part)) else {
                continue;
            };
            if carried.insert(section.name) && number > 0 {
                let first = u32::try_from(material.sounding.bar_at(statement.onset).unwrap_or(0)).unwrap_or(u32::MAX);
                let last = material.sounding.bars.partition_point(|bar| bar.start < statement.end);
                let last = u32::try_from(last).unwrap_or(u32::MAX).max(first + 1);
                let reason = format!("Theme {} in the {} for the first time.", theme.id, section.name);
                found.push(Moment { kind: "theme in a new scoring", bars: first..last, reason, weight: 0.45 });
            }
        }
    }
}

/// The bar in which loudness, height, density and people together stand highest above their means.
fn climax(material: &Material<'_>, found: &mut Vec<Moment>) {
    let bars = material.sounding.bars.len();
    let mut facts: Vec<[f64; 4]> = vec![[0.0; 4]; bars];
    for (slice, rows) in material.slices.iter() {
        let fact = &mut facts[slice.bar as usize];
        let levels = rows.iter().filter_map(|&row| material.sounding.notes.level[row as usize]);
        fact[0] = levels.fold(fact[0], |most, level| most.max(f64::from(level.0)));
        fact[1] = rows.iter().filter_map(|&row| material.key_of(row)).fold(fact[1], |most, key| most.max(f64::from(key)));
        fact[2] += 1.0;
        fact[3] = fact[3].max(f64::from(material.players(rows)));
    }
    for (fact, bar) in facts.iter_mut().zip(&material.sounding.bars) {
        let tempo = &material.sounding.tempo;
        fact[2] /= (tempo.seconds(bar.start + bar.length) - tempo.seconds(bar.start)).max(0.25);
    }
    let mut sums = vec![0.0; bars];
    for index in 0..4 {
        let mean = facts.iter().map(|fact| fact[index]).sum::<f64>() / bars.max(1) as f64;
        let spread = (facts.iter().map(|fact| (fact[index] - mean).powi(2)).sum::<f64>() / bars.max(1) as f64).sqrt();
        if spread > 0.0 {
            sums.iter_mut().zip(&facts).for_each(|(sum, fact)| *sum += (fact[index] - mean) / spread);
        }
    }
    let best = (0..bars).max_by(|&a, &b| sums[a].total_cmp(&sums[b]).then(b.cmp(&a)));
    if let Some(at) = best.filter(|&bar| sums[bar] > 2.0).and_then(|bar| u32::try_from(bar).ok()) {
        let reason = "Loudness, height, attacks a second and people sounding together stand highest here.".to_owned();
        found.push(Moment { kind: "climax", bars: at..at + 1, reason, weight: 0.85 });
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
