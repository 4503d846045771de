//! Weight of the brass: how many horns stand against each trombone and trumpet in loud chords.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::{Family, Section};
use ripieno_score::Crotchets;
use ripieno_texture::ChordTone;

use crate::material::Material;
use crate::measure::{Measure, Subject, Unit, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "brass_weight",
    title: "Horns against trombones and trumpets",
    says: "How many horns play for each trombone, and for each trumpet, where they share a chord at forte or louder.",
    definition: "Moments at which the brass sound at least three different tones of the chord of the moment, each player counted being marked f or louder. A player \
                 counts with a chord tone in any role but melody and countermelody; with those too where the line lies in one layer with another section of the brass, as in a chorale. People are \
                 counted as printed, one unsettled line of two players with its least. Each pairing of numbers stands with its share of the time in which both sections are \
                 so counted; the ratio is the median of them by time.",
    source: "common practice of handbooks of orchestration, which reckon two horns to a trombone or trumpet at forte; counting is this project's",
    example: "In the demo's chorale (81 to 88) six horns play against three trombones and three trumpets: two for each.",
    take,
};

/// Forte on the scale of [`ripieno_score::DynamicLevel`].
const LOUD: f32 = 6.0;
const OTHERS: [(Section, &str, &str); 2] =
    [(Section::Trombones, "horns per trombone", "trombone"), (Section::Trumpets, "horns per trumpet", "trumpet")];

fn take(material: &Material<'_>) -> Vec<Value> {
    let section = |wanted: Section| {
        material.groups.sections.iter().position(|group| group.family == Family::Brass && group.name == wanted.name())
    };
    let Some(horns) = section(Section::Horns) else { return Vec::new() };
    // Time by numbers of players: horns, others.
    let mut pairings: Vec<BTreeMap<(u32, u32), Tally>> = vec![BTreeMap::new(); OTHERS.len()];
    for (slice, rows) in material.slices.iter() {
        let chord = in_chord(material, rows, slice.from, slice.bar);
        if chord.is_empty() {
            continue;
        }
        let people = |section: Section| {
            let own = |row: &u32| material.groups.parts[material.part_of(*row)].section == section;
            material.players(&chord.iter().copied().filter(own).collect::<Vec<_>>())
        };
        let horns = people(Section::Horns);
        for (pairing, (other, ..)) in pairings.iter_mut().zip(OTHERS) {
            let others = people(other);
            if horns > 0 && others > 0 {
                pairing.entry((horns, others)).or_default().add(slice);
            }
        }
    }
    let mut values = Vec::new();
    for (pairing, (other, ratio, name)) in pairings.into_iter().zip(OTHERS) {
        if let Some(with) = section(other) {
            values.extend(of_pairing(Subject::Section(horns), Subject::Section(with), pairing, ratio, name));
        }
    }
    values
}

fn of_pairing(of: Subject, with: Subject, pairing: BTreeMap<(u32, u32), Tally>, ratio: &str, name: &str) -> Vec<Value> {
    let whole: Crotchets = pairing.values().map(|tally| tally.time).sum();
    let mut order: Vec<((u32, u32), Tally)> = pairing.into_iter().collect();
    order.sort_by(|((a, b), _), ((c, d), _)| (a * d).cmp(&(c * b)));
    let mut sum = Crotchets::ZERO;
    let median = order.iter().find(|(_, tally)| {
        sum += tally.time;
        sum + sum >= whole
    });
    let bars: BTreeSet<u32> = order.iter().flat_map(|(_, tally)| tally.bars.iter().copied()).collect();
    let ratio = median.map(|((horns, others), _)| Value {
        of,
        with: Some(with),
        aspect: ratio.to_owned(),
        value: f64::from(*horns) / f64::from(*others),
        unit: Unit::Ratio,
        bars: bars.into_iter().collect(),
    });
    let shares = order.into_iter().map(|((horns, others), tally)| {
        tally.value(of, Some(with), format!("{} to {}", counted(horns, "horn"), counted(others, name)), whole)
    });
    ratio.into_iter().chain(shares).collect()
}

/// "1 horn", "3 horns".
fn counted(number: u32, name: &str) -> String {
    format!("{number} {name}{}", if number == 1 { "" } else { "s" })
}

/// Rows of the brass that belong to a loud chord of theirs; none where it has not three tones.
fn in_chord(material: &Material<'_>, rows: &[u32], at: Crotchets, bar: u32) -> Vec<u32> {
    let Some(chord) = material.harmony.chord_at(at) else { return Vec::new() };
    let brass = |row: &u32| material.groups.parts[material.part_of(*row)].family == Family::Brass;
    let tone = |row: u32| {
        let key = material.key_of(row)?;
        Some(chord.tone(u8::try_from(key.rem_euclid(12)).ok()?)).filter(|tone| *tone != ChordTone::Foreign)
    };
    let loud = |row: u32| material.sounding.notes.level[row as usize].is_some_and(|level| level.0 >= LOUD);
    let layer = |row: u32| material.roles.layers.of(material.line_of(row), bar);
    let section = |row: u32| material.groups.parts[material.part_of(row)].section;
    let here: Vec<u32> = rows.iter().copied().filter(brass).filter(|&row| tone(row).is_some() && loud(row)).collect();
    let stands = |row: u32| {
        !material.role_at(row, at).is_tune()
            || here.iter().any(|&other| section(other) != section(row) && layer(other).is_some() && layer(other) == layer(row))
    };
    let found: Vec<u32> = here.iter().copied().filter(|&row| stands(row)).collect();
    let tones: BTreeSet<ChordTone> = found.iter().filter_map(|&row| tone(row)).collect();
    if tones.len() < 3 { Vec::new() } else { found }
}
