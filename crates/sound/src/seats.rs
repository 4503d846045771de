//! Where players sit, seen from a pair of microphones above and behind the conductor.
//!
//! The plan is the common one of today's orchestras: first violins on the left, then seconds, violas and cellos on the right,
//! basses behind them; woodwind in the middle, horns behind them on the left, trumpets and trombones in the middle and on the
//! right, tuba outside; percussion at the back. Common practice; angles and distances are ours.

use ripieno_instruments::{Family, Section, catalogue};

/// Where a player sits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seat {
    /// Degrees to the right of the middle; negative to the left.
    pub azimuth: f64,
    /// Metres from the listener.
    pub distance: f64,
}

impl Seat {
    /// The seat of a part by the catalogue id of its instrument; `place` counts the parts of its section from 0, of `of` in all.
    #[must_use]
    pub fn of(instrument: &str, place: usize, of: usize) -> Self {
        let known = catalogue().by_id(instrument);
        let section = known.map_or(Section::Others, |one| one.section);
        let family = known.map_or(Family::Other, |one| one.family);
        // Two parts of violins are firsts and seconds, who sit apart.
        if section == Section::Violins {
            let azimuth = if of > 1 && 2 * place >= of { -22.0 } else { -45.0 };
            return Self { azimuth, distance: if azimuth < -40.0 { 6.0 } else { 6.5 } };
        }
        let (azimuth, distance, spread) = match section {
            Section::Violas | Section::Viols => (18.0, 6.5, 6.0),
            Section::Cellos => (42.0, 6.5, 6.0),
            Section::DoubleBasses => (52.0, 8.5, 4.0),
            Section::Flutes | Section::Recorders | Section::Whistles => (-8.0, 9.0, 5.0),
            Section::Oboes | Section::OtherReeds => (8.0, 9.0, 5.0),
            Section::Clarinets | Section::Saxophones => (-8.0, 10.5, 5.0),
            Section::Bassoons => (9.0, 10.5, 5.0),
            Section::Horns | Section::WagnerTubas => (-22.0, 12.0, 6.0),
            Section::Trumpets | Section::Cornets | Section::Flugelhorns | Section::Cornetts => (8.0, 13.0, 5.0),
            Section::Trombones | Section::Sackbuts | Section::Euphoniums | Section::Saxhorns => (22.0, 13.0, 5.0),
            Section::Tubas => (32.0, 13.0, 3.0),
            Section::Timpani => (-4.0, 14.5, 2.0),
            Section::Percussion => (-26.0, 14.5, 9.0),
            Section::TunedPercussion => (-34.0, 14.0, 5.0),
            Section::Harps => (-40.0, 9.5, 4.0),
            Section::Celestas | Section::Pianos | Section::Keyboards | Section::Harpsichords => (-34.0, 10.5, 4.0),
            Section::Organs => (0.0, 18.0, 10.0),
            _ => match family {
                Family::Voice => (0.0, 15.0, 30.0),
                Family::Strings => (0.0, 6.5, 30.0),
                Family::Woodwind => (0.0, 10.0, 12.0),
                Family::Brass => (5.0, 13.0, 15.0),
                Family::Percussion => (-20.0, 14.5, 10.0),
                _ => (0.0, 9.0, 10.0),
            },
        };
        #[allow(clippy::cast_precision_loss)] // parts of a section
        let share = if of > 1 { place as f64 / (of - 1) as f64 * 2.0 - 1.0 } else { 0.0 };
        Self { azimuth: azimuth + share * spread, distance }
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
    fn panning_keeps_the_power() {
        for azimuth in [-90.0, -45.0, 0.0, 17.0, 60.0] {
            let (left, right) = pan(azimuth);
            assert!((left * left + right * right - 1.0).abs() < 1e-6);
        }
        assert!(pan(-45.0).0 > pan(-45.0).1 && pan(45.0).1 > pan(45.0).0);
    }
}
