//! Laws that hold whatever the values: powers add, order does not matter, more beside it never helps, further is softer.

#![allow(clippy::unwrap_used, clippy::expect_used)] // a test may stop

mod common;

use std::ops::Range;

use common::{Desk, Willing, demo, score};
use proptest::prelude::*;
use ripieno_acoustics::seating::Plan;
use ripieno_acoustics::{
    Day, Grade, Line, Refused, Room, Scene, Situation, Ways, audibility, evenness, explain, exposure, full_chords, masked,
};
use ripieno_score::{Crotchets, Score, Sounding, Unroll};

fn margins(score: &Score, situation: Situation) -> Vec<f64> {
    let sounding = Sounding::new(score, Unroll::AsWritten);
    let scene = Scene::new(score, &sounding, &[], situation).unwrap();
    let heard = audibility(&scene, &Line::of_parts(score, &sounding));
    (0..score.parts.len()).map(|line| heard.at(line, 0).map_or(f64::NAN, |heard| heard.margin_db)).collect()
}

#[test]
fn a_mix_is_refused_until_its_levels_are_given() {
    let score = score(&[Desk("Flute", 1, "f", vec![vec![72]]), Desk("Horn", 2, "f", vec![vec![60]])]);
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let refused = |gains_db| Scene::new(&score, &sounding, &[], Situation::Mix { gains_db }).err();
    assert_eq!(refused(None), Some(Refused::NoMixLevels));
    assert_eq!(refused(Some(vec![0.0])), Some(Refused::MixLevels { given: 1, parts: 2 }));
    assert_eq!(refused(Some(vec![0.0, 0.0])), None);
    let stage = Situation::Stage { room: Room::hall(), plan: Plan::ViolinsTogether, part: Some(7) };
    assert_eq!(Scene::new(&score, &sounding, &[], stage).err(), Some(Refused::NoSuchPart { part: 7 }));
    assert!(exposure(&score, &sounding, &[], &Situation::Mix { gains_db: Some(vec![0.0; 2]) }, Day::default()).is_err());
    let mixed = |gain| margins(&score, Situation::Mix { gains_db: Some(vec![gain, 0.0]) });
    assert!((mixed(10.0)[0] - mixed(0.0)[0] - 10.0).abs() < 0.5);
}

#[test]
fn the_order_of_parts_does_not_matter() {
    let desk = |which: usize| match which {
        0 => Desk("Flute", 1, "mf", vec![vec![79]]),
        1 => Desk("Oboe", 1, "mf", vec![vec![72]]),
        _ => Desk("Viola", 8, "mf", vec![vec![60]]),
    };
    let a = margins(&score(&[desk(0), desk(1), desk(2)]), Situation::hall());
    let b = margins(&score(&[desk(2), desk(0), desk(1)]), Situation::hall());
    for (x, y) in a.iter().zip([b[1], b[2], b[0]]) {
        assert!((x - y).abs() < 1e-6);
    }
}

#[test]
fn silence_has_no_margin_and_a_lone_line_is_prominent() {
    let lone = margins(&score(&[Desk("Flute", 1, "p", vec![vec![79]]), Desk("Oboe", 1, "p", vec![vec![]])]), Situation::hall());
    assert!(lone[0] > 30.0 && lone[1].is_nan());
}

#[test]
fn a_chord_of_equals_is_even_and_a_loud_tone_in_it_is_found() {
    let spread = |mark: &'static str| {
        let score = score(&[
            Desk("Clarinet", 1, "mf", vec![vec![60]]),
            Desk("Clarinet", 1, mark, vec![vec![64]]),
            Desk("Clarinet", 1, "mf", vec![vec![67]]),
        ]);
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
        let told = evenness(&scene, Crotchets::ZERO, |_| true).unwrap();
        (told.spread, told.extremes().unwrap().1.key, told.sections.len())
    };
    let (even, loud) = (spread("mf"), spread("ff"));
    assert!(even.0 < 2.5 && loud.0 > even.0 + 1.5, "{even:?} {loud:?}");
    assert_eq!((loud.1, loud.2), (64, 1));
}

#[test]
fn stretches_of_covered_bars_are_told() {
    // The flute beside silence, then beside trombones in two of its bars with a rest between, then alone again.
    let flute = vec![vec![72], vec![72], vec![], vec![72], vec![72]];
    let trombones = vec![vec![], vec![60, 65, 72], vec![60, 65, 72], vec![60, 65, 72], vec![]];
    let score = score(&[Desk("Flute", 1, "ff", flute), Desk("Trombone", 3, "ff", trombones)]);
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
    let heard = audibility(&scene, &Line::of_parts(&score, &sounding));
    // Nothing of one bar is left in another: beside nothing a line is as prominent late as early.
    assert_eq!(heard.at(0, 0), heard.at(0, 4));
    assert_eq!(heard.at(1, 2).unwrap().grade(), Grade::Prominent);
    assert_eq!(heard.stretches(0, Grade::Covered), vec![Range { start: 1, end: 4 }]);
    assert_eq!(heard.stretches(0, Grade::Prominent), vec![Range { start: 0, end: 5 }]);
    assert!(heard.at(0, 2).is_none() && heard.stretches(9, Grade::Covered).is_empty());
}

#[test]
fn a_bar_by_itself_is_heard_as_in_the_whole() {
    let score = demo();
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
    let lines = Line::of_parts(&score, &sounding);
    let whole = audibility(&scene, &lines);
    assert_eq!(whole, audibility(&scene, &lines));
    let mut told = 0;
    for bar in (0..sounding.bars.len()).step_by(7) {
        for line in (0..lines.len()).step_by(3) {
            let (one, all) = (explain(&scene, &lines, line, bar, &(bar..bar + 1), &Willing), whole.at(line, bar));
            assert_eq!(one.is_some(), all.is_some(), "line {line} bar {bar}");
            if let (Some(one), Some(all)) = (one, all) {
                assert!((one.audible.margin_db - all.margin_db).abs() < 1e-6, "line {line} bar {bar}");
                assert!((one.audible.seconds - all.seconds).abs() < 1e-9);
                told += 1;
            }
        }
    }
    assert!(told > 50, "{told}");
}

#[test]
fn a_plucked_or_struck_tone_fades_and_a_roll_does_not() {
    // A semibreve of four seconds: one timpani stroke against a roll.
    let score = score(&[Desk("Timpani", 1, "f", vec![vec![45]]), Desk("Double bass", 6, "mf", vec![vec![45]])]);
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let margin = |ways: &[Ways]| {
        let scene = Scene::new(&score, &sounding, ways, Situation::hall()).unwrap();
        audibility(&scene, &Line::of_parts(&score, &sounding)).at(0, 0).unwrap().margin_db
    };
    assert!(margin(&[Ways::TREMOLO]) > margin(&[]) + 3.0);
}

#[test]
fn exposure_grows_with_players_and_falls_with_distance() {
    let at = |trumpets: u16| {
        let score = score(&[Desk("Trumpet", trumpets, "ff", vec![vec![72]; 4]), Desk("Violin I", 12, "pp", vec![vec![72]; 4])]);
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        exposure(&score, &sounding, &[], &Situation::conductor(), Day::default()).unwrap()
    };
    let (one, four) = (at(1), at(4));
    assert!(four[0].playing > one[0].playing && four[1].playing > one[1].playing);
    assert!(one[0].playing > one[1].playing + 3.0, "{one:?}");
    assert!(one[0].own <= one[0].playing && one[0].daily < one[0].playing);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn more_beside_a_line_never_helps_it(key in 50u8..80, other in 40u8..85, third in 40u8..85) {
        let two = margins(&score(&[Desk("Clarinet", 1, "mf", vec![vec![key]]), Desk("Horn", 1, "mf", vec![vec![other]])]), Situation::hall());
        let three = margins(&score(&[
            Desk("Clarinet", 1, "mf", vec![vec![key]]),
            Desk("Horn", 1, "mf", vec![vec![other]]),
            Desk("Trombone", 1, "mf", vec![vec![third]]),
        ]), Situation::hall());
        prop_assert!(three[0] <= two[0] + 1e-9);
    }

    #[test]
    fn equal_players_add_ten_log_n_to_a_line(key in 55u8..80, players in 1u16..20) {
        // In the mix, where no room or seat comes in between, all of a line's excitation grows by the same factor.
        let with = |count| margins(&score(&[
            Desk("Flute", count, "mf", vec![vec![key]]), Desk("Horn", 8, "ff", vec![vec![key.saturating_sub(2)]]),
        ]), Situation::Mix { gains_db: Some(vec![0.0, 0.0]) })[0];
        prop_assume!(with(players) < 39.0 && with(1) > -29.0);
        prop_assert!((with(players) - with(1) - 10.0 * f64::from(players).log10()).abs() < 1e-6);
    }
}

#[test]
fn seconds_grate_more_than_octaves_and_like_colours_lie_nearer() {
    // Plomp and Levelt 1965: roughness is greatest within a quarter of a critical band. Sandell 1995: near centres blend.
    let told = |name: &str, other: &str, key: u8| {
        let score = score(&[Desk(name, 1, "mf", vec![vec![60]]), Desk(other, 1, "mf", vec![vec![key]])]);
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
        evenness(&scene, Crotchets::ZERO, |_| true).unwrap()
    };
    assert!(told("Oboe", "Oboe", 61).roughness > 2.0 * told("Oboe", "Oboe", 72).roughness);
    assert_eq!(told("Oboe", "Oboe", 64).colours_apart, 0.0);
    let (near, far) = (told("Horn", "Bassoon", 64), told("Tuba", "Piccolo", 84));
    assert!(near.colours_apart < far.colours_apart, "{} {}", near.colours_apart, far.colours_apart);
}

#[test]
fn what_masks_a_line_is_the_same_told_at_once_and_bar_by_bar() {
    let score = demo();
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
    let lines = Line::of_parts(&score, &sounding);
    let (line, mut compared) = (0, 0);
    for told in masked(&scene, &lines, line).iter().step_by(5) {
        let one = explain(&scene, &lines, line, told.bar, &(told.bar..told.bar + 1), &Willing).unwrap();
        assert!((one.audible.margin_db - told.audible.margin_db).abs() < 1e-6);
        assert_eq!(one.maskers.len(), told.maskers.len(), "bar {}", told.bar);
        for (a, b) in one.maskers.iter().zip(&told.maskers) {
            assert!((a.gain_db - b.gain_db).abs() < 1e-6);
        }
        compared += one.maskers.len();
    }
    assert!(compared > 20);
}

#[test]
fn a_full_chord_has_four_keys_of_three_pitch_classes() {
    let desks =
        |keys: [u8; 4]| -> Vec<Desk<'static>> { keys.iter().map(|key| Desk("Trombone", 1, "f", vec![vec![*key]])).collect() };
    for (keys, full) in [([48, 52, 55, 60], true), ([48, 60, 55, 67], false), ([48, 48, 52, 55], false)] {
        let score = score(&desks(keys));
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
        assert_eq!(full_chords(&scene, |_| true).len(), usize::from(full), "{keys:?}");
        assert!(full_chords(&scene, |row| row > 0).is_empty());
    }
}

#[test]
fn a_bar_with_more_moments_than_are_told_apart_is_heard_like_one_with_fewer() {
    // A trill of 2 000 notes beside a held one against the same of 200: the time shared out evenly, the margins agree.
    let margin = |notes: i64| {
        let mut score = score(&[Desk("Flute", 1, "f", vec![vec![72]]), Desk("Horn", 2, "f", vec![vec![60]])]);
        let whole = score.parts[0].notes[0].duration;
        let step = whole * Crotchets::new(1, notes).unwrap();
        let first = score.parts[0].notes[0].clone();
        score.parts[0].notes = (0..notes)
            .map(|place| {
                let mut note = first.clone();
                note.at = step * Crotchets::whole(place);
                note.duration = step;
                note
            })
            .collect();
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
        audibility(&scene, &Line::of_parts(&score, &sounding)).at(0, 0).unwrap()
    };
    let (few, many) = (margin(200), margin(2000));
    assert!((few.margin_db - many.margin_db).abs() < 0.5, "{few:?} {many:?}");
    assert!((few.seconds - many.seconds).abs() < 1e-6);
}
