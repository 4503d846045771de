//! Role shares: what a section does with the time in which it plays.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::material::Material;
use crate::measure::{Measure, OnChart, Value};
use crate::tally::Tally;

pub(super) const MEASURE: Measure = Measure {
    name: "role_shares",
    title: "What each section does",
    says: "Of the time in which a section, a family or a part plays, the share it spends on each role.",
    definition: "Line by line: the time in which a line sounds in a role, summed over the lines of the group, divided by the time in which \
                 its lines sound. Lines that play together count each for itself, so the shares of a group add up to 1. A doubling has the role of what it \
                 doubles and is no second role.",
    source: "common practice; roles as in docs/roles.md",
    example: "Of the demo's six horns, most of the time goes to harmony, and the countermelody of bars 35 to 45 shows as their second role.",
    on_chart: OnChart::Whole,
    take,
};

fn take(material: &Material<'_>) -> Vec<Value> {
    // Time of each part in each role: groups are sums of their parts.
    let mut of_part: Vec<BTreeMap<Role, Tally>> = vec![BTreeMap::new(); material.score.parts.len()];
    for (slice, rows) in material.slices.iter() {
        let mut seen: Vec<usize> = Vec::new();
        for &row in rows {
            let line = material.line_of(row);
            if !seen.contains(&line) {
                seen.push(line);
                of_part[material.part_of(row)].entry(material.role_at(row, slice.from)).or_default().add(slice);
            }
        }
    }
    let mut values = Vec::new();
    for subject in material.subjects() {
        let parts = subject.parts(material.score, material.groups);
        let mut roles: BTreeMap<Role, Tally> = BTreeMap::new();
        for (role, tally) in parts.iter().flat_map(|&part| &of_part[part]) {
            let sum = roles.entry(*role).or_default();
            sum.time += tally.time;
            sum.bars.extend(&tally.bars);
        }
        let whole: Crotchets = roles.values().map(|tally| tally.time).sum();
        for (role, mut tally) in roles {
            tally.bars.sort_unstable();
            tally.bars.dedup();
            values.push(tally.value(subject, None, role.name(), whole));
        }
    }
    values
}
