//! Signs that repeat a beat: beats that hold nothing in the file are filled with the notes of the beat before the sign.

use ripieno_score::{Crotchets, Metre, NoteFlags, Rest};

use super::context::Context;
use super::part_reader::PartReader;
use super::simile::StaffOf;

/// Signs in one bar that are followed; more are damage.
const MOST_SIGNS: usize = 64;

/// Beat-repeat signs of a part that are in force, or were until somewhere in the bar being read.
#[derive(Debug, Default)]
pub(super) struct BeatRepeats {
    signs: Vec<Sign>,
    /// Notes written out so far.
    made: usize,
}

#[derive(Debug, Clone)]
struct Sign {
    staff: StaffOf,
    /// Where in the bar it begins to hold.
    from: Crotchets,
    /// Where in the bar it ceases to.
    until: Option<Crotchets>,
    /// The length of the beat where the sign shows it.
    shown: Option<Crotchets>,
    /// The beat repeated, found at the end of the bar the sign begins in; `None` where there is no telling.
    beat: Option<Beat>,
    /// Whether it began in the bar being read.
    new: bool,
}

/// A beat with its notes, as indices into the part's.
#[derive(Debug, Clone)]
struct Beat {
    start: Crotchets,
    length: Crotchets,
    notes: Vec<usize>,
}

impl Sign {
    fn holds(&self, staff: u8) -> bool {
        self.staff.is_none_or(|of| of == staff)
    }
}

impl BeatRepeats {
    /// From here on a sign repeats the beat before.
    pub fn start(&mut self, staff: StaffOf, from: Crotchets, shown: Option<Crotchets>) {
        self.stop(staff, from);
        if self.signs.len() < MOST_SIGNS {
            self.signs.push(Sign { staff, from, until: None, shown, beat: None, new: true });
        }
    }

    /// The sign for this staff, or every sign, ceases to hold.
    pub fn stop(&mut self, staff: StaffOf, at: Crotchets) {
        let ends = |of: StaffOf| staff.is_none() || of.is_none() || of == staff;
        self.signs.iter_mut().filter(|sign| ends(sign.staff)).for_each(|sign| sign.until = sign.until.or(Some(at)));
    }
}

/// The beat of a metre where a sign does not show it: the unit, or three of it in compound metres.
fn beat_of(metre: Option<&Metre>) -> Crotchets {
    let Some(Metre::Measured(terms)) = metre else { return Crotchets::ONE };
    let Some((beats, unit)) = terms.first() else { return Crotchets::ONE };
    let compound = *unit >= 8 && matches!(beats.as_slice(), [beats] if beats % 3 == 0 && *beats > 3);
    Crotchets::new(if compound { 12 } else { 4 }, i64::from(*unit)).unwrap_or(Crotchets::ONE)
}

impl<'x> PartReader<'x> {
    /// Fills what the signs of the bar just read leave empty, and says so; `first_note` and `first_rest` are the bar's first.
    pub(super) fn fill_beats(&mut self, first_note: usize, first_rest: usize, context: &mut Context<'x, '_>) {
        if self.beat_repeats.signs.is_empty() {
            return;
        }
        let reached = self.bars.last().map_or(Crotchets::ZERO, |bar| bar.reached);
        let reached = if reached.is_zero() { self.metre_length().unwrap_or_default() } else { reached };
        for mut sign in std::mem::take(&mut self.beat_repeats.signs) {
            if std::mem::take(&mut sign.new) {
                sign.beat = self.beat_before(&sign);
            }
            let until = sign.until.unwrap_or(reached).min(reached);
            if sign.from < until {
                self.fill_stretch(&sign, until, (first_note, first_rest), context);
            }
            if sign.until.is_none() {
                sign.from = Crotchets::ZERO;
                self.beat_repeats.signs.push(sign);
            }
        }
    }

    /// The beat before a sign of the bar just read, at a barline the last of the bar before; `None` if it has no notes of its own.
    fn beat_before(&self, sign: &Sign) -> Option<Beat> {
        let length = sign.shown.unwrap_or_else(|| beat_of(self.metres.last().map(|signature| &signature.metre)));
        let (bar, end) = if sign.from.is_zero() {
            (self.bar.0.checked_sub(1)?, self.bars.iter().rev().nth(1)?.reached)
        } else {
            (self.bar.0, sign.from)
        };
        let start = end - length;
        let first = self.part.notes.partition_point(|note| note.bar.0 < bar);
        let of_bar = (first..).zip(self.part.notes.iter().skip(first).take_while(|note| note.bar.0 == bar));
        let inside = of_bar
            .filter(|(_, note)| sign.holds(note.staff) && note.at >= start && note.at < end && note.at + note.duration <= end);
        let notes: Vec<usize> = inside.map(|(index, _)| index).collect();
        (start >= Crotchets::ZERO && length.is_positive() && !notes.is_empty()).then_some(Beat { start, length, notes })
    }

    fn fill_stretch(
        &mut self,
        sign: &Sign,
        until: Crotchets,
        (first_note, first_rest): (usize, usize),
        context: &mut Context<'x, '_>,
    ) {
        let notes = self.part.notes.get(first_note..).unwrap_or_default();
        let mut own =
            notes.iter().filter(|note| sign.holds(note.staff) && note.at + note.duration > sign.from && note.at < until);
        if let Some(note) = own.next() {
            // The file has the notes, unless they are only the signs themselves.
            if note.flags.contains(NoteFlags::SLASH) {
                self.warn_of_beats(context);
            }
            return;
        }
        let rests = self.part.rests.get(first_rest..).unwrap_or_default();
        let mut rests = rests.iter().filter(|rest| sign.holds(rest.staff) && !rest.whole_bar);
        let across = rests.any(|rest| {
            let end = rest.at + rest.duration;
            end > sign.from && rest.at < until && (rest.at < sign.from || end > until)
        });
        let beat = sign.beat.as_ref().filter(|beat| !across && self.may_make(beat, until - sign.from));
        let Some(beat) = beat else { return self.warn_of_beats(context) };
        let mut at = sign.from;
        while at + beat.length <= until {
            for &source in &beat.notes {
                context.count_event();
                self.copy_note(source, at - beat.start, (beat.start, beat.start + beat.length));
            }
            self.beat_repeats.made += beat.notes.len();
            at += beat.length;
        }
        let of_bar = self.part.rests.split_off(first_rest.min(self.part.rests.len()));
        let kept = |rest: &Rest| !sign.holds(rest.staff) || rest.at + rest.duration <= sign.from || rest.at >= at;
        self.part.rests.extend(of_bar.into_iter().filter(kept));
        if let Some(bar) = self.bars.last_mut() {
            bar.sounded = bar.sounded.max(at);
            bar.reached = bar.reached.max(at);
        }
        if at < until {
            return self.warn_of_beats(context);
        }
        context.note(self.here(), "beat-repeat", "a sign repeats the beat before", "Its notes were written out");
    }

    /// A sign is small: what it may unfold to is kept in proportion to the part.
    fn may_make(&self, beat: &Beat, stretch: Crotchets) -> bool {
        const COPIES_OF_ALL: usize = 16;
        let times = stretch.checked_div(beat.length).map_or(0, Crotchets::floor);
        let more = usize::try_from(times).unwrap_or(usize::MAX).saturating_mul(beat.notes.len());
        let read = self.part.notes.len().saturating_sub(self.beat_repeats.made);
        self.beat_repeats.made.saturating_add(more) <= read * COPIES_OF_ALL + 10_000
    }

    /// Copies a note of the beat from `start` to `end` so much further on in the bar being read.
    fn copy_note(&mut self, source: usize, by: Crotchets, (start, end): (Crotchets, Crotchets)) {
        let Some(mut note) = self.part.notes.get(source).cloned() else { return };
        // Ties into the beat and out of it do not lead to its copies.
        if note.at == start {
            note.flags -= NoteFlags::TIE_STOP;
        }
        if note.at + note.duration == end {
            note.flags -= NoteFlags::TIE_START;
        }
        note.bar = self.bar;
        note.at += by;
        note.flags |= NoteFlags::FILLED_IN;
        let index = u32::try_from(self.part.notes.len()).unwrap_or(u32::MAX);
        self.part.notes.push(note);
        let source = u32::try_from(source).unwrap_or(u32::MAX);
        let first = self.part.marks.partition_point(|&(of, _)| of < source);
        let marks: Vec<_> = self.part.marks.iter().skip(first).take_while(|&&(of, _)| of == source).cloned().collect();
        self.part.marks.extend(marks.into_iter().map(|(_, mark)| (index, mark)));
    }

    fn warn_of_beats(&self, context: &mut Context<'x, '_>) {
        let what = "a sign repeats a beat, and the file does not show which notes";
        self.warn(context, "beat-repeat", what, "These beats were left as they are; write them out");
    }
}
