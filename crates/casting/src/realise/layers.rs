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
    for note in strand.between(span.0 - Crotchets::whole(8), span.1).iter().filter(|note| note.end() > span.0) {
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
    let layer =
        |notes| Strand { notes, octaves: Vec::new(), ..Strand { notes: Vec::new(), octaves: Vec::new(), ..strand.clone() } };
    found.into_iter().map(layer).collect()
}

/// Shares players out among the layers of a strand: by section where there are enough, the higher layer to the higher players. Fewer players than layers have those with
/// most attacks. For each layer who has it.
pub(super) fn shared_out(setting: &Setting<'_>, layers: &[Strand], tasks: &[&Task]) -> Vec<(usize, Vec<Task>)> {
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
    let middle = |task: &Task| {
        let chairs = &setting.lineup.sections[task.section].chairs;
        task.chairs.iter().map(|&chair| chairs[chair].reach.middle()).sum::<i32>()
            / i32::try_from(task.chairs.len().max(1)).unwrap_or(1)
    };
    let mut sorted: Vec<&Task> = tasks.to_vec();
    sorted.sort_by_key(|task| (-middle(task), task.section));
    let mut found: Vec<(usize, Vec<Task>)> = order.iter().map(|&layer| (layer, Vec::new())).collect();
    if sorted.len() >= many {
        // Whole sections: as many neighbours for each layer as make its share of the players.
        let mut at = 0;
        let mut given = 0;
        for (n, task) in sorted.iter().enumerate() {
            let left = sorted.len() - n;
            let full = given * many >= (at + 1) * players || left < many - at;
            if at + 1 < many && !found[at].1.is_empty() && (full || left == many - at - 1) {
                at += 1;
            }
            found[at].1.push((*task).clone());
            given += task.chairs.len();
        }
        return found;
    }
    // Fewer sections than layers: their players from the top down.
    let seats: Vec<(&Task, usize)> = sorted
        .iter()
        .flat_map(|task| {
            let section = &setting.lineup.sections[task.section];
            chords::from_the_top(&section.chairs, section.kind, &task.chairs).into_iter().map(move |chair| (*task, chair))
        })
        .collect();
    for (n, (task, chair)) in seats.iter().enumerate() {
        let own = &mut found[n * many / seats.len()].1;
        match own.iter_mut().find(|other| other.section == task.section) {
            Some(other) => other.chairs.push(*chair),
            None => own.push(Task { chairs: vec![*chair], ..(*task).clone() }),
        }
    }
    found
}

/// In which beat of which bar a moment lies: crotchets, in compound metres dotted ones.
pub(super) fn beat_of(setting: &Setting<'_>, at: Crotchets) -> (usize, i64) {
    let bars = &setting.sketch.score.bars;
    let bar = crate::notate::bar_of(bars, at);
    let metre = bars[..=bar.min(bars.len().saturating_sub(1))].iter().rev().find_map(|bar| bar.metre.as_ref());
    let compound = matches!(metre, Some(Metre::Measured(terms)) if terms.iter().all(|(beats, unit)| {
        *unit >= 8 && beats.iter().all(|beats| beats % 3 == 0)
    }));
    let place = at - setting.sketch.bar_start(bar);
    let beats = if compound { place * Crotchets::new(2, 3).unwrap_or(Crotchets::ONE) } else { place };
    (bar, beats.floor())
}
