//! Written MIDI reads back to the same notes.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise

use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, midi, read, read_file};
use ripieno_score::{Crotchets, Score, Sounding, Unroll};

type Heard = Vec<(Crotchets, Crotchets, Option<u8>)>;

/// Onset, length and key of every note of each part that has any, sorted; graces, which have no length, left aside.
fn heard(score: &Score, unroll: Unroll) -> Vec<Heard> {
    let sounding = Sounding::new(score, unroll);
    let part = |rows: &std::ops::Range<usize>| {
        let notes = rows.clone().map(|row| sounding.notes.row(row)).filter(|row| row.duration.is_positive());
        let mut notes: Heard = notes.map(|row| (row.onset, row.duration, row.key.map(ripieno_score::MidiKey::number))).collect();
        notes.sort();
        notes
    };
    sounding.notes.of_part.iter().map(part).filter(|notes| !notes.is_empty()).collect()
}

fn check(path: &Path) {
    let score = read_file(path, &Limits::default()).unwrap().score;
    let bytes = midi::write(&score, Unroll::AsPlayed);
    assert_eq!(bytes, midi::write(&score, Unroll::AsPlayed), "{}: the same bytes each time", path.display());
    let again = read("written.mid", &bytes, &Limits::default()).unwrap().score;
    let graces = Sounding::new(&score, Unroll::AsPlayed).notes.duration.iter().filter(|d| d.is_zero()).count();
    let (before, after) = (heard(&score, Unroll::AsPlayed), heard(&again, Unroll::AsWritten));
    assert_eq!(before.len(), after.len(), "{}: parts", path.display());
    let mut extra = 0;
    for (part, (before, after)) in before.iter().zip(&after).enumerate() {
        let missing: Vec<_> = before.iter().filter(|note| after.binary_search(note).is_err()).collect();
        assert!(missing.is_empty(), "{}, part {part}: {missing:?}", path.display());
        extra += after.len() - before.len();
    }
    assert_eq!(extra, graces, "{}: only graces gain a length", path.display());
}

#[test]
fn the_demo_reads_back() {
    check(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml"));
}

/// Symphonies as MIDI files, beside the checkout; without them the test says so.
#[test]
fn symphonies_read_back() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/texture/s3_midi");
    let files: Vec<PathBuf> = ["mo3.mid", "dv2.mid"].iter().map(|name| folder.join(name)).filter(|path| path.exists()).collect();
    if files.is_empty() {
        println!("skipped: no MIDI symphonies in ../shared");
    }
    files.iter().for_each(|path| check(path));
}
