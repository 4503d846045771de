//! Reads one part bar by bar and keeps what lasts from bar to bar.
//!
//! A part knows only its own bars: what several parts say about one bar (its length, number, repeats) is gathered here and
//! weighed in `assemble`, so that partwise and timewise files go the same way.

use std::collections::BTreeSet;

use ripieno_score::{BarIndex, Change, ChangeKind, ClefSign, Crotchets, Jump, Mark, Metre, NoteFlags, Part};

use crate::Severity;

use super::beat_repeat::BeatRepeats;
use super::clock::Clock;
use super::context::{At, Context};
use super::number::Decimal;
use super::simile::{Similes, StaffOf};

/// A bar as one part has it.
#[derive(Debug, Clone)]
pub(super) struct BarRead<'x> {
    /// The number attribute as written.
    pub number: &'x str,
    /// Where the last note ends; zero in a bar without notes.
    pub sounded: Crotchets,
    /// Where the last note, rest or forward ends.
    pub reached: Crotchets,
    /// Whether the part has ordinary rests here, not just rests for the whole bar, which stretch.
    pub counted: bool,
    /// The voice that fills the bar furthest.
    pub longest_voice: u16,
    /// Not counted in the numbering.
    pub implicit: bool,
    /// The part has no such bar.
    pub missing: bool,
}

impl<'x> BarRead<'x> {
    /// A bar the part does not have.
    pub const fn missing(number: &'x str) -> Self {
        let none = Crotchets::ZERO;
        Self { number, sounded: none, reached: none, counted: false, longest_voice: 0, implicit: false, missing: true }
    }

    /// This bar with what one of its staves takes over from `other`.
    pub fn filled_from(&self, other: &Self) -> Self {
        let (sounded, reached) = (self.sounded.max(other.sounded), self.reached.max(other.reached));
        let longest_voice = if other.reached > self.reached { other.longest_voice } else { self.longest_voice };
        Self { sounded, reached, counted: self.counted || other.counted, longest_voice, ..self.clone() }
    }
}

/// What fills time in a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Filler {
    Note,
    Rest,
    /// A rest for the whole bar, or a gap.
    WholeBar,
}

/// What a part says about a bar that concerns every part.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Fact {
    RepeatStart,
    RepeatEnd(u8),
    EndingStart(Vec<u8>),
    EndingStop,
    Jump(Jump),
    Barline(Box<str>),
}

/// A time signature as one part has it.
#[derive(Debug, Clone)]
pub(super) struct TimeSignature {
    pub bar: u32,
    pub staff: Option<u8>,
    pub metre: Metre,
}

/// What is in force on one staff.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Staff {
    /// Flags every note on it gets: an ossia, a cue or a hidden staff.
    pub flags: NoteFlags,
    pub clef: Option<ClefSign>,
}

/// The note a chord member shares its stem with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stemmed {
    pub at: Crotchets,
    pub voice: u16,
    pub grace: bool,
}

/// See the module.
pub(super) struct PartReader<'x> {
    pub part: Part,
    pub bars: Vec<BarRead<'x>>,
    pub facts: Vec<(u32, Fact)>,
    pub metres: Vec<TimeSignature>,
    /// Ties that stand only in the notation, for files that have no others.
    pub drawn_ties: Vec<(u32, NoteFlags)>,
    /// Starts of tuplets on rests, for the next note of the voice in the bar.
    pub begun_by_rests: Vec<(BarIndex, u16, Mark)>,
    /// Whether the file has this part's music at all.
    pub has_music: bool,
    pub(super) clock: Clock,
    pub(super) bar: BarIndex,
    pub(super) stemmed: Option<Stemmed>,
    pub(super) staves: Vec<Staff>,
    pub(super) instrument: u8,
    pub(super) last_instrument: Option<u8>,
    pub(super) octave_shifts: Vec<(u8, i8)>,
    pub(super) dashes: Vec<u8>,
    /// Staves that show slashes; `None` for all.
    pub(super) slashes: BTreeSet<StaffOf>,
    pub(super) slashes_reported: bool,
    pub(super) similes: Similes,
    pub(super) beat_repeats: BeatRepeats,
    pub(super) is_horn: bool,
    pub(super) low_horn_reported: bool,
    warned_divisions: bool,
    /// Notes with an instrument of another part have been reported.
    pub(super) stranger_reported: bool,
}

impl<'x> PartReader<'x> {
    pub fn new(part: Part) -> Self {
        let is_horn = super::horn::is_horn(&part);
        Self {
            part,
            bars: Vec::new(),
            facts: Vec::new(),
            metres: Vec::new(),
            drawn_ties: Vec::new(),
            begun_by_rests: Vec::new(),
            has_music: false,
            clock: Clock::new(),
            bar: BarIndex(0),
            stemmed: None,
            staves: Vec::new(),
            instrument: 0,
            last_instrument: None,
            octave_shifts: Vec::new(),
            dashes: Vec::new(),
            slashes: BTreeSet::new(),
            slashes_reported: false,
            similes: Similes::default(),
            beat_repeats: BeatRepeats::default(),
            is_horn,
            low_horn_reported: false,
            warned_divisions: false,
            stranger_reported: false,
        }
    }

    /// The place of a finding made now.
    pub(super) fn here(&self) -> At<'_> {
        At { part: self.label(), bar: self.bars.last().map_or("", |bar| bar.number) }
    }

    /// The part's name, or its id when it has none.
    pub fn label(&self) -> &str {
        if self.part.name.is_empty() { &self.part.id } else { &self.part.name }
    }

    pub(super) fn warn(
        &self,
        context: &mut Context<'x, '_>,
        code: &'static str,
        what: impl Into<String>,
        hint: impl Into<String>,
    ) {
        context.say(Severity::Warning, self.here(), code, what, hint);
    }

    pub(super) fn fact(&mut self, fact: Fact) {
        self.facts.push((self.bar.0, fact));
    }

    /// Notes that something changes here.
    pub(super) fn change(&mut self, staff: Option<u8>, kind: ChangeKind) {
        self.part.changes.push(Change { bar: self.bar, at: self.clock.now(), staff, kind });
    }

    /// The length a bar should have by the part's own time signature.
    pub(super) fn metre_length(&self) -> Option<Crotchets> {
        self.metres.last().and_then(|signature| signature.metre.length())
    }

    pub(super) fn staff_mut(&mut self, number: u8) -> Option<&mut Staff> {
        let index = usize::from(number.max(1)) - 1;
        if self.staves.len() <= index {
            self.staves.resize(index + 1, Staff::default());
        }
        self.staves.get_mut(index)
    }

    /// Puts empty bars until the next bar read is bar `index` (a timewise file may leave a part out of a bar).
    pub fn pad_to(&mut self, index: usize, number: &'x str, context: &mut Context<'x, '_>) {
        let missing = index.saturating_sub(self.bars.len());
        if missing > 0 {
            let what = format!("the part is left out of {missing} of the bars before this one");
            context.warn(At { part: self.label(), bar: number }, "bars-missing", what, "They were read as empty");
        }
        while self.bars.len() < index {
            self.bars.push(BarRead::missing(number));
        }
    }

    fn open_bar(&mut self, number: &'x str, implicit: bool) {
        self.bar = BarIndex(u32::try_from(self.bars.len()).unwrap_or(u32::MAX));
        self.clock.new_bar();
        self.stemmed = None;
        self.bars.push(BarRead { implicit, missing: false, ..BarRead::missing(number) });
    }

    /// Reads one `<measure>`, or a `<part>` inside one.
    pub fn measure(&mut self, number: &'x str, implicit: bool, context: &mut Context<'x, '_>) {
        if self.bars.len() >= context.limits.bars {
            context.cursor.stop(format!("the score has more than the {} bars allowed", context.limits.bars));
            return;
        }
        self.has_music = true;
        self.open_bar(number, implicit);
        let (first_note, first_rest) = (self.part.notes.len(), self.part.rests.len());
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "note" => self.note(tag, context),
                "backup" => self.backup(context),
                "forward" => self.forward(context),
                "direction" => self.direction(tag, context),
                "attributes" => self.attributes(context),
                "barline" => self.barline(tag, context),
                "sound" => self.loose_sound(tag, context),
                "harmony" => self.harmony(tag, context),
                "figured-bass" => self.figured_bass(context),
                "print" | "listening" | "grouping" | "link" | "bookmark" => context.cursor.skip(),
                name => context.skip_unknown(name, self.here()),
            }
        }
        self.fill_beats(first_note, first_rest, context);
        self.end_bar(first_note);
    }

    fn end_bar(&mut self, first_note: usize) {
        self.similes.end_bar(self.bar.0, self.part.notes.get(first_note..).unwrap_or_default());
        self.notice_instrument(first_note);
    }

    /// Notes a change of instrument where all pitched notes of a bar name another one than before.
    fn notice_instrument(&mut self, first_note: usize) {
        if self.part.instruments.len() < 2 {
            return;
        }
        let mut pitched = self.part.notes.iter().skip(first_note).filter(|note| note.pitch().is_some() && note.plays());
        let Some((at, instrument)) = pitched.next().map(|note| (note.at, note.instrument)) else { return };
        if !pitched.all(|note| note.instrument == instrument) || self.last_instrument == Some(instrument) {
            return;
        }
        if self.last_instrument.is_some() {
            self.part.changes.push(Change { bar: self.bar, at, staff: None, kind: ChangeKind::Instrument(instrument) });
        }
        self.last_instrument = Some(instrument);
    }

    /// A duration in crotchets that makes sense: not negative and within the limit; `None` after a report otherwise.
    pub(super) fn sane_length(&mut self, duration: Decimal, context: &mut Context<'x, '_>) -> Option<Crotchets> {
        if !self.clock.divisions_given && !self.warned_divisions {
            self.warned_divisions = true;
            let hint = "A crotchet was taken to have one division";
            self.warn(context, "no-divisions", "durations stand before any <divisions>", hint);
        }
        let length = self.clock.length(duration);
        let fits = duration.mantissa >= 0 && length <= Crotchets::whole(context.limits.bar_crotchets);
        fits.then_some(length)
    }

    fn backup(&mut self, context: &mut Context<'x, '_>) {
        let Some(duration) = self.duration_child(context) else { return };
        if self.sane_length(duration, context).is_none() || !self.clock.back(duration) {
            self.clock.new_bar();
            let what = "a <backup> leads to before the barline";
            self.warn(context, "backup-too-far", what, "What follows was put at the barline; check the voices of this bar");
        }
        self.stemmed = None;
    }

    fn forward(&mut self, context: &mut Context<'x, '_>) {
        let Some(duration) = self.duration_child(context) else { return };
        match self.sane_length(duration, context) {
            Some(_) => {
                self.clock.advance(duration);
                self.reach(self.clock.now(), 0, Filler::WholeBar, context);
            }
            None => self.warn(context, "absurd-duration", "a <forward> has an impossible duration", "It was left out"),
        }
        self.stemmed = None;
    }

    /// The `<duration>` of a backup or forward.
    fn duration_child(&mut self, context: &mut Context<'x, '_>) -> Option<Decimal> {
        let (mut duration, mut text_given) = (None, false);
        while let Some(tag) = context.cursor.child() {
            if tag.name() == "duration" {
                duration = Decimal::parse(&context.cursor.text());
                text_given = true;
            } else {
                context.cursor.skip();
            }
        }
        if context.cursor.fault().is_some() {
            return None;
        }
        if duration.is_none() {
            let what = if text_given { "a duration is not a number" } else { "a <backup> or <forward> has no duration" };
            self.warn(context, "absurd-duration", what, "It was left out");
        }
        duration
    }

    /// Notes that a note, rest or forward of `voice` lasts until `end`.
    #[inline]
    pub(super) fn reach(&mut self, end: Crotchets, voice: u16, by: Filler, context: &mut Context<'x, '_>) {
        if !self.within_bar(end, context) {
            return;
        }
        let Some(bar) = self.bars.last_mut() else { return };
        if end > bar.reached {
            (bar.reached, bar.longest_voice) = (end, voice);
        }
        match by {
            Filler::Note => bar.sounded = bar.sounded.max(end),
            Filler::Rest => bar.counted = true,
            Filler::WholeBar => {}
        }
    }

    /// Whether a bar may be that long; if not, the position goes back to the barline, which keeps sums of absurd lengths bounded.
    fn within_bar(&mut self, end: Crotchets, context: &mut Context<'x, '_>) -> bool {
        let fits = end <= Crotchets::whole(context.limits.bar_crotchets);
        if !fits {
            let what = format!("the bar is longer than {} crotchets", context.limits.bar_crotchets);
            self.warn(context, "absurd-bar", what, "What lies beyond was put back at the barline");
            self.clock.new_bar();
        }
        fits
    }
}
