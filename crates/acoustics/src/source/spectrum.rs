//! Envelopes of spectra, their partials and their noise.

use std::collections::BTreeMap;

use crate::data::rows;
use crate::level::{level_of, power_of};

/// One partial of a tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Partial {
    /// Frequency in hertz.
    pub hz: f64,
    /// Level in dB relative to the power of the whole tone.
    pub db: f64,
    /// Seconds in which it decays by 60 dB; 0 for a held tone.
    pub t60: f64,
}

/// Noise in one third-octave band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Exact mid-frequency of the band in hertz (IEC 61260, base ten).
    pub hz: f64,
    /// Level in dB relative to the power of the whole tone.
    pub db: f64,
    /// Seconds in which it decays by 60 dB; 0 for a held tone.
    pub t60: f64,
}

/// Number of third-octave bands, 25 Hz to 16 kHz.
pub const THIRD_OCTAVES: usize = 29;
/// Most partials of a tone.
const MOST_PARTIALS: usize = 200;
/// Partials weaker than this against the strongest are left out.
const FAINTEST: f64 = -80.0;

/// Mid-frequency of band `index`, from 25 Hz on.
fn third_octave(index: usize) -> f64 {
    #[allow(clippy::cast_precision_loss)] // a small number
    10f64.powf(1.4 + index as f64 / 10.0)
}

#[derive(Debug, Clone, PartialEq)]
struct Formant {
    hz: f64,
    db: f64,
    octaves: f64,
}

/// The envelope of a family of tones.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Spectrum {
    peak_hz: f64,
    rise: f64,
    fall: (f64, f64),
    cut_hz: f64,
    formants: Vec<Formant>,
    /// Even partials weaker by so many dB for fundamentals below this many hertz.
    even: Option<(f64, f64)>,
    /// Frequencies against the fundamental with their levels, for bars, bells and drums.
    modes: Vec<(f64, f64)>,
    noise_only: bool,
}

impl Spectrum {
    pub(crate) const fn is_noise(&self) -> bool {
        self.noise_only
    }

    /// Level of the envelope at a frequency. `loudness` is 0 at pp and 1 at ff.
    fn envelope(&self, hz: f64, loudness: f64) -> f64 {
        let fall = self.fall.0 + (self.fall.1 - self.fall.0) * loudness;
        // A smooth corner: both slopes meet a quarter of an octave round the peak.
        let octaves = (hz / self.peak_hz).log2();
        let (up, down) = (-self.rise * octaves, fall * octaves);
        let bend = -3.0 * ((up / 3.0).exp() + (down / 3.0).exp()).ln();
        // Formants fill up as the tone grows: at pp little of them is excited.
        let filled = 0.5 + 0.5 * loudness.clamp(0.0, 1.0);
        let formants: f64 = self.formants.iter().map(|f| filled * f.db * (-((hz / f.hz).log2() / f.octaves).powi(2)).exp()).sum();
        let cut = -8.0 * (hz / self.cut_hz).log2().max(0.0);
        bend + formants + cut
    }

    /// Weight of even partials: full in the low register, gone an octave and a half above it and by the eighth partial.
    fn evenness(&self, partial: usize, hz: f64) -> f64 {
        let Some((db, below)) = self.even else { return 0.0 };
        if !partial.is_multiple_of(2) {
            return 0.0;
        }
        let register = (1.0 - (hz / below).log2().max(0.0) / 1.5).clamp(0.0, 1.0);
        #[allow(clippy::cast_precision_loss)] // a small number
        let order = (1.25 - partial as f64 / 8.0).clamp(0.0, 1.0);
        db * register * order
    }

    /// Partials and noise in dB relative to the whole.
    pub(crate) fn tone(
        &self,
        hz: f64,
        loudness: f64,
        (_, noise_hz, noise_octaves): (f64, f64, f64),
        noise_db: f64,
        shape: impl Fn(f64) -> f64,
        max_hz: f64,
    ) -> (Vec<Partial>, Vec<Band>) {
        let mut partials = self.raw_partials(hz, loudness, &shape);
        let mut noise: Vec<Band> = (0..THIRD_OCTAVES)
            .map(|index| {
                let hz = third_octave(index);
                // A hump of the stated width at half power; louder strokes reach higher.
                let octaves = (hz / (noise_hz * (0.4 * (loudness - 0.8)).exp2())).log2() / (noise_octaves / 2.0);
                let tail = -3.0 * octaves * octaves;
                Band { hz, db: tail.max(-12.0 * octaves.abs()) + shape(hz), t60: 0.0 }
            })
            .filter(|band| band.db > FAINTEST)
            .collect();
        let share = if self.noise_only { 1.0 } else { power_of(noise_db.min(-0.5)) };
        scale(noise.iter_mut().map(|band| &mut band.db), level_of(share));
        scale(partials.iter_mut().map(|partial| &mut partial.db), level_of(1.0 - share));
        let strongest = partials.iter().map(|partial| partial.db).fold(f64::NEG_INFINITY, f64::max);
        partials.retain(|partial| partial.hz <= max_hz && partial.db > strongest + FAINTEST);
        noise.retain(|band| band.hz <= max_hz);
        (partials, noise)
    }

    fn raw_partials(&self, hz: f64, loudness: f64, shape: &impl Fn(f64) -> f64) -> Vec<Partial> {
        if self.noise_only {
            return Vec::new();
        }
        if !self.modes.is_empty() {
            // A harder stroke wakes the upper modes: the `fall` columns give dB a mode-octave taken away at pp and at ff.
            let fall = self.fall.0 + (self.fall.1 - self.fall.0) * loudness;
            let made = self.modes.iter().map(|(ratio, db)| Partial {
                hz: hz * ratio,
                db: db - fall * ratio.log2().max(0.0) + shape(hz * ratio),
                t60: 0.0,
            });
            return made.filter(|partial| partial.hz < 20_000.0).collect();
        }
        (1..=MOST_PARTIALS)
            .map(|order| {
                #[allow(clippy::cast_precision_loss)] // a small number
                let at = hz * order as f64;
                Partial { hz: at, db: self.envelope(at, loudness) + self.evenness(order, hz) + shape(at), t60: 0.0 }
            })
            .take_while(|partial| partial.hz < 20_000.0 || partial.hz <= hz)
            .collect()
    }
}

/// Shifts levels so that their powers add up to a whole.
fn scale<'a>(levels: impl Iterator<Item = &'a mut f64>, whole_db: f64) {
    let levels: Vec<&mut f64> = levels.collect();
    let now = level_of(levels.iter().map(|db| power_of(**db)).sum());
    for db in levels {
        *db += whole_db - now;
    }
}

pub(crate) fn spectra() -> BTreeMap<String, Spectrum> {
    rows("spectra.csv", include_str!("../../data/spectra.csv"))
        .iter()
        .map(|row| {
            let triples = |text: &str| -> Vec<Vec<f64>> {
                text.split_whitespace().map(|one| one.split(':').filter_map(|number| number.parse().ok()).collect()).collect()
            };
            let formants = triples(row.text("formants"))
                .iter()
                .filter_map(|one| match one[..] {
                    [hz, db, octaves] => Some(Formant { hz, db, octaves }),
                    _ => None,
                })
                .collect();
            let modes: Vec<(f64, f64)> = triples(row.text("modes"))
                .iter()
                .filter_map(|one| match one[..] {
                    [ratio, db] => Some((ratio, db)),
                    _ => None,
                })
                .collect();
            let peak = row.maybe("peak_hz");
            let spectrum = Spectrum {
                peak_hz: peak.unwrap_or(1000.0),
                rise: row.maybe("rise_db").unwrap_or(0.0),
                fall: (row.get("fall_pp_db"), row.get("fall_ff_db")),
                cut_hz: row.maybe("cut_hz").unwrap_or(20_000.0),
                formants,
                even: row.maybe("even_db").zip(row.maybe("even_below_hz")),
                noise_only: peak.is_none() && modes.is_empty(),
                modes,
            };
            (row.text("id").to_owned(), spectrum)
        })
        .collect()
}
