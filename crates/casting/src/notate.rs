//! From what is to sound to notes on a staff: cut at barlines, tied, with values and rests.

use std::collections::BTreeMap;

use ripieno_score::{Articulations, Bar, BarIndex, Crotchets, Head, Mark, Metre, Note, NoteFlags, Part, Pitch, Rest};

use crate::groups::is_upbeat;
use crate::metre::{Piece, Span, Tuplet, metres};

/// Pitches that sound together for a while, as they are to be written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Event {
    pub from: Crotchets,
    pub to: Crotchets,
    /// Written pitches, lowest first, each with whether it is held over from the event before.
    pub pitches: Vec<(Pitch, bool)>,
    /// The written notes it stands for, with their signs.
    pub like: Option<Like>,
    /// Signs besides those: of [`TOUCH`].
    pub signs: Articulations,
    pub voice: u16,
}

impl Event {
    /// Pitches in a voice, without signs.
    pub fn plain(from: Crotchets, to: Crotchets, pitches: Vec<(Pitch, bool)>, voice: u16) -> Self {
        Self { from, to, pitches, like: None, signs: Articulations::empty(), voice }
    }
}

/// Signs that say how a note is attacked and held, whoever plays it.
pub(crate) const TOUCH: Articulations = Articulations::ACCENT
    .union(Articulations::STRONG_ACCENT)
    .union(Articulations::SOFT_ACCENT)
    .union(Articulations::STACCATO)
    .union(Articulations::STACCATISSIMO)
    .union(Articulations::TENUTO)
    .union(Articulations::DETACHED_LEGATO)
    .union(Articulations::STRESS)
    .union(Articulations::UNSTRESS)
    .union(Articulations::FERMATA);

/// Of these, what stands at the end of tied notes.
const AT_THE_END: Articulations = Articulations::STACCATO.union(Articulations::STACCATISSIMO).union(Articulations::FERMATA);

/// How a written note is to be attacked and held: a chord has its signs on any of its notes.
pub(crate) fn touch(part: &Part, note: usize) -> Articulations {
    let in_chord = |at: usize| part.notes.get(at).is_some_and(|note| note.flags.contains(NoteFlags::CHORD));
    let first = (0..=note).rev().find(|&at| !in_chord(at)).unwrap_or(note);
    let chord = part.notes.iter().enumerate().skip(first).take_while(|(at, _)| *at == first || in_chord(*at));
    chord.fold(Articulations::empty(), |all, (_, note)| all | note.articulations & TOUCH)
}

/// Written notes to be taken over at another pitch: a part of another score and its first note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Like {
    pub part: usize,
    pub note: usize,
    /// Without slurs and the like, which lead from note to note: for one voice of a chord.
    pub plain: bool,
}

/// From the first bar to the end of the last.
pub(crate) fn throughout(bars: &[Bar]) -> (Crotchets, Crotchets) {
    (Crotchets::ZERO, bars.last().map_or(Crotchets::ZERO, |bar| bar.start + bar.length))
}

/// The bar that holds a moment.
pub(crate) fn bar_of(bars: &[Bar], at: Crotchets) -> usize {
    bars.partition_point(|bar| bar.start <= at).saturating_sub(1)
}

fn index(bar: usize) -> BarIndex {
    BarIndex(u32::try_from(bar).unwrap_or(u32::MAX))
}

/// How the bars that a voice is laid into are divided, and its tuplets.
struct Paper<'a> {
    bars: &'a [Bar],
    metres: Vec<Option<&'a Metre>>,
    /// Bars of which one has been asked for, with the tuplets in them.
    divided: BTreeMap<usize, (Span, Vec<Tuplet>)>,
    /// Moments within bars at which something begins or ends.
    moments: BTreeMap<usize, Vec<Crotchets>>,
}

impl<'a> Paper<'a> {
    fn new(bars: &'a [Bar], events: &[Event], source: &[Part]) -> Self {
        let mut moments: BTreeMap<usize, Vec<Crotchets>> = BTreeMap::new();
        let mut add = |at: Crotchets| {
            if !bars.is_empty() {
                let bar = bar_of(bars, at);
                moments.entry(bar).or_default().push(at - bars[bar].start);
            }
        };
        for event in events {
            // What is taken over keeps its own ties.
            let mut at = event.from;
            for duration in event.like.iter().flat_map(|like| durations(&source[like.part], like.note, event)) {
                at += duration;
                add(at);
            }
            add(event.from);
            add(event.to);
        }
        Self { bars, metres: metres(bars), divided: BTreeMap::new(), moments }
    }

    /// How a bar is divided.
    fn divided(&mut self, bar: usize) -> &(Span, Vec<Tuplet>) {
        self.divided.entry(bar).or_insert_with(|| {
            let span = Span::of(&self.bars[bar], self.metres[bar], is_upbeat(self.bars, bar));
            let mut tuplets = Vec::new();
            span.tuplets(self.moments.get(&bar).map_or(&[], Vec::as_slice), &mut tuplets);
            (span, tuplets)
        })
    }

    /// From and to of the tuplet inside which a moment lies.
    fn tuplet_around(&mut self, at: Crotchets) -> Option<(Crotchets, Crotchets)> {
        let bar = bar_of(self.bars, at);
        let start = self.bars.get(bar)?.start;
        let found = self.divided(bar).1.iter().find(|tuplet| tuplet.from < at - start && at - start < tuplet.to)?;
        Some((start + found.from, start + found.to))
    }

    /// Cuts `from..to` at barlines and into values: each with its bar.
    fn cut(&mut self, from: Crotchets, to: Crotchets, rest: bool) -> Vec<(usize, Piece)> {
        let mut found = Vec::new();
        let mut at = from;
        while at < to && !self.bars.is_empty() {
            let bar = bar_of(self.bars, at);
            let Bar { start, length, .. } = self.bars[bar];
            let end = (start + length).min(to);
            if end <= at {
                break;
            }
            let (span, tuplets) = self.divided(bar);
            let whole = rest && at == start && end == start + length;
            let pieces = if whole {
                vec![Piece { at: Crotchets::ZERO, duration: length, value: None, tuplet: None }]
            } else {
                span.pieces(tuplets, at - start, end - start, rest)
            };
            found.extend(pieces.into_iter().map(|piece| (bar, piece)));
            at = end;
        }
        found
    }
}

/// Writes events of one voice, in order of time and without overlap, into a part. `source` has the parts that [`Like`] points into; `rests`: the span filled up with rests.
/// Beams and brackets are for [`crate::groups::grouped`] to set, when all voices are laid.
pub(crate) fn lay(part: &mut Part, bars: &[Bar], events: &[Event], source: &[Part], rests: Option<(Crotchets, Crotchets)>) {
    let mut paper = Paper::new(bars, events, source);
    let (mut now, end) = rests.unwrap_or_default();
    let rests = rests.is_some();
    for (place, event) in events.iter().enumerate() {
        if rests && event.from > now {
            rest(part, &mut paper, now, event.from, event.voice);
        }
        let after = events.get(place + 1);
        if !rests {
            // A voice whose rests are not shown has them inside tuplets all the same.
            if let Some((from, _)) = paper.tuplet_around(event.from) {
                rest(part, &mut paper, from.max(now), event.from, event.voice);
            }
            now = now.max(event.to);
            if let Some((_, to)) = paper.tuplet_around(event.to) {
                now = after.map_or(to, |after| to.min(after.from)).max(event.to);
                rest(part, &mut paper, event.to, now, event.voice);
            }
        }
        let next = after.filter(|next| next.from == event.to);
        let leads_on = |pitch: Pitch| next.is_some_and(|next| next.pitches.iter().any(|&(other, held)| held && other == pitch));
        if let (Some(like), [(pitch, false)]) = (event.like, event.pitches.as_slice())
            && copy(part, bars, &source[like.part], like, event, *pitch, leads_on(*pitch))
        {
            now = now.max(event.to);
            continue;
        }
        let cuts = paper.cut(event.from, event.to, false);
        let last = cuts.len().saturating_sub(1);
        let signs = event.signs | event.like.map_or(Articulations::empty(), |like| shortened(source, like, event));
        for (piece, &(bar, Piece { at, duration, value, tuplet })) in cuts.iter().enumerate() {
            for (n, &(pitch, held)) in event.pitches.iter().enumerate() {
                let mut flags = NoteFlags::empty();
                flags.set(NoteFlags::CHORD, n > 0);
                flags.set(NoteFlags::TIE_STOP, piece > 0 || held);
                flags.set(NoteFlags::TIE_START, piece < last || leads_on(pitch));
                let head = Head::Pitched(pitch);
                let mut articulations = Articulations::empty();
                articulations.set(signs - AT_THE_END, n == 0 && piece == 0);
                articulations.set(signs & AT_THE_END, n == 0 && piece == last);
                part.notes.push(Note {
                    bar: index(bar),
                    at,
                    duration,
                    head,
                    value,
                    tuplet,
                    voice: event.voice,
                    flags,
                    articulations,
                    ..Note::default()
                });
            }
        }
        now = now.max(event.to);
    }
    if rests && now < end {
        rest(part, &mut paper, now, end, events.first().map_or(1, |event| event.voice));
    }
}

fn rest(part: &mut Part, paper: &mut Paper<'_>, from: Crotchets, to: Crotchets, voice: u16) {
    for (bar, Piece { at, duration, value, tuplet }) in paper.cut(from, to, true) {
        let whole_bar = at.is_zero() && duration == paper.bars[bar].length;
        part.rests.push(Rest { bar: index(bar), at, duration, value, tuplet, voice, whole_bar, ..Rest::default() });
    }
}

/// How the written notes are attacked and held that an event stands for otherwise than they are written; what is cut short loses a fermata.
fn shortened(source: &[Part], like: Like, event: &Event) -> Articulations {
    let part = &source[like.part];
    let tied = chain(part, like.note);
    let length: Crotchets = tied.iter().map(|&note| part.notes[note].duration).sum();
    let all = tied.iter().fold(Articulations::empty(), |all, &note| all | touch(part, note));
    if event.to - event.from < length { all - Articulations::FERMATA } else { all }
}

/// Takes over a written note with all it is tied to; `false` when that does not last as long as the event.
fn copy(part: &mut Part, bars: &[Bar], source: &Part, like: Like, event: &Event, pitch: Pitch, leads_on: bool) -> bool {
    let first = like.note;
    let chain = chain(source, first);
    if durations(source, first, event).is_empty() {
        return false;
    }
    // The other score may begin at another bar.
    let here = i64::try_from(bar_of(bars, event.from)).unwrap_or(0) - i64::from(source.notes[first].bar.0);
    let last = chain.len() - 1;
    for (piece, &from) in chain.iter().enumerate() {
        let mut note = source.notes[from].clone();
        note.head = Head::Pitched(pitch);
        note.articulations |= touch(source, from);
        note.bar = BarIndex(u32::try_from(i64::from(note.bar.0) + here).unwrap_or(u32::MAX));
        (note.voice, note.staff, note.instrument, note.velocity) = (event.voice, 1, 0, 0);
        note.stem = ripieno_score::Stem::Unset;
        note.flags -= NoteFlags::CHORD | NoteFlags::TIE_START | NoteFlags::TIE_STOP;
        note.flags.set(NoteFlags::TIE_STOP, piece > 0);
        note.flags.set(NoteFlags::TIE_START, piece < last || leads_on);
        let at = u32::try_from(part.notes.len()).unwrap_or(u32::MAX);
        let kept = |mark: &&Mark| {
            matches!(mark, Mark::Slur { .. } | Mark::TrillLine { .. } | Mark::Glissando { .. } | Mark::Notehead(_))
        };
        part.marks.extend(source.marks_of(from).filter(|_| !like.plain).filter(kept).map(|mark| (at, mark.clone())));
        part.notes.push(note);
    }
    true
}

/// How long a written note and each it is tied to are; nothing where they do not last as long as the event together.
fn durations(source: &Part, first: usize, event: &Event) -> Vec<Crotchets> {
    let found: Vec<Crotchets> = chain(source, first).into_iter().map(|note| source.notes[note].duration).collect();
    let length: Crotchets = found.iter().copied().sum();
    if length == event.to - event.from { found } else { Vec::new() }
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
