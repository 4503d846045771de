//! A second opinion on one bar: partial loudness by Moore, Glasberg and Baer (1997), whose masking spreads with level.
//!
//! Too slow for every line of a score, it is asked where it matters. It does not know how this crate's own ear answered.

use ripieno_loudness::ear::{Tone, audibility_margin, excitation, loudness, partial_loudness};
use ripieno_loudness::{Field, Sones};

use crate::ear::channel_of;
use crate::level::level_of;
use crate::scene::{Line, Scene};
use crate::source::Source;

/// Components weaker than this at the listener are left out, in dB: below the threshold in quiet.
const INAUDIBLE: f64 = -10.0;
/// Partials above this are left out.
const HIGHEST_HZ: f64 = 12_000.0;

/// A line by partial loudness, at the moment of the bar that lasts longest while it sounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SecondOpinion {
    /// By how many dB it could be weaker until it is just no longer heard; between -60 and 120.
    pub margin_db: f64,
    /// Its loudness beside all else.
    pub partial: Sones,
    /// Its loudness alone.
    pub alone: Sones,
}

/// Asks for one line in one bar; `None` where it is silent.
#[must_use]
pub fn second_opinion(scene: &Scene<'_>, lines: &[Line], line: usize, bar: usize) -> Option<SecondOpinion> {
    let line_of = scene.line_of(lines);
    let line = u16::try_from(line).ok()?;
    let mut longest: (f64, Vec<(usize, f64)>) = (0.0, Vec::new());
    scene.moments(bar..bar + 1, |moment| {
        if moment.seconds > longest.0 && moment.active.iter().any(|(row, _)| line_of[*row] == line) {
            longest = (moment.seconds, moment.active.to_vec());
        }
    });
    let (mut own, mut rest) = (Vec::new(), Vec::new());
    for (row, gain) in longest.1 {
        let tones = if line_of[row] == line { &mut own } else { &mut rest };
        components(scene, row, gain, tones);
    }
    let masker = excitation(&rest, Field::Diffuse);
    let margin_db = audibility_margin(&own, &masker, Field::Diffuse)?;
    let own = excitation(&own, Field::Diffuse);
    Some(SecondOpinion { margin_db, partial: partial_loudness(&own, &masker), alone: loudness(&own) })
}

/// The tonal components of a row at the listener, and its noise as lines.
pub(crate) fn components(scene: &Scene<'_>, row: usize, gain: f64, tones: &mut Vec<Tone>) {
    let tone = scene.notes[row].tone;
    let source = Source::of(&scene.voices[usize::from(tone.voice)]);
    let made = source.tone(f64::from(tone.key), tone.dynamic(), tone.ways, HIGHEST_HZ);
    let transfer = &scene.transfers[usize::from(tone.part)];
    let parts =
        made.partials.iter().map(|partial| (partial.hz, partial.db)).chain(made.noise.iter().map(|band| (band.hz, band.db)));
    for (hertz, db) in parts {
        let level = made.power.db + db + level_of(gain * transfer[channel_of(hertz)]);
        if level > INAUDIBLE {
            tones.push(Tone { hertz, level });
        }
    }
}
