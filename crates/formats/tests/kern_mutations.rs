//! Damaged Humdrum files: whatever the bytes, reading ends, does not panic, and leaves a score that keeps its invariants.
//!
//! The files are the fixtures, cut, spliced and sprinkled with what the syntax makes much of. `PROPTEST_CASES` sets how many;
//! the figures of long runs stand in docs/reading-kern.md. Every input that once failed lies in `tests/crashes` and is replayed.

#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

use std::path::Path;

use proptest::collection::vec;
use proptest::prelude::*;
use ripieno_formats::{Limits, kern, read};
use ripieno_score::{Crotchets, Score, Sounding, Unroll};

/// Signifiers, manipulators and interpretations, and numbers no score has.
const SNIPPETS: [&[u8]; 64] = [
    b"\t",
    b"\n",
    b"\r\n",
    b"\r",
    b" ",
    b".",
    b"*",
    b"!",
    b"=",
    b"==",
    b"=:|!",
    b"=!|:",
    b"=5a",
    b"=-",
    b"*^",
    b"*v",
    b"*+",
    b"*-",
    b"*x",
    b"**kern",
    b"**dynam",
    b"**text",
    b"\n**kern\t**kern\n",
    b"\n*^\t*\n",
    b"\n*v\t*v\n",
    b"\n*-\t*-\n",
    b"\n*+\n",
    b"\n*x\t*x\n",
    b"4c",
    b"8.ee-",
    b"[",
    b"]",
    b"_",
    b"(",
    b"&(",
    b"&)",
    b")",
    b"0",
    b"000000000",
    b"999999999",
    b"1%999999999",
    b"999999999%1",
    b"q",
    b"Q",
    b"rr",
    b"yy",
    b"@16@",
    b"LLLLLLLLLL",
    b"JJJJ",
    b"kkkk",
    b"*M0/0",
    b"*M999+999/1024",
    b"*MX",
    b"*MM1e9",
    b"*ITrd99c999",
    b"*ITrd-8c-14",
    b"*clefX",
    b"*>A",
    b"*>[A,A,B,A]",
    b"*k[f#f#f#f#b-]",
    b"!!!OMD: [quarter]=",
    b"!!LO:TX:t=&#65;",
    b"*8va",
    b"\xff\xfe",
];

#[derive(Debug, Clone)]
enum Edit {
    Set(usize, u8),
    Insert(usize, usize),
    Cut(usize, usize),
    Copy(usize, usize, usize),
}

fn edit() -> impl Strategy<Value = Edit> {
    prop_oneof![
        (any::<usize>(), any::<u8>()).prop_map(|(at, byte)| Edit::Set(at, byte)),
        (any::<usize>(), 0..SNIPPETS.len()).prop_map(|(at, snippet)| Edit::Insert(at, snippet)),
        (any::<usize>(), 1..200usize).prop_map(|(at, length)| Edit::Cut(at, length)),
        (any::<usize>(), 1..400usize, any::<usize>()).prop_map(|(from, length, to)| Edit::Copy(from, length, to)),
    ]
}

/// Inputs grow to this size at most.
const LARGEST: usize = 8192;

fn damaged(mut bytes: Vec<u8>, edits: &[Edit]) -> Vec<u8> {
    for edit in edits {
        let length = bytes.len();
        match *edit {
            Edit::Set(at, byte) if length > 0 => bytes[at % length] = byte,
            Edit::Insert(at, snippet) => {
                let at = at % (length + 1);
                bytes.splice(at..at, SNIPPETS[snippet].iter().copied());
            }
            Edit::Cut(at, count) if length > 0 => {
                let at = at % length;
                bytes.drain(at..(at + count).min(length));
            }
            Edit::Copy(from, count, to) if length > 0 => {
                let from = from % length;
                let piece = bytes[from..(from + count).min(length)].to_vec();
                let to = to % (length + 1);
                bytes.splice(to..to, piece);
            }
            _ => {}
        }
        bytes.truncate(LARGEST);
    }
    bytes
}

fn fixtures() -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kern");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| extension == "krn"));
    files.sort();
    files.iter().map(|file| std::fs::read(file).unwrap()).collect()
}

/// Reads and looks at everything a caller may look at.
fn survives(bytes: &[u8]) {
    let limits = Limits { bars: 20_000, events: 200_000, parts: 256, ..Limits::default() };
    let _ = kern::looks_like(bytes);
    if let Ok(reading) = kern::read("damaged.krn", bytes, &limits) {
        assert!(reading.score.bars.len() <= limits.bars && reading.score.parts.len() <= limits.parts);
        keeps_invariants(&reading.score);
        for unroll in [Unroll::AsWritten, Unroll::AsPlayed] {
            let sounding = Sounding::new(&reading.score, unroll);
            assert!(sounding.notes.rows().all(|row| row.onset >= Crotchets::ZERO && row.duration >= Crotchets::ZERO));
        }
        for finding in &reading.findings {
            assert!(!finding.to_string().is_empty());
        }
    }
}

fn keeps_invariants(score: &Score) {
    let mut start = Crotchets::ZERO;
    for bar in &score.bars {
        assert_eq!(bar.start, start, "bars abut");
        start += bar.length;
    }
    let length = |bar: ripieno_score::BarIndex| score.bars[bar.at()].length;
    for part in &score.parts {
        assert!(part.staves >= 1 && !part.instruments.is_empty());
        assert!(part.notes.is_sorted_by_key(|note| (note.bar, note.at, note.voice)));
        for note in &part.notes {
            assert!(note.at >= Crotchets::ZERO && note.at + note.duration <= length(note.bar), "{note:?} stays in its bar");
            assert!(usize::from(note.instrument) < part.instruments.len() && note.staff >= 1 && note.voice >= 1);
        }
        for rest in &part.rests {
            assert!(rest.at >= Crotchets::ZERO && rest.at + rest.duration <= length(rest.bar), "{rest:?} stays in its bar");
        }
        for direction in &part.directions {
            assert!(direction.at >= Crotchets::ZERO && direction.at <= length(direction.bar), "{direction:?} stays in its bar");
        }
        for change in &part.changes {
            assert!(change.at >= Crotchets::ZERO && change.at <= length(change.bar), "{change:?} stays in its bar");
        }
        assert!(part.marks.iter().all(|(note, _)| (*note as usize) < part.notes.len()));
    }
}

proptest! {
    // What fails is kept as a file in tests/crashes, where it can be read.
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn damaged_files_are_survived(file in any::<usize>(), edits in vec(edit(), 1..24)) {
        thread_local!(static FILES: Vec<Vec<u8>> = fixtures());
        let bytes = FILES.with(|files| damaged(files[file % files.len()].clone(), &edits));
        survives(&bytes);
    }

    #[test]
    fn noise_after_a_first_line_is_survived(noise in vec(prop_oneof![4 => 0..SNIPPETS.len(), 1 => Just(0usize), 1 => Just(1usize)], 0..300)) {
        let mut bytes = b"**kern\t**kern\n".to_vec();
        noise.iter().for_each(|&snippet| bytes.extend(SNIPPETS[snippet]));
        survives(&bytes);
    }
}

#[test]
fn inputs_that_once_failed_are_survived() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/crashes");
    for entry in std::fs::read_dir(folder).into_iter().flatten() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "krn") {
            survives(&std::fs::read(path).unwrap());
        }
    }
}

/// A file of `lines` lines, each made by `line`, after two spines.
fn long_file(lines: usize, line: impl Fn(usize) -> String) -> Vec<u8> {
    let mut text = "**kern\t**kern\n".to_owned();
    (0..lines).for_each(|number| text.push_str(&line(number)));
    text.into_bytes()
}

#[test]
fn work_grows_with_the_file_alone() {
    // Each would take hours if a line cost more the more lines there are.
    let files = [
        long_file(200_000, |_| "*^\t*\n".to_owned()),
        long_file(100_000, |_| "!\n".to_owned()),
        long_file(100_000, |_| "(4c\t4e&)\n".to_owned()),
        long_file(100_000, |_| "*M3/4\t*MM[a]\n".to_owned()),
        long_file(100_000, |number| format!("*>{number}\t*>x\n4c\t4d\n=\t=\n")),
        long_file(100_000, |_| "8cq\t8dq\n".to_owned()),
        long_file(50_000, |_| "=\t=\n00000c\t.\n".to_owned()),
        long_file(100_000, |_| "*clefG2\t*k[f#]\n".to_owned()),
        long_file(3_000, |_| "*-\t*-\n**kern\t**kern\n4c\t4d\n".to_owned()),
    ];
    let started = std::time::Instant::now();
    for bytes in &files {
        let _ = read("long.krn", bytes, &Limits::default());
    }
    assert!(started.elapsed().as_secs() < 60, "took {:?}", started.elapsed());
}
