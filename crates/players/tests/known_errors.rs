//! Pitch errors known in an open collection (the Symbolic Symphony Set, Lin and others, ISMIR 2024 late-breaking; MIT), listed by hand
//! with file, part, number of notes and bars. The movements lie beside the checkout; without them this test says so and checks nothing.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::path::Path;

use ripieno_formats::{Limits, read_file};
use ripieno_players::{Kind, Level, Options, check};
use ripieno_score::{Sounding, Unroll};

/// (file, part, least count of notes, kind, a bar where one stands).
const KNOWN: [(&str, &str, usize, Kind, &str); 7] = [
    ("be1", "violoncello", 1, Kind::Range, "63"),
    ("dv2", "horn3", 2, Kind::Range, "96"),
    // The list writes "D-2/E-2 ... several octaves off"; the minus is a flat, so these are D flat 2 and E flat 2: low, not absurd.
    ("dv2", "trombone3", 5, Kind::Register, "1"),
    ("dv4", "bassoon2", 11, Kind::Range, "210"),
    // Bars 93 and 113 of the page; the file plays the repeats out and is 59 bars ahead there.
    ("mo3", "horn2", 2, Kind::Range, "152"),
    ("mo3", "piccolotrumpet1", 2, Kind::Range, "8"),
    ("mo3", "piccolotrumpet2", 2, Kind::Range, "24"),
];

#[test]
fn known_pitch_errors_are_found() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/texture/s3_midi");
    if !folder.exists() {
        println!("skipped: the movements are not here (they lie in ../shared beside the checkout)");
        return;
    }
    for (file, part, least, kind, bar) in KNOWN {
        let reading = read_file(&folder.join(format!("{file}.mid")), &Limits::default()).unwrap();
        let score = &reading.score;
        let sounding = Sounding::new(score, Unroll::AsWritten);
        let found = check(score, &sounding, &Options { level: Level::Professional, only: vec![kind] });
        let ours: Vec<&str> = found
            .iter()
            .filter(|one| score.parts[one.part].name.eq_ignore_ascii_case(part))
            .map(|one| &*score.bars[one.bar.at()].number)
            .collect();
        assert!(ours.len() >= least, "{file} {part}: {ours:?}");
        assert!(ours.contains(&bar), "{file} {part}: bar {bar} is not among {ours:?}");
    }
}

/// What costs time is the number of notes: twice the score, about twice the work, and the same objections twice.
#[test]
fn work_grows_with_the_number_of_notes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/scores");
    let path = folder.join("Brahms_Op.68_4.mxl");
    if !path.exists() {
        println!("skipped: the scores are not here (they lie in ../shared beside the checkout)");
        return;
    }
    let score = read_file(&path, &Limits::default()).unwrap().score;
    let twice = doubled(&score, 4);
    let time = |score: &ripieno_score::Score| {
        let sounding = Sounding::new(score, Unroll::AsWritten);
        let runs = (0..3).map(|_| {
            let start = std::time::Instant::now();
            let count = check(score, &sounding, &Options::default()).len();
            (start.elapsed().as_secs_f64(), count)
        });
        runs.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap()
    };
    let (once, few) = time(&score);
    let (more, many) = time(&twice);
    println!("{once:.3} s for {few} objections, {more:.3} s for {many} in a score four times as long");
    assert!(more < once * 12.0, "{once} s against {more} s");
    assert!(many >= few * 3);
}

/// The score `times` in a row.
fn doubled(score: &ripieno_score::Score, times: u32) -> ripieno_score::Score {
    let mut long = score.clone();
    let bars = u32::try_from(score.bars.len()).unwrap();
    for time in 1..times {
        let shift = time * bars;
        long.bars.extend(score.bars.iter().cloned());
        for (part, own) in long.parts.iter_mut().zip(&score.parts) {
            let base = u32::try_from(part.notes.len()).unwrap();
            let moved = |bar: ripieno_score::BarIndex| ripieno_score::BarIndex(bar.0 + shift);
            part.notes.extend(own.notes.iter().cloned().map(|mut note| {
                note.bar = moved(note.bar);
                note
            }));
            part.rests.extend(own.rests.iter().cloned().map(|mut rest| {
                rest.bar = moved(rest.bar);
                rest
            }));
            part.marks.extend(own.marks.iter().map(|(note, mark)| (note + base, mark.clone())));
            part.directions.extend(own.directions.iter().cloned().map(|mut direction| {
                direction.bar = moved(direction.bar);
                direction
            }));
            part.changes.extend(own.changes.iter().cloned().map(|mut change| {
                change.bar = moved(change.bar);
                change
            }));
        }
    }
    long.finish();
    long
}
