//! From what is to sound to notes on a staff: cut at barlines, tied, with values and rests.

use ripieno_score::{Bar, BarIndex, Crotchets, Head, Mark, Note, NoteFlags, NoteValue, Part, Pitch, Rest, TupletRatio};

/// Pitches that sound together for a while, as they are to be written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Event {
    pub from: Crotchets,
    pub to: Crotchets,
    /// Written pitches, lowest first, each with whether it is held over from the event before.
    pub pitches: Vec<(Pitch, bool)>,
    /// The written notes it stands for, with their signs.
    pub like: Option<Like>,
    pub voice: u16,
}

/// Written notes to be taken over at another pitch: a part of another score and its first note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Like {
    pub part: usize,
    pub note: usize,
    /// Without slurs and the like, which lead from note to note: for one voice of a chord.
    pub plain: bool,
}

/// The value that lasts `length`, plain or as a triplet, quintuplet or septuplet.
fn shape(length: Crotchets) -> Option<(NoteValue, Option<TupletRatio>)> {
    if let Some(value) = NoteValue::of_length(length, 2) {
        return Some((value, None));
    }
    [(3, 2), (5, 4), (7, 4), (6, 4), (9, 8)].into_iter().find_map(|(actual, normal)| {
        let plain = length * Crotchets::new(i64::from(actual), i64::from(normal))?;
        Some((NoteValue::of_length(plain, 1)?, Some(TupletRatio { actual, normal })))
    })
}

/// Cuts a stretch of one bar into lengths that have a value: whole if it has one, else up to the next crotchet, half ... of the bar.
fn pieces(from: Crotchets, to: Crotchets) -> Vec<(Crotchets, Crotchets)> {
    let mut found = Vec::new();
    let mut at = from;
    while at < to {
        let rest = to - at;
        let mut end = to;
        if shape(rest).is_none() {
            // The longest plain value that still fits, ending on a beat where one begins off it.
            let beat = Crotchets::whole((at + Crotchets::ONE).floor());
            let off = at != Crotchets::whole(at.floor());
            if off && beat < to && shape(beat - at).is_some() {
                end = beat;
            } else {
                let fits = (-3..=10i8).map(|halvings| NoteValue { halvings, dots: 0 }.length()).find(|&length| length < rest);
                end = fits.map_or(to, |length| at + length);
            }
        }
        found.push((at, end));
        at = end;
        if found.len() > 64 {
            break;
        }
    }
    found
}

/// From the first bar to the end of the last.
pub(crate) fn throughout(bars: &[Bar]) -> (Crotchets, Crotchets) {
    (Crotchets::ZERO, bars.last().map_or(Crotchets::ZERO, |bar| bar.start + bar.length))
}

/// The bar that holds a moment.
pub(crate) fn bar_of(bars: &[Bar], at: Crotchets) -> usize {
    bars.partition_point(|bar| bar.start <= at).saturating_sub(1)
}

/// Cuts `from..to` at barlines and into values: bar, position in it, length.
fn cut(bars: &[Bar], from: Crotchets, to: Crotchets) -> Vec<(usize, Crotchets, Crotchets)> {
    let mut found = Vec::new();
    let mut at = from;
    while at < to && !bars.is_empty() {
        let bar = bar_of(bars, at);
        let end = (bars[bar].start + bars[bar].length).min(to);
        if end <= at {
            break;
        }
        let start = bars[bar].start;
        found.extend(pieces(at - start, end - start).into_iter().map(|(a, b)| (bar, a, b - a)));
        at = end;
    }
    found
}

fn index(bar: usize) -> BarIndex {
    BarIndex(u32::try_from(bar).unwrap_or(u32::MAX))
}

/// Writes events of one voice, in order of time and without overlap, into a part. `source` has the parts that [`Like`] points into; `rests`: the span filled up with rests.
pub(crate) fn lay(part: &mut Part, bars: &[Bar], events: &[Event], source: &[Part], rests: Option<(Crotchets, Crotchets)>) {
    let (mut now, end) = rests.unwrap_or_default();
    let rests = rests.is_some();
    for (place, event) in events.iter().enumerate() {
        if rests && event.from > now {
            rest(part, bars, now, event.from, event.voice);
        }
        let next = events.get(place + 1).filter(|next| next.from == event.to);
        let leads_on = |pitch: Pitch| next.is_some_and(|next| next.pitches.iter().any(|&(other, held)| held && other == pitch));
        if let (Some(like), [(pitch, false)]) = (event.like, event.pitches.as_slice())
            && copy(part, bars, &source[like.part], like, event, *pitch, leads_on(*pitch))
        {
            now = now.max(event.to);
            continue;
        }
        let cuts = cut(bars, event.from, event.to);
        let last = cuts.len().saturating_sub(1);
        for (piece, &(bar, at, duration)) in cuts.iter().enumerate() {
            let (value, tuplet) = shape(duration).map_or((None, None), |(value, tuplet)| (Some(value), tuplet));
            for (n, &(pitch, held)) in event.pitches.iter().enumerate() {
                let mut flags = NoteFlags::empty();
                flags.set(NoteFlags::CHORD, n > 0);
                flags.set(NoteFlags::TIE_STOP, piece > 0 || held);
                flags.set(NoteFlags::TIE_START, piece < last || leads_on(pitch));
                let head = Head::Pitched(pitch);
                part.notes.push(Note {
                    bar: index(bar),
                    at,
                    duration,
                    head,
                    value,
                    tuplet,
                    voice: event.voice,
                    flags,
                    ..Note::default()
                });
            }
        }
        now = now.max(event.to);
    }
    if rests && now < end {
        rest(part, bars, now, end, events.first().map_or(1, |event| event.voice));
    }
}

fn rest(part: &mut Part, bars: &[Bar], from: Crotchets, to: Crotchets, voice: u16) {
    for (bar, at, duration) in cut(bars, from, to) {
        let whole_bar = at.is_zero() && duration == bars[bar].length;
        let (value, tuplet) = shape(duration).map_or((None, None), |(value, tuplet)| (Some(value), tuplet));
        part.rests.push(Rest {
            bar: index(bar),
            at,
            duration,
            value: if whole_bar { None } else { value },
            tuplet,
            voice,
            staff: 1,
            whole_bar,
            hidden: false,
            cue: false,
            fermata: false,
        });
    }
}

/// Takes over a written note with all it is tied to; `false` when that does not last as long as the event.
fn copy(part: &mut Part, bars: &[Bar], source: &Part, like: Like, event: &Event, pitch: Pitch, leads_on: bool) -> bool {
    let first = like.note;
    let chain = chain(source, first);
    let length: Crotchets = chain.iter().map(|&note| source.notes[note].duration).sum();
    if length != event.to - event.from {
        return false;
    }
    // The other score may begin at another bar.
    let here = i64::try_from(bar_of(bars, event.from)).unwrap_or(0) - i64::from(source.notes[first].bar.0);
    let last = chain.len() - 1;
    for (piece, &from) in chain.iter().enumerate() {
        let mut note = source.notes[from].clone();
        note.head = Head::Pitched(pitch);
        note.bar = BarIndex(u32::try_from(i64::from(note.bar.0) + here).unwrap_or(u32::MAX));
        (note.voice, note.staff, note.instrument, note.velocity) = (event.voice, 1, 0, 0);
        note.stem = ripieno_score::Stem::Unset;
        note.flags -= NoteFlags::CHORD | NoteFlags::TIE_START | NoteFlags::TIE_STOP;
        note.flags.set(NoteFlags::TIE_STOP, piece > 0);
        note.flags.set(NoteFlags::TIE_START, piece < last || leads_on);
        let at = u32::try_from(part.notes.len()).unwrap_or(u32::MAX);
        let kept = |mark: &&Mark| {
            matches!(
                mark,
                Mark::Slur { .. } | Mark::Tuplet { .. } | Mark::TrillLine { .. } | Mark::Glissando { .. } | Mark::Notehead(_)
            )
        };
        part.marks.extend(source.marks_of(from).filter(|_| !like.plain).filter(kept).map(|mark| (at, mark.clone())));
        part.notes.push(note);
    }
    true
}

/// A written note and those it is tied to, as indices.
pub(crate) fn chain(part: &Part, first: usize) -> Vec<usize> {
    let mut found = vec![first];
    let mut last = first;
    while part.notes[last].flags.contains(NoteFlags::TIE_START) {
        let held = &part.notes[last];
        let next = part.notes.iter().enumerate().skip(last + 1).take(4096).find(|(_, note)| {
            let follows =
                note.bar == held.bar && note.at == held.at + held.duration || note.bar.0 == held.bar.0 + 1 && note.at.is_zero();
            note.head == held.head && note.flags.contains(NoteFlags::TIE_STOP) && follows && note.staff == held.staff
        });
        let Some((next, _)) = next else { break };
        found.push(next);
        last = next;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_without_a_value_are_cut() {
        let five = pieces(Crotchets::ZERO, Crotchets::new(5, 2).unwrap());
        assert_eq!(five.len(), 2);
        let sum: Crotchets = five.iter().map(|(a, b)| *b - *a).sum();
        assert_eq!(sum, Crotchets::new(5, 2).unwrap());
        assert_eq!(shape(Crotchets::new(2, 3).unwrap()).unwrap().1.unwrap().actual, 3);
    }
}
