//! Doubled sections: who doubles whom.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;
use ripieno_texture::Doubling;

use super::moments::{each_moment, octaves};
use super::shared_notes::{Shared, begun};
use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "doubled_sections",
    title: "Who doubles whom",
    says: "Which sections play the same line, at the unison or at which octave, for how long, and with how many players on the line.",
    definition: "Two lines double each other in a run of common notes (of a chord the highest), which both begin at one moment, in unison or octaves, at one interval. \
                 Between two of them the one line begins at most one note of its own and the other at most three, and so far at least three quarters of the notes of the one with fewer are common. \
                 A run of four notes counts, and so do runs at different intervals that follow on each other without any other note in either line, with four together; a shorter one where neither line begins \
                 anything else in it and it sounds in common for a bar, or both lines rest for a quarter of a bar before and after it, or two notes and more are all that either begins in its bars. These are \
                 the rows of doublings.csv; here a run has at least three notes: one or two are chance. Chord tones that both repeat count like any other notes. Between sections the numbers stand under the section that comes first on the page, inside a section under its parts; above and below \
                 say where the second one sounds. Time: crotchets in which at least one line of either sounds in such a doubling, at that interval; lines that double \
                 together count once. Share: of the time in which the sparser of the two sounds. Where either line attacks more than one note of its own for every eight common ones, \
                 the doubling is in part and is counted apart; a moment that has both kinds is a full doubling. Players per line: all who play a doubled line, both sections together, over \
                 the number of such lines, meant over time; people as printed, a body without a number with its least. Same notes: the moments at which both sections begin one pitch, or \
                 pitches one or two octaves apart, at whatever length and for however long, of the moments at which the one with fewer begins any note with pitch; at least three.",
    source: "common practice; notes a line may have for itself as in docs/roles.md",
    example: "In the demo the tuba never stands alone: all its time (35 to 45, 81 to 100, 105 to 108) it has the line of the bass trombone in unison.",
    on_chart: OnChart::Without("as charted, without players per line and same notes"),
    take,
};

/// Two groups at one interval; the interval is that of the second from the first, none for any.
type Pair = (Subject, Subject, Option<i16>);

/// What a pair does in one slice.
#[derive(Default)]
struct Here {
    /// Keys on which the first group has a doubled line.
    keys: u128,
    /// Lines that take part.
    lines: Vec<usize>,
    full: bool,
}

/// What a pair does in the piece.
#[derive(Default)]
struct Sum {
    full: Tally,
    partial: Tally,
    all: Tally,
    /// Crotchets times people, crotchets times doubled lines.
    people: Crotchets,
    lines: Crotchets,
}

fn take(material: &Material<'_>) -> Vec<Value> {
    let (pairs, of_doubling) = pairs(material);
    let mut sums: Vec<Sum> = pairs.iter().map(|_| Sum::default()).collect();
    let mut here: Vec<Here> = pairs.iter().map(|_| Here::default()).collect();
    let mut touched: Vec<usize> = Vec::new();
    each_moment(material, |moment| {
        for &index in moment.doublings {
            let doubling = &material.doublings.all[index as usize];
            let (at_interval, any, swapped) = of_doubling[index as usize];
            let first = if swapped { doubling.b } else { doubling.a };
            for pair in [at_interval, any] {
                let here = &mut here[pair];
                if here.lines.is_empty() {
                    touched.push(pair);
                }
                here.keys |= moment.top[first].map_or(0, |key| 1 << key);
                here.full |= doubling.is_full();
                for line in [doubling.a, doubling.b] {
                    if !here.lines.contains(&line) {
                        here.lines.push(line);
                    }
                }
            }
        }
        for pair in touched.drain(..) {
            let (here, sum) = (&mut here[pair], &mut sums[pair]);
            let kind = if here.full { &mut sum.full } else { &mut sum.partial };
            kind.add(moment.slice);
            sum.all.add(moment.slice);
            let people: u32 = here.lines.iter().map(|&line| moment.people[line]).sum();
            sum.people += moment.slice.length() * Crotchets::whole(i64::from(people));
            sum.lines += moment.slice.length() * Crotchets::whole(i64::from(here.keys.count_ones()));
            *here = Here { keys: 0, full: false, lines: std::mem::take(&mut here.lines) };
            here.lines.clear();
        }
    });
    let sounding = sounding_time(material);
    let whole = |subject: Subject| sounding.get(&subject).copied().unwrap_or(Crotchets::ZERO);
    let mut order: Vec<usize> = (0..pairs.len()).collect();
    order.sort_by_key(|&pair| (pairs[pair].0, pairs[pair].1, pairs[pair].2.map(|interval| (interval.abs(), interval))));
    let mut sums: Vec<Option<Sum>> = sums.into_iter().map(Some).collect();
    let mut found: Vec<Value> = order
        .into_iter()
        .filter_map(|pair| Some((pairs[pair], sums[pair].take()?)))
        .flat_map(|((of, with, interval), sum)| values(of, with, interval, sum, whole(of).min(whole(with))))
        // How many lines there are on different pitches a chart does not know.
        .filter(|value| !material.charted || value.unit != Unit::Players)
        .collect();
    if !material.charted {
        found.extend(same_notes(material));
    }
    found
}

/// Notes that two sections begin together, of the moments at which the sparser of the two begins any.
fn same_notes(material: &Material<'_>) -> Vec<Value> {
    let sections: Vec<_> = material.groups.sections.iter().map(|section| begun(material, &section.parts)).collect();
    let mut values = Vec::new();
    for (a, own) in sections.iter().enumerate() {
        for (b, theirs) in sections.iter().enumerate().skip(a + 1) {
            let mut shared = Shared::default();
            for (moment, begun) in own {
                if let Some(other) = theirs.get(moment) {
                    shared.add(begun.bar, &begun.keys, &other.keys);
                }
            }
            values.extend(shared.values(Subject::Section(a), Subject::Section(b), "same notes", own.len().min(theirs.len())));
        }
    }
    values
}

fn values(of: Subject, with: Subject, interval: Option<i16>, sum: Sum, sparser: Crotchets) -> Vec<Value> {
    if sum.all.time.is_zero() {
        return Vec::new();
    }
    let name = interval.map_or_else(|| "any interval".to_owned(), octaves);
    let number =
        |aspect: String, value: f64, unit: Unit| Value { of, with: Some(with), aspect, value, unit, bars: sum.all.bars.clone() };
    let people = sum.people.checked_div(sum.lines).map_or(0.0, Crotchets::to_f64);
    let mut found = vec![
        number(format!("{name}, time"), sum.all.time.to_f64(), Unit::Crotchets),
        number(format!("{name}, players per line"), people, Unit::Players),
    ];
    if interval.is_none() {
        // Several intervals at once have no one line to count players on.
        found.pop();
        found.push(sum.all.value(of, Some(with), name, sparser));
        return found;
    }
    for (tally, aspect) in [(sum.full, name.clone()), (sum.partial, format!("{name}, in part"))] {
        if !tally.time.is_zero() {
            found.push(tally.value(of, Some(with), aspect, sparser));
        }
    }
    found
}

/// The pairs, and for each doubling its pair at its interval, its pair at any, and whether its lines stand the other way round.
#[allow(clippy::type_complexity)] // said just above
fn pairs(material: &Material<'_>) -> (Vec<Pair>, Vec<(usize, usize, bool)>) {
    let section_of = material.groups.section_of_parts();
    let mut ids: BTreeMap<Pair, usize> = BTreeMap::new();
    let mut pairs: Vec<Pair> = Vec::new();
    let mut id = |pair: Pair| {
        *ids.entry(pair).or_insert_with(|| {
            pairs.push(pair);
            pairs.len() - 1
        })
    };
    let group = |doubling: &Doubling| {
        let (a, b) = (material.lines.lines[doubling.a].part, material.lines.lines[doubling.b].part);
        let (x, y) = (section_of[a], section_of[b]);
        if x == y { (Subject::Part(a), Subject::Part(b)) } else { (Subject::Section(x), Subject::Section(y)) }
    };
    let of_doubling = material.doublings.all.iter().map(|doubling| {
        let (a, b) = group(doubling);
        let swapped = b < a;
        let (of, with, interval) = if swapped { (b, a, -doubling.interval) } else { (a, b, doubling.interval) };
        (id((of, with, Some(interval))), id((of, with, None)), swapped)
    });
    let of_doubling = of_doubling.collect();
    (pairs, of_doubling)
}

/// Time in which something with pitch of each section and part sounds.
fn sounding_time(material: &Material<'_>) -> BTreeMap<Subject, Crotchets> {
    let section_of = material.groups.section_of_parts();
    let mut times: BTreeMap<Subject, Crotchets> = BTreeMap::new();
    let mut here: Vec<Subject> = Vec::new();
    for (slice, rows) in material.slices.iter() {
        here.clear();
        for part in rows.iter().filter(|&&row| material.has_pitch(row)).map(|&row| material.part_of(row)) {
            here.extend([Subject::Part(part), Subject::Section(section_of[part])]);
        }
        here.sort_unstable();
        here.dedup();
        here.iter().for_each(|&subject| *times.entry(subject).or_default() += slice.length());
    }
    times
}
