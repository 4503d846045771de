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
         Moments are spans worth looking at (`moments.csv`), findings plain sentences (`noteworthy.csv`); both have their bars, and both can be checked on the page. The weight that orders them is a\n\
         convention and no measure. No sentence speaks of more than the score in hand, and a kind is left out of a score in which its premise does not hold.\n\n\
         Only who leads the melody is read; everything else is told from the notes. **Who moves with whom**: two lines move in one rhythm in a bar when each begins three quarters of its notes with the other,\n\
         notes held over the barline counted as begun on it, and they sound for about as long. A stretch is told by its groups where everybody keeps still: each line moves with its group in four bars of five (on\n\
         average in 19 of 20, and in the first and the last bar), nobody comes or goes, the melody does not pass on, there are five groups at most. Within a group are told apart the notes of the melody (the same\n\
         pitch classes in 85 of 100 notes), those of the bass (the same, within an octave and a tone of it) and all others. A group whose lines all do the same in three quarters of the bars is named by that:\n\
         repeated notes (three or more of which three quarters stay on one pitch), running notes (six or more, two a crotchet), held notes (half a bar and more, and two crotchets and more where the bar has several), single\n\
         strokes (two at most, for less than half of the bar), tremolo or roll. Names are as short as they can be: a family or section where all of its parts that play in the score are meant.\n\
         **How loud** is told by printed signs in force, of a section by its newest: not under a hairpin nor after one that leads to no sign, and not by a sign older than eight bars of rest; of a stretch where half of\n\
         those who sound have such a sign in half of the bars. Half a bar that a file has split is no bar, nor is an upbeat.\n\n\
         **Tutti**: woodwind, brass and strings, as far as they stand (see above), have two thirds of their sections there for more than a quarter of each bar; told as a whole where still stretches of three bars and more fill three\n\
         quarters of it, else only the longest of them. **First full brass**: two bars and more in each of which all sections of the brass sound at once for half of the bar. **Climax**: of the bars with nine tenths of\n\
         the most parts that ever sound together those with the loudest sign; among them the one in which height, attacks a second and people sounding stand highest. **Change of texture**: a barline at which at\n\
         least six parts and two fifths of all stop or begin, who had not played in the two bars on the other side. **Filling up, thinning out**: section by section to or from two thirds of all sections, in three steps\n\
         and more. **Unison**: whole bars in which five parts and more have one pitch class at every moment, percussion aside. **Pedal**: six whole bars and more whose lowest note keeps its pitch class, with six pitch classes and more above.\n\
         **Crossed sections**: for eight crotchets and more every note of the one lies above every note of its upper neighbour in the score. **Line taken up**, **answer**: eight notes and more, with the same steps in the\n\
         same rhythm; taken up by sections none of which had its first five notes before, even with other steps; an answer comes within six bars. **Split section**: four bars and more in\n\
         which players of one instrument keep to two different things; first and second violins are no split. **Silence**: half a bar and two crotchets and more without anyone.\n",
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
