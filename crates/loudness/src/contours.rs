//! Equal-loudness-level contours for pure tones (ISO 226), both ways: level from loudness level, and loudness level from level.
//!
//! The standard gives its parameters at 29 third-octave frequencies. Between them we interpolate the parameters along the logarithm
//! of frequency, which the standard leaves open. It holds from 20 to 90 phon up to 4 kHz and from 20 to 80 phon above; outside these
//! it calls its formula informative. Free field, frontal tone, both ears, listeners of 18 to 25 years.

use crate::Phons;

/// Which edition of ISO 226.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Edition {
    /// ISO 226:2003.
    Iso2003,
    /// ISO 226:2023, the one in force.
    #[default]
    Iso2023,
}

/// Parameters at one frequency: exponent, transfer in dB relative to 1 kHz, threshold of hearing in dB.
#[derive(Debug, Clone, Copy)]
struct Row {
    exponent: f64,
    transfer: f64,
    threshold: f64,
}

/// The preferred frequencies of both editions in hertz.
pub const FREQUENCIES: [f64; 29] = [
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0,
    1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0, 12500.0,
];

/// ISO 226:2003, table 1.
#[rustfmt::skip]
const EXPONENTS_2003: [f64; 29] = [
    0.532, 0.506, 0.480, 0.455, 0.432, 0.409, 0.387, 0.367, 0.349, 0.330, 0.315, 0.301, 0.288, 0.276, 0.267, 0.259, 0.253, 0.250,
    0.246, 0.244, 0.243, 0.243, 0.243, 0.242, 0.242, 0.245, 0.254, 0.271, 0.301,
];
#[rustfmt::skip]
const TRANSFER_2003: [f64; 29] = [
    -31.6, -27.2, -23.0, -19.1, -15.9, -13.0, -10.3, -8.1, -6.2, -4.5, -3.1, -2.0, -1.1, -0.4, 0.0, 0.3, 0.5, 0.0,
    -2.7, -4.1, -1.0, 1.7, 2.5, 1.2, -2.1, -7.1, -11.2, -10.7, -3.1,
];
/// ISO 226:2023, table 1. Entered from memory and found equal in three independent published transcriptions.
#[rustfmt::skip]
const EXPONENTS_2023: [f64; 29] = [
    0.635, 0.602, 0.569, 0.537, 0.509, 0.482, 0.456, 0.433, 0.412, 0.391, 0.373, 0.357, 0.343, 0.330, 0.320, 0.311, 0.303, 0.300,
    0.295, 0.292, 0.290, 0.290, 0.289, 0.289, 0.289, 0.293, 0.303, 0.323, 0.354,
];
#[rustfmt::skip]
const TRANSFER_2023: [f64; 29] = [
    -31.5, -27.2, -23.1, -19.3, -16.1, -13.1, -10.4, -8.2, -6.3, -4.6, -3.2, -2.1, -1.2, -0.5, 0.0, 0.4, 0.5, 0.0,
    -2.7, -4.2, -1.2, 1.4, 2.3, 1.0, -2.3, -7.2, -11.2, -10.9, -3.5,
];
/// Threshold of hearing, both editions; at 20 Hz the edition of 2003 has 78.5 dB.
#[rustfmt::skip]
const THRESHOLD: [f64; 29] = [
    78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2, 4.4, 3.0, 2.2, 2.4,
    3.5, 1.7, -1.3, -4.2, -6.0, -5.4, -1.5, 6.0, 12.6, 13.9, 12.3,
];

impl Edition {
    fn row(self, index: usize) -> Row {
        match self {
            Self::Iso2003 => Row {
                exponent: EXPONENTS_2003[index],
                transfer: TRANSFER_2003[index],
                threshold: if index == 0 { 78.5 } else { THRESHOLD[index] },
            },
            Self::Iso2023 => Row { exponent: EXPONENTS_2023[index], transfer: TRANSFER_2023[index], threshold: THRESHOLD[index] },
        }
    }

    /// Parameters at any frequency from 20 Hz to 12.5 kHz.
    fn at(self, hertz: f64) -> Option<Row> {
        if !(FREQUENCIES[0]..=FREQUENCIES[28]).contains(&hertz) {
            return None;
        }
        let above = FREQUENCIES.partition_point(|&frequency| frequency < hertz).max(1);
        let (low, high) = (self.row(above - 1), self.row(above));
        let part = (hertz / FREQUENCIES[above - 1]).ln() / (FREQUENCIES[above] / FREQUENCIES[above - 1]).ln();
        let between = |from: f64, to: f64| from + part * (to - from);
        Some(Row {
            exponent: between(low.exponent, high.exponent),
            transfer: between(low.transfer, high.transfer),
            threshold: between(low.threshold, high.threshold),
        })
    }
}

/// Level in dB at which a tone reaches a loudness level; `None` outside 20 Hz to 12.5 kHz.
pub fn level(edition: Edition, loudness: Phons, hertz: f64) -> Option<f64> {
    let Row { exponent, transfer, threshold } = edition.at(hertz)?;
    let grown = match edition {
        Edition::Iso2003 => {
            4.47e-3 * (10f64.powf(0.025 * loudness.0) - 1.15)
                + (0.4 * 10f64.powf((threshold + transfer) / 10.0 - 9.0)).powf(exponent)
        }
        Edition::Iso2023 => {
            4e-10f64.powf(0.3 - exponent) * (10f64.powf(0.03 * loudness.0) - 10f64.powf(0.072))
                + 10f64.powf(exponent * (threshold + transfer) / 10.0)
        }
    };
    let reference = if edition == Edition::Iso2003 { 94.0 } else { 0.0 };
    (grown > 0.0).then(|| 10.0 / exponent * grown.log10() - transfer + reference)
}

/// Loudness level of a tone at a level in dB, the inverse of [`level()`]; `None` outside 20 Hz to 12.5 kHz and far below the threshold
/// of hearing, where the formula has no answer.
pub fn loudness_level(edition: Edition, hertz: f64, level: f64) -> Option<Phons> {
    let Row { exponent, transfer, threshold } = edition.at(hertz)?;
    let above_threshold = match edition {
        // The edition of 2003 rounds the reference to 94 dB on one side of its formula and not on the other.
        Edition::Iso2003 => {
            10f64.powf(exponent * (level + transfer - 94.0) / 10.0)
                - (0.4 * 10f64.powf((threshold + transfer) / 10.0 - 9.0)).powf(exponent)
        }
        Edition::Iso2023 => {
            10f64.powf(exponent * (level + transfer) / 10.0) - 10f64.powf(exponent * (threshold + transfer) / 10.0)
        }
    };
    let (grown, slope) = match edition {
        Edition::Iso2003 => (above_threshold / 4.47e-3 + 1.15, 40.0),
        Edition::Iso2023 => (above_threshold / 4e-10f64.powf(0.3 - exponent) + 10f64.powf(0.072), 100.0 / 3.0),
    };
    (grown > 0.0).then(|| Phons(slope * grown.log10()))
}

/// Threshold of hearing in dB for a pure tone in free field; `None` outside 20 Hz to 12.5 kHz.
pub fn threshold(edition: Edition, hertz: f64) -> Option<f64> {
    Some(edition.at(hertz)?.threshold)
}
