//! From source to listener: distance, the direct sound, the late field of a room.

use crate::data::rows;
use crate::level::{level_of, power_of};

/// A room in which sound is heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Its name.
    pub name: String,
    /// Volume in cubic metres; 0 in the open.
    pub volume: f64,
    /// Reverberation time at 500 Hz to 1 kHz, in seconds; 0 in the open.
    pub t60: f64,
    /// Reverberation time at 125 Hz against that.
    pub low_ratio: f64,
    /// Reverberation time at 4 kHz against that.
    pub high_ratio: f64,
}

/// Nobody's ear is nearer than this to a source that is not their own.
const NEAREST: f64 = 0.5;

impl Room {
    /// A room by the name the data use: `hall`, `small-hall`, `studio`, `rehearsal`, `open`.
    #[must_use]
    pub fn named(id: &str) -> Option<Self> {
        rows("rooms.csv", include_str!("../data/rooms.csv")).iter().find(|row| row.text("id") == id).map(|row| Self {
            name: row.text("name").to_owned(),
            volume: row.get("volume_m3"),
            t60: row.get("t60_s"),
            low_ratio: row.get("low_ratio"),
            high_ratio: row.get("high_ratio"),
        })
    }

    /// A concert hall of usual size: 18 000 cubic metres, 2 seconds.
    #[must_use]
    pub fn hall() -> Self {
        Self { name: "concert hall".into(), volume: 18_000.0, t60: 2.0, low_ratio: 1.15, high_ratio: 0.7 }
    }

    /// No room at all: the direct sound alone.
    #[must_use]
    pub fn open() -> Self {
        Self { name: "open air".into(), volume: 0.0, t60: 0.0, low_ratio: 1.0, high_ratio: 1.0 }
    }

    /// Reverberation time in seconds at a frequency, on a straight line over the octaves between 125 Hz, the middle and 4 kHz.
    #[must_use]
    pub fn t60_at(&self, hz: f64) -> f64 {
        let octaves = (hz / 707.0).log2();
        let ratio = if octaves < 0.0 {
            1.0 + (self.low_ratio - 1.0) * (-octaves / 2.5).min(1.2)
        } else {
            1.0 + (self.high_ratio - 1.0) * (octaves / 2.5).min(1.6)
        };
        self.t60 * ratio.max(0.1)
    }

    /// Equivalent absorption area in square metres (Sabine: 0.161 V / T); infinite in the open.
    #[must_use]
    pub fn absorption(&self, hz: f64) -> f64 {
        if self.volume <= 0.0 || self.t60 <= 0.0 { f64::INFINITY } else { 0.161 * self.volume / self.t60_at(hz) }
    }

    /// Distance in metres at which direct and diffuse field of an even source are equal: 0.057 root (V / T).
    #[must_use]
    pub fn critical_distance(&self, hz: f64) -> f64 {
        (self.absorption(hz) / (16.0 * std::f64::consts::PI)).sqrt()
    }

    /// Pressure level minus power level of the direct sound, in dB: `gain_db` towards the listener, 11 dB and 20 log of the metres.
    #[must_use]
    pub fn direct_db(distance: f64, gain_db: f64) -> f64 {
        gain_db - level_of(4.0 * std::f64::consts::PI * distance.max(0.05).powi(2))
    }

    /// Pressure level minus power level of the late field, in dB; falls slowly with distance (Barron and Lee 1988).
    #[must_use]
    pub fn late_db(&self, distance: f64, hz: f64) -> f64 {
        let area = self.absorption(hz);
        if area.is_infinite() {
            return f64::NEG_INFINITY;
        }
        level_of(4.0 / area) - 10.0 * std::f64::consts::LOG10_E * 0.04 * distance / self.t60_at(hz)
    }

    /// Pressure level minus power level of both together, in dB.
    #[must_use]
    pub fn received_db(&self, distance: f64, gain_db: f64, hz: f64) -> f64 {
        let distance = distance.max(NEAREST);
        level_of(power_of(Self::direct_db(distance, gain_db)) + power_of(self.late_db(distance, hz)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_direct_sound_is_that_of_the_sphere() {
        // Weinzierl and others 2018, eq. 4 (confirmed): LW - 17.37 dB averaged on a sphere of 54.63 square metres, 2.085 m.
        assert!((Room::direct_db(2.085, 0.0) + 17.37).abs() < 0.01);
        assert!((Room::direct_db(2.0, 0.0) - Room::direct_db(4.0, 0.0) - 6.02).abs() < 0.01);
    }

    #[test]
    fn the_critical_distance_is_that_of_the_formula() {
        // Derived: 0.057 root (18000 / 2) = 5.41 m.
        let hall = Room { low_ratio: 1.0, high_ratio: 1.0, ..Room::hall() };
        assert!((hall.critical_distance(707.0) - 5.39).abs() < 0.05);
        let r = hall.critical_distance(707.0);
        assert!((Room::direct_db(r, 0.0) - level_of(4.0 / hall.absorption(707.0))).abs() < 1e-6);
    }

    #[test]
    fn it_grows_softer_with_distance_everywhere() {
        for id in ["hall", "small-hall", "studio", "rehearsal", "open"] {
            let room = Room::named(id).unwrap();
            for hz in [63.0, 500.0, 4000.0, 12_000.0] {
                let levels: Vec<f64> = (1..80).map(|metres| room.received_db(f64::from(metres) / 2.0, 3.0, hz)).collect();
                assert!(levels.windows(2).all(|pair| pair[1] <= pair[0]), "{id} {hz}");
            }
        }
        assert_eq!(Room::named("hall"), Some(Room::hall()));
    }
}
