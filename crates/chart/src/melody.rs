//! Who carries the melody: those who are said to lead, or else those whose role is melody.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_score::{Crotchets, Sounding};
use ripieno_texture::{Carried, Role, Support};

use crate::model::Chart;
use crate::settle::{Fault, Meant, Sounds, bar_of, last_bar};

/// Most lines with the melody, added up over the moments at which one of them begins or ends.
const MOST_STEPS: usize = 5_000_000;

/// The melody from carrier to carrier.
pub(crate) fn melody(
    chart: &Chart,
    meant: &[Option<Meant>],
    sounds: &[Sounds],
    index: &BTreeMap<(usize, u16), usize>,
    sounding: &Sounding,
) -> Result<Vec<Carried>, Fault> {
    let mut told: Vec<Carried> = Vec::new();
    for (row, meant) in chart.rows.iter().zip(meant) {
        let Some(meant) = meant.as_ref().filter(|_| row.lead) else { continue };
        let Some((part, line)) = meant.parts.iter().find_map(|&part| Some((part, *index.get(&(part, meant.line))?))) else {
            continue;
        };
        let mut others: Vec<usize> = meant.parts.iter().copied().filter(|&other| other != part).collect();
        others.sort_unstable();
        others.dedup();
        let carried = |&(from, to): &(Crotchets, Crotchets)| {
            let support = others.iter().map(|&part| along(sounding, from, to, part)).collect();
            Carried { from, to, bars: bars(sounding, from, to), part, line, support }
        };
        told.extend(meant.spans.iter().map(carried));
    }
    if told.is_empty() {
        told = by_role(chart, sounds, sounding)?;
    }
    told.sort_by_key(|carried| (carried.from, carried.part, carried.line));
    // Of two at once, the one that begins later goes on.
    let mut melody: Vec<Carried> = Vec::new();
    for carried in told {
        if let Some(last) = melody.last_mut().filter(|last| last.to > carried.from) {
            last.to = carried.from;
            last.bars.end = last_bar(sounding, last.to) + 1;
            last.support.retain_mut(|support| {
                support.to = support.to.min(carried.from);
                support.bars.end = support.bars.end.min(last.bars.end);
                support.from < support.to
            });
            if last.to <= last.from {
                melody.pop();
            }
        }
        melody.push(carried);
    }
    Ok(melody)
}

fn along(sounding: &Sounding, from: Crotchets, to: Crotchets, part: usize) -> Support {
    Support { part, from, to, bars: bars(sounding, from, to) }
}

fn bars(sounding: &Sounding, from: Crotchets, to: Crotchets) -> Range<u32> {
    bar_of(sounding, from)..last_bar(sounding, to) + 1
}

/// When a line leads, and when each part has the melody meanwhile.
type Leading = (Crotchets, Crotchets, usize, BTreeMap<usize, Vec<(Crotchets, Crotchets)>>);

/// The carrier stays as long as it has the melody; then comes who doubles nobody, and stands higher on the page.
fn by_role(chart: &Chart, sounds: &[Sounds], sounding: &Sounding) -> Result<Vec<Carried>, Fault> {
    let mut edges: BTreeSet<Crotchets> = BTreeSet::new();
    let mut all: Vec<(Crotchets, Crotchets, usize, bool)> = Vec::new();
    for (line, sounds) in sounds.iter().enumerate() {
        for stretch in sounds.stretches.iter().filter(|stretch| chart.rows[stretch.row].roles.first() == Some(&Role::Melody)) {
            all.push((stretch.from, stretch.to, line, chart.rows[stretch.row].doubles.is_some()));
            edges.extend([stretch.from, stretch.to]);
        }
    }
    all.sort_unstable();
    let mut melody: Vec<Leading> = Vec::new();
    let edges: Vec<Crotchets> = edges.into_iter().collect();
    let (mut now, mut next): (Vec<(Crotchets, usize, bool)>, usize) = (Vec::new(), 0);
    let mut steps = 0;
    for pair in edges.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        steps += now.len();
        if steps > MOST_STEPS {
            let what = "more lines have the melody at once, and change more often, than can be followed";
            return Err(Fault::whole(what, "Say with lead = true to whom it is to be followed"));
        }
        now.retain(|one| one.0 > from);
        while let Some(&(_, end, line, follows)) = all.get(next).filter(|one| one.0 <= from) {
            now.push((end, line, follows));
            next += 1;
        }
        let lines: BTreeSet<usize> = now.iter().map(|one| one.1).collect();
        let Some(first) = now.iter().map(|&(_, line, follows)| (follows, line)).min().map(|first| first.1) else { continue };
        let last = melody.last_mut().filter(|last| last.1 == from && lines.contains(&last.2));
        let carried = match last {
            Some(last) => {
                last.1 = to;
                last
            }
            None => {
                melody.push((from, to, first, BTreeMap::new()));
                let Some(last) = melody.last_mut() else { continue };
                last
            }
        };
        let parts: BTreeSet<usize> = lines.iter().map(|&line| sounds[line].part).collect();
        for part in parts {
            let times = carried.3.entry(part).or_default();
            match times.last_mut().filter(|last| last.1 == from) {
                Some(last) => last.1 = to,
                None => times.push((from, to)),
            }
        }
    }
    let carried = |(from, to, line, with): Leading| {
        let part = sounds[line].part;
        let others = with.into_iter().filter(|&(other, _)| other != part);
        let support = others.flat_map(|(other, times)| times.into_iter().map(move |(from, to)| along(sounding, from, to, other)));
        Carried { from, to, bars: bars(sounding, from, to), part, line, support: support.collect() }
    };
    Ok(melody.into_iter().map(carried).collect())
}
