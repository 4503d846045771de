//! The register of objections: each kind with its definition and source.

use std::fmt;
use std::str::FromStr;

/// How much an objection weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Cannot be played, or the page contradicts itself.
    Fault,
    /// Can be played at a price, or not by everybody: ask.
    Caution,
    /// Good to know; no fault.
    Note,
}

impl Severity {
    /// All three, the gravest first.
    pub const ALL: [Self; 3] = [Self::Fault, Self::Caution, Self::Note];

    /// `fault`, `caution`, `note`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fault => "fault",
            Self::Caution => "caution",
            Self::Note => "note",
        }
    }
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for Severity {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL.into_iter().find(|one| one.name() == text).ok_or_else(|| format!("“{text}” is not fault, caution or note"))
    }
}

macro_rules! kinds {
    ($($variant:ident $id:literal $source:literal $definition:literal;)+) => {
        /// What an objection is about.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[non_exhaustive]
        pub enum Kind { $(#[doc = $definition] $variant),+ }

        impl Kind {
            /// All of them, in the order of the documentation.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// The name used in tables and by `--only`.
            #[must_use]
            pub const fn id(self) -> &'static str {
                match self { $(Self::$variant => $id),+ }
            }

            /// What is objected to, and from where on.
            #[must_use]
            pub const fn definition(self) -> &'static str {
                match self { $(Self::$variant => $definition),+ }
            }

            /// Source codes of the rule; values may have further ones.
            #[must_use]
            pub const fn source(self) -> &'static str {
                match self { $(Self::$variant => $source),+ }
            }
        }
    };
}

kinds! {
    Range "range" "catalogue" "A note the instrument does not have at this level: outside its possible compass. A fault; a caution for early instruments, which differ, for the old bass clef of horns, for low notes of a third trombone that a bass trombone has, and for high ones of a professional's trumpet that a piccolo trumpet has.";
    Register "register" "catalogue" "A note outside the comfortable compass of the level. A caution; a note for early instruments, the low C of professional basses and the low notes of a third trombone.";
    SoftRegister "soft-register" "handbooks" "A held note at p or softer where the instrument cannot be soft. A caution.";
    LoudRegister "loud-register" "handbooks" "Notes at ff or louder where the instrument has no loud sound. A note.";
    HornPair "horn-pair" "handbooks" "Of four horns the low players (second, fourth) sent above sounding C5 on their own, or the high players below sounding F2. A note.";
    Leap "leap" "agility" "A leap that a player or singer may miss: upwards by brass, a minor tenth under a slur or a twelfth into the high register; a twelfth by a voice. A caution.";
    ExposedEntry "exposed-entry" "endurance-rule" "The first note after eight seconds of rest or more is high and soft (p or less, above the tessitura by a third or more). A caution.";
    Agility "agility" "agility" "A run of eight or more different notes in a row faster than the section plays cleanly. A caution; a fault from half as much again.";
    Tonguing "tonguing" "tonguing" "Eight or more tongued notes in a row faster than the tongue: a fault from a quarter above the limit (reeds, who have no double tongue here: a half), a caution from a quarter above it or from 8 % for a second and a half.";
    AwkwardTempo "awkward-tempo" "tonguing" "Sixteen or more tongued notes at a speed between an easy single and an easy double tongue. A note.";
    Endurance "endurance" "endurance" "Too much high and loud playing in the window of the instrument, or hardly a rest for three windows at f. A caution.";
    Breath "breath" "flows" "A slur or a held note of six seconds or more that needs more air than a full breath and 15 %. A caution for one player, a note where others can stagger.";
    NoRest "no-rest" "flows" "Twelve seconds or more that need two breaths of air, or twenty however little they need, without a rest of 0.2 s or a parted note of 0.4 s to breathe after. A caution for one player, a note where others can stagger.";
    SlideGlissando "slide-glissando" "harmonic-series" "A trombone glissando that no single partial and tube holds. A fault.";
    Glissando "glissando" "handbooks" "A glissando on an instrument that has none between these notes: valved or keyed notes, bars, a drum beyond its fifth. A caution.";
    SlideShift "slide-shift" "slide-speed" "A change of slide position of four or more faster than an arm moves (18 positions a second; a fault from 36).";
    SlideLegato "slide-legato" "harmonic-series+slide-speed" "A slur between trombone notes that have only one partial in common and lie four or more positions apart: it will smear, or be tongued. A note. A slurred figure of eight notes or more at seven a second in which the slide goes four and a half positions a second on the mean: a caution.";
    Trigger "trigger" "f-attachment" "Trombone notes that need an attachment (Eb2 to C2), or B1, which a single F attachment does not have. A note; B1 on a tenor a caution.";
    StoppedLow "stopped-low" "boldin" "Hand-stopped horn below sounding Bb2 (written F3). A caution; a fault a third lower.";
    StopChange "stop-change" "mutes" "From open to hand-stopped or back in less time than it takes.";
    MuteChange "mute-change" "trumpet-mutes" "Less time to put a mute in, take it out or change it than the player needs. A fault below the least time, a caution below the comfortable one.";
    MuteOpen "mute-open" "notation" "A mute that is never taken off again. A note.";
    MuteTwice "mute-twice" "notation" "“Con sordino” where the mute is already in, or “senza” where there is none. A note.";
    InstrumentChange "instrument-change" "changes" "Less time to take up another instrument, or one in another key, than the player needs.";
    PizzicatoChange "pizzicato-change" "mutes" "Less time from bow to pizzicato or back than the hand needs.";
    PizzicatoOpen "pizzicato-open" "notation" "Pizzicato that goes over into slurs or tremolos without “arco”. A caution.";
    PizzicatoSpeed "pizzicato-speed" "strings" "Eight or more plucked notes in a row faster than a finger plucks (8 a second).";
    DrumTuning "drum-tuning" "timpani-tuning" "A timpani note for which no drum of the set can be tuned in time. A fault below two seconds, a caution below seven.";
    DrumCount "drum-count" "timpani-page" "More timpani notes at once than two hands or the drums of the set have. A fault.";
    HarpCluster "harp-cluster" "harp-pedals" "One letter name in two alterations at once on the harp. A fault; a respelling may cure it.";
    HarpPedals "harp-pedals" "harp-feet" "Pedals to be changed faster than a foot moves one after the other.";
    Hands "hands" "keyboard" "More notes at once on one staff than a hand has fingers (harp: four), or a stretch wider than a tenth that is not broken, unless the other hand is free to help. A caution.";
    DoubleStop "double-stop" "strings" "Notes at once on one string instrument that no adjacent strings and one hand hold. A fault for one player.";
    Divisi "divisi" "notation" "A chord in a string section that only divided players can play, without “div.”. A caution; a note where one player could.";
    Crossing "crossing" "strings" "Six or more quick leaps in a row over more than one string. A caution.";
    Trill "trill" "trills" "A trill that the instrument does not have or has badly.";
    Tremolo "tremolo" "trills" "A tremolo between two notes wider than the instrument has (strings: than one or two strings hold).";
    PlayersOpen "players-open" "notation" "One line for players who share a staff, and no mark says who plays. A note.";
    SoloOpen "solo-open" "notation" "“Solo” in a section's part and no “tutti” after it. A caution.";
    NoDynamic "no-dynamic" "notation" "An entry without a dynamic: a fault where the part has had none at all (a note where most parts begin so, and for voices), a caution after sixteen bars of rest or more, a note after eight.";
    HairpinOpen "hairpin-open" "notation" "A hairpin that never ends (dashes after a word need no end). A fault.";
    HairpinContradicted "hairpin-contradicted" "notation" "A crescendo to a softer mark or a diminuendo to a louder one, the mark before it at most sixteen crotchets away, no bar of rest between and no stress at either end. A caution.";
    TieOpen "tie-open" "notation" "A tie that leads to no note of its pitch. A fault.";
    TooManyNotes "too-many-notes" "catalogue" "More notes at once than a wind part has players. A fault.";
    Transposition "transposition" "catalogue" "A transposition that the instrument does not have, or a part most of which lies outside the compass by the same octave. A caution; the latter a fault. Also a horn part in a key of two octaves that would all fit the lower one, and a horn in C that the file takes as it is written: it is looked at an octave lower.";
    KeySignature "key-signature" "notation" "A key signature that does not fit the others once transposed. A caution.";
    Clef "clef" "catalogue" "A clef the instrument is not written in, or a passage on more than five ledger lines. A note.";
    PercussionSwap "percussion-swap" "percussion" "One percussionist goes from one instrument to another faster than hands and feet.";
    PercussionHands "percussion-hands" "percussion" "More percussion instruments struck at once than one player has hands. A caution.";
    Cue "cue" "mola" "In a part by itself: twenty bars of rest or more and no cue before the entry. A note. A full score has no cues; `deliver` writes them into the parts.";
}

impl Kind {
    /// Whether it rests on seconds, and so on the tempo marks.
    #[must_use]
    pub const fn needs_tempo(self) -> bool {
        matches!(
            self,
            Self::ExposedEntry
                | Self::Agility
                | Self::Tonguing
                | Self::AwkwardTempo
                | Self::Endurance
                | Self::Breath
                | Self::NoRest
                | Self::SlideShift
                | Self::StopChange
                | Self::MuteChange
                | Self::InstrumentChange
                | Self::PizzicatoChange
                | Self::PizzicatoSpeed
                | Self::DrumTuning
                | Self::HarpPedals
                | Self::Crossing
                | Self::PercussionSwap
        )
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.id())
    }
}

impl FromStr for Kind {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL.iter().copied().find(|kind| kind.id() == text).ok_or_else(|| {
            let all: Vec<_> = Self::ALL.iter().map(|kind| kind.id()).collect();
            format!("“{text}” is not a kind of objection; kinds are {}", all.join(", "))
        })
    }
}
