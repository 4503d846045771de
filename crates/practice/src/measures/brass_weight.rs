//! Weight of the brass: how many horns stand against each trombone and trumpet in loud chords.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::{Family, Section};
use ripieno_score::Crotchets;
use ripieno_texture::ChordTone;

use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "brass_weight",
    title: "Horns against trombones and trumpets",
    says: "How many horns play for each trombone, and for each trumpet, where they share a chord at forte or louder.",
    definition: "Moments at which the brass sound at least three different tones of the chord of the moment, each player counted being marked f or louder. A player \
                 counts with a chord tone in any role but melody and countermelody; with those too where the line lies in one layer with another section of the brass, as in a chorale. People are \
                 counted as printed. The ratio is the median by time of horns to the others, a line the page does not settle (one line on a staff for two) counting with its least; where there are such \
                 lines it stands a second time with all who may play. Each pairing of numbers, such lines as ranges, has its share of the time in which both sections are so counted.",
    source: "common practice of handbooks of orchestration, which reckon two horns to a trombone or trumpet at forte; counting is this project's",
    example: "In the demo's chorale (81 to 87) six horns play against three trombones and three trumpets: two for each.",
    on_chart: OnChart::Not,
    take,
};

/// People at least and at most.
type People = (u32, u32);

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
    let mut pairings: Vec<BTreeMap<(People, People), Tally>> = vec![BTreeMap::new(); OTHERS.len()];
    for (slice, rows) in material.slices.iter() {
        let chord = in_chord(material, rows, slice.from, slice.bar);
        if chord.is_empty() {
            continue;
        }
        let people = |section: Section| {
            let own = |row: &u32| material.groups.parts[material.part_of(*row)].section == section;
            let rows: Vec<u32> = chord.iter().copied().filter(own).collect();
            let least = material.players(&rows);
            (least, most(material, &rows).max(least))
        };
        let horns = people(Section::Horns);
        for (pairing, (other, ..)) in pairings.iter_mut().zip(OTHERS) {
            let others = people(other);
            if horns.0 > 0 && others.0 > 0 {
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

fn of_pairing(of: Subject, with: Subject, pairing: BTreeMap<(People, People), Tally>, ratio: &str, name: &str) -> Vec<Value> {
    let whole: Crotchets = pairing.values().map(|tally| tally.time).sum();
    let mut order: Vec<((People, People), Tally)> = pairing.into_iter().collect();
    let bars: BTreeSet<u32> = order.iter().flat_map(|(_, tally)| tally.bars.iter().copied()).collect();
    let mut values = Vec::new();
    let unsettled = order.iter().any(|((horns, others), _)| horns.0 < horns.1 || others.0 < others.1);
    let least = |(horns, others): (People, People)| (horns.0, others.0);
    let most = |(horns, others): (People, People)| (horns.1, others.1);
    for (aspect, count) in [(ratio.to_owned(), &least as &dyn Fn(_) -> _), (format!("{ratio}, with all who may play"), &most)] {
        if !values.is_empty() && !unsettled {
            continue;
        }
        values.extend(median(&mut order, count, whole).map(|value| Value {
            of,
            with: Some(with),
            aspect,
            value,
            unit: Unit::Ratio,
            bars: bars.iter().copied().collect(),
        }));
    }
    order.sort_by_key(|(people, _)| *people);
    let shares = order.into_iter().map(|((horns, others), tally)| {
        tally.value(of, Some(with), format!("{} to {}", counted(horns, "horn"), counted(others, name)), whole)
    });
    values.extend(shares);
    values
}

/// The ratio up to which half of the time is spent. Sorts by ratio.
fn median(
    order: &mut [((People, People), Tally)],
    count: &dyn Fn((People, People)) -> (u32, u32),
    whole: Crotchets,
) -> Option<f64> {
    order.sort_by(|(x, _), (y, _)| {
        let ((a, b), (c, d)) = (count(*x), count(*y));
        (a * d).cmp(&(c * b))
    });
    let mut sum = Crotchets::ZERO;
    let half = order.iter().find(|(_, tally)| {
        sum += tally.time;
        sum + sum >= whole
    });
    half.map(|(people, _)| count(*people)).map(|(horns, others)| f64::from(horns) / f64::from(others))
}

/// People who may play these rows, no more in a part than it has.
fn most(material: &Material<'_>, rows: &[u32]) -> u32 {
    let of_part = |rows: &[u32]| {
        let sum: u32 = rows.iter().map(|&row| u32::from(material.sounding.notes.players[row as usize].most)).sum();
        let part = rows.first().map_or(0, |&row| material.part_of(row));
        sum.min(u32::from(material.score.parts[part].players.most).max(1))
    };
    rows.chunk_by(|&a, &b| material.part_of(a) == material.part_of(b)).map(of_part).sum()
}

/// "1 horn", "3 horns", "2-4 horns".
fn counted((least, most): People, name: &str) -> String {
    match (least, most) {
        (1, 1) => format!("1 {name}"),
        _ if least == most => format!("{least} {name}s"),
        _ => format!("{least}-{most} {name}s"),
    }
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
