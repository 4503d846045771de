//! What a sketch takes over from the page beside its notes, and what of it reaches the players.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use ripieno_casting::{Habits, Lineup, Options, Plan, Sketch, cast, reduce};
use ripieno_formats::Limits;
use ripieno_score::{DirectionKind, DynamicMark, Part};
use ripieno_study::{Study, analyse_file};
use ripieno_texture::Role;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

/// The second theme of the demo, bars 51 to 66 (50..66 from the first).
fn second_theme() -> (Study, Sketch, usize) {
    let study = analyse_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let first = study.score.bars.iter().position(|bar| &*bar.number == "51").unwrap();
    let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, first..first + 16);
    (study, sketch, first)
}

fn words(part: &Part) -> Vec<(u32, &str)> {
    part.directions
        .iter()
        .filter_map(|one| match &one.kind {
            DirectionKind::Words(text) => Some((one.bar.0, &**text)),
            _ => None,
        })
        .collect()
}

fn swells(part: &Part) -> Vec<u32> {
    let open = part.directions.iter().filter(|one| matches!(one.kind, DirectionKind::HairpinStart { .. }));
    open.map(|one| one.bar.0).collect()
}

fn marks(part: &Part) -> Vec<(u32, &'static str)> {
    let mark = |kind: &DirectionKind| match kind {
        DirectionKind::Dynamic(DynamicMark::Level(level)) => Some(level.mark()),
        _ => None,
    };
    part.directions.iter().filter_map(|one| Some((one.bar.0, mark(&one.kind)?))).collect()
}

/// As printed in the demo's clarinet (51 to 58) and first violins (59 to 66), `demo/compose.py`.
#[test]
fn a_sketch_carries_what_is_printed_and_no_more() {
    let (_, sketch, _) = second_theme();
    let part = |role: Role| &sketch.score.parts[sketch.strands[sketch.strand(role).unwrap()].part];
    let melody = part(Role::Melody);
    assert_eq!(words(melody), [(0, "espressivo"), (0, "Andante cantabile")]);
    assert!(melody.directions.iter().any(|one| one.bar.0 == 0 && matches!(one.kind, DirectionKind::Metronome { .. })));
    assert_eq!(swells(melody), [6, 12, 14]);
    assert_eq!(marks(melody), [(0, "p"), (8, "mp"), (13, "mf")]);
    // The violas', who have chords throughout.
    assert_eq!(marks(part(Role::Harmony)), [(0, "pp"), (8, "p")]);
}

#[test]
fn a_strand_stays_with_one_line_through_its_phrase() {
    let (study, sketch, first) = second_theme();
    let named = |name: &str| study.score.parts.iter().position(|part| part.name.starts_with(name)).unwrap();
    let same = |role: Role, name: &str, bars: std::ops::Range<usize>| {
        let strand = &sketch.strands[sketch.strand(role).unwrap()];
        let start = sketch.bar_start(bars.start);
        let had: Vec<i32> = strand.between(start, sketch.bar_start(bars.end)).iter().map(|note| note.key()).collect();
        let notes = &study.sounding.notes;
        let within = |row: &usize| (first + bars.start..first + bars.end).contains(&(notes.bar[*row] as usize));
        let of_part = notes.of_part[named(name)].clone().filter(within);
        let own: Vec<i32> = of_part.map(|row| notes.pitch[row].semitones()).collect();
        assert_eq!(had, own, "{role:?} is {name}'s");
    };
    // The flute answers over the clarinet's cadence notes in 54 and 58, and the harp doubles the basses in 51 to 54.
    same(Role::Melody, "Clarinet", 0..8);
    same(Role::Bass, "Double bass", 0..16);
}

#[test]
fn hairpins_and_words_reach_everybody_who_has_the_strand() {
    let (_, sketch, _) = second_theme();
    let text = std::fs::read_to_string(demo("lineups/lifeboat_brass.toml")).unwrap();
    let lineup = Lineup::from_toml("lifeboat_brass.toml", &text).unwrap();
    let done = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
    let score = done.score(&sketch, &lineup);
    let mut seats = Vec::new();
    for (at, section) in lineup.sections.iter().enumerate() {
        seats.extend((0..if section.is_body { 1 } else { section.chairs.len() }).map(|chair| (at, chair)));
    }
    assert_eq!(words(&score.parts[0]).iter().filter(|(_, text)| *text == "Andante cantabile").count(), 1);
    let melody = sketch.strand(Role::Melody).unwrap();
    let (mut told, mut swelled) = (0, 0);
    for (part, seat) in score.parts.iter().zip(seats) {
        let has = |bar: usize| {
            let phrase = done.plan.phrases.iter().find(|phrase| phrase.bars.contains(&bar)).unwrap();
            let task = phrase.tasks.iter().find(|task| task.section == seat.0 && task.chairs.contains(&seat.1));
            task.and_then(|task| task.strand) == Some(melody)
        };
        assert_eq!(words(part).contains(&(0, "espressivo")), has(0), "{}", part.name);
        told += usize::from(has(0));
        for bar in [6, 12, 14] {
            assert_eq!(swells(part).contains(&u32::try_from(bar).unwrap()), has(bar), "{} bar {bar}", part.name);
            swelled += usize::from(has(bar));
        }
    }
    assert!(told > 0 && swelled >= 3);
}
