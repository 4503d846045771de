//! The melody from carrier to carrier on the demo: stretches of time and bars say the same.
#![allow(clippy::unwrap_used, clippy::expect_used)] // a test stops at the first surprise

use std::path::Path;

use ripieno_formats::{Limits, read_file};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{Lines, predict, read_roles};

/// A carrier's time begins in its first bar or with an upbeat in the one before, and ends in its last bar or with a note held into the one after: it does not
/// reach over bars in which nobody has the melody. Carriers follow each other in time, and whoever plays along does so within the stretch.
#[test]
fn a_carriers_time_is_that_of_its_bars() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    let score = read_file(&demo, &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let melody = read_roles(&score, &sounding, &Lines::new(&score, &sounding), &predict(&score, &sounding)).melody;
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
