//! Excitation patterns: how strongly a sound drives each filter of the cochlea.
//!
//! Rounded-exponential filters of Glasberg and Moore (1990): W = (1 + pg) exp(-pg), g the distance from the centre as a share of it.
//! The lower skirt flattens with level, so loud low sounds spread upwards.

use std::sync::LazyLock;

use super::tables::{Place, power, transfer};
use crate::{Field, erb};

/// Filters of a pattern: from 1.75 to 39.0 Cam in steps of a quarter.
pub const CHANNELS: usize = 150;
/// Distance of neighbouring filters in Cam.
pub(super) const STEP: f64 = 0.25;
/// Level in dB per ERB at which filters are symmetrical, and by how much the lower slope flattens for each dB above (at 1 kHz).
const SYMMETRICAL: f64 = 51.0;
const FLATTENING: f64 = 0.35;
/// The lower slope is never flatter than this share of the upper one: reached at 128 dB, beyond any use.
const FLATTEST: f64 = 0.1;
/// Below this many p times g a filter lets nothing count through: 2e-16.
const FAR: f64 = 40.0;

/// A pure tone, or a narrow band of noise taken as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    /// Frequency in hertz.
    pub hertz: f64,
    /// Level in dB.
    pub level: f64,
}

/// Excitation at each filter, as a power relative to that of a 1 kHz tone at 0 dB in free field.
#[derive(Debug, Clone, PartialEq)]
pub struct Excitation {
    /// One value a filter, from low to high.
    pub powers: [f64; CHANNELS],
}

/// A filter with what never changes about it.
pub(super) struct Channel {
    pub hertz: f64,
    /// Slope p at 51 dB.
    slope: f64,
    pub place: Place,
}

pub(super) static COCHLEA: LazyLock<Vec<Channel>> = LazyLock::new(|| {
    (0..CHANNELS)
        .map(|index| {
            #[allow(clippy::cast_precision_loss)] // 150
            let hertz = erb::hertz(1.75 + STEP * index as f64);
            Channel { hertz, slope: slope(hertz), place: Place::at(hertz) }
        })
        .collect()
});

/// Slope p of a symmetrical filter: its bandwidth is the ERB.
fn slope(hertz: f64) -> f64 {
    4.0 * hertz / erb::bandwidth(hertz)
}

/// Weight of a filter for p times g.
fn weight(pg: f64) -> f64 {
    if pg > FAR { 0.0 } else { (1.0 + pg) * (-pg).exp() }
}

impl Excitation {
    /// No sound.
    pub const SILENCE: Self = Self { powers: [0.0; CHANNELS] };

    /// Centre frequencies in hertz of the filters.
    pub fn hertz() -> [f64; CHANNELS] {
        std::array::from_fn(|index| COCHLEA[index].hertz)
    }

    /// Two sounds that do not know each other's phase.
    #[must_use]
    pub fn with(&self, other: &Self) -> Self {
        Self { powers: std::array::from_fn(|index| self.powers[index] + other.powers[index]) }
    }
}

/// Excitation of tones that sound together. Tones outside 20 Hz to 20 kHz, silent or not numbers count as nothing. Of one frequency,
/// several tones add in power.
pub fn excitation(tones: &[Tone], field: Field) -> Excitation {
    let parts: Vec<(f64, f64)> = tones
        .iter()
        .filter(|tone| (20.0..=20_000.0).contains(&tone.hertz) && tone.level.is_finite())
        .map(|tone| (tone.hertz, power(tone.level + transfer(tone.hertz, field == Field::Diffuse))))
        .collect();
    let mut powers = [0.0; CHANNELS];
    for &(hertz, strength) in &parts {
        // The level in the filter around the tone sets how far it spreads.
        let around = slope(hertz);
        let near: f64 = parts.iter().map(|(other, strength)| strength * weight(around * (other - hertz).abs() / hertz)).sum();
        let excess = FLATTENING / slope(1000.0) * (10.0 * near.log10() - SYMMETRICAL);
        let lower = (1.0 - excess).max(FLATTEST);
        for (power, channel) in powers.iter_mut().zip(COCHLEA.iter()) {
            let distance = (hertz - channel.hertz) / channel.hertz;
            // A tone below the centre meets the lower skirt.
            let pg = if distance < 0.0 { -distance * channel.slope * lower } else { distance * channel.slope };
            *power += strength * weight(pg);
        }
    }
    Excitation { powers }
}

/// Tones that stand for third-octave levels in dB (the 28 bands of [`crate::zwicker::BANDS`]): each band as nine tones of equal level,
/// near enough to each other for no filter above 100 Hz to tell them apart. Bands below -20 dB are left out.
pub fn third_octaves(levels: &[f64; 28]) -> Vec<Tone> {
    const PARTS: i32 = 9;
    let mut tones = Vec::new();
    for (&level, band) in levels.iter().zip(-16i32..) {
        if level < -20.0 {
            continue;
        }
        for part in 0..PARTS {
            let offset = (f64::from(part) + 0.5) / f64::from(PARTS) - 0.5;
            let hertz = 1000.0 * 10f64.powf((f64::from(band) + offset) / 10.0);
            tones.push(Tone { hertz, level: level - 10.0 * f64::from(PARTS).log10() });
        }
    }
    tones
}
