//! Lines and what is said of them, over every line-up and three passages of the demo: octaves change where a line breathes, whoever enters reads how loud it is, and reasons
//! are those of the notes that sound.
#![allow(clippy::unwrap_used, clippy::panic)]

mod demo;

use std::collections::BTreeSet;

use demo::{everybody, first, lineups, overture, passages};
use ripieno_casting::{Cast, Lineup, Sketch, with_signs};
use ripieno_score::{Crotchets, DirectionKind, MidiKey, Part};
use ripieno_texture::Role;

/// Calls a check with every cast and what to call it.
fn each(check: &mut dyn FnMut(&Sketch, &Lineup, &Cast, &str)) {
    let study = overture();
    for (n, sketch) in passages(&study).iter().enumerate() {
        for lineup in lineups() {
            check(sketch, &lineup, &first(sketch, &lineup), &format!("{}, sketch {n}", lineup.name));
        }
    }
}

/// A run of short notes is not broken by an octave (common practice, from memory; an orchestrator who read our drafts asked for it).
#[test]
fn no_octave_changes_inside_a_run() {
    let mut steps = 0;
    each(&mut |sketch, lineup, done, place| {
        for ((section, chair), notes) in everybody(lineup, done) {
            for pair in notes.windows(2).filter(|pair| pair[0].line == pair[1].line && pair[0].line.voice == 0) {
                let strand = &sketch.strands[pair[0].line.strand];
                let written = |at: Crotchets| strand.notes.iter().find(|note| note.onset == at && note.duration.is_positive());
                let (Some(a), Some(b)) = (written(pair[0].onset), written(pair[1].onset)) else { continue };
                let line = matches!(strand.role, Role::Melody | Role::Countermelody | Role::Bass);
                let short = a.duration < Crotchets::ONE && b.duration <= Crotchets::ONE && a.end() == b.onset;
                if line && short && pair[0].end() == pair[1].onset && (a.key() - b.key()).abs() <= 12 {
                    steps += 1;
                    let moved = (pair[1].key() - b.key()) - (pair[0].key() - a.key());
                    assert_eq!(moved, 0, "{place}: {section}.{chair}, {} at {:?}", strand.name, pair[1].onset);
                }
            }
        }
    });
    assert!(steps > 300, "{steps}");
}

/// One octave serves a period of the tune (common practice, from memory): whoever goes on with it without a rest changes the octave only where neither the old nor the new one serves for the
/// sixteen bars around. A player whose desk partner would have to cross may have to: two joints in all.
#[test]
fn the_tune_keeps_its_octave_through_a_period() {
    let (mut steps, mut broken) = (0, Vec::new());
    each(&mut |sketch, lineup, done, place| {
        for ((section, chair), notes) in everybody(lineup, done) {
            let reach = lineup.sections[section].chairs[chair].reach;
            for pair in notes.windows(2).filter(|pair| pair[0].line == pair[1].line && pair[0].line.voice == 0) {
                let strand = &sketch.strands[pair[0].line.strand];
                let written = |at: Crotchets| strand.notes.iter().find(|note| note.onset == at && note.duration.is_positive());
                let (Some(a), Some(b)) = (written(pair[0].onset), written(pair[1].onset)) else { continue };
                let rest = pair[1].onset - pair[0].end();
                if strand.role != Role::Melody || rest + rest >= Crotchets::ONE || (a.key() - b.key()).abs() > 12 {
                    continue;
                }
                steps += 1;
                let (old, new) = (pair[0].key() - a.key(), pair[1].key() - b.key());
                let around = |at: Crotchets| (at - b.onset).abs() <= Crotchets::whole(64);
                let serves =
                    |by: i32| strand.notes.iter().filter(|note| around(note.onset)).all(|note| reach.allows(note.key() + by));
                if old != new && (serves(old) || serves(new)) {
                    broken.push(format!("{place}: {section}.{chair} at {:?}", b.onset));
                }
            }
        }
    });
    assert!(steps > 1_000 && broken.len() <= 2, "{steps}, {broken:?}");
}

/// Bars in which a part begins a note after a bar or more of rest, and has no dynamic by then.
fn unmarked(part: &Part, bars: usize) -> Vec<usize> {
    let (mut found, mut before) = (Vec::new(), None::<usize>);
    let has: BTreeSet<usize> = part.notes.iter().map(|note| note.bar.at()).collect();
    for bar in (0..bars).filter(|bar| has.contains(bar)) {
        if before.is_none_or(|before| before + 1 < bar) {
            let first = part.notes.iter().filter(|note| note.bar.at() == bar).map(|note| note.at).min();
            let mark = part.directions.iter().filter(|one| matches!(one.kind, DirectionKind::Dynamic(_)) && one.bar.at() == bar);
            if !mark.map(|one| Some(one.at)).any(|at| at <= first) {
                found.push(bar);
            }
        }
        before = Some(bar);
    }
    found
}

/// Gould on dynamics, from memory: after a rest of a bar or more the dynamic is given again.
#[test]
fn whoever_enters_reads_how_loud_it_is() {
    let mut parts = 0;
    each(&mut |sketch, lineup, done, place| {
        let score = done.score(sketch, lineup);
        for part in &score.parts {
            parts += 1;
            let bars = unmarked(part, score.bars.len());
            assert!(bars.is_empty(), "{place}: {} enters unmarked in {bars:?}", part.name);
        }
    });
    assert!(parts > 300, "{parts}");
}

/// Compass and company are told of what sounds, by whoever has it in the end.
#[test]
fn reasons_are_those_of_the_notes() {
    let (mut ranges, mut companies) = (0, 0);
    each(&mut |_, lineup, done, place| {
        for (phrase, sounds) in done.plan.phrases.iter().zip(&done.phrases) {
            for task in phrase.tasks.iter().filter(|task| task.strand.is_some()) {
                let others: Vec<_> = phrase
                    .tasks
                    .iter()
                    .filter(|other| other.strand == task.strand && other.section != task.section)
                    .map(|other| lineup.label(other.section))
                    .collect();
                let named = others.iter().any(|name| task.why.contains(&with_signs(&format!("together with {name}"))));
                assert_eq!(named, !others.is_empty(), "{place}: {others:?}: {}", task.why);
                companies += usize::from(named);
                let keys = task.chairs.iter().filter_map(|&chair| sounds.notes.get(&(task.section, chair))).flatten();
                let keys: BTreeSet<i32> = keys.map(|note| note.key()).collect();
                if let (Some((told, _)), Some(low), Some(high)) = (task.why.split_once(" lies "), keys.first(), keys.last())
                    && let Some(told) = told.rsplit(", ").next().filter(|told| told.contains('–'))
                {
                    let name = |key: i32| with_signs(&MidiKey::try_from(key).unwrap().pitch().to_string());
                    assert_eq!(told, format!("{}–{}", name(*low), name(*high)), "{place}: {}", task.why);
                    ranges += 1;
                }
            }
        }
    });
    assert!(ranges > 200 && companies > 200, "{ranges}, {companies}");
}
