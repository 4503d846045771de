//! Sharing: how melody, bass, chords and figures share out among families and sections.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::material::Material;
use crate::measure::{Measure, OnChart, Subject, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "sharing",
    title: "Who has how much of melody, bass, chords and figures",
    says: "Of all the melody in the score, the share that each family and each section plays; the same for bass, chords, figures and effects.",
    definition: "Line by line: the time in which lines of the family sound in one of these roles, of the time in which lines of the whole score do. Melody: melody and countermelody. \
                 Bass: bass. Chords: harmony and pedal. Figures: figuration, rhythm and punctuation. Effects: effect. Lines that play together count each for itself, a doubling too, so that the shares \
                 of all families add up to 1, and those of all sections likewise. Where role_shares asks what a section does, this asks who does it.",
    source: "common practice; roles as in docs/roles.md",
    example: "In the demo the woodwind have most of the melody, the brass most of the chords, the strings most of the bass and of the figures; of the brass, \
              trumpet 3 adds to the figures in bars 35 to 44.",
    on_chart: OnChart::Whole,
    take,
};

/// What roles are asked about together.
const fn kind(role: Role) -> Option<&'static str> {
    Some(match role {
        Role::Melody | Role::Countermelody => "melody",
        Role::Bass => "bass",
        Role::Harmony | Role::Pedal => "chords",
        Role::Figuration | Role::Rhythm | Role::Punctuation => "figures",
        Role::Effect => "effects",
        _ => return None,
    })
}

/// In this order they are reported.
const KINDS: [&str; 5] = ["melody", "bass", "chords", "figures", "effects"];

fn take(material: &Material<'_>) -> Vec<Value> {
    let mut of_part: Vec<BTreeMap<&str, Tally>> = vec![BTreeMap::new(); material.score.parts.len()];
    let mut wholes: BTreeMap<&str, Crotchets> = BTreeMap::new();
    let mut lines: Vec<usize> = Vec::new();
    for (slice, rows) in material.slices.iter() {
        lines.clear();
        for &row in rows {
            let line = material.line_of(row);
            if lines.contains(&line) {
                continue;
            }
            lines.push(line);
            if let Some(kind) = kind(material.role_at(row, slice.from)) {
                of_part[material.part_of(row)].entry(kind).or_default().add(slice);
                *wholes.entry(kind).or_default() += slice.length();
            }
        }
    }
    let mut values = Vec::new();
    for of in material.subjects().into_iter().filter(|of| matches!(of, Subject::Family(_) | Subject::Section(_))) {
        let parts = of.parts(material.score, material.groups);
        for kind in KINDS {
            let mut sum = Tally::default();
            parts.iter().filter_map(|&part| of_part[part].get(kind)).for_each(|tally| sum.join(tally));
            if let Some(&whole) = wholes.get(kind).filter(|_| !sum.time.is_zero()) {
                values.push(sum.value(of, None, kind, whole));
            }
        }
    }
    values
}
