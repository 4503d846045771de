//! Themes against the demo's planted statements, and against what counterpoint books call imitation, augmentation and fragment.
#![allow(clippy::unwrap_used, clippy::cast_possible_wrap)]

use std::collections::BTreeMap;
use std::path::Path;

use ripieno_formats::{Limits, read};
use ripieno_score::{Crotchets, MidiKey, Sounding, Unroll};
use ripieno_texture::{Theme, ThemeLine, ThemeNote, themes, top_lines};

/// A line of (key, length in quavers) from a crotchet on; key 0 is a rest. Spelled as keyboards do.
fn line(part: usize, from: i64, notes: &[(u8, i64)]) -> ThemeLine {
    let mut at = Crotchets::whole(from);
    let mut line = ThemeLine { part, ..ThemeLine::default() };
    for &(key, quavers) in notes {
        let end = at + Crotchets::new(quavers, 2).unwrap();
        if key > 0 {
            let place = MidiKey::try_from(i32::from(key)).unwrap().pitch().staff_position();
            line.notes.push(ThemeNote { onset: at, end, key, place });
        }
        at = end;
    }
    line
}

/// The subject of the C minor fugue of the first book of the Well-Tempered Clavier, bars 1 to 2, from memory, in semiquavers as quavers.
const SUBJECT: [(u8, i64); 11] =
    [(72, 1), (71, 1), (72, 2), (67, 2), (68, 2), (72, 1), (71, 1), (72, 2), (74, 2), (67, 2), (72, 1)];

fn moved(notes: &[(u8, i64)], up: i16, times: i64) -> Vec<(u8, i64)> {
    notes.iter().map(|&(key, length)| (u8::try_from(i16::from(key) + up).unwrap(), length * times)).collect()
}

#[test]
fn a_subject_is_found_transposed_augmented_and_in_part() {
    // Filling that shares nothing with it: each bar of its own rhythm.
    let filling = line(3, 0, &[(48, 8), (50, 3), (43, 5), (45, 7), (57, 1), (41, 6), (60, 9), (38, 4), (55, 2)]);
    let first = line(0, 0, &SUBJECT);
    let answer = line(1, 40, &moved(&SUBJECT, 7, 1));
    let slow = line(2, 80, &moved(&SUBJECT, -12, 2));
    let head = line(0, 130, &SUBJECT[..8]);
    let mut upper = first.clone();
    upper.notes.extend(head.notes);
    let found = themes(&[upper, answer, slow, filling]);
    assert_eq!(found.len(), 1, "{found:?}");
    let told: Vec<(usize, i64, i32, String, usize)> = found[0]
        .statements
        .iter()
        .map(|s| (s.part, s.onset.floor(), s.transposition, s.time_scale.to_string(), s.fragment.len()))
        .collect();
    let expected = [(0, 0, 0, 11), (1, 40, 7, 11), (2, 80, -12, 11), (0, 130, 0, 8)];
    let scales = ["1", "1", "2", "1"];
    for ((told, expected), scale) in told.iter().zip(expected).zip(scales) {
        assert_eq!((told.0, told.1, told.2, told.4), expected);
        assert_eq!(told.3, scale);
    }
    assert_eq!(told.len(), 4);
    assert!(found[0].statements.iter().all(|s| s.similarity > 0.99));
}

#[test]
fn doublings_support_and_scales_are_no_themes() {
    let twice: Vec<(u8, i64)> = SUBJECT.iter().copied().chain([(0, 20)]).chain(moved(&SUBJECT, 2, 1)).collect();
    let below = moved(&twice[..11], -12, 1);
    let octave: Vec<(u8, i64)> = below.into_iter().chain([(0, 20)]).chain(moved(&SUBJECT, -10, 1)).collect();
    let found = themes(&[line(0, 0, &twice), line(1, 0, &octave)]);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].statements.len(), 2);
    for statement in &found[0].statements {
        assert_eq!((statement.part, statement.supporters.len()), (0, 1));
        assert_eq!((statement.supporters[0].part, statement.supporters[0].interval), (1, -12));
    }
    let scale: Vec<(u8, i64)> =
        (0..4).flat_map(|_| [(60, 1), (62, 1), (64, 1), (65, 1), (67, 1), (69, 1), (71, 1), (72, 1)]).collect();
    let held: Vec<(u8, i64)> = (0..40).map(|_| (60, 1)).collect();
    assert!(themes(&[line(0, 0, &held)]).is_empty());
    assert!(themes(&[line(0, 0, &scale[..8]), line(1, 20, &scale[..8])]).is_empty());
    assert!(themes(&[]).is_empty());
}

fn cells(row: &str) -> Vec<String> {
    let mut cells = vec![String::new()];
    let mut quoted = false;
    for letter in row.chars() {
        match letter {
            '"' => quoted = !quoted,
            ',' if !quoted => cells.push(String::new()),
            _ => cells.last_mut().unwrap().push(letter),
        }
    }
    cells
}

/// `demo/planted/themes.csv`: each letter has a told theme of its own that covers its statements where they stand, at the planted transposition
/// (within a semitone, for a third is minor in one mode and major in the other). The head of R alone is four notes up a scale, and is not known by that.
#[test]
fn the_demo_themes_are_found() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let path = demo.join("lifeboat_overture.musicxml");
    let score = read(&path.display().to_string(), &std::fs::read(&path).unwrap(), &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let found = themes(&top_lines(&sounding));
    let planted = std::fs::read_to_string(demo.join("planted/themes.csv")).unwrap();
    let bar = |number: &str| sounding.bars.iter().find(|bar| &*score.bars[bar.bar.at()].number == number).unwrap();
    let mut by_letter: BTreeMap<String, Vec<(Crotchets, Crotchets, usize, i32)>> = BTreeMap::new();
    for row in planted.lines().skip(1) {
        let cells = cells(row);
        if cells[0] == "R" && cells[10] != "whole" {
            continue;
        }
        let last = bar(&cells[3]);
        let part = score.parts.iter().position(|part| part.name.replace('♭', "b") == cells[4].replace('♭', "b")).unwrap();
        let onset = bar(&cells[1]).start + cells[2].parse().unwrap();
        by_letter.entry(cells[0].clone()).or_default().push((onset, last.start + last.length, part, cells[9].parse().unwrap()));
    }
    let mut told = Vec::new();
    for (letter, statements) in &by_letter {
        let covered = |theme: &Theme| -> Vec<(i32, i32)> {
            let hits = statements.iter().filter_map(|&(onset, end, part, transposition)| {
                let hit = theme.statements.iter().find(|s| {
                    (s.part == part || s.supporters.iter().any(|other| other.part == part))
                        && s.onset < end
                        && onset < s.end
                        && (s.end.min(end) - s.onset.max(onset)).to_f64() >= 0.4 * (end - onset).to_f64().min(8.0)
                })?;
                Some((transposition, hit.transposition))
            });
            hits.collect()
        };
        let best = found.iter().max_by_key(|theme| (covered(theme).len(), std::cmp::Reverse(theme.id))).unwrap();
        let hits = covered(best);
        // The reference may be any statement: transpositions agree when one difference holds for all.
        let apart = |difference: i32, (planted, told): &(i32, i32)| (told - planted - difference).rem_euclid(12);
        let agrees = |difference: i32| hits.iter().filter(|hit| matches!(apart(difference, hit), 0 | 1 | 11)).count();
        let agree = (0..12).map(agrees).max().unwrap_or(0);
        told.push((letter.clone(), best.id, statements.len(), hits.len(), agree));
    }
    let mut ids: Vec<usize> = told.iter().map(|t| t.1).collect();
    ids.dedup();
    assert_eq!(ids.len(), 3, "one theme a letter: {told:?}");
    for (_, _, all, hits, agree) in &told {
        assert!(3 * hits >= 2 * all && agree == hits, "{told:?}");
    }
}
