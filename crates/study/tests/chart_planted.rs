//! The demo charted by hand (`demo/chart_lifeboat.toml`, from the plan in `demo/planted/roles.csv`) against what its composer counted beforehand
//! (`demo/planted/practice.csv`): no note is read.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::LazyLock;

use ripieno_formats::Limits;
use ripieno_study::{Study, Subject, Value, analyse_file};

fn demo(file: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

static CHART: LazyLock<Study> = LazyLock::new(|| analyse_file(&demo("chart_lifeboat.toml"), &Limits::default()).unwrap());

fn planted(measure: &str) -> Vec<BTreeMap<String, String>> {
    let mut table = csv::Reader::from_path(demo("planted/practice.csv")).unwrap();
    let rows = table.deserialize().map(Result::unwrap);
    rows.filter(|row: &BTreeMap<String, String>| row["measure"] == measure).collect()
}

/// "12 16-24" as a list of bars; the demo counts its bars from 0, as the table does.
fn bars(text: &str) -> Vec<u32> {
    let of = |span: &str| {
        let (first, last) = span.split_once('-').unwrap_or((span, span));
        first.parse::<u32>().unwrap()..=last.parse::<u32>().unwrap()
    };
    text.split_whitespace().flat_map(of).collect()
}

/// A section or part of the table; it tells violins I and II apart and has "tuba" for our "tubas".
fn subject(name: &str) -> Option<Subject> {
    let section = |name: &str| CHART.groups.sections.iter().position(|group| group.name == name).map(Subject::Section);
    let part = |name: &str| CHART.score.parts.iter().position(|part| part.name == name).map(Subject::Part);
    match name {
        "tuba" => section("tubas"),
        "violoncellos" => section("cellos"),
        "violins I" => part("Violin I"),
        "violins II" => part("Violin II"),
        name => part(name).or_else(|| section(name)),
    }
}

fn values(measure: &str) -> impl Iterator<Item = &'static Value> {
    CHART.practice.iter().filter(move |taken| taken.measure.name == measure).flat_map(|taken| &taken.values)
}

#[test]
fn presence_and_rests_are_those_planted() {
    let mut checked = 0;
    for row in planted("presence") {
        let Some(of) = subject(&row["subject"]) else { continue };
        let value = values("presence").find(|value| value.of == of && value.aspect == "bars").unwrap();
        assert_eq!(value.bars, bars(&row["bars"]), "{}", row["subject"]);
        checked += 1;
    }
    assert!(checked >= 14, "{checked} sections");
    let mut rests = 0;
    for row in planted("longest rest before an entry") {
        let of = subject(&row["subject"]).unwrap();
        let value = values("entries").find(|value| value.of == of && value.aspect == "longest rest before an entry").unwrap();
        assert_eq!(value.value.to_string(), row["value"], "{}", row["subject"]);
        rests += 1;
    }
    assert_eq!(rests, 25);
}

#[test]
fn the_whole_brass_is_there_where_planted() {
    let row = &planted("bars with all brass sections")[0];
    let brass = CHART.groups.families.iter().position(|family| family.name == "brass").map(Subject::Family).unwrap();
    let value = values("stack").find(|value| value.of == brass && value.aspect == "tutti bars").unwrap();
    assert_eq!(value.bars, bars(&row["bars"]));
}

#[test]
fn roles_of_sections_stand_in_the_bars_planted() {
    for row in planted("bars with role") {
        let (section, role) = row["subject"].split_once(": ").unwrap();
        let parts = subject(section).unwrap().parts(&CHART.score, &CHART.groups);
        let spans = CHART.roles.roles.spans.iter().filter(|span| parts.contains(&span.part));
        let held = spans.filter(|span| span.roles.iter().any(|held| held.role.name() == role));
        let here: BTreeSet<u32> = held.flat_map(|span| span.bars.clone()).collect();
        assert_eq!(here.into_iter().collect::<Vec<_>>(), bars(&row["bars"]), "{}", row["subject"]);
    }
}

#[test]
fn sections_split_in_the_bars_planted() {
    let mut bars_checked = 0;
    for row in planted("section splits") {
        // One player of a harp is no section.
        let Some(of) = subject(&row["subject"]).filter(|_| row["subject"] != "harp") else { continue };
        let apart = values("cohesion").filter(|value| value.of == of && value.aspect.contains(" against "));
        let found: BTreeSet<u32> = apart.flat_map(|value| value.bars.clone()).collect();
        let planted: BTreeSet<u32> = bars(&row["bars"]).into_iter().collect();
        assert!(planted.is_subset(&found), "{}: {planted:?}, found {found:?}", row["subject"]);
        // The table lets a second role hold a section together, the measure only the chief one: 107 and 108 of the trombones.
        let besides: Vec<u32> = found.difference(&planted).copied().collect();
        let expected: &[u32] = if row["subject"] == "trombones" { &[107, 108] } else { &[] };
        assert_eq!(besides, expected, "{}", row["subject"]);
        bars_checked += planted.len();
    }
    assert_eq!(bars_checked, 8 + 13 + 25 + 11, "bassoons, horns, trombones, trumpets");
}
