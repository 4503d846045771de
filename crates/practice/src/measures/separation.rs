//! Separation: how far apart the groups lie.

use ripieno_instruments::family::Family;
use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::slices::Slice;
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "separation",
    title: "How far apart the groups lie",
    says: "Whether two groups that sound as neighbours in register keep apart, touch or overlap, how often, and by which interval.",
    definition: "Moment by moment, from the lowest sounding note of the upper group to the highest of the lower one, in semitones. Upper is the group whose \
                 middle (half way between its lowest and highest sounding note) lies higher. Neighbours are groups between whose middles no other group's \
                 lies; families are compared with families, sections with the sections of their family, groups named by a person each two that share nobody, as if nobody else played. Overlapping: below 0. Touching: 0 to 2, a unison or a step. Apart: more. Shares \
                 are of the time in which the two are neighbours; the usual interval is the median by time, negative where they overlap. Each number stands with the bass line and \
                 without it (lines in the role of bass left out of both groups). Percussion is left out.",
    source: "common practice of analysis; the definition is this project's",
    example: "In the demo horns and trombones lie an octave apart in bar 44 and overlap by a sixth in 82 to 87, in the chorale of the whole orchestra.",
    on_chart: OnChart::Not,
    take,
};

/// What a pair did, time by interval.
#[derive(Default)]
struct Pair {
    all: Tally,
    overlapping: Tally,
    touching: Tally,
    apart: Tally,
    /// Time at each interval.
    intervals: std::collections::BTreeMap<i32, Tally>,
}

impl Pair {
    fn add(&mut self, interval: i32, slice: &Slice) {
        self.all.add(slice);
        let kind = match interval {
            ..0 => &mut self.overlapping,
            0..=2 => &mut self.touching,
            _ => &mut self.apart,
        };
        kind.add(slice);
        self.intervals.entry(interval).or_default().add(slice);
    }

    fn values(self, of: Subject, with: Subject, bass: &str) -> Vec<Value> {
        let Some((lowest, highest)) = self.intervals.first_key_value().zip(self.intervals.last_key_value()) else {
            return Vec::new();
        };
        let whole = self.all.time;
        let number = |aspect: &str, interval: i32, bars: &[u32]| Value {
            of,
            with: Some(with),
            aspect: format!("{aspect}{bass}"),
            value: f64::from(interval),
            unit: Unit::Semitones,
            bars: bars.to_vec(),
        };
        let half = whole.checked_div(Crotchets::whole(2)).unwrap_or(Crotchets::ZERO);
        let mut sum = Crotchets::ZERO;
        let median = self.intervals.iter().find(|(_, tally)| {
            sum += tally.time;
            sum >= half
        });
        let mut values =
            vec![number("widest gap", *highest.0, &highest.1.bars), number("deepest overlap", *lowest.0, &lowest.1.bars)];
        // A gap that is none, and an overlap that is none, are left out.
        values.retain(|value| if value.aspect.starts_with("widest") { value.value > 0.0 } else { value.value < 0.0 });
        values.extend(median.map(|(&interval, _)| number("usual interval", interval, &self.all.bars)));
        for (tally, aspect) in [(self.apart, "apart"), (self.touching, "touching"), (self.overlapping, "overlapping")] {
            values.push(tally.value(of, Some(with), format!("{aspect}{bass}"), whole));
        }
        values
    }
}

fn take(material: &Material<'_>) -> Vec<Value> {
    // Drums and bells of one family lie octaves apart: a band from the one to the other means nothing.
    let families = material.groups.families.iter().enumerate().filter(|(_, group)| group.family != Family::Percussion);
    let families: Vec<Subject> = families.map(|(index, _)| Subject::Family(index)).collect();
    let mut values = compare(material, &families);
    for family in material.groups.families.iter().filter(|group| group.family != Family::Percussion) {
        let sections = material.groups.sections.iter().enumerate().filter(|(_, section)| section.family == family.family);
        let sections: Vec<Subject> = sections.map(|(index, _)| Subject::Section(index)).collect();
        values.extend(compare(material, &sections));
    }
    // Groups of a person's own: each two that share nobody, as if they were alone.
    let named: Vec<Subject> = (0..material.groups.named.len()).map(Subject::Named).collect();
    for (place, &a) in named.iter().enumerate() {
        let of_a = a.parts(material.score, material.groups);
        let others = named[place + 1..]
            .iter()
            .filter(|b| !b.parts(material.score, material.groups).iter().any(|part| of_a.contains(part)));
        values.extend(others.flat_map(|&b| compare(material, &[a, b])));
    }
    values
}

/// Lowest and highest key of each group at a moment.
type Bands = Vec<Option<(i32, i32)>>;

fn compare(material: &Material<'_>, subjects: &[Subject]) -> Vec<Value> {
    let n = subjects.len();
    let mut group_of = vec![None; material.score.parts.len()];
    for (index, subject) in subjects.iter().enumerate() {
        for part in subject.parts(material.score, material.groups) {
            group_of[part] = Some(index);
        }
    }
    let new = || (0..n * n).map(|_| Pair::default()).collect::<Vec<_>>();
    let (mut with_bass, mut without) = (new(), new());
    for (slice, rows) in material.slices.iter() {
        let (mut all, mut upper): (Bands, Bands) = (vec![None; n], vec![None; n]);
        for &row in rows {
            let Some((group, key)) = group_of[material.part_of(row)].zip(material.key_of(row)) else { continue };
            let widen = |band: &mut Option<(i32, i32)>| {
                *band = Some(band.map_or((key, key), |(low, high)| (low.min(key), high.max(key))));
            };
            widen(&mut all[group]);
            if material.role_at(row, slice.from) != Role::Bass {
                widen(&mut upper[group]);
            }
        }
        neighbours(&all, slice, &mut with_bass);
        neighbours(&upper, slice, &mut without);
    }
    let mut values = Vec::new();
    for (index, (with_bass, without)) in with_bass.into_iter().zip(without).enumerate() {
        let (of, with) = (subjects[index / n], subjects[index % n]);
        values.extend(with_bass.values(of, with, ""));
        values.extend(without.values(of, with, ", bass left out"));
    }
    values
}

/// A group at a moment: twice its middle, its index, its lowest and highest key.
type Placed = (i32, usize, (i32, i32));

/// Adds the intervals between register neighbours; a pair stands under its first member in page order. Groups of one middle are neighbours of each
/// other, and all of them of the next above and below: the order of the page decides nothing.
fn neighbours(bands: &Bands, slice: &Slice, pairs: &mut [Pair]) {
    let n = bands.len();
    let mut order: Vec<Placed> =
        bands.iter().enumerate().filter_map(|(group, band)| band.map(|band| (band.0 + band.1, group, band))).collect();
    order.sort_unstable_by_key(|&(middle, group, _)| (middle, group));
    let levels: Vec<&[Placed]> = order.chunk_by(|a, b| a.0 == b.0).collect();
    let mut add = |&(_, a, lower): &Placed, &(_, b, upper): &Placed| {
        pairs[a.min(b) * n + a.max(b)].add(upper.0 - lower.1, slice);
    };
    for (index, here) in levels.iter().enumerate() {
        for (place, lower) in here.iter().enumerate() {
            here[place + 1..].iter().for_each(|upper| add(lower, upper));
            levels.get(index + 1).into_iter().flat_map(|above| above.iter()).for_each(|upper| add(lower, upper));
        }
    }
}
