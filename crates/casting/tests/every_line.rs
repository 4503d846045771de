//! A reduction that keeps every line: what stands in it, what is told to be left out, and how several lines of one role are cast.
#![allow(clippy::unwrap_used, clippy::panic)]

mod demo;

use std::collections::BTreeSet;

use demo::{first, lineups, overture};
use ripieno_casting::{Sketch, Strand, grounded, reduce_every_line, reduce_in_octaves};
use ripieno_formats::{Limits, read};
use ripieno_score::{Crotchets, Score, Sounding, Unroll};
use ripieno_study::Study;
use ripieno_texture::{Held, Lines, Role, RoleReading, RoleSpan};

const LINES: [Role; 6] = [Role::Melody, Role::Countermelody, Role::Figuration, Role::Pedal, Role::Bass, Role::Effect];
const PASSAGES: [std::ops::Range<usize>; 4] = [0..16, 34..45, 50..66, 80..100];

/// Notes of the score that have a role of a line in bars: when, the key and the role.
fn lined(study: &Study, bars: &std::ops::Range<usize>) -> Vec<(Crotchets, i32, Role)> {
    let (notes, start) = (&study.sounding.notes, study.score.bars[bars.start].start);
    let roles = grounded(&study.lines, &study.roles.roles, bars);
    let mut found = Vec::new();
    for (part, rows) in notes.of_part.iter().enumerate() {
        for row in rows.clone().filter(|&row| bars.contains(&(notes.bar[row] as usize)) && notes.duration[row].is_positive()) {
            let line = study.lines.of_row[row] as usize;
            let span = roles.in_bar(part, notes.bar[row]).find(|span| span.line == line);
            if let (Some(span), Some(key)) = (span.filter(|span| LINES.contains(&span.role())), notes.key[row]) {
                found.push((notes.onset[row] - start, i32::from(key.number()), span.role()));
            }
        }
    }
    found
}

/// Whether the score holds a key into these bars.
fn held_into(study: &Study, bars: &std::ops::Range<usize>, key: i32) -> bool {
    let (notes, start) = (&study.sounding.notes, study.score.bars[bars.start].start);
    let held = |row: &usize| notes.onset[*row] < start && start < notes.onset[*row] + notes.duration[*row];
    (0..notes.onset.len()).filter(held).any(|row| notes.key[row].is_some_and(|found| i32::from(found.number()) == key))
}

/// A sketch written to a file and read from it.
fn read_again(sketch: &Sketch) -> Sketch {
    let text = ripieno_formats::musicxml::write(&sketch.score);
    Sketch::by_names(read("again.musicxml", text.as_bytes(), &Limits::default()).unwrap().score).unwrap()
}

/// A strand's name, its notes, and the octaves in which it is written.
fn named(strand: &Strand) -> (String, Vec<String>, Vec<(Crotchets, i32)>) {
    let notes: Vec<String> = strand.notes.iter().map(|note| format!("{:?} {}", note.onset, note.key())).collect();
    (strand.name.clone(), notes, strand.octaves.clone())
}

/// Counted from the study, apart from the reduction: every note that somebody has in a line begins in a strand of its role in some octave, or is among those told to be left out; and no strand
/// has a note that the score does not have there.
#[test]
fn every_note_of_a_line_stands_in_the_sketch_or_is_told_to_be_left_out() {
    let study = overture();
    let (mut all, mut further, mut left) = (0, 0, 0);
    for bars in PASSAGES {
        let sketch = reduce_every_line(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars.clone());
        let there = lined(&study, &bars);
        all += there.len();
        let begun: BTreeSet<(Crotchets, i32, Role)> = sketch
            .strands
            .iter()
            .flat_map(|strand| strand.notes.iter().map(move |note| (note.onset, note.key().rem_euclid(12), strand.role)))
            .collect();
        let lacking = there.iter().filter(|(at, key, role)| !begun.contains(&(*at, key % 12, *role))).count();
        let told: usize = sketch
            .remarks
            .iter()
            .filter(|remark| remark.contains("no octave of the sketch"))
            .filter_map(|remark| match remark.split(' ').nth(1)? {
                "one" => Some(1),
                number => number.parse().ok(),
            })
            .sum();
        assert_eq!(lacking, told, "bars {bars:?}: {:?}", sketch.remarks);
        left += told;
        let exact: BTreeSet<(Crotchets, i32, Role)> = there.into_iter().collect();
        for strand in sketch.strands.iter().filter(|strand| !strand.is_chordal()) {
            for note in strand.notes.iter().filter(|note| note.duration.is_positive()) {
                let held = note.onset.is_zero() && held_into(&study, &bars, note.key());
                assert!(held || exact.contains(&(note.onset, note.key(), strand.role)), "{} at {:?}", strand.name, note.onset);
            }
        }
        let names: BTreeSet<&str> = sketch.strands.iter().map(|strand| strand.name.as_str()).collect();
        assert_eq!(names.len(), sketch.strands.len());
        let again = read_again(&sketch);
        assert!(again.strands.iter().map(named).eq(sketch.strands.iter().map(named)), "bars {bars:?}");
        further += sketch.strands.iter().filter(|strand| strand.name.ends_with(['2', '3'])).count();
    }
    assert!(all > 1000 && further >= 2 && left * 20 < all, "{further} further strands, {left} of {all} notes left out");
}

/// Four bars of crotchets in four parts: a tune, the same an octave lower, a third below it, and a bass.
fn in_thirds() -> (Score, Sounding, Lines, RoleReading) {
    let part = |id: &str, pitches: [(char, i32); 4]| {
        let bars: String = (1..=4)
            .map(|bar| {
                let notes: String = pitches
                    .iter()
                    .map(|(step, octave)| {
                        format!("<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration><type>quarter</type></note>")
                    })
                    .collect();
                let time = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
                format!("<measure number=\"{bar}\">{}{notes}</measure>", if bar == 1 { time } else { "" })
            })
            .collect();
        format!("<part id=\"{id}\">{bars}</part>")
    };
    let music = part("A", [('E', 5), ('F', 5), ('G', 5), ('A', 5)])
        + &part("B", [('E', 4), ('F', 4), ('G', 4), ('A', 4)])
        + &part("C", [('C', 5), ('D', 5), ('E', 5), ('F', 5)])
        + &part("D", [('C', 3), ('D', 3), ('C', 3), ('F', 2)]);
    let names = [("A", "Flute"), ("B", "Horn"), ("C", "Oboe"), ("D", "Bassoon")]
        .map(|(id, name)| format!("<score-part id=\"{id}\"><part-name>{name}</part-name></score-part>"))
        .concat();
    let text = format!("<score-partwise version=\"4.0\"><part-list>{names}</part-list>{music}</score-partwise>");
    let score = read("thirds.musicxml", text.as_bytes(), &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let lines = Lines::new(&score, &sounding);
    let span = |part: usize, role: Role| {
        let (from, to) = (Crotchets::ZERO, Crotchets::whole(16));
        RoleSpan { part, line: part, bars: 0..4, from, to, roles: vec![Held { role, confidence: 1.0 }], evidence: Vec::new() }
    };
    let spans = vec![span(0, Role::Melody), span(1, Role::Melody), span(2, Role::Melody), span(3, Role::Bass)];
    (score, sounding, lines, RoleReading { spans, ..RoleReading::default() })
}

/// Handbook usage, from memory: a short score has an octave doubling on the staff of what it doubles, and a parallel line on its own.
#[test]
fn thirds_have_a_staff_of_their_own_and_octaves_go_with_their_line() {
    let (score, sounding, lines, roles) = in_thirds();
    let sketch = reduce_every_line(&score, &sounding, &lines, &roles, 0..4);
    let names: Vec<&str> = sketch.strands.iter().map(|strand| strand.name.as_str()).collect();
    assert_eq!(names, ["Melody", "Melody 2", "Bass"]);
    let keys = |at: usize| -> Vec<i32> { sketch.strands[at].notes.iter().take(4).map(|note| note.key()).collect() };
    assert_eq!(keys(0), [76, 77, 79, 81]);
    assert_eq!(keys(1), [72, 74, 76, 77]);
    assert_eq!(sketch.strands[0].octaves.len(), 16);
    assert!(sketch.strands[1].octaves.is_empty() && sketch.remarks.is_empty(), "{:?}", sketch.remarks);
    // Written and read again it is the same sketch.
    let again = read_again(&sketch);
    assert!(again.strands.iter().map(named).eq(sketch.strands.iter().map(named)));
    // The one that keeps the leader alone knows nothing of the thirds.
    let lean = reduce_in_octaves(&score, &sounding, &lines, &roles, 0..4);
    assert_eq!(lean.strands.iter().map(|strand| strand.name.as_str()).collect::<Vec<_>>(), ["Melody", "Bass"]);
}

/// With everybody of an orchestra nothing is given up; with few players the second line goes before the tune and the bass (common practice, from memory).
#[test]
fn a_second_line_is_carried_where_there_are_players_and_goes_first_where_there_are_few() {
    let study = overture();
    let mut cut = 0;
    for bars in PASSAGES {
        let sketch = reduce_every_line(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars.clone());
        for lineup in lineups() {
            let done = first(&sketch, &lineup);
            for phrase in &done.plan.phrases {
                let carried = |at: usize| phrase.tasks.iter().any(|task| task.strand == Some(at));
                let there = ripieno_casting::present(&sketch, ripieno_casting::Plan::span(&sketch, &phrase.bars));
                for role in LINES {
                    let own: Vec<usize> = there.iter().copied().filter(|&at| sketch.strands[at].role == role).collect();
                    let Some((&main, others)) = own.split_first() else { continue };
                    if matches!(role, Role::Melody | Role::Bass) {
                        assert!(carried(main), "{}, {:?}: nobody has the {role}", lineup.name, phrase.bars);
                    }
                    cut += others.iter().filter(|&&other| !carried(other)).count();
                    if lineup.name.contains("threes") && lineup.name.contains("rchestra") {
                        assert!(others.iter().all(|&other| carried(other)), "{}, {:?}: {role}", lineup.name, phrase.bars);
                    }
                }
            }
        }
    }
    assert!(cut > 0, "every line of every sketch has players in every line-up: nothing is tried");
}
