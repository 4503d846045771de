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
    /// Whoever carries the main melody, bar by bar.
    Melody,
    /// Whoever has the bass line, bar by bar.
    BassLine,
    /// "who": each part in turn.
    Asked,
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

/// What the full chords of a body are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stacked {
    /// One rhythm and interleaved or adjacent chord tones.
    OneStack,
    /// Different things at once.
    Split,
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

/// A note of the local key that a pedal may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PedalNote {
    /// Any.
    Any,
    /// So many semitones above the tonic of the local key.
    Degree(u8),
    /// A pitch class.
    Class(u8),
}

/// What may change from one bar to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Changing {
    /// The metre.
    Metre,
    /// The tempo.
    Tempo,
    /// The local key.
    Key,
}

/// Which end of a scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum End {
    High,
    Low,
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
    /// All that they sound is one pitch at every moment of the bar, or with `true` one pitch or its octaves; two parts at least.
    Together(Subject, bool),
    /// A note of theirs is the highest or lowest of the bar.
    Edge(Subject, End),
    /// Lines of both belong to one layer.
    OneLayer(Who, Who),
    /// From a role to another: the first bar of the second, the bar before in which they sound having had the first.
    Changes(Subject, Vec<Role>, Vec<Role>),
    /// They fall silent: the first bar of a rest.
    Leaves(Subject),
    /// The orchestra plays as a whole.
    Tutti,
    /// Under a crescendo, or a diminuendo; of the bar at least half of the parts that sound.
    Swells(Option<Subject>, &'static str),
    /// A melody of these, or of anybody, has a line running parallel to it, of these, or of anybody.
    Thickened(Option<Who>, Option<Who>),
    /// The chords of these (a section, a family, or everybody) are close or open at some moment.
    Voiced(Who, &'static str),
    /// Two lines of one of these sections share neither layer nor role at some moment.
    Splits(Who),
    /// Where all of their sections play (these being a family, or everybody), they are of this kind at some moment, as the measure "stack" calls it.
    Stacked(Who, Stacked),
    /// A pedal holds this note.
    Pedal(Subject, PedalNote),
    /// Something is not what it was in the bar before.
    Differs(Changing),
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
    /// A chord of this root (pitch class), quality and inversion (0 root position) sounds.
    Chord(Option<u8>, Option<String>, Option<u8>),
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

/// Which of the bars in which the condition holds are wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wanted {
    /// All.
    All,
    /// The first passage, or the last.
    Place(End),
    /// The first bar, or the last.
    Bar(End),
    /// The longest passages, or the shortest.
    Length(End),
    /// The loudest bars, or the softest, by the dynamic of the bar.
    Level(End),
    /// The bars in which most parts sound, or fewest.
    Parts(End),
    /// Those in which these sound their highest note, or their lowest.
    Note(End, Who),
    /// Those with the widest gap between the bands of two, or with the deepest overlap.
    Distance(End, Who, Who),
    /// The bars of whichever of these sounds in most of the bars, or in fewest, with its name.
    Most(End, Among),
    /// All, with the number of people of these who play.
    Number(Who),
    /// All in which horns share a loud chord with these, with how many play against how many.
    Against(Section),
    /// All in which these sound, role by role.
    RolesOf(Who),
}

/// Those among whom one plays most.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Among {
    /// The sections of a family, or of the whole score.
    Sections(Option<Family>),
    /// The families.
    Families,
    /// The parts of a family, or of the whole score.
    Parts(Option<Family>),
}

/// A question.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// What holds in the bars asked for.
    pub condition: Condition,
    /// Which of them.
    pub wanted: Wanted,
}

impl Condition {
    /// What holds in every bar.
    #[must_use]
    pub const fn always() -> Self {
        Self::All(Vec::new(), Vec::new())
    }
}

impl Question {
    /// Tells everybody whom the question names.
    pub(crate) fn each_who(&self, tell: &mut dyn FnMut(&Who)) {
        match &self.wanted {
            Wanted::Note(_, who) | Wanted::Number(who) | Wanted::RolesOf(who) => who.each(tell),
            Wanted::Distance(_, who, other) => [who, other].into_iter().for_each(|who| who.each(tell)),
            _ => {}
        }
        self.condition.each_who(tell);
    }
}

impl Who {
    fn each(&self, tell: &mut dyn FnMut(&Who)) {
        tell(self);
        if let Self::Numbered(_, who) = self {
            who.each(tell);
        }
    }
}

impl Condition {
    fn each_who(&self, tell: &mut dyn FnMut(&Who)) {
        match self {
            Self::All(all, _) | Self::Either(all) => all.iter().for_each(|one| one.each_who(tell)),
            Self::Not(inner) => inner.each_who(tell),
            Self::Plays(subject)
            | Self::Rests(subject)
            | Self::Has(subject, _)
            | Self::Level(Some(subject), ..)
            | Self::Register(subject, _)
            | Self::Way(subject, _)
            | Self::Enters(subject, _)
            | Self::FirstEnters(subject)
            | Self::Together(subject, _)
            | Self::Edge(subject, _)
            | Self::Changes(subject, ..)
            | Self::Leaves(subject)
            | Self::Swells(Some(subject), _)
            | Self::Pedal(subject, _) => subject.who.iter().for_each(|who| who.each(tell)),
            Self::Doubles(who, other, ..) | Self::TakesOver(who, other) => {
                who.each(tell);
                other.iter().for_each(|who| who.each(tell));
            }
            Self::Lie(who, other, _) | Self::OneLayer(who, other) => {
                who.each(tell);
                other.each(tell);
            }
            Self::Leads(who)
            | Self::Solo(who)
            | Self::Voiced(who, _)
            | Self::Splits(who)
            | Self::Stacked(who, _)
            | Self::Count(Counted::Of(who), ..) => who.each(tell),
            Self::Heard(_, who) | Self::Theme(_, who) => who.iter().for_each(|who| who.each(tell)),
            Self::Thickened(one, other) => one.iter().chain(other).for_each(|who| who.each(tell)),
            Self::Level(None, ..)
            | Self::Swells(None, _)
            | Self::Count(..)
            | Self::Tutti
            | Self::Differs(_)
            | Self::Even(_)
            | Self::Chord(..)
            | Self::Key(..)
            | Self::Between(..)
            | Self::Metre(_)
            | Self::Tempo(..) => {}
        }
    }
}
