//! The line-up: which sections there are, who sits in them, and what each player can do.

use std::borrow::Cow;

use ripieno_instruments::{Clues, recognise};
use ripieno_instruments::{Instrument, Range, Transposition};
use ripieno_players::{Level, Limits};
use serde::Deserialize;
use toml::Spanned;

use crate::located::Located;
use crate::plan::Task;

impl Chair {
    /// The instruments of the player: the usual one, then the others.
    pub(crate) fn instruments(&self) -> impl Iterator<Item = (&'static Instrument, &'static Transposition)> + '_ {
        std::iter::once((self.instrument, self.transposition)).chain(self.doubles.iter().copied())
    }

    /// The chair with one of its [`Chair::instruments`] in hand; `None` where there are not so many.
    pub(crate) fn holding(&self, held: usize, level: Level) -> Option<Self> {
        let (instrument, transposition) = self.instruments().nth(held)?;
        let reach = Reach::of(instrument, transposition, level, if held == 0 { self.strong } else { Strong::Evenly });
        Some(Self { instrument, transposition, reach, ..self.clone() })
    }
}

/// Where a player is strongest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Strong {
    /// Everywhere alike.
    #[default]
    Evenly,
    /// High.
    High,
    /// Low.
    Low,
}

/// One chair: one player, or one half of a body that divides.
#[derive(Debug, Clone, PartialEq)]
pub struct Chair {
    /// Number within the section, from 1.
    pub number: u8,
    /// What the player holds.
    pub instrument: &'static Instrument,
    /// How it is written.
    pub transposition: &'static Transposition,
    /// Where the player is strongest.
    pub strong: Strong,
    /// Further instruments of the player, with how each is written.
    pub doubles: Vec<(&'static Instrument, &'static Transposition)>,
    /// People who play it: 1, but for a body such as first violins.
    pub people: u16,
    /// What the player can be asked for.
    pub reach: Reach,
}

/// Sounding limits of a chair, as MIDI keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reach {
    /// Never beyond.
    pub possible: Range,
    /// At ease within.
    pub comfortable: Range,
}

/// A section: players of one instrument (with its relatives).
#[derive(Debug, Clone, PartialEq)]
pub struct LineupSection {
    /// Name as the line-up gives it: "Horns in F".
    pub name: String,
    /// The catalogue's word for the section: "horns".
    pub kind: &'static str,
    /// The players, in order.
    pub chairs: Vec<Chair>,
    /// Whether it is a body that plays as one (first violins).
    pub is_body: bool,
    /// How good its players are.
    pub level: Level,
    /// Mutes at hand.
    pub mutes: Vec<String>,
}

/// Everybody who is there.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lineup {
    /// What it is called.
    pub name: String,
    /// Where it comes from: a source, or "our own".
    pub source: String,
    /// The sections, in score order.
    pub sections: Vec<LineupSection>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LineupText {
    #[serde(default)]
    name: String,
    #[serde(default)]
    source: String,
    level: Option<Spanned<String>>,
    section: Vec<Spanned<SectionText>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SectionText {
    name: Spanned<String>,
    #[serde(default = "one")]
    players: Spanned<u16>,
    level: Option<Spanned<String>>,
    #[serde(default)]
    strong_high: Vec<Spanned<u8>>,
    #[serde(default)]
    strong_low: Vec<Spanned<u8>>,
    #[serde(default)]
    instruments: Vec<ChairText>,
    #[serde(default)]
    mutes: Vec<String>,
    /// For a body: into how many it may divide.
    divide: Option<Spanned<u8>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ChairText {
    player: Spanned<u8>,
    /// Instead of the section's instrument.
    plays: Option<Spanned<String>>,
    /// Besides it.
    #[serde(default)]
    doubles: Vec<Spanned<String>>,
}

fn one() -> Spanned<u16> {
    Spanned::new(0..0, 1)
}

/// Most players of a section that are told apart.
const MOST_CHAIRS: u16 = 32;

impl Lineup {
    /// Reads a line-up from TOML (`docs/casting.md`); `file` is the name used in the error.
    ///
    /// # Errors
    /// With the line: text that is no such TOML, an instrument the catalogue does not know, a player that is not there.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, Located> {
        let read: LineupText = toml::from_str(text).map_err(|error| Located::toml(file, text, &error))?;
        let fault = |span: std::ops::Range<usize>, what: String| Located::at(file, text, span.start, what);
        if read.section.is_empty() {
            return Err(Located::new(file, 0, "the line-up has no [[section]]; add one for each group of players"));
        }
        let level = |text: &Option<Spanned<String>>| match text {
            None => Ok(None),
            Some(text) => text.get_ref().parse::<Level>().map(Some).map_err(|_| {
                fault(text.span(), format!("“{}” is no level; levels are professional, amateur and student", text.get_ref()))
            }),
        };
        let everybody = level(&read.level)?.unwrap_or_default();
        let mut sections = Vec::new();
        for section in read.section {
            let section = section.into_inner();
            let (instrument, transposition) = known(&section.name).map_err(|what| fault(section.name.span(), what))?;
            let players = *section.players.get_ref();
            if !(1..=200).contains(&players) || (!instrument.section_instrument && players > MOST_CHAIRS) {
                let what = format!(
                    "{players} players in “{}”; give 1 to {MOST_CHAIRS} (a body of strings up to 200)",
                    section.name.get_ref()
                );
                return Err(fault(section.players.span(), what));
            }
            let level = level(&section.level)?.unwrap_or(everybody);
            let is_body = instrument.section_instrument && players > 1;
            let divide = section.divide.as_ref().map_or(2, |divide| *divide.get_ref());
            if let Some(span) = section.divide.as_ref().filter(|_| !(1..=8).contains(&divide)).map(Spanned::span) {
                return Err(fault(span, "a body divides into 1 to 8".to_owned()));
            }
            let chairs = if is_body { u16::from(divide).min(players) } else { players };
            let mut seats: Vec<Chair> = (1..=chairs)
                .map(|number| Chair {
                    number: u8::try_from(number).unwrap_or(u8::MAX),
                    instrument,
                    transposition,
                    strong: Strong::Evenly,
                    doubles: Vec::new(),
                    people: if is_body { share_of(players, chairs, number - 1) } else { 1 },
                    reach: Reach::of(instrument, transposition, level, Strong::Evenly),
                })
                .collect();
            let seat = |number: &Spanned<u8>| {
                let missing = || {
                    let (wanted, name) = (number.get_ref(), section.name.get_ref());
                    fault(number.span(), format!("“{name}” has no player {wanted}: its players are 1 to {chairs}"))
                };
                usize::from(*number.get_ref()).checked_sub(1).filter(|&at| at < usize::from(chairs)).ok_or_else(missing)
            };
            for (numbers, strong) in [(&section.strong_high, Strong::High), (&section.strong_low, Strong::Low)] {
                for number in numbers {
                    seats[seat(number)?].strong = strong;
                }
            }
            for chair in &section.instruments {
                let at = seat(&chair.player)?;
                if let Some(plays) = &chair.plays {
                    let (instrument, transposition) = known(plays).map_err(|what| fault(plays.span(), what))?;
                    (seats[at].instrument, seats[at].transposition) = (instrument, transposition);
                }
                for double in &chair.doubles {
                    seats[at].doubles.push(known(double).map_err(|what| fault(double.span(), what))?);
                }
            }
            for chair in &mut seats {
                chair.reach = Reach::of(chair.instrument, chair.transposition, level, chair.strong);
            }
            sections.push(LineupSection {
                name: section.name.into_inner(),
                kind: instrument.section.name(),
                chairs: seats,
                is_body,
                level,
                mutes: section.mutes,
            });
        }
        sections.sort_by_key(|section| section.chairs.first().map_or(u16::MAX, |chair| chair.instrument.order));
        Ok(Self { name: read.name, source: read.source, sections })
    }

    /// The line-up of a score: its parts, gathered where neighbours play one instrument of one section.
    #[must_use]
    pub fn of_score(score: &ripieno_score::Score) -> (Self, Vec<Option<usize>>) {
        let mut sections: Vec<LineupSection> = Vec::new();
        let mut of_part = Vec::new();
        for part in &score.parts {
            let found = recognise(&Clues { name: &part.name, ..Clues::default() });
            let instrument = ripieno_instruments::catalogue().by_id(&part.instrument_id).unwrap_or(found.instrument);
            if !instrument.pitched || instrument.sounding(instrument.default_transposition()).is_none() {
                of_part.push(None);
                continue;
            }
            let transposition = instrument.default_transposition();
            let players = part.players.least.max(1);
            let chairs = if part.is_body { 2 } else { players.min(MOST_CHAIRS) };
            let same = |section: &LineupSection| {
                let chair = &section.chairs[0];
                !section.is_body && !part.is_body && chair.instrument.id == instrument.id
            };
            let at = match sections.iter().rposition(same) {
                Some(at) => at,
                None => {
                    sections.push(LineupSection {
                        name: part.name.clone(),
                        kind: instrument.section.name(),
                        chairs: Vec::new(),
                        is_body: part.is_body,
                        level: Level::Professional,
                        mutes: Vec::new(),
                    });
                    sections.len() - 1
                }
            };
            for n in 0..chairs {
                let number = u8::try_from(sections[at].chairs.len() + 1).unwrap_or(u8::MAX);
                sections[at].chairs.push(Chair {
                    number,
                    instrument,
                    transposition,
                    strong: Strong::Evenly,
                    doubles: Vec::new(),
                    people: if part.is_body { share_of(players, chairs, n) } else { 1 },
                    reach: Reach::of(instrument, transposition, Level::Professional, Strong::Evenly),
                });
            }
            of_part.push(Some(at));
        }
        (Self { name: score.about.title(), source: "the score".to_owned(), sections }, of_part)
    }

    /// The line-up as it sits in a phrase: whoever has another instrument in hand there counts as its player.
    #[must_use]
    pub(crate) fn holding(&self, tasks: &[Task]) -> Cow<'_, Self> {
        let mut lineup = Cow::Borrowed(self);
        for task in tasks.iter().filter(|task| task.held > 0) {
            for &chair in &task.chairs {
                let seated = &self.sections[task.section];
                if let Some(held) = seated.chairs.get(chair).and_then(|own| own.holding(task.held, seated.level)) {
                    lineup.to_mut().sections[task.section].chairs[chair] = held;
                }
            }
        }
        lineup
    }

    /// People in all.
    #[must_use]
    pub fn people(&self) -> u32 {
        self.sections.iter().flat_map(|section| &section.chairs).map(|chair| u32::from(chair.people)).sum()
    }

    /// The name of a section, with its number where several have the same: "Horns in F (2)". [`Lineup::find`] finds it again.
    #[must_use]
    pub fn label(&self, at: usize) -> String {
        let name = &self.sections[at].name;
        let like: Vec<usize> = (0..self.sections.len()).filter(|&other| same_name(&self.sections[other].name, name)).collect();
        match like.iter().position(|&other| other == at) {
            Some(place) if like.len() > 1 => format!("{name} ({})", place + 1),
            _ => name.clone(),
        }
    }

    /// The section of a name: as the line-up has it, with its number where several have the same ([`Lineup::label`]), or the catalogue's word ("horns",
    /// "horn"); without regard to capitals. `None` where it is not there, or more than one is meant.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<usize> {
        let wanted = name.trim().to_lowercase();
        let mut exact = (0..self.sections.len()).filter(|&at| same_name(&self.sections[at].name, name));
        let first = exact.next();
        if first.is_some() && exact.next().is_some() {
            return None;
        }
        let labelled = || (0..self.sections.len()).find(|&at| same_name(&self.label(at), name));
        first.or_else(labelled).or_else(|| {
            let kind = |section: &LineupSection| {
                section.kind == wanted
                    || section.kind == format!("{wanted}s")
                    || section.chairs[0].instrument.name().to_lowercase() == wanted
            };
            let mut found = (0..self.sections.len()).filter(|&at| kind(&self.sections[at]));
            found.next().filter(|_| found.next().is_none())
        })
    }
}

/// How many of a body's players have one of so many parts, counted from 0: fifteen on two are eight and seven.
fn share_of(players: u16, parts: u16, part: u16) -> u16 {
    (players / parts + u16::from(part < players % parts)).max(1)
}

/// Whether two names of sections or strands are the same: capitals and spaces around them make no difference.
pub(crate) fn same_name(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

/// The instrument a name of the line-up means.
fn known(name: &Spanned<String>) -> Result<(&'static Instrument, &'static Transposition), String> {
    let text = name.get_ref();
    let found = recognise(&Clues { name: text, ..Clues::default() });
    if found.fallback || found.confidence < 0.6 {
        return Err(format!(
            "“{text}” is no instrument the catalogue knows; name it as a score would, such as “Horns in F” or “Bass trombone”"
        ));
    }
    let instrument = found.instrument;
    let transposition = found.transposition.unwrap_or_else(|| instrument.default_transposition());
    if !instrument.pitched || instrument.sounding(transposition).is_none() {
        return Err(format!(
            "“{text}” has no compass of definite pitch, so no notes can be cast for it; leave it out and add it by hand"
        ));
    }
    Ok((instrument, transposition))
}

/// What an instrument without a compass is given; [`known`] keeps such out of line-ups.
const ANYTHING: Range = match Range::new(21, 108) {
    Some(range) => range,
    None => unreachable!(),
};

impl Reach {
    /// What can be asked for without a thought, and where the player is at home, by `ripieno_players`.
    fn of(instrument: &'static Instrument, transposition: &Transposition, level: Level, strong: Strong) -> Self {
        let limits = Limits::of(instrument, Some(i32::from(transposition.semitones)), level);
        let (possible, comfortable) = limits.map_or((ANYTHING, ANYTHING), |limits| (limits.comfortable, limits.tessitura));
        // A strong high player is at ease a major third higher, and the other way round.
        let comfortable = match strong {
            Strong::Evenly => Some(comfortable),
            Strong::High => Range::new(comfortable.low().saturating_add(4), (comfortable.high() + 4).min(possible.high())),
            Strong::Low => {
                Range::new(comfortable.low().saturating_sub(4).max(possible.low()), comfortable.high().saturating_sub(4))
            }
        }
        .unwrap_or(comfortable);
        Self { possible, comfortable }
    }

    /// Whether a key can be asked for.
    #[must_use]
    pub fn allows(&self, key: i32) -> bool {
        (i32::from(self.possible.low())..=i32::from(self.possible.high())).contains(&key)
    }

    /// Semitones beyond the comfortable compass.
    #[must_use]
    pub fn strain(&self, key: i32) -> i32 {
        (i32::from(self.comfortable.low()) - key).max(key - i32::from(self.comfortable.high())).max(0)
    }

    /// The middle of the comfortable compass.
    #[must_use]
    pub fn middle(&self) -> i32 {
        (i32::from(self.comfortable.low()) + i32::from(self.comfortable.high())) / 2
    }
}
