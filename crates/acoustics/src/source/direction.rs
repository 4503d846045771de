//! How an instrument radiates: to all sides, or in a beam that narrows with frequency.

use std::collections::BTreeMap;

use crate::data::rows;

/// A class of radiation. The gain towards an angle x from the axis is a raised cosine of order m mixed with an even share;
/// its mean over the sphere is 1 at every frequency, so that power is kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction {
    /// The axis, degrees to the player's right of straight ahead.
    pub right: f64,
    /// The axis, degrees above the horizon.
    pub up: f64,
    from_hz: f64,
    per_octave: f64,
    most: f64,
    even: f64,
}

impl Direction {
    /// Power radiated towards a direction against the mean over all, in dB. `right` and `up` in degrees, from the player's view.
    #[must_use]
    pub fn gain_db(&self, hz: f64, right: f64, up: f64) -> f64 {
        let order = (self.per_octave * (hz / self.from_hz).log2()).clamp(0.0, self.most.max(0.0));
        let beam = (order + 1.0) * (f64::midpoint(1.0, self.cosine(right, up))).powf(order);
        10.0 * (self.even + (1.0 - self.even) * beam).log10()
    }

    /// Cosine of the angle between the axis and a direction.
    fn cosine(&self, right: f64, up: f64) -> f64 {
        let vector = |right: f64, up: f64| {
            let (right, up) = (right.to_radians(), up.to_radians());
            [right.sin() * up.cos(), right.cos() * up.cos(), up.sin()]
        };
        let (a, b) = (vector(self.right, self.up), vector(right, up));
        a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>().clamp(-1.0, 1.0)
    }
}

pub(crate) fn directions() -> BTreeMap<String, Direction> {
    rows("directivity.csv", include_str!("../../data/directivity.csv"))
        .iter()
        .map(|row| {
            let direction = Direction {
                right: row.get("axis_right_deg"),
                up: row.get("axis_up_deg"),
                from_hz: row.get("from_hz"),
                per_octave: row.get("order_per_octave"),
                most: row.get("most_order"),
                even: row.get("even_share"),
            };
            (row.text("id").to_owned(), direction)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn power_is_kept_over_the_sphere() {
        for (id, direction) in directions() {
            for hz in [125.0, 1000.0, 8000.0] {
                let (mut sum, mut weight) = (0.0, 0.0);
                for up in (-89..=89).step_by(2) {
                    for right in (0..360).step_by(3) {
                        let area = f64::from(up).to_radians().cos();
                        sum += area * 10f64.powf(direction.gain_db(hz, f64::from(right), f64::from(up)) / 10.0);
                        weight += area;
                    }
                }
                assert!((sum / weight - 1.0).abs() < 2e-3, "{id} at {hz} Hz: {}", sum / weight);
            }
        }
    }

    #[test]
    fn a_trumpet_beams_forward_and_a_horn_backward() {
        // Common practice, and Meyer 2009 ch. 4 from memory.
        let all = directions();
        let (trumpet, horn) = (all["bell-front"], all["horn"]);
        assert!(trumpet.gain_db(4000.0, 0.0, 0.0) > trumpet.gain_db(4000.0, 180.0, 0.0) + 8.0);
        assert!(horn.gain_db(2000.0, 180.0, 0.0) > horn.gain_db(2000.0, 0.0, 0.0) + 3.0);
        assert!(trumpet.gain_db(200.0, 180.0, 0.0).abs() < 0.5);
    }
}
