//! The scale of auditory filters: equivalent rectangular bandwidth (ERB) and ERB number (Cam).
//!
//! Glasberg, B. R. and Moore, B. C. J. (1990), Derivation of auditory filter shapes from notched-noise data, Hearing Research 47,
//! 103-138.

/// ERB numbers for a factor e in frequency: the 21.4 the paper prints is for a factor of ten.
const CAMS: f64 = 21.4 / std::f64::consts::LN_10;

/// Bandwidth in hertz of the auditory filter centred at a frequency in hertz.
pub fn bandwidth(hertz: f64) -> f64 {
    24.7 * (4.37e-3 * hertz + 1.0)
}

/// ERB number in Cam of a frequency in hertz: how many filters fit side by side below it.
pub fn number(hertz: f64) -> f64 {
    CAMS * (4.37e-3 * hertz).ln_1p()
}

/// Frequency in hertz at an ERB number in Cam; the inverse of [`number`].
pub fn hertz(cam: f64) -> f64 {
    (cam / CAMS).exp_m1() / 4.37e-3
}
