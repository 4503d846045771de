//! Roughness of tones that sound together, a secondary hint: which chords grate.
//!
//! Vassilakis, P. N. (2001), Perceptual and physical properties of amplitude fluctuation and their musical significance, doctoral
//! dissertation, University of California, Los Angeles: each pair of tones adds by its amplitudes, by how evenly they are matched and by
//! how far they lie apart (the curve of Sethares 1993 through the data of Plomp and Levelt 1965). Entered from memory. The figure has no
//! unit and compares only sounds measured in this way; it ignores the ear's threshold and phase.

use crate::ear::Tone;

/// Roughness of tones, without a unit: 0 for a single tone. Amplitudes count relative to a tone of 60 dB. Tones whose frequency or level
/// is no number, or whose frequency is not above 0, count as nothing.
pub fn roughness(tones: &[Tone]) -> f64 {
    let usable = |tone: &&Tone| tone.hertz > 0.0 && tone.hertz.is_finite() && tone.level.is_finite();
    let parts: Vec<(f64, f64)> =
        tones.iter().filter(usable).map(|tone| (tone.hertz, 10f64.powf((tone.level - 60.0) / 20.0))).collect();
    let mut sum = 0.0;
    for (index, &first) in parts.iter().enumerate() {
        for &second in &parts[index + 1..] {
            sum += of_pair(first, second);
        }
    }
    sum
}

/// Roughness of two tones, each a frequency in hertz and an amplitude.
fn of_pair(first: (f64, f64), second: (f64, f64)) -> f64 {
    let (low, high) = (first.0.min(second.0), first.0.max(second.0));
    let (soft, loud) = (first.1.min(second.1), first.1.max(second.1));
    if loud <= 0.0 {
        return 0.0;
    }
    let apart = 0.24 / (0.0207 * low + 18.96) * (high - low);
    let grating = (-3.5 * apart).exp() - (-5.75 * apart).exp();
    (soft * loud).powf(0.1) * 0.5 * (2.0 * soft / (soft + loud)).powf(3.11) * grating
}
