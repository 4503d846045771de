//! `docs/practice.md` is the register of measures in words; this holds the two together.
#![allow(clippy::unwrap_used)] // a test stops at the first surprise

use std::fmt::Write;
use std::path::Path;

use ripieno_practice::MEASURES;

fn page() -> String {
    let mut out = String::from(
        "# Practice: what the scoring does, measured\n\n\
         Made from the register in `crates/practice/src/measures` (`WRITE=1 cargo test -p ripieno-practice --test documented`). Every value of every\n\
         measure stands in `practice.csv` with its unit and its bars. Shares are given by bars, by time (crotchets) or by player-time (crotchets times people), and say which;\n\
         they are never mixed. Bars are printed bars, each counted once. Roles are read (`docs/roles.md`), so what rests on them is as sure as they are; presence, gaps, overlaps, rests and\n\
         counts rest on the notes alone. `crates/practice/tests/laws.rs` holds every measure to four laws: transposition, the order of parts, splitting a part into two staves, and\n\
         cutting the piece in two.\n\n\
         **Together**: the sounding lines of a section share a layer or a role. **Separation** is taken moment by moment between register neighbours, from the lowest sounding note of the upper group to the\n\
         highest of the lower one. **Tutti** says of whom. **Reserve** compares a section with its own family in the same piece. **One stack** is one rhythm and interleaved or adjacent tones of one chord. A doubling is no\n\
         second role. Percussion without pitch has presence and rhythm, no register. Voices, keyboards, plucked and electronic instruments are families of their own.\n",
    );
    for measure in MEASURES {
        let _ = write!(
            out,
            "\n## {}\n\n`{}`. {}\n\n{}\n\nWhose idea: {}.\nExample: {}\n",
            measure.title, measure.name, measure.says, measure.definition, measure.source, measure.example
        );
    }
    out.push_str(
        "\n## Moments and findings in words\n\n\
         `moments.csv` lists spans worth looking at, `noteworthy.csv` plain sentences, both made from these measures and both with their bars. The weight that orders them says how far the number lies from the\n\
         usual - from chance where chance is known, else from the middle of its range - and is no measure of its own. No sentence speaks of more than the score in hand.\n\n\
         Who does what in a stretch is told from the notes; only who leads the melody is read. In each bar a line has the first of these that fits. Melody: it leads, or three quarters of its notes\n\
         begin with the leader's on the same pitch class and are at least half of those. Bass: it is the lowest pitched line for at least half of the bar, or has its notes, likewise, no more than\n\
         an octave and a tone above on average. Tremolo or roll: most of its notes are marked so. In the melody's rhythm: three quarters of the moments of either are the other's. Repeated notes: three\n\
         or more of which three quarters stay on one pitch. Running notes: six or more, at least two a crotchet. Held notes: it sounds for three quarters of the bar in at most two notes or so. Single strokes: at most two notes, sounding\n\
         for less than half of the bar. Else: other lines. In a stretch a line is told by what it does in three fifths of the bars in which it sounds, if it sounds in half of them; those who have no\n\
         such task but one rhythm with others in three fifths of the bars stand together; the rest are changing. A stretch in which many change is cut there and told in pieces of at least a quarter\n\
         of it. Sections are named where all of their parts do the same, parts otherwise. A tutti in these lists asks that two thirds of the sections of each standing family are there for more than a\n\
         quarter of the bar or begin two notes a line; its dynamic is the one that half of the sections reach.\n",
    );
    out
}

#[test]
fn the_page_says_what_the_register_says() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/practice.md");
    if std::env::var_os("WRITE").is_some() {
        std::fs::write(&path, page()).unwrap();
    }
    assert!(
        std::fs::read_to_string(&path).unwrap() == page(),
        "docs/practice.md is out of date: WRITE=1 cargo test -p ripieno-practice --test documented"
    );
}

#[test]
fn every_measure_says_all_that_a_reader_needs() {
    for measure in MEASURES {
        for (what, text) in
            [("says", measure.says), ("definition", measure.definition), ("source", measure.source), ("example", measure.example)]
        {
            assert!(text.len() > 12, "{} has no {what}", measure.name);
        }
        assert_eq!(MEASURES.iter().filter(|other| other.name == measure.name).count(), 1, "{}", measure.name);
    }
}
