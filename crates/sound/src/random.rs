//! Seeded chance: the same seed gives the same players on every run.

/// A small generator (splitmix64, public domain by its author): enough for detuning and onsets, not for secrets.
#[derive(Debug, Clone)]
pub(crate) struct Random(u64);

impl Random {
    /// A stream of its own for each list of numbers.
    pub(crate) fn of(parts: &[u64]) -> Self {
        let mut random = Self(0x5EED_0B0A_7C4E_5EA5);
        for part in parts {
            random.0 ^= part.wrapping_mul(0x9E37_79B9_7F4A_7C15);
            random.0 = random.next();
        }
        random
    }

    pub(crate) const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly between 0 and 1.
    #[allow(clippy::cast_precision_loss)] // 53 bits fit
    pub(crate) const fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// Evenly between -1 and 1.
    pub(crate) const fn swing(&mut self) -> f64 {
        self.unit() * 2.0 - 1.0
    }

    /// Bell-shaped with deviation 1, never beyond 3.5: the sum of twelve even draws.
    pub(crate) fn bell(&mut self) -> f64 {
        let sum: f64 = (0..12).map(|_| self.unit()).sum();
        (sum - 6.0).clamp(-3.5, 3.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_repeat_and_differ() {
        let first = |parts: &[u64]| Random::of(parts).next();
        assert_eq!(first(&[1, 2]), first(&[1, 2]));
        assert_ne!(first(&[1, 2]), first(&[2, 1]));
        let mut random = Random::of(&[7]);
        let draws: Vec<f64> = (0..10_000).map(|_| random.bell()).collect();
        let mean = draws.iter().sum::<f64>() / 1e4;
        let deviation = (draws.iter().map(|draw| (draw - mean).powi(2)).sum::<f64>() / 1e4).sqrt();
        assert!(mean.abs() < 0.05 && (deviation - 1.0).abs() < 0.05, "{mean} {deviation}");
    }
}
