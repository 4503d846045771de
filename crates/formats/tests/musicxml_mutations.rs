//! Damaged MusicXML: whatever the bytes, reading ends, does not panic, and leaves a score that keeps its invariants.
//!
//! The seeds are the fixtures; long runs are made with the example `mutate` (figures in docs/reading.md). `PROPTEST_CASES` sets how many
//! are tried here. Every input that once failed lies in `tests/crashes` and is replayed.
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

mod common;

use proptest::prelude::*;
use ripieno_formats::{Limits, musicxml, read};
use ripieno_score::{Sounding, Unroll};

use common::damage::Damage;
use common::files::contents;
use common::invariants::assert_in_order;

/// Pieces that damaged and hostile files hold.
const PIECES: [&[u8]; 30] = [
    b"<note>",
    b"</note>",
    b"<chord/>",
    b"<grace/>",
    b"<cue/>",
    b"<rest/>",
    b"<rest measure=\"yes\"/>",
    b"<duration>-1</duration>",
    b"<duration>1e99</duration>",
    b"<duration>4096000000</duration>",
    b"<backup><duration>99999</duration></backup>",
    b"<forward><duration>0.000001</duration></forward>",
    b"<divisions>0</divisions>",
    b"<divisions>0.0001</divisions>",
    b"<divisions>999999999</divisions>",
    b"<time><beats>0</beats><beat-type>0</beat-type></time>",
    b"</measure><measure number=\"1\">",
    b"</part><part id=\"P1\">",
    b"<staff>255</staff>",
    b"<staff>0</staff>",
    b"<voice>99999999</voice>",
    b"<tie type=\"start\"/><tie type=\"stop\"/>",
    b"<transpose><chromatic>127</chromatic><octave-change>8</octave-change></transpose>",
    b"<alter>-99.5</alter>",
    b"<octave>9</octave>",
    b"<measure-style><measure-repeat type=\"start\">1</measure-repeat></measure-style>",
    b"<ending number=\"1-255\" type=\"start\"/>",
    b"<repeat direction=\"backward\" times=\"255\"/>",
    b"<sound tempo=\"1e-300\" dalsegno=\"x\" segno=\"\"/>",
    b"&#x10ffff;",
];

const DAMAGE: Damage = Damage { pieces: &PIECES, before: Some(b'<') };

/// Reads and checks what every reading keeps, errors included.
fn try_out(bytes: &[u8]) {
    let Ok(reading) = musicxml::read("damaged.musicxml", bytes, &Limits::default()) else { return };
    assert_in_order(&reading.score);
    for unroll in [Unroll::AsWritten, Unroll::AsPlayed] {
        std::hint::black_box(Sounding::new(&reading.score, unroll));
    }
    assert!(reading.findings.iter().all(|finding| finding.place.file == "damaged.musicxml" && !finding.what.ends_with('.')));
}

proptest! {
    #[test]
    fn damaged_files_are_read_or_refused(seed in prop::sample::select(contents("musicxml", &["musicxml"])), edits in DAMAGE.edits(8)) {
        try_out(&DAMAGE.apply(seed, &edits));
    }
}

#[test]
fn inputs_that_once_failed_are_read_or_refused() {
    for bytes in contents("crashes", &["musicxml", "mxl"]) {
        try_out(&bytes);
        let _ = read("damaged.mxl", &bytes, &Limits::default());
    }
}
