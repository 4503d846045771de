//! What was learned of who does what, on the demo's sketch: orchestras and bands alike.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use ripieno_casting::{Cast, Habits, Learned, Lineup, Options, Plan, Sketch, Taste, cast, casting_table, present, units};
use ripieno_formats::{Limits, read_file};
use ripieno_texture::Role;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

fn sketch() -> Sketch {
    Sketch::by_names(read_file(&demo("sketch_second_theme.musicxml"), &Limits::default()).unwrap().score).unwrap()
}

/// For each section, how likely it has the role in the demo's first phrase.
fn likely(lineup: &Lineup, role: Role) -> Vec<(String, f64)> {
    let sketch = sketch();
    let phrase = &Plan::phrases_of(&sketch).phrases[0];
    let span = Plan::span(&sketch, &phrase.bars);
    let (strands, groups) = (present(&sketch, span), units(lineup));
    let at = strands.iter().position(|&strand| sketch.strands[strand].role == role).unwrap();
    let logs = Learned::usual().logs(&casting_table(&sketch, lineup, &groups, &strands, span), &vec![true; groups.len()]);
    groups
        .iter()
        .enumerate()
        .map(|(n, unit)| (lineup.sections[unit.section].name.clone(), logs[n * strands.len() + at].exp()))
        .collect()
}

/// Common practice: whoever sounds lowest has the bass rather than whoever sounds highest, with strings and without them.
#[test]
fn the_lowest_have_the_bass_rather_than_the_highest() {
    for (text, low, high) in [
        ("Flutes|Oboes|Horns in F|Violins|Violas|Double basses", "Double basses", "Flutes"),
        ("Trumpets in C|Horns in F|Trombones|Tuba", "Tuba", "Trumpets in C"),
        ("Cornets|Flugelhorn|Euphonium|Tuba", "Tuba", "Cornets"),
    ] {
        let body = |name: &str| if name.starts_with("Vi") || name.starts_with("Double") { 8 } else { 2 };
        let toml: String =
            text.split('|').map(|name| format!("[[section]]\nname = \"{name}\"\nplayers = {}\n", body(name))).collect();
        let lineup = Lineup::from_toml("test", &toml).unwrap();
        let found = likely(&lineup, Role::Bass);
        let of = |name: &str| found.iter().find(|(known, _)| known == name).unwrap().1;
        assert!(of(low) > of(high), "{text}: {found:?}");
        assert!(of(low) > 0.5, "{text}: {found:?}");
    }
}

fn lineup(file: &str) -> Lineup {
    let text = std::fs::read_to_string(demo("lineups").join(file)).unwrap();
    Lineup::from_toml(file, &text).unwrap()
}

/// Phrases in which a section has the tune.
fn tunes(cast: &Cast, lineup: &Lineup, section: &str) -> usize {
    let has = |role: Role, at: usize| role == Role::Melody && lineup.sections[at].name == section;
    cast.plan.phrases.iter().filter(|phrase| phrase.tasks.iter().any(|task| has(task.role, task.section))).count()
}

/// Usual practice but for trumpets, which always play there and have the tune for this share of their time.
fn trumpets_with_the_tune(share: f64) -> Habits {
    let mut habits = Habits::usual();
    let trumpets = habits.sections.get_mut("trumpets").unwrap();
    trumpets.presence = [0.97; 3];
    let others: f64 = trumpets.shares.iter().filter(|(role, _)| **role != Role::Melody).map(|(_, share)| share).sum();
    trumpets
        .shares
        .iter_mut()
        .for_each(|(role, own)| *own = if *role == Role::Melody { share } else { *own * (1.0 - share) / others });
    habits
}

/// What `--like` is for: a practice in which trumpets have the tune moves them there, one in which they never have it keeps them from it.
#[test]
fn a_practice_moves_who_has_the_tune() {
    let sketch = sketch();
    let all = Plan::phrases_of(&sketch).phrases.len();
    for file in ["orchestra_of_pairs.toml", "lifeboat_brass.toml"] {
        let lineup = lineup(file);
        let with = |share: f64, like: f64| {
            let options = Options { taste: Taste { like, ..Taste::default() }, ..Options::default() };
            let cast = cast(&sketch, &lineup, &Plan::default(), &trumpets_with_the_tune(share), &options);
            tunes(&cast, &lineup, "Trumpets in C")
        };
        let like = Taste::default().like;
        let (often, never) = (with(0.95, like), with(0.001, like));
        // One phrase lies too high for anybody else.
        assert!(often * 2 >= all && never <= 1 && often >= never + 2, "{file}: {often} and {never} of {all} phrases");
        // Without the tilt both practices would give the same.
        assert!(with(0.95, 0.0) < often || with(0.001, 0.0) > never, "{file}");
    }
}

/// Usual practice tilts nothing: what is learned is learned of it.
#[test]
fn usual_practice_changes_nothing() {
    let sketch = sketch();
    let lineup = lineup("orchestra_of_pairs.toml");
    let with = |like: f64| {
        let options = Options { taste: Taste { like, ..Taste::default() }, ..Options::default() };
        cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &options).plan
    };
    assert_eq!(with(0.0), with(50.0));
}

/// Common practice: the tune lies where it was written for whoever leads with it, unless nobody of those who have it is at ease there.
#[test]
fn the_leading_voice_of_the_tune_lies_at_its_own_octave() {
    let sketch = sketch();
    let tune = sketch.strands.iter().position(|strand| strand.role == Role::Melody).unwrap();
    for file in ["lifeboat_band.toml", "lifeboat_brass.toml", "brass_quintet.toml", "orchestra_of_pairs.toml"] {
        let lineup = lineup(file);
        let cast = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
        for phrase in &cast.plan.phrases {
            let span = Plan::span(&sketch, &phrase.bars);
            let notes = sketch.strands[tune].between(span.0, span.1);
            let at_ease = |section: usize, chair: usize| {
                let reach = lineup.sections[section].chairs[chair].reach;
                notes.iter().all(|note| reach.strain(note.key()) == 0)
            };
            let have = || phrase.tasks.iter().filter(|task| task.strand == Some(tune));
            let could = have().any(|task| task.chairs.iter().any(|&chair| at_ease(task.section, chair)));
            let highest = have().map(ripieno_casting::Task::octave_heard).max().unwrap();
            assert!(!could || highest >= 0, "{file}, bars {:?}: {highest} octaves", phrase.bars);
        }
    }
}

/// Who plays may be given: then everybody named plays something in every phrase, however soft the tune, and nobody else does.
#[test]
fn whoever_is_told_to_play_plays() {
    let sketch = sketch();
    let plan = Plan::phrases_of(&sketch);
    for file in ["orchestra_of_pairs.toml", "lifeboat_band.toml", "lifeboat_brass.toml"] {
        let lineup = lineup(file);
        let groups = units(&lineup);
        let told: Vec<bool> = (0..groups.len()).map(|at| at % 5 != 3).collect();
        let options = Options { playing: Some(vec![told.clone(); plan.phrases.len()]), ..Options::default() };
        let cast = cast(&sketch, &lineup, &plan, &Habits::usual(), &options);
        for (phrase, (at, unit)) in
            cast.plan.phrases.iter().flat_map(|phrase| groups.iter().enumerate().map(move |unit| (phrase, unit)))
        {
            let mut has = phrase.tasks.iter().filter(|task| task.section == unit.section && task.strand.is_some());
            let plays = has.any(|task| task.chairs.iter().any(|chair| unit.chairs.contains(chair)));
            assert_eq!(plays, told[at], "{file}: {} in bars {:?}: {:?}", lineup.label(unit.section), phrase.bars, phrase.tasks);
        }
    }
}
