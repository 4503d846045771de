//! Names: spelled notes, chord qualities, keys.

use std::fmt;

use ripieno_score::{Pitch, Step};

/// A note name without octave: B flat, F sharp.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NoteName {
    /// Letter.
    pub step: Step,
    /// Sharps (positive) or flats.
    pub alter: i8,
}

impl NoteName {
    /// The name of a pitch.
    #[must_use]
    pub const fn of(pitch: Pitch) -> Self {
        Self { step: pitch.step, alter: pitch.alter }
    }

    /// Pitch class, 0 to 11 from C.
    #[must_use]
    pub fn class(self) -> u8 {
        u8::try_from((self.step.semitones() + i32::from(self.alter)).rem_euclid(12)).unwrap_or(0)
    }

    /// Place in the line of fifths, C being 0, G 1, F -1.
    #[must_use]
    pub fn fifths(self) -> i32 {
        const OF: [i32; 7] = [0, 2, 4, -1, 1, 3, 5];
        OF[usize::try_from(self.step.index()).unwrap_or(0)] + 7 * i32::from(self.alter)
    }

    /// The name at a place in the line of fifths; places beyond double alterations come back by twelve.
    #[must_use]
    pub fn at_fifths(fifths: i32) -> Self {
        const LINE: [Step; 7] = [Step::F, Step::C, Step::G, Step::D, Step::A, Step::E, Step::B];
        let mut place = fifths + 1;
        while place < -14 {
            place += 12;
        }
        while place > 20 {
            place -= 12;
        }
        let step = LINE[usize::try_from(place.rem_euclid(7)).unwrap_or(0)];
        Self { step, alter: i8::try_from(place.div_euclid(7)).unwrap_or(0) }
    }

    /// The name `letters` letters and `semitones` semitones higher; respelled where that would take more than two signs.
    #[must_use]
    pub fn above(self, semitones: u8, letters: u8) -> Self {
        let place = self.step.index() + i32::from(letters);
        let step = Step::ALL[usize::try_from(place.rem_euclid(7)).unwrap_or(0)];
        let here = self.step.semitones() + i32::from(self.alter) + i32::from(semitones);
        let alter = here - step.semitones() - 12 * place.div_euclid(7);
        let alter = (alter + 6).rem_euclid(12) - 6;
        Self::of(Pitch::new(step, i8::try_from(alter).unwrap_or(0), 4).tamed())
    }
}

impl fmt::Display for NoteName {
    /// `C`, `F#`, `Bb`, `Ebb`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.step.letter())?;
        let sign = if self.alter < 0 { "b" } else { "#" };
        (0..self.alter.unsigned_abs()).try_for_each(|_| f.write_str(sign))
    }
}

/// Major or minor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs)]
pub enum Mode {
    Major,
    Minor,
}

/// Kinds of chord told apart. Tones are semitones above the root.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Quality {
    /// 0 4 7.
    Major,
    /// 0 3 7.
    Minor,
    /// 0 4 7 10.
    DominantSeventh,
    /// 0 3 6 9.
    DiminishedSeventh,
    /// 0 3 6 10.
    HalfDiminishedSeventh,
    /// 0 3 6.
    Diminished,
    /// 0 3 7 10.
    MinorSeventh,
    /// 0 4 7 11.
    MajorSeventh,
    /// 0 4 8.
    Augmented,
    /// The German sixth and its relatives, on the raised fourth degree: 0 2 6 9 (in C: F sharp, A flat, C, E flat).
    AugmentedSixth,
    /// 0 3 7 11.
    MinorMajorSeventh,
}

impl Quality {
    /// All, in the order of the model's answers.
    pub const ALL: [Self; 11] = [
        Self::Major,
        Self::Minor,
        Self::DominantSeventh,
        Self::DiminishedSeventh,
        Self::HalfDiminishedSeventh,
        Self::Diminished,
        Self::MinorSeventh,
        Self::MajorSeventh,
        Self::Augmented,
        Self::AugmentedSixth,
        Self::MinorMajorSeventh,
    ];

    /// Semitones of the root, third, fifth and seventh above the root.
    #[must_use]
    pub const fn tones(self) -> &'static [u8] {
        match self {
            Self::Major => &[0, 4, 7],
            Self::Minor => &[0, 3, 7],
            Self::DominantSeventh => &[0, 4, 7, 10],
            Self::DiminishedSeventh => &[0, 3, 6, 9],
            Self::HalfDiminishedSeventh => &[0, 3, 6, 10],
            Self::Diminished => &[0, 3, 6],
            Self::MinorSeventh => &[0, 3, 7, 10],
            Self::MajorSeventh => &[0, 4, 7, 11],
            Self::Augmented => &[0, 4, 8],
            // F sharp, A flat, C and E flat (or D) in C.
            Self::AugmentedSixth => &[0, 2, 6, 9],
            Self::MinorMajorSeventh => &[0, 3, 7, 11],
        }
    }

    /// Letters above the root of each of [`Quality::tones`].
    #[must_use]
    pub const fn letters(self) -> &'static [u8] {
        match self.tones().len() {
            3 => &[0, 2, 4],
            _ => &[0, 2, 4, 6],
        }
    }

    /// Short name: `M`, `m`, `D7`, `d7`, `h7`, `d`, `m7`, `M7`, `a`, `a6`, `mM7`.
    #[must_use]
    pub const fn short(self) -> &'static str {
        match self {
            Self::Major => "M",
            Self::Minor => "m",
            Self::DominantSeventh => "D7",
            Self::DiminishedSeventh => "d7",
            Self::HalfDiminishedSeventh => "h7",
            Self::Diminished => "d",
            Self::MinorSeventh => "m7",
            Self::MajorSeventh => "M7",
            Self::Augmented => "a",
            Self::AugmentedSixth => "a6",
            Self::MinorMajorSeventh => "mM7",
        }
    }
}

impl fmt::Display for Quality {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Major => "major",
            Self::Minor => "minor",
            Self::DominantSeventh => "dominant seventh",
            Self::DiminishedSeventh => "diminished seventh",
            Self::HalfDiminishedSeventh => "half-diminished seventh",
            Self::Diminished => "diminished",
            Self::MinorSeventh => "minor seventh",
            Self::MajorSeventh => "major seventh",
            Self::Augmented => "augmented",
            Self::AugmentedSixth => "augmented sixth",
            Self::MinorMajorSeventh => "minor with major seventh",
        })
    }
}
