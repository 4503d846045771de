//! Counts as numbers to reckon with.

/// A count as a number, for shares and prices.
pub(crate) fn number(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}
