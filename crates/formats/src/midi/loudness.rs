//! Printed dynamics from velocities, where these move in steps.
//!
//! A notated export gives every note under "f" one velocity; playing and drawn curves give each its own. Only steps
//! become marks: at least half of the onsets between two changes must share one velocity. The velocities themselves stay
//! with the notes either way.

use ripieno_score::DynamicLevel;

use super::events::{Event, Strike, What};
use super::lines::Line;

/// Velocity of level 0 and of each further one: those of our own writer, near what notated exports use.
const BASE: f32 = 12.0;
const STEP: f32 = 14.0;
/// Onsets around one that decide its level, so that an accent is no change.
const AROUND: usize = 2;
/// At most one change to so many onsets is still printed.
const RARE: usize = 6;
/// Levels of the scale, from 0.
const LEVELS: usize = 10;

/// The levels a line moves through: from each tick on. Empty when loudness never changes or never rests.
pub(super) fn steps<'s>(strikes: impl Iterator<Item = &'s Strike>, own: &[Event<'_>], line: &Line) -> Vec<(u32, DynamicLevel)> {
    let curves = [7, 11].map(|number| Curve::of(own, line, number));
    let curves: Vec<&Curve> = curves.iter().filter(|curve| !curve.values.is_empty()).collect();
    let mut onsets: Vec<(u32, f32)> = Vec::new();
    for strike in strikes {
        let scale: f32 = curves.iter().map(|curve| curve.at(strike.on)).product();
        let loudness = f32::from(strike.velocity) * scale;
        match onsets.last_mut() {
            Some(last) if last.0 == strike.on => last.1 = last.1.max(loudness),
            _ => onsets.push((strike.on, loudness)),
        }
    }
    #[allow(clippy::float_cmp)] // equal by the same computation
    if onsets.first().is_none_or(|first| onsets.iter().all(|onset| onset.1 == first.1)) {
        return Vec::new();
    }
    onsets.sort_by_key(|&(on, _)| on);
    let middles = middles(&onsets);
    let mut changes: Vec<(u32, DynamicLevel)> = Vec::new();
    let (mut first, mut steady) = (0, 0);
    for run in middles.chunk_by(|a, b| a == b) {
        let own = onsets.get(first..first + run.len()).unwrap_or_default();
        if let (Some(&(on, _)), Some(&level)) = (own.first(), run.first()) {
            changes.push((on, DynamicLevel(f32::from(level))));
        }
        steady += commonest(own);
        first += run.len();
    }
    let is_played = steady * 2 < onsets.len();
    if is_played || changes.len() < 2 || changes.len() * RARE > onsets.len() { Vec::new() } else { changes }
}

/// The level around each onset: the middle one of its neighbours'.
fn middles(onsets: &[(u32, f32)]) -> Vec<u8> {
    let levels: Vec<u8> = onsets.iter().map(|&(_, loudness)| level(loudness)).collect();
    let middle = |index: usize| {
        let mut counts = [0usize; LEVELS];
        let around = levels.get(index.saturating_sub(AROUND)..(index + AROUND + 1).min(levels.len())).unwrap_or_default();
        for &level in around {
            if let Some(count) = counts.get_mut(usize::from(level)) {
                *count += 1;
            }
        }
        let mut below = 0;
        let reaches = |&count: &usize| {
            below += count;
            below > around.len() / 2
        };
        counts.iter().position(reaches).and_then(|level| u8::try_from(level).ok()).unwrap_or(0)
    };
    (0..levels.len()).map(middle).collect()
}

/// How many of the onsets share the loudness that most share.
fn commonest(onsets: &[(u32, f32)]) -> usize {
    let mut counts = [0usize; 128];
    for &(_, loudness) in onsets {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most a velocity
        if let Some(count) = counts.get_mut((loudness + 0.5) as usize) {
            *count += 1;
        }
    }
    counts.into_iter().max().unwrap_or(0)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
fn level(loudness: f32) -> u8 {
    ((loudness - BASE) / STEP + 0.5).clamp(0.0, 9.0) as u8
}

/// A controller that shades a line, relative to its greatest value; constant ones say nothing (a fader left alone).
struct Curve {
    values: Vec<(u32, f32)>,
}

impl Curve {
    fn of(own: &[Event<'_>], line: &Line, wanted: u8) -> Self {
        let mut values: Vec<(u32, f32)> = Vec::new();
        for event in own {
            if let What::Controller { channel, number, value } = event.what
                && number == wanted
                && line.has_channel(channel)
            {
                values.push((event.at, f32::from(value)));
            }
        }
        values.sort_by_key(|&(at, _)| at);
        let most = values.iter().map(|&(_, value)| value).fold(0.0, f32::max);
        let least = values.iter().map(|&(_, value)| value).fold(f32::INFINITY, f32::min);
        if most <= 0.0 || most - least < 8.0 {
            values.clear();
        }
        for (_, value) in &mut values {
            *value /= most;
        }
        Self { values }
    }

    fn at(&self, tick: u32) -> f32 {
        let after = self.values.partition_point(|&(at, _)| at <= tick);
        after.checked_sub(1).and_then(|index| self.values.get(index)).map_or(1.0, |&(_, value)| value)
    }
}

/// The one velocity all notes have, if they do: then nothing is known of the dynamics.
pub(super) fn is_flat<'s>(mut strikes: impl Iterator<Item = &'s Strike>) -> Option<u8> {
    let first = strikes.next()?.velocity;
    strikes.all(|strike| strike.velocity == first).then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::events::StrikeKind;

    fn found(velocities: &[u8]) -> Vec<(u32, &'static str)> {
        let strikes: Vec<Strike> = (0u32..)
            .zip(velocities)
            .map(|(i, &velocity)| Strike { on: i, off: i + 1, key: 60, velocity, channel: 0, kind: StrikeKind::Played })
            .collect();
        steps(strikes.iter(), &[], &Line::default()).into_iter().map(|(on, level)| (on, level.mark())).collect()
    }

    #[test]
    fn steps_become_marks_and_accents_do_not() {
        let mut velocities = vec![54; 12];
        velocities.extend([96; 12]);
        velocities[5] = 110;
        assert_eq!(found(&velocities), [(0, "p"), (12, "f")]);
        assert!(found(&[80; 24]).is_empty());
        // Played: jumping about, and swelling slowly with a little unevenness.
        let wild: Vec<u8> = (0u32..48).map(|i| u8::try_from(30 + i * 37 % 90).unwrap()).collect();
        assert!(found(&wild).is_empty());
        let swell: Vec<u8> = (0u32..96).map(|i| u8::try_from(40 + i / 2 + i * 37 % 5).unwrap()).collect();
        assert!(found(&swell).is_empty());
    }
}
