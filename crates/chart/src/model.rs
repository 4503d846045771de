//! What a chart says, as it says it.

use ripieno_score::{Crotchets, DynamicLevel, PlayerCount};
use ripieno_texture::{Role, Techniques};

use crate::place::Span;

/// A chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chart {
    /// Title of the work.
    pub title: String,
    /// Movement or cue.
    pub movement: String,
    /// Composer.
    pub composer: String,
    /// Which version or edition of the score was charted.
    pub edition: String,
    /// Who made the chart, from what; empty is by hand.
    pub made: String,
    /// Anything else worth keeping.
    pub remark: String,
    /// The line-up from the top of the page down.
    pub parts: Vec<ChartPart>,
    /// The bars in order, in stretches.
    pub bars: Vec<Run>,
    /// Who does what; a later row wins where two speak of one line at one time.
    pub rows: Vec<Row>,
    /// Comment lines at the head of the file, without the `#`.
    pub opening: Vec<String>,
    /// Comment lines at its end.
    pub closing: Vec<String>,
}

/// One part of the line-up.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ChartPart {
    /// Name as printed.
    pub name: String,
    /// Instrument, as the catalogue's identifier or any name it knows; empty takes it from the part's name.
    pub instrument: String,
    /// People who play from it; `None` takes them from the name, or the usual number.
    pub players: Option<PlayerCount>,
    /// Whether they are a body that plays as one; `None` goes by the instrument.
    pub body: Option<bool>,
    /// Comment lines above it.
    pub comments: Vec<String>,
}

impl ChartPart {
    /// Parts of nothing but names, those that are blank left out.
    pub fn of_names<'a>(names: impl IntoIterator<Item = &'a String>) -> Vec<Self> {
        let named = |name: &str| Self { name: name.to_owned(), ..Self::default() };
        names.into_iter().map(|name| name.trim()).filter(|name| !name.is_empty()).map(named).collect()
    }
}

/// Bars in a row; what changes, changes with the first of them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Run {
    /// How many, at least 1.
    pub count: u32,
    /// Printed number of the first; `None` goes on counting.
    pub number: Option<String>,
    /// Not counted in the numbering: an upbeat, the rest of a divided bar.
    pub uncounted: bool,
    /// Metre from here on: "4/4", "3+2/8", "free".
    pub metre: Option<String>,
    /// Length of each of these bars in crotchets, where it is not the metre's.
    pub length: Option<Crotchets>,
    /// Tempo from here on, in crotchets a minute.
    pub tempo: Option<f64>,
    /// Rehearsal mark at the first bar.
    pub mark: Option<String>,
    /// A repeated section begins with the first bar.
    pub repeat_start: bool,
    /// A repeated section ends with the last bar, played so many times in all.
    pub repeat_end: Option<u8>,
    /// Numbers of the ending that these bars are.
    pub ending: Vec<u8>,
    /// Comment lines above it.
    pub comments: Vec<String>,
}

impl Run {
    /// The bars a new chart begins with: an upbeat of so many crotchets, if any, then so many bars of a metre.
    #[must_use]
    pub fn begin(count: u32, metre: &str, upbeat: Option<Crotchets>) -> Vec<Self> {
        let upbeat = upbeat.map(|length| Self { count: 1, uncounted: true, length: Some(length), ..Self::default() });
        let mut bars: Vec<Self> = upbeat.into_iter().collect();
        bars.push(Self { count, ..Self::default() });
        bars[0].metre = Some(metre.to_owned());
        bars
    }
}

/// Whom a row doubles.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Doubles {
    /// A part or section, as [`ripieno_instruments::called`] understands it.
    pub who: String,
    /// Which line of it; `None` is the first.
    pub line: Option<u16>,
    /// Octaves by which the row's players sound above those they double; negative below.
    pub octaves: i16,
    /// Whether they have only some of the notes.
    pub in_part: bool,
}

/// One statement: these people, these bars.
///
/// With a role it says what they play; without one it says something more of what they play anyway: that they lead, or whom
/// they double.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Row {
    /// Sections, families, instruments or parts, as [`ripieno_instruments::called`] understands them; at least one.
    pub who: Vec<String>,
    /// Which line of each of those parts, from 1, where a part divides.
    pub line: Option<u16>,
    /// When; at least one.
    pub bars: Vec<Span>,
    /// The roles, the chief one first.
    pub roles: Vec<Role>,
    /// Whether they lead: the melody is followed to them.
    pub lead: bool,
    /// Ways of playing.
    pub manner: Techniques,
    /// Those with one letter at one time act together.
    pub layer: String,
    /// Printed dynamic.
    pub dynamic: Option<DynamicLevel>,
    /// People on this line of each part; `None` shares out the part's.
    pub players: Option<PlayerCount>,
    /// Whom they double.
    pub doubles: Option<Doubles>,
    /// Where they lie, in words or note names; kept and shown, never measured.
    pub register: String,
    /// How sure the role is, 0 to 1, where it was read by the analysis; `None` is said by a person.
    pub confidence: Option<f32>,
    /// A remark.
    pub remark: String,
    /// Comment lines above it.
    pub comments: Vec<String>,
}
