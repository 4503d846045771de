//! One stack or several: how a full body is put together.

use std::collections::BTreeSet;

use ripieno_score::Crotchets;

use super::presence::bars_with_sound;
use super::tutti::{Standing, bars_with_all};
use crate::groups::Group;
use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "stack",
    title: "One stack or several",
    says: "In the bars in which all sections of a family or a named group play: whether they are one chord in one rhythm, one line in octaves, or several things at once.",
    definition: "Tutti bars: those in which every section of the family, or of the group a person has named, that has pitch sounds; the whole score's, those in which woodwind, brass and strings, as far as they play in at least a \
                 tenth of the bars, each sound with at least two thirds of their sections. One rhythm: each line of the body has at least three quarters of all moments at which any of them \
                 attacks in the bar. In such a bar, moment by moment: one stack when at least three pitch classes sound, neighbours above the lowest note no more than an octave apart, \
                 all but one at most being tones of the chord of the moment; octaves when a single pitch class sounds; chord with holes or foreign notes otherwise. A tutti bar \
                 without one rhythm is split, and its time is counted by how many roles are told in it. By layers: in how many of them (docs/roles.md) the lines with pitch of the body lie. Shares are of the time of the tutti bars.",
    source: "common practice of analysis; the definition is this project's",
    example: "The demo's second tutti (81 to 88) is one stack; in the first and third (35 to 45, 89 to 100) the groups hold different roles.",
    on_chart: OnChart::Without("by layers alone, without rhythm and chords"),
    take,
};

fn take(material: &Material<'_>) -> Vec<Value> {
    let mut values = Vec::new();
    let standing = Standing::new(material.sounding, material.groups);
    let parts: Vec<usize> =
        standing.families.iter().flat_map(|&family| material.groups.families[family].parts.iter().copied()).collect();
    let full = standing.full_bars(material.sounding, material.groups);
    if !full.is_empty() {
        values.extend(of_body(material, Subject::Everybody, &parts, &full));
    }
    let families = (0..material.groups.families.len()).map(Subject::Family);
    for of in families.chain((0..material.groups.named.len()).map(Subject::Named)) {
        let member = material.members(of);
        let own = |section: &Group| section.parts.iter().copied().filter(|&part| member[part]).collect::<Vec<_>>();
        let sections: Vec<Vec<usize>> =
            material.groups.sections.iter().map(own).filter(|parts| has_pitch(material, parts)).collect();
        if sections.len() < 2 {
            continue;
        }
        let present: Vec<Vec<u32>> = sections.iter().map(|parts| bars_with_sound(material.sounding, parts)).collect();
        let bars = bars_with_all(&present.iter().map(Vec::as_slice).collect::<Vec<_>>());
        if !bars.is_empty() {
            values.extend(of_body(material, of, &sections.concat(), &bars));
        }
    }
    values
}

fn has_pitch(material: &Material<'_>, parts: &[usize]) -> bool {
    let rows = |part: usize| material.sounding.notes.of_part[part].clone();
    parts.iter().any(|&part| rows(part).any(|row| u32::try_from(row).is_ok_and(|row| material.has_pitch(row))))
}

fn of_body(material: &Material<'_>, of: Subject, parts: &[usize], bars: &[u32]) -> Vec<Value> {
    let mut member = vec![false; material.score.parts.len()];
    parts.iter().for_each(|&part| member[part] = true);
    let one_rhythm: BTreeSet<u32> =
        bars.iter().copied().filter(|&bar| !material.charted && is_one_rhythm(material, &member, bar)).collect();
    let mut layers: std::collections::BTreeMap<usize, Tally> = std::collections::BTreeMap::new();
    let mut all = Tally::default();
    let mut kinds: std::collections::BTreeMap<String, Tally> = std::collections::BTreeMap::new();
    for (slice, rows) in material.slices.iter() {
        if bars.binary_search(&slice.bar).is_err() {
            continue;
        }
        all.add(slice);
        let here: Vec<u32> = rows.iter().copied().filter(|&row| member[material.part_of(row)]).collect();
        let pitched = here.iter().filter(|&&row| material.has_pitch(row)).map(|&row| material.line_of(row));
        let of_lines: BTreeSet<Option<usize>> = pitched.map(|line| material.roles.layers.of(line, slice.bar)).collect();
        if !of_lines.is_empty() {
            layers.entry(of_lines.len().min(LAYERS.len())).or_default().add(slice);
        }
        // Rhythm and chords a chart does not know.
        if material.charted {
            continue;
        }
        let kind = if one_rhythm.contains(&slice.bar) {
            together(material, &here, slice.from).to_owned()
        } else {
            let roles: BTreeSet<_> = here
                .iter()
                .filter(|&&row| material.key_of(row).is_some())
                .map(|&row| material.role_at(row, slice.from))
                .collect();
            match roles.len() {
                0 => "silence".to_owned(),
                1 => "split in rhythm, one role".to_owned(),
                number => format!("split, {number} roles"),
            }
        };
        kinds.entry(kind).or_default().add(slice);
    }
    #[allow(clippy::cast_precision_loss)] // bars of a score
    let count = Value {
        of,
        with: None,
        aspect: "tutti bars".to_owned(),
        value: bars.len() as f64,
        unit: Unit::Bars,
        bars: bars.to_vec(),
    };
    let whole = all.time;
    let kinds = kinds.into_iter().map(|(kind, tally)| tally.value(of, None, kind, whole));
    let layers = layers.into_iter().map(|(number, tally)| tally.value(of, None, LAYERS[number - 1], whole));
    std::iter::once(count).chain(kinds).chain(layers).collect()
}

/// In how many layers a body plays.
const LAYERS: [&str; 4] = ["in one layer", "in two layers", "in three layers", "in four layers or more"];

/// Whether every line of the body that sounds with pitch in the bar takes part in three quarters of all moments of attack.
pub(crate) fn is_one_rhythm(material: &Material<'_>, member: &[bool], bar: u32) -> bool {
    let mut rhythms: Vec<Vec<Crotchets>> = Vec::new();
    let mut moments: BTreeSet<Crotchets> = BTreeSet::new();
    let Some(played) = material.sounding.bars.get(bar as usize) else { return false };
    for line in material.lines.lines.iter().filter(|line| member[line.part]) {
        let own: Vec<Crotchets> = line.attacks[line.attacks_in(played.start, played.start + played.length)]
            .iter()
            .filter(|attack| attack.top.is_some())
            .map(|attack| attack.onset)
            .collect();
        if own.is_empty() {
            // A line that holds on from before has another rhythm, unless nobody attacks.
            let next = line.attacks.partition_point(|attack| attack.onset < played.start);
            let holds =
                next.checked_sub(1).is_some_and(|at| line.attacks[at].end > played.start && line.attacks[at].top.is_some());
            if holds {
                rhythms.push(own);
            }
            continue;
        }
        moments.extend(&own);
        rhythms.push(own);
    }
    !rhythms.is_empty() && rhythms.iter().all(|own| own.len() * 4 >= moments.len() * 3)
}

/// What a body in one rhythm is at a moment.
fn together(material: &Material<'_>, rows: &[u32], at: Crotchets) -> &'static str {
    let mut keys: Vec<i32> = rows.iter().filter_map(|&row| material.key_of(row)).collect();
    keys.sort_unstable();
    keys.dedup();
    let classes: BTreeSet<i32> = keys.iter().map(|key| key.rem_euclid(12)).collect();
    let spaced = keys.windows(2).skip(1).all(|pair| pair[1] - pair[0] <= 12);
    let foreign = material.harmony.chord_at(at).map_or(0, |chord| {
        let foreign =
            |class: &&i32| u8::try_from(**class).is_ok_and(|class| chord.tone(class) == ripieno_texture::ChordTone::Foreign);
        classes.iter().filter(foreign).count()
    });
    match classes.len() {
        0 => "silence",
        1 => "octaves",
        2 => "two tones in one rhythm",
        _ if spaced && foreign <= 1 => "one stack",
        _ => "one rhythm, chord with holes or foreign notes",
    }
}
