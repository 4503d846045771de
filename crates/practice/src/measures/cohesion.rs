//! Cohesion: do the players of one instrument act together.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::Family;
use ripieno_texture::Role;

use super::stack::is_one_rhythm;
use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Unit, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "cohesion",
    title: "Do sections hold together",
    says: "How much of the time the players of a section share a layer or a role, and every way in which they do not.",
    definition: "Moment by moment, while at least two lines of the section sound: together when all of them lie in one layer, or all have one role. Four \
                 horns in one chord are together; two on the tune and two on the chord are not. Shares are of the time in which at least two lines sound; each exception names the \
                 roles that stand against each other, with its bars. Several lines: that time, as a share of all the time in which the section sounds. Players who read one line together are one line; double stops and divided desks are several. Rhythms part: of the bars in which at least two lines sound at once, those in which not all lines move in one rhythm as in one stack or several. \
                 Left out: sections of one player, and percussion.",
    source: "common practice of analysis; the definition is this project's",
    example: "The demo's trumpets split in bars 35 to 44: two have the tune, the third keeps the pulse.",
    on_chart: OnChart::Without("without what parts in rhythm"),
    take,
};

fn take(material: &Material<'_>) -> Vec<Value> {
    let sections = material.groups.sections.len();
    let mut section_of = vec![usize::MAX; material.score.parts.len()];
    for (index, section) in material.groups.sections.iter().enumerate() {
        for &part in &section.parts {
            section_of[part] = index;
        }
    }
    let mut whole = vec![Tally::default(); sections];
    let mut together = vec![Tally::default(); sections];
    let mut apart: Vec<BTreeMap<String, Tally>> = vec![BTreeMap::new(); sections];
    let mut sounds = vec![Tally::default(); sections];
    let mut here: Vec<Vec<(usize, Role)>> = vec![Vec::new(); sections];
    for (slice, rows) in material.slices.iter() {
        here.iter_mut().for_each(Vec::clear);
        for &row in rows {
            let line = material.line_of(row);
            let Some(lines) = here.get_mut(section_of[material.part_of(row)]) else { continue };
            if !lines.iter().any(|(other, _)| *other == line) {
                lines.push((line, material.role_at(row, slice.from)));
            }
        }
        for (section, lines) in here.iter().enumerate().filter(|(_, lines)| !lines.is_empty()) {
            sounds[section].add(slice);
            if lines.len() < 2 {
                continue;
            }
            whole[section].add(slice);
            let layers: BTreeSet<Option<usize>> =
                lines.iter().map(|&(line, _)| material.roles.layers.of(line, slice.bar)).collect();
            let roles: BTreeSet<Role> = lines.iter().map(|&(_, role)| role).collect();
            let one_layer = layers.len() == 1 && !layers.contains(&None);
            if one_layer || roles.len() == 1 {
                together[section].add(slice);
            } else {
                let names: Vec<&str> = roles.iter().map(|role| role.name()).collect();
                apart[section].entry(names.join(" against ")).or_default().add(slice);
            }
        }
    }
    let mut values = Vec::new();
    for (section, (together, apart)) in together.into_iter().zip(apart).enumerate() {
        let several = std::mem::take(&mut whole[section]);
        let (of, whole) = (Subject::Section(section), several.time);
        if whole.is_zero() || !plays_together(material, section) {
            continue;
        }
        values.push(several.clone().value(of, None, SEVERAL, sounds[section].time));
        values.push(together.value(of, None, "together", whole));
        values.extend(apart.into_iter().map(|(roles, tally)| tally.value(of, None, roles, whole)));
        if !material.charted {
            values.extend(rhythms_part(material, of, &several.bars));
        }
    }
    values
}

/// Of the bars in which at least two lines of a section sound at once, those in which they do not move in one rhythm.
fn rhythms_part(material: &Material<'_>, of: Subject, several: &[u32]) -> Option<Value> {
    let member = material.members(of);
    let apart: Vec<u32> = several.iter().copied().filter(|&bar| !is_one_rhythm(material, &member, bar)).collect();
    #[allow(clippy::cast_precision_loss)] // bars of a score
    let value = apart.len() as f64 / several.len() as f64;
    let whole = !several.is_empty();
    whole.then(|| Value { of, with: None, aspect: RHYTHMS.to_owned(), value, unit: Unit::ShareOfBars, bars: apart })
}

/// What the time of several lines is called; its bars are those of which [`rhythms_part`] tells a share.
pub(crate) const SEVERAL: &str = "several lines, of all its time";
/// What [`rhythms_part`] is called.
pub(crate) const RHYTHMS: &str = "rhythms part";

/// Whether a section has several players whose acting together means something.
fn plays_together(material: &Material<'_>, section: usize) -> bool {
    let group = &material.groups.sections[section];
    let people: u32 = group.parts.iter().map(|&part| u32::from(material.score.parts[part].players.most)).sum();
    group.family != Family::Percussion && people > 1
}
