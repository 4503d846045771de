//! Damaged MusicXML: whatever the bytes, reading ends, does not panic, and leaves a score that keeps its invariants.
//!
//! The seeds are the fixtures; long runs are made with the example `mutate` (figures in docs/reading.md). `PROPTEST_CASES` sets how many
//! are tried here. Every input that once failed lies in `tests/crashes` and is replayed.
#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

mod shown;

use std::path::Path;

use proptest::prelude::*;
use ripieno_formats::{Limits, musicxml, read};
use ripieno_score::{Sounding, Unroll};

/// Pieces that damaged and hostile files hold.
const PIECES: [&str; 30] = [
    "<note>",
    "</note>",
    "<chord/>",
    "<grace/>",
    "<cue/>",
    "<rest/>",
    "<rest measure=\"yes\"/>",
    "<duration>-1</duration>",
    "<duration>1e99</duration>",
    "<duration>4096000000</duration>",
    "<backup><duration>99999</duration></backup>",
    "<forward><duration>0.000001</duration></forward>",
    "<divisions>0</divisions>",
    "<divisions>0.0001</divisions>",
    "<divisions>999999999</divisions>",
    "<time><beats>0</beats><beat-type>0</beat-type></time>",
    "</measure><measure number=\"1\">",
    "</part><part id=\"P1\">",
    "<staff>255</staff>",
    "<staff>0</staff>",
    "<voice>99999999</voice>",
    "<tie type=\"start\"/><tie type=\"stop\"/>",
    "<transpose><chromatic>127</chromatic><octave-change>8</octave-change></transpose>",
    "<alter>-99.5</alter>",
    "<octave>9</octave>",
    "<measure-style><measure-repeat type=\"start\">1</measure-repeat></measure-style>",
    "<ending number=\"1-255\" type=\"start\"/>",
    "<repeat direction=\"backward\" times=\"255\"/>",
    "<sound tempo=\"1e-300\" dalsegno=\"x\" segno=\"\"/>",
    "&#x10ffff;",
];

fn seeds() -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/musicxml");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| extension == "musicxml"));
    files.sort();
    files.iter().map(|path| std::fs::read(path).unwrap()).collect()
}

#[derive(Debug, Clone)]
enum Edit {
    Set(usize, u8),
    Insert(usize, usize),
    Cut(usize, usize),
    Copy(usize, usize, usize),
    Number(usize, i64),
}

fn edit() -> impl Strategy<Value = Edit> {
    prop_oneof![
        (any::<usize>(), any::<u8>()).prop_map(|(at, byte)| Edit::Set(at, byte)),
        (any::<usize>(), 0..PIECES.len()).prop_map(|(at, piece)| Edit::Insert(at, piece)),
        (any::<usize>(), 1..200usize).prop_map(|(at, length)| Edit::Cut(at, length)),
        (any::<usize>(), 1..600usize, any::<usize>()).prop_map(|(from, length, to)| Edit::Copy(from, length, to)),
        (any::<usize>(), any::<i64>()).prop_map(|(at, number)| Edit::Number(at, number)),
    ]
}

fn damaged(mut bytes: Vec<u8>, edits: &[Edit]) -> Vec<u8> {
    const LARGEST: usize = 8192;
    for edit in edits {
        let length = bytes.len();
        if length == 0 {
            break;
        }
        match *edit {
            Edit::Set(at, byte) => bytes[at % length] = byte,
            // Between two elements, where it does most.
            Edit::Insert(at, piece) => {
                let at = at % length;
                let at = bytes[at..].iter().position(|&byte| byte == b'<').map_or(length, |offset| at + offset);
                drop(bytes.splice(at..at, PIECES[piece].bytes()));
            }
            Edit::Cut(at, count) => drop(bytes.drain(at % length..(at % length + count).min(length))),
            Edit::Copy(from, count, to) => {
                let piece = bytes[from % length..(from % length + count).min(length)].to_vec();
                drop(bytes.splice(to % length..to % length, piece));
            }
            Edit::Number(at, number) => {
                let at = at % length;
                let Some(start) = bytes[at..].iter().position(u8::is_ascii_digit).map(|offset| at + offset) else { continue };
                let count = bytes[start..].iter().take_while(|byte| byte.is_ascii_digit()).count();
                drop(bytes.splice(start..start + count, number.to_string().into_bytes()));
            }
        }
    }
    bytes.truncate(LARGEST);
    bytes
}

/// Reads and checks what every reading keeps, errors included.
fn try_out(bytes: &[u8]) {
    let Ok(reading) = musicxml::read("damaged.musicxml", bytes, &Limits::default()) else { return };
    shown::assert_in_order(&reading.score);
    for unroll in [Unroll::AsWritten, Unroll::AsPlayed] {
        std::hint::black_box(Sounding::new(&reading.score, unroll));
    }
    assert!(reading.findings.iter().all(|finding| finding.place.file == "damaged.musicxml" && !finding.what.ends_with('.')));
}

proptest! {
    #[test]
    fn damaged_files_are_read_or_refused(seed in prop::sample::select(seeds()), edits in prop::collection::vec(edit(), 1..8)) {
        try_out(&damaged(seed, &edits));
    }
}

#[test]
fn inputs_that_once_failed_are_read_or_refused() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/crashes");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if name.starts_with("musicxml") || name.starts_with("mxl") {
            let bytes = std::fs::read(&path).unwrap();
            try_out(&bytes);
            let _ = read(&name, &bytes, &Limits::default());
        }
    }
}
