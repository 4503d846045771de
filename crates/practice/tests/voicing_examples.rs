//! The examples that measures of doubling, voicing and melody give from the demo overture, against what its composer planted
//! (`demo/PLANTED.md`, `demo/planted/doublings.csv`, `melody.csv`, `thickened.csv`). Bars of the demo are printed from 0.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

mod pieces;

use pieces::Piece;
use ripieno_practice::Subject;

/// Value and printed bars; none where there is no such value.
fn value(piece: &Piece, measure: &str, of: Subject, with: Option<Subject>, aspect: &str) -> Option<(f64, Vec<u32>)> {
    let (value, bars) = piece.value(measure, of, with, aspect)?;
    Some((value, bars.into_iter().map(|bar| bar - 1).collect()))
}

#[test]
fn the_examples_hold() {
    let demo = Piece::demo();
    let section = |name| demo.section(name);
    let (horns, violins, trombones) = (section("horns"), section("violins"), section("trombones"));

    let tuba: Vec<u32> = (35..=45).chain(81..=100).chain(105..=108).collect();
    let found = value(&demo, "doubled_sections", trombones, Some(section("tubas")), "unison");
    assert_eq!(found, Some((1.0, tuba)), "the tuba has the bass trombone's line wherever it plays");

    let (_, flutes) = value(&demo, "melody_support", section("flutes"), Some(violins), "unison").unwrap();
    let (_, seconds) = value(&demo, "melody_support", violins, Some(violins), "octave below").unwrap();
    assert!((17..=24).all(|bar| flutes.contains(&bar) && seconds.contains(&bar)), "{flutes:?} {seconds:?}");

    for (from, to, bar) in [("horns", "oboes", 4), ("oboes", "horns", 8), ("horns", "violins", 16)] {
        let found = value(&demo, "hand_offs", section(from), Some(section(to)), "hands on to");
        assert_eq!(found, Some((1.0, vec![bar])), "{from} to {to}");
    }

    for (with, pairing) in [(trombones, "6 horns to 3 trombones"), (section("trumpets"), "6 horns to 3 trumpets")] {
        let (_, bars) = value(&demo, "brass_weight", horns, Some(with), pairing).unwrap();
        assert!((81..=87).all(|bar| bars.contains(&bar)), "{pairing}: {bars:?}");
    }

    let (share, bars) = value(&demo, "chord_voicing", horns, Some(trombones), "overlapped").unwrap();
    assert_eq!(share, 1.0);
    assert!((81..=100).all(|bar| bars.contains(&bar)), "{bars:?}");

    let (interval, bars) = value(&demo, "thickened_lines", violins, Some(violins), "usual interval").unwrap();
    assert!([-3.0, -4.0].contains(&interval) && (60..=64).all(|bar| bars.contains(&bar)), "{interval} {bars:?}");
    let flutes = section("flutes");
    let (_, bars) = value(&demo, "thickened_lines", flutes, Some(flutes), "usual interval").unwrap();
    // All that is planted but 71 and 72, where the second flute is read as another layer.
    assert_eq!(bars, [12, 16, 31, 32]);
}
