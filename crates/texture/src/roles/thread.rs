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
/// A strand that leads nowhere still has this much.
const LEAST: f32 = 0.02;

/// A stretch in which one line carries the melody: in each of its bars that line was told melody. Where nobody was, nobody carries it.
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
    /// Who plays it too, in unison or octaves, and for how much of it: by part, then by time.
    pub support: Vec<Support>,
}

/// A part that plays the melody with its carrier, in unison or octaves, for the whole stretch or some bars of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Support {
    /// The part, another than the carrier's.
    pub part: usize,
    /// When it joins in, within the carrier's stretch.
    pub from: Crotchets,
    /// When it leaves.
    pub to: Crotchets,
    /// Played bars in which it plays along, end exclusive.
    pub bars: std::ops::Range<u32>,
}

impl Carried {
    /// All parts that carry it for at least half of its time, the carrier among them, in score order.
    #[must_use]
    pub fn parts(&self) -> Vec<usize> {
        let whole = self.to - self.from;
        let mut times = BTreeMap::from([(self.part, whole)]);
        self.support.iter().for_each(|support| *times.entry(support.part).or_default() += support.to - support.from);
        times.into_iter().filter(|&(_, time)| time + time >= whole).map(|(part, _)| part).collect()
    }

    /// Whether a part carries it, chief or along, for at least half of its time.
    #[must_use]
    pub fn is_carried_by(&self, part: usize) -> bool {
        self.parts().binary_search(&part).is_ok()
    }
}

/// One strand of a bar.
struct Candidate {
    lead: f32,
    lines: Vec<u32>,
    /// Of its cells that were told melody, the one with the strongest lead.
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
    let mut melody = linked(sounding, cells, by_bar, roles, joined(sounding, cells, by_bar, roles, &chosen));
    for carried in &mut melody {
        carried.support = support(cells, by_bar, places, carried);
    }
    melody
}

/// Who is in the carrier's strand, bar by bar.
fn support(cells: &[Cell], by_bar: &[Vec<usize>], places: &[Place], carried: &Carried) -> Vec<Support> {
    let mut found: BTreeMap<usize, Vec<Support>> = BTreeMap::new();
    for bar in carried.bars.clone() {
        let here = by_bar.get(bar as usize).map_or(&[][..], Vec::as_slice);
        let of_carrier = |&&index: &&usize| cells[index].line as usize == carried.line;
        let Some(strand) = here.iter().find(of_carrier).map(|&index| places[index].strand) else { continue };
        for &index in here.iter().filter(|&&index| places[index].strand == strand && cells[index].part != carried.part) {
            let cell = &cells[index];
            let (from, to) = (cell.from.max(carried.from), cell.to.min(carried.to));
            if from >= to {
                continue;
            }
            let of_part = found.entry(cell.part).or_default();
            match of_part.last_mut().filter(|last| last.bars.end >= bar) {
                Some(last) => (last.from, last.to, last.bars.end) = (last.from.min(from), last.to.max(to), bar + 1),
                None => of_part.push(Support { part: cell.part, from, to, bars: bar..bar + 1 }),
            }
        }
    }
    found.into_values().flatten().collect()
}

/// Between two carriers nobody may have been chosen, since the choice is made bar by bar, while a line that was told the melody plays on alone: a link in a
/// chain of hand-offs, as short as a bar and a note. It carries the melody there, so that map and melody say the same.
fn linked(sounding: &Sounding, cells: &[Cell], by_bar: &[Vec<usize>], roles: &[Role], chosen: Vec<Carried>) -> Vec<Carried> {
    let mut found: Vec<Carried> = Vec::with_capacity(chosen.len());
    for next in chosen {
        let link = found.last().and_then(|last| link(sounding, cells, by_bar, roles, last, &next));
        for stretch in link.into_iter().chain([next]) {
            append(&mut found, stretch);
        }
    }
    found
}

/// Appends a stretch; where the line that carried last goes on, its stretch is lengthened, since no line hands the melody to itself.
fn append(found: &mut Vec<Carried>, next: Carried) {
    match found.last_mut().filter(|last| last.line == next.line && next.bars.start <= last.bars.end) {
        Some(last) => (last.to, last.bars.end) = (last.to.max(next.to), last.bars.end.max(next.bars.end)),
        None => found.push(next),
    }
}

/// Who has the melody from the end of one carrier to the beginning of the next, where anybody has it for more than half of that.
fn link(
    sounding: &Sounding,
    cells: &[Cell],
    by_bar: &[Vec<usize>],
    roles: &[Role],
    last: &Carried,
    next: &Carried,
) -> Option<Carried> {
    let (from, to) = (last.to, next.from);
    if from >= to {
        return None;
    }
    let (first, end) = (sounding.bar_at(from)?, sounding.bar_at(to).map_or(by_bar.len(), |bar| bar + 1));
    let told = || {
        let here = by_bar.get(first..end).unwrap_or_default().iter().flatten();
        let melody = here.filter(|&&index| roles[index] == Role::Melody && !cells[index].is_unpitched());
        melody.map(|&index| &cells[index]).filter(|cell| cell.from < to && from < cell.to)
    };
    let mut times: BTreeMap<u32, Crotchets> = BTreeMap::new();
    for cell in told() {
        *times.entry(cell.line).or_default() += cell.to.min(to) - cell.from.max(from);
    }
    let (line, time) = times.into_iter().max_by_key(|&(line, time)| (time, std::cmp::Reverse(line)))?;
    if time + time <= to - from {
        return None;
    }
    let mine = || told().filter(|cell| cell.line == line);
    let (begin, end) = (mine().map(|cell| cell.from).min()?.max(from), mine().map(|cell| cell.to).max()?.min(to));
    let bar = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
    let bars = bar(mine().map(|cell| cell.bar).min()?)..bar(mine().map(|cell| cell.bar).max()? + 1);
    let part = mine().next()?.part;
    Some(Carried { from: begin, to: end, bars, part, line: line as usize, support: Vec::new() })
}

/// The strands of a bar that were told melody, in at least one of their lines: map and melody say the same.
fn strands(
    learned: &RoleProbabilities,
    prominence: &[f32],
    cells: &[Cell],
    here: &[usize],
    places: &[Place],
    roles: &[Role],
) -> Vec<Candidate> {
    /// Lead of each part, lines, best cell told melody.
    type Strand = (BTreeMap<usize, f32>, Vec<u32>, Option<usize>);
    let lead = |index: usize| {
        let cell = &cells[index];
        learned.lead[cell.part][cell.bar] * prominence[cell.part] * figure(cell).tuneful(cell.tremolo)
    };
    let mut found: BTreeMap<usize, Strand> = BTreeMap::new();
    for &index in here.iter().filter(|&&index| !cells[index].is_unpitched()) {
        let cell = &cells[index];
        let (leads, lines, best) = found.entry(places[index].strand).or_default();
        let of_part = leads.entry(cell.part).or_default();
        *of_part = of_part.max(lead(index));
        lines.push(cell.line);
        // Of equal lines the higher: the first violins rather than the bassoon below them.
        let better = |best: usize| (lead(index), cell.standing.high) > (lead(best), cells[best].standing.high);
        if roles[index] == Role::Melody && best.is_none_or(better) {
            *best = Some(index);
        }
    }
    let all: f32 = found.values().flat_map(|(leads, ..)| leads.values()).sum();
    let candidate =
        |(leads, lines, best): Strand| Some(Candidate { lead: leads.values().sum::<f32>() / all.max(1e-6), lines, best: best? });
    found.into_values().filter_map(candidate).collect()
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
fn joined(
    sounding: &Sounding,
    cells: &[Cell],
    by_bar: &[Vec<usize>],
    roles: &[Role],
    chosen: &[Option<&Candidate>],
) -> Vec<Carried> {
    let mut found: Vec<Carried> = Vec::new();
    let cell_of = |bar: usize, line: u32| by_bar.get(bar)?.iter().copied().find(|&index| cells[index].line == line);
    for (bar, strand) in (0u32..).zip(chosen) {
        let Some(strand) = strand else { continue };
        let cell = &cells[strand.best];
        // Doublers that play on alone take the melody over from a carrier who leaves, or does something else.
        let goes_on = |last: &&mut Carried| {
            let on = cell_of(bar as usize, last.line as u32).filter(|&index| roles[index] == Role::Melody);
            on.filter(|_| last.bars.end == bar && strand.lines.contains(&(last.line as u32))).is_some()
        };
        if let Some(last) = found.last_mut().filter(goes_on) {
            last.bars.end = bar + 1;
            last.to = cell_of(bar as usize, last.line as u32).map_or(cell.to, |index| cells[index].to);
        } else {
            let upbeat = bar.checked_sub(1).and_then(|before| {
                let here = &cells[cell_of(before as usize, cell.line)?];
                let played = &sounding.bars[here.bar];
                let second_half = here.from - played.start;
                (second_half + second_half >= played.length && here.to == cell.from).then_some(here.from)
            });
            let from = upbeat.unwrap_or(cell.from);
            if let Some(last) = found.last_mut() {
                // The last note of the one who hands over may reach into this bar, or be its first; after a pause nothing is handed over.
                let held = cell_of(bar as usize, last.line as u32).map(|index| &cells[index]);
                let start = sounding.bars[bar as usize].start;
                if let Some(held) = held.filter(|held| last.bars.end == bar && held.from == start) {
                    let next = held.attacks.iter().copied().find(|&attack| attack > start);
                    last.to = last.to.max(next.unwrap_or(held.to));
                }
                last.to = last.to.min(from.max(last.from));
            }
            let (part, line) = (cell.part, cell.line as usize);
            found.push(Carried { from, to: cell.to, bars: bar..bar + 1, part, line, support: Vec::new() });
        }
    }
    found
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
