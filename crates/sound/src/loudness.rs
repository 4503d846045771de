//! To what loudness a rendering is set: EBU R 128 and true peak, as [`ripieno_loudness::programme`] measures them.

use ripieno_loudness::programme;

use crate::render::Stereo;

/// Loudness of a file by EBU R 128, in LUFS.
pub const TARGET: f64 = -23.0;
/// Highest true peak allowed by EBU R 128, in dBTP.
pub const HIGHEST_PEAK: f64 = -1.0;

/// What was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Integrated loudness in LUFS; minus infinity for silence.
    pub loudness: f64,
    /// True peak in dBTP; minus infinity for silence.
    pub peak: f64,
}

/// Measures two channels.
///
/// # Errors
/// One sentence when the rate is none a meter knows.
pub fn measure(sound: &Stereo, rate: u32) -> Result<Measured, String> {
    let level = programme::level(&[&sound.left, &sound.right], rate)?;
    Ok(Measured { loudness: level.integrated, peak: level.true_peak })
}

/// The factor that brings a sound to a loudness in LUFS, or to less where the true peak would go beyond [`HIGHEST_PEAK`]; and what
/// the sound then measures. `None` for silence. Stems are brought along by the factor of their mix.
///
/// # Errors
/// As [`measure`].
pub fn gain_for(sound: &Stereo, rate: u32, target: f64) -> Result<Option<(f32, Measured)>, String> {
    let before = measure(sound, rate)?;
    if !before.peak.is_finite() {
        return Ok(None);
    }
    // A passage too short or too soft for the meter's gate is set by its peak alone.
    let wanted = if before.loudness.is_finite() { target - before.loudness } else { HIGHEST_PEAK - 11.0 - before.peak };
    let by = wanted.min(HIGHEST_PEAK - 0.01 - before.peak);
    #[allow(clippy::cast_possible_truncation)] // sound is single precision
    let gain = 10f64.powf(by / 20.0) as f32;
    Ok(Some((gain, Measured { loudness: before.loudness + by, peak: before.peak + by })))
}
