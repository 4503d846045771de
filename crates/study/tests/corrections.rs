//! Corrections found again in a revised score.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

mod scores;

use std::path::Path;
use std::time::Instant;

use proptest::prelude::*;
use ripieno_score::{Bar, Crotchets, Head, Note, Pitch, Step};
use ripieno_study::corrections::{Corrections, Moment, Request, Who, sidecar_path};
use ripieno_texture::Role;
use scores::{bars, carried, demo, folder, keyed, numbered, page, part, set, view, with_page};

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
