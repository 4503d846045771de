//! Where players sit, seen from who listens.
//!
//! The seats are those of the acoustic model (`ripieno_acoustics`, `data/seating.csv`), and so are conductor and seat in the hall: what is heard is placed
//! as it is weighed.

use ripieno_acoustics::Place;
use ripieno_acoustics::seating::CONDUCTOR;

/// Mean square over all directions of a cardioid, which the microphones are: a third of the late field passes.
const CARDIOID: f64 = 1.0 / 3.0;

/// Who listens.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Listener {
    /// A pair of cardioid microphones above and 3.5 m behind the conductor, turned to the stage: a usual place to record from.
    #[default]
    Microphones,
    /// The conductor, as in `Situation::conductor`.
    Conductor,
    /// A seat so many metres behind the conductor, 15 in `Situation::hall`.
    Seat(f64),
}

impl Listener {
    /// Metres behind the conductor.
    #[must_use]
    pub const fn behind(self) -> f64 {
        match self {
            Self::Microphones => 3.5,
            Self::Conductor => 0.0,
            Self::Seat(metres) => metres,
        }
    }

    /// Share of the late field that is taken up.
    #[must_use]
    pub const fn late(self) -> f64 {
        match self {
            Self::Microphones => CARDIOID,
            Self::Conductor | Self::Seat(_) => 1.0,
        }
    }

    /// Whether there is such a place.
    ///
    /// # Errors
    /// One sentence when it lies outside every hall.
    pub fn check(self) -> Result<(), String> {
        match self {
            Self::Seat(metres) if !(0.5..=60.0).contains(&metres) => {
                Err(format!("nobody sits {metres} m behind the conductor; choose 0.5 to 60"))
            }
            _ => Ok(()),
        }
    }

    /// A place of the seating plan as it is seen from here.
    #[must_use]
    pub fn sees(self, place: Place) -> Seat {
        let (x, y) = (place.x - CONDUCTOR.x, place.y - CONDUCTOR.y + self.behind());
        Seat { azimuth: x.atan2(y).to_degrees(), distance: x.hypot(y) }
    }
}

/// Where a player sits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seat {
    /// Degrees to the right of the middle; negative to the left.
    pub azimuth: f64,
    /// Metres from the listener.
    pub distance: f64,
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
        assert!(
            (Listener::Microphones.sees(left).azimuth + Listener::Microphones.sees(right).azimuth).abs() < 1e-9
                && Listener::Microphones.sees(left).azimuth < -30.0
        );
        assert!((Listener::Microphones.sees(far).distance - 13.0).abs() < 0.1);
    }

    #[test]
    fn who_sits_farther_off_sees_a_narrower_stage() {
        let cellos = Place { x: 4.5, y: 2.0 };
        let angles = [Listener::Conductor, Listener::Microphones, Listener::Seat(15.0)].map(|from| from.sees(cellos).azimuth);
        assert!(angles[0] > angles[1] && angles[1] > angles[2] && angles[2] > 10.0, "{angles:?}");
        assert!(Listener::Seat(f64::NAN).check().is_err() && Listener::Seat(0.0).check().is_err());
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
