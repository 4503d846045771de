//! What stays when a sketch is cast again: notes a person has set, and what they have nothing to do with.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::BTreeMap;

mod demo;

use demo::{first, lineup, overture, passages, sketches};
use ripieno_casting::{Cast, CastNote, Habits, LineId, Lineup, LockedNote, Options, Plan, Seat, Sketch, Task, cast, proposals};
use ripieno_score::Crotchets;
use ripieno_texture::Role;

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

/// How begins what is said of a task's notes besides of the task itself.
const BESIDES: [&str; 3] = ["; by turns", "; the end of bar", "; doubling chords besides"];

/// Casts the plan of a cast again, as it was saved; answers where notes or reasons are others.
fn again(sketch: &Sketch, lineup: &Lineup, before: &Cast, habits: &Habits, options: &Options) -> Vec<String> {
    let text = before.plan.to_toml(sketch, lineup);
    let plan = Plan::from_toml("plan.toml", &text, sketch, lineup).unwrap();
    let after = cast(sketch, lineup, &plan, habits, options);
    let mut found = Vec::new();
    if plan != before.plan {
        found.push("the plan is read as another".to_owned());
    }
    for (n, planned) in before.plan.phrases.iter().enumerate() {
        if before.phrases[n].notes != after.phrases[n].notes {
            found.push(format!("notes of bars {:?}", planned.bars));
        }
        let tasks = planned.tasks.iter().zip(&after.plan.phrases[n].tasks).filter(|(was, is)| was != is);
        found.extend(tasks.map(|(was, is)| format!("bars {:?}: {was:?} is {is:?}", planned.bars)));
    }
    let remarks = before.remarks.iter().zip(&after.remarks).filter(|(was, is)| was != is);
    found.extend(remarks.map(|(was, is)| format!("{was} is {is}")));
    if text != after.plan.to_toml(sketch, lineup) || before.remarks.len() != after.remarks.len() {
        found.push("plan or remarks".to_owned());
    }
    found
}

/// The plan that casting has filled in, written and read, gives the same notes and the same reasons again: in each line-up and sketch of the demo the first proposal and those after it, and by another practice.
#[test]
fn a_plan_that_casting_filled_in_gives_the_same_again() {
    let study = overture();
    let like = Habits::of(&study.profile(false), |_| false);
    let (mut told, mut found) = (0, Vec::new());
    for (n, sketch) in passages(&study).iter().enumerate() {
        for name in LINEUPS {
            let lineup = lineup(name);
            let options = Options { seed: 5, ..Options::default() };
            let all = proposals(sketch, &lineup, &Plan::default(), &Habits::usual(), &options, 3);
            for (at, before) in all.iter().enumerate() {
                let options = if at > 0 { options.seeded(options.seed_of(at)) } else { options.clone() };
                let others = again(sketch, &lineup, before, &Habits::usual(), &options);
                found.extend(others.into_iter().map(|other| format!("{name}, sketch {n}, proposal {at}: {other}")));
                let tasks = before.plan.phrases.iter().flat_map(|phrase| &phrase.tasks);
                told += tasks.filter(|task| BESIDES.iter().any(|said| task.why.contains(said))).count();
            }
            let before = cast(sketch, &lineup, &Plan::default(), &like, &options);
            let others = again(sketch, &lineup, &before, &like, &options);
            found.extend(others.into_iter().map(|other| format!("{name}, sketch {n}, like the overture: {other}")));
        }
    }
    assert!(told > 0);
    assert!(found.is_empty(), "{} differ:\n{}", found.len(), found.join("\n"));
}

/// What the phrases up to one leave behind: the last note of each player, and of each line.
fn ends(done: &Cast, phrase: usize) -> (BTreeMap<Seat, CastNote>, BTreeMap<LineId, CastNote>) {
    let (mut of_players, mut of_lines) = (BTreeMap::new(), BTreeMap::new());
    for (seat, note) in done.phrases[..=phrase]
        .iter()
        .flat_map(|one| &one.notes)
        .flat_map(|(seat, own)| own.iter().map(move |note| (*seat, *note)))
    {
        of_players.insert(seat, note);
        let last = of_lines.entry(note.line).or_insert(note);
        if last.end() <= note.end() {
            *last = note;
        }
    }
    (of_players, of_lines)
}

/// One task is changed by hand in one phrase. Who has what in all others stays; their notes do too, but for what has to follow: the phrase before leads up to the lines of this one, and the voices
/// after it are led on from its last notes, until everybody ends a phrase as he did. (Who is tired, which another task changes, counts only where rests are doubled or breath is short.)
#[test]
fn a_task_that_is_changed_changes_no_more_than_follows() {
    let (mut tried, mut same) = (0, 0);
    for (n, sketch) in sketches().iter().enumerate() {
        for name in LINEUPS {
            let lineup = lineup(name);
            let before = first(sketch, &lineup);
            for at in 1..before.phrases.len() - 1 {
                // Whoever has chords, rhythm or a figure is to rest.
                let mut plan = before.plan.clone();
                let accompanies = |task: &&mut Task| matches!(task.role, Role::Harmony | Role::Rhythm | Role::Figuration);
                let Some(task) = plan.phrases[at].tasks.iter_mut().rfind(accompanies) else { continue };
                *task = Task::new(task.section, task.chairs.clone(), Role::Tacet, None);
                let after = with(sketch, name, &plan, Vec::new());
                let place = format!("{name}, sketch {n}, phrase {at}");
                let asked = |done: &Cast, phrase: usize| -> Vec<Task> {
                    let plain = |task: &Task| Task { why: String::new(), sounds: None, ..task.clone() };
                    done.plan.phrases[phrase].tasks.iter().map(plain).collect()
                };
                assert!((0..before.phrases.len()).all(|one| one == at || asked(&before, one) == asked(&after, one)), "{place}");
                assert_eq!(before.phrases[..at - 1], after.phrases[..at - 1], "{place}");
                let tires = |done: &Cast, phrase: usize| BESIDES.iter().any(|said| !of_whom(done, phrase, said).is_empty());
                for later in at + 1..before.phrases.len() {
                    if ends(&before, later - 1) == ends(&after, later - 1) && !tires(&before, later) && !tires(&after, later) {
                        assert_eq!(before.phrases[later].notes, after.phrases[later].notes, "{place}: {later}");
                        same += 1;
                    }
                }
                tried += 1;
            }
        }
    }
    assert!(tried > 50 && same > 5, "{tried} {same}");
}

/// A note that a person has set lasts as it was set, also where its player has something else from the next phrase on.
#[test]
fn a_note_that_is_set_is_not_cut_at_a_joint() {
    let mut tried = 0;
    for (n, sketch) in sketches().iter().enumerate() {
        for name in LINEUPS {
            let lineup = lineup(name);
            let before = first(sketch, &lineup);
            // The first who sounds on both sides of a joint: his last note is set for a crotchet longer.
            let joint = |at: usize| {
                let bar = sketch.score.bars[before.plan.phrases[at].bars.end].start;
                let own = before.phrases[at].notes.iter().find_map(|(seat, own)| {
                    let last = own.last().filter(|last| last.end() == bar && last.duration.is_positive())?;
                    let next = before.phrases[at + 1].notes.get(seat)?.first()?;
                    (next.onset == bar && next.duration > Crotchets::ONE).then_some((*seat, *last))
                });
                own.map(|(seat, last)| LockedNote { seat, from: last.onset, to: bar + Crotchets::ONE, key: last.key() })
            };
            let Some(set) = (0..before.phrases.len() - 1).find_map(joint) else { continue };
            let after = with(sketch, name, &Plan::default(), vec![set]);
            let notes = after.notes_of(set.seat);
            let place = format!("{name}, sketch {n}: {set:?}");
            let own = notes.iter().find(|note| note.onset == set.from && note.duration.is_positive());
            assert!(own.is_some_and(|note| (note.key(), note.end()) == (set.key, set.to)), "{place}: {own:?}");
            assert!(notes.windows(2).all(|pair| pair[0].end() <= pair[1].onset), "{place}");
            assert!(notes.iter().any(|note| note.onset == set.to), "{place}: the next note waits for it");
            tried += 1;
        }
    }
    assert!(tried > 5, "{tried}");
}
