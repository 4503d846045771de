//! Writing the strikes of one line down as a part: bars, ties, rests, tuplets.

use ripieno_score::{Articulations, BarIndex, Beams, Edge, Head, Mark, Note, NoteFlags, Part, Rest, Stem, TupletRatio};

use super::bars::Bars;
use super::events::{Strike, StrikeKind};
use super::values::{Piece, Values};
use super::voices::{Chord, separate};

/// What a strike becomes on the page, apart from its length.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    pub(super) head: Head,
    pub(super) instrument: u8,
}

/// Where a voice stands.
#[derive(Debug, Clone, Copy)]
struct Place {
    voice: u16,
    staff: u8,
    /// The staff's first voice, which shows its rests; others hide them.
    leading: bool,
}

/// Writes parts over one layout of bars, within a budget of notes and rests.
pub(super) struct Scribe<'a> {
    bars: &'a Bars,
    values: Values,
    // Kept from line to line so that they need no new memory.
    pieces: Vec<Piece>,
    looks: Vec<Look>,
    chords: Vec<Chord>,
    /// Notes and rests that may still be written.
    budget: usize,
    /// Bar of the last look-up; time mostly moves forward.
    bar: usize,
    tuplet: Option<OpenTuplet>,
    /// Notes cut because their voice was still taken.
    pub(super) crowded: u32,
}

/// A run of tuplet notes not yet closed.
#[derive(Debug, Clone, Copy)]
struct OpenTuplet {
    ratio: TupletRatio,
    /// First and last note of it in the part.
    notes: Option<(usize, usize)>,
    bar: usize,
    /// Where it goes on, from the barline.
    next: u32,
}

impl<'a> Scribe<'a> {
    pub(super) fn new(bars: &'a Bars, budget: usize) -> Self {
        let longest = bars.starts.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(0);
        let values = Values::new(bars.per_crotchet, longest);
        let (pieces, looks, chords) = (Vec::new(), Vec::new(), Vec::new());
        Self { bars, values, pieces, looks, chords, budget, bar: 0, tuplet: None, crowded: 0 }
    }

    /// Whether the budget is used up, so that something was left out.
    pub(super) const fn is_exhausted(&self) -> bool {
        self.budget == 0
    }

    /// Writes the strikes, ordered by onset, end and key, into the part.
    /// Its voices are numbered from `above` + 1; answers how many there are.
    pub(super) fn write(
        &mut self,
        part: &mut Part,
        strikes: &[Strike],
        staff: u8,
        above: u16,
        look: &impl Fn(&Strike) -> Look,
    ) -> u16 {
        let mut chords = std::mem::take(&mut self.chords);
        let mut voices = separate(strikes, &mut chords, |kind| kind != StrikeKind::Hidden);
        // Ties over barlines and beats need a few more.
        part.notes.reserve((strikes.len() + strikes.len() / 8).min(self.budget));
        for voice in 1..=voices {
            let place = Place { voice: above + voice, staff, leading: voice == 1 };
            self.write_voice(part, strikes, chords.iter().filter(|chord| chord.voice == voice), place, look);
        }
        if strikes.iter().any(|strike| strike.kind == StrikeKind::Hidden) {
            let more = separate(strikes, &mut chords, |kind| kind == StrikeKind::Hidden);
            for voice in 1..=more {
                let own = chords.iter().filter(|chord| chord.voice == voice);
                let place = Place { voice: above + voices + voice, staff, leading: false };
                self.write_voice(part, strikes, own, place, look);
            }
            voices += more;
        }
        self.chords = chords;
        voices
    }

    fn write_voice<'c>(
        &mut self,
        part: &mut Part,
        strikes: &[Strike],
        chords: impl Iterator<Item = &'c Chord>,
        place: Place,
        look: &impl Fn(&Strike) -> Look,
    ) {
        self.bar = 0;
        self.tuplet = None;
        let Place { voice, leading, .. } = place;
        let mut now = 0;
        let mut last: Option<(u32, u32)> = None;
        for chord in chords {
            let notes = strikes.get(chord.notes.clone()).unwrap_or_default();
            if chord.off <= chord.on {
                self.grace(part, chord.on, notes, place, look);
                continue;
            }
            if last == Some((chord.on, chord.off)) {
                self.sound(part, chord.on, chord.off, notes, place, true, look);
                continue;
            }
            self.rest_until(part, &mut now, chord.on, place);
            if chord.on < now {
                self.crowded = self.crowded.saturating_add(u32::try_from(notes.len()).unwrap_or(u32::MAX));
            }
            self.sound(part, chord.on.max(now), chord.off, notes, place, false, look);
            now = now.max(chord.off);
            last = Some((chord.on, chord.off));
        }
        if leading {
            self.rest(part, now, self.bars.end(), place);
        } else if now > 0 {
            let end = self.bar_end(now.saturating_sub(1));
            self.rest(part, now, end, place);
        }
        self.close_tuplet(part, voice);
    }

    /// Fills up to `until` with rests: all of it in the leading voice, only begun bars in the others.
    fn rest_until(&mut self, part: &mut Part, now: &mut u32, until: u32, place: Place) {
        if place.leading {
            self.rest(part, *now, until, place);
        } else {
            if *now > 0 {
                let end = self.bar_end(now.saturating_sub(1));
                self.rest(part, *now, end.min(until), place);
                *now = (*now).max(end.min(until));
            }
            let start = self.bar_start(until);
            self.rest(part, start.max(*now), until, place);
        }
        *now = (*now).max(until);
    }

    /// Index of the bar that holds a tick.
    fn find_bar(&mut self, tick: u32) -> usize {
        let holds = |bar: usize| {
            let start = self.bars.starts.get(bar).copied().unwrap_or(u32::MAX);
            let end = self.bars.starts.get(bar + 1).copied().unwrap_or(u32::MAX);
            start <= tick && tick < end
        };
        if !holds(self.bar) {
            self.bar = if holds(self.bar + 1) { self.bar + 1 } else { self.bars.index_at(tick) };
        }
        self.bar
    }

    fn bar_start(&mut self, tick: u32) -> u32 {
        let bar = self.find_bar(tick);
        self.bars.starts.get(bar).copied().unwrap_or(0)
    }

    fn bar_end(&mut self, tick: u32) -> u32 {
        let bar = self.find_bar(tick);
        self.bars.starts.get(bar + 1).copied().unwrap_or(0)
    }

    fn rest(&mut self, part: &mut Part, from: u32, to: u32, place: Place) {
        let Place { voice, staff, leading } = place;
        let to = to.min(self.bars.end());
        let mut now = from;
        while now < to && !self.is_exhausted() {
            let bar = self.find_bar(now);
            let (start, end) = self.bounds(bar);
            if end <= now {
                return;
            }
            let stop = end.min(to);
            let index = BarIndex(u32::try_from(bar).unwrap_or(u32::MAX));
            let plain = Rest {
                bar: index,
                at: self.values.crotchets(now - start),
                duration: self.values.crotchets(stop - now),
                value: None,
                tuplet: None,
                voice,
                staff,
                whole_bar: now == start && stop == end,
                hidden: !leading,
                cue: false,
                fermata: false,
            };
            if plain.whole_bar {
                self.close_tuplet(part, voice);
                self.push_rest(part, plain);
            } else {
                let beat = self.bars.beats.get(bar).copied().unwrap_or(1);
                let mut pieces = std::mem::take(&mut self.pieces);
                self.values.divide(now - start, stop - start, beat, &mut pieces);
                for piece in &pieces {
                    self.follow_tuplet(part, piece, bar, None, voice);
                    let (at, duration) = (self.values.crotchets(piece.start), self.values.crotchets(piece.length));
                    self.push_rest(part, Rest { at, duration, value: piece.value, tuplet: piece.tuplet, ..plain.clone() });
                }
                self.pieces = pieces;
            }
            now = stop;
        }
    }

    fn push_rest(&mut self, part: &mut Part, rest: Rest) {
        if let Some(left) = self.budget.checked_sub(1) {
            self.budget = left;
            part.rests.push(rest);
        }
    }

    fn bounds(&self, bar: usize) -> (u32, u32) {
        let start = self.bars.starts.get(bar).copied().unwrap_or(0);
        (start, self.bars.starts.get(bar + 1).copied().unwrap_or(start))
    }

    /// Writes a chord from `on` to `off`, tied over barlines and beats. `joining`: a further note of the chord before it.
    #[allow(clippy::too_many_arguments)] // what a notehead needs
    fn sound(
        &mut self,
        part: &mut Part,
        on: u32,
        off: u32,
        notes: &[Strike],
        place: Place,
        joining: bool,
        look: &impl Fn(&Strike) -> Look,
    ) {
        let Place { voice, staff, .. } = place;
        let off = off.min(self.bars.end());
        let mut looks = std::mem::take(&mut self.looks);
        looks.clear();
        looks.extend(notes.iter().map(look));
        let mut now = on;
        while now < off && !self.is_exhausted() {
            let bar = self.find_bar(now);
            let (start, end) = self.bounds(bar);
            if end <= now {
                break;
            }
            let stop = end.min(off);
            let beat = self.bars.beats.get(bar).copied().unwrap_or(1);
            let mut pieces = std::mem::take(&mut self.pieces);
            self.values.divide(now - start, stop - start, beat, &mut pieces);
            for piece in &pieces {
                let mut flags = NoteFlags::empty();
                flags.set(NoteFlags::TIE_STOP, start + piece.start > on);
                flags.set(NoteFlags::TIE_START, start + piece.start + piece.length < off);
                let (at, duration) = (self.values.crotchets(piece.start), self.values.crotchets(piece.length));
                for (index, (strike, &Look { head, instrument })) in notes.iter().zip(&looks).enumerate() {
                    let Some(left) = self.budget.checked_sub(1) else { break };
                    self.budget = left;
                    let mut flags = flags;
                    flags.set(NoteFlags::CHORD, index > 0 || joining);
                    flags.set(NoteFlags::HIDDEN, strike.kind == StrikeKind::Hidden);
                    if index == 0 && !joining {
                        self.follow_tuplet(part, piece, bar, Some(part.notes.len()), voice);
                    }
                    part.notes.push(Note {
                        bar: BarIndex(u32::try_from(bar).unwrap_or(u32::MAX)),
                        at,
                        duration,
                        head,
                        value: piece.value,
                        tuplet: piece.tuplet,
                        voice,
                        staff,
                        instrument,
                        velocity: strike.velocity,
                        tremolo: 0,
                        flags,
                        articulations: Articulations::empty(),
                        beams: Beams::default(),
                        stem: Stem::Unset,
                    });
                }
            }
            self.pieces = pieces;
            now = stop;
        }
        self.looks = looks;
    }

    fn grace(&mut self, part: &mut Part, on: u32, notes: &[Strike], place: Place, look: &impl Fn(&Strike) -> Look) {
        let Place { voice, staff, .. } = place;
        let bar = self.find_bar(on.min(self.bars.end().saturating_sub(1)));
        let (start, _) = self.bounds(bar);
        for (index, strike) in notes.iter().enumerate() {
            let Some(left) = self.budget.checked_sub(1) else { return };
            self.budget = left;
            let Look { head, instrument } = look(strike);
            let mut flags = NoteFlags::GRACE;
            flags.set(NoteFlags::CHORD, index > 0);
            flags.set(NoteFlags::HIDDEN, strike.kind == StrikeKind::Hidden);
            part.notes.push(Note {
                bar: BarIndex(u32::try_from(bar).unwrap_or(u32::MAX)),
                at: self.values.crotchets(on.saturating_sub(start)),
                duration: ripieno_score::Crotchets::ZERO,
                head,
                value: Some(ripieno_score::NoteValue { halvings: 3, dots: 0 }),
                tuplet: None,
                voice,
                staff,
                instrument,
                velocity: strike.velocity,
                tremolo: 0,
                flags,
                articulations: Articulations::empty(),
                beams: Beams::default(),
                stem: Stem::Unset,
            });
        }
    }

    /// Opens, continues or closes the tuplet around a piece; `note` is the note about to be pushed, `None` for a rest.
    #[inline]
    fn follow_tuplet(&mut self, part: &mut Part, piece: &Piece, bar: usize, note: Option<usize>, voice: u16) {
        if self.tuplet.is_none() && piece.tuplet.is_none() {
            return;
        }
        let beat = self.bars.beats.get(bar).copied().unwrap_or(1).max(1);
        let goes_on = self.tuplet.is_some_and(|open| {
            Some(open.ratio) == piece.tuplet && open.bar == bar && open.next == piece.start && !piece.start.is_multiple_of(beat)
        });
        if !goes_on {
            self.close_tuplet(part, voice);
            let Some(ratio) = piece.tuplet else { return };
            self.tuplet = Some(OpenTuplet { ratio, notes: None, bar, next: piece.start });
        }
        if let Some(open) = &mut self.tuplet {
            open.next = piece.start.saturating_add(piece.length);
            if let Some(note) = note {
                open.notes = Some((open.notes.map_or(note, |(first, _)| first), note));
            }
        }
    }

    fn close_tuplet(&mut self, part: &mut Part, voice: u16) {
        let Some((first, last)) = self.tuplet.take().and_then(|open| open.notes) else { return };
        if first == last {
            return;
        }
        let number = u8::try_from((voice - 1) % 6).unwrap_or(0) + 1;
        for (note, edge) in [(first, Edge::Start), (last, Edge::Stop)] {
            if let Ok(note) = u32::try_from(note) {
                part.marks.push((note, Mark::Tuplet { edge, number, bracket: true }));
            }
        }
    }
}
