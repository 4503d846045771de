//! Bars of a score reduced to a sketch: what sounds into them is there, nothing leads out of them, and keys change where the score changes them.
#![allow(clippy::unwrap_used, clippy::panic)]

mod demo;
mod written;

use std::collections::BTreeSet;

use demo::overture;
use ripieno_casting::{Sketch, grounded, reduce, reduce_every_line, reduce_in_octaves};
use ripieno_score::{ChangeKind, Crotchets, NoteFlags};
use ripieno_study::{Study, analyse};
use ripieno_texture::Role;
use written::{Staff, bars, held, reading, tune};

fn study(fifths: i32, staves: &[Staff<'_>]) -> Study {
    analyse("page.musicxml".to_owned(), reading(fifths, staves))
}

fn reduced(study: &Study, bars: std::ops::Range<usize>) -> Sketch {
    reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars)
}

/// The staff a role goes to.
fn staff(role: Role) -> Role {
    if role == Role::Punctuation { Role::Rhythm } else { role }
}

/// Of every line with a pitched note that is held over a barline there is a note at the beginning of what is reduced from there: of chords every pitch class, of a line strand one note, or what its leader begins.
#[test]
fn what_sounds_into_the_first_bar_is_in_the_sketch() {
    let study = overture();
    let (notes, lines) = (&study.sounding.notes, &study.lines.lines);
    let mut held = 0;
    for bar in 1..study.score.bars.len() {
        let range = bar..(bar + 4).min(study.score.bars.len());
        let start = study.score.bars[bar].start;
        let roles = grounded(&study.lines, &study.roles.roles, &range);
        let sketch = reduced(&study, range);
        for span in roles.spans.iter().filter(|span| span.bars.contains(&u32::try_from(bar).unwrap())) {
            let rows = lines[span.line].rows.iter().map(|&row| row as usize);
            for row in rows.filter(|&row| notes.onset[row] < start && start < notes.onset[row] + notes.duration[row]) {
                let Some(key) = notes.key[row] else { continue };
                let role = staff(span.role());
                if role == Role::Tacet {
                    continue;
                }
                held += 1;
                let of = sketch.strands.iter().find(|strand| strand.role == role);
                let of = of.unwrap_or_else(|| panic!("bar {bar}: {role} is held and has no staff"));
                let there: BTreeSet<u8> = of
                    .notes
                    .iter()
                    .filter(|note| note.onset.is_zero())
                    .map(|note| u8::try_from(note.key() % 12).unwrap())
                    .collect();
                match role {
                    Role::Harmony | Role::Rhythm => assert!(there.contains(&(key.number() % 12)), "bar {bar}: {role} {key:?}"),
                    _ => assert!(!there.is_empty(), "bar {bar}: {role} begins with a rest"),
                }
            }
        }
    }
    assert!(held > 20, "{held}");
}

/// A double bass holds its note from the first bar: bars 5 to 8 stand on it.
#[test]
fn a_held_bass_is_the_bass_of_a_passage() {
    let each = |chord: &str| bars(12, |_| format!("{chord}:8"));
    let study = study(
        0,
        &[
            Staff("Flute", "mf", &tune(12)),
            Staff("Violin 1", "mf", &each("E4")),
            Staff("Viola", "mf", &each("G3")),
            Staff("Cello", "mf", &bars(12, |_| "C3:4 G2:4".to_owned())),
            Staff("Double bass", "mf", &held(12, "C2")),
        ],
    );
    let sketch = reduced(&study, 4..8);
    let lowest = sketch.strands.iter().flat_map(|strand| &strand.notes).min_by_key(|note| note.key()).unwrap();
    assert_eq!((lowest.key(), lowest.onset, lowest.duration), (36, Crotchets::ZERO, Crotchets::whole(16)));
}

/// No tie of a reduction leads out of it, in each of the ways to reduce.
#[test]
fn nothing_leads_out_of_a_passage() {
    let study = overture();
    let mut tied = 0;
    for bar in (0..study.score.bars.len()).step_by(2) {
        let range = bar..(bar + 3).min(study.score.bars.len());
        for of in [reduce, reduce_in_octaves, reduce_every_line] {
            let sketch = of(&study.score, &study.sounding, &study.lines, &study.roles.roles, range.clone());
            for part in &sketch.score.parts {
                for (at, note) in part.notes.iter().enumerate().filter(|(_, note)| note.flags.contains(NoteFlags::TIE_START)) {
                    tied += 1;
                    let end = sketch.score.bars[note.bar.at()].start + note.at + note.duration;
                    assert!(end < sketch.score.length(), "bar {bar}: {} is tied out, {:?}", part.name, note.pitch());
                    let begins = |other: &&ripieno_score::Note| sketch.score.bars[other.bar.at()].start + other.at == end;
                    let goes_on =
                        |other: &ripieno_score::Note| other.pitch() == note.pitch() && other.flags.contains(NoteFlags::TIE_STOP);
                    assert!(part.notes[at..].iter().filter(begins).any(goes_on), "bar {bar}: {}, {:?}", part.name, note.pitch());
                }
            }
        }
    }
    assert!(tied > 50, "{tied}");
}

/// Key signatures stand where the score has them, to the beat, and every part that is cast has them too.
#[test]
fn keys_change_where_the_score_changes_them() {
    let key = |fifths: i32| format!("<attributes><key><fifths>{fifths}</fifths></key></attributes>!");
    let with = |music: String| {
        let changed = |(n, bar): (usize, &str)| match n {
            4 => format!("{}{bar}", key(3)),
            // In the middle of the sixth bar.
            _ => bar.to_owned(),
        };
        music.split('|').enumerate().map(changed).collect::<Vec<String>>().join("|")
    };
    let study =
        study(0, &[Staff("Flute", "mf", &with(tune(8))), Staff("Cello", "mf", &with(bars(8, |_| "C3:4 G2:4".to_owned())))]);
    let sketch = reduced(&study, 2..8);
    let keys = |part: &ripieno_score::Part| -> Vec<(usize, i8)> {
        let of = |change: &ripieno_score::Change| match change.kind {
            ChangeKind::Key(key) => Some((change.bar.at(), key.fifths)),
            _ => None,
        };
        part.changes.iter().filter_map(of).collect()
    };
    for part in &sketch.score.parts {
        assert_eq!(keys(part), [(0, 0), (2, 3)], "{}", part.name);
    }
    let lineup = written::lineup(&[("Trumpet in B flat", 1), ("Tuba", 1)]);
    let score = demo::first(&sketch, &lineup).score(&sketch, &lineup);
    assert_eq!(score.parts.iter().map(keys).collect::<Vec<_>>(), [[(0, 2), (2, 5)], [(0, 0), (2, 3)]]);
    // The demo's overture changes key at bars 47, 71, 81 and 89.
    let overture = overture();
    let sketch = reduced(&overture, 0..overture.score.bars.len());
    let names = |part: &ripieno_score::Part| -> Vec<String> { keys(part).iter().map(|(bar, _)| sketch.bar_name(*bar)).collect() };
    for part in &sketch.score.parts {
        assert_eq!(names(part)[1..], ["47", "71", "81", "89"], "{}", part.name);
    }
}

/// What has more than seven signs is spelled the other way with its notes: F sharp major is A flat major for a trumpet in B flat.
#[test]
fn notes_are_spelled_for_the_signature_they_stand_under() {
    let scale = bars(4, |n| ["F#4:2 G#4:2 A#4:2 B4:2", "C#5:2 D#5:2 F5:2 F#5:2"][n % 2].replace("F5:2 F#5", "E#5:2 F#5"));
    let bass = bars(4, |_| "F#2:4 C#3:4".to_owned());
    let sketch = written::sketch(6, &[Staff("Melody", "mf", &scale), Staff("Bass", "mf", &bass)]);
    let lineup = written::lineup(&[("Trumpet in B flat", 1), ("Tuba", 1)]);
    let score = demo::first(&sketch, &lineup).score(&sketch, &lineup);
    let trumpet = &score.parts[0];
    assert!(trumpet.changes.iter().any(|change| matches!(change.kind, ChangeKind::Key(key) if key.fifths == -4)));
    // Four flats: B, E, A and D.
    let flat = [ripieno_score::Step::B, ripieno_score::Step::E, ripieno_score::Step::A, ripieno_score::Step::D];
    let mut notes = 0;
    for pitch in trumpet.notes.iter().filter_map(ripieno_score::Note::pitch) {
        assert_eq!(pitch.alter, -i8::from(flat.contains(&pitch.step)), "{pitch}");
        notes += 1;
    }
    assert_eq!(notes, 16);
    // It sounds what the sketch has.
    let sounding = ripieno_score::Sounding::new(&score, ripieno_score::Unroll::AsWritten);
    let keys: Vec<i32> =
        sounding.notes.of_part[0].clone().filter_map(|row| sounding.notes.key[row]).map(|key| i32::from(key.number())).collect();
    let tune: Vec<i32> = sketch.strands[0].notes.iter().map(|note| note.key()).collect();
    assert_eq!(keys, tune);
}
