//! What is offered to uncover a line: recomputed, sorted, and never what nobody could play.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)] // a test may stop, and shows its figures

mod common;

use common::{Desk, Willing, score};
use ripieno_acoustics::{
    Able, Asked, Explanation, Kinship, Line, Remedy, RemedyKind, Scene, Situation, audibility, explain, second_opinion,
};
use ripieno_score::{DynamicLevel, Score, Sounding, Unroll};

/// Explains the first part of a score in its second bar, for the bars from the second to the third; the lines are the parts.
fn told(score: &Score, able: &dyn Able) -> Explanation {
    let sounding = Sounding::new(score, Unroll::AsWritten);
    let scene = Scene::new(score, &sounding, &[], Situation::hall()).unwrap();
    let lines = Line::of_parts(score, &sounding);
    let told = explain(&scene, &lines, 0, 1, &(1..3), able).unwrap();
    let called = |parts: &[usize]| parts.iter().map(|part| score.parts[*part].name.as_str()).collect::<Vec<_>>().join(", ");
    for remedy in &told.remedies {
        println!("    {} {:+.1} dB -> {:.1}", remedy.kind.told(called), remedy.gain_db, remedy.margin_db);
    }
    told
}

/// A flute under brass, whose notes in the second and third bar are as given; a trumpet that rests, an oboe that plays in the third bar alone.
fn covered(second: u8, third: u8) -> Score {
    beside_horns("f", second, third)
}

fn beside_horns(mark: &str, second: u8, third: u8) -> Score {
    let brass = |keys: Vec<u8>| vec![vec![], keys.clone(), keys];
    score(&[
        Desk("Flute", 1, "f", vec![vec![], vec![second], vec![third]]),
        Desk("Horn", 4, mark, brass(vec![65])),
        Desk("Trombone", 3, "f", brass(vec![53, 60, 69])),
        Desk("Trumpet", 1, "f", vec![vec![]; 3]),
        Desk("Oboe", 1, "f", vec![vec![], vec![], vec![60]]),
    ])
}

#[test]
fn a_covered_line_is_explained_and_uncovered() {
    let score = covered(67, 69);
    let told = told(&score, &Willing);
    assert!(told.audible.margin_db < 9.0 && !told.maskers.is_empty());
    assert!(told.remedies.iter().any(|remedy| remedy.margin_db > told.audible.margin_db + 3.0));
    for remedy in &told.remedies {
        assert!((remedy.margin_db - told.audible.margin_db - remedy.gain_db).abs() < 1e-9 && remedy.gain_db >= 1.0);
    }
    // What is offered first suffices as well as anything that leaves the colour alone.
    let is_plain = |remedy: &Remedy| remedy.kind.recolours() == 0;
    let suffices = |remedy: &Remedy| remedy.margin_db >= 9.0;
    let plain: Vec<&Remedy> = told.remedies.iter().filter(|remedy| is_plain(remedy)).collect();
    assert!(plain.windows(2).all(|pair| suffices(pair[0]) || !suffices(pair[1])), "{:?}", told.remedies);
    // Moore, Glasberg and Baer's partial loudness, asked apart, calls it covered too; the bar by itself is heard as in the whole score.
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    let scene = Scene::new(&score, &sounding, &[], Situation::hall()).unwrap();
    let lines = Line::of_parts(&score, &sounding);
    let second = second_opinion(&scene, &lines, 0, 1).unwrap();
    assert!(second.margin_db < 9.0 && second.partial.0 < second.alone.0);
    let table = audibility(&scene, &lines).at(0, 1).unwrap();
    assert!((table.margin_db - told.audible.margin_db).abs() < 1e-9);
    assert!(explain(&scene, &lines, 3, 1, &(1..2), &Willing).is_none());
}

#[test]
fn what_softer_gains_is_what_the_softer_score_has() {
    // The remedy against the same score written so: the horns marked mf instead of f.
    let offered = told(&covered(67, 69), &Willing);
    let margin = told(&beside_horns("mf", 67, 69), &Willing).audible.margin_db;
    let of_horns = |kind: &RemedyKind| matches!(kind, RemedyKind::Softer { parts, .. } if parts == &[1]);
    let horns = offered.remedies.iter().find(|remedy| of_horns(&remedy.kind)).expect("horns cover a flute");
    assert!((horns.margin_db - margin).abs() < 1e-9, "{} {margin}", horns.margin_db);
    let RemedyKind::Softer { from, to, .. } = horns.kind else { unreachable!() };
    assert_eq!((from.mark(), to.mark()), ("f", "mf"));
}

#[test]
fn only_who_rests_through_all_bars_joins_and_only_in_reach_of_all_notes() {
    let joins = |second, third| -> Vec<usize> {
        let told = told(&covered(second, third), &Willing);
        told.remedies
            .iter()
            .filter_map(|remedy| if let RemedyKind::Joins { part, .. } = remedy.kind { Some(part) } else { None })
            .collect()
    };
    // The oboe has notes of its own in the third bar.
    assert_eq!(joins(67, 69), [3]);
    // C7 is beyond a trumpet, and an octave lower is in reach.
    let told = told(&covered(67, 96), &Willing);
    assert!(!told.remedies.iter().any(|remedy| matches!(remedy.kind, RemedyKind::Joins { part: 3, semitones: 0 | 12, .. })));
}

/// Players who do nothing but what is said.
struct Unwilling {
    soft: bool,
}

impl Able for Unwilling {
    fn plays(&self, _: usize, _: &str, _: &[Asked]) -> bool {
        false
    }

    fn has(&self, _: usize, _: &str, _: u8, _: DynamicLevel) -> bool {
        self.soft
    }

    fn mutes(&self, _: &str) -> Option<f64> {
        None
    }
}

#[test]
fn what_players_cannot_do_is_not_offered() {
    let kinds =
        |soft| told(&covered(67, 69), &Unwilling { soft }).remedies.into_iter().map(|remedy| remedy.kind).collect::<Vec<_>>();
    let only = |kinds: &[RemedyKind], allowed: fn(&RemedyKind) -> bool| kinds.iter().all(allowed);
    assert!(only(&kinds(false), |kind| matches!(kind, RemedyKind::Fewer { .. } | RemedyKind::Leaves { .. })));
    let soft = kinds(true);
    assert!(
        soft.len() > 2
            && !soft
                .iter()
                .any(|kind| matches!(kind, RemedyKind::Octave { .. } | RemedyKind::Joins { .. } | RemedyKind::Muted { .. }))
    );
}

#[test]
fn a_mute_needs_a_rest_on_either_side() {
    // Four seconds a bar: the horns rest one bar before their notes and none after, or play on.
    let horns = |bars: Vec<Vec<u8>>| {
        let count = bars.len();
        let mut flute = vec![vec![]; count];
        (flute[1], flute[2]) = (vec![67], vec![67]);
        let told = told(&score(&[Desk("Flute", 1, "f", flute), Desk("Horn", 4, "f", bars)]), &Willing);
        told.remedies.iter().any(|remedy| matches!(remedy.kind, RemedyKind::Muted { .. }))
    };
    let (rest, notes) = (Vec::new(), vec![65]);
    // Before the first note and after the last there is time without end.
    assert!(horns(vec![rest.clone(), notes.clone(), notes.clone()]));
    assert!(!horns(vec![notes.clone(), notes.clone(), notes.clone()]));
    // One bar of rest is 4 s, and the mute takes 5 s.
    assert!(!horns(vec![rest.clone(), notes.clone(), notes.clone(), rest.clone(), notes.clone()]));
    assert!(horns(vec![rest.clone(), notes.clone(), notes.clone(), rest.clone(), rest, notes]));
}

#[test]
fn nobody_is_asked_to_be_softer_than_pp_or_louder_than_fff() {
    let at = |mark: &str| {
        let score = score(&[
            Desk("Flute", 1, mark, vec![vec![], vec![67], vec![67]]),
            Desk("Horn", 4, mark, vec![vec![], vec![65], vec![65]]),
            Desk("Trombone", 3, mark, vec![vec![], vec![53], vec![53]]),
        ]);
        told(&score, &Willing).remedies.into_iter().map(|remedy| remedy.kind).collect::<Vec<_>>()
    };
    assert!(!at("pp").iter().any(|kind| matches!(kind, RemedyKind::Softer { .. } | RemedyKind::AllSofter { .. })));
    assert!(!at("fff").iter().any(|kind| matches!(kind, RemedyKind::Louder { .. })));
    assert!(at("f").iter().any(|kind| matches!(kind, RemedyKind::Softer { .. })));
}

/// The order in which remedies are told, sorted by hand: a line that is heard from 9 dB on (`Grade`), at 4 dB now.
#[test]
fn remedies_are_told_in_the_order_a_teacher_would() {
    let joins = |kinship| RemedyKind::Joins { part: 3, with: 0, semitones: 0, at: DynamicLevel(5.0), kinship };
    let remedy = |kind, margin_db: f64| Remedy { kind, margin_db, gain_db: margin_db - 4.0 };
    let leaves = RemedyKind::Leaves { part: 1, doubled: 2 };
    let by_hand = [
        // What suffices and leaves the line as it is, the greater gain first; of the same gain what asks less of fewer.
        remedy(RemedyKind::AllSofter { parts: vec![1, 2, 4] }, 12.0),
        remedy(leaves.clone(), 10.0),
        remedy(RemedyKind::Softer { parts: vec![1, 2], from: DynamicLevel(6.0), to: DynamicLevel(5.0) }, 10.0),
        // What suffices and changes the colour, the least first, whatever it gains.
        remedy(joins(Kinship::Own), 9.5),
        remedy(joins(Kinship::Usual("becomes rounder")), 11.0),
        remedy(RemedyKind::Muted { part: 1 }, 14.0),
        remedy(joins(Kinship::Family), 16.0),
        // What does not suffice.
        remedy(leaves, 8.0),
        remedy(joins(Kinship::Usual("becomes rounder")), 8.9),
        // A foreign colour last, though it gains the most.
        remedy(joins(Kinship::Foreign), 20.0),
    ];
    let mut sorted = by_hand.to_vec();
    sorted.reverse();
    sorted.sort_by_key(Remedy::order);
    assert_eq!(sorted, by_hand);
}
