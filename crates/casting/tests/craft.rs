//! Rules of the craft that every proposal keeps. Handbook rules are from memory (Rimsky-Korsakov, Piston, Adler, Gould) unless a source stands beside them.
#![allow(clippy::unwrap_used, clippy::panic)]

mod demo;

use std::collections::{BTreeMap, BTreeSet};

use demo::{everybody, first, lineups, overture, passages};
use ripieno_casting::{CastNote, Plan, Sketch};
use ripieno_formats::Limits;
use ripieno_score::Crotchets;
use ripieno_texture::Role;

#[test]
fn nothing_but_the_bass_sounds_below_the_bass() {
    let study = overture();
    for sketch in passages(&study) {
        for lineup in lineups() {
            let done = first(&sketch, &lineup);
            let turned = done.criteria.get("chords turned over from below the bass").unwrap();
            assert!(turned < 0.5, "{}: {turned} places", lineup.name);
        }
    }
}

/// One player, one layer: quavers or triplets; and one pitch for the beat, as long as the sketch repeats the same tones.
#[test]
fn a_player_of_rhythm_keeps_one_layer_and_one_pitch_for_the_beat() {
    let study = overture();
    let sketch = &passages(&study)[0];
    let rhythm = sketch.strands.iter().find(|strand| strand.role == Role::Rhythm).unwrap();
    let tones = |at: Crotchets| -> BTreeSet<i32> {
        rhythm.notes.iter().filter(|note| note.onset <= at && at < note.end()).map(|note| note.key().rem_euclid(12)).collect()
    };
    let mut beats = 0;
    for lineup in lineups() {
        let done = first(sketch, &lineup);
        for ((section, chair), notes) in everybody(&lineup, &done) {
            // The demo is in four crotchets, so that beats of the piece are beats of the bar.
            let mut by_beat: BTreeMap<i64, Vec<&CastNote>> = BTreeMap::new();
            for note in notes.iter().filter(|note| sketch.strands[note.line.strand].role == Role::Rhythm) {
                by_beat.entry(note.onset.floor()).or_default().push(note);
            }
            for (beat, notes) in by_beat {
                let of = |wanted: i64| notes.iter().any(|note| note.onset.denominator() % wanted == 0);
                let keys: BTreeSet<i32> = notes.iter().map(|note| note.key()).collect();
                let who = format!("{} {section}.{chair} at {beat}", lineup.name);
                assert!(!(of(2) && of(3)), "{who}: halves and thirds of a beat");
                let chords: BTreeSet<BTreeSet<i32>> = notes.iter().map(|note| tones(note.onset)).collect();
                if chords.len() == 1 {
                    assert_eq!(keys.len(), 1, "{who}: {keys:?}");
                    beats += usize::from(notes.len() > 1);
                }
            }
        }
    }
    assert!(beats > 100, "{beats}");
}

/// What the plan and the listing say of a line's octave is where most of its notes lie.
#[test]
fn the_octave_that_is_told_is_the_octave_that_sounds() {
    let study = overture();
    for sketch in passages(&study) {
        for lineup in lineups() {
            let done = first(&sketch, &lineup);
            for (planned, phrase) in done.plan.phrases.iter().zip(&done.phrases) {
                for task in &planned.tasks {
                    let Some(strand) = task.strand.filter(|&strand| !sketch.strands[strand].is_chordal()) else { continue };
                    let own = task.chairs.iter().filter_map(|chair| phrase.notes.get(&(task.section, *chair))).flatten();
                    let apart: Vec<i32> = own
                        .filter_map(|note| {
                            let written = sketch.strands[strand].notes.iter().find(|other| other.onset == note.onset)?;
                            Some((note.key() - written.key()) / 12)
                        })
                        .collect();
                    let at = |octave: i32| apart.iter().filter(|apart| **apart == octave).count();
                    let most = apart.iter().map(|octave| at(*octave)).max().unwrap_or(0);
                    assert_eq!(at(task.octave_heard()), most, "{}: told {}, sounds {apart:?}", lineup.name, task.octave_heard());
                }
            }
        }
    }
}

/// Two players of five at most on the third, half where the chords have but two tones; at two barlines of a passage not: where a section of two or three holds a chord of two tones, somebody has it twice.
#[test]
fn thirds_are_not_crowded() {
    let study = overture();
    for sketch in passages(&study) {
        for lineup in lineups() {
            let done = first(&sketch, &lineup);
            let crowded = done.criteria.get("thirds with more than two players of five").unwrap();
            assert!(crowded <= 2.0, "{}: {crowded} barlines", lineup.name);
        }
    }
}

/// A chord is complete before anything is doubled (Rimsky-Korsakov, Piston; from memory): with eighteen players and more no tone goes missing, and where one does it is told.
#[test]
fn chords_are_whole_and_what_is_missing_is_told() {
    let study = overture();
    let mut whole = 0;
    for sketch in passages(&study) {
        for lineup in lineups() {
            let done = first(&sketch, &lineup);
            let tones = done.criteria.get("chord tones sounded").unwrap();
            let players: usize = lineup.sections.iter().map(|section| section.chairs.len()).sum();
            assert!(players < 18 || tones > 1.0 - 1e-9, "{}: {tones}", lineup.name);
            let told = done.remarks.iter().any(|one| one.contains("nobody sounds") || one.contains("nobody has “"));
            assert!(told || tones > 1.0 - 1e-9, "{}: {tones}, {:?}", lineup.name, done.remarks);
            whole += usize::from(tones > 1.0 - 1e-9);
        }
    }
    assert!(whole >= 18, "{whole} of 27");
}

#[test]
fn no_phrase_is_a_single_bar_and_accompaniment_changes_at_the_barline() {
    let study = overture();
    for sketch in passages(&study) {
        let plan = Plan::phrases_of(&sketch);
        assert!(
            plan.phrases.iter().all(|phrase| phrase.bars.len() >= 2),
            "{:?}",
            plan.phrases.iter().map(|phrase| phrase.bars.clone()).collect::<Vec<_>>()
        );
        for lineup in lineups() {
            let done = first(&sketch, &lineup);
            for (at, (planned, phrase)) in done.plan.phrases.iter().zip(&done.phrases).enumerate().skip(1) {
                let bar = sketch.bar_start(planned.bars.start);
                let chords = phrase.notes.values().flatten().filter(|note| sketch.strands[note.line.strand].is_chordal());
                assert!(chords.into_iter().all(|note| note.onset >= bar), "{}: phrase {at}", lineup.name);
            }
        }
    }
}

/// Semiquavers in arpeggios at crotchet 126: no slide is asked for them (`ripieno_players::slide`, positions by its published table).
#[test]
fn slides_are_not_asked_for_quick_arpeggios() {
    let study = overture();
    let sketch = &passages(&study)[0];
    for lineup in lineups() {
        let done = first(sketch, &lineup);
        let slides = |part: &str| part.contains("rombone");
        let score = done.score(sketch, &lineup);
        let hard: Vec<String> = done
            .objections
            .iter()
            .filter(|one| one.kind == ripieno_players::Kind::SlideLegato && one.severity != ripieno_players::Severity::Note)
            .filter(|one| slides(&score.parts[one.part].name))
            .map(ToString::to_string)
            .collect();
        assert!(hard.is_empty(), "{}: {hard:?}", lineup.name);
    }
}

/// An accompaniment is never louder than the tune, and no place has two dynamics.
#[test]
fn dynamics_of_a_reduction_go_together() {
    use ripieno_score::{DirectionKind, DynamicMark};
    let study = overture();
    for sketch in passages(&study) {
        let tune = sketch.strands[sketch.strand(Role::Melody).unwrap()].part;
        for strand in &sketch.strands {
            let mut places = BTreeSet::new();
            for one in &sketch.score.parts[strand.part].directions {
                if !matches!(one.kind, DirectionKind::Dynamic(_)) {
                    continue;
                }
                assert!(places.insert((one.bar, one.at)), "{}: two dynamics in bar {}", strand.name, one.bar);
                let at: Crotchets = sketch.bar_start(one.bar.at()) + one.at;
                if let DirectionKind::Dynamic(DynamicMark::Level(level)) = &one.kind
                    && let Some(most) = sketch.level_at(tune, at)
                {
                    assert!(level.0 <= most + 0.5, "{} in bar {}: {level:?} over {most}", strand.name, one.bar);
                }
            }
        }
    }
}

/// A section's tune lies with the top of those who play, chords below it (common practice; from memory). Music21's chorales are judged by `reference/casting_agree.py`.
#[test]
fn nobody_of_a_section_has_a_chord_above_its_tune() {
    let study = overture();
    for sketch in passages(&study) {
        for lineup in
            lineups().iter().filter(|lineup| lineup.sections.iter().map(|section| section.chairs.len()).sum::<usize>() <= 9)
        {
            let done = first(&sketch, lineup);
            let all = everybody(lineup, &done);
            let of = |note: &CastNote| sketch.strands[note.line.strand].role;
            for ((section, chair), notes) in &all {
                for tune in notes.iter().filter(|note| of(note) == Role::Melody && note.duration.is_positive()) {
                    let lower = all.iter().filter(|((other, below), _)| other == section && below > chair);
                    let chords = lower.flat_map(|(_, notes)| notes).filter(|note| of(note) == Role::Harmony);
                    for chord in chords.filter(|note| note.onset < tune.end() && tune.onset < note.end()) {
                        assert!(chord.key() <= tune.key(), "{}: section {section} at {}", lineup.name, tune.onset);
                    }
                }
            }
        }
    }
}

/// A grace note after the last rhythm of a phrase binds nobody in the next, and stops nothing.
#[test]
fn a_phrase_with_nothing_but_a_grace_note_of_rhythm_is_cast() {
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/grace_at_the_joint.musicxml");
    let sketch = Sketch::by_names(ripieno_formats::read_file(&file, &Limits::default()).unwrap().score).unwrap();
    for lineup in lineups() {
        let done = first(&sketch, &lineup);
        assert!(done.phrases.iter().any(|phrase| !phrase.notes.is_empty()), "{}", lineup.name);
    }
}
