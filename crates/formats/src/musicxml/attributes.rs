//! `<attributes>`: divisions, key, time, staves, clefs, transposition, kinds of staff, and abbreviations of bars.

use ripieno_score::{ChangeKind, Clef, ClefSign, Crotchets, Key, Metre, NoteFlags, NoteValue, Transposition};

use super::context::Context;
use super::note::halvings;
use super::number::{Decimal, small, whole};
use super::part_reader::{PartReader, TimeSignature};
use super::tag::Tag;
use super::text::clean;

/// The staff an element concerns, when it says so.
pub(super) fn staff_number(tag: Tag<'_>) -> Option<u8> {
    tag.attribute("number").and_then(small::<u8>).filter(|&number| number > 0)
}

impl<'x> PartReader<'x> {
    pub(super) fn attributes(&mut self, context: &mut Context<'x, '_>) {
        while let Some(tag) = context.cursor.child() {
            context.count_event();
            match tag.name() {
                "divisions" => self.divisions(context),
                "key" => self.key(tag, context),
                "time" => self.time(tag, context),
                "staves" => {
                    if let Some(staves) = small::<u8>(&context.cursor.text()) {
                        self.part.staves = self.part.staves.max(staves);
                    }
                }
                "clef" => self.clef(tag, context),
                "transpose" => self.transpose(tag, context),
                "staff-details" => self.staff_details(tag, context),
                "measure-style" => self.measure_style(tag, context),
                // How many instruments share the part, directives as text, and 4.0's transpositions of the printed parts
                // made from a concert score: nothing sounds differently for them.
                "instruments" | "part-symbol" | "directive" | "for-part" | "footnote" | "level" => context.cursor.skip(),
                name => context.skip_unknown(name, self.here()),
            }
        }
    }

    fn divisions(&mut self, context: &mut Context<'x, '_>) {
        let text = context.cursor.text();
        let set = Decimal::parse(&text).is_some_and(|divisions| self.clock.set_divisions(divisions));
        if !set && context.cursor.fault().is_none() {
            let shown: String = text.trim().chars().take(20).collect();
            self.warn(
                context,
                "bad-divisions",
                format!("<divisions> is {shown:?}, not a positive number"),
                "The divisions before it stay in force",
            );
        }
    }

    fn key(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let staff = staff_number(tag);
        let (mut fifths, mut mode, mut altered) = (None, None, false);
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "fifths" => fifths = small::<i8>(&context.cursor.text()),
                "mode" => mode = mode_is_major(&context.cursor.text()),
                "key-step" => {
                    altered = true;
                    context.cursor.skip();
                }
                _ => context.cursor.skip(),
            }
        }
        const MOST_SIGNS: i8 = 14;
        match fifths.filter(|fifths| (-MOST_SIGNS..=MOST_SIGNS).contains(fifths)) {
            Some(fifths) => self.change(staff, ChangeKind::Key(Key { fifths, major: mode })),
            None if altered => {
                let what = "the key signature is not one of the circle of fifths and is not kept";
                context.note(self.here(), "unusual-key", what, "The notes carry their own accidentals, so no pitch is affected");
            }
            None => self.warn(context, "bad-key", "a key signature says nothing that can be read", "It was left out"),
        }
    }

    fn time(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let staff = staff_number(tag);
        let mut terms: Vec<(Vec<u16>, u16)> = Vec::new();
        let (mut beats, mut free, mut damaged) = (None, false, false);
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "beats" => {
                    beats = groups(&context.cursor.text());
                    damaged |= beats.is_none();
                }
                "beat-type" => {
                    let unit = small::<u16>(&context.cursor.text()).filter(|&unit| unit > 0);
                    match (beats.take(), unit) {
                        (Some(beats), Some(unit)) if terms.len() < 16 => terms.push((beats, unit)),
                        _ => damaged = true,
                    }
                }
                "senza-misura" => {
                    free = true;
                    context.cursor.skip();
                }
                "interchangeable" => {
                    context.cursor.skip();
                    let what = "a second, interchangeable time signature is not kept";
                    context.note(self.here(), "interchangeable-time", what, "");
                }
                _ => context.cursor.skip(),
            }
        }
        let metre = if free { Metre::Free } else { Metre::Measured(terms) };
        if !free && (damaged || metre.length().is_none()) {
            if context.cursor.fault().is_none() {
                self.warn(context, "bad-time", "a time signature cannot be read", "The one before it stays in force");
            }
            return;
        }
        self.metres.push(TimeSignature { bar: self.bar.0, staff, metre });
    }

    fn clef(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let staff = staff_number(tag).unwrap_or(1);
        let (mut sign, mut line, mut octaves) = (ClefSign::None, None, 0i8);
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "sign" => {
                    sign = match clean(&context.cursor.text()).as_str() {
                        "G" => ClefSign::G,
                        "F" => ClefSign::F,
                        "C" => ClefSign::C,
                        "percussion" => ClefSign::Percussion,
                        "TAB" => ClefSign::Tablature,
                        _ => ClefSign::None,
                    }
                }
                "line" => line = small::<i8>(&context.cursor.text()),
                "clef-octave-change" => octaves = small::<i8>(&context.cursor.text()).filter(|o| o.abs() <= 4).unwrap_or(0),
                _ => context.cursor.skip(),
            }
        }
        let usual = match sign {
            ClefSign::G => 2,
            ClefSign::F => 4,
            ClefSign::C | ClefSign::Percussion | ClefSign::None => 3,
            ClefSign::Tablature => 5,
        };
        if let Some(state) = self.staff_mut(staff) {
            state.clef = Some(sign);
        }
        self.change(Some(staff), ChangeKind::Clef(Clef { sign, line: line.unwrap_or(usual), octaves }));
    }

    fn transpose(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let staff = staff_number(tag);
        let mut by = Transposition::NONE;
        let (mut diatonic, mut microtonal) = (None, false);
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "diatonic" => diatonic = small::<i8>(&context.cursor.text()),
                "chromatic" => {
                    let hundredths = Decimal::parse(&context.cursor.text()).map_or(0, Decimal::hundredths);
                    microtonal = hundredths % 100 != 0;
                    by.chromatic = i8::try_from(hundredths / 100).unwrap_or(0);
                }
                "octave-change" => by.octaves = small::<i8>(&context.cursor.text()).filter(|o| o.abs() <= 8).unwrap_or(0),
                "double" => {
                    context.cursor.skip();
                    if tag.says("above", "yes") {
                        let what = "the part is doubled an octave above, which is not kept";
                        self.warn(context, "doubled-above", what, "Write the upper octave out if it is to be counted");
                    } else {
                        by.doubled_below = true;
                    }
                }
                _ => context.cursor.skip(),
            }
        }
        by.diatonic = diatonic.unwrap_or_else(|| usual_steps(by.chromatic));
        if microtonal {
            let what = "the part transposes by a fraction of a semitone, which is rounded";
            self.warn(context, "microtonal-transposition", what, "");
        }
        self.change(staff, ChangeKind::Transposition(by));
    }

    /// `print-object="no"` here says that a staff is left out of systems where it is empty ("usually in large scores where empty parts are
    /// omitted", MusicXML 4.0, staff-details): its notes are printed and played.
    fn staff_details(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let number = staff_number(tag);
        let staff = number.unwrap_or(1);
        let mut kind = None;
        while let Some(tag) = context.cursor.child() {
            match tag.name() {
                "staff-type" => kind = Some(clean(&context.cursor.text())),
                "staff-lines" => {
                    if let Some(lines) = small::<u8>(&context.cursor.text()) {
                        self.change(Some(staff), ChangeKind::StaffLines(lines));
                    }
                }
                _ => context.cursor.skip(),
            }
        }
        let (Some(kind), Some(state)) = (kind, self.staff_mut(staff)) else { return };
        let was_alternative = state.flags.intersects(NoteFlags::OSSIA | NoteFlags::CUE);
        state.flags -= NoteFlags::OSSIA | NoteFlags::CUE;
        match kind.as_str() {
            "cue" => state.flags |= NoteFlags::CUE,
            "ossia" | "alternate" | "editorial" => state.flags |= NoteFlags::OSSIA,
            _ => {}
        }
        let is_alternative = state.flags.intersects(NoteFlags::OSSIA | NoteFlags::CUE);
        if is_alternative != was_alternative {
            self.change(Some(staff), ChangeKind::Alternative(is_alternative));
        }
        if is_alternative && !was_alternative {
            let what = format!("staff {staff} shows an alternative from here ({kind})");
            context.note(self.here(), "alternative-staff", what, "Its notes are kept but not counted as playing");
        }
    }

    pub(super) fn report_slashes(&mut self, context: &mut Context<'x, '_>) {
        self.slashes_reported = true;
        let what = "slashes stand for notes the player chooses";
        context.note(
            self.here(),
            "slashes",
            what,
            "They were kept at the height they are printed at, which is a place on the staff and no pitch to rely on",
        );
    }

    fn measure_style(&mut self, tag: Tag<'x>, context: &mut Context<'x, '_>) {
        let staff = staff_number(tag);
        while let Some(tag) = context.cursor.child() {
            let starts = tag.says("type", "start");
            match tag.name() {
                "slash" => {
                    context.cursor.skip();
                    if staff.is_none() {
                        self.slashes.clear();
                    }
                    self.slashes.remove(&None);
                    self.slashes.remove(&staff);
                    if starts {
                        self.slashes.insert(staff);
                        self.report_slashes(context);
                    }
                }
                "beat-repeat" => {
                    let beat = slash_value(context);
                    if starts {
                        self.beat_repeats.start(staff, self.clock.now(), beat);
                    } else {
                        self.beat_repeats.stop(staff, self.clock.now());
                    }
                }
                "measure-repeat" => {
                    let bars = whole(&context.cursor.text()).and_then(|bars| u32::try_from(bars).ok()).unwrap_or(1);
                    self.similes.sign(self.bar.0, staff, starts.then_some(bars));
                }
                // Each bar of a long rest stands in the file as well.
                "multiple-rest" => context.cursor.skip(),
                name => context.skip_unknown(name, self.here()),
            }
        }
    }
}

/// The note value a repeat sign for beats is shown with, as a length.
fn slash_value(context: &mut Context<'_, '_>) -> Option<Crotchets> {
    let mut value: Option<NoteValue> = None;
    while let Some(tag) = context.cursor.child() {
        match tag.name() {
            "slash-type" => value = halvings(&context.cursor.text()).map(|halvings| NoteValue { halvings, dots: 0 }),
            "slash-dot" => {
                context.cursor.skip();
                value = value.map(|value| NoteValue { dots: value.dots.saturating_add(1).min(4), ..value });
            }
            _ => context.cursor.skip(),
        }
    }
    value.map(NoteValue::length)
}

/// Major or minor; church modes are neither.
fn mode_is_major(text: &str) -> Option<bool> {
    match text.trim() {
        "major" => Some(true),
        "minor" => Some(false),
        _ => None,
    }
}

/// The beats of a signature: "3" or "3+2+3".
fn groups(text: &str) -> Option<Vec<u16>> {
    let groups: Option<Vec<u16>> = text.split('+').take(64).map(small::<u16>).collect();
    groups.filter(|groups| groups.iter().any(|&beats| beats > 0))
}

/// Staff steps that usually go with so many semitones: a minor third for 3, a fourth for 5, an augmented fourth for 6.
fn usual_steps(chromatic: i8) -> i8 {
    const STEPS: [i8; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    let size = chromatic.unsigned_abs();
    let steps = STEPS.get(usize::from(size % 12)).copied().unwrap_or(0).saturating_add(i8::try_from(size / 12 * 7).unwrap_or(0));
    if chromatic < 0 { -steps } else { steps }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beats_may_come_in_groups() {
        assert_eq!(groups("3+2"), Some(vec![3, 2]));
        assert_eq!(groups(" 4 "), Some(vec![4]));
        for bad in ["", "0", "x", "3+", "-4", "99999999"] {
            assert_eq!(groups(bad), None, "{bad}");
        }
    }

    #[test]
    fn steps_follow_semitones_when_not_given() {
        for (semitones, steps) in [(-2, -1), (-7, -4), (-9, -5), (3, 2), (-14, -8), (-12, -7), (0, 0)] {
            assert_eq!(usual_steps(semitones), steps);
        }
    }
}
