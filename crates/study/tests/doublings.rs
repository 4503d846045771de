//! Doublings of the demo overture against those its composer wrote as one line (`demo/planted/doublings.csv`, kind *planted*), bar by bar
//! and at their interval.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, read_file};
use ripieno_study::analyse;

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

#[test]
fn every_planted_doubling_is_found_at_its_interval() {
    let reading = read_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let study = analyse("lifeboat_overture.musicxml".to_owned(), reading);
    let part = |name: &str| study.score.parts.iter().position(|part| part.name == name).unwrap();
    // (lower part, higher part, interval up to the second, bar)
    let mut found: BTreeSet<(usize, usize, i32, u32)> = BTreeSet::new();
    for doubling in &study.doublings.all {
        let (a, b) = (study.lines.lines[doubling.a].part, study.lines.lines[doubling.b].part);
        for bar in study.bars_between(doubling.from, doubling.to) {
            found.insert((a, b, i32::from(doubling.interval), bar));
            found.insert((b, a, -i32::from(doubling.interval), bar));
        }
    }
    let mut table = csv::Reader::from_path(demo("planted/doublings.csv")).unwrap();
    let rows: Vec<BTreeMap<String, String>> = table.deserialize().map(Result::unwrap).collect();
    let number = |row: &BTreeMap<String, String>, column: &str| row[column].parse::<i32>().unwrap();
    let mut checked = 0;
    for row in rows.iter().filter(|row| row["kind"] == "planted") {
        let (doubled, doubler) = (part(&row["doubles"]), part(&row["part"]));
        for bar in number(row, "first_bar")..=number(row, "last_bar") {
            let wanted = (doubled, doubler, number(row, "interval_semitones"), u32::try_from(bar).unwrap());
            assert!(found.contains(&wanted), "{} with {}, bar {bar}", row["part"], row["doubles"]);
            checked += 1;
        }
    }
    assert!(checked > 1000, "{checked} bars");
}

#[test]
fn a_doubling_counts_its_own_notes() {
    let reading = read_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    let study = analyse("lifeboat_overture.musicxml".to_owned(), reading);
    for doubling in &study.doublings.all {
        assert!(doubling.interval % 12 == 0 && doubling.a < doubling.b);
        assert!(doubling.shared <= doubling.of_a().min(doubling.of_b()));
        let (a, b) = (&study.lines.lines[doubling.a], &study.lines.lines[doubling.b]);
        let first = (a.attacks[doubling.a_attacks.0 as usize], b.attacks[doubling.b_attacks.0 as usize]);
        assert_eq!((first.0.onset, first.1.onset), (doubling.from, doubling.from));
        let up = i32::from(first.1.top.unwrap()) - i32::from(first.0.top.unwrap());
        assert_eq!(up, i32::from(doubling.interval));
    }
    // Every note belongs to exactly one line.
    let rows: usize = study.lines.lines.iter().map(|line| line.rows.len()).sum();
    assert_eq!(rows, study.sounding.notes.len());
}
