//! How long a note really sounds. Balance and sound share it.

use ripieno_score::Articulations;

/// Seconds a note of `length` seconds sounds, with these signs and `bound` by a slur to the next. Common practice of playing, not of a book.
#[must_use]
pub fn sounding_length(length: f64, signs: Articulations, bound: bool) -> f64 {
    if signs.intersects(Articulations::STACCATISSIMO.union(Articulations::SPICCATO)) {
        (length * 0.35).clamp(0.05, 0.3).min(length)
    } else if signs.contains(Articulations::STACCATO) {
        if bound || signs.contains(Articulations::TENUTO) { length * 0.75 } else { (length * 0.5).clamp(0.06, 0.6).min(length) }
    } else if bound {
        length + 0.015
    } else if signs.intersects(Articulations::TENUTO.union(Articulations::DETACHED_LEGATO)) {
        length * 0.97
    } else {
        (length * 0.9).max(length - 0.1)
    }
}

/// Whether a note is played much shorter than written.
pub(crate) fn is_short(signs: Articulations) -> bool {
    signs.intersects(Articulations::STACCATO.union(Articulations::STACCATISSIMO).union(Articulations::SPICCATO))
}
