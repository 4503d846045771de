//! The main line through the piece: which line carries the melody at each moment, across hand-offs.

use std::collections::BTreeMap;

use ripieno_instruments::catalogue::catalogue;
use ripieno_instruments::family::Family;
use ripieno_score::{Crotchets, Part, Score, Sounding};

use super::cell::Cell;
use super::figure::figure;
use crate::layers::group::Place;
use crate::learned::{RoleProbabilities, is_guessed};
use crate::role::Role;

/// Price of a hand-off, in natural logarithms of the lead: low, since the melody does wander.
const HAND_OFF: f32 = 0.35;
/// How much of its lead a line keeps that was told a countermelody, or no tune at all: map and melody should say the same.
const AGAINST: f32 = 0.5;
const NO_TUNE: f32 = 0.25;
/// A strand that leads nowhere still has this much.
const LEAST: f32 = 0.02;

/// A stretch in which the same lines carry the melody.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Carried {
    /// When it begins, from the start of the piece: at the carrier's upbeat where it has one.
    pub from: Crotchets,
    /// When the next carrier takes over, or the carrier falls silent.
    pub to: Crotchets,
    /// Played bars it touches, end exclusive.
    pub bars: std::ops::Range<u32>,
    /// The part with the strongest lead.
    pub part: usize,
    /// The line within the piece, index into [`crate::Lines::lines`].
    pub line: usize,
    /// All parts that carry it in unison or octaves for at least half of the stretch, the carrier among them, in score order.
    pub parts: Vec<usize>,
}

/// One strand of a bar.
struct Candidate {
    lead: f32,
    lines: Vec<u32>,
    /// The cell with the strongest lead.
    best: usize,
}

/// Follows the melody. `by_bar` lists the cells of each bar.
pub(crate) fn thread(
    sounding: &Sounding,
    learned: &RoleProbabilities,
    prominence: &[f32],
    cells: &[Cell],
    by_bar: &[Vec<usize>],
    places: &[Place],
    roles: &[Role],
) -> Vec<Carried> {
    let candidates: Vec<Vec<Candidate>> =
        by_bar.iter().map(|here| strands(learned, prominence, cells, here, places, roles)).collect();
    // Cells of the melody, bar by bar.
    let mut chosen: Vec<Option<&Candidate>> = vec![None; by_bar.len()];
    let mut first = 0;
    while first < candidates.len() {
        let length = candidates[first..].iter().take_while(|here| !here.is_empty()).count();
        if length == 0 {
            first += 1;
            continue;
        }
        for (bar, state) in (first..).zip(likeliest(&candidates[first..first + length])) {
            chosen[bar] = Some(&candidates[bar][state]);
        }
        first += length;
    }
    joined(sounding, cells, by_bar, &chosen)
}

#[allow(clippy::cast_precision_loss)]
fn strands(
    learned: &RoleProbabilities,
    prominence: &[f32],
    cells: &[Cell],
    here: &[usize],
    places: &[Place],
    roles: &[Role],
) -> Vec<Candidate> {
    /// Lead of each part, lines, best cell.
    type Strand = (BTreeMap<usize, f32>, Vec<u32>, usize);
    let mut found: BTreeMap<usize, Strand> = BTreeMap::new();
    for &index in here.iter().filter(|&&index| !cells[index].is_unpitched()) {
        let cell = &cells[index];
        let lead = |index: usize| {
            let cell = &cells[index];
            let told = match roles[index] {
                Role::Melody => 1.0,
                Role::Countermelody => AGAINST,
                _ => NO_TUNE,
            };
            learned.lead[cell.part][cell.bar] * prominence[cell.part] * figure(cell).tuneful(cell.tremolo) * told
        };
        let entry = found.entry(places[index].strand).or_insert_with(|| (BTreeMap::new(), Vec::new(), index));
        let of_part = entry.0.entry(cell.part).or_default();
        *of_part = of_part.max(lead(index));
        entry.1.push(cell.line);
        // Of equal lines the higher: the first violins rather than the bassoon below them.
        if (lead(index), cell.standing.high) > (lead(entry.2), cells[entry.2].standing.high) {
            entry.2 = index;
        }
    }
    let all: f32 = found.values().flat_map(|(leads, ..)| leads.values()).sum();
    found
        .into_values()
        .map(|(leads, lines, best)| Candidate { lead: leads.values().sum::<f32>() / all.max(1e-6), lines, best })
        .collect()
}

/// The likeliest row of strands through bars that all have some.
fn likeliest(bars: &[Vec<Candidate>]) -> Vec<usize> {
    let mut best: Vec<f32> = bars[0].iter().map(|strand| (strand.lead + LEAST).ln()).collect();
    let mut from: Vec<Vec<usize>> = vec![Vec::new()];
    for pair in bars.windows(2) {
        let mut came = Vec::with_capacity(pair[1].len());
        let mut next = Vec::with_capacity(pair[1].len());
        for strand in &pair[1] {
            let after = |state: usize| {
                let goes_on = pair[0][state].lines.iter().any(|line| strand.lines.contains(line));
                best[state] - if goes_on { 0.0 } else { HAND_OFF }
            };
            let state = (1..pair[0].len()).fold(0, |a, b| if after(b) > after(a) { b } else { a });
            came.push(state);
            next.push(after(state) + (strand.lead + LEAST).ln());
        }
        best = next;
        from.push(came);
    }
    let mut state = (1..best.len()).fold(0, |a, b| if best[b] > best[a] { b } else { a });
    let mut path = vec![state; bars.len()];
    for bar in (1..bars.len()).rev() {
        state = from[bar][state];
        path[bar - 1] = state;
    }
    path
}

/// Joins bars with the same carrier and sets the moments of hand-off.
fn joined(sounding: &Sounding, cells: &[Cell], by_bar: &[Vec<usize>], chosen: &[Option<&Candidate>]) -> Vec<Carried> {
    let mut found: Vec<(Carried, BTreeMap<usize, u32>)> = Vec::new();
    for (bar, strand) in (0u32..).zip(chosen) {
        let Some(strand) = strand else { continue };
        let cell = &cells[strand.best];
        let parts = strand.lines.iter().filter_map(|line| {
            by_bar[bar as usize].iter().map(|&index| &cells[index]).find(|cell| cell.line == *line).map(|cell| cell.part)
        });
        // Doublers that play on alone take the melody over from a carrier who leaves.
        let goes_on = |last: &Carried| last.bars.end == bar && strand.lines.contains(&(last.line as u32));
        if let Some((last, counted)) = found.last_mut().filter(|(last, _)| goes_on(last)) {
            last.bars.end = bar + 1;
            last.to = cell.to;
            parts.collect::<std::collections::BTreeSet<_>>().into_iter().for_each(|part| *counted.entry(part).or_default() += 1);
        } else {
            let upbeat = by_bar.get(bar.wrapping_sub(1) as usize).and_then(|before| {
                let here = before.iter().map(|&index| &cells[index]).find(|other| other.line == cell.line)?;
                let played = &sounding.bars[here.bar];
                let second_half = here.from - played.start;
                (second_half + second_half >= played.length && here.to == cell.from).then_some(here.from)
            });
            let from = upbeat.unwrap_or(cell.from);
            if let Some((last, _)) = found.last_mut() {
                // The last note of the one who hands over may reach into this bar, or be its first.
                let line = last.line as u32;
                let held = by_bar[bar as usize].iter().map(|&index| &cells[index]).find(|other| other.line == line);
                let start = sounding.bars[bar as usize].start;
                if let Some(held) = held.filter(|held| held.from == start) {
                    let next = held.attacks.iter().copied().find(|&attack| attack > start);
                    last.to = last.to.max(next.unwrap_or(held.to));
                }
                last.to = last.to.min(from.max(last.from));
            }
            let counted = parts.map(|part| (part, 1)).collect();
            let carried =
                Carried { from, to: cell.to, bars: bar..bar + 1, part: cell.part, line: cell.line as usize, parts: Vec::new() };
            found.push((carried, counted));
        }
    }
    found
        .into_iter()
        .map(|(mut carried, counted)| {
            let most = u32::try_from(carried.bars.len()).unwrap_or(u32::MAX);
            carried.parts = counted.into_iter().filter(|(_, count)| count * 2 >= most).map(|(part, _)| part).collect();
            carried
        })
        .collect()
}

/// How much more a singer's or a brass player's lead counts: a sung text is followed, and brass that has the tune is heard through anything. Both
/// are what works left out in turn choose most often (`docs/roles-figures.md`); the network, which sees no timbre, gives them too little.
const SUNG: f32 = 4.0;
const BRASS: f32 = 4.0;

/// What each part's lead is multiplied with.
pub(crate) fn prominence(score: &Score) -> Vec<f32> {
    let family = |part: &Part| {
        let known = (!is_guessed(part)).then(|| catalogue().by_id(&part.instrument_id)).flatten();
        known.map(|instrument| instrument.family)
    };
    let weight = |part: &Part| match family(part) {
        Some(Family::Voice) => SUNG,
        Some(Family::Brass) => BRASS,
        _ => 1.0,
    };
    score.parts.iter().map(weight).collect()
}

/// Of those who play the same notes, how much of their lead counts for each.
const SHARED: f32 = 0.7;
/// How far figures, pulses and shimmer lower the lead.
const PLAIN: f32 = 0.5;

/// How strongly each part carries the main melody in each played bar, `[part][bar]`, 0 where it is silent: its own lead, and
/// of those who play the same notes some too, since any of them may be named the carrier.
pub(crate) fn strengths(
    bars: usize,
    learned: &RoleProbabilities,
    prominence: &[f32],
    cells: &[Cell],
    by_bar: &[Vec<usize>],
    places: &[Place],
) -> Vec<Vec<f32>> {
    let lead = |cell: &Cell| {
        let plain = 1.0 - PLAIN * (1.0 - figure(cell).tuneful(cell.tremolo));
        learned.lead[cell.part][cell.bar] * prominence[cell.part] * plain
    };
    let mut found = vec![vec![0.0f32; bars]; prominence.len()];
    for here in by_bar {
        for &index in here.iter().filter(|&&index| !cells[index].is_unpitched()) {
            let cell = &cells[index];
            let mut others: BTreeMap<usize, f32> = BTreeMap::new();
            for &other in here.iter().filter(|&&other| places[other].strand == places[index].strand) {
                let other = &cells[other];
                let entry = others.entry(other.part).or_default();
                *entry = entry.max(lead(other));
            }
            others.remove(&cell.part);
            let best = &mut found[cell.part][cell.bar];
            *best = best.max(lead(cell) + SHARED * others.values().sum::<f32>());
        }
    }
    found
}
