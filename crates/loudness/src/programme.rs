//! Loudness of a recording as programme material: EBU R 128 and ITU-R BS.1770, measured by the `ebur128` crate.

use ebur128::{EbuR128, Mode};

/// What a meter shows. Values are minus infinity where nothing passed the gate: silence, or a sound too short for the measure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Programme {
    /// Integrated (gated) loudness in LUFS.
    pub integrated: f64,
    /// Highest short-term loudness (3 s) in LUFS.
    pub short_term: f64,
    /// Highest momentary loudness (0.4 s) in LUFS.
    pub momentary: f64,
    /// Loudness range in LU (EBU Tech 3342); 0 when too little passed the gate.
    pub range: f64,
    /// True peak of the loudest channel in dBTP.
    pub true_peak: f64,
}

/// Measures a recording: one slice a channel, full scale ±1, all of one length. Up to five channels in the order left, right,
/// centre, left surround, right surround.
///
/// # Errors
/// One sentence when there are no channels or more than five, lengths differ, a sample is not a number, or the rate is none a meter
/// knows.
pub fn measure(channels: &[&[f32]], rate: u32) -> Result<Programme, String> {
    let Some(first) = channels.first() else { return Err("there is no channel to measure; give at least one".to_owned()) };
    if channels.iter().any(|channel| channel.len() != first.len()) {
        return Err("the channels differ in length; cut them to the same number of samples".to_owned());
    }
    if channels.iter().any(|channel| channel.iter().any(|sample| !sample.is_finite())) {
        return Err("a sample is not a finite number; the recording is damaged".to_owned());
    }
    let count = u32::try_from(channels.len()).ok().filter(|&count| count <= 5);
    let Some(count) = count else { return Err(format!("{} channels; the measure knows at most five", channels.len())) };
    let failed = |error: ebur128::Error| format!("the loudness cannot be measured at {rate} samples a second ({error})");
    let mut meter = EbuR128::new(count, rate, Mode::I | Mode::S | Mode::M | Mode::LRA | Mode::TRUE_PEAK).map_err(failed)?;
    let (mut short_term, mut momentary) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    // A tenth of a second: as often as EBU Tech 3341 wants the windows moved.
    let step = (rate as usize / 10).max(1);
    let (long, brief) = (3 * rate as usize, 2 * rate as usize / 5);
    for start in (0..first.len()).step_by(step) {
        let end = first.len().min(start + step);
        let piece: Vec<&[f32]> = channels.iter().map(|channel| &channel[start..end]).collect();
        meter.add_frames_planar_f32(&piece).map_err(failed)?;
        if end >= brief {
            momentary = momentary.max(meter.loudness_momentary().map_err(failed)?);
        }
        if end >= long {
            short_term = short_term.max(meter.loudness_shortterm().map_err(failed)?);
        }
    }
    let mut peak = 0f64;
    for channel in 0..count {
        peak = peak.max(meter.true_peak(channel).map_err(failed)?);
    }
    Ok(Programme {
        integrated: meter.loudness_global().map_err(failed)?,
        short_term,
        momentary,
        range: meter.loudness_range().map_err(failed)?,
        true_peak: 20.0 * peak.log10(),
    })
}
