//! What a struck or plucked tone sends out from beginning to end, band by band.
//!
//! A partial that dies away is no line: it has the skirts of its decay (Lorentz), bent down by the shape of its beginning. In bands in which a tone has
//! no partial of its own those skirts are all there is of it.

use std::f64::consts::{LN_10, PI, TAU};

use super::Tone;
use crate::level::power_of;

/// The shortest and the longest beginning of a stroke, in seconds: within contact times of mallets and sticks (some 0.5 ms for hard ones on bars and small
/// drums to some 10 ms for soft ones on large drums; N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, 1998, from memory).
const RISE: (f64, f64) = (0.0005, 0.05);
/// Points at which a skirt is taken within a band.
const POINTS: u32 = 40;
/// Lines that stand for a band of noise.
const LINES: u32 = 4;
/// Half a third of an octave, as a factor.
const HALF_BAND: f64 = 1.122_018_454_301_963_4;

impl Tone {
    /// Seconds in which a stroke rises by half a turn of a cosine.
    #[must_use]
    pub fn rise(&self) -> f64 {
        self.onset.clamp(RISE.0, RISE.1)
    }

    /// Energy sent out in the bands between neighbours of `edges` (hertz, ascending), from the stroke until the tone is damped after so many seconds: against the
    /// power of the whole tone for one second. Skirts add up in power, as partials of any phases do in the mean. Zero for a held tone, which has no end.
    #[must_use]
    pub fn energy(&self, edges: &[f64], seconds: f64) -> Vec<f64> {
        let mut energy = vec![0.0; edges.len().saturating_sub(1)];
        if self.held {
            return energy;
        }
        let rise = self.rise();
        let mut add = |hz: f64, power: f64, t60: f64| {
            let decay = Decay::of(t60, rise);
            let until = power * (1.0 - (-2.0 * decay.rate * seconds).exp());
            for (energy, edge) in energy.iter_mut().zip(edges.windows(2)) {
                *energy += until * (decay.between(edge[0] - hz, edge[1] - hz) + decay.between(edge[0] + hz, edge[1] + hz));
            }
        };
        self.partials.iter().for_each(|partial| add(partial.hz, power_of(partial.db), partial.t60));
        for band in &self.noise {
            let (low, high) = (band.hz / HALF_BAND, band.hz * HALF_BAND);
            for line in 0..LINES {
                let share = (f64::from(line) + 0.5) / f64::from(LINES);
                add(low + (high - low) * share, power_of(band.db) / f64::from(LINES), band.t60);
            }
        }
        energy
    }
}

/// A line that rises by half a cosine and decays.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decay {
    /// Amplitude, nepers a second.
    rate: f64,
    rise: f64,
}

impl Decay {
    /// One that loses 60 dB in `t60` seconds and rises in `rise`.
    #[must_use]
    pub fn of(t60: f64, rise: f64) -> Self {
        Self { rate: 3.0 * LN_10 / t60.max(0.01), rise: rise.max(1e-5) }
    }

    /// Energy between two distances from the line, in hertz, of a sine whose power would be 1 at the stroke without its rise.
    fn between(&self, from: f64, to: f64) -> f64 {
        // The line is much narrower than a band: steps grow with the distance from it.
        let half = self.rate / TAU;
        let (from, to) = ((from / half).asinh(), (to / half).asinh());
        let step = (to - from) / f64::from(POINTS);
        let at = |point: u32| {
            let v = from + step * (f64::from(point) + 0.5);
            self.density(half * v.sinh()) * half * v.cosh()
        };
        (0..POINTS).map(at).sum::<f64>() * step
    }

    /// Energy a hertz, so far from the line.
    fn density(&self, off: f64) -> f64 {
        let (real, imaginary) = self.transform(off);
        real * real + imaginary * imaginary
    }

    /// The Fourier transform of rise and decay so many hertz from the line, real and imaginary, in seconds.
    #[must_use]
    pub fn transform(&self, off: f64) -> (f64, f64) {
        let z = Complex(-self.rate, -TAU * off);
        let turn = PI / self.rise;
        // What is left where the rise ends; half a turn of the cosine there changes its sign.
        let end = z.exp(self.rise);
        let (one, back) = (Complex(1.0, 0.0), Complex(-end.0, -end.1));
        let steady = end.minus(one).over(z);
        let up = back.minus(one).over(Complex(z.0, z.1 + turn));
        let down = back.minus(one).over(Complex(z.0, z.1 - turn));
        let after = end.over(z);
        (0.5 * steady.0 - 0.25 * (up.0 + down.0) - after.0, 0.5 * steady.1 - 0.25 * (up.1 + down.1) - after.1)
    }
}

#[derive(Clone, Copy)]
struct Complex(f64, f64);

impl Complex {
    /// The exponential of it `times` times.
    fn exp(self, times: f64) -> Self {
        let ((sin, cos), size) = ((self.1 * times).sin_cos(), (self.0 * times).exp());
        Self(size * cos, size * sin)
    }

    fn minus(self, other: Self) -> Self {
        Self(self.0 - other.0, self.1 - other.1)
    }

    fn over(self, other: Self) -> Self {
        let size = other.0 * other.0 + other.1 * other.1;
        Self((self.0 * other.0 + self.1 * other.1) / size, (self.1 * other.0 - self.0 * other.1) / size)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::{Source, Ways};
    use ripieno_score::DynamicLevel;

    #[test]
    fn no_energy_is_lost_in_the_skirts() {
        // Parseval: over all frequencies a line has the energy of its envelope, which is summed here in time.
        for (rate, rise) in [(2.0, 0.001), (14.0, 0.004), (60.0, 0.02)] {
            let decay = Decay { rate, rise };
            let envelope = |t: f64| if t < rise { 0.5 - 0.5 * (PI * t / rise).cos() } else { 1.0 } * (-rate * t).exp();
            let step = rise / 400.0;
            let in_time: f64 =
                (0..(8.0 / rate / step) as u32).map(|at| envelope((f64::from(at) + 0.5) * step).powi(2) * step).sum();
            let edges = [-2e5, -3e3, -300.0, -30.0, 0.0, 40.0, 500.0, 2e5];
            let in_bands: f64 = edges.windows(2).map(|edge| decay.between(edge[0], edge[1])).sum();
            assert!((in_bands / in_time - 1.0).abs() < 2e-3, "{in_bands} {in_time}");
        }
    }

    #[test]
    fn a_soft_beginning_has_lower_skirts_and_a_held_tone_no_energy() {
        let (hard, soft) = (Decay { rate: 5.0, rise: 0.0005 }, Decay { rate: 5.0, rise: 0.01 });
        assert!(hard.between(900.0, 1100.0) > 30.0 * soft.between(900.0, 1100.0));
        let tone = Source::of("oboe").tone(72.0, DynamicLevel(5.0), Ways::empty(), 16_000.0);
        assert_eq!(tone.energy(&[20.0, 20_000.0], 4.0), [0.0]);
    }
}
