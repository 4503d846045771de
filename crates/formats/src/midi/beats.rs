//! Finding the beats of a performance recorded without any.
//!
//! Beats are placed by dynamic programming so that they fall on salient onsets at a period that changes slowly (after
//! D. P. W. Ellis, "Beat Tracking by Dynamic Programming", Journal of New Music Research 36, 2007; here the period
//! is part of the state, as in F. Krebs, S. Böck and G. Widmer, "An Efficient State-Space Model for Joint Tempo and Meter
//! Tracking", ISMIR 2015, so that rubato can be followed). Periods near 0.55 s are preferred, as listeners do (L. van
//! Noorden and D. Moelants, "Resonance in the Perception of Musical Pulse", JNMR 28, 1999).

/// An onset, or several together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Onset {
    /// Seconds from the start.
    pub(super) time: f64,
    /// How much it stands out; positive.
    pub(super) weight: f64,
}

/// The beats found.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Beats {
    /// Seconds, at least two, in order.
    pub(super) times: Vec<f64>,
    /// Beats to the bar: 2, 3 or 4.
    pub(super) to_the_bar: u8,
    /// Index of the first beat that begins a bar, less than `to_the_bar`.
    pub(super) first_downbeat: usize,
}

/// Frames a second.
const RATE: f64 = 100.0;
/// Shortest and longest period, in frames: 200 to 50 beats a minute.
const PERIODS: (usize, usize) = (30, 120);
const COUNT: usize = PERIODS.1 - PERIODS.0 + 1;
/// Longest music searched, in seconds: bounds time and memory.
pub(super) const LONGEST: f64 = 1800.0;
/// Spread of onsets around a beat, in frames.
const SPREAD: f64 = 2.5;
/// The preferred period, in frames, and how wide the preference is, in octaves.
const PREFERRED: (f64, f64) = (55.0, 0.9);
const PREFERENCE: f64 = 0.4;
/// Cost of a change of period, for its squared logarithm.
const RIGIDITY: f64 = 150.0;
/// Largest change from beat to beat.
const MOST_CHANGE: f64 = 0.08;

/// Finds beats in onsets ordered by time; `None` when there are too few, or they last too long.
pub(super) fn find(onsets: &[Onset], to_the_bar: Option<u8>) -> Option<Beats> {
    let (first, last) = (onsets.first()?.time, onsets.last()?.time);
    if onsets.len() < 8 || last - first < 3.0 || last > LONGEST {
        return None;
    }
    let salience = salience(onsets, first, last);
    let frames = track(&salience);
    #[allow(clippy::cast_precision_loss)] // frames of half an hour
    let times: Vec<f64> = frames.iter().map(|&frame| first + frame as f64 / RATE).collect();
    if times.len() < 2 {
        return None;
    }
    let times = settle(&times, onsets);
    let (to_the_bar, first_downbeat) = bar(&times, onsets, to_the_bar);
    Some(Beats { times, to_the_bar, first_downbeat })
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // seconds below LONGEST
fn frame(seconds: f64) -> usize {
    (seconds * RATE).round().max(0.0) as usize
}

/// How salient each frame is, evened out over some seconds so that soft passages count.
#[allow(clippy::cast_precision_loss)] // a few frames
fn salience(onsets: &[Onset], first: f64, last: f64) -> Vec<f64> {
    const REACH: usize = 8;
    const WINDOW: usize = 400;
    let length = frame(last - first) + 1;
    let mut salience = vec![0.0; length];
    for onset in onsets {
        let centre = frame(onset.time - first);
        let from = centre.saturating_sub(REACH);
        for (index, slot) in salience.iter_mut().enumerate().take(centre + REACH + 1).skip(from) {
            let distance = (index as f64 - centre as f64) / SPREAD;
            *slot += onset.weight * (-distance * distance / 2.0).exp();
        }
    }
    let mut sums = Vec::with_capacity(length + 1);
    let mut total = 0.0;
    sums.push(total);
    for value in &salience {
        total += value * value;
        sums.push(total);
    }
    let floor = (total / length as f64).sqrt() / 4.0;
    for (index, value) in salience.iter_mut().enumerate() {
        let (from, to) = (index.saturating_sub(WINDOW), (index + WINDOW).min(length));
        let (Some(low), Some(high)) = (sums.get(from), sums.get(to)) else { continue };
        let local = ((high - low) / (to - from).max(1) as f64).max(0.0).sqrt();
        *value /= local.max(floor).max(f64::MIN_POSITIVE);
    }
    salience
}

/// The frames of the best succession of beats.
#[allow(clippy::cast_precision_loss)] // periods
fn track(salience: &[f64]) -> Vec<usize> {
    let periods: Vec<f64> = (PERIODS.0..=PERIODS.1).map(|period| period as f64).collect();
    let preference: Vec<f64> =
        periods.iter().map(|period| -PREFERENCE * ((period / PREFERRED.0).log2() / PREFERRED.1).powi(2)).collect();
    // Which periods may come before each: the first of them, and what each costs.
    #[allow(clippy::cast_possible_truncation)] // costs need no more
    let before: Vec<(usize, Vec<f32>)> = periods
        .iter()
        .map(|period| {
            let near = |earlier: &f64| (period / earlier).ln().abs() <= MOST_CHANGE;
            let cost = |earlier: &f64| (RIGIDITY * (period / earlier).ln().powi(2) * period / RATE) as f32;
            let first = periods.iter().position(near).unwrap_or(0);
            (first, periods.iter().filter(|e| near(e)).map(cost).collect())
        })
        .collect();
    const START: u8 = u8::MAX;
    let mut scores = vec![[0.0f32; COUNT]; PERIODS.1 + 1];
    let mut from = vec![[START; COUNT]; salience.len()];
    let mut best_end = (0, 0, f32::NEG_INFINITY);
    let size = scores.len();
    for (now, &value) in salience.iter().enumerate() {
        let mut row = [0.0f32; COUNT];
        for (index, slot) in row.iter_mut().enumerate() {
            let period = PERIODS.0 + index;
            let (Some(&preferred), Some((first, costs))) = (preference.get(index), before.get(index)) else { continue };
            #[allow(clippy::cast_possible_truncation)] // scores need no more
            let gain = ((value + preferred) * period as f64 / RATE) as f32;
            let mut best = (0.0, START);
            if let Some(then) = now.checked_sub(period)
                && let Some(earlier) = scores.get(then % size).and_then(|row| row.get(*first..))
            {
                // The greatest first, without its place, which the compiler can do several at a time.
                let most = earlier.iter().zip(costs).map(|(score, cost)| score - cost).fold(f32::NEG_INFINITY, f32::max);
                #[allow(clippy::float_cmp)] // equal by the same computation
                let place = earlier.iter().zip(costs).position(|(score, cost)| score - cost == most).unwrap_or(0);
                best = (most, u8::try_from(first + place).unwrap_or(START));
            }
            let score = best.0 + gain;
            *slot = score;
            if let Some(link) = from.get_mut(now).and_then(|row| row.get_mut(index)) {
                *link = best.1;
            }
            if now + period >= salience.len() && score > best_end.2 {
                best_end = (now, index, score);
            }
        }
        if let Some(slot) = scores.get_mut(now % size) {
            *slot = row;
        }
    }
    let (mut now, mut index, _) = best_end;
    let mut beats = vec![now];
    while let Some(&link) = from.get(now).and_then(|row| row.get(index)).filter(|&&link| link != START) {
        let Some(then) = now.checked_sub(PERIODS.0 + index) else { break };
        (now, index) = (then, usize::from(link));
        beats.push(now);
    }
    beats.reverse();
    beats
}

/// Moves beats from the frames onto the onsets they stand for.
fn settle(beats: &[f64], onsets: &[Onset]) -> Vec<f64> {
    const NEAR: f64 = 0.04;
    let mut settled: Vec<f64> = Vec::with_capacity(beats.len());
    for &beat in beats {
        let from = onsets.partition_point(|onset| onset.time < beat - NEAR);
        let near = onsets.get(from..).unwrap_or_default().iter().take_while(|onset| onset.time <= beat + NEAR);
        let (sum, weight) = near.fold((0.0, 0.0), |(sum, weight), o| (sum + o.time * o.weight, weight + o.weight));
        let time = if weight > 0.0 { sum / weight } else { beat };
        if settled.last().is_none_or(|last| time > last + 0.1) {
            settled.push(time);
        }
    }
    settled
}

/// Beats to the bar, where not known, and the first downbeat: where the weight falls.
#[allow(clippy::cast_precision_loss)] // a count of beats
fn bar(beats: &[f64], onsets: &[Onset], known: Option<u8>) -> (u8, usize) {
    const NEAR: f64 = 0.06;
    let accents: Vec<f64> = beats
        .iter()
        .map(|beat| {
            let from = onsets.partition_point(|onset| onset.time < beat - NEAR);
            let near = onsets.get(from..).unwrap_or_default().iter().take_while(|onset| onset.time <= beat + NEAR);
            near.map(|onset| onset.weight).sum()
        })
        .collect();
    let mean = accents.iter().sum::<f64>() / accents.len().max(1) as f64;
    // Slightly in favour of common time, which is common.
    let tried: &[(u8, f64)] = &[(4, 1.1), (3, 1.0), (2, 0.9)];
    let mut best = (4, 0, f64::NEG_INFINITY);
    for &(count, favour) in tried {
        if known.is_some_and(|known| known != count && (2..=4).contains(&known)) {
            continue;
        }
        for phase in 0..usize::from(count) {
            let strong: Vec<f64> = accents.iter().copied().skip(phase).step_by(usize::from(count)).collect();
            let excess = strong.iter().sum::<f64>() / strong.len().max(1) as f64 - mean;
            if excess * favour > best.2 {
                best = (count, phase, excess * favour);
            }
        }
    }
    (best.0, best.1)
}

impl Beats {
    /// Position of a moment in beats, the first beat being 0; linear between beats and beyond them.
    #[allow(clippy::cast_precision_loss)] // a count of beats
    pub(super) fn position(&self, time: f64) -> f64 {
        let after = self.times.partition_point(|&beat| beat <= time);
        let index = after.saturating_sub(1).min(self.times.len().saturating_sub(2));
        let (Some(&here), Some(&next)) = (self.times.get(index), self.times.get(index + 1)) else { return 0.0 };
        index as f64 + (time - here) / (next - here).max(0.01)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A performance whose period swings between 0.45 and 0.6 s, with an onset on each beat and weaker ones between.
    #[test]
    fn follows_rubato() {
        let (mut time, mut beats, mut onsets) = (1.0, Vec::new(), Vec::new());
        for beat in 0..120 {
            let period = 0.525 + 0.075 * (f64::from(beat) / 9.0).sin();
            beats.push(time);
            onsets.push(Onset { time, weight: if beat % 3 == 0 { 2.0 } else { 1.2 } });
            if beat % 2 == 0 {
                onsets.push(Onset { time: time + period / 2.0, weight: 0.5 });
            }
            time += period;
        }
        let found = find(&onsets, None).unwrap();
        let hits = beats.iter().filter(|b| found.times.iter().any(|f| (f - **b).abs() < 0.03)).count();
        assert!(hits >= 116, "{hits} of 120 beats");
        assert!((118..=122).contains(&found.times.len()), "{} beats", found.times.len());
        assert_eq!((found.to_the_bar, found.first_downbeat), (3, 0));
    }
}
