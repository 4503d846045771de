//! Thickened lines: a tune with another line running parallel to it.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;
use ripieno_texture::{Attack, ChordTone, Layer, Member};

use super::overlap::Overlap;
use crate::material::Material;
use crate::measure::{Measure, Subject, Unit, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "thickened_lines",
    title: "Thickened lines",
    says: "Where a tune is thickened by lines that run parallel to it: which section thickens which, for how long, at which interval, and whether the added notes keep to the chord.",
    definition: "In layers (docs/roles.md) whose chief line has melody or countermelody: another line of the layer that has it too and, over at least four notes begun \
                 together, makes at least three fifths of its steps the same way, to within two semitones. A single octave or unison among other intervals goes by uncounted, two end the stretch. The first section has the line \
                 that is thickened: of those that play the chief line's note, at whatever octave, the nearest; the second section has the added line. Time: crotchets in which such a \
                 pair sounds together, several lines of one section counted once. Share of the tune: of the time in which the first section has a line with melody or countermelody. Usual \
                 interval: the one with most notes, from the thickened line to the added one, negative below; of equals the smaller. On chord tones: share of the added notes that are \
                 tones of the chord of the moment, where there is one.",
    source: "common practice; the definition is this project's",
    example: "EXAMPLE",
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
        for note in stretch.iter().filter(|note| !note.is_octave()) {
            let attack = &added.attacks[note.attack];
            let (line, interval, end) = nearest(material, layer, member, attack, note);
            let section = |line: usize| Subject::Section(section_of[material.lines.lines[line].part]);
            let sum = found.entry((section(line), section(member.line))).or_default();
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
    let in_bars = |attacks: &[Attack]| {
        let first = attacks.partition_point(|attack| attack.bar < member.bars.start);
        first..attacks.partition_point(|attack| attack.bar < member.bars.end)
    };
    let theirs = &material.lines.lines[chief].attacks;
    let theirs = &theirs[in_bars(theirs)];
    let ours = &material.lines.lines[member.line].attacks;
    let mut found: Vec<Vec<Common>> = Vec::new();
    let mut open: Vec<Common> = Vec::new();
    for attack in in_bars(ours) {
        let note = &ours[attack];
        let Ok(at) = theirs.binary_search_by_key(&note.onset, |attack| attack.onset) else { continue };
        let Some((chief_top, top)) = theirs[at].top.zip(note.top) else { continue };
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

/// Which of the lines that play the chief line's note, at whatever octave, lies nearest: the line, the interval from it, and when its note ends.
fn nearest(material: &Material<'_>, layer: &Layer, member: &Member, attack: &Attack, note: &Common) -> (usize, i32, Crotchets) {
    let with = layer.members.iter().filter(|other| other.line != member.line && other.bars.contains(&attack.bar));
    let on_it = with.filter_map(|other| {
        let attacks = &material.lines.lines[other.line].attacks;
        let at = attacks.binary_search_by_key(&attack.onset, |attack| attack.onset).ok()?;
        let key = i32::from(attacks[at].top?);
        ((key - note.chief) % 12 == 0).then_some((other.line, note.added - key, attacks[at].end))
    });
    // The chief line stands first and is kept among equals.
    let best = on_it.min_by_key(|&(_, interval, _)| interval.abs());
    best.unwrap_or((layer.members[0].line, note.added - note.chief, attack.end))
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
