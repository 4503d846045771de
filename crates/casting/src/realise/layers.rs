//! Rhythm of several layers: quavers against triplets, a pulse under off-beats. A player keeps one of them, and one pitch for a beat.
//!
//! Handbook rule, from memory (Rimsky-Korsakov and Piston on accompaniment figures): each rhythm is somebody's own, horns the one and trumpets the other; nobody jumps
//! from one to the other within a bar. A layer is a voice of the strand's staff; voices that always move together are one.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Metre};
use ripieno_texture::Role;

use super::{Setting, chords};
use crate::plan::Task;
use crate::sketch::{SketchNote, Strand};

/// Whether a strand is repeated notes rather than harmony that is held.
pub(super) const fn is_pulse(strand: &Strand) -> bool {
    matches!(strand.role, Role::Rhythm | Role::Punctuation)
}

/// The layers of a strand in a span, those with most attacks first; one where the strand is harmony.
pub(super) fn layers(setting: &Setting<'_>, strand: &Strand, span: (Crotchets, Crotchets)) -> Vec<Strand> {
    if !is_pulse(strand) {
        return vec![strand.clone()];
    }
    let part = &setting.sketch.score.parts[strand.part];
    let mut by_voice: BTreeMap<u16, Vec<SketchNote>> = BTreeMap::new();
    // What is held into the span belongs to it.
    for note in strand.sounding_in(span) {
        let voice = part.notes.get(note.written).map_or(1, |note| note.voice);
        by_voice.entry(voice).or_default().push(*note);
    }
    let onsets = |notes: &[SketchNote]| -> Vec<Crotchets> {
        let mut found: Vec<Crotchets> = notes.iter().filter(|note| note.duration.is_positive()).map(|note| note.onset).collect();
        found.dedup();
        found
    };
    let mut found: Vec<Vec<SketchNote>> = Vec::new();
    for notes in by_voice.into_values() {
        let own = onsets(&notes);
        // Together in at least four attacks of five: one layer.
        let alike = found.iter_mut().find(|other| {
            let there = onsets(other);
            let both = own.iter().filter(|at| there.binary_search(at).is_ok()).count();
            both * 5 >= (own.len() + there.len() - both) * 4
        });
        match alike {
            Some(other) => {
                other.extend(notes);
                other.sort_by_key(|note| (note.onset, note.duration.is_positive(), note.key()));
            }
            None => found.push(notes),
        }
    }
    found.sort_by_key(|notes| std::cmp::Reverse(onsets(notes).len()));
    let layer = |notes| Strand::new(strand.name.clone(), strand.role, strand.part, notes, Vec::new());
    found.into_iter().map(layer).collect()
}

/// How many of so many players each layer has: at least one, enough for its different tones where there are enough for all, and the rest by their number. `tones`: of each layer.
fn quotas(tones: &[usize], players: usize) -> Vec<usize> {
    let (all, many) = (tones.iter().sum::<usize>().max(1), tones.len());
    let enough = players >= all;
    let weight = |tones: usize| if enough { tones } else { tones - 1 };
    let (each, left) = if enough { (0, players) } else { (1, players.saturating_sub(many)) };
    let whole = tones.iter().map(|&tones| weight(tones)).sum::<usize>().max(1);
    let mut before = 0;
    let share = |tones: &usize| {
        let from = left * before / whole;
        before += weight(*tones);
        each + left * before / whole - from
    };
    tones.iter().map(share).collect()
}

/// Cuts a row of sections of so many players into one stretch for each layer, so that as many tones as can be have a player, and then each layer the players `wanted`: where each
/// stretch ends, and for how many tones there is somebody.
fn neighbours(sizes: &[usize], tones: &[usize], wanted: &[usize]) -> (Vec<usize>, usize) {
    // For each layer and each end of its stretch: tones that have a player, how far off the shares are, where the stretch begins.
    type Way = (usize, std::cmp::Reverse<usize>, usize);
    let mut ways: Vec<Vec<Option<Way>>> = Vec::with_capacity(tones.len());
    for (layer, (&tones, &wanted)) in tones.iter().zip(wanted).enumerate() {
        let way = |end: usize| -> Option<Way> {
            let from = |begin: usize| -> Option<Way> {
                let (met, off) = match layer.checked_sub(1) {
                    None => (begin == 0).then_some((0, 0))?,
                    Some(before) => ways[before][begin].map(|(met, off, _)| (met, off.0))?,
                };
                let players: usize = sizes[begin..end].iter().sum();
                Some((met + players.min(tones), std::cmp::Reverse(off + players.abs_diff(wanted)), begin))
            };
            (0..=end).filter_map(from).max()
        };
        let row = (0..=sizes.len()).map(way).collect();
        ways.push(row);
    }
    let mut ends = vec![sizes.len(); tones.len()];
    for layer in (1..tones.len()).rev() {
        ends[layer - 1] = ways[layer][ends[layer]].map_or(0, |(_, _, begin)| begin);
    }
    let met = ways.last().and_then(|row| row[sizes.len()]).map_or(0, |(met, _, _)| met);
    (ends, met)
}

/// Shares players out among the layers of a strand, as many to each as it has tones: by section where that goes, the higher layer to the higher players. Fewer players than layers
/// have those with most attacks. For each layer who has it.
pub(super) fn shared_out(
    setting: &Setting<'_>,
    layers: &[Strand],
    tasks: &[&Task],
    span: (Crotchets, Crotchets),
) -> Vec<(usize, Vec<Task>)> {
    let players: usize = tasks.iter().map(|task| task.chairs.len()).sum();
    let many = layers.len().min(players);
    if many <= 1 {
        return vec![(0, tasks.iter().map(|task| (*task).clone()).collect())];
    }
    let height = |layer: usize| {
        let notes = &layers[layer].notes;
        notes.iter().map(SketchNote::key).sum::<i32>() / i32::try_from(notes.len().max(1)).unwrap_or(1)
    };
    let mut order: Vec<usize> = (0..many).collect();
    order.sort_by_key(|&layer| (-height(layer), layer));
    // What a line has as well need not be doubled.
    let lines: Vec<&Strand> = setting.sketch.strands.iter().filter(|strand| !strand.is_chordal()).collect();
    let beside = |at: Crotchets| {
        lines.iter().filter_map(|line| line.at(at)).fold(0u16, |have, note| have | 1 << note.key().rem_euclid(12))
    };
    let alone = |(at, classes): (Crotchets, u16)| (classes & !beside(at)).count_ones() as usize;
    let tones = |&layer: &usize| layers[layer].moments(span).map(alone).max().unwrap_or(1).max(1);
    let tones: Vec<usize> = order.iter().map(tones).collect();
    let wanted = quotas(&tones, players);
    let middle = |task: &Task| {
        let chairs = &setting.lineup.sections[task.section].chairs;
        task.chairs.iter().map(|&chair| chairs[chair].reach.middle()).sum::<i32>()
            / i32::try_from(task.chairs.len().max(1)).unwrap_or(1)
    };
    let mut sorted: Vec<&Task> = tasks.to_vec();
    sorted.sort_by_key(|task| (-middle(task), task.section));
    let mut found: Vec<(usize, Vec<Task>)> = order.iter().map(|&layer| (layer, Vec::new())).collect();
    // Whole sections, neighbours for each layer, where they give every layer as many of its tones as players can.
    let sizes: Vec<usize> = sorted.iter().map(|task| task.chairs.len()).collect();
    let (ends, given) = neighbours(&sizes, &tones, &wanted);
    if given >= tones.iter().zip(&wanted).map(|(tones, wanted)| tones.min(wanted)).sum() {
        let mut first = 0;
        for ((_, own), end) in found.iter_mut().zip(ends) {
            own.extend(sorted[first..end].iter().map(|task| (*task).clone()));
            first = end;
        }
        return found;
    }
    // Their players from the top down, where whole sections leave a layer short; a body of strings has two rhythms on its staff only where nobody else is left.
    let from_above = |task: &&Task| {
        let section = &setting.lineup.sections[task.section];
        chords::from_the_top(&section.chairs, section.kind, &task.chairs)
    };
    let mut left: Vec<Vec<usize>> = sorted.iter().map(from_above).collect();
    for ((_, own), &wanted) in found.iter_mut().zip(&wanted) {
        let mut missing = wanted;
        for splits in [false, true] {
            for (task, chairs) in sorted.iter().zip(&mut left) {
                let whole = setting.lineup.sections[task.section].is_body && chairs.len() > missing && !splits;
                let taken: Vec<usize> = if whole { Vec::new() } else { chairs.drain(..chairs.len().min(missing)).collect() };
                missing -= taken.len();
                match own.iter_mut().find(|other| other.section == task.section) {
                    _ if taken.is_empty() => {}
                    Some(other) => other.chairs.extend(taken),
                    None => own.push(Task { chairs: taken, ..(*task).clone() }),
                }
            }
        }
    }
    found
}

/// In which beat of which bar a moment lies: crotchets, in compound metres dotted ones.
pub(crate) fn beat_of(setting: &Setting<'_>, at: Crotchets) -> (usize, i64) {
    let (bar, beats) = in_beats(setting, at);
    (bar, beats.floor())
}

/// Whether a beat begins at a moment.
pub(super) fn is_on_beat(setting: &Setting<'_>, at: Crotchets) -> bool {
    in_beats(setting, at).1.denominator() == 1
}

/// The bar of a moment, and how many beats of it have gone.
fn in_beats(setting: &Setting<'_>, at: Crotchets) -> (usize, Crotchets) {
    let bars = &setting.sketch.score.bars;
    let bar = crate::notate::bar_of(bars, at);
    let metre = bars[..=bar.min(bars.len().saturating_sub(1))].iter().rev().find_map(|bar| bar.metre.as_ref());
    let compound = matches!(metre, Some(Metre::Measured(terms)) if terms.iter().all(|(beats, unit)| {
        *unit >= 8 && beats.iter().all(|beats| beats % 3 == 0)
    }));
    let place = at - setting.sketch.bar_start(bar);
    (bar, if compound { place * Crotchets::new(2, 3).unwrap_or(Crotchets::ONE) } else { place })
}

#[cfg(test)]
mod tests {
    use super::{neighbours, quotas};

    #[test]
    fn sections_stay_whole_where_that_leaves_no_layer_short() {
        // Three sections of two, layers of one tone, three, and one: a tone is left over however they are cut.
        assert_eq!(neighbours(&[2, 2, 2], &[1, 3, 1], &[1, 4, 1]).1, 4);
        assert_eq!(neighbours(&[1, 2, 1, 1], &[1, 3, 1], &[1, 3, 1]), (vec![1, 3, 4], 5));
        // One section cannot be shared out whole.
        assert_eq!(neighbours(&[4], &[2, 2], &[2, 2]).1, 2);
    }

    #[test]
    fn every_layer_has_players_for_its_tones_where_there_are_enough() {
        assert_eq!(quotas(&[1, 3], 4), [1, 3]);
        assert_eq!(quotas(&[3, 1, 2], 8).iter().sum::<usize>(), 8);
        assert!(quotas(&[3, 1, 2], 8).iter().zip([3, 1, 2]).all(|(given, tones)| *given >= tones));
        // Too few for all: one for each, the others where there are most tones.
        assert_eq!(quotas(&[1, 4], 3), [1, 2]);
        assert_eq!(quotas(&[2, 2], 2), [1, 1]);
        assert_eq!(quotas(&[1, 1], 2), [1, 1]);
    }
}
