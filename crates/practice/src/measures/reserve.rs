//! Reserve: who is held back, how long, and for what.

use ripieno_texture::Role;

use super::presence::presence;
use crate::material::Material;
use crate::measure::{Measure, Subject, Unit, Value};

pub(super) const MEASURE: Measure = Measure {
    name: "reserve",
    title: "Who is held in reserve",
    says: "How rarely a section is used beside its own family, how long it rests before it enters, and whether it is kept for the loudest and fullest bars.",
    definition: "Use: bars in which the section sounds, of those in which its family does. Rest before an entry: whole bars without a note of the section before a bar in which it begins, the \
                 bars before its first entry included; the median and the longest, of entries after at least four bars. Kept for loud bars: of the section's bars, the share that lie among the \
                 loudest quarter of its family's bars, where a quarter would be chance; loudness of a bar is the highest dynamic level printed for anyone of the family who sounds. Kept for full bars: the same by the \
                 most people of the family who sound at once. Bars that tie with the last of the quarter count in part, so that chance stays a quarter. Role in reserve: what the section does \
                 in the four bars from such an entry, as shares of its sounding time.",
    source: "common practice of analysis; the definition is this project's",
    example: "The demo holds trombones and tuba back for 35 bars, until the first tutti.",
    take,
};

/// Whole bars of rest before it is an entry out of reserve.
const REST: u32 = 4;

#[allow(clippy::cast_precision_loss)] // bars of a score
fn take(material: &Material<'_>) -> Vec<Value> {
    let mut values = Vec::new();
    for family in &material.groups.families {
        let sections: Vec<usize> = (0..material.groups.sections.len())
            .filter(|&index| material.groups.sections[index].family == family.family)
            .collect();
        if sections.len() < 2 {
            continue;
        }
        let family_bars = presence(material.sounding, &family.parts).bars;
        let facts = bar_facts(material, &family.parts);
        let loud = weights(&family_bars, |bar| facts[bar as usize].0);
        let full = weights(&family_bars, |bar| facts[bar as usize].1);
        for section in sections {
            let of = Subject::Section(section);
            let bars = presence(material.sounding, &material.groups.sections[section].parts).bars;
            if bars.is_empty() {
                continue;
            }
            let value = |aspect: &str, value: f64, unit: Unit, bars: Vec<u32>| Value {
                of,
                with: None,
                aspect: aspect.to_owned(),
                value,
                unit,
                bars,
            };
            values.push(value("use", bars.len() as f64 / family_bars.len() as f64, Unit::ShareOfBars, bars.clone()));
            for (aspect, weights) in [("in the loudest quarter", &loud), ("in the fullest quarter", &full)] {
                let Some(weights) = weights else { continue };
                let weight = |bar: &u32| family_bars.binary_search(bar).map_or(0.0, |at| weights[at]);
                let share = bars.iter().map(weight).sum::<f64>() / bars.len() as f64;
                let there = bars.iter().copied().filter(|bar| weight(bar) > 0.0).collect();
                values.push(value(aspect, share, Unit::ShareOfBars, there));
            }
            let entries = entries(&bars);
            let mut rests: Vec<u32> = entries.iter().map(|entry| entry.1).collect();
            rests.sort_unstable();
            let starts: Vec<u32> = entries.iter().map(|entry| entry.0).collect();
            if let Some(&longest) = rests.last() {
                let at = entries.iter().filter(|entry| entry.1 == longest).map(|entry| entry.0).collect();
                values.push(value("longest rest before an entry", f64::from(longest), Unit::Bars, at));
                let middle = (f64::from(rests[(rests.len() - 1) / 2]) + f64::from(rests[rests.len() / 2])) / 2.0;
                values.push(value("median rest before an entry", middle, Unit::Bars, starts.clone()));
                values.push(value("entries out of reserve", starts.len() as f64, Unit::Count, starts.clone()));
            }
            values.extend(roles_after(material, of, &starts));
        }
    }
    values
}

/// Entries after at least [`REST`] whole bars of silence: the bar, and how many bars of rest came before.
fn entries(bars: &[u32]) -> Vec<(u32, u32)> {
    let mut before = 0;
    let mut found = Vec::new();
    for &bar in bars {
        let rest = bar - before;
        if rest >= REST {
            found.push((bar, rest));
        }
        before = bar + 1;
    }
    found
}

/// Highest level, and most people at once, of these parts in each bar.
fn bar_facts(material: &Material<'_>, parts: &[usize]) -> Vec<(Option<f32>, Option<f32>)> {
    let mut member = vec![false; material.score.parts.len()];
    parts.iter().for_each(|&part| member[part] = true);
    let mut facts: Vec<(Option<f32>, Option<f32>)> = vec![(None, None); material.sounding.bars.len()];
    for (slice, rows) in material.slices.iter() {
        let here: Vec<u32> = rows.iter().copied().filter(|&row| member[material.part_of(row)]).collect();
        if here.is_empty() {
            continue;
        }
        let level = here.iter().filter_map(|&row| material.sounding.notes.level[row as usize]).map(|level| level.0);
        let fact = &mut facts[slice.bar as usize];
        let most = |known: Option<f32>, new: Option<f32>| known.into_iter().chain(new).reduce(f32::max);
        fact.0 = most(fact.0, level.reduce(f32::max));
        #[allow(clippy::cast_precision_loss)] // people of an orchestra
        let people = material.players(&here) as f32;
        fact.1 = most(fact.1, Some(people));
    }
    facts
}

/// How far each of these bars belongs to the uppermost quarter: 1, 0, or the share that makes a quarter in all among equals; `None` where
/// nothing is known or all are equal.
#[allow(clippy::cast_precision_loss)] // bars of a score
fn weights(bars: &[u32], fact: impl Fn(u32) -> Option<f32>) -> Option<Vec<f64>> {
    let known: Vec<f32> = bars.iter().map(|&bar| fact(bar).unwrap_or(f32::NEG_INFINITY)).collect();
    let mut order = known.clone();
    order.sort_unstable_by(|a, b| b.total_cmp(a));
    let (first, last) = (*order.first()?, *order.last()?);
    if first.total_cmp(&last).is_eq() {
        return None;
    }
    let quarter = bars.len() as f64 / 4.0;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a quarter of a count
    let edge = order[(quarter.ceil() as usize).saturating_sub(1)];
    let above = known.iter().filter(|value| **value > edge).count() as f64;
    let equal = known.iter().filter(|value| value.total_cmp(&edge).is_eq()).count() as f64;
    let part = ((quarter - above) / equal).clamp(0.0, 1.0);
    let weight = |value: &f32| {
        if *value > edge {
            1.0
        } else if value.total_cmp(&edge).is_eq() {
            part
        } else {
            0.0
        }
    };
    Some(known.iter().map(weight).collect())
}

/// What a section does in the four bars from each entry.
fn roles_after(material: &Material<'_>, of: Subject, entries: &[u32]) -> Vec<Value> {
    let member = material.members(of);
    let inside = |bar: u32| entries.iter().any(|&entry| (entry..entry + REST).contains(&bar));
    let mut roles: std::collections::BTreeMap<Role, crate::tally::Tally> = std::collections::BTreeMap::new();
    let mut whole = ripieno_score::Crotchets::ZERO;
    for (slice, rows) in material.slices.iter().filter(|(slice, _)| inside(slice.bar)) {
        let mut lines: Vec<usize> = Vec::new();
        for &row in rows.iter().filter(|&&row| member[material.part_of(row)]) {
            let line = material.line_of(row);
            if !lines.contains(&line) {
                lines.push(line);
                whole += slice.length();
                roles.entry(material.role_at(row, slice.from)).or_default().add(slice);
            }
        }
    }
    roles.into_iter().map(|(role, tally)| tally.value(of, None, format!("enters with {role}"), whole)).collect()
}
