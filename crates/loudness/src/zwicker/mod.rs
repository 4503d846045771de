//! Zwicker's loudness, ISO 532-1:2017: stationary from third-octave levels or a signal, and time-varying.
//!
//! The filters, tables and constants are those of the standard; the code is ours. The method holds for third-octave levels up to
//! 120 dB and, below 300 Hz, corrects levels by steps, so loudness is not exactly smooth in the level of low bands.

mod bands;
mod main_loudness;
mod slopes;
mod tables;
mod varying;

pub use tables::BANDS;
pub use varying::{Course, varying};

use crate::{Field, Sones};

/// Samples a second the standard's filters are made for.
pub const RATE: u32 = 48_000;

/// Loudness of a stationary sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Loudness {
    /// Total loudness.
    pub total: Sones,
    /// Specific loudness in sone per Bark at 0.1, 0.2 ... 24.0 Bark.
    pub specific: [f64; 240],
}

/// Loudness of third-octave levels in dB, of the bands 25 Hz to 12.5 kHz ([`BANDS`]). Use -60 dB, or less, for nothing in a band.
///
/// # Errors
/// One sentence when a level is not a number or above 120 dB, where the method does not hold.
pub fn from_levels(levels: &[f64; 28], field: Field) -> Result<Loudness, String> {
    for (level, hertz) in levels.iter().zip(BANDS) {
        if level.is_nan() || *level > 120.0 {
            return Err(format!("the third-octave level at {hertz} Hz is {level} dB; ISO 532-1 holds up to 120 dB"));
        }
    }
    let mut specific = [0.0; 240];
    let total = slopes::pattern(&main_loudness::of(levels, field), Some(&mut specific));
    Ok(Loudness { total: Sones(total), specific })
}

/// Third-octave levels in dB of a signal in pascals at [`RATE`], from the sample `skip` on (the filters need a while to swing in;
/// the standard leaves out the first fifth of a second of its own signals).
///
/// # Errors
/// One sentence when the rate is another, nothing is left after `skip`, or a sample is not a number.
pub fn levels(pascals: &[f64], rate: u32, skip: usize) -> Result<[f64; 28], String> {
    usable(pascals, rate)?;
    if pascals.len() <= skip {
        return Err(format!("the sound has {} samples, no more than the {skip} left out at its start", pascals.len()));
    }
    Ok(bands::levels(pascals, skip))
}

/// Loudness of a stationary signal in pascals at [`RATE`]: [`levels()`], then [`from_levels`].
///
/// # Errors
/// As these two.
pub fn stationary(pascals: &[f64], rate: u32, skip: usize, field: Field) -> Result<Loudness, String> {
    from_levels(&levels(pascals, rate, skip)?, field)
}

/// Refuses what the filters cannot take.
fn usable(pascals: &[f64], rate: u32) -> Result<(), String> {
    if rate != RATE {
        return Err(format!("ISO 532-1 is made for {RATE} samples a second and the sound has {rate}; convert it first"));
    }
    match pascals.iter().position(|sample| !sample.is_finite()) {
        Some(index) => Err(format!("sample {index} is not a finite number; the sound is damaged")),
        None => Ok(()),
    }
}
