//! The catalogue: every instrument with what scores, handbooks and standards say about it.

use std::cmp::Ordering;
use std::fmt;
use std::sync::LazyLock;

use crate::data;
use crate::family::{Family, Section};
use crate::key::{KeyName, KeyOctave};
use crate::range::Ranges;

/// A language in which scores print part names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Language {
    /// English.
    English,
    /// Italian, and the Latin of early sources.
    Italian,
    /// French.
    French,
    /// German.
    German,
}

impl Language {
    /// All four.
    pub const ALL: [Self; 4] = [Self::English, Self::Italian, Self::French, Self::German];

    /// The ISO 639-1 code: `en`, `it`, `fr`, `de`.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::Italian => "it",
            Self::French => "fr",
            Self::German => "de",
        }
    }

    pub(crate) fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|language| language.code() == code)
    }
}

impl fmt::Display for Language {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::English => "English",
            Self::Italian => "Italian",
            Self::French => "French",
            Self::German => "German",
        })
    }
}

/// Names of an instrument in one language.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Names {
    /// The usual name, for one instrument.
    pub singular: String,
    /// The usual name for several; the singular where the language has no other.
    pub plural: String,
    /// Abbreviations, the preferred one first; may be empty.
    pub abbreviations: Vec<String>,
    /// Other names for one instrument.
    pub variants: Vec<String>,
    /// Other names for several.
    pub plural_variants: Vec<String>,
}

/// How written notes become sounding ones: sounding = written + this.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Transposition {
    /// The key in which the instrument stands; C for those that only move by octaves.
    pub key: KeyName,
    /// "alto" or "basso" where two octaves are in use.
    pub octave: Option<KeyOctave>,
    /// A word that sets apart another notation in the same key ("bass clef", "as sounding").
    pub notation: Option<String>,
    /// Semitones from written to sounding, octaves included: -7 for the horn in F.
    pub semitones: i8,
    /// Steps of the staff from written to sounding, octaves included: -4 for the horn in F.
    pub steps: i8,
    /// Whether the instrument is seldom met in this key.
    pub rare: bool,
    /// The sounding compass in this key, where it differs from the instrument's own.
    pub sounding: Option<Ranges>,
    /// Codes into [`Catalogue::sources`].
    pub sources: Vec<String>,
}

impl Transposition {
    /// The part within an octave, as MusicXML's `chromatic`: -2 for the bass clarinet.
    #[must_use]
    pub const fn chromatic(&self) -> i8 {
        self.semitones % 12
    }

    /// The part within an octave, as MusicXML's `diatonic`: -1 for the bass clarinet.
    #[must_use]
    pub const fn diatonic(&self) -> i8 {
        self.steps - 7 * self.octave_change()
    }

    /// Whole octaves, as MusicXML's `octave-change`: -1 for the bass clarinet.
    #[must_use]
    pub const fn octave_change(&self) -> i8 {
        self.semitones / 12
    }
}

impl fmt::Display for Transposition {
    /// `in F`, `in Bb basso`, `in C (bass clef)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "in {}", self.key)?;
        if let Some(octave) = self.octave {
            write!(f, " {octave}")?;
        }
        match &self.notation {
            Some(notation) => write!(f, " ({notation})"),
            None => Ok(()),
        }
    }
}

/// Whether a compass belongs to the sounding notes (a valved body in any notation) or to the written ones (a crook or a
/// second size moves the sound, the fingering stays).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum RangeBasis {
    /// The compass is given as it sounds.
    Sounding,
    /// The compass is given as it is written.
    Written,
}

/// Modern build or one of early music.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Build {
    /// In use in today's orchestras.
    Modern,
    /// Of early music: natural horn, traverso, viola da gamba.
    Early,
}

/// A clef on a staff: sign, line counted from the bottom, and octaves of transposition.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Clef {
    /// A pitched clef.
    Pitched {
        /// `G`, `F` or `C`.
        sign: char,
        /// 1 to 5, from the bottom line.
        line: u8,
        /// -1 for the treble clef with an 8 below it.
        octave: i8,
    },
    /// The neutral clef of untuned percussion.
    Percussion,
    /// Tablature.
    Tablature,
}

impl fmt::Display for Clef {
    /// `G2`, `C3`, `G2-1`, `percussion`, `tablature`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Pitched { sign, line, octave: 0 } => write!(f, "{sign}{line}"),
            Self::Pitched { sign, line, octave } => write!(f, "{sign}{line}{octave:+}"),
            Self::Percussion => f.write_str("percussion"),
            Self::Tablature => f.write_str("tablature"),
        }
    }
}

impl std::str::FromStr for Clef {
    type Err = String;

    /// Reads what [`Clef`] displays.
    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "percussion" => return Ok(Self::Percussion),
            "tablature" => return Ok(Self::Tablature),
            _ => {}
        }
        let fault = || format!("“{text}” is not a clef such as G2, C3 or G2-1");
        let mut chars = text.chars();
        let sign = chars.next().filter(|c| "GFC".contains(*c)).ok_or_else(fault)?;
        let line = chars.next().and_then(|c| c.to_digit(10)).filter(|n| (1..=5).contains(n)).ok_or_else(fault)?;
        let rest = chars.as_str();
        let octave = if rest.is_empty() { 0 } else { rest.parse().map_err(|_| fault())? };
        Ok(Self::Pitched { sign, line: u8::try_from(line).map_err(|_| fault())?, octave })
    }
}

/// Where a value comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Source {
    /// The short code used in the data files.
    pub code: String,
    /// `confirmed` (read in the source), `derived` (arithmetic), `standard` (a published standard) or `memory`.
    pub status: String,
    /// Author, title, place.
    pub citation: String,
}

/// One instrument of the catalogue.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Instrument {
    /// Our own identifier in kebab-case, stable: `bass-clarinet`.
    pub id: String,
    /// Its family.
    pub family: Family,
    /// Its section.
    pub section: Section,
    /// Rank in score order: lower stands higher on the page.
    pub order: u16,
    /// The plainer instrument of which it is a kind: the clarinet for the bass clarinet.
    pub kind_of: Option<String>,
    /// Modern or early.
    pub build: Build,
    /// Whether its name stands for several sizes, which a sound or a key may narrow: a trombone may be a bass trombone.
    pub generic: bool,
    /// Whether it plays notes of definite pitch.
    pub pitched: bool,
    /// Whether a part of it is usually played by a whole section (violins, choirs).
    pub section_instrument: bool,
    /// How many players an orchestra usually has, fewest and most.
    pub players: (u8, u8),
    /// Clefs in which it is usually written, the commonest first.
    pub clefs: Vec<Clef>,
    /// General MIDI program, 1 to 128.
    pub program: Option<u8>,
    /// General MIDI percussion key on channel 10.
    pub drum_key: Option<u8>,
    /// MusicXML standard sounds, the preferred one first.
    pub sounds: Vec<String>,
    /// Its transpositions, the default one first; never empty.
    pub transpositions: Vec<Transposition>,
    /// How often scores have it, 0 to 9: settles what nothing else settles.
    pub weight: u8,
    /// Codes into [`Catalogue::sources`] for the compass.
    pub sources: Vec<String>,
    pub(crate) ranges: Option<(RangeBasis, Ranges)>,
    pub(crate) names: [Names; 4],
}

impl Instrument {
    /// Names in a language.
    #[must_use]
    pub const fn names(&self, language: Language) -> &Names {
        match language {
            Language::English => &self.names[0],
            Language::Italian => &self.names[1],
            Language::French => &self.names[2],
            Language::German => &self.names[3],
        }
    }

    /// The English name in the singular.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.names[0].singular
    }

    /// The transposition used when a score does not say: the horn's is in F.
    #[must_use]
    pub fn default_transposition(&self) -> &Transposition {
        &self.transpositions[0]
    }

    /// The preferred MusicXML standard sound.
    #[must_use]
    pub fn sound(&self) -> Option<&str> {
        self.sounds.first().map(String::as_str)
    }

    /// Whether the compass is stored as sounding or as written; `None` without a compass.
    #[must_use]
    pub fn range_basis(&self) -> Option<RangeBasis> {
        self.ranges.map(|(basis, _)| basis)
    }

    /// The sounding compass in a transposition of this instrument; `None` where no compass is meaningful or known.
    #[must_use]
    pub fn sounding(&self, transposition: &Transposition) -> Option<Ranges> {
        if transposition.sounding.is_some() {
            return transposition.sounding;
        }
        self.ranges.map(|(basis, ranges)| match basis {
            RangeBasis::Sounding => ranges,
            RangeBasis::Written => ranges.shifted(i16::from(transposition.semitones)),
        })
    }

    /// The written compass in a transposition of this instrument; `None` where no compass is meaningful or known.
    #[must_use]
    pub fn written(&self, transposition: &Transposition) -> Option<Ranges> {
        self.sounding(transposition).map(|ranges| ranges.shifted(-i16::from(transposition.semitones)))
    }

    /// Whether this is the given instrument or a kind of it.
    #[must_use]
    pub fn is_kind_of(&self, id: &str) -> bool {
        self.id == id || self.kind_of.as_deref() == Some(id)
    }
}

impl fmt::Display for Instrument {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// All instruments, with the tables that point at them.
#[derive(Debug)]
pub struct Catalogue {
    pub(crate) instruments: Vec<Instrument>,
    pub(crate) programs: [u16; 128],
    pub(crate) kern: Vec<(String, u16)>,
    pub(crate) sources: Vec<Source>,
}

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| {
    // The files are part of the program and read by its tests, so a fault here is a bug, never a user's.
    #[allow(clippy::panic)]
    data::catalogue().unwrap_or_else(|fault| panic!("the instrument catalogue is damaged: {fault}"))
});

/// The catalogue, read once.
#[must_use]
pub fn catalogue() -> &'static Catalogue {
    &CATALOGUE
}

impl Catalogue {
    /// Every instrument in score order.
    #[must_use]
    pub fn all(&self) -> &[Instrument] {
        &self.instruments
    }

    /// The instrument with an identifier such as `bass-clarinet`.
    #[must_use]
    pub fn by_id(&self, id: &str) -> Option<&Instrument> {
        self.instruments.iter().find(|instrument| instrument.id == id)
    }

    pub(crate) fn position(&self, id: &str) -> Option<u16> {
        self.instruments.iter().position(|instrument| instrument.id == id).and_then(|at| u16::try_from(at).ok())
    }

    /// Instruments with a MusicXML standard sound: first those that prefer it, commonest first.
    #[must_use]
    pub fn by_sound(&self, sound: &str) -> Vec<&Instrument> {
        let mut found: Vec<_> = self
            .instruments
            .iter()
            .filter_map(|item| item.sounds.iter().position(|s| s == sound).map(|at| (at > 0, item)))
            .collect();
        found.sort_by_key(|(secondary, item)| (*secondary, std::cmp::Reverse(item.weight)));
        found.into_iter().map(|(_, item)| item).collect()
    }

    /// The instrument that a General MIDI program (1 to 128) stands for; `None` outside that range.
    #[must_use]
    pub fn by_program(&self, program: u8) -> Option<&Instrument> {
        let at = *self.programs.get(usize::from(program).checked_sub(1)?)?;
        self.instruments.get(usize::from(at))
    }

    /// The instrument of a Humdrum `*I` code, given without the `*I`: `clarb` is the bass clarinet.
    #[must_use]
    pub fn by_kern(&self, code: &str) -> Option<&Instrument> {
        let (_, at) = self.kern.iter().find(|(name, _)| name == code)?;
        self.instruments.get(usize::from(*at))
    }

    /// Every source the data cite.
    #[must_use]
    pub fn sources(&self) -> &[Source] {
        &self.sources
    }

    /// The source with a code such as `adler-chd`.
    #[must_use]
    pub fn source(&self, code: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.code == code)
    }
}

/// Orders two instruments as a full score does, top first.
#[must_use]
pub fn score_order(a: &Instrument, b: &Instrument) -> Ordering {
    a.order.cmp(&b.order)
}
