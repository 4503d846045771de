//! Who and how many play: a band is full where it is loud, whoever has something keeps it, the bass is there, and what the proposal says of players is so.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::BTreeSet;

mod demo;

use demo::{first, lineup, sketches};
use ripieno_casting::{Cast, Habits, Options, Plan, Seat, Sketch, proposals};
use ripieno_score::{Articulations, DirectionKind};
use ripieno_texture::Role;

/// Who has a strand in a phrase.
fn carriers(done: &Cast, phrase: usize, strand: usize) -> BTreeSet<Seat> {
    let tasks = done.plan.phrases[phrase].tasks.iter().filter(|task| task.strand == Some(strand));
    tasks.flat_map(|task| task.chairs.iter().map(|&chair| (task.section, chair))).collect()
}

/// Joints at which all players of a strand change, and all joints over which a strand goes on.
fn changes(sketch: &Sketch, done: &Cast) -> (usize, usize) {
    let (mut all, mut changed) = (0, 0);
    for phrase in 1..done.phrases.len() {
        for strand in 0..sketch.strands.len() {
            let (before, after) = (carriers(done, phrase - 1, strand), carriers(done, phrase, strand));
            if !before.is_empty() && !after.is_empty() {
                all += 1;
                changed += usize::from(before.is_disjoint(&after));
            }
        }
    }
    (changed, all)
}

fn players_with_a_task(done: &Cast, phrase: usize) -> usize {
    let tasks = done.plan.phrases[phrase].tasks.iter().filter(|task| task.strand.is_some());
    tasks.map(|task| task.chairs.len()).sum()
}

/// In a loud tutti of brass nearly everybody plays; the climax has more players than the soft beginning (common practice, from memory; 14 of 18 and the joints are what an orchestrator
/// who read our drafts asked for).
#[test]
fn a_loud_band_is_full_and_keeps_what_it_has() {
    let (sketches, brass) = (sketches(), lineup("lifeboat_brass"));
    for (at, most) in [(0, 2), (2, 4)] {
        let done = first(&sketches[at], &brass);
        let sounding = done.criteria.get("players sounding").unwrap();
        let (changed, all) = changes(&sketches[at], &done);
        assert!(sounding >= 14.0, "sketch {at}: {sounding:.1} of 18");
        assert!(changed <= most, "sketch {at}: {changed} of {all} joints");
        for (section, found) in brass.sections.iter().enumerate() {
            for chair in 0..found.chairs.len() {
                assert!(!done.notes_of((section, chair)).is_empty(), "sketch {at}: {} {} never plays", found.name, chair + 1);
            }
        }
    }
    for name in ["lifeboat_brass", "lifeboat_band"] {
        let done = first(&sketches[1], &lineup(name));
        let (soft, climax) = (players_with_a_task(&done, 0), players_with_a_task(&done, done.phrases.len() - 1));
        assert!(climax >= soft, "{name}: {climax} at the climax, {soft} at the beginning");
    }
}

/// What the listing says of players is counted again from the notes and tasks.
#[test]
fn what_is_said_of_players_is_so() {
    for (n, sketch) in sketches().iter().enumerate() {
        for name in ["brass_quintet", "lifeboat_band", "lifeboat_brass", "brass_of_threes", "orchestra_of_pairs"] {
            let lineup = lineup(name);
            let done = first(sketch, &lineup);
            let place = format!("{name}, sketch {n}");
            for phrase in &done.plan.phrases {
                let playing = |section: usize| -> usize {
                    let own = phrase.tasks.iter().filter(|task| task.section == section && task.strand.is_some());
                    own.map(|task| task.chairs.len()).sum()
                };
                for task in phrase.tasks.iter().filter(|task| task.strand.is_none()) {
                    if let Some((before, _)) = task.why.split_once(" of the section") {
                        let told = before.rsplit(' ').next().and_then(|word| word.parse::<usize>().ok());
                        assert!(told.is_none_or(|told| told == playing(task.section)), "{place}: {}", task.why);
                    }
                    if task.why.contains("others of the section") {
                        assert!(playing(task.section) > 0, "{place}: {}", task.why);
                    }
                    // Who has the lowest voice is not sent out for the tune's sake.
                    let lowest = ["tubas", "double basses", "cellos"].contains(&lineup.sections[task.section].kind);
                    assert!(!(lowest && task.why.contains("cover the melody")), "{place}: {}", task.why);
                }
                let strings = lineup.sections.iter().any(|section| section.is_body);
                let bass = phrase.tasks.iter().any(|task| task.role == Role::Bass);
                for (section, found) in lineup.sections.iter().enumerate() {
                    if strings && bass && found.kind == "double basses" {
                        assert!(playing(section) > 0, "{place}: no double basses in {:?}", phrase.bars);
                    }
                }
            }
            for part in &done.score(sketch, &lineup).parts {
                let words = |one: &ripieno_score::Direction| matches!(&one.kind, DirectionKind::Words(text) if &**text == "breathe in turn");
                let marked = part.notes.iter().any(|note| note.articulations.contains(Articulations::BREATH_MARK));
                assert!(marked || !part.directions.iter().any(words), "{place}: {} has the words alone", part.name);
            }
        }
    }
}

/// A tone that several hold does not vanish for a breath: not all of them breathe at one moment inside a phrase (staggered breathing: common practice, from memory).
#[test]
fn a_tone_never_loses_all_its_players_to_a_breath() {
    let brass = lineup("lifeboat_brass");
    for (n, sketch) in sketches().iter().enumerate() {
        let done = first(sketch, &brass);
        for (phrase, planned) in done.phrases.iter().zip(&done.plan.phrases) {
            let end = Plan::span(sketch, &planned.bars).1;
            for (seat, notes) in &phrase.notes {
                let steady = |strand: usize| !matches!(sketch.strands[strand].role, Role::Melody | Role::Countermelody);
                for note in notes.iter().filter(|note| note.breath && note.end() < end && steady(note.line.strand)) {
                    let holds = |own: &&Vec<ripieno_casting::CastNote>| {
                        let same = |other: &&ripieno_casting::CastNote| {
                            other.key() == note.key()
                                && other.onset < note.end()
                                && note.end() <= other.end()
                                && other.line.strand == note.line.strand
                        };
                        own.iter().any(|other| same(&other))
                    };
                    let others: Vec<_> = phrase.notes.iter().filter(|(other, own)| *other != seat && holds(own)).collect();
                    let breathes =
                        |own: &[ripieno_casting::CastNote]| own.iter().any(|other| other.breath && other.end() == note.end());
                    assert!(
                        others.is_empty() || others.iter().any(|(_, own)| !breathes(own)),
                        "sketch {n}: {seat:?} and all others of {} breathe at {:?}",
                        note.key(),
                        note.end()
                    );
                }
            }
        }
    }
}

/// A proposal is called by what it is.
#[test]
fn a_proposal_called_fuller_is_fuller() {
    for sketch in &sketches()[..2] {
        for (name, by) in [("lifeboat_brass", 2.0), ("lifeboat_band", 1.0)] {
            let all = proposals(sketch, &lineup(name), &Plan::default(), &Habits::usual(), &Options::default(), 4);
            let sounding = |cast: &Cast| cast.criteria.get("players sounding").unwrap();
            for other in &all[1..] {
                let more = sounding(other) - sounding(&all[0]);
                assert!(!other.idea.contains("fuller") || more >= by, "{name}: {} by {more:.1}", other.idea);
                assert!(!other.idea.contains("thinner") || more <= -by, "{name}: {} by {more:.1}", other.idea);
            }
        }
    }
}
