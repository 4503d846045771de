//! Corrections kept beside a score: what they survive, and what they say when they cannot.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::path::{Path, PathBuf};
use std::time::Instant;

use proptest::prelude::*;
use ripieno_formats::{Limits, Severity, read_file};
use ripieno_score::{Bar, BarIndex, Crotchets, Head, Note, Part, Pitch, Score, Sounding, Step, Unroll};
use ripieno_study::analyse_file;
use ripieno_study::corrections::{Change, Corrected, Corrections, Moment, Placed, Request, Said, Who, apply, sidecar_path};
use ripieno_texture::{Evidence, Role, predict, read_roles};

/// A folder of this test's own, empty.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn demo() -> Score {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    read_file(&path, &Limits::default()).unwrap().score
}

fn view(score: &Score) -> Sounding {
    Sounding::new(score, Unroll::AsWritten)
}

/// The page as a list of bars, each with its number and every part's notes: what inserting and deleting is done on.
type Page = Vec<(Bar, Vec<Vec<Note>>)>;

fn page(score: &Score) -> Page {
    let bar = |index: usize| {
        let bar = BarIndex(u32::try_from(index).unwrap());
        (score.bars[index].clone(), score.parts.iter().map(|part| part.notes_in(bar).to_vec()).collect())
    };
    (0..score.bars.len()).map(bar).collect()
}

/// The score with these bars instead, numbered anew. Signs are left out: fingerprints know nothing of them, save transpositions.
fn with_page(score: &Score, page: &Page) -> Score {
    let mut new = Score { bars: Vec::new(), parts: Vec::new(), ..score.clone() };
    for part in &score.parts {
        new.parts.push(Part { notes: Vec::new(), rests: Vec::new(), marks: Vec::new(), directions: Vec::new(), ..part.clone() });
    }
    for (index, (bar, notes)) in page.iter().enumerate() {
        new.bars.push(Bar { number: index.to_string().into(), ..bar.clone() });
        for (part, notes) in notes.iter().enumerate() {
            let moved = notes.iter().map(|note| Note { bar: BarIndex(u32::try_from(index).unwrap()), ..note.clone() });
            new.parts[part].notes.extend(moved);
        }
    }
    new.finish();
    new
}

fn part(score: &Score, name: &str) -> usize {
    score.parts.iter().position(|part| part.name == name).unwrap_or_else(|| panic!("no part {name}"))
}

fn set(roles: &[Role], part: usize, from: u32, to: u32) -> Request {
    Request {
        change: Change::SetRole(roles.to_vec()),
        who: vec![Who::part(part)],
        from: Moment::edge(from),
        to: Moment::edge(to),
        comment: String::new(),
    }
}

/// Corrections made on `before`, kept, read again and placed on `after`.
fn carried(name: &str, before: &Score, requests: Vec<Request>, after: &Score) -> Placed {
    let file = folder(name).join("score.musicxml");
    let mut corrections = Corrections::beside(&file).unwrap();
    for request in requests {
        corrections.add(before, &view(before), request).unwrap();
    }
    corrections.save().unwrap();
    Corrections::beside(&file).unwrap().place(after, &view(after))
}

/// First and last bar an instruction touches.
fn bars(placed: &Placed, index: usize, score: &Score) -> (u32, u32) {
    let one = &placed.instructions[index];
    let view = view(score);
    let first = view.bars.iter().position(|bar| bar.start <= one.from && one.from < bar.start + bar.length).unwrap();
    let last = view.bars.iter().position(|bar| bar.start < one.to && one.to <= bar.start + bar.length).unwrap();
    (u32::try_from(first).unwrap(), u32::try_from(last).unwrap())
}

/// Bar 35 of the demo is index 35, since its upbeat is bar 0.
#[test]
fn the_demo_unchanged() {
    let score = demo();
    let horn = part(&score, "Horn 1.2 in F");
    let placed = carried("unchanged", &score, vec![set(&[Role::Countermelody], horn, 35, 45)], &score);
    assert_eq!(placed.findings, []);
    let one = &placed.instructions[0];
    assert_eq!((one.correction.as_str(), one.who.as_slice()), ("c1", [Who::part(horn)].as_slice()));
    let view = view(&score);
    assert_eq!((one.from, one.to), (view.bars[35].start, view.bars[46].start));
}

#[test]
fn the_demo_with_bars_put_in_and_taken_out() {
    let score = demo();
    let horn = part(&score, "Horn 1.2 in F");
    let mut pages = page(&score);
    let silent: (Bar, Vec<Vec<Note>>) = (pages[40].0.clone(), vec![Vec::new(); score.parts.len()]);
    // Two bars of rest before bar 40, bar 60 three times, bars 3 and 4 gone.
    pages.insert(60, pages[60].clone());
    pages.insert(60, pages[60].clone());
    pages.insert(40, silent.clone());
    pages.insert(40, silent);
    pages.drain(3..5);
    let after = with_page(&score, &pages);
    let requests = vec![
        set(&[Role::Countermelody], horn, 35, 45),
        set(&[Role::Bass], part(&score, "Tuba"), 35, 39),
        set(&[Role::Melody], part(&score, "Horn 1.2 in F"), 1, 4),
        set(&[Role::Melody], part(&score, "Violin I"), 89, 100),
        set(&[Role::Pedal], part(&score, "Double bass"), 3, 4),
    ];
    let placed = carried("edited", &score, requests, &after);
    assert_eq!(bars(&placed, 0, &after), (33, 45));
    assert_eq!(bars(&placed, 1, &after), (33, 37));
    assert_eq!(bars(&placed, 2, &after), (1, 2));
    assert_eq!(bars(&placed, 3, &after), (91, 102));
    assert_eq!(placed.unplaced, ["c5"]);
    let told: Vec<String> = placed.findings.iter().map(ToString::to_string).collect();
    let gone = "score.musicxml, Double bass, bar 3: correction c5 (role: pedal, bars 3 to 4) has no place: its bars are no longer \
                in the score. It is kept in the corrections file and not in force; set it anew where it belongs, or remove it.";
    assert_eq!(told.len(), 2, "{told:#?}");
    assert!(told[0].contains("has lost 2 of its 4 bars"), "{told:#?}");
    assert_eq!(told[1], gone);
}

#[test]
fn parts_reordered_renamed_transposed_and_edited() {
    let score = demo();
    let (horn, flute, tuba) = (part(&score, "Horn 1.2 in F"), part(&score, "Flute 1"), part(&score, "Tuba"));
    let requests = vec![
        set(&[Role::Countermelody], horn, 35, 45),
        set(&[Role::Figuration], flute, 35, 45),
        set(&[Role::Bass], tuba, 35, 45),
    ];
    let mut pages = page(&score);
    // The horn plays a fourth lower throughout; the flute's first note of bar 36 is another; a bar is put in at the front.
    for (_, notes) in &mut pages {
        for note in &mut notes[horn] {
            if let Head::Pitched(pitch) = note.head {
                let semitones = pitch.semitones() - 5;
                note.head = Head::Pitched(keyed(semitones));
            }
        }
    }
    if let Some(note) = pages[36].1[flute].first_mut() {
        note.head = Head::Pitched(Pitch::new(Step::C, 0, 6));
    }
    pages.insert(0, (pages[12].0.clone(), vec![Vec::new(); score.parts.len()]));
    let mut after = with_page(&score, &pages);
    after.parts[horn].name = "Wagner tuba 1.2".to_owned();
    after.parts[horn].id = "elsewhere".to_owned();
    after.parts[flute].name = "Fl. I".to_owned();
    after.parts.reverse();
    let last = score.parts.len() - 1;
    let placed = carried("renamed", &score, requests, &after);
    let who: Vec<usize> = placed.instructions.iter().map(|one| one.who[0].part).collect();
    assert_eq!(who, [last - horn, last - flute, last - tuba]);
    for index in 0..3 {
        assert_eq!(bars(&placed, index, &after), (36, 46));
    }
    assert_eq!(placed.findings, []);
}

fn keyed(semitones: i32) -> Pitch {
    let (octave, class) = (semitones.div_euclid(12) - 1, semitones.rem_euclid(12));
    let step = [0, 2, 4, 5, 7, 9, 11].iter().rposition(|&at| at <= class).unwrap();
    let alter = class - [0, 2, 4, 5, 7, 9, 11][step];
    Pitch::new(Step::ALL[step], i8::try_from(alter).unwrap(), i8::try_from(octave).unwrap())
}

#[test]
fn a_part_that_is_gone_or_silent_is_told() {
    let score = demo();
    let (horn, tuba) = (part(&score, "Horn 1.2 in F"), part(&score, "Tuba"));
    let requests = vec![set(&[Role::Bass], tuba, 35, 45), set(&[Role::Countermelody], horn, 35, 45)];
    let mut pages = page(&score);
    for bar in &mut pages[35..46] {
        bar.1[horn].clear();
    }
    let mut after = with_page(&score, &pages);
    after.parts.remove(tuba);
    let placed = carried("gone", &score, requests, &after);
    assert_eq!(placed.unplaced, ["c1", "c2"]);
    let told: Vec<String> = placed.findings.iter().map(ToString::to_string).collect();
    assert!(
        told[0].starts_with("score.musicxml, Tuba, bar 35: ") && told[0].contains("part is no longer in the score"),
        "{told:#?}"
    );
    assert!(
        told[1].starts_with("score.musicxml, Horn 1.2 in F, bar 35: ") && told[1].contains("nothing sounds there"),
        "{told:#?}"
    );
}

#[test]
fn edges_inside_a_bar_keep_their_place() {
    let score = demo();
    let request = Request {
        from: Moment { bar: 36, at: Some(Crotchets::ONE) },
        to: Moment { bar: 44, at: Some(Crotchets::whole(3)) },
        ..set(&[Role::Countermelody], part(&score, "Horn 1.2 in F"), 0, 0)
    };
    let mut pages = page(&score);
    pages.drain(0..10);
    let after = with_page(&score, &pages);
    let placed = carried("edges", &score, vec![request], &after);
    let view = view(&after);
    let one = &placed.instructions[0];
    assert_eq!((one.from, one.to), (view.bars[26].start + Crotchets::ONE, view.bars[34].start + Crotchets::whole(3)));
}

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

/// Two scores of the same corrections: one made on each state of the score, both found in the third.
#[test]
fn corrections_made_on_different_states_of_the_score() {
    let score = demo();
    let horn = part(&score, "Horn 1.2 in F");
    let file = folder("states").join("score.musicxml");
    let mut corrections = Corrections::beside(&file).unwrap();
    corrections.add(&score, &view(&score), set(&[Role::Countermelody], horn, 35, 45)).unwrap();
    let mut pages = page(&score);
    pages.drain(5..15);
    let second = with_page(&score, &pages);
    corrections.add(&second, &view(&second), set(&[Role::Melody], horn, 1, 4)).unwrap();
    pages.drain(0..1);
    let third = with_page(&score, &pages);
    let placed = corrections.place(&third, &view(&third));
    assert_eq!((bars(&placed, 0, &third), bars(&placed, 1, &third)), ((24, 34), (0, 3)));
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

/// A small score of `parts` parts whose bars are told apart by a number each: the same number, the same bar.
fn numbered(numbers: &[u32], parts: usize) -> Score {
    let mut score = Score::default();
    for number in 0..numbers.len() {
        score.bars.push(Bar::new((number + 1).to_string(), Crotchets::ZERO, Crotchets::whole(4)));
    }
    for part in 0..parts {
        let mut notes = Vec::new();
        for (bar, &number) in (0u32..).zip(numbers) {
            // Each bar four notes drawn from its number; some parts rest in some bars.
            let mut state = u64::from(number) * 0x9e37_79b9 + part as u64 * 7919 + 1;
            let mut draw = |below: u64| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) % below
            };
            if part > 0 && draw(3) == 0 {
                continue;
            }
            for at in 0..4 {
                let semitones = 48 + i32::try_from(draw(24)).unwrap();
                let (bar, at) = (BarIndex(bar), Crotchets::whole(at));
                notes.push(Note { bar, at, duration: Crotchets::ONE, head: Head::Pitched(keyed(semitones)), ..Note::default() });
            }
        }
        score.parts.push(Part { id: format!("P{part}"), name: format!("Player {part}"), notes, ..Part::default() });
    }
    score.finish();
    score
}

/// How a score may be revised.
#[derive(Debug, Clone)]
enum Edit {
    Insert(usize, u32),
    Delete(usize),
    Duplicate(usize),
}

fn edits() -> impl Strategy<Value = Vec<Edit>> {
    let edit = prop_oneof![
        (any::<usize>(), 1000u32..2000).prop_map(|(at, number)| Edit::Insert(at, number)),
        any::<usize>().prop_map(Edit::Delete),
        any::<usize>().prop_map(Edit::Duplicate),
    ];
    prop::collection::vec(edit, 0..12)
}

fn revise(numbers: &[u32], edits: &[Edit]) -> Vec<u32> {
    let mut numbers = numbers.to_vec();
    for edit in edits {
        let count = numbers.len();
        match *edit {
            Edit::Insert(at, number) => numbers.insert(at % (count + 1), number),
            Edit::Delete(at) if count > 1 => drop(numbers.remove(at % count)),
            Edit::Delete(_) => {}
            Edit::Duplicate(at) => numbers.insert(at % count, numbers[at % count]),
        }
    }
    numbers
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever bars are put in, taken out or doubled, a span is found between the first and the last of its bars that are left;
    /// where none is left, it is told.
    #[test]
    fn spans_follow_their_bars(count in 1u32..40, first in any::<u32>(), length in 0u32..12, edits in edits(), parts in 1usize..5) {
        let numbers: Vec<u32> = (0..count).collect();
        let (first, last) = (first % count, (first % count + length).min(count - 1));
        let (before, revised) = (numbered(&numbers, parts), revise(&numbers, &edits));
        let after = numbered(&revised, parts);
        let file = Path::new("no-such-folder").join("score.musicxml");
        let mut corrections = Corrections::beside(&file).unwrap();
        corrections.add(&before, &view(&before), set(&[Role::Melody], 0, first, last)).unwrap();
        let placed = corrections.place(&after, &view(&after));
        let within: Vec<usize> = (0..revised.len()).filter(|&at| (first..=last).contains(&revised[at])).collect();
        let doubled = |at: usize| revised.iter().filter(|&&number| number == revised[at]).count() > 1;
        if let (Some(&low), Some(&high)) = (within.first(), within.last()) {
            prop_assert_eq!(&placed.unplaced, &Vec::<String>::new());
            let found = bars(&placed, 0, &after);
            let found = (found.0 as usize, found.1 as usize);
            // Of doubled bars either may be the old one: so every bar of the span lies within, save doubles, and no old bar
            // of outside.
            for &at in &within {
                prop_assert!((found.0..=found.1).contains(&at) || doubled(at), "bar {} of {:?} not in {:?}", at, revised, found);
            }
            for at in found.0..=found.1 {
                let is_old_outside = revised[at] < count && !(low..=high).contains(&at) && !doubled(at);
                prop_assert!(!is_old_outside, "bar {} of {:?} in {:?}", at, revised, found);
            }
        } else if let Some(one) = placed.instructions.first() {
            // None of its bars is left, but new ones in their place that resemble them may be taken for them.
            let found = bars(&placed, 0, &after);
            prop_assert!((found.0..=found.1).all(|at| revised[at as usize] >= 1000 || doubled(at as usize)), "{:?} in {:?}", one, revised);
        } else {
            prop_assert_eq!(placed.unplaced.len(), 1);
        }
    }

    /// Nothing that stands in the file makes reading it panic, and what is read can be placed and written.
    #[test]
    fn hostile_files(cuts in prop::collection::vec((any::<usize>(), any::<u8>()), 1..8)) {
        let score = numbered(&[1, 2, 3, 4, 5, 6], 2);
        let view = view(&score);
        let file = Path::new("no-such-folder").join("score.musicxml");
        let mut corrections = Corrections::beside(&file).unwrap();
        corrections.add(&score, &view, set(&[Role::Melody], 0, 1, 2)).unwrap();
        let folder = std::env::temp_dir().join(format!("ripieno-hostile-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let file = folder.join("score.musicxml");
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

/// Prints what docs/corrections.md cites; run with `--release --nocapture`.
#[test]
#[ignore = "a measurement, not a check"]
fn speed_of_a_large_score() {
    let numbers: Vec<u32> = (0..1000).collect();
    let before = numbered(&numbers, 60);
    let mut revised = numbers;
    revised.drain(700..720);
    revised.splice(300..300, 5000..5020);
    let file = folder("speed").join("score.musicxml");
    let mut corrections = Corrections::beside(&file).unwrap();
    corrections.add(&before, &view(&before), set(&[Role::Melody], 0, 400, 500)).unwrap();
    corrections.save().unwrap();
    println!("file: {} bytes", std::fs::metadata(sidecar_path(&file)).unwrap().len());
    let rewritten: Vec<u32> = (6000..7000).collect();
    for (name, after) in [
        ("unchanged", numbered(&(0..1000).collect::<Vec<_>>(), 60)),
        ("40 bars moved", numbered(&revised, 60)),
        ("all rewritten", numbered(&rewritten, 60)),
    ] {
        let view = view(&after);
        let start = Instant::now();
        let again = Corrections::beside(&file).unwrap();
        let read = start.elapsed();
        let start = Instant::now();
        let placed = again.place(&after, &view);
        println!("{name}: read {read:?}, placed {:?}, {:?}", start.elapsed(), placed.unplaced);
    }
}

/// The demo's roles with these corrections in force.
fn corrected(score: &Score, name: &str, requests: Vec<Request>) -> Corrected {
    let view = view(score);
    let reading = read_roles(score, &view, &predict(score, &view));
    let placed = carried(name, score, requests, score);
    assert_eq!(placed.findings, []);
    apply(reading, &placed.instructions, &view)
}

fn told(corrected: &Corrected, part: usize, bar: u32) -> Vec<(Role, bool)> {
    corrected.roles.in_bar(part, bar).map(|span| (span.role(), span.evidence == [Evidence::SetByHand])).collect()
}

#[test]
fn roles_set_by_hand_hold_in_their_span_and_nowhere_else() {
    let score = demo();
    let horn = part(&score, "Horn 1.2 in F");
    let plain = corrected(&score, "plain", Vec::new());
    let requests = vec![set(&[Role::Pedal], horn, 37, 42), set(&[Role::Effect, Role::Bass], horn, 40, 45)];
    let hand = corrected(&score, "by-hand-roles", requests);
    for bar in 0..109 {
        for part in 0..score.parts.len() {
            let expected = match bar {
                37..=39 if part == horn => vec![(Role::Pedal, true)],
                40..=45 if part == horn => vec![(Role::Effect, true)],
                _ => told(&plain, part, bar),
            };
            assert_eq!(told(&hand, part, bar), expected, "part {part}, bar {bar}");
        }
    }
    assert_eq!(hand.said.len(), hand.roles.spans.len());
    let said: Vec<&Said> = hand.said.iter().filter(|said| !said.corrections.is_empty()).collect();
    assert_eq!(said.iter().map(|said| said.corrections[0].as_str()).collect::<Vec<_>>(), ["c1", "c2"]);
    let keys = |one: &Corrected| one.roles.spans.iter().map(|span| (span.part, span.from, span.line)).collect::<Vec<_>>();
    assert!(keys(&hand).is_sorted());
    for span in &hand.roles.spans {
        assert!(span.from < span.to && !span.roles.is_empty() && span.bars.start < span.bars.end, "{span:?}");
    }
}

#[test]
fn the_melody_follows_what_a_person_says() {
    let score = demo();
    let (horn, tuba) = (part(&score, "Horn 1.2 in F"), part(&score, "Tuba"));
    let at = |corrected: &Corrected, bar: u32| -> Vec<usize> {
        corrected.roles.melody.iter().filter(|one| one.bars.contains(&bar)).map(|one| one.part).collect()
    };
    let given = corrected(&score, "melody-given", vec![set(&[Role::Melody], tuba, 37, 40)]);
    assert!(at(&given, 38) == [tuba] && at(&given, 39) == [tuba], "{:?}", at(&given, 38));
    assert!(!at(&given, 42).contains(&tuba));
    assert!(given.roles.melody.windows(2).all(|pair| pair[0].to <= pair[1].from), "one carrier at a time");
    // Bars 1 to 4 are the horn's alone; nobody else has it when it is taken away.
    assert!(at(&corrected(&score, "melody-plain", Vec::new()), 2).contains(&horn));
    let taken = corrected(&score, "melody-taken", vec![set(&[Role::Pedal], horn, 1, 3)]);
    assert!(!at(&taken, 2).contains(&horn), "{:?}", at(&taken, 2));
}

#[test]
fn roles_split_merged_and_named_and_layers_told() {
    let score = demo();
    let flute = part(&score, "Flute 1");
    let with = |change: Change, from: u32, to: u32| Request { change, ..set(&[Role::Bass], flute, from, to) };
    let requests = vec![
        with(Change::SplitRole, 38, 40),
        with(Change::NameRole("spray".to_owned()), 38, 40),
        with(Change::SetLayer(Some("waves".to_owned())), 35, 45),
        with(Change::Remark("listen to bar 40".to_owned()), 35, 45),
    ];
    let split = corrected(&score, "split", requests);
    let own: Vec<_> = split.roles.spans.iter().zip(&split.said).filter(|(span, _)| span.part == flute).collect();
    let apart = own.iter().find(|(_, said)| said.name.as_deref() == Some("spray")).unwrap();
    assert_eq!((apart.0.bars.clone(), apart.1.corrections.as_slice()), (38..41, ["c1".to_owned(), "c2".to_owned()].as_slice()));
    assert_ne!(apart.0.evidence, [Evidence::SetByHand], "a name sets no role");
    assert!(own.iter().any(|(span, _)| span.bars.end == 38) && own.iter().any(|(span, _)| span.bars.start == 41));
    assert_eq!(split.layers.len(), 1);
    assert!(split.layers[0].lines.iter().all(|&line| split.roles.lines[line].part == flute));
    let merged = corrected(&score, "merged", vec![with(Change::MergeRoles, 17, 45)]);
    let touching = merged.roles.of_part(flute).iter().filter(|span| span.bars.start < 46 && span.bars.end > 17);
    assert_eq!(touching.count(), merged.roles.lines.iter().filter(|line| line.part == flute).count());
}

#[test]
fn a_study_has_the_corrections_beside_its_score_in_force() {
    let folder = folder("study");
    let file = folder.join("overture.musicxml");
    std::fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml"), &file).unwrap();
    let score = demo();
    let horn = part(&score, "Horn 1.2 in F");
    let mut corrections = Corrections::beside(&file).unwrap();
    corrections.add(&score, &view(&score), set(&[Role::Effect], horn, 35, 45)).unwrap();
    corrections.save().unwrap();
    let study = analyse_file(&file, &Limits::default()).unwrap();
    assert_eq!(study.corrections.len(), 1);
    assert_eq!(told(&study.corrected_roles(), horn, 40), [(Role::Effect, true)]);
    std::fs::write(sidecar_path(&file), "{").unwrap();
    let study = analyse_file(&file, &Limits::default()).unwrap();
    let told = study.findings.last().unwrap();
    assert_eq!((told.severity, told.code), (Severity::Error, "corrections-not-readable"));
    assert!(study.corrections.is_empty());
}
