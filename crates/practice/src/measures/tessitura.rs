//! Tessitura: how high and how low a section lies, and where most of its playing is, in all and in each role.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::spread::Spread;

pub(super) const MEASURE: Measure = Measure {
    name: "tessitura",
    title: "Register and tessitura",
    says: "How low and how high a section, a named group or a part is used, and where the middle half of its playing lies, in all and in each role.",
    definition: "Sounding pitch. Lowest and highest: the extreme notes, grace notes included, with every bar in which they sound. Median and middle half: every \
                 sounding note counts with its time, chords and divided players note by note; the median is the lowest key up to which half of that time is \
                 spent, and the middle half lies from the key of the first quarter to the key of the third. In a role: the same of the notes played in it. \
                 Percussion without pitch has no register.",
    source: "common practice",
    example: "The demo's horns lie in the countermelody of bars 35 to 45, six in unison, higher than where they fill chords: compare “median, countermelody” \
              with “median, harmony”.",
    on_chart: OnChart::Not,
    take,
};

fn take(material: &Material<'_>) -> Vec<Value> {
    let mut of_part: Vec<BTreeMap<Role, Spread>> = vec![BTreeMap::new(); material.score.parts.len()];
    for (slice, rows) in material.slices.iter() {
        for &row in rows {
            if let Some(key) = material.key_of(row) {
                let role = material.role_at(row, slice.from);
                of_part[material.part_of(row)].entry(role).or_default().add(key, slice);
            }
        }
    }
    // Grace notes take no time of their own, so that no slice holds them; an extreme note may be one.
    let notes = &material.sounding.notes;
    for row in (0u32..).zip(&notes.duration).filter(|(_, duration)| duration.is_zero()).map(|(row, _)| row) {
        if let Some(key) = material.key_of(row) {
            let role = material.role_at(row, notes.onset[row as usize]);
            of_part[material.part_of(row)].entry(role).or_default().touch(key, notes.bar[row as usize]);
        }
    }
    let mut values = Vec::new();
    for of in
        material.subjects().into_iter().filter(|of| matches!(of, Subject::Section(_) | Subject::Named(_) | Subject::Part(_)))
    {
        let mut all = Spread::default();
        let mut by_role: BTreeMap<Role, Spread> = BTreeMap::new();
        for part in of.parts(material.score, material.groups) {
            for (&role, spread) in &of_part[part] {
                all.join(spread);
                by_role.entry(role).or_default().join(spread);
            }
        }
        values.extend(register_of(of, "", &all));
        for (role, spread) in by_role {
            values.extend(register_of(of, &format!(", {role}"), &spread));
        }
    }
    values
}

/// The five numbers of one spread.
fn register_of(of: Subject, within: &str, spread: &Spread) -> Vec<Value> {
    let value = |aspect: &str, key: i32, bars: Vec<u32>| Value {
        of,
        with: None,
        aspect: format!("{aspect}{within}"),
        value: f64::from(key),
        unit: Unit::Key,
        bars,
    };
    let extreme =
        |aspect, found: Option<(i32, &crate::tally::Tally)>| found.map(|(key, tally)| value(aspect, key, tally.bars.clone()));
    let mut values: Vec<Value> = Vec::new();
    values.extend(extreme("lowest", spread.iter().next()));
    values.extend(extreme("highest", spread.iter().next_back()));
    let bars = spread.whole().bars;
    for (aspect, quarters) in [("middle half from", 1), ("median", 2), ("middle half to", 3)] {
        let key = Crotchets::new(quarters, 4).and_then(|share| spread.at(share));
        values.extend(key.map(|key| value(aspect, key, bars.clone())));
    }
    values
}
