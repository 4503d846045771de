//! Doublings of two lines, written as Humdrum kern (humdrum.org, the kern representation).

#![allow(clippy::unwrap_used)]

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{Doubling, Doublings, Lines};

/// Two parts in crotchets, four to the bar, the lower first.
fn doublings(low: &str, high: &str) -> Vec<Doubling> {
    doublings_in("4", 4, low, high)
}

/// Two parts in notes of one length, so many to the bar, the lower first.
fn doublings_in(length: &str, in_bar: usize, low: &str, high: &str) -> Vec<Doubling> {
    let mut text = "**kern\t**kern\n*M4/4\t*M4/4\n".to_owned();
    for (at, (low, high)) in low.split(' ').zip(high.split(' ')).enumerate() {
        if at % in_bar == 0 {
            text += &format!("={0}\t={0}\n", at / in_bar + 1);
        }
        text += &format!("{length}{low}\t{length}{high}\n");
    }
    text += "==\t==\n*-\t*-\n";
    let score = read("two.krn", text.as_bytes(), &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&score, Unroll::AsWritten);
    Doublings::new(&sounding, &Lines::new(&score, &sounding)).all
}

#[test]
fn a_change_of_octave_under_way_breaks_no_doubling() {
    // Three notes an octave apart, two in unison, then apart: no stretch has four notes, together they have five.
    let found = doublings("c d e a b c c c", "cc dd ee a b e f g");
    let told: Vec<(i16, u32)> = found.iter().map(|d| (d.interval.abs(), d.shared)).collect();
    assert_eq!(told, [(12, 3), (0, 2)]);
    // Two and one: too few to be no accident.
    assert_eq!(doublings("c d a c e c c e", "cc dd a e g e f g"), []);
}

#[test]
fn two_notes_that_fill_a_bar_in_both_are_a_doubling() {
    // Two minims an octave apart between bars in which the lines meet nowhere.
    let minims = |low: &str, high: &str| doublings_in("2", 2, low, high);
    let found = minims("c e d f e g", "a b dd ff c b");
    assert_eq!(found.iter().map(|d| (d.interval.abs(), d.shared)).collect::<Vec<_>>(), [(12, 2)]);
    // The same two notes in the middle of four crotchets are an accident.
    assert_eq!(doublings("c e g a d f a b", "b c cc ee a b ff g"), []);
}

#[test]
fn one_foreign_note_leaves_a_long_doubling_full() {
    let low = "c d e f g a b c d e f g";
    let slip = doublings(low, "cc dd ee ff gg b bb cc dd ee ff gg");
    assert_eq!(slip.len(), 1);
    assert!(slip[0].is_full() && !slip[0].is_exact() && slip[0].shared == 11, "{slip:?}");
    let whole = doublings(low, "cc dd ee ff gg aa bb cc dd ee ff gg");
    assert!(whole.len() == 1 && whole[0].is_exact() && whole[0].is_full());
    // In part: every fourth note is another.
    let part = doublings(low, "cc dd ee a gg aa bb e dd ee ff b");
    assert!(part.iter().all(|doubling| !doubling.is_full() || doubling.is_exact()), "{part:?}");
}
