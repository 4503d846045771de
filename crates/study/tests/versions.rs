//! Two versions of one piece: what was changed on purpose is found, and nothing else.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

use ripieno_formats::{Limits, read};
use ripieno_study::{BarChange, PartChange, Study, Touch, Versions, analyse, versions};

/// Parts of a name and bars divided by `|`, a bar being four crotchets each a pitch such as `C4`, or `-` for a bar of rest.
fn study(parts: &[(&str, &str)]) -> Study {
    let mut xml = String::from("<score-partwise version=\"4.0\"><part-list>");
    for (at, (name, _)) in parts.iter().enumerate() {
        xml += &format!("<score-part id=\"P{at}\"><part-name>{name}</part-name></score-part>");
    }
    xml += "</part-list>";
    for (at, (_, bars)) in parts.iter().enumerate() {
        xml += &format!("<part id=\"P{at}\">");
        for (number, bar) in bars.split('|').enumerate() {
            xml += &format!("<measure number=\"{}\">", number + 1);
            if number == 0 {
                xml += "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
            }
            let notes: Vec<&str> = bar.split_whitespace().collect();
            let length = 4 / notes.len();
            for note in notes {
                let what = if note == "-" {
                    "<rest/>".to_owned()
                } else {
                    format!("<pitch><step>{}</step><octave>{}</octave></pitch>", &note[..1], &note[1..])
                };
                xml += &format!("<note>{what}<duration>{length}</duration><voice>1</voice></note>");
            }
            xml += "</measure>";
        }
        xml += "</part>";
    }
    xml += "</score-partwise>";
    analyse("piece.musicxml".to_owned(), read("piece.musicxml", xml.as_bytes(), &Limits::default()).unwrap())
}

const OBOE: &str =
    "C5 D5 E5 F5 | G5 F5 E5 D5 | E5 E5 F5 G5 | A5 G5 F5 E5 | D5 E5 F5 D5 | C5 C5 D5 E5 | B4 C5 D5 B4 | C5 C5 C5 C5";
const HORN: &str = "C4 E4 | D4 G4 | C4 G4 | F4 C4 | G4 D4 | E4 C4 | D4 G4 | C4 C4";

fn found(old: &[(&str, &str)], new: &[(&str, &str)]) -> Versions {
    versions(&study(old), &study(new))
}

#[test]
fn the_same_score_is_unchanged() {
    let same = found(&[("Oboe", OBOE), ("Horn", HORN)], &[("Oboe", OBOE), ("Horn", HORN)]);
    assert!(same.bars.is_empty() && same.parts.is_empty() && same.is_same_piece());
    assert_eq!(same.unchanged, 8);
}

#[test]
fn added_removed_and_changed_bars() {
    let added = OBOE.replace("| E5 E5 F5 G5", "| A4 B4 A4 G4 | E5 E5 F5 G5");
    let horn = HORN.replacen("| C4 G4", "| - | C4 G4", 1);
    let changes = found(&[("Oboe", OBOE), ("Horn", HORN)], &[("Oboe", &added), ("Horn", &horn)]);
    assert_eq!(changes.bars, [BarChange::Added { new: 2 }]);
    // And the other way round it is taken out.
    let changes = found(&[("Oboe", &added), ("Horn", &horn)], &[("Oboe", OBOE), ("Horn", HORN)]);
    assert_eq!(changes.bars, [BarChange::Removed { old: 2 }]);
    assert_eq!(changes.unchanged, 8);
    // One note, a bar that falls silent, and one of the same attack with another length.
    let touched = OBOE.replace("D5 E5 F5 D5", "D5 E5 G5 D5");
    let silent = HORN.replace("E4 C4", "-");
    let changes = found(&[("Oboe", OBOE), ("Horn", HORN)], &[("Oboe", &touched), ("Horn", &silent)]);
    let changed = |bar, part, touch| BarChange::Changed { old: bar, new: bar, length: None, parts: vec![(part, touch)] };
    assert_eq!(changes.bars, [changed(4, 0, Touch::Notes), changed(5, 1, Touch::FallsSilent)]);
}

#[test]
fn a_stretch_that_moved() {
    let bars: Vec<&str> = OBOE.split('|').collect();
    let horns: Vec<&str> = HORN.split('|').collect();
    let order = [0, 1, 4, 5, 6, 7, 2, 3];
    let pick = |bars: &[&str]| order.map(|at| bars[at]).join("|");
    let (oboe, horn) = (pick(&bars), pick(&horns));
    let changes = found(&[("Oboe", OBOE), ("Horn", HORN)], &[("Oboe", &oboe), ("Horn", &horn)]);
    assert_eq!(changes.bars, [BarChange::Moved { old: 2, new: 6 }, BarChange::Moved { old: 3, new: 7 }]);
    assert_eq!(changes.unchanged, 6);
}

#[test]
fn parts_added_removed_renamed_and_transposed() {
    let up = HORN.replace('5', "6").replace('4', "5");
    let changes = found(
        &[("Oboe", OBOE), ("Horn", HORN), ("Tuba", "C2 | - | - | - | - | - | - | G2")],
        &[("Hoboy", OBOE), ("Horn", &up), ("Violin", "- | - | G4 A4 B4 G4 | A4 B4 G4 A4 | - | - | - | -")],
    );
    assert_eq!(
        changes.parts,
        [
            PartChange::Renamed { old: 0, new: 0 },
            PartChange::Transposed { old: 1, new: 1, semitones: 12 },
            PartChange::Added { new: 2, bars: vec![2, 3] },
            PartChange::Removed { old: 2, bars: vec![0, 7] },
        ]
    );
    assert!(changes.bars.is_empty(), "{:?}", changes.bars);
}

#[test]
fn changes_are_listed_parts_first_with_the_bars_of_either_version() {
    let touched = OBOE.replace("D5 E5 F5 D5", "D5 E5 G5 D5");
    let (old, new) = (
        study(&[("Oboe", OBOE), ("Horn", HORN), ("Tuba", "C2 | - | - | - | - | - | - | G2")]),
        study(&[("Oboe", &touched), ("Horn", &HORN.replace("E4 C4", "-"))]),
    );
    let listed: Vec<(String, Vec<u32>, Vec<u32>)> =
        versions(&old, &new).listed(&old, &new).into_iter().map(|one| (one.text, one.old, one.new)).collect();
    assert_eq!(
        listed,
        [
            ("Tuba is gone".to_owned(), vec![0, 7], vec![]),
            ("Oboe, other notes".to_owned(), vec![4], vec![4]),
            ("Horn, is silent now".to_owned(), vec![5], vec![5]),
        ]
    );
}

/// The second draft of the demo overture, made from the first: trombones and tuba keep silent in the first tutti, bars 35 to 45.
#[test]
fn a_draft_of_the_demo_lists_what_was_taken_out_of_it() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/lifeboat_overture.musicxml");
    let draft = || read(path, &std::fs::read(path).unwrap(), &Limits::default()).unwrap();
    let (first, mut second) = (draft(), draft());
    for part in second.score.parts.iter_mut().filter(|part| part.name.contains("rombone") || part.name.contains("Tuba")) {
        part.notes.retain(|note| !(35..=45).contains(&note.bar.at()));
    }
    let (old, new) = (analyse("draft1.musicxml".to_owned(), first), analyse("draft2.musicxml".to_owned(), second));
    let found = versions(&old, &new);
    assert!(found.is_same_piece());
    let listed = found.listed(&old, &new);
    let bars: Vec<u32> = (35..=45).collect();
    assert_eq!(listed.len(), 3, "{listed:#?}");
    assert!(listed.iter().all(|one| one.text.ends_with(", is silent now") && one.new == bars), "{listed:#?}");
}

#[test]
fn two_pieces_are_not_taken_for_versions() {
    let other = "E3 E3 E3 - | A2 - A2 - | - A2 B2 - | E3 - - E3 | F3 - F3 - | - - E3 E3 | A2 A2 - - | E3 - E3 -";
    let changes = found(&[("Oboe", OBOE), ("Horn", HORN)], &[("Bassoon", other)]);
    assert!(!changes.is_same_piece(), "{}", changes.likeness);
}
