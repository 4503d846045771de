//! Exact musical time, counted in crotchets (quarter notes).
//!
//! Positions and lengths are ratios, never floats: a triplet quaver is 1/3, and three of them are 1 exactly, so
//! that "these two players attack together" is a question of equality. The ratio is kept in lowest terms in
//! sixteen bytes; arithmetic is total. Where an exact result would not fit (only hostile or damaged files get
//! there) it is rounded to the nearest 1/720 720 of a crotchet and kept within [`Crotchets::MAX`], so that no input
//! can make arithmetic panic.

use std::cmp::Ordering;
use std::fmt;
use std::iter::Sum;
use std::num::NonZeroU32;
use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};
use std::str::FromStr;

/// Grid for results too fine to be kept exactly: the least common multiple of 1 to 16.
const FALLBACK_GRID: i128 = 720_720;

/// An exact number of crotchets (quarter notes): a position or a length, as the field's name says.
///
/// Always in lowest terms, so `==` and hashing compare values. Prints as `3`, `1/3`, `-7/2`.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Crotchets {
    numerator: i64,
    denominator: NonZeroU32,
}

impl Crotchets {
    /// No time at all.
    pub const ZERO: Self = Self::whole(0);
    /// One crotchet.
    pub const ONE: Self = Self::whole(1);
    /// The largest value kept, some 140 million years at a slow tempo.
    pub const MAX: Self = Self { numerator: 1 << 50, denominator: NonZeroU32::MIN };

    /// `count` whole crotchets, kept within [`Crotchets::MAX`].
    #[must_use]
    pub const fn whole(count: i64) -> Self {
        let limit = Self::MAX.numerator;
        let numerator = if count > limit {
            limit
        } else if count < -limit {
            -limit
        } else {
            count
        };
        Self { numerator, denominator: NonZeroU32::MIN }
    }

    /// `numerator / denominator` crotchets in lowest terms; `None` when the denominator is zero.
    #[must_use]
    pub fn new(numerator: i64, denominator: i64) -> Option<Self> {
        if denominator == 0 {
            return None;
        }
        if let (Ok(n), Ok(d)) = (u64::try_from(numerator), u32::try_from(denominator))
            && let Some(value) = Self::reduced(n, d)
        {
            return Some(value);
        }
        let sign = if denominator < 0 { -1 } else { 1 };
        Some(Self::from_wide(i128::from(numerator) * sign, i128::from(denominator) * sign))
    }

    /// The quick way for the readers: non-negative, denominator within 32 bits.
    fn reduced(numerator: u64, denominator: u32) -> Option<Self> {
        let divisor = gcd(numerator, u64::from(denominator));
        let small = u32::try_from(u64::from(denominator) / divisor).ok()?;
        let value = Self { numerator: i64::try_from(numerator / divisor).ok()?, denominator: NonZeroU32::new(small)? };
        (value.numerator <= Self::MAX.numerator).then_some(value)
    }

    /// Reduces a wide ratio with a positive denominator, rounding only where it must (see the module).
    fn from_wide(numerator: i128, denominator: i128) -> Self {
        debug_assert!(denominator > 0, "callers pass positive denominators");
        let divisor = gcd_wide(numerator.unsigned_abs(), denominator.unsigned_abs());
        let divisor = i128::try_from(divisor).unwrap_or(1).max(1);
        let (mut n, mut d) = (numerator / divisor, denominator / divisor);
        if u32::try_from(d).is_err() {
            n = round_div(n.saturating_mul(FALLBACK_GRID), d);
            let again = i128::try_from(gcd_wide(n.unsigned_abs(), FALLBACK_GRID.unsigned_abs())).unwrap_or(1).max(1);
            n /= again;
            d = FALLBACK_GRID / again;
        }
        let limit = i128::from(Self::MAX.numerator);
        if n.abs() > limit.saturating_mul(d) {
            return if n < 0 { -Self::MAX } else { Self::MAX };
        }
        match (i64::try_from(n), u32::try_from(d).ok().and_then(NonZeroU32::new)) {
            // The smallest integer has no opposite.
            (Ok(numerator), Some(denominator)) if numerator > i64::MIN => Self { numerator, denominator },
            _ => Self::whole(i64::try_from(n / d).unwrap_or(Self::MAX.numerator)),
        }
    }

    /// The ratio's upper half, in lowest terms.
    #[must_use]
    pub const fn numerator(self) -> i64 {
        self.numerator
    }

    /// The ratio's lower half, in lowest terms; at least 1.
    #[must_use]
    pub const fn denominator(self) -> i64 {
        self.denominator.get() as i64
    }

    /// Whether this is exactly zero.
    #[must_use]
    pub const fn is_zero(self) -> bool {
        self.numerator == 0
    }

    /// Whether this is greater than zero.
    #[must_use]
    pub const fn is_positive(self) -> bool {
        self.numerator > 0
    }

    /// The nearest float, for drawing, sound and averages; never for deciding whether two moments are the same.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn to_f64(self) -> f64 {
        self.numerator as f64 / f64::from(self.denominator.get())
    }

    /// This many crotchets as whole ticks of `1 / per_crotchet`, rounded to the nearest; saturating.
    #[must_use]
    pub fn to_ticks(self, per_crotchet: NonZeroU32) -> i64 {
        let wide = i128::from(self.numerator) * i128::from(per_crotchet.get());
        i64::try_from(round_div(wide, i128::from(self.denominator.get()))).unwrap_or(i64::MAX)
    }

    /// This divided by a ratio; `None` when `divisor` is zero.
    #[must_use]
    pub fn checked_div(self, divisor: Self) -> Option<Self> {
        if divisor.numerator == 0 {
            return None;
        }
        let mut n = i128::from(self.numerator) * i128::from(divisor.denominator.get());
        let mut d = i128::from(self.denominator.get()) * i128::from(divisor.numerator);
        if d < 0 {
            (n, d) = (-n, -d);
        }
        Some(Self::from_wide(n, d))
    }

    /// The remainder after taking away `period` as often as it goes, never negative; `None` when `period` is not positive.
    #[must_use]
    pub fn modulo(self, period: Self) -> Option<Self> {
        let quotient = self.checked_div(period)?;
        period.is_positive().then(|| self - period * Self::whole(quotient.floor()))
    }

    /// The largest whole number of crotchets not above this.
    #[must_use]
    pub const fn floor(self) -> i64 {
        self.numerator.div_euclid(self.denominator.get() as i64)
    }

    /// Size without sign.
    #[must_use]
    pub fn abs(self) -> Self {
        if self.numerator < 0 { -self } else { self }
    }
}

/// Greatest common divisor, at least 1.
fn gcd(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

/// [`gcd`] for wide numbers.
fn gcd_wide(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        if let (Ok(x), Ok(y)) = (u64::try_from(a), u64::try_from(b)) {
            return u128::from(gcd(x, y));
        }
        (a, b) = (b, a % b);
    }
    a.max(1)
}

/// Division rounded to the nearest whole, halves upwards; `d` is positive.
fn round_div(n: i128, d: i128) -> i128 {
    (n.saturating_mul(2).saturating_add(d)).div_euclid(d.saturating_mul(2))
}

impl Default for Crotchets {
    fn default() -> Self {
        Self::ZERO
    }
}

impl Add for Crotchets {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        if self.denominator == other.denominator
            && let Some(sum) = self.numerator.checked_add(other.numerator)
        {
            if self.denominator == NonZeroU32::MIN && sum.abs() <= Self::MAX.numerator {
                return Self { numerator: sum, denominator: NonZeroU32::MIN };
            }
            if let Ok(n) = u64::try_from(sum)
                && let Some(value) = Self::reduced(n, self.denominator.get())
            {
                return value;
            }
        }
        let (a, b) = (i128::from(self.denominator.get()), i128::from(other.denominator.get()));
        Self::from_wide(i128::from(self.numerator) * b + i128::from(other.numerator) * a, a * b)
    }
}

impl Neg for Crotchets {
    type Output = Self;
    fn neg(self) -> Self {
        Self { numerator: -self.numerator, denominator: self.denominator }
    }
}

impl Sub for Crotchets {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for Crotchets {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        Self::from_wide(
            i128::from(self.numerator) * i128::from(other.numerator),
            i128::from(self.denominator.get()) * i128::from(other.denominator.get()),
        )
    }
}

impl AddAssign for Crotchets {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for Crotchets {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl Sum for Crotchets {
    fn sum<I: Iterator<Item = Self>>(values: I) -> Self {
        values.fold(Self::ZERO, Add::add)
    }
}

impl PartialOrd for Crotchets {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Crotchets {
    fn cmp(&self, other: &Self) -> Ordering {
        if self.denominator == other.denominator {
            return self.numerator.cmp(&other.numerator);
        }
        let left = i128::from(self.numerator) * i128::from(other.denominator.get());
        left.cmp(&(i128::from(other.numerator) * i128::from(self.denominator.get())))
    }
}

impl fmt::Display for Crotchets {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.denominator == NonZeroU32::MIN {
            write!(f, "{}", self.numerator)
        } else {
            write!(f, "{}/{}", self.numerator, self.denominator)
        }
    }
}

impl fmt::Debug for Crotchets {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// Why a text is not a number of crotchets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotCrotchets(String);

impl fmt::Display for NotCrotchets {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?} is not a number of crotchets such as 3 or 7/2", self.0)
    }
}

impl std::error::Error for NotCrotchets {}

impl FromStr for Crotchets {
    type Err = NotCrotchets;
    fn from_str(text: &str) -> Result<Self, NotCrotchets> {
        let (above, below) = text.split_once('/').unwrap_or((text, "1"));
        let bad = || NotCrotchets(text.to_owned());
        let n = above.trim().parse().map_err(|_| bad())?;
        let d = below.trim().parse().map_err(|_| bad())?;
        Self::new(n, d).ok_or_else(bad)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ratio(n: i64, d: i64) -> Crotchets {
        Crotchets::new(n, d).unwrap()
    }

    #[test]
    fn three_triplet_quavers_are_a_crotchet() {
        assert_eq!(ratio(1, 3) + ratio(1, 3) + ratio(1, 3), Crotchets::ONE);
    }

    #[test]
    fn prints_and_parses() {
        for text in ["0", "3", "-7/2", "1/3"] {
            assert_eq!(text.parse::<Crotchets>().unwrap().to_string(), text);
        }
        assert!("1/0".parse::<Crotchets>().is_err());
        assert!("crotchet".parse::<Crotchets>().is_err());
    }

    #[test]
    fn the_smallest_integer_can_be_negated() {
        let least = ratio(i64::MIN, 8193);
        assert_eq!(Crotchets::ZERO - (Crotchets::ZERO - least), least);
        assert!(least < Crotchets::ZERO && -least > Crotchets::ZERO);
    }

    #[test]
    fn remainders_are_never_negative() {
        assert_eq!(ratio(-1, 2).modulo(ratio(3, 1)), Some(ratio(5, 2)));
        assert_eq!(ratio(7, 1).modulo(ratio(3, 1)), Some(Crotchets::ONE));
        assert_eq!(Crotchets::ONE.modulo(Crotchets::ZERO), None);
    }

    proptest! {
        #[test]
        fn addition_undoes_subtraction(a in -100_000i64..100_000, b in 1i64..2000, c in -100_000i64..100_000, d in 1i64..2000) {
            let (x, y) = (ratio(a, b), ratio(c, d));
            prop_assert_eq!(x + y - y, x);
            prop_assert_eq!(x + y, y + x);
            prop_assert_eq!(x < y, x.to_f64() < y.to_f64());
        }

        #[test]
        fn arithmetic_is_total(a: i64, b: i64, c: i64, d: i64) {
            if let (Some(x), Some(y)) = (Crotchets::new(a, b), Crotchets::new(c, d)) {
                for z in [x + y, x - y, x * y, x.checked_div(y).unwrap_or_default()] {
                    prop_assert!(z <= Crotchets::MAX && z >= -Crotchets::MAX);
                    prop_assert!(z.denominator() >= 1);
                }
            }
        }
    }
}
