//! Scores to try corrections on, and their revisions.
#![allow(dead_code)] // each test file uses its share

use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, read_file};
use ripieno_score::{Bar, BarIndex, Crotchets, Head, Note, Part, Pitch, Score, Sounding, Step, Unroll};
use ripieno_study::corrections::{Change, Corrections, Moment, Placed, Request, Who};
use ripieno_texture::Role;

/// A folder of this test's own, empty.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

pub fn demo() -> Score {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    read_file(&path, &Limits::default()).unwrap().score
}

pub fn view(score: &Score) -> Sounding {
    Sounding::new(score, Unroll::AsWritten)
}

/// The page as a list of bars, each with its number and every part's notes: what inserting and deleting is done on.
pub type Page = Vec<(Bar, Vec<Vec<Note>>)>;

pub fn page(score: &Score) -> Page {
    let bar = |index: usize| {
        let bar = BarIndex(u32::try_from(index).unwrap());
        (score.bars[index].clone(), score.parts.iter().map(|part| part.notes_in(bar).to_vec()).collect())
    };
    (0..score.bars.len()).map(bar).collect()
}

/// The score with these bars instead, numbered anew. Signs are left out: fingerprints know nothing of them, save transpositions.
pub fn with_page(score: &Score, page: &Page) -> Score {
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

pub fn part(score: &Score, name: &str) -> usize {
    score.parts.iter().position(|part| part.name == name).unwrap_or_else(|| panic!("no part {name}"))
}

pub fn set(roles: &[Role], part: usize, from: u32, to: u32) -> Request {
    Request {
        change: Change::SetRole(roles.to_vec()),
        who: vec![Who::part(part)],
        from: Moment::edge(from),
        to: Moment::edge(to),
        comment: String::new(),
    }
}

/// Corrections made on `before`, kept, read again and placed on `after`.
pub fn carried(name: &str, before: &Score, requests: Vec<Request>, after: &Score) -> Placed {
    let file = folder(name).join("score.musicxml");
    let mut corrections = Corrections::beside(&file).unwrap();
    for request in requests {
        corrections.add(before, &view(before), request).unwrap();
    }
    corrections.save().unwrap();
    Corrections::beside(&file).unwrap().place(after, &view(after))
}

/// First and last bar an instruction touches.
pub fn bars(placed: &Placed, index: usize, score: &Score) -> (u32, u32) {
    let one = &placed.instructions[index];
    let view = view(score);
    let first = view.bars.iter().position(|bar| bar.start <= one.from && one.from < bar.start + bar.length).unwrap();
    let last = view.bars.iter().position(|bar| bar.start < one.to && one.to <= bar.start + bar.length).unwrap();
    (u32::try_from(first).unwrap(), u32::try_from(last).unwrap())
}

pub fn keyed(semitones: i32) -> Pitch {
    let (octave, class) = (semitones.div_euclid(12) - 1, semitones.rem_euclid(12));
    let step = [0, 2, 4, 5, 7, 9, 11].iter().rposition(|&at| at <= class).unwrap();
    let alter = class - [0, 2, 4, 5, 7, 9, 11][step];
    Pitch::new(Step::ALL[step], i8::try_from(alter).unwrap(), i8::try_from(octave).unwrap())
}

/// A small score of `parts` parts whose bars are told apart by a number each: the same number, the same bar.
pub fn numbered(numbers: &[u32], parts: usize) -> Score {
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
