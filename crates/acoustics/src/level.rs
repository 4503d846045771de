//! Decibels: sums of powers, and quantities with their spread.

/// Power that a level in decibels stands for, against the level's own reference.
#[must_use]
pub fn power_of(db: f64) -> f64 {
    (db * std::f64::consts::LN_10 / 10.0).exp()
}

/// Level in decibels of a power; minus infinity for none.
#[must_use]
pub fn level_of(power: f64) -> f64 {
    10.0 * power.max(0.0).log10()
}

/// Level of several independent sources together; minus infinity for none. The order does not matter beyond rounding.
#[must_use]
pub fn sum(levels_db: impl IntoIterator<Item = f64>) -> f64 {
    level_of(levels_db.into_iter().map(power_of).sum())
}

/// A level with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// The level in decibels.
    pub db: f64,
    /// One standard deviation, in decibels.
    pub spread: f64,
}

/// How far one player departs from another of the same rank at the same mark, in decibels: common practice, a judgement.
const PLAYER_SPREAD: f64 = 2.0;

impl Level {
    /// The level of `players` like this one. Powers add, so it is exactly 10 log n higher. What is unsure about the model stays,
    /// what differs between players averages out.
    #[must_use]
    pub fn of_players(self, players: f64) -> Self {
        let players = players.max(1.0);
        Self { db: self.db + 10.0 * players.log10(), spread: self.spread.hypot(PLAYER_SPREAD / players.sqrt()) }
    }

    /// The level at the end of a loss (negative) or gain, which adds nothing to the spread.
    #[must_use]
    pub fn changed(self, by_db: f64) -> Self {
        Self { db: self.db + by_db, ..self }
    }
}

/// Frequency in hertz of a MIDI key (69 is A4) with A4 at 440 Hz.
#[must_use]
pub fn hertz(key: f64) -> f64 {
    440.0 * ((key - 69.0) / 12.0).exp2()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_players_add_ten_log_n_exactly() {
        // Derived: n equal independent sources.
        let one = Level { db: 93.0, spread: 3.0 };
        for (n, gain) in
            [(1.0, 0.0), (2.0, 3.010_3), (3.0, 4.771_2), (4.0, 6.020_6), (8.0, 9.030_9), (10.0, 10.0), (16.0, 12.041_2)]
        {
            assert!((one.of_players(n).db - 93.0 - gain).abs() < 1e-4);
            assert!((sum((0..n as usize).map(|_| 93.0)) - one.of_players(n).db).abs() < 1e-9);
        }
        assert!(one.of_players(16.0).spread < one.of_players(1.0).spread);
        assert!(one.of_players(1e6).spread >= 3.0);
        assert_eq!(sum([]), f64::NEG_INFINITY);
    }

    #[test]
    fn hertz_of_keys() {
        assert!((hertz(69.0) - 440.0).abs() < 1e-9);
        assert!((hertz(60.0) - 261.6256).abs() < 1e-3);
    }
}
