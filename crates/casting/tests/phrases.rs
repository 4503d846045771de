//! Where a sketch is cut into phrases: along its tune.
#![allow(clippy::unwrap_used, clippy::panic)]

use ripieno_casting::{Plan, Sketch};
use ripieno_score::{Articulations, Bar, BarIndex, Crotchets, Head, Metre, Note, NoteValue, Part, Pitch, Score, Step};

/// A tune in 4/4 as (crotchets rested before, length in crotchets, steps above middle C), after an upbeat bar of so many crotchets.
fn tune(upbeat: i64, bars: usize, notes: &[(i64, i64, i64)]) -> Sketch {
    let mut score = Score::default();
    let mut start = Crotchets::ZERO;
    for bar in 0..bars {
        let length = Crotchets::whole(if bar == 0 && upbeat > 0 { upbeat } else { 4 });
        let mut new = Bar::new(bar.to_string(), start, length);
        new.metre = (bar == 0).then(|| Metre::simple(4, 4));
        score.bars.push(new);
        start += length;
    }
    let mut part = Part { id: "P1".to_owned(), name: "Melody".to_owned(), staves: 1, ..Part::default() };
    let mut at = Crotchets::ZERO;
    for &(rest, length, degree) in notes {
        at += Crotchets::whole(rest);
        let bar = score.bars.iter().rposition(|bar| bar.start <= at).unwrap();
        let step = [Step::C, Step::D, Step::E, Step::F, Step::G, Step::A, Step::B][degree.rem_euclid(7) as usize];
        part.notes.push(Note {
            bar: BarIndex(bar as u32),
            at: at - score.bars[bar].start,
            duration: Crotchets::whole(length),
            head: Head::Pitched(Pitch::new(step, 0, 4 + degree.div_euclid(7) as i8)),
            value: NoteValue::of_length(Crotchets::whole(length), 1),
            ..Note::default()
        });
        at += Crotchets::whole(length);
    }
    score.parts.push(part);
    score.finish();
    Sketch::by_names(score).unwrap()
}

fn cuts(sketch: &Sketch) -> Vec<usize> {
    Plan::phrases_of(sketch).phrases.iter().map(|phrase| phrase.bars.start).collect()
}

/// Crotchets without rests, on these steps.
fn even(steps: &[i64]) -> Vec<(i64, i64, i64)> {
    steps.iter().map(|&step| (0, 1, step)).collect()
}

#[test]
fn phrases_end_where_the_tune_comes_to_rest() {
    // Three bars that end on a long note and a rest, then five: what a count of four would cut in the middle of both.
    let mut notes = even(&[0, 1, 2, 3, 4, 3, 2, 1]);
    notes.push((0, 3, 0));
    notes.extend([(1, 1, 4), (0, 1, 5), (0, 1, 4), (0, 1, 3)]);
    notes.extend(even(&[2, 3, 4, 5, 4, 3, 2, 1, 2, 3, 2, 1]));
    notes.push((0, 4, 0));
    let sketch = tune(0, 8, &notes);
    assert_eq!(cuts(&sketch), [0, 3]);
    // Of one length and without a rest it is cut by fours.
    let plain = tune(0, 8, &even(&[0, 1, 2, 1].repeat(8)));
    assert_eq!(cuts(&plain), [0, 4]);
}

#[test]
fn an_upbeat_goes_with_the_bars_it_leads_to() {
    // An upbeat of a crotchet, and phrases that end on a dotted minim, whose fourth beat leads on.
    let phrase = [(0, 1, 4), (0, 1, 7), (0, 1, 6), (0, 1, 5), (0, 1, 4), (0, 1, 3), (0, 1, 2), (0, 1, 3), (0, 1, 4)];
    let mut notes: Vec<(i64, i64, i64)> = phrase.to_vec();
    notes.extend(even(&[2, 3, 1, 2]));
    notes.push((0, 3, 0));
    let once = notes.clone();
    notes.extend(once);
    let sketch = tune(1, 9, &notes);
    let plan = Plan::phrases_of(&sketch);
    assert_eq!(cuts(&sketch), [0, 5]);
    let (from, to) = Plan::span(&sketch, &plan.phrases[1].bars);
    assert_eq!(from, sketch.bar_start(5) - Crotchets::ONE);
    assert_eq!(to, sketch.bar_start(9));
    assert_eq!(Plan::span(&sketch, &plan.phrases[0].bars).1, from);
}

#[test]
fn a_fermata_ends_a_phrase_and_a_held_note_does_not_begin_one() {
    let mut sketch = tune(0, 8, &even(&[0, 1, 2, 1].repeat(8)));
    assert_eq!(cuts(&sketch), [0, 4]);
    let mut score = sketch.score.clone();
    score.parts[0].notes[23].articulations |= Articulations::FERMATA;
    sketch = Sketch::by_names(score).unwrap();
    assert!(cuts(&sketch).contains(&6), "{:?}", cuts(&sketch));
    // A semibreve across the barline where a count of four would cut.
    let mut notes = even(&[0, 1, 2, 1].repeat(3));
    notes.extend([(0, 1, 0), (0, 1, 1), (0, 4, 2), (0, 1, 1), (0, 1, 0)]);
    notes.extend(even(&[0, 1, 2, 1].repeat(3)));
    assert!(!cuts(&tune(0, 8, &notes)).contains(&4));
}
