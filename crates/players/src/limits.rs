//! What a player of an instrument can do, level by level.

use std::fmt;
use std::str::FromStr;

use ripieno_instruments::catalogue::RangeBasis;
use ripieno_instruments::{Family, Instrument, Range, catalogue};
use ripieno_score::DynamicLevel;

use crate::data::{Flow, Source, Sourced, Speed, Stamina, data};
use crate::level::Level;

/// Something a player has to do between two notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Change {
    /// Put a mute in or on.
    MuteIn,
    /// Take it out or off.
    MuteOut,
    /// From one mute to another.
    OtherMute,
    /// From open to hand-stopped (horn).
    Stop,
    /// From hand-stopped to open.
    Unstop,
    /// From the bow to plucking.
    ToPizzicato,
    /// From plucking to the bow.
    ToBow,
    /// Take up another instrument, or one in another key.
    Instrument,
    /// Tune a drum to another note.
    Retune,
}

impl Change {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::MuteIn,
        Self::MuteOut,
        Self::OtherMute,
        Self::Stop,
        Self::Unstop,
        Self::ToPizzicato,
        Self::ToBow,
        Self::Instrument,
        Self::Retune,
    ];

    /// As the data files write it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::MuteIn => "mute in",
            Self::MuteOut => "mute out",
            Self::OtherMute => "other mute",
            Self::Stop => "stop",
            Self::Unstop => "unstop",
            Self::ToPizzicato => "to pizzicato",
            Self::ToBow => "to bow",
            Self::Instrument => "instrument",
            Self::Retune => "retune",
        }
    }
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for Change {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL.into_iter().find(|change| change.name() == text).ok_or_else(|| format!("“{text}” is not a change"))
    }
}

/// Seconds a change takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChangeTime {
    /// Below this it cannot be done.
    pub least: f64,
    /// What a player would ask for.
    pub comfortable: f64,
    /// Source codes.
    pub source: &'static str,
}

/// Notes a second that a player can tongue; each as (comfortable, limit).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tonguing {
    /// Single tongue.
    pub single: (f64, f64),
    /// Double tongue, where the instrument and the level have one.
    pub double: Option<(f64, f64)>,
    /// Limit of triple tongue, in groups of three.
    pub triple: Option<f64>,
    /// Source codes.
    pub source: &'static str,
}

impl Tonguing {
    /// The fastest of all.
    #[must_use]
    pub fn limit(&self) -> f64 {
        self.double.map_or(self.single.1, |double| double.1).max(self.triple.unwrap_or(0.0))
    }

    /// The band between an easy single and an easy double tongue, where there is one; otherwise `None`.
    #[must_use]
    pub fn awkward(&self) -> Option<(f64, f64)> {
        self.double.map(|double| (self.single.0, double.0)).filter(|(low, high)| low < high)
    }
}

/// How long a player of brass or double reed lasts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Endurance {
    /// Length of the window looked at, in seconds.
    pub window: f64,
    /// Most of the window that may be high and loud.
    pub high_loud: f64,
    /// Most of three windows that may be played at all at forte or above.
    pub playing: f64,
    /// Seconds of rest to follow a window that reaches a limit.
    pub rest: f64,
    /// Source codes.
    pub source: &'static str,
}

/// What one player of an instrument at a level can do. Compasses sound (concert pitch), as MIDI keys.
#[derive(Debug, Clone)]
pub struct Limits {
    /// The instrument.
    pub instrument: &'static Instrument,
    /// The level.
    pub level: Level,
    /// What can be played at all.
    pub possible: Range,
    /// What can be asked for without a thought.
    pub comfortable: Range,
    /// Where the instrument is at home: most notes of a part should lie here.
    pub tessitura: Range,
    /// Where piano and softer is to be had.
    pub soft: Range,
    /// Where forte and louder is to be had.
    pub loud: Range,
    /// Source codes of the compasses.
    pub compass_source: &'static str,
    /// Source codes of the registers by dynamic; empty where none is known, and `soft` and `loud` are `possible`.
    pub dynamics_source: &'static str,
    lowest_trill: Option<u8>,
    flow: Option<Sourced<Flow>>,
    speed: Option<Sourced<Speed>>,
    stamina: Option<Sourced<Stamina>>,
}

impl Limits {
    /// The limits of an instrument of the catalogue that sounds `transposition` semitones from what is written; `None` for the
    /// transposition leaves it open, and the compass then holds what any of the usual ones can play.
    ///
    /// `None` where no compass is known or meaningful (untuned percussion, electronics).
    #[must_use]
    pub fn of(instrument: &'static Instrument, transposition: Option<i32>, level: Level) -> Option<Self> {
        let (by, spread) = match instrument.range_basis()? {
            RangeBasis::Sounding => (0, (0, 0)),
            RangeBasis::Written => written_shift(instrument, transposition),
        };
        let usual = instrument.sounding(instrument.default_transposition())?;
        let default = match instrument.range_basis()? {
            RangeBasis::Sounding => 0,
            RangeBasis::Written => i16::from(instrument.default_transposition().semitones),
        };
        // The catalogue's compass in its own basis, so that one shift serves both files.
        let usual = usual.shifted(-default);
        let own = data().compasses.get(&(instrument.id.clone(), level));
        let (mut possible, mut comfortable, mut tessitura, compass_source) = match (own, level) {
            (Some((compass, source)), _) => (compass.possible, compass.comfortable, compass.tessitura, *source),
            (None, Level::Professional) => (usual.extreme, usual.usual, usual.comfortable, "catalogue"),
            (None, _) if !tires(instrument) => (usual.usual, usual.usual, usual.comfortable, "catalogue"),
            (None, Level::Amateur) => (usual.usual, lowered(usual.usual, 4), lowered(usual.comfortable, 3), "levels"),
            (None, Level::Student) => (lowered(usual.usual, 5), lowered(usual.usual, 9), lowered(usual.comfortable, 7), "levels"),
        };
        comfortable = within(comfortable, possible);
        tessitura = within(tessitura, comfortable);
        let (mut soft, mut loud, dynamics_source) = data()
            .dynamics
            .get(&instrument.id)
            .map_or((possible, possible, ""), |((soft, loud), source)| (*soft, *loud, *source));
        for range in [&mut possible, &mut comfortable, &mut tessitura, &mut soft, &mut loud] {
            let (low, high) = (range.shifted(by + spread.0).low(), range.shifted(by + spread.1).high());
            *range = Range::new(low, high).unwrap_or(*range);
        }
        let trill = data().trills.get(&instrument.id).map(|(key, _)| i16::from(*key) + by);
        let section = instrument.section.name();
        let flow = data().flows.get(&instrument.id).or_else(|| data().flows.get(section)).copied();
        let (speed, stamina) = (data().speeds.get(section).copied(), data().endurance.get(section).copied());
        Some(Self {
            instrument,
            level,
            possible,
            comfortable,
            tessitura,
            soft,
            loud,
            compass_source,
            dynamics_source,
            lowest_trill: trill.and_then(|key| u8::try_from(key).ok()),
            flow,
            speed,
            stamina,
        })
    }

    /// As [`Limits::of`], by the catalogue's identifier and in its usual transposition.
    #[must_use]
    pub fn by_id(id: &str, level: Level) -> Option<Self> {
        let instrument = catalogue().by_id(id)?;
        Self::of(instrument, Some(i32::from(instrument.default_transposition().semitones)), level)
    }

    /// The compass to stay in at a dynamic: comfortable, and where the instrument can be that soft or that loud.
    #[must_use]
    pub fn at(&self, dynamic: Option<DynamicLevel>) -> Range {
        let other = match dynamic {
            Some(level) if level.0 <= 3.0 => self.soft,
            Some(level) if level.0 >= 6.0 => self.loud,
            _ => return self.comfortable,
        };
        within(other, self.comfortable)
    }

    /// Seconds one breath lasts on a note of this key at this dynamic (mezzo-forte where unknown); `None` for who needs none.
    #[must_use]
    pub fn breath_seconds(&self, key: u8, dynamic: Option<DynamicLevel>) -> Option<f64> {
        self.flow_at(key, dynamic).map(|flow| self.level.air() / flow)
    }

    /// Litres of one full breath at this level.
    #[must_use]
    pub fn air(&self) -> f64 {
        self.level.air()
    }

    /// Litres a second on a note of this key at this dynamic; `None` for who needs no breath.
    #[must_use]
    pub fn flow_at(&self, key: u8, dynamic: Option<DynamicLevel>) -> Option<f64> {
        let (flow, _) = self.flow?;
        let level = f64::from(dynamic.unwrap_or(DynamicLevel::MEZZO_FORTE).0);
        // pp 2, mf 5, ff 7; between them in equal ratios, and on beyond them.
        let between = |a: f64, b: f64, share: f64| a * (b / a).powf(share);
        let litres = if level <= 5.0 {
            between(flow.pp, flow.mf, (level - 2.0) / 3.0)
        } else {
            between(flow.mf, flow.ff, (level - 5.0) / 2.0)
        };
        let litres = litres.clamp(flow.pp * 0.8, flow.ff * 1.2);
        Some(if key < self.tessitura.low() { litres * flow.low } else { litres })
    }

    /// Source codes of the breath.
    #[must_use]
    pub fn breath_source(&self) -> &'static str {
        self.flow.map_or("", |(_, source)| source)
    }

    /// How fast the tongue is; `None` for who has none in play.
    #[must_use]
    pub fn tonguing(&self) -> Option<Tonguing> {
        let (speed, source) = self.speed?;
        let by = self.level.speed();
        let scaled = |(a, b): (f64, f64)| (a * by, b * by);
        let single = scaled(speed.single?);
        // Students are not yet expected to have a double tongue, amateurs no triple one (source `tonguing`, memory).
        let double = speed.double.filter(|_| self.level != Level::Student).map(scaled);
        let triple = speed.triple.filter(|_| self.level == Level::Professional);
        Some(Tonguing { single, double, triple, source })
    }

    /// Most different pitches a second in a run; `None` where nothing is known.
    #[must_use]
    pub fn pitches_a_second(&self) -> Option<f64> {
        self.speed.and_then(|(speed, _)| speed.pitches).map(|pitches| pitches * self.level.speed())
    }

    /// How long the lips last; `None` for who does not tire so.
    #[must_use]
    pub fn endurance(&self) -> Option<Endurance> {
        let (stamina, source) = self.stamina?;
        let share = |share: f64| match self.level {
            Level::Professional => share,
            Level::Amateur => share * 0.75,
            Level::Student => share * 0.6,
        };
        Some(Endurance {
            window: stamina.window,
            high_loud: share(stamina.high_loud),
            playing: share(stamina.playing),
            rest: stamina.rest * self.level.slowness(),
            source,
        })
    }

    /// From which key up playing counts as high: above the tessitura.
    #[must_use]
    pub const fn high(&self) -> u8 {
        self.tessitura.high()
    }

    /// The lowest key with a good trill; `None` where none is known to be bad.
    #[must_use]
    pub fn lowest_trill(&self) -> Option<u8> {
        self.lowest_trill
    }

    /// What a change takes; `None` where the instrument has no such change.
    #[must_use]
    pub fn change(&self, change: Change) -> Option<ChangeTime> {
        change_time(self.instrument, change, self.level)
    }
}

/// What a change takes on an instrument, compass or not.
#[must_use]
pub fn change_time(instrument: &Instrument, change: Change, level: Level) -> Option<ChangeTime> {
    let ((least, comfortable), source) = *data().changes.get(&(instrument.section.name().to_owned(), change))?;
    let by = level.slowness();
    Some(ChangeTime { least: least * by, comfortable: comfortable * by, source })
}

/// Whether the compass shrinks with the level: not where a key or a bar is struck.
fn tires(instrument: &Instrument) -> bool {
    matches!(instrument.family, Family::Woodwind | Family::Brass | Family::Voice | Family::Strings)
}

/// What a compass shares with another; the other where they share nothing.
fn within(inner: Range, outer: Range) -> Range {
    Range::new(inner.low().max(outer.low()), inner.high().min(outer.high())).unwrap_or(outer)
}

/// A compass with its top some semitones lower, but at least an octave wide where it was.
fn lowered(range: Range, by: u8) -> Range {
    let high = range.high().saturating_sub(by).max(range.low().saturating_add(12)).min(range.high());
    Range::new(range.low(), high).unwrap_or(range)
}

/// How far a written compass is moved: the shift and, where the transposition is open, how much further down and up.
fn written_shift(instrument: &Instrument, transposition: Option<i32>) -> (i16, (i16, i16)) {
    match transposition.and_then(|by| i16::try_from(by).ok()) {
        Some(by) => (by, (0, 0)),
        None => {
            let usual = instrument.transpositions.iter().filter(|t| !t.rare).map(|t| i16::from(t.semitones));
            let default = i16::from(instrument.default_transposition().semitones);
            let (low, high) = usual.fold((default, default), |(low, high), by| (low.min(by), high.max(by)));
            // A clarinet in A or B flat, not one of another size an octave away.
            (default, ((low - default).max(-3), (high - default).min(3)))
        }
    }
}

/// The citation behind a source code of this crate; `None` for an unknown code.
#[must_use]
pub fn source(code: &str) -> Option<&'static Source> {
    data().sources.iter().find(|source| source.code == code)
}

/// All sources, in the order of their file.
#[must_use]
pub fn sources() -> &'static [Source] {
    &data().sources
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(id: &str, level: Level) -> Limits {
        Limits::by_id(id, level).unwrap()
    }

    /// Each level asks for no more than the one above it, and soft and loud lie within reach; arithmetic, no source.
    #[test]
    fn an_abler_player_can_do_what_a_less_able_one_can() {
        for instrument in catalogue().all() {
            let all: Vec<_> = Level::ALL.into_iter().filter_map(|level| Limits::of(instrument, None, level)).collect();
            for pair in all.windows(2) {
                assert!(pair[0].possible.covers(pair[1].possible), "{} {}", instrument.id, pair[1].level);
                assert!(pair[0].comfortable.high() >= pair[1].comfortable.high(), "{} {}", instrument.id, pair[1].level);
                if let (Some(able), Some(less)) = (pair[0].tonguing(), pair[1].tonguing()) {
                    assert!(able.limit() >= less.limit());
                }
            }
            for limits in &all {
                assert!(limits.possible.covers(limits.comfortable), "{}", instrument.id);
                assert!(limits.comfortable.covers(limits.tessitura), "{} {}", instrument.id, limits.level);
            }
        }
    }

    /// Flows: UNSW gives 0.1 to 1 litre a second for winds in usual playing, a tuba at ff beyond it, an oboe at p below.
    #[test]
    fn breath_lies_where_the_measurements_say() {
        let seconds = |id, dynamic| limits(id, Level::Professional).breath_seconds(58, Some(DynamicLevel(dynamic))).unwrap();
        assert!((seconds("trombone", 5.0) - 4.5 / 0.35).abs() < 1e-9);
        assert!(seconds("tuba", 7.0) < 5.0 && seconds("oboe", 3.0) > 50.0);
        assert!(seconds("horn", 2.0) > seconds("horn", 5.0) && seconds("horn", 5.0) > seconds("horn", 7.0));
        assert!(limits("violin", Level::Professional).breath_seconds(60, None).is_none());
    }

    /// Trumpet mutes: 3 to 4 s, 5 s from mute to mute (themoderntrumpet.com, 30 October 2020).
    #[test]
    fn trumpet_mutes_take_what_a_trumpeter_says() {
        let trumpet = limits("trumpet", Level::Professional);
        let time = |change| trumpet.change(change).map(|time| (time.least, time.comfortable));
        assert_eq!(time(Change::MuteIn), Some((3.0, 4.0)));
        assert_eq!(time(Change::OtherMute), Some((5.0, 6.0)));
        assert_eq!(time(Change::ToBow), None);
    }

    /// The ends Adler gives, as tabulated by Chon, Huron and DeVlieger, lie within what a professional can reach.
    #[test]
    fn professionals_reach_the_handbooks_ends() {
        for (id, low, high) in [
            ("trumpet", 54, 84),
            ("trombone", 40, 77),
            ("bass-trombone", 34, 70),
            ("tuba", 26, 67),
            ("flute", 60, 98),
            ("oboe", 58, 91),
            ("bassoon", 34, 76),
            ("violin", 55, 107),
            ("cello", 36, 88),
        ] {
            let possible = limits(id, Level::Professional).possible;
            assert!(possible.low() <= low && possible.high() >= high, "{id} {possible}");
        }
    }

    #[test]
    fn a_clarinet_in_a_is_lower_than_one_in_b_flat() {
        let clarinet = catalogue().by_id("clarinet").unwrap();
        let low = |by| Limits::of(clarinet, by, Level::Professional).unwrap().possible.low();
        assert_eq!((low(Some(-2)), low(Some(-3)), low(None)), (50, 49, 49));
    }

    #[test]
    fn soft_and_loud_narrow_the_register() {
        let flute = limits("flute", Level::Professional);
        assert!(flute.at(Some(DynamicLevel(7.0))).low() > flute.at(None).low());
        assert!(flute.at(Some(DynamicLevel(2.0))).high() < flute.at(None).high());
    }
}
