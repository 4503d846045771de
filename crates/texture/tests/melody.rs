//! The melody from carrier to carrier, on the demo and two open scores: stretches of time and bars say the same.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stderr)] // a test stops at the first surprise

use std::path::Path;

use ripieno_formats::{Limits, read_file};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{Carried, Lines, predict, read_roles};

/// The melody of the score in a file, and its view as written.
fn melody_of(file: &Path) -> (Sounding, Vec<Carried>) {
    let score = read_file(file, &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let melody = read_roles(&score, &sounding, &Lines::new(&score, &sounding), &predict(&score, &sounding)).melody;
    (sounding, melody)
}

/// A carrier's time begins in its first bar or with an upbeat in the one before, and ends in its last bar or with a note held into the one after: it does not
/// reach over bars in which nobody has the melody. Carriers follow each other in time, and whoever plays along does so within the stretch.
#[test]
fn a_carriers_time_is_that_of_its_bars() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    let (sounding, melody) = melody_of(&demo);
    assert!(melody.len() > 20, "{}", melody.len());
    for carried in &melody {
        let (first, end) = (carried.bars.start as usize, carried.bars.end as usize);
        let before = sounding.bars[first.saturating_sub(1)].start;
        let after = sounding.bars.get(end).map_or_else(|| sounding.length(), |bar| bar.start + bar.length);
        assert!(before <= carried.from && carried.from < carried.to && carried.to <= after, "{carried:?}");
        for along in &carried.support {
            assert!(carried.from <= along.from && along.from < along.to && along.to <= carried.to, "{along:?} in {carried:?}");
            assert!(carried.bars.start <= along.bars.start && along.bars.end <= carried.bars.end, "{along:?} in {carried:?}");
        }
    }
    for pair in melody.windows(2) {
        assert!(pair[0].to <= pair[1].from, "{pair:?}");
    }
}

/// Whoever carries the melody does not hand it to himself: of two stretches that touch, or lie in adjoining bars, each is of another line. Ours (the definition
/// of a stretch). In the two open scores a line that carries goes on alone where nobody was chosen, which once made three stretches of one.
#[test]
fn no_line_hands_the_melody_to_itself() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let scores = folder.join("../shared/data/scores");
    let files =
        [folder.join("demo/lifeboat_overture.musicxml"), scores.join("Brahms_Op.68_1.mxl"), scores.join("Beethoven_Op.67_2.mxl")];
    for file in files {
        if !file.exists() {
            eprintln!("skipped: {} is not there", file.display());
            continue;
        }
        let melody = melody_of(&file).1;
        assert!(melody.len() > 20, "{}: {}", file.display(), melody.len());
        for pair in melody.windows(2) {
            let touch = pair[1].from <= pair[0].to || pair[1].bars.start <= pair[0].bars.end;
            assert!(!touch || pair[0].line != pair[1].line, "{}: {pair:?}", file.display());
            assert!(pair[0].to <= pair[1].from, "{}: {pair:?}", file.display());
        }
    }
}
