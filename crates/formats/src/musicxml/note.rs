//! `<note>`: a notehead or a rest.

use ripieno_score::{
    Articulations, BarIndex, Beam, Beams, Crotchets, Edge, Head, Mark, Note, NoteFlags, NoteValue, Pitch, Rest, Stem, Step,
    TupletRatio,
};

use super::context::Context;
use super::entities::plain;
use super::number::{Decimal, small};
use super::part_reader::{Filler, PartReader, Stemmed};
use super::tag::Tag;

/// A note as its elements are met; turned into a [`Note`] or [`Rest`] at the end.
pub(super) struct Draft {
    pub chord: bool,
    pub rest: bool,
    pub whole_bar: bool,
    pub head: Option<Head>,
    pub duration: Option<Decimal>,
    pub duration_bad: bool,
    pub halvings: Option<i8>,
    pub dots: u8,
    pub tuplet: Option<TupletRatio>,
    pub voice: u16,
    pub staff: u8,
    pub instrument: Option<u8>,
    pub velocity: u8,
    pub flags: NoteFlags,
    pub drawn_ties: NoteFlags,
    pub articulations: Articulations,
    pub beams: Beams,
    pub stem: Stem,
    pub tremolo: u8,
    /// `<notehead>none`.
    pub headless: bool,
    /// Semitones the printed accidental asks for.
    pub accidental: Option<i64>,
    /// Whether the file gives an `<alter>`.
    pub altered: bool,
    pub marks: Vec<Mark>,
}

impl Draft {
    fn new() -> Self {
        Self {
            chord: false,
            rest: false,
            whole_bar: false,
            head: None,
            duration: None,
            duration_bad: false,
            halvings: None,
            dots: 0,
            tuplet: None,
            voice: 1,
            staff: 1,
            instrument: None,
            velocity: 0,
            flags: NoteFlags::empty(),
            drawn_ties: NoteFlags::empty(),
            articulations: Articulations::empty(),
            beams: Beams::default(),
            stem: Stem::Unset,
            tremolo: 0,
            headless: false,
            accidental: None,
            altered: false,
            marks: Vec::new(),
        }
    }

    fn value(&self) -> Option<NoteValue> {
        self.halvings.map(|halvings| NoteValue { halvings, dots: self.dots })
    }

    /// The length the printed shape stands for.
    fn printed_length(&self) -> Option<Crotchets> {
        let plain = self.value()?.length();
        let Some(ratio) = self.tuplet else { return Some(plain) };
        Some(plain * Crotchets::new(i64::from(ratio.normal), i64::from(ratio.actual))?)
    }
}

impl<'x> PartReader<'x> {
    pub(super) fn note(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let mut draft = Draft::new();
        for (key, value) in tag.attributes() {
            match key {
                "print-object" if value.trim() == "no" => draft.flags |= NoteFlags::HIDDEN,
                "dynamics" => draft.velocity = velocity(value),
                _ => {}
            }
        }
        while let Some(child) = context.cursor.child() {
            self.note_child(&mut draft, child, context);
        }
        // A note cut off in the middle may be missing half its duration.
        if context.cursor.fault().is_some() {
            return;
        }
        context.count_event();
        self.finish_note(draft, context);
    }

    #[inline]
    fn note_child(&mut self, draft: &mut Draft, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        match tag.name() {
            "pitch" => self.pitch(draft, context),
            "duration" => {
                draft.duration = Decimal::parse(&context.cursor.text());
                draft.duration_bad = draft.duration.is_none();
            }
            "voice" => draft.voice = voice(&context.cursor.text()),
            "type" => {
                // size="cue" is a matter of print: "Normal notes that play can be specified as cue size" (MusicXML 4.0, cue).
                draft.halvings = halvings(&context.cursor.text());
            }
            "stem" => {
                draft.stem = match context.cursor.text().trim() {
                    "up" => Stem::Up,
                    "down" => Stem::Down,
                    "none" => Stem::None,
                    "double" => Stem::Double,
                    _ => Stem::Unset,
                }
            }
            "staff" => draft.staff = small(&context.cursor.text()).unwrap_or(1).max(1),
            "beam" => beam(draft, tag, context),
            "notations" => self.notations(draft, tag, context),
            "chord" => {
                context.cursor.skip();
                draft.chord = true;
            }
            "dot" => {
                context.cursor.skip();
                draft.dots = draft.dots.saturating_add(1).min(8);
            }
            "rest" => {
                draft.rest = true;
                draft.whole_bar = tag.says("measure", "yes");
                context.cursor.skip();
            }
            "tie" => {
                context.cursor.skip();
                context.ties_sound = true;
                match tag.attribute("type").map(str::trim) {
                    Some("start") => draft.flags |= NoteFlags::TIE_START,
                    Some("stop") => draft.flags |= NoteFlags::TIE_STOP,
                    Some("continue") => draft.flags |= NoteFlags::TIE_START | NoteFlags::TIE_STOP,
                    Some("let-ring") => draft.flags |= NoteFlags::LET_RING,
                    _ => {}
                }
            }
            "instrument" => {
                context.cursor.skip();
                let id = plain(tag.attribute("id").unwrap_or_default());
                draft.instrument = self.instrument_named(id.trim());
                if draft.instrument.is_none() && !std::mem::replace(&mut self.stranger_reported, true) {
                    let what = format!("notes name the instrument {:?}, which this part does not declare", id.trim());
                    self.warn(context, "unknown-instrument", what, "They were given to the part's own instrument");
                }
            }
            "grace" => {
                draft.flags |= NoteFlags::GRACE;
                if tag.says("slash", "yes") {
                    draft.flags |= NoteFlags::SLASHED;
                }
                context.cursor.skip();
            }
            "cue" => {
                draft.flags |= NoteFlags::CUE;
                context.cursor.skip();
            }
            "unpitched" => self.unpitched(draft, context),
            "time-modification" => self.time_modification(draft, context),
            "lyric" => self.lyric(draft, tag, context),
            "notehead" => notehead(draft, context),
            "accidental" => draft.accidental = printed_accidental(&context.cursor.text()),
            "notehead-text" | "play" | "listen" | "footnote" | "level" => context.cursor.skip(),
            name => context.skip_unknown(name, self.here()),
        }
    }

    fn instrument_named(&self, id: &str) -> Option<u8> {
        let index = self.part.instruments.iter().position(|instrument| instrument.id == id)?;
        u8::try_from(index).ok()
    }

    fn pitch(&mut self, draft: &mut Draft, context: &mut Context<'x, '_>) {
        let (mut step, mut octave, mut alter) = (None, None, Some(0));
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "step" => step = step_named(&context.cursor.text()),
                "octave" => octave = small::<i8>(&context.cursor.text()),
                "alter" => {
                    let text = context.cursor.text();
                    draft.altered = true;
                    alter = if text.trim().is_empty() { Some(0) } else { Decimal::parse(&text).map(Decimal::hundredths) };
                }
                _ => context.cursor.skip(),
            }
        }
        const MOST_HUNDREDTHS: i64 = 1200;
        let (Some(step), Some(octave @ -1..=10)) = (step, octave) else {
            if context.cursor.fault().is_none() {
                self.warn(context, "bad-pitch", "a note has no step or octave that can be read", "It was read as a rest");
            }
            draft.rest = true;
            return;
        };
        let alter = alter.filter(|alter| alter.abs() <= MOST_HUNDREDTHS).unwrap_or_else(|| {
            self.warn(
                context,
                "bad-alter",
                "an alteration is not a sensible number of semitones",
                "The note was read as natural",
            );
            0
        });
        let part = |value: i64| i8::try_from(value).unwrap_or(0);
        draft.head = Some(Head::Pitched(Pitch { step, octave, alter: part(alter / 100), cents: part(alter % 100) }));
    }

    fn unpitched(&mut self, draft: &mut Draft, context: &mut Context<'x, '_>) {
        // Without a place of its own it stands on the middle line, as if under a treble clef.
        let (mut step, mut octave) = (Step::B, 4);
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "display-step" => step = step_named(&context.cursor.text()).unwrap_or(step),
                "display-octave" => octave = small::<i8>(&context.cursor.text()).unwrap_or(octave).clamp(-1, 10),
                _ => context.cursor.skip(),
            }
        }
        draft.head = Some(Head::Unpitched(Pitch::new(step, 0, octave)));
    }

    fn time_modification(&mut self, draft: &mut Draft, context: &mut Context<'x, '_>) {
        let (mut actual, mut normal) = (None, None);
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "actual-notes" => actual = small::<u16>(&context.cursor.text()).filter(|&n| n > 0),
                "normal-notes" => normal = small::<u16>(&context.cursor.text()).filter(|&n| n > 0),
                _ => context.cursor.skip(),
            }
        }
        if let (Some(actual), Some(normal)) = (actual, normal) {
            draft.tuplet = Some(TupletRatio { actual, normal });
        } else if context.cursor.fault().is_none() {
            self.warn(context, "bad-tuplet", "a tuplet has no ratio that can be read", "The durations stand as given");
        }
    }

    fn lyric(&mut self, draft: &mut Draft, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        context.count_event();
        let verse = tag.attribute("number").and_then(small::<u8>).unwrap_or(1);
        let (mut text, mut hyphen) = (String::new(), false);
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "syllabic" => hyphen = matches!(context.cursor.text().trim(), "begin" | "middle"),
                "text" => text.push_str(&context.cursor.text()),
                "elision" => {
                    let elision = context.cursor.text();
                    text.push_str(if elision.trim().is_empty() { "\u{203f}" } else { &elision });
                }
                _ => context.cursor.skip(),
            }
        }
        let text = super::text::clean(&text);
        if !text.is_empty() {
            draft.marks.push(Mark::Lyric { verse, text: text.into(), hyphen });
        }
    }

    /// Gives the draft its place and puts it into the part.
    fn finish_note(&mut self, mut draft: Draft, context: &mut Context<'x, '_>) {
        let chord = draft.chord && !draft.rest;
        let stemmed = if chord { self.stemmed } else { None };
        if chord && stemmed.is_none() {
            self.warn(context, "chord-alone", "a chord note follows no note", "It was read as a note of its own");
        }
        if let Some(first) = stemmed {
            draft.voice = first.voice;
            draft.flags |= NoteFlags::CHORD;
            draft.flags.set(NoteFlags::GRACE, first.grace);
        }
        let grace = draft.flags.contains(NoteFlags::GRACE);
        let length = if grace { Crotchets::ZERO } else { self.length_of(&mut draft, context) };
        if let Some(staff) = self.staves.get(usize::from(draft.staff) - 1) {
            draft.flags |= staff.flags;
        }
        let at = match stemmed {
            Some(first) => first.at,
            None => {
                let at = self.clock.now();
                if !grace {
                    match draft.duration {
                        Some(duration) => self.clock.advance(duration),
                        None => self.clock.advance_by(length),
                    }
                }
                at
            }
        };
        self.part.staves = self.part.staves.max(draft.staff);
        if draft.rest {
            self.stemmed = None;
            self.push_rest(&draft, at, length, context);
        } else {
            self.stemmed = Some(Stemmed { at, voice: draft.voice, grace: draft.flags.contains(NoteFlags::GRACE) });
            self.push_note(draft, at, length, context);
        }
    }

    /// The note's length: its duration where that makes sense, else what its shape stands for.
    fn length_of(&mut self, draft: &mut Draft, context: &mut Context<'x, '_>) -> Crotchets {
        if let Some(duration) = draft.duration {
            if let Some(length) = self.sane_length(duration, context) {
                return length;
            }
        } else if draft.whole_bar && !draft.duration_bad {
            return self.metre_length().unwrap_or(Crotchets::whole(4));
        }
        let missing = draft.duration.is_none() && !draft.duration_bad;
        draft.duration = None;
        let length = draft.printed_length();
        let what = if missing { "a note has no duration" } else { "a note has an impossible duration" };
        let hint = if length.is_some() { "Its printed value was taken" } else { "It was given none" };
        self.warn(context, "absurd-duration", what, hint);
        length.unwrap_or_default()
    }

    fn push_note(&mut self, mut draft: Draft, at: Crotchets, length: Crotchets, context: &mut Context<'x, '_>) {
        let head = draft.head.unwrap_or_else(|| {
            self.warn(context, "no-pitch", "a note has no pitch", "It was read as a stroke without pitch");
            Head::Unpitched(Pitch::new(Step::B, 0, 4))
        });
        // Without head and stem nothing is printed: such notes hold words, fermatas or accidentals in place.
        if draft.headless && draft.stem == Stem::None {
            draft.flags |= NoteFlags::HIDDEN;
        }
        if !self.slashes.is_empty() && [None, Some(draft.staff)].iter().any(|staff| self.slashes.contains(staff)) {
            draft.flags |= NoteFlags::SLASH;
        }
        if draft.flags.contains(NoteFlags::SLASH) && !self.slashes_reported {
            self.report_slashes(context);
        }
        if !draft.altered && draft.accidental.is_some_and(|semitones| semitones != 0) && matches!(head, Head::Pitched(_)) {
            let what = "a printed accidental is not in the pitch of its note";
            self.warn(
                context,
                "accidental-without-alter",
                what,
                "The pitch was followed, as MusicXML asks; check whether the accidental is meant",
            );
        }
        let index = u32::try_from(self.part.notes.len()).unwrap_or(u32::MAX);
        if !context.ties_sound && !draft.drawn_ties.is_empty() {
            self.drawn_ties.push((index, draft.drawn_ties));
        }
        if self.is_horn && !self.low_horn_reported {
            self.notice_low_horn(draft.staff, context);
        }
        // A chord lasts as long as its first note; other members may end sooner, but cannot make the bar longer.
        if length.is_positive() && !draft.flags.contains(NoteFlags::CHORD) {
            self.reach(at + length, draft.voice, Filler::Note, context);
        }
        let value = draft.value().or_else(|| value_of(length, draft.tuplet));
        if !self.begun_by_rests.is_empty() && !draft.flags.intersects(NoteFlags::CHORD | NoteFlags::GRACE) {
            let (bar, voice) = (self.bar, draft.voice);
            let own = self.begun_by_rests.extract_if(.., |(there, of, _)| (*there, *of) == (bar, voice)).map(|(.., mark)| mark);
            draft.marks.splice(0..0, own);
        }
        self.part.notes.push(Note {
            bar: self.bar,
            at,
            duration: length,
            head,
            value,
            tuplet: draft.tuplet,
            voice: draft.voice,
            staff: draft.staff,
            instrument: draft.instrument.unwrap_or(self.instrument),
            velocity: draft.velocity,
            tremolo: draft.tremolo,
            flags: draft.flags,
            articulations: draft.articulations,
            beams: draft.beams,
            stem: draft.stem,
        });
        self.part.marks.extend(draft.marks.into_iter().map(|mark| (index, mark)));
    }

    /// Tuplets that begin or end with a rest are marked on their first or last note; those of rests alone are not kept.
    fn tuplets_at_rest(&mut self, draft: &Draft) {
        for mark in &draft.marks {
            let Mark::Tuplet { edge, number, .. } = mark else { continue };
            let begun = |&(bar, voice, ref other): &(BarIndex, u16, Mark)| {
                (bar, voice) == (self.bar, draft.voice) && matches!(other, Mark::Tuplet { number: other, .. } if other == number)
            };
            match (edge, self.begun_by_rests.iter().position(begun)) {
                (Edge::Start, _) => {
                    self.begun_by_rests.truncate(MOST_BEGUN - 1);
                    self.begun_by_rests.push((self.bar, draft.voice, mark.clone()));
                }
                (Edge::Stop, Some(place)) => {
                    self.begun_by_rests.remove(place);
                }
                (Edge::Stop, None) => {
                    let notes = self.part.notes.iter().enumerate().rev().take(MOST_BEGUN);
                    let mut own =
                        notes.take_while(|(_, note)| note.bar == self.bar).filter(|(_, note)| note.voice == draft.voice);
                    let last = own.find(|(_, note)| !note.flags.intersects(NoteFlags::CHORD | NoteFlags::GRACE));
                    if let Some(index) = last.and_then(|(index, _)| u32::try_from(index).ok()) {
                        self.part.marks.push((index, mark.clone()));
                    }
                }
                (Edge::Continue, _) => {}
            }
        }
    }

    fn push_rest(&mut self, draft: &Draft, at: Crotchets, length: Crotchets, context: &mut Context<'x, '_>) {
        self.tuplets_at_rest(draft);
        let whole_bar = draft.whole_bar || self.looks_like_bar_rest(draft, at, length);
        if length.is_positive() {
            let filler = if whole_bar { Filler::WholeBar } else { Filler::Rest };
            self.reach(at + length, draft.voice, filler, context);
        }
        let value = if whole_bar { None } else { draft.value().or_else(|| value_of(length, draft.tuplet)) };
        self.part.rests.push(Rest {
            bar: self.bar,
            at,
            duration: length,
            value,
            tuplet: draft.tuplet,
            voice: draft.voice,
            staff: draft.staff,
            whole_bar,
            hidden: draft.flags.contains(NoteFlags::HIDDEN),
            cue: draft.flags.contains(NoteFlags::CUE),
            fermata: draft.articulations.contains(Articulations::FERMATA),
        });
    }

    /// Many files leave out `measure="yes"`: a semibreve rest, or one without a shape, that fills a bar of another length.
    fn looks_like_bar_rest(&self, draft: &Draft, at: Crotchets, length: Crotchets) -> bool {
        if !at.is_zero() || draft.dots > 0 || draft.tuplet.is_some() {
            return false;
        }
        match draft.halvings {
            None => self.metre_length() == Some(length),
            Some(0) => length != Crotchets::whole(4) && self.metre_length() == Some(length),
            Some(_) => false,
        }
    }
}

/// Most tuplets begun by rests that are remembered, and notes looked back at for the end of one: no sensible bar has more.
const MOST_BEGUN: usize = 64;

/// A written value for a length, when the file does not give one.
fn value_of(length: Crotchets, tuplet: Option<TupletRatio>) -> Option<NoteValue> {
    if !length.is_positive() {
        return None;
    }
    let plain = match tuplet {
        Some(ratio) => length * Crotchets::new(i64::from(ratio.actual), i64::from(ratio.normal))?,
        None => length,
    };
    NoteValue::of_length(plain, 2)
}

fn step_named(text: &str) -> Option<Step> {
    match text.trim().as_bytes() {
        &[letter] => Step::from_letter(letter),
        _ => None,
    }
}

/// Semitones a printed accidental asks for; `None` for quarter tones and others.
fn printed_accidental(name: &str) -> Option<i64> {
    Some(match name.trim() {
        "natural" => 0,
        "sharp" | "natural-sharp" => 1,
        "flat" | "natural-flat" => -1,
        "double-sharp" | "sharp-sharp" => 2,
        "flat-flat" => -2,
        _ => return None,
    })
}

/// MIDI velocity for a `dynamics` attribute, which is in per cent of the default forte, 90 (MusicXML 4.0, note element).
fn velocity(percent: &str) -> u8 {
    let hundredths = Decimal::parse(percent).map_or(0, Decimal::hundredths);
    if hundredths <= 0 { 0 } else { u8::try_from((hundredths.saturating_mul(90) / 10_000).clamp(1, 127)).unwrap_or(0) }
}

/// Voices are numbers nearly everywhere; other names get a number of their own.
pub(super) fn voice(text: &str) -> u16 {
    if let Some(number) = small::<u16>(text) {
        return number.max(1);
    }
    let digits: String = text.chars().filter(char::is_ascii_digit).take(4).collect();
    digits
        .parse()
        .unwrap_or_else(|_| text.bytes().fold(0u16, |sum, byte| sum.wrapping_mul(31).wrapping_add(u16::from(byte))))
        .max(1)
}

/// Power of two of the semibreve for a `<type>`.
pub(super) fn halvings(text: &str) -> Option<i8> {
    Some(match text.trim() {
        "quarter" => 2,
        "eighth" => 3,
        "16th" => 4,
        "half" => 1,
        "32nd" => 5,
        "whole" => 0,
        "64th" => 6,
        "breve" => -1,
        "128th" => 7,
        "256th" => 8,
        "512th" => 9,
        "1024th" => 10,
        "long" => -2,
        "maxima" => -3,
        _ => return None,
    })
}

fn beam(draft: &mut Draft, tag: Tag<'_>, context: &mut Context<'_, '_>) {
    let level = tag.attribute("number").and_then(small::<u8>).unwrap_or(1);
    let beam = match context.cursor.text().trim() {
        "begin" => Beam::Begin,
        "continue" => Beam::Continue,
        "end" => Beam::End,
        "forward hook" => Beam::ForwardHook,
        "backward hook" => Beam::BackwardHook,
        _ => return,
    };
    draft.beams.set(level, beam);
}

fn notehead(draft: &mut Draft, context: &mut Context<'_, '_>) {
    context.count_event();
    let text = context.cursor.text();
    match text.trim() {
        "normal" | "" => {}
        "none" => draft.headless = true,
        "slash" => draft.flags |= NoteFlags::SLASH,
        name => draft.marks.push(Mark::Notehead(name.into())),
    }
}
