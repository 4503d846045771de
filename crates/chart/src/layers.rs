//! Layers by letters: those with one letter act together; those without, by their chief role.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_score::Sounding;
use ripieno_texture::{Carried, Layer, Layers, Member, Role};

use crate::model::Chart;
use crate::settle::{Sounds, bar_of, last_bar};

/// What holds lines together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Bond<'a> {
    Letter(&'a str),
    Role(Option<Role>),
}

/// A layer on its way.
struct Open {
    bars: Range<u32>,
    members: Vec<(usize, Range<u32>)>,
    /// Where a line's last membership is, by line.
    last: BTreeMap<usize, usize>,
}

/// The layers. In a bar a line lies in that of its first stretch there.
pub(crate) fn layers(chart: &Chart, sounds: &[Sounds], sounding: &Sounding, melody: &[Carried]) -> Layers {
    let mut of_bar: BTreeMap<u32, BTreeMap<Bond<'_>, BTreeSet<usize>>> = BTreeMap::new();
    for (line, sounds) in sounds.iter().enumerate() {
        let mut free = 0;
        for stretch in &sounds.stretches {
            let row = &chart.rows[stretch.row];
            let bond = match row.layer.trim() {
                "" => Bond::Role(row.roles.first().copied()),
                letter => Bond::Letter(letter),
            };
            let last = last_bar(sounding, stretch.to);
            for bar in bar_of(sounding, stretch.from).max(free)..=last {
                of_bar.entry(bar).or_default().entry(bond).or_default().insert(line);
            }
            free = free.max(last + 1);
        }
    }
    let mut open: BTreeMap<Bond<'_>, Open> = BTreeMap::new();
    let mut closed: Vec<Open> = Vec::new();
    for (bar, bonds) in of_bar {
        for (bond, lines) in bonds {
            let layer = match open.remove(&bond) {
                Some(mut layer) if layer.bars.end == bar => {
                    layer.bars.end = bar + 1;
                    layer
                }
                other => {
                    closed.extend(other);
                    Open { bars: bar..bar + 1, members: Vec::new(), last: BTreeMap::new() }
                }
            };
            open.insert(bond, with(layer, &lines, bar));
        }
    }
    closed.extend(open.into_values());
    // The melody goes forward in time, so what each line has of it is in order.
    let mut of_line: BTreeMap<usize, Vec<&Range<u32>>> = BTreeMap::new();
    for carried in melody {
        of_line.entry(carried.line).or_default().push(&carried.bars);
    }
    let leads = |line: usize, bars: &Range<u32>| {
        let carried = of_line.get(&line).map_or(&[][..], Vec::as_slice);
        let next = carried.partition_point(|carried| carried.end <= bars.start);
        carried.get(next).is_some_and(|carried| carried.start < bars.end)
    };
    let layer = |mut open: Open| {
        open.members.sort_by_cached_key(|(line, bars)| (!leads(*line, bars), *line, bars.start));
        let members = open.members.into_iter().map(|(line, bars)| Member { line, bars, relation: None }).collect();
        Layer { bars: open.bars, members }
    };
    Layers::new(closed.into_iter().map(layer).collect())
}

fn with(mut layer: Open, lines: &BTreeSet<usize>, bar: u32) -> Open {
    for &line in lines {
        let last = layer.last.get(&line).and_then(|&at| layer.members.get_mut(at));
        match last.filter(|member| member.1.end == bar) {
            Some(member) => member.1.end = bar + 1,
            None => {
                layer.last.insert(line, layer.members.len());
                layer.members.push((line, bar..bar + 1));
            }
        }
    }
    layer
}
