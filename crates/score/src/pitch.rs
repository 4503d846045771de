//! Pitch as written and as heard.
//!
//! A [`Pitch`] keeps its spelling (B flat is not A sharp); a [`MidiKey`] is the key a keyboard player would press.
//! A [`Transposition`] leads from the part's page to concert pitch and keeps the spelling right on the way: a
//! clarinet in B flat reading D sounds C, never B sharp.

use std::fmt;

/// One of the seven note names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs)]
pub enum Step {
    C,
    D,
    E,
    F,
    G,
    A,
    B,
}

impl Step {
    /// All steps from C upwards.
    pub const ALL: [Self; 7] = [Self::C, Self::D, Self::E, Self::F, Self::G, Self::A, Self::B];

    /// Semitones above C of the natural note.
    #[must_use]
    pub const fn semitones(self) -> i32 {
        match self {
            Self::C => 0,
            Self::D => 2,
            Self::E => 4,
            Self::F => 5,
            Self::G => 7,
            Self::A => 9,
            Self::B => 11,
        }
    }

    /// Place in the scale of C: C is 0, B is 6.
    #[must_use]
    pub const fn index(self) -> i32 {
        self as i32
    }

    /// The step for a letter of either case.
    #[must_use]
    pub const fn from_letter(letter: u8) -> Option<Self> {
        Some(match letter.to_ascii_uppercase() {
            b'C' => Self::C,
            b'D' => Self::D,
            b'E' => Self::E,
            b'F' => Self::F,
            b'G' => Self::G,
            b'A' => Self::A,
            b'B' => Self::B,
            _ => return None,
        })
    }

    /// The letter, upper case.
    #[must_use]
    pub const fn letter(self) -> char {
        match self {
            Self::C => 'C',
            Self::D => 'D',
            Self::E => 'E',
            Self::F => 'F',
            Self::G => 'G',
            Self::A => 'A',
            Self::B => 'B',
        }
    }
}

/// A key of the MIDI keyboard, 60 being middle C (C4). Invariant: 0 to 127.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct MidiKey(u8);

impl MidiKey {
    /// The key number, 0 to 127.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// The usual name with sharps or flats as keyboards label them: C4, C#4, Eb4, F#4, Ab4, Bb4.
    #[must_use]
    pub fn pitch(self) -> Pitch {
        const NAMES: [(Step, i8); 12] = [
            (Step::C, 0),
            (Step::C, 1),
            (Step::D, 0),
            (Step::E, -1),
            (Step::E, 0),
            (Step::F, 0),
            (Step::F, 1),
            (Step::G, 0),
            (Step::A, -1),
            (Step::A, 0),
            (Step::B, -1),
            (Step::B, 0),
        ];
        let (step, alter) = NAMES[usize::from(self.0 % 12)];
        let octave = i8::try_from(self.0 / 12).unwrap_or(0) - 1;
        Pitch { step, alter, octave, cents: 0 }
    }
}

impl TryFrom<i32> for MidiKey {
    type Error = KeyOutOfRange;
    fn try_from(key: i32) -> Result<Self, KeyOutOfRange> {
        match u8::try_from(key) {
            Ok(number @ 0..=127) => Ok(Self(number)),
            _ => Err(KeyOutOfRange(key)),
        }
    }
}

/// A key number outside the MIDI keyboard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeyOutOfRange(pub i32);

impl fmt::Display for KeyOutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "MIDI key {} is not in 0..=127", self.0)
    }
}

impl std::error::Error for KeyOutOfRange {}

/// A spelled pitch: step, alteration and octave (C4 is middle C).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Pitch {
    /// Octave number; C4 is middle C.
    pub octave: i8,
    /// Note name.
    pub step: Step,
    /// Whole semitones up (sharp) or down (flat).
    pub alter: i8,
    /// Deviation beyond `alter`, in hundredths of a semitone, for quarter tones; usually 0.
    pub cents: i8,
}

impl Pitch {
    /// A pitch without microtones.
    #[must_use]
    pub const fn new(step: Step, alter: i8, octave: i8) -> Self {
        Self { octave, step, alter, cents: 0 }
    }

    /// Semitones above C-1, microtones left aside; may lie outside the MIDI keyboard.
    #[must_use]
    pub const fn semitones(self) -> i32 {
        (self.octave as i32 + 1) * 12 + self.step.semitones() + self.alter as i32
    }

    /// The key on the MIDI keyboard.
    ///
    /// # Errors
    /// When the pitch lies beyond it.
    pub fn key(self) -> Result<MidiKey, KeyOutOfRange> {
        MidiKey::try_from(self.semitones())
    }

    /// Steps above C0 on the staff, whatever the alteration.
    #[must_use]
    pub const fn staff_position(self) -> i32 {
        self.octave as i32 * 7 + self.step.index()
    }

    /// Moves by an interval given in staff steps and semitones, as `<transpose>` does; saturates at the type's bounds.
    #[must_use]
    pub fn moved(self, interval: Transposition) -> Self {
        let (diatonic, chromatic) = (interval.total_diatonic(), interval.total_chromatic());
        if diatonic == 0 && chromatic == 0 {
            return self;
        }
        let position = self.staff_position() + diatonic;
        let octave = position.div_euclid(7);
        let step = Step::ALL[usize::try_from(position.rem_euclid(7)).unwrap_or(0)];
        let natural = (octave + 1) * 12 + step.semitones();
        let alter = self.semitones() + chromatic - natural;
        Self { octave: clamp(octave), step, alter: clamp(alter), cents: self.cents }
    }

    /// The pitch with more than two sharps or flats respelled enharmonically.
    #[must_use]
    pub fn tamed(self) -> Self {
        if self.alter.abs() <= 2 {
            return self;
        }
        self.key().map_or(self, |key| Self { cents: self.cents, ..key.pitch() })
    }
}

fn clamp(value: i32) -> i8 {
    i8::try_from(value).unwrap_or(if value < 0 { i8::MIN } else { i8::MAX })
}

impl fmt::Display for Pitch {
    /// `C4`, `F#5`, `Bb3`, `Ebb2`, `F##6`; quarter tones as `C4+50`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.step.letter())?;
        let sign = if self.alter < 0 { "b" } else { "#" };
        for _ in 0..self.alter.unsigned_abs() {
            f.write_str(sign)?;
        }
        write!(f, "{}", self.octave)?;
        if self.cents == 0 { Ok(()) } else { write!(f, "{:+}", self.cents) }
    }
}

/// From the written to the sounding pitch: add this. MusicXML's `<transpose>`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Transposition {
    /// Semitones, octaves left out: -2 for an instrument in B flat.
    pub chromatic: i8,
    /// Staff steps, octaves left out: -1 for an instrument in B flat.
    pub diatonic: i8,
    /// Further octaves: -1 for a double bass.
    pub octaves: i8,
    /// Whether the part is also doubled an octave below what is written (MusicXML `<double>`), as when one staff
    /// serves cellos and double basses.
    pub doubled_below: bool,
}

impl Transposition {
    /// A part in concert pitch.
    pub const NONE: Self = Self { chromatic: 0, diatonic: 0, octaves: 0, doubled_below: false };

    /// Semitones in all.
    #[must_use]
    pub const fn total_chromatic(self) -> i32 {
        self.chromatic as i32 + 12 * self.octaves as i32
    }

    /// Staff steps in all.
    #[must_use]
    pub const fn total_diatonic(self) -> i32 {
        self.diatonic as i32 + 7 * self.octaves as i32
    }

    /// Sounding to written: the same interval the other way.
    #[must_use]
    pub const fn inverse(self) -> Self {
        Self {
            chromatic: self.chromatic.saturating_neg(),
            diatonic: self.diatonic.saturating_neg(),
            octaves: self.octaves.saturating_neg(),
            doubled_below: false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn in_b_flat() -> Transposition {
        Transposition { chromatic: -2, diatonic: -1, ..Transposition::NONE }
    }

    #[test]
    fn clarinet_in_b_flat_reading_d_sounds_c() {
        let sounding = Pitch::new(Step::D, 0, 5).moved(in_b_flat());
        assert_eq!(sounding.to_string(), "C5");
        assert_eq!(Pitch::new(Step::F, 1, 4).moved(in_b_flat()).to_string(), "E4");
        assert_eq!(Pitch::new(Step::C, 0, 4).moved(in_b_flat()).to_string(), "Bb3");
    }

    #[test]
    fn middle_c_is_key_60() {
        assert_eq!(Pitch::new(Step::C, 0, 4).key().unwrap().number(), 60);
        assert_eq!(Pitch::new(Step::B, 1, 3).key().unwrap().number(), 60);
        assert_eq!(MidiKey::try_from(131).unwrap_err().to_string(), "MIDI key 131 is not in 0..=127");
    }

    proptest! {
        #[test]
        fn transposing_there_and_back_changes_nothing(
            step in 0usize..7, alter in -2i8..=2, octave in 0i8..9,
            chromatic in -12i8..=12, diatonic in -7i8..=7, octaves in -2i8..=2,
        ) {
            let pitch = Pitch::new(Step::ALL[step], alter, octave);
            let by = Transposition { chromatic, diatonic, octaves, doubled_below: false };
            prop_assert_eq!(pitch.moved(by).moved(by.inverse()), pitch);
            prop_assert_eq!(pitch.moved(by).semitones(), pitch.semitones() + by.total_chromatic());
        }
    }
}
