//! Thickened lines: a tune with another line running parallel to it.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;
use ripieno_texture::{ChordTone, Layer, Member};

use super::overlap::Overlap;
use crate::attacks::{begun_at, in_bars};
use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "thickened_lines",
    title: "Thickened lines",
    says: "Where a tune is thickened by lines that run parallel to it: which section thickens which, for how long, at which interval, and whether the added notes keep to the chord.",
    definition: "In layers (docs/roles.md) whose chief line has melody or countermelody: another line of the layer that has it too and, over at least four notes begun \
                 together, makes at least three fifths of its steps the same way, to within two semitones. A single octave or unison among other intervals goes by uncounted, two end the stretch. The first section has the line \
                 that is thickened: of those that play at least three quarters of the chief line's notes, at whatever octave, the nearest, of equals one of the second section; the second section has the added line. Time: crotchets in which such a \
                 pair sounds together, several lines of one section counted once. Share of the tune: of the time in which the first section has a line with melody or countermelody. Usual \
                 interval: the one with most notes, from the thickened line to the added one, negative below; of equals the smaller. On chord tones: share of the added notes that are \
                 tones of the chord of the moment, where there is one.",
    source: "common practice; the definition is this project's",
    example: "In the demo the second violins run in thirds below the first in bars 60 to 64, the second flute below the first in 12, 16, 31 and 32.",
    on_chart: OnChart::Not,
    take,
};

/// Notes below which two lines in one rhythm are no thickening, as for doublings.
const LEAST_NOTES: usize = 4;

/// How one section thickens another.
#[derive(Default)]
struct Thickening {
    overlap: Overlap,
    /// Notes at each interval.
    intervals: BTreeMap<i32, u32>,
    /// Added notes with a chord to be held against, and those of them that belong to it.
    judged: u32,
    on_chord: u32,
}

fn take(material: &Material<'_>) -> Vec<Value> {
    let section_of = material.groups.section_of_parts();
    let mut found: BTreeMap<(Subject, Subject), Thickening> = BTreeMap::new();
    for layer in &material.roles.layers.layers {
        let chief = layer.members.first().map_or(0, |chief| chief.line);
        for member in layer.members.iter().filter(|member| member.line != chief) {
            gather(material, layer, member, &section_of, &mut found);
        }
    }
    let tunes = tune_time(material, &section_of);
    let mut values = Vec::new();
    for ((of, with), sum) in found {
        values.extend(of_pair(material, (of, with), sum, tunes.get(&of).map_or(Crotchets::ZERO, |tally| tally.time)));
    }
    values
}

/// A moment at which the chief line and another begin a note: index of the other's attack, and both keys.
struct Common {
    attack: usize,
    chief: i32,
    added: i32,
}

impl Common {
    const fn is_octave(&self) -> bool {
        (self.added - self.chief) % 12 == 0
    }
}

/// Adds the notes with which one member of a layer thickens its chief line.
fn gather(
    material: &Material<'_>,
    layer: &Layer,
    member: &Member,
    section_of: &[usize],
    found: &mut BTreeMap<(Subject, Subject), Thickening>,
) {
    let added = &material.lines.lines[member.line];
    for stretch in stretches(material, layer.members[0].line, member) {
        let (of, notes) = thickened(material, layer, member, &stretch, section_of);
        let section = |line: usize| Subject::Section(section_of[material.lines.lines[line].part]);
        let sum = found.entry((section(of), section(member.line))).or_default();
        for (note, interval, end) in notes {
            let attack = &added.attacks[note.attack];
            *sum.intervals.entry(interval).or_default() += 1;
            sum.overlap.add(attack.onset, attack.end.min(end));
            if let Some(chord) = material.harmony.chord_at(attack.onset) {
                let tone = chord.tone(u8::try_from(note.added.rem_euclid(12)).unwrap_or(0));
                sum.judged += 1;
                sum.on_chord += u32::from(tone != ChordTone::Foreign);
            }
        }
    }
}

/// Stretches of common notes in which the member runs parallel to the chief line while both have the tune.
fn stretches(material: &Material<'_>, chief: usize, member: &Member) -> Vec<Vec<Common>> {
    let tune = |line: usize, at| material.span_at(line, at).is_some_and(|span| span.role().is_tune());
    let theirs = &material.lines.lines[chief].attacks;
    let theirs = &theirs[in_bars(theirs, &member.bars)];
    let ours = &material.lines.lines[member.line].attacks;
    let mut found: Vec<Vec<Common>> = Vec::new();
    let mut open: Vec<Common> = Vec::new();
    for attack in in_bars(ours, &member.bars) {
        let note = &ours[attack];
        let Some(begun) = begun_at(theirs, note.onset) else { continue };
        let Some((chief_top, top)) = begun.top.zip(note.top) else { continue };
        let common = Common { attack, chief: i32::from(chief_top), added: i32::from(top) };
        // One octave among other intervals goes by; two end the stretch.
        let ends = common.is_octave() && open.last().is_none_or(Common::is_octave);
        if ends || !tune(chief, note.onset) || !tune(member.line, note.onset) {
            found.push(std::mem::take(&mut open));
        } else {
            open.push(common);
        }
    }
    found.push(open);
    found.retain(|stretch| is_parallel(stretch));
    found
}

/// Whether enough notes are no octaves, and enough steps run alike.
fn is_parallel(stretch: &[Common]) -> bool {
    let notes = stretch.iter().filter(|note| !note.is_octave()).count();
    let steps = stretch.windows(2).map(|pair| (pair[1].chief - pair[0].chief, pair[1].added - pair[0].added));
    let (mut alike, mut all) = (0, 0);
    for (chief, added) in steps.filter(|steps| *steps != (0, 0)) {
        all += 1;
        alike += usize::from(chief.signum() == added.signum() && (chief - added).abs() <= 2);
    }
    notes >= LEAST_NOTES && all > 0 && alike * 5 >= all * 3
}

/// A note of the added line, its interval from the thickened one, and when that one's note ends.
type Thick<'a> = (&'a Common, i32, Crotchets);

/// Which line is thickened: of those that play three quarters of the chief line's notes, at whatever octave, the nearest, of equals one of the same section. With
/// its notes that are no octaves of the added ones.
fn thickened<'a>(
    material: &Material<'_>,
    layer: &Layer,
    member: &Member,
    stretch: &'a [Common],
    section_of: &[usize],
) -> (usize, Vec<Thick<'a>>) {
    let added = &material.lines.lines[member.line];
    let thick: Vec<&Common> = stretch.iter().filter(|note| !note.is_octave()).collect();
    let on_tune = |line: usize| {
        let attacks = &material.lines.lines[line].attacks;
        let note = |note: &&'a Common| {
            let begun = begun_at(attacks, added.attacks[note.attack].onset)?;
            let key = i32::from(begun.top?);
            ((key - note.chief) % 12 == 0).then_some((*note, note.added - key, begun.end))
        };
        thick.iter().filter_map(note).collect::<Vec<Thick<'a>>>()
    };
    let chief = layer.members[0].line;
    let mut best = (chief, on_tune(chief));
    let far = |line: usize, notes: &[Thick<'_>]| {
        let sum: i32 = notes.iter().map(|(_, interval, _)| interval.abs()).sum();
        let section = section_of[material.lines.lines[line].part];
        // The name breaks ties, so that the order of the page decides nothing.
        let name = material.groups.sections.get(section).map_or("", |group| group.name);
        (sum / i32::try_from(notes.len().max(1)).unwrap_or(i32::MAX), section != section_of[added.part], name)
    };
    let (Some(first), Some(last)) = (stretch.first(), stretch.last()) else { return best };
    let (first, last) = (added.attacks[first.attack].bar, added.attacks[last.attack].bar);
    for other in &layer.members[1..] {
        if other.line == member.line || other.bars.start > last || other.bars.end <= first {
            continue;
        }
        let notes = on_tune(other.line);
        if notes.len() * 4 >= thick.len() * 3 && far(other.line, &notes) < far(best.0, &best.1) {
            best = (other.line, notes);
        }
    }
    best
}

fn of_pair(material: &Material<'_>, (of, with): (Subject, Subject), sum: Thickening, tune: Crotchets) -> Vec<Value> {
    let usual = sum.intervals.iter().max_by_key(|&(&interval, &count)| (count, std::cmp::Reverse(interval.abs()), interval));
    let Some((&usual, _)) = usual else { return Vec::new() };
    let notes: u32 = sum.intervals.values().sum();
    let tally = sum.overlap.tally(material.sounding);
    let number = |aspect: &str, value: f64, unit: Unit| Value {
        of,
        with: Some(with),
        aspect: aspect.to_owned(),
        value,
        unit,
        bars: tally.bars.clone(),
    };
    let mut values = vec![
        number("time", tally.time.to_f64(), Unit::Crotchets),
        number("notes", f64::from(notes), Unit::Count),
        number("usual interval", f64::from(usual), Unit::Semitones),
    ];
    if sum.judged > 0 {
        values.push(number("on chord tones", f64::from(sum.on_chord) / f64::from(sum.judged), Unit::ShareOfNotes));
    }
    values.push(tally.value(of, Some(with), "share of the tune", tune));
    values
}

/// Time in which each section has a line with melody or countermelody.
fn tune_time(material: &Material<'_>, section_of: &[usize]) -> BTreeMap<Subject, Tally> {
    let mut times: BTreeMap<Subject, Tally> = BTreeMap::new();
    let mut here: Vec<Subject> = Vec::new();
    for (slice, rows) in material.slices.iter() {
        here.clear();
        let sung = rows.iter().filter(|&&row| material.role_at(row, slice.from).is_tune());
        here.extend(sung.map(|&row| Subject::Section(section_of[material.part_of(row)])));
        here.sort_unstable();
        here.dedup();
        here.iter().for_each(|&section| times.entry(section).or_default().add(slice));
    }
    times
}
