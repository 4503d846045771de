//! Rules of the trade held against the model. Each case names its author. `agrees` records what the model says today: where it says
//! otherwise than the rule, the model is not bent and docs/acoustics.md tells why.
//!
//! `cargo test -p ripieno-acoustics --test trade -- --nocapture` prints every figure.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)] // a test may stop, and shows its figures

mod common;

use common::{Desk, score};
use ripieno_acoustics::{Line, Scene, Situation, Stands, Verdicts, audibility, second_opinion, verdicts};
use ripieno_score::{Sounding, Unroll};

fn compared(a: (&str, u16, u8), b: (&str, u16, u8), mark: &str) -> Verdicts {
    let score = score(&[Desk(a.0, a.1, mark, vec![vec![a.2]]), Desk(b.0, b.1, mark, vec![vec![b.2]])]);
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
    let lines = Line::of_parts(&score, &sounding);
    verdicts(&scene, &lines, [0, 1], [a.0, b.0], 0).unwrap()
}

#[test]
fn the_counts_of_players() {
    // Rimsky-Korsakov, Principles of Orchestration, ch. I (confirmed). Both sides of each case are equal by his count.
    let cases = [
        (("Trumpet", 1, 65), ("Trombone", 1, 65), "f", true),
        (("Trombone", 1, 46), ("Tuba", 1, 46), "f", true),
        (("Trumpet", 1, 67), ("Horn", 2, 67), "f", true),
        (("Trombone", 1, 60), ("Horn", 2, 60), "f", true),
        (("Horn", 1, 67), ("Flute", 2, 67), "f", false),
        (("Horn", 1, 67), ("Oboe", 2, 67), "f", true),
        (("Horn", 1, 67), ("Clarinet", 2, 67), "f", false),
        (("Horn", 1, 55), ("Bassoon", 2, 55), "f", false),
        (("Flute", 1, 72), ("Oboe", 1, 72), "p", false),
        (("Oboe", 1, 72), ("Clarinet", 1, 72), "p", false),
        (("Clarinet", 1, 65), ("Horn", 1, 65), "p", false),
        (("Horn", 1, 65), ("Trumpet", 1, 65), "p", false),
        (("Violin I", 14, 76), ("Oboe", 2, 76), "f", false),
        (("Violin I", 14, 76), ("Flute", 1, 76), "p", false),
    ];
    let mut wrong = Vec::new();
    for (a, b, mark, agrees) in cases {
        let told = compared(a, b, mark);
        let ruled = told.ruled.as_ref().expect("a rule");
        assert_eq!(ruled.stands, Stands::Equal, "{a:?} {b:?}");
        let model = told.estimated.stands == Stands::Equal;
        println!(
            "{} {} / {} {} at {mark}: {:+.1} phon, {:+.1} dB power",
            a.1, a.0, b.1, b.0, told.estimated.loudness_phon, told.estimated.power_db
        );
        println!("    {}", told.told);
        // Whom it is about by the names given, and the sum as ours.
        assert!(told.told.contains(a.0) && told.told.contains(b.0) && told.told.contains("added up here"), "{}", told.told);
        if model != agrees {
            wrong.push((a, b, mark, told.estimated.loudness_phon));
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}

/// Margins of four voices of one kind of instrument in one chord, lowest first.
fn voices(name: &str, players: u16, keys: [u8; 4]) -> Vec<f64> {
    let desks: Vec<Desk<'_>> = keys.iter().map(|key| Desk(name, players, "mf", vec![vec![*key]])).collect();
    let score = score(&desks);
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
    let lines = Line::of_parts(&score, &sounding);
    let second: Vec<f64> = (0..4).filter_map(|line| Some(second_opinion(&scene, &lines, line, 0)?.margin_db)).collect();
    println!("{name}: by partial loudness {second:.1?}");
    {
        let heard = audibility(&scene, &lines);
        (0..lines.len()).map(|line| heard.at(line, 0).unwrap().margin_db).collect()
    }
}

#[test]
fn outer_voices_against_inner_ones() {
    // Huron 1989 (confirmed abstract): of voices of like timbre the outer ones are noticed more easily than the inner ones; Palmer and Holleran
    // 1994: the top one best. The model knows masking, not attention: of the lowest voice it mostly agrees, of the top voice it says otherwise,
    // because masking spreads upward; so does partial loudness by Moore, Glasberg and Baer.
    for (name, players, lowest_agrees) in [("Clarinet", 1, true), ("Trombone", 1, true), ("Viola", 8, true), ("Horn", 1, false)] {
        let margins = voices(name, players, [48, 55, 64, 72]);
        println!("{name}: {margins:.1?}");
        let inner = margins[1].max(margins[2]);
        assert_eq!(margins[0] > inner, lowest_agrees, "{name}: the lowest");
        assert!(margins[3] < inner, "{name}: the top, against what listeners find");
    }
}

#[test]
fn a_line_doubled_at_the_octave_is_heard_better() {
    // Common practice: an octave above a line lifts it out.
    let chord = |extra: Vec<Vec<u8>>| {
        let score = score(&[
            Desk("Clarinet", 1, "mf", vec![vec![67]]),
            Desk("Flute", 1, "mf", extra),
            Desk("Violin II", 12, "mf", vec![vec![64]]),
            Desk("Viola", 10, "mf", vec![vec![60]]),
            Desk("Violoncello", 8, "mf", vec![vec![48]]),
        ]);
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
        let parts = Line::of_parts(&score, &sounding);
        let melody = Line { name: "melody".into(), rows: parts[..2].iter().flat_map(|line| line.rows.clone()).collect() };
        let lines = [vec![melody], parts[2..].to_vec()].concat();
        audibility(&scene, &lines).at(0, 0).unwrap().margin_db
    };
    let (alone, octave, unison) = (chord(vec![vec![]]), chord(vec![vec![79]]), chord(vec![vec![67]]));
    println!("alone {alone:.1}, with the octave {octave:.1}, with the unison {unison:.1}");
    assert!(octave > alone + 1.5 && octave > unison);
}
