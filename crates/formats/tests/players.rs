//! Player counts against the line-up each work is published for.
//!
//! Source of the counts: the instrumentation on the first page of the published scores (in the public domain), counted by
//! hand. The scores are the annotated ones beside the checkout; without them the test says so and checks nothing.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, read_file};
use ripieno_instruments::catalogue::catalogue;

fn score(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/scores").join(name);
    if path.exists() {
        return Some(path);
    }
    println!("skipped: {name} is not here (the annotated scores lie in ../shared beside the checkout)");
    None
}

fn check(name: &str, expected: &[(&str, u16)]) {
    let Some(path) = score(name) else { return };
    let reading = read_file(&path, &Limits::default()).unwrap();
    let mut counted: BTreeMap<&str, (u16, u16)> = BTreeMap::new();
    for part in &reading.score.parts {
        let section = catalogue().by_id(&part.instrument_id).map_or("?", |instrument| instrument.section.name());
        let count = counted.entry(section).or_default();
        count.0 += part.players.least;
        count.1 += part.players.most;
    }
    for (section, players) in expected {
        assert_eq!(counted.get(section), Some(&(*players, *players)), "{name}: {section}");
    }
}

#[test]
fn brahms_first_symphony_finale() {
    check(
        "Brahms_Op.68_4.mxl",
        &[
            ("flutes", 2),
            ("oboes", 2),
            ("clarinets", 2),
            ("bassoons", 3),
            ("horns", 4),
            ("trumpets", 2),
            ("trombones", 3),
            ("timpani", 1),
        ],
    );
}

#[test]
fn bruckner_fifth_symphony_first_movement() {
    check(
        "Bruckner_WAB.105_1.mxl",
        &[
            ("flutes", 2),
            ("oboes", 2),
            ("clarinets", 2),
            ("bassoons", 2),
            ("horns", 4),
            ("trumpets", 3),
            ("trombones", 3),
            ("tubas", 1),
            ("timpani", 1),
        ],
    );
}

#[test]
fn beethoven_ninth_symphony_finale() {
    check(
        "Beethoven_Op.125_4.mxl",
        &[
            ("flutes", 3),
            ("oboes", 2),
            ("clarinets", 2),
            ("bassoons", 3),
            ("horns", 4),
            ("trumpets", 2),
            ("trombones", 3),
            ("timpani", 1),
        ],
    );
}
