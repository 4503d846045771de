//! The demo overture against what its composer planted in it (`demo/planted`, generated beside the score, not by Ripieno).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, Severity, read_file};
use ripieno_score::{Crotchets, Sounding, Unroll};
use ripieno_study::{Study, analyse};

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file)
}

fn study() -> Study {
    let reading = read_file(&demo("lifeboat_overture.musicxml"), &Limits::default()).unwrap();
    analyse("lifeboat_overture.musicxml".to_owned(), reading)
}

/// Rows of a planted table by column name.
fn planted(table: &str) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_path(demo("planted").join(table)).unwrap().deserialize().map(Result::unwrap).collect()
}

/// "12 16-24" as the printed numbers it stands for.
fn bars(text: &str) -> Vec<String> {
    text.split_whitespace()
        .flat_map(|span| {
            let (first, last) = span.split_once('-').unwrap_or((span, span));
            (first.parse::<u32>().unwrap()..=last.parse().unwrap()).map(|bar| bar.to_string())
        })
        .collect()
}

fn labels(study: &Study, bars: &[u32]) -> Vec<String> {
    bars.iter().map(|&bar| study.bar_label(bar)).collect()
}

#[test]
fn reads_without_a_word_of_warning() {
    let study = study();
    let loud: Vec<String> = study.findings.iter().filter(|f| f.severity >= Severity::Warning).map(ToString::to_string).collect();
    assert!(loud.is_empty(), "{loud:?}");
}

#[test]
fn presence_of_every_section() {
    let study = study();
    let mut checked = 0;
    for row in planted("practice.csv").iter().filter(|row| row["measure"] == "presence") {
        let section = match row["subject"].as_str() {
            "tuba" => "tubas",
            "harp" => "harps",
            "violoncellos" => "cellos",
            "violins I" => "violin i",
            "violins II" => "violin ii",
            other => other,
        };
        let of_section = study.groups.sections.iter().position(|group| group.name == section).map(|at| &study.of_sections[at]);
        let of_part =
            || study.score.parts.iter().position(|part| part.name.to_lowercase() == section).map(|at| &study.of_parts[at]);
        let measured = of_section.or_else(of_part).unwrap_or_else(|| panic!("no section {section}"));
        assert_eq!(labels(&study, &measured.presence.bars), bars(&row["bars"]), "{section}");
        assert_eq!(measured.presence.bars.len().to_string(), row["value"], "{section}");
        checked += 1;
    }
    assert_eq!(checked, 19);
}

#[test]
fn bars_with_all_the_brass() {
    let study = study();
    let brass = study.tutti.iter().find(|tutti| tutti.whom == "brass").unwrap();
    let table = planted("practice.csv");
    let row = table.iter().find(|row| row["measure"] == "bars with all brass sections").unwrap();
    let found: Vec<String> =
        brass.bars.spans.iter().flat_map(|(span, ..)| span.first..=span.last).map(|bar| study.bar_label(bar)).collect();
    assert_eq!(found, bars(&row["bars"]));
}

#[test]
fn bars_in_playing_order() {
    let study = study();
    let played = Sounding::new(&study.score, Unroll::AsPlayed);
    let heard: Vec<(String, String)> =
        played.bars.iter().map(|bar| (study.score.bars[bar.bar.at()].number.to_string(), bar.pass.to_string())).collect();
    let expected: Vec<(String, String)> =
        planted("repeats.csv").into_iter().map(|row| (row["printed_bar"].clone(), row["pass"].clone())).collect();
    assert_eq!(heard, expected);
}

/// Most people sounding together in each bar of a part: least and most. One person may play several notes (a harp).
fn people(study: &Study, part: usize) -> Vec<(u32, u32)> {
    let all = u32::from(study.score.parts[part].players.most);
    let notes = &study.sounding.notes;
    let rows: Vec<_> = notes.of_part[part].clone().map(|index| notes.row(index)).collect();
    study
        .sounding
        .bars
        .iter()
        .map(|bar| {
            let inside = |at: Crotchets| at >= bar.start && at < bar.start + bar.length;
            let moments = rows.iter().map(|row| row.onset).filter(|&at| inside(at)).chain([bar.start]);
            moments
                .map(|at| {
                    let here = rows.iter().filter(|row| row.onset <= at && row.onset + row.duration > at);
                    here.fold((0, 0), |sum, row| (sum.0 + u32::from(row.players.least), sum.1 + u32::from(row.players.most)))
                })
                .fold((0, 0), |a, b| (a.0.max(b.0).min(all), a.1.max(b.1).min(all)))
        })
        .collect()
}

#[test]
fn players_of_every_part_in_every_bar() {
    let study = study();
    for (index, part) in study.score.parts.iter().enumerate() {
        let counted = people(&study, index);
        for row in planted("players.csv").iter().filter(|row| row["part"] == part.name) {
            let Ok(expected) = row["players"].parse::<u32>() else { continue };
            for number in bars(&format!("{}-{}", row["first_bar"], row["last_bar"])) {
                for (bar, count) in counted.iter().enumerate() {
                    if study.bar_label(u32::try_from(bar).unwrap()) == number {
                        assert_eq!(*count, (expected, expected), "{}, bar {number}", part.name);
                    }
                }
            }
        }
    }
}
