//! Reserve: who is held back, how long, and for what.

use ripieno_texture::Role;

use super::dynamics::printed_levels;
use super::presence::presence;
use super::tutti::bars_with_all;
use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};

pub(super) const MEASURE: Measure = Measure {
    name: "reserve",
    title: "Who is held in reserve",
    says: "How rarely a section is used beside its own family, how long it rests before it enters, and whether it is kept for the loudest and fullest bars.",
    definition: "Use: bars in which the section sounds, of those in which its family does. Rest before an entry: whole bars without a note of the section before a bar in which it begins, the \
                 bars before its first entry included, an upbeat not; the median and the longest, of entries after at least four bars. Loud bars of a family: those at its loud level or above, the highest printed level that at \
                 least a quarter of its bars reach; the level of a bar is the highest in force for anyone of the family who sounds, stresses aside. In the loud bars: the share of the section's bars that are such; to be held against the \
                 share of the family's own bars that are (given under the family). Full bars: the same by the most people of the family who sound at once. No such values where all bars are alike. Role in reserve: what the section does \
                 in the four bars from such an entry, as shares of its sounding time.",
    source: "common practice of analysis; the definition is this project's",
    example: "The demo holds trombones and tuba back for 35 bars, until the first tutti.",
    on_chart: OnChart::Whole,
    take,
};

/// Whole bars of rest before it is an entry out of reserve.
const REST: u32 = 4;

#[allow(clippy::cast_precision_loss)] // bars of a score
fn take(material: &Material<'_>) -> Vec<Value> {
    let mut values = Vec::new();
    let levels = printed_levels(material);
    for (index, family) in material.groups.families.iter().enumerate() {
        let sections: Vec<usize> = (0..material.groups.sections.len())
            .filter(|&section| material.groups.sections[section].family == family.family)
            .collect();
        if sections.len() < 2 {
            continue;
        }
        let family_bars = presence(material.sounding, &family.parts).bars;
        let facts = bar_facts(material, &levels, &family.parts);
        let uppermost = [
            ("loud bars", uppermost(&family_bars, |bar| facts[bar as usize].0)),
            ("full bars", uppermost(&family_bars, |bar| facts[bar as usize].1)),
        ];
        let share = |of: Subject, aspect: String, part: Vec<u32>, whole: usize| Value {
            of,
            with: None,
            aspect,
            value: part.len() as f64 / whole as f64,
            unit: Unit::ShareOfBars,
            bars: part,
        };
        for (aspect, there) in uppermost.iter().filter(|(_, there)| !there.is_empty()) {
            values.push(share(Subject::Family(index), (*aspect).to_owned(), there.clone(), family_bars.len()));
        }
        for section in sections {
            let of = Subject::Section(section);
            let bars = presence(material.sounding, &material.groups.sections[section].parts).bars;
            if bars.is_empty() {
                continue;
            }
            values.push(share(of, "use".to_owned(), bars.clone(), family_bars.len()));
            for (aspect, there) in uppermost.iter().filter(|(_, there)| !there.is_empty()) {
                values.push(share(of, format!("in the {aspect}"), bars_with_all(&[&bars, there]), bars.len()));
            }
            let value = |aspect: &str, value: f64, unit: Unit, bars: Vec<u32>| Value {
                of,
                with: None,
                aspect: aspect.to_owned(),
                value,
                unit,
                bars,
            };
            let entries = entries(&bars, material.has_upbeat());
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

/// Entries after at least [`REST`] whole bars of silence: the bar, and how many bars of rest came before, an upbeat not counted.
fn entries(bars: &[u32], upbeat: bool) -> Vec<(u32, u32)> {
    let mut before = 0;
    let mut found = Vec::new();
    for &bar in bars {
        let rest = bar.saturating_sub(before + u32::from(upbeat && before == 0));
        if rest >= REST {
            found.push((bar, rest));
        }
        before = bar + 1;
    }
    found
}

/// Highest level, and most people at once, of these parts in each bar.
fn bar_facts(material: &Material<'_>, levels: &[Option<f32>], parts: &[usize]) -> Vec<(Option<f32>, Option<f32>)> {
    let mut member = vec![false; material.score.parts.len()];
    parts.iter().for_each(|&part| member[part] = true);
    let mut facts: Vec<(Option<f32>, Option<f32>)> = vec![(None, None); material.sounding.bars.len()];
    for (slice, rows) in material.slices.iter() {
        let here: Vec<u32> = rows.iter().copied().filter(|&row| member[material.part_of(row)]).collect();
        if here.is_empty() {
            continue;
        }
        let level = here.iter().filter_map(|&row| levels[row as usize]);
        let fact = &mut facts[slice.bar as usize];
        let most = |known: Option<f32>, new: Option<f32>| known.into_iter().chain(new).reduce(f32::max);
        fact.0 = most(fact.0, level.reduce(f32::max));
        #[allow(clippy::cast_precision_loss)] // people of an orchestra
        let people = material.players(&here) as f32;
        fact.1 = most(fact.1, Some(people));
    }
    facts
}

/// Those of these bars that reach the highest value that at least a quarter of them reach; none where nothing is known or all are equal.
fn uppermost(bars: &[u32], fact: impl Fn(u32) -> Option<f32>) -> Vec<u32> {
    let known: Vec<f32> = bars.iter().map(|&bar| fact(bar).unwrap_or(f32::NEG_INFINITY)).collect();
    let mut order = known.clone();
    order.sort_unstable_by(|a, b| b.total_cmp(a));
    let (Some(first), Some(last)) = (order.first(), order.last()) else { return Vec::new() };
    let edge = order[bars.len().div_ceil(4).saturating_sub(1)];
    if first.total_cmp(last).is_eq() || edge == f32::NEG_INFINITY {
        return Vec::new();
    }
    bars.iter().zip(&known).filter(|(_, value)| **value >= edge).map(|(&bar, _)| bar).collect()
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
