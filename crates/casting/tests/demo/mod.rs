//! The demo's line-ups, and three passages of it as sketches.

use std::path::{Path, PathBuf};

use ripieno_casting::{Cast, Habits, Lineup, Options, Plan, Sketch, cast, reduce};
use ripieno_formats::Limits;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

pub fn lineup(name: &str) -> Lineup {
    Lineup::from_toml("l.toml", &std::fs::read_to_string(demo("lineups").join(format!("{name}.toml"))).unwrap()).unwrap()
}

/// Bars 35 to 45 (ff), 51 to 66 (p to mf) and 81 to 100 (ff) of the demo.
pub fn sketches() -> Vec<Sketch> {
    let study = ripieno_study::analyse_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let bars = |number: &str| study.score.bars.iter().position(|bar| &*bar.number == number).unwrap();
    let of =
        |from: &str, to: &str| reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars(from)..bars(to) + 1);
    vec![of("35", "45"), of("51", "66"), of("81", "100")]
}

pub fn first(sketch: &Sketch, lineup: &Lineup) -> Cast {
    cast(sketch, lineup, &Plan::default(), &Habits::usual(), &Options::default())
}
