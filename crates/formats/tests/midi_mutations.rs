//! Damaged and hostile MIDI files are read or refused, never fatal; what once failed is tried again.
//!
//! Long runs, outside the ordinary tests: `cargo run --release --example mutate -- midi SEEDS 1800 1`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

mod common;

use std::time::{Duration, Instant};

use proptest::prelude::*;
use ripieno_formats::{Limits, midi};
use ripieno_score::{Sounding, Unroll};

use common::files::contents;
use common::invariants::assert_in_order;

/// Reads and listens; checks what every score promises.
fn survive(bytes: &[u8]) {
    let started = Instant::now();
    let _ = midi::note_table("hostile.mid", bytes);
    if let Ok(reading) = midi::read("hostile.mid", bytes, &Limits::default()) {
        let score = &reading.score;
        assert!(!score.bars.is_empty());
        assert_in_order(score);
        let _ = Sounding::new(score, Unroll::AsWritten);
    }
    // Small files are read in a fifth of a second; unoptimised and on a busy machine all takes many times as long.
    let longest = if cfg!(debug_assertions) { 20 } else { 2 };
    assert!(started.elapsed() < Duration::from_secs(longest), "too slow");
}

fn header(layout: u16, tracks: u16, division: u16) -> Vec<u8> {
    let mut bytes = b"MThd\0\0\0\x06".to_vec();
    for number in [layout, tracks, division] {
        bytes.extend(number.to_be_bytes());
    }
    bytes
}

fn chunk(bytes: &mut Vec<u8>, data: &[u8]) {
    bytes.extend(b"MTrk");
    bytes.extend(u32::try_from(data.len()).unwrap().to_be_bytes());
    bytes.extend(data);
}

/// Events that mean something, so that mutation reaches behind the decoder.
fn event() -> impl Strategy<Value = Vec<u8>> {
    let delta = prop_oneof![8 => 0u8..=127, 1 => Just(0)].prop_map(|low| vec![low]);
    let long = any::<[u8; 3]>().prop_map(|[a, b, c]| vec![a | 128, b | 128, c & 127]);
    let delta = prop_oneof![12 => delta, 1 => long];
    let meta = |kind: u8, data: Vec<u8>| [vec![0xff, kind, u8::try_from(data.len()).unwrap()], data].concat();
    let what = prop_oneof![
        8 => (0u8..16, 0u8..128, 0u8..128).prop_map(|(c, k, v)| vec![0x90 | c, k, v]),
        6 => (0u8..16, 0u8..128).prop_map(|(c, k)| vec![0x80 | c, k, 0]),
        1 => (0u8..16, 0u8..128).prop_map(|(c, p)| vec![0xc0 | c, p]),
        1 => (0u8..16, prop_oneof![Just(7u8), Just(11), Just(64)], 0u8..128).prop_map(|(c, n, v)| vec![0xb0 | c, n, v]),
        1 => any::<[u8; 3]>().prop_map(move |tempo| meta(0x51, tempo.to_vec())),
        1 => (any::<u8>(), 0u8..9).prop_map(move |(beats, power)| meta(0x58, vec![beats, power, 24, 8])),
        1 => (any::<u8>(), any::<u8>()).prop_map(move |(fifths, mode)| meta(0x59, vec![fifths, mode])),
        1 => (1u8..10, proptest::collection::vec(any::<u8>(), 0..20)).prop_map(move |(kind, text)| meta(kind, text)),
        1 => proptest::sample::select(vec!["Horns 1 long", "Hn stac", "Piano", "Violin", "Timpani"])
            .prop_map(move |name| meta(3, name.as_bytes().to_vec())),
        1 => proptest::collection::vec(any::<u8>(), 0..6),
    ];
    (delta, what).prop_map(|(mut bytes, what)| {
        bytes.extend(what);
        bytes
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..600), layout in 0u16..4, division in any::<u16>()) {
        survive(&bytes);
        let mut file = header(layout, 1, division);
        chunk(&mut file, &bytes);
        survive(&file);
    }

    #[test]
    fn any_events(
        tracks in proptest::collection::vec(proptest::collection::vec(event(), 0..80), 0..6),
        layout in 0u16..2,
        division in prop_oneof![4 => 1u16..2000, 1 => any::<u16>()],
        cut in 0usize..4000,
    ) {
        let mut file = header(layout, u16::try_from(tracks.len()).unwrap(), division);
        for track in &tracks {
            chunk(&mut file, &track.concat());
        }
        survive(&file);
        survive(&file[..cut.min(file.len())]);
    }
}

/// The longest piece and the most parts a small file can ask for.
#[test]
fn small_files_unfold_within_bounds() {
    // One tick to the crotchet, bars of a 64th, a note as long as the format can say.
    let long = [&[0, 0xff, 0x58, 4, 1, 6, 24, 8, 0, 0x90, 60, 64][..], &[0xff, 0xff, 0xff, 0x7f, 0x80, 60, 0]].concat();
    let mut file = header(1, 1, 1);
    chunk(&mut file, &long);
    survive(&file);
    // A thousand parts, each with one note as long as a symphony.
    let mut file = header(1, 1000, 24);
    for _ in 0..1000 {
        chunk(&mut file, &[0, 0x90, 60, 64, 0x8c, 0x80, 0, 0x80, 60, 0]);
    }
    survive(&file);
    // Ten thousand tracks: refused, since there are more than parts may be, and empty ones read.
    for track in [&[0, 0x90, 60, 64, 24, 0x80, 60, 0][..], &[]] {
        let mut file = header(1, 10_000, 24);
        (0..10_000).for_each(|_| chunk(&mut file, track));
        survive(&file);
    }
    // Onsets without a beat for nearly half an hour, the longest that is searched for one.
    let mut file = header(1, 1, 480);
    let strikes: Vec<u8> =
        (0..1200u32).flat_map(|i| [0x8a, u8::try_from(i * 37 % 128).unwrap(), 0x90, 60, 64, 20, 60, 0]).collect();
    chunk(&mut file, &strikes);
    survive(&file);
    // Keys struck and never released, at one moment.
    let mut file = header(1, 1, 480);
    chunk(&mut file, &[0, 0x90, 60, 64].repeat(20_000));
    survive(&file);
}

/// Every input that once failed.
#[test]
fn crashes_stay_mended() {
    contents("crashes", &["mid"]).iter().for_each(|bytes| survive(bytes));
}
