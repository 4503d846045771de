//! The demo's line-ups, and three passages of it as sketches.
#![allow(dead_code)] // no test program asks for all of it

use std::path::{Path, PathBuf};

use ripieno_casting::{Cast, CastNote, Habits, Lineup, Options, Plan, Seat, Sketch, cast, reduce};
use ripieno_formats::Limits;
use ripieno_study::Study;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

pub fn lineup(name: &str) -> Lineup {
    Lineup::from_toml("l.toml", &std::fs::read_to_string(demo("lineups").join(format!("{name}.toml"))).unwrap()).unwrap()
}

pub fn lineups() -> Vec<Lineup> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(demo("lineups")).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    files.iter().map(|file| Lineup::from_toml("l.toml", &std::fs::read_to_string(file).unwrap()).unwrap()).collect()
}

pub fn overture() -> Study {
    ripieno_study::analyse_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap()
}

/// Bars 35 to 45 (ff, quavers against triplets over a quick arpeggio), 51 to 66 (the second theme, p to mf) and 81 to 100 (the peroration, ff) of the demo.
pub fn passages(study: &Study) -> Vec<Sketch> {
    let bars = |number: &str| study.score.bars.iter().position(|bar| &*bar.number == number).unwrap();
    let of =
        |from: &str, to: &str| reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars(from)..bars(to) + 1);
    vec![of("35", "45"), of("51", "66"), of("81", "100")]
}

pub fn sketches() -> Vec<Sketch> {
    passages(&overture())
}

pub fn first(sketch: &Sketch, lineup: &Lineup) -> Cast {
    cast(sketch, lineup, &Plan::default(), &Habits::usual(), &Options::default())
}

pub fn everybody(lineup: &Lineup, cast: &Cast) -> Vec<(Seat, Vec<CastNote>)> {
    let of = |section: usize| (0..lineup.sections[section].chairs.len()).map(move |chair| (section, chair));
    (0..lineup.sections.len()).flat_map(of).map(|seat| (seat, cast.notes_of(seat))).collect()
}
