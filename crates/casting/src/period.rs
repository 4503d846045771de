//! Periods of a line: what it has from one rest to the next lies in one octave.
//!
//! Common practice, from memory: a line that has to be taken up or down by an octave goes there as a whole, so that its apex stays its apex; the octave changes where it rests or, in a
//! line that never does, at a cadence. The bounds are ours.

use ripieno_score::Crotchets;

use crate::notate::bar_of;
use crate::sketch::{Sketch, SketchNote};

/// A rest that parts two periods, in crotchets; bars of the shortest; the bars that one lasts at most where nothing rests, and those that have to go by before a long note ends it.
const PARTED: (i64, i64) = (1, 2);
const SHORTEST: usize = 4;
const MOST_BARS: usize = 16;
const LEAST_BARS: usize = 8;

/// The notes of a line of the periods that a span touches.
pub(crate) fn period(sketch: &Sketch, strand: usize, span: (Crotchets, Crotchets)) -> &[SketchNote] {
    let notes = &sketch.strands[strand].notes;
    let first = notes.partition_point(|note| note.onset < span.0);
    let end = notes.partition_point(|note| note.onset < span.1);
    if first >= end {
        return &[];
    }
    let (mut from, mut found) = (0, 0..0);
    while from < end {
        let next = from + ends(sketch, &notes[from..]);
        if next > first {
            found = if found.is_empty() { from } else { found.start }..next;
        }
        from = next;
    }
    &notes[found]
}

/// How many notes the first period of a line has: up to the first rest after its shortest time; where none comes in time, up to its longest note, of equals that nearest to the middle.
fn ends(sketch: &Sketch, notes: &[SketchNote]) -> usize {
    let bar = |at: usize| bar_of(&sketch.score.bars, notes[at].onset);
    let start = bar(0);
    let rest = Crotchets::new(PARTED.0, PARTED.1).unwrap_or(Crotchets::ONE);
    let parted = |at: &usize| notes[*at].onset - notes[at - 1].end() >= rest;
    let long = (1..notes.len()).find(|&at| bar(at) >= start + MOST_BARS).unwrap_or(notes.len());
    let rests = |at: &usize| parted(at) && bar(at - 1) + 1 >= start + SHORTEST;
    if let Some(at) = (1..long).find(rests) {
        return at;
    }
    if long == notes.len() {
        return long;
    }
    let left = (long..notes.len()).find(parted).map_or(bar(notes.len() - 1), |at| bar(at - 1)) + 1 - start;
    let middle = start + (left / 2).clamp(LEAST_BARS, MOST_BARS);
    let within = |at: &usize| bar(*at) + 1 >= start + LEAST_BARS;
    let order = |at: &usize| (std::cmp::Reverse(notes[*at].duration), (bar(*at) + 1).abs_diff(middle), *at);
    (0..long).filter(within).min_by_key(order).map_or(long, |at| at + 1)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use ripieno_formats::{Limits, read};

    use super::*;

    /// Bars of a tune in crotchets: C a note, D a minim, R a rest.
    fn sketch(bars: &[&str]) -> Sketch {
        let note = |kind: char| match kind {
            'R' => "<note><rest/><duration>1</duration></note>".to_owned(),
            _ => {
                let length = if kind == 'D' { 2 } else { 1 };
                format!("<note><pitch><step>C</step><octave>5</octave></pitch><duration>{length}</duration></note>")
            }
        };
        let start = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        let measure = |(at, bar): (usize, &&str)| {
            let notes: String = bar.chars().map(note).collect();
            format!("<measure number=\"{}\">{}{notes}</measure>", at + 1, if at == 0 { start } else { "" })
        };
        let part: String = bars.iter().enumerate().map(measure).collect();
        let list = "<part-list><score-part id=\"A\"><part-name>Melody</part-name></score-part></part-list>";
        let text = format!("<score-partwise version=\"4.0\">{list}<part id=\"A\">{part}</part></score-partwise>");
        Sketch::by_names(read("sketch.musicxml", text.as_bytes(), &Limits::default()).unwrap().score).unwrap()
    }

    /// The bars in which the period begins and ends that a bar belongs to.
    fn around(sketch: &Sketch, bar: usize) -> (usize, usize) {
        let found = period(sketch, 0, (sketch.bar_start(bar), sketch.bar_start(bar + 1)));
        (bar_of(&sketch.score.bars, found[0].onset), bar_of(&sketch.score.bars, found[found.len() - 1].onset))
    }

    #[test]
    fn a_period_ends_at_a_rest_and_where_there_is_none_at_a_long_note() {
        // A rest in the first bars parts nothing; that of the sixth does.
        let rests = sketch(&["CRCC", "CCCC", "CCCC", "CCCC", "CCCC", "CCCR", "CCCC", "CCCC"]);
        assert_eq!((around(&rests, 0), around(&rests, 5), around(&rests, 6)), ((0, 5), (0, 5), (6, 7)));
        // Twenty bars without a rest: the minim of the eleventh ends the first of two.
        let mut bars = vec!["CCCC"; 20];
        (bars[2], bars[10]) = ("CCD", "CCD");
        let long = sketch(&bars);
        assert_eq!(
            (around(&long, 0), around(&long, 10), around(&long, 11), around(&long, 19)),
            ((0, 10), (0, 10), (11, 19), (11, 19))
        );
        // Sixteen are one.
        assert_eq!(around(&sketch(&["CCCC"; 16]), 9), (0, 15));
        assert_eq!(around(&sketch(&["CCCC"; 40]), 39).1, 39);
    }
}
