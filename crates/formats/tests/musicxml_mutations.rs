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
const PIECES: [&[u8]; 32] = [
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
    b"<attributes><measure-style><beat-repeat type=\"start\"><slash-type>1024th</slash-type></beat-repeat></measure-style></attributes>",
    b"<attributes><measure-style number=\"2\"><slash type=\"start\"/></measure-style></attributes>",
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

/// One bar of one part with `count` times what `music` holds, between `before` and `after`.
fn long_file(name: &str, before: &str, music: &str, after: &str, count: usize) -> Vec<u8> {
    let head = format!(
        "<score-partwise><part-list><score-part id=\"P1\"><part-name>{name}</part-name></score-part></part-list><part id=\"P1\">\
<measure number=\"1\"><attributes><divisions>4</divisions></attributes>"
    );
    format!("{head}{before}{}{after}</measure></part></score-partwise>", music.repeat(count)).into_bytes()
}

#[test]
fn work_grows_with_the_file_alone() {
    const COUNT: usize = 120_000;
    let note = |rest: &str| {
        let pitch = "<pitch><step>C</step><octave>4</octave></pitch><duration>1</duration>";
        format!("<note>{pitch}{rest}</note><backup><duration>1</duration></backup>")
    };
    let direction = |what: &str| format!("<direction><direction-type>{what}</direction-type></direction>");
    let chord = "<note><chord/><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration><tie type=\"start\"/></note>";
    let rest = "<note><rest/><duration>1</duration><voice>2</voice></note><backup><duration>1</duration></backup>";
    let (wedge, stop) = (direction("<wedge type=\"crescendo\"/>"), direction("<wedge type=\"stop\"/>"));
    let soft = direction("<dynamics><p/></dynamics>");
    let transpose = "<attributes><transpose number=\"2\"><chromatic>-2</chromatic></transpose></attributes>";
    let notes = note("").repeat(COUNT);
    // Each would take minutes if a note or sign cost more the more there are.
    let files = [
        long_file("Flute", "", &note("<tie type=\"stop\"/>"), "", COUNT),
        long_file("Flutes 1.2", &note(""), chord, "", COUNT),
        long_file("Flutes 1.2", "", rest, &notes, COUNT),
        long_file("Flutes 1.2", "", &direction("<words>a 2</words>"), &note("<staff>2</staff>").repeat(COUNT), COUNT),
        long_file("Flute", "", transpose, &notes, COUNT),
        long_file("Flute", &soft, &direction("<words>cresc.</words>"), &note(""), COUNT),
        long_file("Flute", &format!("{soft}{}", wedge.repeat(COUNT)), &stop, &note(""), COUNT),
    ];
    let started = std::time::Instant::now();
    for bytes in &files {
        let reading = read("long.musicxml", bytes, &Limits::default()).unwrap();
        let sounding = Sounding::new(&reading.score, Unroll::AsPlayed);
        std::hint::black_box(ripieno_formats::trouble_findings("long.musicxml", &reading.score, &sounding));
    }
    assert!(started.elapsed().as_secs() < 60, "took {:?}", started.elapsed());
}

#[test]
fn signs_count_towards_the_limit() {
    let limits = Limits { events: 1000, ..Limits::default() };
    let note = "<note><rest/><duration>4</duration></note>";
    for music in ["<attributes><clef/></attributes>", "<barline><repeat/></barline>", "<sound tempo=\"60\"/>"] {
        let refused = read("long.musicxml", &long_file("Flute", note, music, "", 1000), &limits).unwrap_err();
        assert_eq!(refused.0.code, "limit", "{music}");
        assert!(read("long.musicxml", &long_file("Flute", note, music, "", 100), &limits).is_ok(), "{music}");
    }
    let signs =
        format!("<note><rest/><duration>4</duration><notations>{}</notations></note>", "<slur type=\"start\"/>".repeat(1000));
    assert_eq!(read("long.musicxml", &long_file("Flute", "", &signs, "", 1), &limits).unwrap_err().0.code, "limit");
}
