//! The law of charts: whatever needs no notes is counted on the chart of a score as on the score itself, to the last bar.
//! And charts made by hand, counted by hand.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::LazyLock;

use ripieno_formats::{Limits, Severity};
use ripieno_practice::OnChart;
use ripieno_study::acoustics::{Day, Refused, Situation};
use ripieno_study::{Chart, Grain, Study, analyse_chart, analyse_file};

static DEMO: LazyLock<Study> = LazyLock::new(|| {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    analyse_file(&path, &Limits::default()).unwrap()
});

/// Measure, of whom, with whom, which side and unit.
type Name = (&'static str, String, String, String, &'static str);

/// Every value by name, with its bars.
fn values(study: &Study) -> BTreeMap<Name, (f64, Vec<u32>)> {
    let material = study.material();
    let mut all = BTreeMap::new();
    for taken in &study.practice {
        for value in &taken.values {
            let kind = |of: ripieno_study::Subject| format!("{} {}", of.kind(), material.name(of));
            let with = value.with.map_or_else(String::new, kind);
            let name = (taken.measure.name, kind(value.of), with, value.aspect.clone(), value.unit.name());
            all.insert(name, (value.value, value.bars.clone()));
        }
    }
    all
}

/// Whether a chart cannot tell a value, because it is about notes.
fn is_of_notes(name: &Name) -> bool {
    let aspect = name.3.as_str();
    match name.0 {
        "presence" => aspect == "attacks",
        "cohesion" => aspect == "rhythms part",
        "stack" => !(aspect == "tutti bars" || aspect.starts_with("in ")),
        "density" => aspect.starts_with("attacks") || aspect.starts_with("pitch classes"),
        "doubled_sections" => aspect.ends_with("players per line") || aspect.starts_with("same notes"),
        "melody_support" => aspect.starts_with("notes with the leader"),
        // It asks for four notes on three pitches, and who plays along.
        "hand_offs" => true,
        _ => false,
    }
}

fn chart_of(study: &Study, grain: Grain) -> Study {
    let chart = study.chart(grain);
    // Through the file, so that it is what is written that is true.
    let text = chart.write();
    let (read, ..) = Chart::read("demo.toml", &text).unwrap_or_else(|faults| panic!("{:?}", &faults[..faults.len().min(5)]));
    assert_eq!(read, chart);
    analyse_chart("demo.toml".to_owned(), &read).unwrap()
}

#[test]
fn a_score_and_its_own_chart_agree_in_all_that_needs_no_notes() {
    let (score, chart) = (values(&DEMO), values(&chart_of(&DEMO, Grain::Exact)));
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (name, (value, bars)) in &score {
        let on_chart = DEMO.practice.iter().find(|taken| taken.measure.name == name.0).unwrap().measure.on_chart;
        if on_chart == OnChart::Not {
            assert!(!chart.contains_key(name), "{name:?} is about pitches, and the chart tells it");
            continue;
        }
        if is_of_notes(name) {
            continue;
        }
        *counts.entry(name.0).or_default() += 1;
        match chart.get(name) {
            Some((other, others)) if (value - other).abs() <= 1e-12 && bars == others => {}
            other => wrong.push(format!("{name:?}: {value} {bars:?} on the score, {other:?} on the chart")),
        }
    }
    for name in chart.keys().filter(|name| !is_of_notes(name) && !score.contains_key(*name)) {
        wrong.push(format!("{name:?} only on the chart"));
    }
    println!("{counts:?}, {} in all", counts.values().sum::<usize>());
    assert!(wrong.is_empty(), "{} differ:\n{}", wrong.len(), wrong[..wrong.len().min(30)].join("\n"));
    assert!(counts.len() >= 11 && counts.values().sum::<usize>() > 1000, "{counts:?}");
}

#[test]
fn the_chart_by_bars_agrees_in_all_that_goes_by_bars() {
    let chart = chart_of(&DEMO, Grain::Bars);
    let (score, told) = (values(&DEMO), values(&chart));
    let by_bars = |name: &&Name| name.0 == "entries" || (name.0 == "presence" && name.4 == "share of bars");
    let mut count = 0;
    for name in score.keys().filter(by_bars) {
        assert_eq!(score.get(name), told.get(name), "{name:?}");
        count += 1;
    }
    assert!(count > 200, "{count}");
    assert!(chart.sounding.notes.len() < DEMO.sounding.notes.len() / 4, "a chart to read, not a transcript");
}

#[test]
fn a_chart_of_a_chart_is_the_same_practice() {
    let once = chart_of(&DEMO, Grain::Exact);
    let twice = chart_of(&once, Grain::Exact);
    assert_eq!(values(&once), values(&twice));
    let bars = chart_of(&DEMO, Grain::Bars);
    assert_eq!(values(&bars), values(&chart_of(&bars, Grain::Bars)), "bars are bars already");
}

#[test]
fn what_is_left_out_is_said_in_one_sentence() {
    let chart = chart_of(&DEMO, Grain::Bars);
    assert!(chart.is_chart() && chart.score.parts.iter().all(|part| part.notes.is_empty()));
    assert!(chart.harmony.chords.is_empty() && chart.themes.is_empty());
    assert!(chart.of_parts.iter().all(|part| part.register.is_none()), "no pitch is invented");
    // A stretch without a key is no C4 to be weighed.
    let (hall, day) = (Situation::hall(), Day::default());
    assert_eq!(chart.weigh(hall.clone()).err(), Some(Refused::NoNotes));
    assert_eq!(chart.balance(hall.clone()).err(), Some(Refused::NoNotes));
    assert_eq!(chart.exposure(&hall, day).err(), Some(Refused::NoNotes));
    let told: Vec<String> =
        chart.findings.iter().filter(|finding| finding.severity == Severity::Note).map(ToString::to_string).collect();
    let sentence = told.iter().find(|text| text.contains("this is a chart")).unwrap();
    for title in [
        "How far apart the groups lie",
        "Register and tessitura",
        "How chords are voiced",
        "Presence (without attacks)",
        "balance",
    ] {
        assert!(sentence.contains(title), "{title} is missing in {sentence}");
    }
}

/// Two flutes, two horns on two staves, a trombone and strings, ten bars of 4/4; every number below is counted on the fingers.
const QUAY: &str = r#"
format = "ripieno-chart"
version = 1
title = "Quay"
[[part]]
name = "Flute 1.2"
[[part]]
name = "Horn 1"
[[part]]
name = "Horn 2"
[[part]]
name = "Trombone"
[[part]]
name = "Violin I"
players = 10
[[part]]
name = "Violoncello"
players = 6
[[bars]]
count = 10
metre = "4/4"
[[row]]
who = "Violin I"
bars = "1-4"
role = "melody"
dynamic = "p"
[[row]]
who = "Horn 1"
bars = "5-8"
role = "melody"
dynamic = "f"
[[row]]
who = "Horn 2"
bars = "5-6"
role = "melody"
doubles = "Horn 1"
dynamic = "f"
[[row]]
who = "Horn 2"
bars = "7-8"
role = "harmony"
dynamic = "f"
[[row]]
who = ["Flute 1.2", "Violoncello"]
bars = "1-8"
role = "harmony"
dynamic = "p"
[[row]]
who = "all"
bars = "9-10"
role = "harmony"
layer = "chorale"
dynamic = "ff"
"#;

#[test]
fn a_chart_by_hand_is_counted_by_hand() {
    let (chart, ..) = Chart::read("quay.toml", QUAY).unwrap();
    let study = analyse_chart("quay.toml".to_owned(), &chart).unwrap();
    let all = values(&study);
    let one = |measure: &'static str, of: &str, with: &str, aspect: &str, unit: &'static str| {
        let name = (measure, of.to_owned(), with.to_owned(), aspect.to_owned(), unit);
        all.get(&name).cloned().unwrap_or_else(|| {
            panic!("{name:?} is not among {:#?}", all.keys().filter(|other| other.0 == measure).collect::<Vec<_>>())
        })
    };
    let near = |found: (f64, Vec<u32>), value: f64, bars: &[u32]| {
        assert!((found.0 - value).abs() < 1e-9 && found.1 == bars, "{found:?}, not {value} {bars:?}");
    };
    // Horns: bars 5 to 10 of ten.
    near(one("presence", "section horns", "", "bars", "share of bars"), 0.6, &[4, 5, 6, 7, 8, 9]);
    // Horn 1: 16 crotchets of melody, 8 of harmony; horn 2: 8 of melody, 16 of harmony. 24 of 48.
    near(one("role_shares", "section horns", "", "melody", "share of time"), 0.5, &[4, 5, 6, 7]);
    // Both horns sound together for 24 crotchets, 8 of them (7 and 8) apart.
    near(one("cohesion", "section horns", "", "together", "share of time"), 2.0 / 3.0, &[4, 5, 8, 9]);
    near(one("cohesion", "section horns", "", "melody against harmony", "share of time"), 1.0 / 3.0, &[6, 7]);
    // Brass: horns and trombone together in 9 and 10, in one layer by its letter; the horns' use is their 6 of the family's 6 bars.
    near(one("stack", "family brass", "", "tutti bars", "bars"), 2.0, &[8, 9]);
    near(one("stack", "family brass", "", "in one layer", "share of time"), 1.0, &[8, 9]);
    near(one("reserve", "section trombones", "", "use", "share of bars"), 1.0 / 3.0, &[8, 9]);
    near(one("reserve", "section trombones", "", "longest rest before an entry", "bars"), 8.0, &[8]);
    // One hand-off, violins to horns, in bar 5; after bar 8 nobody has the melody.
    near(one("hand_offs", "section violins", "section horns", "hands on to", "count"), 1.0, &[4]);
    // The melody lasts 32 crotchets; horn 2 doubles horn 1 for 8 of them.
    near(one("melody_support", "section horns", "", "unison", "share of time"), 0.25, &[4, 5]);
    near(one("melody_support", "score everybody", "", "alone", "share of time"), 0.75, &[0, 1, 2, 3, 6, 7]);
    near(one("doubled_sections", "part Horn 1", "part Horn 2", "unison, time", "crotchets"), 8.0, &[4, 5]);
    // With no doubling stated at all, who else has the melody still supports it, at an interval nobody named.
    let (plain, ..) = Chart::read("quay.toml", &QUAY.replace("doubles = \"Horn 1\"\n", "")).unwrap();
    let plain = values(&analyse_chart("quay.toml".to_owned(), &plain).unwrap());
    let name = ("melody_support", "section horns".to_owned(), String::new(), "interval not charted".to_owned(), "share of time");
    near(plain[&name].clone(), 0.25, &[4, 5]);
    // Violins play 4 bars p and 2 bars ff.
    near(one("dynamics", "section violins", "", "p", "share of time"), 2.0 / 3.0, &[0, 1, 2, 3]);
    near(one("entries", "section violins", "", "entries", "count"), 1.0, &[8]);
    // People: 2 + 6 + 10 in bars 1 to 4, 2 + 6 + 2 in 5 to 8, 2 + 2 + 1 + 10 + 6 in 9 and 10.
    near(
        one("density", "score everybody", "", "players", "players"),
        (4.0 * 18.0 + 4.0 * 10.0 + 2.0 * 21.0) / 10.0,
        &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9],
    );
    // Of the melody (16 violins, 16 horn 1, 8 horn 2) the horns have 24 of 40 crotchets.
    near(one("sharing", "section horns", "", "melody", "share of time"), 0.6, &[4, 5, 6, 7]);
    let full: Vec<(&str, u32)> = study.tutti.iter().map(|tutti| (tutti.whom.as_str(), tutti.bars.count())).collect();
    assert_eq!(full[0], ("all sections", 2));
    assert!(!study.noteworthy.is_empty(), "findings are told of a chart as of a score");
    for sentence in &study.noteworthy {
        println!("{} {:?}", sentence.text, sentence.bars);
    }
    for moment in &study.moments {
        println!("{} {:?}: {}", moment.kind, moment.bars, moment.reason);
    }
}

#[test]
fn faults_are_told_with_file_line_and_more_to_come() {
    let folder = std::env::temp_dir().join(format!("ripieno-chart-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("quay.toml");
    std::fs::write(&path, QUAY.replace("Horn 1\"\nbars", "Tuba\"\nbars").replace("\"1-8\"", "\"1-80\"")).unwrap();
    let error = analyse_file(&path, &Limits::default()).unwrap_err().to_string();
    assert!(error.starts_with("quay.toml, line 27: row 2: the score has nobody called “Tuba”"), "{error}");
    assert!(error.ends_with("“ripieno chart check quay.toml” lists 1 more."), "{error}");
    std::fs::write(&path, QUAY).unwrap();
    assert!(analyse_file(&path, &Limits::default()).unwrap().is_chart());
    std::fs::remove_dir_all(&folder).unwrap();
}
