//! What one player sends out: power, spectrum, attack and decay, direction.
//!
//! A model is driven by a few numbers a row (`data/models.csv`, `spectra.csv`): levels at pp, f and ff with the softest and
//! loudest single note, an envelope of the spectrum with its formants that grows brighter with the dynamic, times of attack and
//! decay. Instruments without numbers of their own take those of a relative (`data/fallback.csv`), and say so.

mod direction;
mod spectrum;
mod stroke;
mod ways;

use std::sync::LazyLock;

use ripieno_instruments::{Family, catalogue};
use ripieno_score::DynamicLevel;

pub use direction::Direction;
pub use spectrum::{Band, Partial, THIRD_OCTAVES};
pub use stroke::Decay;
pub use ways::Ways;

use crate::data::rows;
use crate::level::{Level, hertz};
use direction::directions;
use spectrum::{Spectrum, spectra};
use ways::{Change, changes};

/// The acoustic model of an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// Name of the model: the catalogue id of the instrument whose values these are, or of a kind of sound ("small-drum").
    pub id: String,
    /// Level at pp, f and ff in the middle of the compass, dB re 1 pW.
    levels: [f64; 3],
    /// The softest and the loudest single note, dB re 1 pW.
    pub limits: (f64, f64),
    /// From the lowest to the highest usual note, how much louder: at pp and at ff.
    tilt: [f64; 2],
    /// Usual compass in keys.
    compass: (f64, f64),
    /// Uncertainty of the levels, one standard deviation in dB.
    pub spread: f64,
    spectrum: Spectrum,
    /// How it radiates.
    pub direction: Direction,
    /// Metres from where the sound leaves it to the player's nearer ear.
    pub ear_m: f64,
    onset: (f64, f64),
    held: bool,
    t60: f64,
    t60_per_octave: f64,
    release: f64,
    vibrato: f64,
    noise: (f64, f64, f64),
    /// `confirmed`, `memory` or `derived`.
    pub status: String,
    /// Code of the source of the levels, see [`crate::citations`].
    pub source: String,
}

/// How an instrument came to its model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// The model.
    pub model: &'static Source,
    /// Why a relative's values stand in; `None` where the model is the instrument's own.
    pub instead: Option<&'static str>,
}

/// A tone of one player at one pitch and dynamic.
#[derive(Debug, Clone, PartialEq)]
pub struct Tone {
    /// Sound power level, dB re 1 pW: of the steady tone, or of a struck or plucked one at its beginning.
    pub power: Level,
    /// Its partials, levels in dB relative to the power of the whole tone; empty for percussion that is all noise.
    pub partials: Vec<Partial>,
    /// Its noise by third-octave band, levels in dB relative to the power of the whole tone.
    pub noise: Vec<Band>,
    /// Seconds from nothing to the steady tone.
    pub onset: f64,
    /// Whether it is held by breath or bow (`true`) or left to decay.
    pub held: bool,
    /// Seconds in which it dies when the player stops it.
    pub release: f64,
    /// How far it swings in pitch at the full vibrato, in cents to either side.
    pub vibrato: f64,
}

static MODELS: LazyLock<Vec<Source>> = LazyLock::new(|| {
    let (spectra, directions) = (spectra(), directions());
    rows("models.csv", include_str!("../../data/models.csv"))
        .iter()
        .map(|row| {
            let id = row.text("id").to_owned();
            let named = |what: &str| format!("models.csv: {id} names no {what} that exists");
            #[allow(clippy::panic)] // the tests read every row
            Source {
                levels: [row.get("pp_db"), row.get("f_db"), row.get("ff_db")],
                limits: (row.get("least_db"), row.get("most_db")),
                tilt: [row.get("tilt_pp_db"), row.get("tilt_ff_db")],
                compass: compass(&id),
                spread: row.get("spread_db"),
                spectrum: spectra.get(row.text("spectrum")).cloned().unwrap_or_else(|| panic!("{}", named("spectrum"))),
                direction: *directions.get(row.text("directivity")).unwrap_or_else(|| panic!("{}", named("directivity"))),
                ear_m: row.get("ear_m"),
                onset: (row.get("onset_low_s"), row.get("onset_high_s")),
                held: row.text("held") == "yes",
                t60: row.maybe("t60_s").unwrap_or(0.0),
                t60_per_octave: row.maybe("t60_per_octave").unwrap_or(1.0),
                release: row.get("release_s"),
                vibrato: row.get("vibrato_cents"),
                noise: (row.get("noise_db"), row.get("noise_hz"), row.get("noise_octaves")),
                status: row.text("status").to_owned(),
                source: row.text("source").to_owned(),
                id,
            }
        })
        .collect()
});

struct Instead {
    kind: String,
    name: String,
    model: String,
    why: String,
}

static INSTEAD: LazyLock<Vec<Instead>> = LazyLock::new(|| {
    rows("fallback.csv", include_str!("../../data/fallback.csv"))
        .iter()
        .map(|row| Instead {
            kind: row.text("kind").into(),
            name: row.text("name").into(),
            model: row.text("model").into(),
            why: row.text("why").into(),
        })
        .collect()
});

static CHANGES: LazyLock<Vec<Change>> = LazyLock::new(changes);

/// The compass a model is laid over: the catalogue's usual one, or four octaves round middle C.
fn compass(id: &str) -> (f64, f64) {
    let relative = match id {
        "voice-high" => "soprano",
        "voice-low" => "baritone",
        "saxophone" => "alto-saxophone",
        other => other,
    };
    let ranges = catalogue().by_id(relative).and_then(|item| item.sounding(item.default_transposition()));
    ranges.map_or((36.0, 84.0), |ranges| (f64::from(ranges.usual.low()), f64::from(ranges.usual.high())))
}

impl Source {
    /// The model of an instrument of the catalogue (`bass-clarinet`); every name, known or not, reaches one.
    #[must_use]
    pub fn of(instrument: &str) -> &'static Self {
        Self::find(instrument).model
    }

    /// The same with word of whether a relative stands in.
    #[must_use]
    pub fn find(instrument: &str) -> Found {
        let by_id = |id: &str| MODELS.iter().find(|model| model.id == id);
        let instead = |kind: &str, name: &str| {
            let row = INSTEAD.iter().find(|row| row.kind == kind && row.name == name)?;
            Some(Found { model: by_id(&row.model)?, instead: (row.model != name).then_some(row.why.as_str()) })
        };
        let one = |id: &str| by_id(id).map(|model| Found { model, instead: None }).or_else(|| instead("instrument", id));
        let item = catalogue().by_id(instrument);
        one(instrument)
            .or_else(|| {
                let parent = item?.kind_of.as_deref()?;
                one(parent).map(|found| Found { instead: Some(found.instead.unwrap_or("of its kind")), ..found })
            })
            .or_else(|| item.and_then(|item| instead("section", item.section.name())))
            .or_else(|| item.and_then(|item| instead("family", item.family.name())))
            .or_else(|| instead("family", Family::Other.name()))
            .unwrap_or_else(|| Found { model: &MODELS[0], instead: Some("no values") })
    }

    /// All models.
    #[must_use]
    pub fn all() -> &'static [Self] {
        &MODELS
    }

    /// Sound power level of one player, dB re 1 pW, for a sounding key (69 is A4; any for instruments without pitch). Rises with the
    /// dynamic, in straight lines through the levels at pp, f and ff, never beyond the softest and loudest note. Its uncertainty grows towards pp and ff, where single notes go further than
    /// scales do.
    #[must_use]
    pub fn power(&self, key: f64, level: DynamicLevel, ways: Ways) -> Level {
        let step = f64::from(level.0);
        let [pp, f, ff] = self.levels;
        // pp is 2, f is 6, ff is 7 on the scale of DynamicLevel. Beyond them the steps are half as wide.
        let middle = match step {
            s if s < 2.0 => pp + (s - 2.0) * (f - pp) / 8.0,
            s if s < 6.0 => pp + (s - 2.0) * (f - pp) / 4.0,
            s if s < 7.0 => f + (s - 6.0) * (ff - f),
            s => ff + (s - 7.0) * (ff - f) / 2.0,
        };
        let loudness = ((step - 2.0) / 5.0).clamp(0.0, 1.0);
        let tilt = self.tilt[0] + (self.tilt[1] - self.tilt[0]) * loudness;
        let (least, most) = self.limits;
        let db = (middle + tilt * (self.height(key) - 0.5)).clamp(least, most);
        let spread = self.spread.hypot(self.room_left(step) / 12f64.sqrt());
        Level { db: db + self.changes(ways).map(|change| change.power).sum::<f64>(), spread }
    }

    /// How far a single note goes beyond the level of its mark, in dB: at pp down to the softest, at ff up to the loudest, in between the less the nearer to f. The levels are those of
    /// scales played quickly; a held note can lie anywhere on the way to the limit, which is as uncertain as an even distribution.
    fn room_left(&self, step: f64) -> f64 {
        let [pp, _, ff] = self.levels;
        let (least, most) = self.limits;
        if step < 6.0 {
            ((6.0 - step) / 4.0).min(1.0) * (pp - least).max(0.0)
        } else {
            (step - 6.0).min(1.0) * (most - ff).max(0.0)
        }
    }

    /// The partials of a tone up to `max_hz`, lowest first, in dB relative to the whole tone.
    #[must_use]
    pub fn partials(&self, key: f64, level: DynamicLevel, ways: Ways, max_hz: f64) -> Vec<Partial> {
        self.tone(key, level, ways, max_hz).partials
    }

    /// The noise of a tone (breath, bow, stroke) by third-octave band, in dB relative to the whole tone.
    #[must_use]
    pub fn noise(&self, key: f64, level: DynamicLevel, ways: Ways) -> Vec<Band> {
        self.tone(key, level, ways, 16_000.0).noise
    }

    /// Seconds from nothing to the steady tone: longer for low notes and soft ones.
    #[must_use]
    pub fn onset(&self, key: f64, level: DynamicLevel) -> f64 {
        let (low, high) = self.onset;
        let softness = ((6.0 - f64::from(level.0)) / 4.0).clamp(-0.5, 1.0);
        (low + (high - low) * self.height(key)) * (1.0 + 0.5 * softness)
    }

    /// Seconds in which a struck or plucked tone decays by 60 dB, its lowest partial; `None` for a held one.
    #[must_use]
    pub fn decay(&self, key: f64, ways: Ways) -> Option<f64> {
        let (held, t60) = self.sustain(ways);
        (!held).then(|| self.t60_at(t60, hertz(key)))
    }

    /// Everything about a tone of one player. The powers of its partials below `max_hz` and of its noise add up to the whole, but
    /// for what lies above `max_hz`.
    #[must_use]
    pub fn tone(&self, key: f64, level: DynamicLevel, ways: Ways, max_hz: f64) -> Tone {
        let changes: Vec<&Change> = self.changes(ways).collect();
        let (held, t60) = self.sustain(ways);
        let loudness = (f64::from(level.0) - 2.0) / 5.0;
        let noise_db = self.noise.0 + changes.iter().map(|change| change.noise).sum::<f64>();
        let shape = |hz: f64| changes.iter().map(|change| change.at(hz)).sum::<f64>();
        let (mut partials, mut noise) =
            self.spectrum.tone(hertz(key), loudness.clamp(-0.4, 1.4), self.noise, noise_db, shape, max_hz);
        let noise_t60 = if self.spectrum.is_noise() { 1.0 } else { 0.25 };
        for partial in &mut partials {
            partial.t60 = if held { 0.0 } else { self.t60_at(t60, partial.hz) };
        }
        for band in &mut noise {
            band.t60 = if held { 0.0 } else { t60 * noise_t60 * (self.noise.1 / band.hz).powf(0.15) };
        }
        let onset = changes.iter().find_map(|change| change.onset).unwrap_or_else(|| self.onset(key, level));
        Tone {
            power: self.power(key, level, ways),
            partials,
            noise,
            onset,
            held,
            release: self.release,
            vibrato: if held { self.vibrato } else { 0.0 },
        }
    }

    /// Whether it sounds as long as the player wants.
    fn sustain(&self, ways: Ways) -> (bool, f64) {
        let mut found = (self.held, self.t60);
        for change in self.changes(ways) {
            if let (true, Some(t60)) = (change.decays, change.t60) {
                found = (false, t60);
            }
        }
        // A roll is held for as long as it lasts.
        (found.0 || ways.contains(Ways::TREMOLO) && !ways.contains(Ways::PLUCKED), found.1)
    }

    /// The decay at a frequency: `t60_s` holds at the middle of the compass and shrinks with every octave up.
    fn t60_at(&self, t60: f64, hz: f64) -> f64 {
        let middle = hertz(self.compass.0.midpoint(self.compass.1));
        let per_octave = if self.held { 0.7 } else { self.t60_per_octave };
        (t60 * per_octave.powf((hz / middle).log2())).clamp(0.03, 30.0)
    }

    /// Where a key lies in the compass, 0 lowest, 1 highest.
    fn height(&self, key: f64) -> f64 {
        ((key - self.compass.0) / (self.compass.1 - self.compass.0).max(1.0)).clamp(0.0, 1.0)
    }

    fn changes(&self, ways: Ways) -> impl Iterator<Item = &'static Change> {
        Ways::all().iter().filter(move |way| ways.contains(*way)).filter_map(move |way| {
            let of_way = || CHANGES.iter().filter(move |change| change.way == way);
            of_way()
                .find(|change| change.models.contains(&self.id))
                .or_else(|| of_way().find(|change| change.models.iter().any(|id| id == "*")))
        })
    }
}

#[cfg(test)]
mod tests;
