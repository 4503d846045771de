//! What a question asks, once understood.

use ripieno_instruments::family::{Family, Section};
use ripieno_study::acoustics::{EvenGrade, Grade};
use ripieno_texture::Role;

/// Players that a question names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Who {
    /// Everybody in the score.
    Everybody,
    /// A family.
    Family(Family),
    /// A section.
    Section(Section),
    /// "basses": the voices where the score has them, else the double basses.
    Basses,
    /// One kind of instrument, by its id in the catalogue, with its kinds.
    Instrument(&'static str),
    /// A group a person has named by these words, else parts in whose name they stand; lower case.
    Part(String),
    /// Of these, those who play from the first part, the second ...
    Numbered(u16, Box<Who>),
}

/// How many of them have to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Nothing said: what the verb makes of it.
    Plain,
    /// At least one.
    Any,
    /// Every one.
    All,
    /// They and nobody else.
    Only,
    /// None.
    No,
}

/// Whom a condition is about; several with [`Quantity::Only`] are taken together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Subject {
    /// How many.
    pub quantity: Quantity,
    /// Of whom; never empty.
    pub who: Vec<Who>,
}

/// Which side of a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// It or more.
    AtLeast,
    /// It or less.
    AtMost,
    /// It exactly.
    Exactly,
}

impl Side {
    /// Whether a number that lies between `least` and `most` is surely on this side of `of`.
    #[must_use]
    pub const fn surely(self, least: i64, most: i64, of: i64) -> bool {
        match self {
            Self::AtLeast => least >= of,
            Self::AtMost => most <= of,
            Self::Exactly => least == of && most == of,
        }
    }
}

/// Interval at which one doubles another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubled {
    /// Unison or any octave.
    Anyhow,
    /// Unison.
    Unison,
    /// One octave or more.
    Octaves,
    /// Exactly so many octaves.
    Exactly(i64),
}

/// How two bands of sound lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lie {
    /// At least so many semitones between them.
    Apart(i64),
    /// A unison to a whole tone between them.
    Touching,
    /// One reaches into the other.
    Overlapping,
    /// All of the first above all of the other.
    Above,
    /// All of the first below all of the other.
    Below,
}

/// A bound in register, MIDI keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Register {
    /// A note above.
    Above(i64),
    /// A note below.
    Below(i64),
    /// No note but above.
    StayAbove(i64),
    /// No note but below.
    StayBelow(i64),
    /// No note outside, the ends belonging to it.
    Between(i64, i64),
}

/// What is counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Counted {
    /// People who sound together.
    Players,
    /// Parts that sound in the bar.
    Parts,
    /// Sections that sound in the bar.
    Sections,
    /// People of these.
    Of(Who),
}

/// A condition, true or false of each bar.
#[derive(Debug, Clone, PartialEq)]
pub enum Condition {
    /// All of these; of what is left, runs of so many consecutive bars.
    All(Vec<Condition>, Vec<(Side, u32)>),
    /// One of these.
    Either(Vec<Condition>),
    /// Not this.
    Not(Box<Condition>),
    /// They sound.
    Plays(Subject),
    /// They do not.
    Rests(Subject),
    /// They have one of these roles.
    Has(Subject, Vec<Role>),
    /// One doubles the other, or somebody, at an interval; above (`true`) or below.
    Doubles(Who, Option<Who>, Doubled, Option<bool>),
    /// Their bands lie so, at some moment of the bar.
    Lie(Who, Who, Lie),
    /// Lines of both belong to one layer.
    OneLayer(Who, Who),
    /// They carry the main melody.
    Leads(Who),
    /// They take the main melody over, from somebody or from these.
    TakesOver(Who, Option<Who>),
    /// Their dynamic, or that of the bar, in steps of [`ripieno_score::DynamicLevel`].
    Level(Option<Subject>, Side, i64),
    /// Their register.
    Register(Subject, Register),
    /// How many sound.
    Count(Counted, Side, i64),
    /// They play in this way, as the table "techniques" calls it.
    Way(Subject, &'static str),
    /// They begin to sound after at least so many bars of rest; the beginning of the score counts as one.
    Enters(Subject, i64),
    /// They sound for the first time.
    FirstEnters(Subject),
    /// One player of theirs carries the main melody and nobody doubles it.
    Solo(Who),
    /// The melody is heard in one of these ways, masked by these.
    Heard(Vec<Grade>, Option<Who>),
    /// The full chord of the bar rings like this.
    Even(EvenGrade),
    /// A chord of this root (pitch class) and quality sounds.
    Chord(Option<u8>, Option<String>),
    /// The key is this.
    Key(Option<u8>, Option<String>),
    /// A statement of this theme sounds, carried by these.
    Theme(i64, Option<Who>),
    /// From one printed bar to another.
    Between(String, String),
    /// The metre, as printed.
    Metre(String),
    /// Crotchets a minute.
    Tempo(Side, f64),
}

/// A question.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// What holds in the bars asked for.
    pub condition: Condition,
}
