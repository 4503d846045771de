//! Ways of playing that change the sound: mutes, stopped horn, pizzicato and the like (`data/ways.csv`).

use bitflags::bitflags;

use crate::data::rows;

bitflags! {
    /// Ways of playing.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
    pub struct Ways: u16 {
        /// Muted.
        const MUTED = 1;
        /// Hand-stopped horn.
        const STOPPED = 1 << 1;
        /// Plucked by players who usually bow.
        const PLUCKED = 1 << 2;
        /// A harmonic.
        const HARMONIC = 1 << 3;
        /// At the bridge.
        const AT_BRIDGE = 1 << 4;
        /// With the wood of the bow.
        const WITH_WOOD = 1 << 5;
        /// Flutter-tongue.
        const FLUTTER = 1 << 6;
        /// Tremolo or roll: what would decay is kept up.
        const TREMOLO = 1 << 7;
    }
}

impl Ways {
    /// The ways of these names, as the flags are called ("MUTED"); names of ways that do not colour a tone are passed over. Who reads ways of playing
    /// from a page calls them the same.
    #[must_use]
    pub fn of_names<'a>(names: impl Iterator<Item = &'a str>) -> Self {
        names.filter_map(Self::from_name).collect()
    }
}

const NAMES: [(&str, Ways); 7] = [
    ("muted", Ways::MUTED),
    ("stopped", Ways::STOPPED),
    ("plucked", Ways::PLUCKED),
    ("harmonic", Ways::HARMONIC),
    ("at-bridge", Ways::AT_BRIDGE),
    ("with-wood", Ways::WITH_WOOD),
    ("flutter", Ways::FLUTTER),
];

/// What a way of playing does to the sound of some models.
#[derive(Debug)]
pub(crate) struct Change {
    pub(crate) way: Ways,
    /// Models it holds for; `*` for all others.
    pub(crate) models: Vec<String>,
    /// Change of power in dB.
    pub(crate) power: f64,
    /// A region lifted: hertz, dB, width in octaves.
    peak: Option<(f64, f64, f64)>,
    /// Below this, weaker by so many dB an octave.
    below: Option<(f64, f64)>,
    /// Above this, weaker by so many dB an octave.
    above: Option<(f64, f64)>,
    /// Change of the noise in dB.
    pub(crate) noise: f64,
    pub(crate) onset: Option<f64>,
    pub(crate) decays: bool,
    pub(crate) t60: Option<f64>,
}

impl Change {
    /// Change of the spectrum at a frequency, in dB, before the whole is brought to its power.
    pub(crate) fn at(&self, hz: f64) -> f64 {
        let peak = self.peak.map_or(0.0, |(at, db, width)| db * (-((hz / at).log2() / width).powi(2)).exp());
        let below = self.below.map_or(0.0, |(corner, slope)| slope * (hz / corner).log2().min(0.0));
        let above = self.above.map_or(0.0, |(corner, slope)| -slope * (hz / corner).log2().max(0.0));
        peak + below + above
    }
}

pub(crate) fn changes() -> Vec<Change> {
    rows("ways.csv", include_str!("../../data/ways.csv"))
        .iter()
        .filter_map(|row| {
            let (_, way) = NAMES.iter().find(|(name, _)| *name == row.text("way"))?;
            let pair = |a: &str, b: &str| Some((row.maybe::<f64>(a)?, row.maybe::<f64>(b)?));
            Some(Change {
                way: *way,
                models: row.text("models").split_whitespace().map(str::to_owned).collect(),
                power: row.get("power_db"),
                peak: pair("peak_hz", "peak_db").zip(row.maybe("peak_octaves")).map(|((hz, db), width)| (hz, db, width)),
                below: pair("below_hz", "below_db_oct"),
                above: pair("above_hz", "above_db_oct"),
                noise: row.maybe("noise_db").unwrap_or(0.0),
                onset: row.maybe("onset_s"),
                decays: row.text("held") == "no",
                t60: row.maybe("t60_s"),
            })
        })
        .collect()
}
