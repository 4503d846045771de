//! What the ear makes of it: excitation along the ERB scale, and how far a sound lies above what masks it.
//!
//! Two ears would disagree in detail; [`Ear`] is what the rest asks of one, so that another model of hearing can stand in. The one
//! here, [`Excited`], is linear: excitations of sounds add up. That is what makes a whole score quick, and its price is that the
//! spread of masking towards higher frequencies has the slope of one level, 65 dB in a band, at all levels.

use ripieno_loudness::erb;

use crate::level::{level_of, power_of};

/// Channels along the ERB scale, half an ERB apart.
pub const CHANNELS: usize = 76;
/// ERB number of the lowest channel, about 26 Hz; the highest lies near 16 kHz.
const FIRST: f64 = 1.0;
const STEP: f64 = 0.5;
/// Level per band at which the slopes are taken, dB.
const SLOPE_LEVEL: f64 = 65.0;
/// At what level against a noise in its band a tone is just heard, in dB by hertz: Moore, Glasberg and Baer (1997), from memory. Low tones
/// need more.
const JUST_HEARD: [(f64, f64); 6] = [(50.0, 13.0), (100.0, 5.0), (200.0, 0.5), (400.0, -2.0), (1000.0, -3.0), (20_000.0, -3.0)];

/// Mid-frequency in hertz of a channel.
#[must_use]
pub fn channel_hz(channel: usize) -> f64 {
    #[allow(clippy::cast_precision_loss)] // a small number
    let number = FIRST + STEP * channel as f64;
    erb::hertz(number)
}

/// The channel whose middle is nearest to a frequency.
#[must_use]
pub fn channel_of(hz: f64) -> usize {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
    let channel = ((erb::number(hz) - FIRST) / STEP).round().max(0.0) as usize;
    channel.min(CHANNELS - 1)
}

/// Threshold in quiet in dB SPL (Terhardt 1979).
#[must_use]
pub fn threshold(hz: f64) -> f64 {
    let khz = (hz / 1000.0).max(0.02);
    3.64 * khz.powf(-0.8) - 6.5 * (-0.6 * (khz - 3.3).powi(2)).exp() + 1e-3 * khz.powi(4)
}

/// Excitation in each channel, as power against the reference of sound pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct Excitation(pub Box<[f64; CHANNELS]>);

impl Default for Excitation {
    fn default() -> Self {
        Self(Box::new([0.0; CHANNELS]))
    }
}

impl Excitation {
    /// Adds another, `gain` times.
    pub fn add(&mut self, other: &Self, gain: f64) {
        for (mine, other) in self.0.iter_mut().zip(other.0.iter()) {
            *mine += gain * other;
        }
    }

    /// Sets it back to silence.
    pub fn clear(&mut self) {
        self.0.fill(0.0);
    }

    /// Whether nothing excites it.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.0.iter().all(|power| *power <= 0.0)
    }

    /// Excites it by a component of a frequency and a power (against the reference of sound pressure).
    pub fn excite(&mut self, hz: f64, power: f64) {
        let near = channel_of(hz);
        let mut reach = |channel: usize| {
            let share = weight(channel_hz(channel), hz);
            self.0[channel] += power * share;
            share > 1e-7
        };
        let _ = (near..CHANNELS).take_while(|channel| reach(*channel)).count();
        let _ = (0..near).rev().take_while(|channel| reach(*channel)).count();
    }
}

/// Share of a component at `hz` that passes the filter centred on `centre`.
fn weight(centre: f64, hz: f64) -> f64 {
    let mut slope = 4.0 * centre / erb::bandwidth(centre);
    if hz < centre {
        let at_1k = 4000.0 / erb::bandwidth(1000.0);
        slope -= 0.35 * (slope / at_1k) * (SLOPE_LEVEL - 51.0);
    }
    let x = slope * (hz - centre).abs() / centre;
    (1.0 + x) * (-x).exp()
}

/// Threshold in quiet of each channel, as power.
fn quiet() -> &'static [f64; CHANNELS] {
    static QUIET: std::sync::LazyLock<[f64; CHANNELS]> =
        std::sync::LazyLock::new(|| std::array::from_fn(|channel| power_of(threshold(channel_hz(channel)))));
    &QUIET
}

/// By how much a masker counts in each channel, as a factor.
fn just_heard() -> &'static [f64; CHANNELS] {
    static RATIO: std::sync::LazyLock<[f64; CHANNELS]> = std::sync::LazyLock::new(|| {
        std::array::from_fn(|channel| {
            let hz = channel_hz(channel).clamp(JUST_HEARD[0].0, 20_000.0);
            let between = JUST_HEARD.windows(2).find(|pair| hz <= pair[1].0).map_or(-3.0, |pair| {
                let share = (hz / pair[0].0).ln() / (pair[1].0 / pair[0].0).ln();
                pair[0].1 + share * (pair[1].1 - pair[0].1)
            });
            power_of(between)
        })
    });
    &RATIO
}

/// What is asked of a model of hearing.
pub trait Ear {
    /// By how many dB `line` could be weaker until it is just no longer heard beside `rest`; negative when it is not heard as it is.
    fn margin(&self, line: &Excitation, rest: &Excitation) -> f64;
}

/// The linear ear of this crate. What all channels tell is put together as independent looks: the root of the sum of squared ratios.
#[derive(Debug, Clone, Copy, Default)]
pub struct Excited;

impl Ear for Excited {
    fn margin(&self, line: &Excitation, rest: &Excitation) -> f64 {
        let (quiet, ratio) = (quiet(), just_heard());
        let channels = line.0.iter().zip(rest.0.iter()).zip(quiet.iter().zip(ratio));
        let squares = channels.map(|((line, rest), (quiet, ratio))| (line / (rest * ratio + quiet)).powi(2));
        level_of((squares.sum::<f64>() * STEP).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hz: f64, db: f64) -> Excitation {
        let mut excitation = Excitation::default();
        excitation.excite(hz, power_of(db));
        excitation
    }

    #[test]
    fn bandwidths_are_those_of_the_formula() {
        // Glasberg and Moore 1990 (formula from memory), values worked out.
        for (hz, width) in [(100.0, 35.49), (250.0, 51.68), (500.0, 78.67), (1000.0, 132.64), (2000.0, 240.58), (4000.0, 456.46)]
        {
            assert!((erb::bandwidth(hz) - width).abs() < 0.01, "{hz}");
        }
        for channel in 0..CHANNELS {
            assert_eq!(channel_of(channel_hz(channel)), channel);
        }
    }

    #[test]
    fn the_margin_falls_by_what_the_line_falls() {
        let rest = tone(500.0, 70.0);
        let margin = |db| Excited.margin(&tone(900.0, db), &rest);
        assert!((margin(70.0) - margin(60.0) - 10.0).abs() < 1e-9);
    }

    #[test]
    fn lower_sounds_mask_higher_ones_more_than_the_other_way() {
        // Common knowledge of psychoacoustics: masking spreads upward.
        let (low, high) = (tone(400.0, 70.0), tone(700.0, 70.0));
        assert!(Excited.margin(&high, &low) < Excited.margin(&low, &high));
    }

    #[test]
    fn more_beside_it_never_helps() {
        let line = tone(1000.0, 60.0);
        let mut rest = Excitation::default();
        let mut before = Excited.margin(&line, &rest);
        for hz in [200.0, 900.0, 1000.0, 1100.0, 3000.0] {
            rest.add(&tone(hz, 65.0), 1.0);
            let now = Excited.margin(&line, &rest);
            assert!(now <= before);
            before = now;
        }
    }
}
