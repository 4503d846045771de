//! What stays when a sketch is cast again: notes a person has set, and what they have nothing to do with.
#![allow(clippy::unwrap_used, clippy::panic)]

mod demo;

use demo::{first, lineup, sketches};
use ripieno_casting::{Cast, CastNote, Habits, LockedNote, Options, Plan, Seat, Sketch, Task, cast};

const LINEUPS: [&str; 9] = [
    "brass_eight",
    "brass_four",
    "brass_of_pairs",
    "brass_of_threes",
    "brass_quintet",
    "lifeboat_band",
    "lifeboat_brass",
    "orchestra_of_pairs",
    "orchestra_of_threes",
];

fn with(sketch: &Sketch, name: &str, plan: &Plan, locks: Vec<LockedNote>) -> Cast {
    cast(sketch, &lineup(name), plan, &Habits::usual(), &Options { locks, ..Options::default() })
}

fn lock(seat: Seat, note: &CastNote, key: i32) -> LockedNote {
    LockedNote { seat, from: note.onset, to: note.end(), key }
}

/// Players of the tasks of a phrase of whose reason `said` is part.
fn of_whom(done: &Cast, phrase: usize, said: &str) -> Vec<Seat> {
    let tasks = done.plan.phrases[phrase].tasks.iter().filter(|task| task.why.contains(said));
    tasks.flat_map(|task| task.chairs.iter().map(|&chair| (task.section, chair))).collect()
}

/// A note set in a later phrase, at the key it has, changes nothing: whoever shares a figure goes on sharing it.
#[test]
fn a_note_that_is_set_changes_no_earlier_phrase() {
    let mut tried = 0;
    for sketch in &sketches() {
        for name in LINEUPS {
            let before = first(sketch, &lineup(name));
            let later = |seat: Seat, phrase: usize| {
                let mut notes = before.phrases[phrase + 1..].iter().filter_map(|later| later.notes.get(&seat)).flatten();
                notes.rfind(|note| note.duration.is_positive()).map(|note| lock(seat, note, note.key()))
            };
            for phrase in 0..before.phrases.len() {
                let shares = of_whom(&before, phrase, "; by turns").into_iter();
                let Some(set) = shares.filter_map(|seat| later(seat, phrase)).next() else { continue };
                let after = with(sketch, name, &Plan::default(), vec![set]);
                assert_eq!(before.phrases[..=phrase], after.phrases[..=phrase], "{name}: {set:?}");
                tried += 1;
            }
        }
    }
    assert!(tried > 0);
}

/// Nobody who has a note that a person has set leaves his task for a strand of which tones are missing.
#[test]
fn who_has_a_note_that_is_set_is_not_taken_for_missing_tones() {
    const TAKEN: &str = "so that no tone of it goes missing";
    let mut tried = 0;
    for sketch in &sketches() {
        for name in LINEUPS {
            let before = first(sketch, &lineup(name));
            for phrase in 0..before.phrases.len() {
                // Each costs a casting of the whole.
                for seat in of_whom(&before, phrase, TAKEN).into_iter().take(if tried < 6 { 1 } else { 0 }) {
                    let Some(note) = before.phrases[phrase].notes.get(&seat).and_then(|own| own.first()) else { continue };
                    let after = with(sketch, name, &Plan::default(), vec![lock(seat, note, note.key())]);
                    assert!(!of_whom(&after, phrase, TAKEN).contains(&seat), "{name}, phrase {phrase}: {seat:?}");
                    tried += 1;
                }
            }
        }
    }
    assert!(tried > 0);
}

/// The plan that casting has filled in, cast again, is played as it stands; its reasons no longer tell of turns and doubled rests, and are otherwise the same.
#[test]
fn a_plan_cast_again_tells_nothing_that_is_not_done() {
    const BESIDES: [&str; 3] = ["; by turns", "; the end of bar", "; doubling chords besides"];
    let mut told = 0;
    for sketch in &sketches() {
        for name in LINEUPS {
            let before = first(sketch, &lineup(name));
            let after = with(sketch, name, &before.plan, Vec::new());
            let tasks = |done: &Cast| done.plan.phrases.iter().flat_map(|phrase| phrase.tasks.clone()).collect::<Vec<Task>>();
            for (was, is) in tasks(&before).iter().zip(tasks(&after)) {
                let from = BESIDES.iter().filter_map(|said| was.why.find(said)).min();
                told += usize::from(from.is_some());
                assert_eq!(is.why, was.why[..from.unwrap_or(was.why.len())], "{name}");
            }
        }
    }
    assert!(told > 0);
}
