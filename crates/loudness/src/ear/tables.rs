//! What the ear does before and after its filters.

/// Frequencies in hertz of the transfer tables.
#[rustfmt::skip]
const OUTER_HERTZ: [f64; 39] = [
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 750.0, 800.0, 1000.0,
    1250.0, 1500.0, 1600.0, 2000.0, 2500.0, 3000.0, 3150.0, 4000.0, 5000.0, 6000.0, 6300.0, 8000.0, 9000.0, 10000.0, 11200.0,
    12500.0, 14000.0, 15000.0, 16000.0, 20000.0,
];
/// From free field (frontal) to the eardrum in dB: ANSI S3.4-2007, table 1, as transcribed in public toolboxes.
#[rustfmt::skip]
const OUTER_FREE: [f64; 39] = [
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.3, 0.5, 0.9, 1.4, 1.6, 1.7, 2.5, 2.7, 2.6, 2.6, 3.2, 5.2, 6.6, 12.0, 16.8, 15.3,
    15.2, 14.2, 10.7, 7.1, 6.4, 1.8, -0.9, -1.6, 1.9, 4.9, 2.0, -2.0, 2.5, 2.5,
];
/// From diffuse field to the eardrum in dB, same source.
#[rustfmt::skip]
const OUTER_DIFFUSE: [f64; 39] = [
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.3, 0.4, 0.5, 1.0, 1.6, 1.7, 2.2, 2.7, 2.9, 3.8, 5.3, 6.8, 7.2, 10.2, 14.9, 14.5,
    14.4, 12.7, 10.8, 8.9, 8.7, 8.5, 6.2, 5.0, 4.5, 4.0, 3.3, 2.6, 2.0, 2.0,
];
/// Loss of the middle ear in dB at [`OUTER_HERTZ`] with 18 kHz before the last: ANSI S3.4-2007, table 3, same source.
#[rustfmt::skip]
const MIDDLE: [f64; 40] = [
    39.6, 32.0, 25.85, 21.4, 18.5, 15.9, 14.1, 12.4, 11.0, 9.6, 8.3, 7.4, 6.2, 4.8, 3.8, 3.3, 2.9, 2.6, 2.6, 4.5, 5.4, 6.1, 8.5,
    10.4, 7.3, 7.0, 6.6, 7.0, 9.2, 10.2, 12.2, 10.8, 10.1, 12.7, 15.0, 18.2, 23.8, 32.3, 45.5, 50.0,
];

/// Excitation at the threshold of hearing in dB: ANSI S3.4-2007, table 4, same source; constant from 500 Hz up.
#[rustfmt::skip]
const QUIET: [(f64, f64); 11] = [
    (50.0, 28.18), (63.0, 23.9), (80.0, 19.2), (100.0, 15.68), (125.0, 12.67), (160.0, 10.09), (200.0, 8.08), (250.0, 6.3),
    (315.0, 5.3), (400.0, 4.5), (500.0, 3.73),
];
/// Exponent by the gain of the cochlea at low levels in dB relative to 500 Hz: ANSI S3.4-2007, table 5, same source.
const EXPONENT: [(f64, f64); 6] =
    [(-25.0, 0.26692), (-20.0, 0.25016), (-15.0, 0.23679), (-10.0, 0.22228), (-5.0, 0.21055), (0.0, 0.2)];
/// The constant A by the same gain: ANSI S3.4-2007, table 6, same source, thinned.
#[rustfmt::skip]
const BEND: [(f64, f64); 14] = [
    (-24.54531, 8.852), (-22.78169, 8.35840), (-19.78305, 7.65258), (-16.21055, 6.99954), (-11.23866, 6.10719), (-9.45902, 5.82490),
    (-7.38338, 5.55322), (-4.97718, 5.25064), (-3.62882, 5.10314), (-2.50042, 4.98203), (-1.24006, 4.84918), (-0.52501, 4.77494),
    (-0.18750, 4.74019), (0.0, 4.72096),
];
/// Ratio in dB of signal to noise at the output of a filter at masked threshold: figure 9 of Moore, Glasberg and Baer 1997, by way of a
/// public curve through points read from it; rounded, good to about 1 dB.
#[rustfmt::skip]
const RATIO: [(f64, f64); 14] = [
    (50.0, 13.5), (63.0, 10.0), (80.0, 7.0), (100.0, 5.0), (125.0, 3.0), (160.0, 1.5), (200.0, 0.5), (250.0, -0.5), (315.0, -1.3),
    (400.0, -1.9), (500.0, -2.3), (630.0, -2.7), (800.0, -2.9), (1000.0, -3.0),
];

/// Straight lines through points in rising order, flat beyond them.
fn between(points: impl Fn(usize) -> (f64, f64), count: usize, place: f64) -> f64 {
    let above = (0..count).find(|&index| points(index).0 >= place);
    match above {
        Some(0) => points(0).1,
        None => points(count - 1).1,
        Some(above) => {
            let ((x0, y0), (x1, y1)) = (points(above - 1), points(above));
            y0 + (place - x0) / (x1 - x0) * (y1 - y0)
        }
    }
}

/// Gain in dB from the sound field to the cochlea at a frequency in hertz.
pub(super) fn transfer(hertz: f64, diffuse: bool) -> f64 {
    let place = hertz.max(1.0).ln();
    let outer = if diffuse { &OUTER_DIFFUSE } else { &OUTER_FREE };
    let middle_hertz = |index: usize| match index {
        38 => 18000.0,
        39 => 20000.0,
        _ => OUTER_HERTZ[index],
    };
    between(|index| (OUTER_HERTZ[index].ln(), outer[index]), 39, place)
        - between(|index| (middle_hertz(index).ln(), MIDDLE[index]), 40, place)
}

/// What turns excitation into loudness at one place of the cochlea.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    /// Excitation at the threshold of hearing, as a power.
    pub quiet: f64,
    /// Gain at low levels relative to 500 Hz, as a power.
    pub gain: f64,
    /// The constant A.
    pub bend: f64,
    /// Compression.
    pub exponent: f64,
    /// Excitation of a masker times this is covered.
    pub ratio: f64,
}

impl Place {
    /// The place of a frequency in hertz.
    pub fn at(hertz: f64) -> Self {
        let log = hertz.ln();
        let quiet = between(|index| (QUIET[index].0.ln(), QUIET[index].1), QUIET.len(), log);
        let gain = QUIET[10].1 - quiet;
        Self {
            quiet: power(quiet),
            gain: power(gain),
            bend: between(|index| BEND[index], BEND.len(), gain),
            exponent: between(|index| EXPONENT[index], EXPONENT.len(), gain),
            ratio: power(between(|index| (RATIO[index].0.ln(), RATIO[index].1), RATIO.len(), log)),
        }
    }
}

/// The power ratio of decibels.
pub(super) fn power(decibels: f64) -> f64 {
    10f64.powf(decibels / 10.0)
}
