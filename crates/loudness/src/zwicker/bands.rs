//! Third-octave filters at 48 kHz (ISO 532-1, annex A; IEC 61260-1 class 1), several bands side by side.

use super::tables::{BANDS, FILTERS, FORWARD};

/// Bands filtered together: their recursions do not wait for each other, and the compiler makes vectors of them.
const LANES: usize = 4;
type Lanes = [f64; LANES];

/// Power of 20 µPa, and the least power the standard counts, in Pa².
const REFERENCE: f64 = 4e-10;
const TINY: f64 = 1e-12;

/// Samples from one level to the next in a course of levels: half a millisecond.
pub(super) const STEP: usize = 24;

/// The filters of [`LANES`] neighbouring bands with what they remember.
struct Group {
    gain: Lanes,
    feedback: [[Lanes; 2]; 3],
    memory: [[Lanes; 2]; 3],
}

impl Group {
    /// The group that starts at a band.
    fn new(first: usize) -> Self {
        let of = |pick: &dyn Fn(usize) -> f64| std::array::from_fn(|lane| pick(first + lane));
        Self {
            gain: of(&|band| FILTERS[band].gain),
            feedback: std::array::from_fn(|section| {
                [
                    of(&|band| -2.0 - FILTERS[band].differences[section][0]),
                    of(&|band| 1.0 - FILTERS[band].differences[section][1]),
                ]
            }),
            memory: [[[0.0; LANES]; 2]; 3],
        }
    }

    /// Powers of the next sample in the bands, in Pa².
    #[inline]
    fn power(&mut self, sample: f64) -> Lanes {
        let mut signal: Lanes = self.gain.map(|gain| gain * sample);
        for (section, [b0, b1, b2]) in FORWARD.iter().enumerate() {
            let ([a1, a2], [first, second]) = (&self.feedback[section], &mut self.memory[section]);
            for lane in 0..LANES {
                let input = signal[lane];
                let output = b0 * input + first[lane];
                first[lane] = b1 * input - a1[lane] * output + second[lane];
                second[lane] = b2 * input - a2[lane] * output;
                signal[lane] = output;
            }
        }
        signal.map(|value| value * value)
    }
}

/// Mean levels in dB from the sample `skip` on.
#[allow(clippy::cast_precision_loss)] // a count of samples
pub(super) fn levels(pascals: &[f64], skip: usize) -> [f64; 28] {
    let mut levels = [0.0; 28];
    for first in (0..28).step_by(LANES) {
        let mut group = Group::new(first);
        let mut sum = [0.0; LANES];
        for (index, &sample) in pascals.iter().enumerate() {
            let power = group.power(sample);
            if index >= skip {
                for lane in 0..LANES {
                    sum[lane] += power[lane];
                }
            }
        }
        for lane in 0..LANES {
            levels[first + lane] = level(sum[lane] / (pascals.len() - skip) as f64);
        }
    }
    levels
}

/// Levels in dB every [`STEP`] samples, smoothed by three low-passes whose time constant follows the band (ISO 532-1, 6.3).
pub(super) fn courses(pascals: &[f64]) -> Vec<[f64; 28]> {
    let mut courses = vec![[0.0; 28]; pascals.len().div_ceil(STEP)];
    for first in (0..28).step_by(LANES) {
        let mut group = Group::new(first);
        let keep: Lanes = std::array::from_fn(|lane| {
            let centre = exact(first + lane).min(1000.0);
            (-1.0 / (f64::from(super::RATE) * 2.0 / (3.0 * centre))).exp()
        });
        let mut smooth = [[0.0; LANES]; 3];
        for (samples, row) in pascals.chunks(STEP).zip(&mut courses) {
            for (index, &sample) in samples.iter().enumerate() {
                let mut value = group.power(sample);
                for stage in &mut smooth {
                    for lane in 0..LANES {
                        stage[lane] = value[lane] + keep[lane] * (stage[lane] - value[lane]);
                    }
                    value = *stage;
                }
                if index == 0 {
                    row[first..first + LANES].copy_from_slice(&value.map(level));
                }
            }
        }
    }
    courses
}

fn level(power: f64) -> f64 {
    10.0 * ((power + TINY) / REFERENCE).log10()
}

/// Exact centre frequency in hertz; the printed ones are rounded.
fn exact(band: usize) -> f64 {
    1000.0 * 10f64.powf((BANDS[band] / 1000.0).log10().mul_add(10.0, 0.0).round() / 10.0)
}
