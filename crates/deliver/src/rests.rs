//! Bars of rest gathered under one number.
//!
//! A rest is gathered as far as nothing happens in it that its reader must see: a change of key, clef, metre or tempo, a rehearsal mark,
//! a double barline, a fermata, a repeat (common practice of copyists).

use std::ops::Range;

use ripieno_formats::musicxml::MultipleRest;
use ripieno_score::{Bar, BarIndex, Crotchets, Jump, Note, Part};

/// What stands in one bar of a part, as far as rests go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Content {
    /// Nothing but rest.
    Rest,
    /// Nothing but rest, under signs that stand at its beginning.
    RestUnderSigns,
    /// Anything else.
    More,
}

/// For each bar whether its player has nothing to play in it.
pub(crate) fn silent_bars(part: &Part, bars: usize) -> Vec<bool> {
    let mut silent = vec![true; bars];
    for note in part.notes.iter().filter(|note| note.plays()) {
        if let Some(bar) = silent.get_mut(note.bar.at()) {
            *bar = false;
        }
    }
    silent
}

/// From where to where each note of a part sounds, in crotchets from the beginning of the score, by their beginnings.
pub(crate) fn played(part: &Part, bars: &[Bar]) -> Vec<(Crotchets, Crotchets)> {
    let start = |bar: BarIndex| bars.get(bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
    let from = |note: &Note| start(note.bar) + note.at;
    let mut played: Vec<_> =
        part.notes.iter().filter(|note| note.plays()).map(|note| (from(note), from(note) + note.duration)).collect();
    played.sort_unstable();
    played
}

/// Runs of `true`.
pub(crate) fn runs(of: &[bool]) -> Vec<Range<usize>> {
    let mut runs = Vec::new();
    let mut start = None;
    for (index, &is) in of.iter().chain([&false]).enumerate() {
        match (is, start) {
            (true, None) => start = Some(index),
            (false, Some(first)) => {
                runs.push(first..index);
                start = None;
            }
            _ => {}
        }
    }
    runs
}

/// The rests of two bars and more that are shown as one.
pub(crate) fn gathered(part: &Part, bars: &[Bar]) -> Vec<MultipleRest> {
    let content = contents(part, bars.len());
    let mut rests: Vec<MultipleRest> = Vec::new();
    // Whether the last rest may take in the next bar.
    let mut open = false;
    for (index, (bar, content)) in (0u32..).zip(bars.iter().zip(content)) {
        // Where endings begin and end stays a bar of its own: engravers lose the bracket of an ending under a long rest.
        let turns = !bar.ending_start.is_empty() || bar.ending_stop;
        if content == Content::More || bar.uncounted || turns {
            open = false;
            continue;
        }
        let goes_on = open && content == Content::Rest && !begins(bar);
        match rests.last_mut() {
            Some(rest) if goes_on => rest.bars += 1,
            _ => rests.push(MultipleRest { first: BarIndex(index), bars: 1 }),
        }
        open = !ends(bar);
    }
    rests.retain(|rest| rest.bars > 1);
    rests
}

fn contents(part: &Part, bars: usize) -> Vec<Content> {
    let mut contents = vec![Content::Rest; bars];
    let mut see = |bar: BarIndex, content: Content| {
        if let Some(here) = contents.get_mut(bar.at()).filter(|here| **here != Content::More) {
            *here = content;
        }
    };
    let at_start = |at: Crotchets| if at.is_zero() { Content::RestUnderSigns } else { Content::More };
    part.notes.iter().for_each(|note| see(note.bar, Content::More));
    part.rests.iter().filter(|rest| rest.fermata || rest.cue).for_each(|rest| see(rest.bar, Content::More));
    part.directions.iter().for_each(|direction| see(direction.bar, at_start(direction.at)));
    part.changes.iter().for_each(|change| see(change.bar, at_start(change.at)));
    contents
}

/// Whether something at the beginning of the bar must be seen.
fn begins(bar: &Bar) -> bool {
    bar.metre.is_some() || bar.repeat_start || bar.jumps.iter().any(|jump| matches!(jump, Jump::Segno(_) | Jump::Coda(_)))
}

/// Whether something at its end must be.
fn ends(bar: &Bar) -> bool {
    bar.repeat_end.is_some()
        || bar.barline.is_some()
        || bar.jumps.iter().any(|jump| !matches!(jump, Jump::Segno(_) | Jump::Coda(_)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::{Change, ChangeKind, Direction, DirectionKind, Key, Metre, Note};

    fn bars(count: usize) -> Vec<Bar> {
        (1..=count).map(|n| Bar::new(n.to_string(), Crotchets::ZERO, Crotchets::whole(4))).collect()
    }

    fn told(part: &Part, bars: &[Bar]) -> Vec<(u32, u32)> {
        gathered(part, bars).iter().map(|rest| (rest.first.0, rest.bars)).collect()
    }

    fn rehearsal(bar: u32) -> Direction {
        let kind = DirectionKind::Rehearsal("B".into());
        Direction { bar: BarIndex(bar), at: Crotchets::ZERO, staff: 1, voice: None, above: None, kind }
    }

    #[test]
    fn a_rest_is_broken_where_its_reader_must_see_something() {
        let note = Note { bar: BarIndex(5), duration: Crotchets::whole(1), ..Note::default() };
        let mut part = Part { notes: vec![note], ..Part::default() };
        let mut bars = bars(20);
        assert_eq!(told(&part, &bars), [(0, 5), (6, 14)]);
        part.directions.push(rehearsal(9));
        assert_eq!(told(&part, &bars), [(0, 5), (6, 3), (9, 11)]);
        bars[12].metre = Some(Metre::simple(3, 4));
        bars[16].barline = Some("light-light".into());
        assert_eq!(told(&part, &bars), [(0, 5), (6, 3), (9, 3), (12, 5), (17, 3)]);
        let key = ChangeKind::Key(Key { fifths: 1, major: None });
        part.changes.push(Change { bar: BarIndex(3), at: Crotchets::ZERO, staff: None, kind: key });
        assert_eq!(told(&part, &bars)[..2], [(0, 3), (3, 2)]);
        bars[0].uncounted = true;
        assert_eq!(told(&part, &bars)[..2], [(1, 2), (3, 2)]);
        bars[7].ending_start = vec![1];
        bars[7].ending_stop = true;
        assert_eq!(told(&part, &bars)[..3], [(1, 2), (3, 2), (9, 3)]);
    }

    #[test]
    fn runs_of_silence() {
        assert_eq!(runs(&[true, true, false, true]), [0..2, 3..4]);
        assert_eq!(runs(&[false]), []);
    }
}
