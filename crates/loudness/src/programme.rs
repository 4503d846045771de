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

/// What sets the level of a file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Integrated (gated) loudness in LUFS; minus infinity where nothing passed the gate.
    pub integrated: f64,
    /// True peak of the loudest channel in dBTP; minus infinity for silence.
    pub true_peak: f64,
}

/// Integrated loudness and true peak alone, which takes less time than [`measure`].
///
/// # Errors
/// As [`measure`].
pub fn level(channels: &[&[f32]], rate: u32) -> Result<Level, String> {
    let frames = frames(channels)?;
    let mut meter = Meter::new(channels.len(), rate, Mode::I | Mode::TRUE_PEAK)?;
    for start in (0..frames).step_by(1 << 16) {
        meter.add(channels, start..frames.min(start + (1 << 16)))?;
    }
    Ok(Level { integrated: meter.ask(EbuR128::loudness_global)?, true_peak: meter.true_peak()? })
}

/// Measures a recording: one slice a channel, full scale ±1, all of one length. Up to five channels in the order left, right,
/// centre, left surround, right surround.
///
/// # Errors
/// One sentence when there are no channels or more than five, lengths differ, a sample is not a number, or the rate is none a meter
/// knows.
pub fn measure(channels: &[&[f32]], rate: u32) -> Result<Programme, String> {
    let frames = frames(channels)?;
    let mut meter = Meter::new(channels.len(), rate, Mode::I | Mode::S | Mode::M | Mode::LRA | Mode::TRUE_PEAK)?;
    let (mut short_term, mut momentary) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    // A tenth of a second: as often as EBU Tech 3341 wants the windows moved.
    let step = (rate as usize / 10).max(1);
    let (long, brief) = (3 * rate as usize, 2 * rate as usize / 5);
    for start in (0..frames).step_by(step) {
        let end = frames.min(start + step);
        meter.add(channels, start..end)?;
        if end >= brief {
            momentary = momentary.max(meter.ask(EbuR128::loudness_momentary)?);
        }
        if end >= long {
            short_term = short_term.max(meter.ask(EbuR128::loudness_shortterm)?);
        }
    }
    Ok(Programme {
        integrated: meter.ask(EbuR128::loudness_global)?,
        short_term,
        momentary,
        range: meter.ask(EbuR128::loudness_range)?,
        true_peak: meter.true_peak()?,
    })
}

/// Frames of a recording that can be measured.
fn frames(channels: &[&[f32]]) -> Result<usize, String> {
    let Some(first) = channels.first() else { return Err("there is no channel to measure; give at least one".to_owned()) };
    if channels.iter().any(|channel| channel.len() != first.len()) {
        return Err("the channels differ in length; cut them to the same number of samples".to_owned());
    }
    if channels.iter().any(|channel| channel.iter().any(|sample| !sample.is_finite())) {
        return Err("a sample is not a finite number; the recording is damaged".to_owned());
    }
    if channels.len() > 5 {
        return Err(format!("{} channels; the measure knows at most five", channels.len()));
    }
    Ok(first.len())
}

/// A meter that says its errors in a sentence.
struct Meter {
    meter: EbuR128,
    channels: u32,
    rate: u32,
}

impl Meter {
    /// `channels` is at most five.
    fn new(channels: usize, rate: u32, mode: Mode) -> Result<Self, String> {
        let channels = u32::try_from(channels).unwrap_or(u32::MAX);
        let meter = EbuR128::new(channels, rate, mode).map_err(|error| failed(rate, error))?;
        Ok(Self { meter, channels, rate })
    }

    fn add(&mut self, channels: &[&[f32]], frames: std::ops::Range<usize>) -> Result<(), String> {
        let piece: Vec<&[f32]> = channels.iter().map(|channel| &channel[frames.clone()]).collect();
        self.meter.add_frames_planar_f32(&piece).map_err(|error| failed(self.rate, error))
    }

    fn ask(&self, question: fn(&EbuR128) -> Result<f64, ebur128::Error>) -> Result<f64, String> {
        question(&self.meter).map_err(|error| failed(self.rate, error))
    }

    fn true_peak(&self) -> Result<f64, String> {
        let mut peak = 0f64;
        for channel in 0..self.channels {
            peak = peak.max(self.meter.true_peak(channel).map_err(|error| failed(self.rate, error))?);
        }
        Ok(20.0 * peak.log10())
    }
}

fn failed(rate: u32, error: ebur128::Error) -> String {
    format!("the loudness cannot be measured at {rate} samples a second ({error})")
}
