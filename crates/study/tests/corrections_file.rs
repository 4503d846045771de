//! The file beside the score: what stays, what is refused, what is said.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

mod scores;

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use ripieno_score::{Crotchets, Score};
use ripieno_study::corrections::{Change, Corrections, Moment, Request, Who, sidecar_path};
use ripieno_texture::Role;
use scores::{demo, folder, numbered, part, set, view};

#[test]
fn later_ones_come_later_and_taking_back_leaves_the_rest() {
    let score = demo();
    let view = view(&score);
    let file = folder("undo").join("score.musicxml");
    let horn = part(&score, "Horn 1.2 in F");
    let mut corrections = Corrections::beside(&file).unwrap();
    assert!(corrections.is_empty());
    let first = corrections.add(&score, &view, set(&[Role::Melody], horn, 35, 45)).unwrap();
    let second = corrections.add(&score, &view, set(&[Role::Countermelody], horn, 40, 45)).unwrap();
    let ids: Vec<String> = corrections.place(&score, &view).instructions.into_iter().map(|one| one.correction).collect();
    assert_eq!(ids, [first.clone(), second.clone()]);
    corrections.save().unwrap();
    let both = std::fs::read(sidecar_path(&file)).unwrap();
    let mut again = Corrections::beside(&file).unwrap();
    again.save().unwrap();
    assert_eq!(std::fs::read(sidecar_path(&file)).unwrap(), both, "reading and writing changes nothing");
    assert!(again.remove(&first) && !again.remove(&first));
    assert_eq!(again.add(&score, &view, set(&[Role::Bass], horn, 1, 2)).unwrap(), "c3");
    again.save().unwrap();
    assert!(corrections.save().unwrap_err().to_string().contains("changed the file meanwhile"));
    let ids: Vec<String> = Corrections::beside(&file).unwrap().list().into_iter().map(|one| one.id).collect();
    assert_eq!(ids, [second, "c3".to_owned()]);
    let left: Vec<_> = std::fs::read_dir(file.parent().unwrap()).unwrap().collect();
    assert_eq!(left.len(), 1, "nothing is left beside the file");
}

/// Ours: a change that is broken off leaves the file byte for byte as it was; what somebody else has kept meanwhile stays.
#[test]
fn what_is_broken_off_is_put_back_and_what_others_said_stays() {
    let score = demo();
    let view = view(&score);
    let file = folder("put-back").join("score.musicxml");
    let beside = sidecar_path(&file);
    let read = || Corrections::beside(&file).unwrap();
    let listed = || read().list().into_iter().map(|one| format!("{} {}", one.id, one.change)).collect::<Vec<_>>();
    let add = |role| {
        let mut corrections = read();
        corrections.add(&score, &view, set(&[role], 0, 35, 45)).unwrap();
        corrections.save().unwrap();
        corrections
    };
    let remove = |id: &str| {
        let mut corrections = read();
        assert!(corrections.remove(id));
        corrections.save().unwrap();
        corrections
    };
    // Nothing before: no file after.
    let before = read();
    let left = add(Role::Bass);
    assert!(left.put_back(&before).unwrap() && !beside.exists());
    // The same bytes as before, also of a file that somebody laid out by hand.
    add(Role::Bass);
    let by_hand = std::fs::read_to_string(&beside).unwrap().replace("\n", "\n ");
    std::fs::write(&beside, &by_hand).unwrap();
    let before = read();
    let left = remove("c1");
    assert!(left.put_back(&before).unwrap());
    assert_eq!(std::fs::read_to_string(&beside).unwrap(), by_hand);
    // One that was added goes, one that another added after it stays.
    let kept = listed();
    let before = read();
    let left = add(Role::Melody);
    add(Role::Countermelody);
    assert!(!left.put_back(&before).unwrap());
    assert_eq!(listed(), [kept[0].as_str(), "c3 role: countermelody"]);
    // One that was taken back returns to its place, under a new name where another has taken its own.
    remove("c3");
    let before = read();
    let left = remove("c1");
    add(Role::Melody);
    assert_eq!(listed(), ["c1 role: melody"]);
    assert!(!left.put_back(&before).unwrap());
    assert_eq!(listed(), ["c2 role: bass", "c1 role: melody"]);
    let placed = read().place(&score, &view);
    assert_eq!((placed.instructions.len(), placed.findings.len()), (2, 0), "{:?}", placed.findings);
    assert_eq!(std::fs::read_dir(file.parent().unwrap()).unwrap().count(), 1, "nothing is left beside the file");
}

#[test]
fn requests_that_mean_nothing_are_refused() {
    let score = demo();
    let view = view(&score);
    let mut corrections = Corrections::beside(&folder("refused").join("score.musicxml")).unwrap();
    let nobody = Request { who: Vec::new(), ..set(&[Role::Bass], 0, 1, 2) };
    for request in
        [set(&[], 0, 1, 2), set(&[Role::Bass], 99, 1, 2), set(&[Role::Bass], 0, 3, 2), set(&[Role::Bass], 0, 1, 999), nobody]
    {
        assert!(corrections.add(&score, &view, request).is_err());
    }
    assert!(corrections.is_empty());
}

fn write_beside(name: &str, json: &str) -> PathBuf {
    let file = folder(name).join("score.musicxml");
    std::fs::write(sidecar_path(&file), json).unwrap();
    file
}

fn with_entries(entries: &str) -> String {
    format!("{{\"format\": \"ripieno-corrections\", \"version\": 1, \"corrections\": [\n{entries}\n]}}")
}

#[test]
fn written_by_hand() {
    let score = demo();
    let json = with_entries(
        r#"{"id": "mine", "kind": "set-role", "roles": ["Countermelody"], "parts": [{"name": "horn 1.2 in f"}],
            "from": {"printed": "35", "at": 2}, "to": {"printed": "45", "at": "7/2"}}"#,
    );
    let placed = Corrections::beside(&write_beside("by-hand", &json)).unwrap().place(&score, &view(&score));
    assert_eq!(placed.findings, []);
    let (one, view) = (&placed.instructions[0], view(&score));
    assert_eq!(one.change, Change::SetRole(vec![Role::Countermelody]));
    assert_eq!((one.from, one.to), (view.bars[35].start + Crotchets::whole(2), view.bars[45].start + "7/2".parse().unwrap()));
}

#[test]
fn what_a_newer_version_wrote_stays() {
    let json = r#"{"format": "ripieno-corrections", "version": 1, "signed": {"by": "harbour master"}, "corrections": [
        {"id": "c1", "kind": "set-role", "roles": ["bass"], "parts": [{"place": 3, "seat": 2}], "from": {"bar": 1, "breath": true},
         "to": {"bar": 2}, "mood": "grave"},
        {"id": "c2", "kind": "recolour", "with": 7}, {"id": "c3", "with": 1e999}], "scores": [{"id": "s9", "cells": 7}]}"#;
    let file = write_beside("newer", json);
    let mut corrections = Corrections::beside(&file).unwrap();
    corrections.save().unwrap();
    let text = std::fs::read_to_string(sidecar_path(&file)).unwrap();
    for kept in ["harbour master", "\"seat\": 2", "\"breath\": true", "\"mood\": \"grave\"", "recolour", "1e999", "\"cells\": 7"]
    {
        assert!(text.contains(kept), "{kept} is lost:\n{text}");
    }
    let findings = corrections.place(&demo(), &view(&demo())).findings;
    let told: Vec<String> = findings.iter().map(ToString::to_string).collect();
    assert!(
        told[0].starts_with("score.musicxml.corrections.json, line 4: ") && told[0].contains("\"recolour\" is no kind"),
        "{told:#?}"
    );
    let score = demo();
    assert_eq!(corrections.add(&score, &view(&score), set(&[Role::Bass], 0, 12, 12)).unwrap(), "c4", "c3 is taken");
}

#[test]
fn what_is_wrong_is_told_with_its_place() {
    let cases = [
        ("{\"format\": \"ripieno-corrections\",\n \"version\": 1,,\n}", "line 2: column 15"),
        ("", "line 1: column 0"),
        ("[1, 2]", "line 1: column"),
        ("{\"format\": \"ripieno-corrections\", \"version\": 99}", "version 99"),
        ("{\"format\": \"ripieno-corrections\", \"version\": -1}", "invalid value"),
        ("{\"format\": \"ripieno-corrections\", \"version\": 1e400}", "number out of range"),
        ("{\"format\": \"shopping\", \"version\": 1}", "shopping"),
        ("{\"version\": 1}", "missing field `format`"),
        ("{\"format\": \"ripieno-corrections\", \"version\": 1, \"corrections\": 7}", "invalid type"),
    ];
    for (json, expected) in cases {
        let told = Corrections::beside(&write_beside("wrong", json)).unwrap_err().to_string();
        assert!(told.starts_with("score.musicxml.corrections.json") && told.contains(expected), "{json}: {told}");
    }
    let deep = format!("{{\"format\": \"ripieno-corrections\", \"version\": 1, \"x\": {}", "[".repeat(100_000));
    assert!(Corrections::beside(&write_beside("wrong", &deep)).is_err());
}

/// One sentence an entry, the others in force.
#[test]
fn entries_that_cannot_be_understood_do_not_harm_the_others() {
    let entries = [
        r#"{"id": "c1", "kind": "set-role", "parts": [{"place": 0}], "from": {"bar": 1}, "to": {"bar": 2}}"#,
        r#"{"id": "c2", "kind": "set-role", "roles": ["tenor"], "parts": [{"place": 0}], "from": {"bar": 1}, "to": {"bar": 2}}"#,
        r#"{"id": "c3", "kind": "split-role", "parts": [], "from": {"bar": 1}, "to": {"bar": 2}}"#,
        r#"{"id": "c4", "kind": "split-role", "parts": [{"place": -1}], "from": {"bar": 1}, "to": {"bar": 2}}"#,
        r#"{"id": "c5", "kind": "split-role", "parts": [{"place": 0}], "from": {"bar": 99999999999}, "to": {"bar": 2}}"#,
        r#"{"id": "c6", "kind": "split-role", "parts": [{"place": 0}], "from": {"bar": 1, "at": "1/0"}, "to": {"bar": 2}}"#,
        r#"{"id": "c7", "kind": "split-role", "parts": [{"place": 0}], "from": {"bar": 1, "at": 0.5}, "to": {"bar": 2}}"#,
        r#"{"id": "c8", "kind": "split-role", "parts": [{"place": 0}], "from": {"bar": 1, "at": "-2"}, "to": {"bar": 2}}"#,
        r#"{"id": "c9", "kind": "split-role", "parts": [{}], "from": {}, "to": {}}"#,
        r#""a note to myself""#,
        "null",
        r#"{"id": "c0", "kind": "remark", "text": "breathe", "parts": [{"place": 0}], "from": {"bar": 1}, "to": {"bar": 2}}"#,
        r#"{"id": "c0", "kind": "remark", "text": "twice", "parts": [{"place": 0}], "from": {"bar": 1}, "to": {"bar": 2}}"#,
    ];
    let file = write_beside("entries", &with_entries(&entries.join(",\n")));
    let score = demo();
    let placed = Corrections::beside(&file).unwrap().place(&score, &view(&score));
    assert_eq!(placed.instructions.len(), 1);
    let told: Vec<String> = placed.findings.iter().map(ToString::to_string).collect();
    assert_eq!(told.len(), 12, "{told:#?}");
    for (index, sentence) in told.iter().enumerate() {
        let line = if index < 11 { index + 2 } else { 14 };
        assert!(sentence.starts_with(&format!("score.musicxml.corrections.json, line {line}: ")), "{sentence}");
    }
}

#[test]
fn understood_but_pointing_nowhere() {
    let entry = |id: &str, more: &str| format!(r#"{{"id": "{id}", "kind": "split-role", {more}}}"#);
    let entries = [
        entry("c1", r#""parts": [{"place": 0}], "from": {"bar": 4000000000}, "to": {"bar": 4000000000}"#),
        entry("c2", r#""parts": [{"place": 18446744073709551615}], "from": {"bar": 1}, "to": {"bar": 2}"#),
        entry("c3", r#""parts": [{"place": 0}], "from": {"bar": 30}, "to": {"bar": 2}"#),
        entry("c4", r#""parts": [{"place": 0}], "from": {"printed": "X"}, "to": {"printed": "X"}"#),
        entry("c5", r#""parts": [{"place": 0}], "from": {"bar": 1}, "to": {"bar": 2}, "score": "s1""#),
        entry("c6", r#""parts": [{"name": "Serpent"}], "from": {"bar": 1}, "to": {"bar": 2}"#),
        entry("c7", r#""parts": [{"place": 0, "voice": 9}], "from": {"bar": 12}, "to": {"bar": 13}"#),
        entry("c8", r#""parts": [{"place": 0}], "from": {"bar": 12, "at": "9223372036854775807"}, "to": {"bar": 12}"#),
    ];
    let file = write_beside("nowhere", &with_entries(&entries.join(",\n")));
    let score = demo();
    let placed = Corrections::beside(&file).unwrap().place(&score, &view(&score));
    assert_eq!(placed.instructions, []);
    assert_eq!(placed.unplaced.len(), entries.len());
    let empty = Score::default();
    assert_eq!(Corrections::beside(&file).unwrap().place(&empty, &view(&empty)).unplaced.len(), entries.len());
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Nothing that stands in the file makes reading it panic, and what is read can be placed and written.
    #[test]
    fn hostile_files(cuts in prop::collection::vec((any::<usize>(), any::<u8>()), 1..8)) {
        let score = numbered(&[1, 2, 3, 4, 5, 6], 2);
        let view = view(&score);
        let file = folder("hostile").join("score.musicxml");
        let sound = r#"{"format":"ripieno-corrections","version":1,"corrections":[{"id":"c1","kind":"set-role","roles":["bass"],
            "parts":[{"name":"Player 0","id":"P0","place":0}],"from":{"bar":1,"at":"1/2"},"to":{"bar":3,"at":"4"},"score":"s1"}],
            "scores":[{"id":"s1","lengths":"4*6","parts":[{"name":"Player 0","id":"P0","bars":"-*2 000000000000000a3c0000011*4"}]}]}"#;
        let mut bytes = sound.as_bytes().to_vec();
        for (at, byte) in cuts {
            let at = at % bytes.len();
            match byte % 3 {
                0 => bytes[at] = b"0123456789-*\"{}[],:e\xff"[usize::from(byte) % 21],
                1 => drop(bytes.remove(at)),
                _ => bytes.insert(at, b'9'),
            }
        }
        std::fs::write(sidecar_path(&file), &bytes).unwrap();
        if let Ok(mut corrections) = Corrections::beside(&file) {
            let _ = corrections.place(&score, &view);
            corrections.save().unwrap();
            prop_assert!(Corrections::beside(&file).is_ok());
        }
    }
}

/// The page that describes the file: its example is read, and it names every field that is written.
#[test]
fn the_documented_file_is_the_file() {
    let page = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/corrections.md")).unwrap();
    let example = page.split("```json\n").nth(1).unwrap().split("```").next().unwrap();
    let score = demo();
    let file = write_beside("documented", example);
    let corrections = Corrections::beside(&file).unwrap();
    // The first refers to a fingerprint cut short, so that only the second can be placed on the demo.
    let placed = corrections.place(&score, &view(&score));
    assert_eq!(corrections.list().len(), 2);
    assert_eq!(
        placed.instructions.iter().map(|one| one.correction.as_str()).collect::<Vec<_>>(),
        ["c2"],
        "{:?}",
        placed.findings
    );
    let mut written = Corrections::beside(&folder("every-field").join("score.musicxml")).unwrap();
    let moment = |bar: u32| Moment { bar, at: Some(Crotchets::ONE) };
    let changes = [
        Change::SetRole(Role::ALL.to_vec()),
        Change::SplitRole,
        Change::MergeRoles,
        Change::NameRole("spray".to_owned()),
        Change::SetLayer(Some("waves".to_owned())),
        Change::SplitLayer,
        Change::MergeLayers,
        Change::NameLayer("waves".to_owned()),
        Change::Remark("listen".to_owned()),
    ];
    for change in changes {
        assert!(page.contains(&format!("| `{}` |", change.kind())), "{change} is not documented");
        let who = vec![Who { part: 0, voice: Some(1), staff: Some(1) }];
        let request = Request { change, who, from: moment(12), to: moment(16), comment: "why".to_owned() };
        written.add(&score, &view(&score), request).unwrap();
    }
    written.save().unwrap();
    let text = std::fs::read_to_string(written.path()).unwrap();
    for line in text.lines().filter_map(|line| line.trim().strip_prefix('"')?.split_once("\": ")) {
        assert!(page.contains(&format!("`{}`", line.0)), "{} is not documented", line.0);
    }
    // Read again, every correction is what was said.
    let again = Corrections::beside(&written.path().with_file_name("score.musicxml")).unwrap();
    assert_eq!(again.list(), written.list());
}

#[test]
fn named_groups_are_kept_and_measured() {
    let score = demo();
    let file = folder("groups").join("score.musicxml");
    std::fs::copy(concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/lifeboat_overture.musicxml"), &file).unwrap();
    let mut corrections = Corrections::beside(&file).unwrap();
    let members = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
    corrections.name_group(&score, "low brass", &members(&["trombones", "tubas"])).unwrap();
    assert!(corrections.name_group(&score, "brass", &members(&["tubas"])).is_err(), "the family has this name");
    assert!(
        corrections.name_group(&score, "wind band", &members(&["saxophones"])).unwrap_err().to_string().contains("saxophones")
    );
    corrections.save().unwrap();
    let study = ripieno_study::analyse_file(&file, &ripieno_formats::Limits::default()).unwrap();
    let low = study.groups.named.iter().position(|group| group.name == "low brass").map(ripieno_study::Subject::Named).unwrap();
    let presence = study.practice.iter().find(|taken| taken.measure.name == "presence").unwrap();
    let bars = &presence.values.iter().find(|value| value.of == low && value.aspect == "bars").unwrap().bars;
    // demo/planted/practice.csv: trombones and tuba sound in 35-45, 81-100 and 105-108.
    let planted: Vec<u32> = (35..=45).chain(81..=100).chain(105..=108).collect();
    assert_eq!(*bars, planted);
    let mut again = Corrections::beside(&file).unwrap();
    assert!(again.remove_group("Low brass") && !again.remove_group("low brass"));
    again.save().unwrap();
    assert_eq!(Corrections::beside(&file).unwrap().groups().count(), 0);
    // One the score does not have, and one that is not understood, are told and do no harm.
    let json = r#"{"format": "ripieno-corrections", "version": 1, "corrections": [], "scores": [], "groups": [{"name": "choir", "members": ["sopranos"]}, {"name": 3}]}"#;
    std::fs::write(sidecar_path(&file), json).unwrap();
    let study = ripieno_study::analyse_file(&file, &ripieno_formats::Limits::default()).unwrap();
    let told = |code: &str| study.findings.iter().filter(|finding| finding.code == code).count();
    assert_eq!((told("group-not-found"), told("correction-not-understood")), (1, 1));
    assert!(study.groups.named.is_empty());
}
