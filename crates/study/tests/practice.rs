//! Practice of the demo overture against what its composer planted (`demo/planted/practice.csv`, made beside the score, not by Ripieno;
//! each row states its own definition). What rests on notes alone must agree exactly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use ripieno_formats::{Limits, read_file};
use ripieno_study::{Study, Subject, Value, analyse};

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

fn study() -> &'static Study {
    static STUDY: OnceLock<Study> = OnceLock::new();
    STUDY.get_or_init(|| {
        let reading = read_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
        analyse("lifeboat_overture.musicxml".to_owned(), reading)
    })
}

fn planted(measure: &str) -> Vec<BTreeMap<String, String>> {
    let mut table = csv::Reader::from_path(demo("planted/practice.csv")).unwrap();
    let rows: Vec<BTreeMap<String, String>> = table.deserialize().map(Result::unwrap).collect();
    let rows: Vec<_> = rows.into_iter().filter(|row| row["measure"] == measure).collect();
    assert!(!rows.is_empty(), "{measure} is planted");
    rows
}

/// "12 16-24" as a list of bars; the demo counts its bars from 0, as the table does.
fn bars(text: &str) -> Vec<u32> {
    text.split_whitespace()
        .flat_map(|span| {
            let (first, last) = span.split_once('-').unwrap_or((span, span));
            first.parse::<u32>().unwrap()..=last.parse::<u32>().unwrap()
        })
        .collect()
}

fn values(measure: &str) -> impl Iterator<Item = &'static Value> {
    study().practice.iter().filter(move |taken| taken.measure.name == measure).flat_map(|taken| &taken.values)
}

fn section(name: &str) -> Option<Subject> {
    // The planted table tells violins I and II apart, as parts; its "tuba" is our "tubas".
    let name = if name == "tuba" { "tubas" } else { name };
    study().groups.sections.iter().position(|group| group.name == name).map(Subject::Section)
}

#[test]
fn presence_of_every_section() {
    let mut checked = 0;
    for row in planted("presence") {
        let Some(of) = section(&row["subject"]) else { continue };
        // The demo's "percussion" sections are told apart by instrument there.
        let value = values("presence").find(|value| value.of == of && value.aspect == "bars").unwrap();
        assert_eq!(value.bars, bars(&row["bars"]), "{}", row["subject"]);
        checked += 1;
    }
    assert!(checked >= 11, "{checked} sections checked");
}

#[test]
fn all_brass_sections_and_where_first() {
    let value = values("stack").find(|value| {
        value.aspect == "tutti bars"
            && study().groups.families.iter().position(|f| f.name == "brass").map(Subject::Family) == Some(value.of)
    });
    let row = &planted("bars with all brass sections")[0];
    let found = &value.unwrap().bars;
    assert_eq!(*found, bars(&row["bars"]));
    assert_eq!(found[0].to_string(), planted("first bar with all brass sections")[0]["value"]);
}

#[test]
fn each_tutti_is_one_stack_or_layered_as_planted() {
    for row in planted("tutti") {
        let planted_bars = bars(&row["bars"]);
        let stacked: Vec<u32> = values("stack")
            .filter(|value| value.of == Subject::Everybody && value.aspect == "one stack")
            .flat_map(|value| value.bars.clone())
            .collect();
        let inside = planted_bars.iter().filter(|bar| stacked.contains(bar)).count();
        if row["value"] == "single stack" {
            assert!(inside * 8 >= planted_bars.len() * 7, "{}: {inside} bars of it are one stack", row["subject"]);
        } else {
            assert!(inside <= 1, "{}: {inside} bars of it are one stack", row["subject"]);
        }
    }
}

#[test]
fn longest_rest_before_an_entry_of_the_held_back_sections() {
    for row in planted("reserved entry") {
        let Some(of) = section(&row["subject"]) else { continue };
        let bar: u32 = row["value"].parse().unwrap();
        let entries = values("reserve").find(|value| value.of == of && value.aspect == "entries out of reserve").unwrap();
        assert!(entries.bars.contains(&bar), "{}: {:?}", row["subject"], entries.bars);
    }
}

#[test]
fn widest_gap_and_deepest_overlap_of_the_brass() {
    for (measure, aspect) in [("largest gap", "widest gap"), ("deepest overlap", "deepest overlap")] {
        for row in planted(measure) {
            let (upper, lower) = row["subject"].split_once(" over ").unwrap();
            let pair = [section(upper).unwrap(), section(lower).unwrap()];
            let found = values("separation").find(|value| {
                pair.contains(&value.of) && value.with.is_some_and(|with| pair.contains(&with)) && value.aspect == aspect
            });
            let found = found.unwrap_or_else(|| panic!("no {aspect} of {}", row["subject"]));
            assert_eq!(found.value.to_string(), row["value"], "{} {aspect}", row["subject"]);
            assert_eq!(found.bars, bars(&row["bars"]), "{} {aspect}", row["subject"]);
        }
    }
}

/// Roles decide here, and the roles of the demo are not all right (`roles.rs`): how many planted splits are seen.
#[test]
fn sections_that_split() {
    let (mut seen, mut all) = (0, 0);
    for row in planted("section splits") {
        let Some(of) = section(&row["subject"]) else { continue };
        let apart: Vec<u32> = values("cohesion")
            .filter(|value| value.of == of && value.aspect.contains(" against "))
            .flat_map(|value| value.bars.clone())
            .collect();
        let planted_bars = bars(&row["bars"]);
        let here = planted_bars.iter().filter(|bar| apart.contains(bar)).count();
        println!(
            "{}: {here} of {} planted bars, {:?} besides",
            row["subject"],
            planted_bars.len(),
            apart.iter().filter(|bar| !planted_bars.contains(bar)).collect::<Vec<_>>()
        );
        seen += here;
        all += planted_bars.len();
    }
    println!("splits seen in {seen} of {all} planted bars");
    assert!(seen * 10 >= all * 8, "{seen} of {all}");
}
