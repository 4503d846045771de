//! Loudness that varies in time (ISO 532-1, 6): what the ear keeps after a sound stops, and how long it takes to hear one.

use super::{bands, from_levels, main_loudness, slopes, usable};
use crate::{Field, Sones};

/// Steps in a second at which levels are taken, and how many finer steps the decay makes in each.
const STEPS: f64 = 2000.0;
const FINER: usize = 24;
/// Every how many of these steps the loudness is told.
const TOLD: usize = 4;

/// Time constants in seconds of the nonlinear decay (ISO 532-1, 6.4).
const SHORT: f64 = 0.005;
const LONG: f64 = 0.015;
const VARIABLE: f64 = 0.075;

/// Loudness over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Loudness in sone every 2 ms.
    pub sones: Vec<f64>,
}

impl Course {
    /// Seconds from one value to the next.
    pub const SECONDS: f64 = 0.002;

    /// Loudness exceeded in this share of the time, from 0 to 1, interpolated between neighbours in rank.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a rank within the list
    pub fn exceeded(&self, share: f64) -> Sones {
        let mut sorted = self.sones.clone();
        sorted.sort_by(f64::total_cmp);
        let Some(last) = sorted.len().checked_sub(1) else { return Sones(0.0) };
        let rank = (1.0 - share.clamp(0.0, 1.0)) * last as f64;
        let below = rank.floor() as usize;
        let above = sorted[(below + 1).min(last)];
        Sones(sorted[below] + (rank - rank.floor()) * (above - sorted[below]))
    }

    /// N5, the loudness exceeded in 5 % of the time: what the standard gives for the whole of a varying sound.
    pub fn n5(&self) -> Sones {
        self.exceeded(0.05)
    }

    /// N10, the loudness exceeded in 10 % of the time.
    pub fn n10(&self) -> Sones {
        self.exceeded(0.10)
    }

    /// The greatest loudness.
    pub fn greatest(&self) -> Sones {
        Sones(self.sones.iter().copied().fold(0.0, f64::max))
    }
}

/// Loudness over time of a signal in pascals at 48 kHz.
///
/// # Errors
/// One sentence when the rate is another, a sample is not a number, or a third-octave level passes 120 dB.
pub fn varying(pascals: &[f64], rate: u32, field: Field) -> Result<Course, String> {
    usable(pascals, rate)?;
    let courses = bands::courses(pascals);
    let mut main = Vec::with_capacity(courses.len());
    for levels in &courses {
        if levels.iter().any(|&level| level > 120.0) {
            from_levels(levels, field)?;
        }
        main.push(main_loudness::of(levels, field));
    }
    decay(&mut main);
    let totals: Vec<f64> = main.iter().map(|main| slopes::pattern(main, None)).collect();
    let (quick, slow) = (low_pass(&totals, 0.0035), low_pass(&totals, 0.070));
    let sones = quick.iter().zip(&slow).step_by(TOLD).map(|(quick, slow)| 0.47 * quick + 0.53 * slow).collect();
    Ok(Course { sones })
}

/// Lets each band's loudness fall no faster than hearing lets it go. Two stores: a sound that lasted falls more slowly.
#[allow(clippy::cast_precision_loss)] // 24
fn decay(main: &mut [[f64; 21]]) {
    let Constants { outer, inner, fall, fill } = Constants::new();
    for band in 0..20 {
        let (mut output, mut store) = (0.0f64, 0.0f64);
        let mut input = main.first().map_or(0.0, |row| row[band]);
        for index in 0..main.len() {
            let next = main.get(index + 1).map_or(0.0, |row| row[band]);
            let rise = (next - input) / FINER as f64;
            for step in 0..FINER {
                let value = input + rise * step as f64;
                if value < output {
                    if output > store {
                        let fallen = output * inner[0] - store * inner[1];
                        let kept = output * outer[0] - store * outer[1];
                        output = kept.max(value);
                        store = fallen.min(output);
                    } else {
                        output = (output * fall).max(value);
                        store = output;
                    }
                } else if (value - output).abs() < 1e-5 && value <= store {
                    (output, store) = (value, value);
                } else {
                    output = value;
                    store = (store - value) * fill + value;
                }
                if step == 0 {
                    main[index][band] = output;
                }
            }
            input = next;
        }
    }
}

/// Constants of one fine step of the decay.
struct Constants {
    outer: [f64; 2],
    inner: [f64; 2],
    fall: f64,
    fill: f64,
}

impl Constants {
    #[allow(clippy::cast_precision_loss)] // 24
    fn new() -> Self {
        let step = 1.0 / (STEPS * FINER as f64);
        let (sum, product) = ((VARIABLE + LONG) / (VARIABLE * SHORT), 1.0 / (SHORT * VARIABLE));
        let root = (sum * sum / 4.0 - product).sqrt();
        let (first, second) = (-sum / 2.0 + root, -sum / 2.0 - root);
        let divisor = VARIABLE * (first - second);
        let (e1, e2) = ((first * step).exp(), (second * step).exp());
        let (k1, k2) = (VARIABLE * first + 1.0, VARIABLE * second + 1.0);
        Self {
            inner: [(e1 - e2) / divisor, (k2 * e1 - k1 * e2) / divisor],
            outer: [(k1 * e1 - k2 * e2) / divisor, k1 * k2 * (e1 - e2) / divisor],
            fall: (-step / LONG).exp(),
            fill: (-step / VARIABLE).exp(),
        }
    }
}

/// A low-pass of first order with a time constant in seconds, the input joined by straight lines (ISO 532-1, 6.5).
#[allow(clippy::cast_precision_loss)] // 24
fn low_pass(values: &[f64], seconds: f64) -> Vec<f64> {
    let keep = (-1.0 / (STEPS * FINER as f64 * seconds)).exp();
    let mut output = 0.0;
    let mut smooth = Vec::with_capacity(values.len());
    for (index, &value) in values.iter().enumerate() {
        let rise = (values.get(index + 1).copied().unwrap_or(0.0) - value) / FINER as f64;
        for step in 0..FINER {
            let input = value + rise * step as f64;
            output = input + keep * (output - input);
            if step == 0 {
                smooth.push(output);
            }
        }
    }
    smooth
}
