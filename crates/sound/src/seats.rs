//! Where players sit, seen from a pair of microphones above and behind the conductor.
//!
//! The seats are those of the acoustic model (`ripieno_acoustics`, `data/seating.csv`), so that what is heard is placed as it is weighed.

use ripieno_acoustics::Place;

/// The microphones: 3.5 m behind the conductor, a usual place.
const MICROPHONES: Place = Place { x: 0.0, y: -3.5 };

/// Where a player sits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seat {
    /// Degrees to the right of the middle; negative to the left.
    pub azimuth: f64,
    /// Metres from the listener.
    pub distance: f64,
}

impl Seat {
    /// A place of the seating plan as the microphones have it.
    #[must_use]
    pub fn at(place: Place) -> Self {
        let (x, y) = (place.x - MICROPHONES.x, place.y - MICROPHONES.y);
        Self { azimuth: x.atan2(y).to_degrees(), distance: x.hypot(y) }
    }
}

/// Gains of the left and right channel for a direction; their squares add up to one.
#[allow(clippy::cast_possible_truncation)] // sound is single precision
pub(crate) fn pan(azimuth: f64) -> (f32, f32) {
    let place = (azimuth.clamp(-60.0, 60.0) / 60.0 + 1.0) * std::f64::consts::FRAC_PI_4;
    (place.cos() as f32, place.sin() as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn players_sit_as_usual() {
        // The common plan of today: violins left, cellos right, trumpets far behind the woodwind.
        let (left, right, far) = (Place { x: -4.5, y: 2.0 }, Place { x: 4.5, y: 2.0 }, Place { x: 1.5, y: 9.4 });
        assert!((Seat::at(left).azimuth + Seat::at(right).azimuth).abs() < 1e-9 && Seat::at(left).azimuth < -30.0);
        assert!((Seat::at(far).distance - 13.0).abs() < 0.1);
    }

    #[test]
    fn panning_keeps_the_power() {
        for azimuth in [-90.0, -45.0, 0.0, 17.0, 60.0] {
            let (left, right) = pan(azimuth);
            assert!((left * left + right * right - 1.0).abs() < 1e-6);
        }
        assert!(pan(-45.0).0 > pan(-45.0).1 && pan(45.0).1 > pan(45.0).0);
    }
}
