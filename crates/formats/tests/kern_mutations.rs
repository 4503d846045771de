//! Damaged Humdrum files: whatever the bytes, reading ends, does not panic, and leaves a score that keeps its invariants.
//!
//! The files are the fixtures, cut, spliced and sprinkled with what the syntax makes much of. `PROPTEST_CASES` sets how many;
//! the figures of long runs stand in docs/reading-kern.md. Every input that once failed lies in `tests/crashes` and is replayed.

#![allow(clippy::unwrap_used)] // a test may stop at the first surprise

mod common;

use proptest::collection::vec;
use proptest::prelude::*;
use ripieno_formats::{Limits, kern, read};
use ripieno_score::{Crotchets, Sounding, Unroll};

use common::damage::Damage;
use common::files::contents;
use common::invariants::assert_in_order;

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

const DAMAGE: Damage = Damage { pieces: &SNIPPETS, before: None };

/// Reads and looks at everything a caller may look at.
fn survives(bytes: &[u8]) {
    let limits = Limits { bars: 20_000, events: 200_000, parts: 256, ..Limits::default() };
    let _ = kern::looks_like(bytes);
    if let Ok(reading) = kern::read("damaged.krn", bytes, &limits) {
        assert!(reading.score.bars.len() <= limits.bars && reading.score.parts.len() <= limits.parts);
        assert_in_order(&reading.score);
        for unroll in [Unroll::AsWritten, Unroll::AsPlayed] {
            let sounding = Sounding::new(&reading.score, unroll);
            assert!(sounding.notes.rows().all(|row| row.onset >= Crotchets::ZERO && row.duration >= Crotchets::ZERO));
        }
        for finding in &reading.findings {
            assert!(!finding.to_string().is_empty());
        }
    }
}

proptest! {
    // What fails is kept as a file in tests/crashes, where it can be read.
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn damaged_files_are_survived(seed in prop::sample::select(contents("kern", &["krn"])), edits in DAMAGE.edits(24)) {
        survives(&DAMAGE.apply(seed, &edits));
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
    let inputs = contents("crashes", &["krn"]);
    assert!(!inputs.is_empty());
    inputs.iter().for_each(|bytes| survives(bytes));
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
