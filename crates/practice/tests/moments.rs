//! Moments planted in a few bars: each is told where it was put, and by whom it is played.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::{Moment, noteworthy};

fn moments(parts: &[(&str, &str)]) -> Vec<Moment> {
    let piece = Piece::of(parts);
    noteworthy(&piece.material(), &piece.practice()).0
}

fn of<'a>(moments: &'a [Moment], kind: &str) -> &'a Moment {
    moments.iter().find(|moment| moment.kind == kind).unwrap_or_else(|| panic!("no {kind}: {moments:#?}"))
}

fn bars(one: &str, count: usize) -> String {
    vec![one; count].join(" | ")
}

#[test]
fn a_unison_is_of_everybody_in_whole_bars() {
    let tune = |octave: u8| {
        format!("f C{octave}:1 D{octave}:1 E{octave}:1 G{octave}:1 | F{octave}:1 E{octave}:1 D{octave}:2 | C{octave}:4")
    };
    let chord = |note: &str| format!("{note}:4");
    let part = |octave: u8, note: &str| format!("{} | {}", tune(octave), chord(note));
    let told = moments(&[
        ("Flute", &part(6, "E6")),
        ("Oboe", &part(5, "C6")),
        ("Violin", &part(5, "G5")),
        ("Viola", &part(4, "E4")),
        ("Violoncello", &part(3, "C3")),
    ]);
    let unison = of(&told, "unison");
    assert_eq!(unison.bars, 0..3, "the chord is none");
    assert_eq!(
        unison.reason,
        "All who play have the same notes, in unison and octaves, for three bars at f: flutes, oboes and strings."
    );
}

#[test]
fn a_silence_says_what_was_before_and_after() {
    let before = "ff C4:4 | r:4 | ";
    let names = ["Flute", "Oboe", "Horn", "Violin", "Viola", "Violoncello"];
    let parts: Vec<(&str, String)> =
        names.iter().map(|name| (*name, format!("{before}{}", if *name == "Oboe" { "p E4:4" } else { "r:4" }))).collect();
    let told = moments(&parts.iter().map(|(name, bars)| (*name, bars.as_str())).collect::<Vec<_>>());
    let silence = of(&told, "silence");
    assert_eq!(silence.bars, 1..2);
    assert_eq!(silence.reason, "Nobody plays for four crotchets, after six parts at ff; then oboes go on at p.");
}

#[test]
fn filling_up_names_who_comes_in_where() {
    let from = |bar: usize, note: &str| {
        let rest = vec!["r:4"; bar].join(" | ");
        let plays = vec![format!("{note}:4"); 6 - bar].join(" | ");
        if bar == 0 { plays } else { format!("{rest} | {plays}") }
    };
    let told = moments(&[
        ("Flute", &from(3, "G5")),
        ("Oboe", &from(2, "E5")),
        ("Horn", &from(4, "C4")),
        ("Violin", &from(0, "C5")),
        ("Viola", &from(1, "G4")),
    ]);
    let filling = of(&told, "filling up");
    assert_eq!(filling.bars, 0..5);
    assert_eq!(
        filling.reason,
        "The orchestra fills up section by section and nobody who has come in rests for more than a bar: violins at first, violas from 2, oboes from 3, flutes from 4 and horns from 5."
    );
}

#[test]
fn a_pedal_is_the_lowest_note_and_who_plays_nothing_else() {
    let above = "C5:1 D5:1 E5:1 F5:1 | G5:1 A5:1 B5:1 A5:1";
    let told = moments(&[
        ("Violin", &format!("{} | D5:4", bars(above, 4))),
        ("Violoncello", &format!("{} | G3:4", bars("D3:2 D3:2", 8))),
        ("Double Bass", &format!("{} | G2:4", bars("D2:4", 8))),
    ]);
    let pedal = of(&told, "pedal");
    assert_eq!(pedal.bars, 0..8);
    assert_eq!(
        pedal.reason,
        "D is the lowest note throughout, a pedal of eight bars: cellos and double basses play nothing else."
    );
}

#[test]
fn a_section_above_its_upper_neighbour_is_told_in_its_own_bars() {
    let told = moments(&[
        ("Viola", &format!("{} | {}", bars("C5:4", 2), bars("D4:2 E4:2", 3))),
        ("Violoncello", &format!("{} | {}", bars("C3:4", 2), bars("A4:1 B4:1 C5:1 B4:1", 3))),
    ]);
    let crossed = of(&told, "crossed sections");
    assert_eq!(crossed.bars, 2..5);
    assert!(
        crossed.reason.starts_with("The cellos lie above the violas, for twelve crotchets on end, by a fifth or more"),
        "{}",
        crossed.reason
    );
}

#[test]
fn many_stop_at_a_barline_and_few_go_on() {
    let loud = |note: &str| format!("{} | {}", bars(&format!("ff {note}:1 {note}:1 {note}:1 {note}:1"), 3), bars("r:4", 3));
    let on = format!("{} | {}", bars("ff G5:1 A5:1 G5:1 A5:1", 3), bars("p G5:4", 3));
    let others: Vec<(&str, String)> =
        [("Flute", "C6"), ("Horn", "C4"), ("Trumpet", "E4"), ("Trombone", "C3"), ("Violin", "E5"), ("Viola", "G4")]
            .iter()
            .map(|(name, note)| (*name, loud(note)))
            .collect();
    let mut parts: Vec<(&str, &str)> = others.iter().map(|(name, bars)| (*name, bars.as_str())).collect();
    parts.insert(1, ("Oboe", &on));
    let told = moments(&parts);
    let turn = of(&told, "change of texture");
    assert_eq!(turn.bars, 2..4);
    assert_eq!(
        turn.reason,
        "At the barline before 4 flutes, brass, violins and violas stop; oboes go on. Seven parts before, one after, ff before and p after."
    );
}

#[test]
fn the_climax_is_no_softer_than_another_tutti() {
    // Four bars of one part, a busy and high tutti at f, a broad one at ff: the second is the louder.
    let names = ["Flute", "Oboe", "Horn", "Trumpet", "Violin", "Viola"];
    let parts: Vec<(&str, String)> = names
        .iter()
        .map(|name| {
            let alone = if *name == "Viola" { "p C4:4" } else { "r:4" };
            let busy = "f C6:1/2 D6:1/2 E6:1/2 F6:1/2 G6:1/2 F6:1/2 E6:1/2 D6:1/2";
            (*name, format!("{} | {busy} | {busy} | ff C5:2 E5:2 | C5:4", bars(alone, 8)))
        })
        .collect();
    let told = moments(&parts.iter().map(|(name, bars)| (*name, bars.as_str())).collect::<Vec<_>>());
    let climax = of(&told, "climax");
    assert!((10..12).contains(&climax.bars.start), "{climax:?}");
    assert!(climax.reason.starts_with("Six parts sound at ff; no bar as full is marked louder"), "{}", climax.reason);
}

#[test]
fn a_short_bar_is_not_thin_and_no_bar_of_rest() {
    // A bar split after its third crotchet: its last crotchet, alone in the violin, is no thin bar; and the flute rests for 16 bars, not 17.
    let violin = format!("{} | C5:3 | C5:1 | {}", bars("C5:4", 15), bars("C5:4", 8));
    let viola = format!("{} | E4:3 | r:1 | {}", bars("E4:4", 15), bars("E4:4", 8));
    let flute = format!("{} | r:3 | r:1 | {}", bars("r:4", 15), bars("G5:4", 8));
    let told = moments(&[("Flute", &flute), ("Violin", &violin), ("Viola", &viola)]);
    assert!(of(&told, "thinnest bars").reason.starts_with("Only two parts of 3"), "{told:#?}");
    let entry = of(&told, "entry after a long rest");
    assert_eq!((entry.bars.start, entry.reason.contains("after 16 bars of rest")), (17, true), "{}", entry.reason);
}

#[test]
fn full_brass_is_brass_at_one_time_and_its_range_has_held_notes() {
    // In the first bar horn and trumpet take turns; the trombone's note is held from the first bar into the second.
    let told = moments(&[
        ("Horn", "r:2 C4:2 | C4:4 | D4:4 | r:4"),
        ("Trumpet", "G4:2 r:2 | E4:4 | F4:4 | r:4"),
        ("Trombone", "C3:4 | C3:4 | G3:4 | r:4"),
        ("Violin", "C5:4 | C5:4 | D5:4 | E5:4"),
    ]);
    let full = of(&told, "first full brass");
    assert_eq!(full.bars, 1..3);
    assert!(full.reason.contains("horns C4 to D4, trumpets E4 to F4 and trombones C3 to G3"), "{}", full.reason);
}

#[test]
fn an_old_sign_is_not_told_after_a_long_rest_and_a_new_one_is() {
    let entry = |sign: &str| {
        let flute = format!("ff C5:4 | {} | {sign} G5:4 | G5:4 | p G5:4", bars("r:4", 17));
        let told = moments(&[("Flute", &flute), ("Violin", &bars("mf C5:1 D5:1 E5:1 F5:1", 21))]);
        let entry = of(&told, "entry after a long rest");
        assert_eq!(entry.bars.start, 18);
        entry.reason.clone()
    };
    assert!(!entry("").contains("ff"), "{}", entry(""));
    assert!(entry("pp").contains("pp)"), "{}", entry("pp"));
}

#[test]
fn a_hairpin_without_an_aim_makes_no_level() {
    // Three bars before most stop: at f throughout, under a hairpin that leads to no sign, and under one that leads to ff.
    let before = |under: [&str; 3]| {
        let bar = |sign: &str, note: &str| format!("{sign} {note}:1 {note}:1 {note}:1 {note}:1");
        let line = |note: &str| under.map(|sign| bar(sign, note)).join(" | ");
        let names = [("Flute", "C6"), ("Horn", "C4"), ("Trumpet", "E4"), ("Trombone", "C3"), ("Violin", "E5"), ("Viola", "G4")];
        let stop = names.map(|(name, note)| (name, format!("{} | {}", line(note), bars("r:4", 3))));
        let on = format!("{} | {}", line("G5"), bars("p G5:4", 3));
        let parts = stop.iter().map(|(name, bars)| (*name, bars.as_str())).chain([("Oboe", on.as_str())]);
        of(&moments(&parts.collect::<Vec<_>>()), "change of texture").reason.clone()
    };
    assert!(before(["f", "", ""]).ends_with(", f before and p after."), "{}", before(["f", "", ""]));
    let aimless = before(["f", "crescendo", "stop"]);
    assert!(aimless.ends_with("one after."), "{aimless}");
    let aimed = before(["f", "crescendo", "stop ff"]);
    assert!(aimed.ends_with(", ff before and p after."), "{aimed}");
}
