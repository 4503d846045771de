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
const LONGEST: f64 = 1800.0;
/// Seconds to the onset, on average, beyond which no beats can be told; so the work grows with the notes.
const SPARSEST: f64 = 4.0;
/// Spread of onsets around a beat, in frames.
const SPREAD: f64 = 2.5;
/// The preferred period, in frames, and how wide the preference is, in octaves.
const PREFERRED: (f64, f64) = (55.0, 0.9);
const PREFERENCE: f64 = 0.4;
/// Cost of a change of period, for its squared logarithm.
const RIGIDITY: f64 = 150.0;
/// Largest change from beat to beat.
const MOST_CHANGE: f64 = 0.08;

/// Finds beats in onsets ordered by time; `None` when there are too few, or they last too long or lie too far apart.
pub(super) fn find(onsets: &[Onset], to_the_bar: Option<u8>) -> Option<Beats> {
    let (first, last) = (onsets.first()?.time, onsets.last()?.time);
    #[allow(clippy::cast_precision_loss)] // a count of onsets
    let longest = LONGEST.min(SPARSEST * onsets.len() as f64);
    if onsets.len() < 8 || last - first < 3.0 || last - first > longest {
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
    let bell: [f64; 2 * REACH + 1] = std::array::from_fn(|place| {
        let distance = (place as f64 - REACH as f64) / SPREAD;
        (-distance * distance / 2.0).exp()
    });
    // Room for the bell to reach over both ends.
    let mut salience = vec![0.0; length + 2 * REACH];
    for onset in onsets {
        let reached = salience.get_mut(frame(onset.time - first)..).unwrap_or_default();
        reached.iter_mut().zip(bell).for_each(|(slot, share)| *slot += onset.weight * share);
    }
    salience.drain(..REACH);
    salience.truncate(length);
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

/// One number for each period.
type Row<T> = [T; COUNT];

/// Costs of coming to each period from the one so many frames longer or shorter.
struct Step {
    /// Index of the first period that may be come to, and of the one before it.
    to: usize,
    from: usize,
    costs: Vec<f32>,
}

/// Every change of period that is allowed, by its number of frames.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // periods; costs need no more
fn steps() -> Vec<Step> {
    let cost = |from: usize, to: usize| {
        let (from, to) = ((PERIODS.0 + from) as f64, (PERIODS.0 + to) as f64);
        let change = (to / from).ln();
        (change.abs() <= MOST_CHANGE).then_some((RIGIDITY * change * change * to / RATE) as f32)
    };
    let mut steps = Vec::new();
    for by in 0..COUNT {
        for (from, to) in [(0, by), (by, 0)] {
            // Longer periods may change by more frames: those that may are the last ones.
            let pairs = (0..COUNT - by).map(|index| (from + index, to + index));
            let allowed: Vec<(usize, usize, f32)> = pairs.filter_map(|(a, b)| Some((a, b, cost(a, b)?))).collect();
            if let Some(&(from, to, _)) = allowed.first() {
                steps.push(Step { to, from, costs: allowed.iter().map(|&(.., cost)| cost).collect() });
            }
            if by == 0 {
                break;
            }
        }
    }
    steps
}

/// From the scores of beats on one frame, how good it is to go on from there in each period, and from which period before.
fn go_on(scores: &Row<f32>, steps: &[Step]) -> (Row<f32>, Row<u8>) {
    let mut best = [f32::NEG_INFINITY; COUNT];
    // As wide as the scores, so that both are chosen alike.
    let mut before = [0u32; COUNT];
    for step in steps {
        let (best, before) = (best.get_mut(step.to..), before.get_mut(step.to..));
        let own = scores.get(step.from..).unwrap_or_default();
        let first = u32::try_from(step.from).unwrap_or(0);
        let slots = best.unwrap_or_default().iter_mut().zip(before.unwrap_or_default());
        for (((best, before), (score, cost)), from) in slots.zip(own.iter().zip(&step.costs)).zip(first..) {
            let total = score - cost;
            let better = total > *best;
            *best = if better { total } else { *best };
            *before = if better { from } else { *before };
        }
    }
    (best, before.map(|place| u8::try_from(place).unwrap_or(0)))
}

/// The frames of the best succession of beats.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // periods; scores need no more
fn track(salience: &[f64]) -> Vec<usize> {
    let weight: Row<f32> = std::array::from_fn(|index| ((PERIODS.0 + index) as f64 / RATE) as f32);
    let liking: Row<f32> = std::array::from_fn(|index| {
        let octaves = ((PERIODS.0 + index) as f64 / PREFERRED.0).log2() / PREFERRED.1;
        (-PREFERENCE * octaves * octaves) as f32
    });
    let steps = steps();
    // What is come to on the next frames, in turn: nothing before the first beat.
    let mut coming = vec![[0.0f32; COUNT]; PERIODS.1 + 1];
    let turns = coming.len();
    let mut links: Vec<Row<u8>> = Vec::with_capacity(salience.len());
    let mut best_end = (0, 0, f32::NEG_INFINITY);
    for (now, &value) in salience.iter().enumerate() {
        let Some(row) = coming.get_mut(now % turns) else { break };
        let mut scores = std::mem::replace(row, [0.0; COUNT]);
        let value = value as f32;
        for ((score, weight), liking) in scores.iter_mut().zip(&weight).zip(&liking) {
            *score += (value + liking) * weight;
        }
        if now + PERIODS.1 >= salience.len() {
            for (index, &score) in scores.iter().enumerate() {
                if now + PERIODS.0 + index >= salience.len() && score > best_end.2 {
                    best_end = (now, index, score);
                }
            }
        }
        let (best, before) = go_on(&scores, &steps);
        links.push(before);
        let mut turn = (now + PERIODS.0) % turns;
        for (index, best) in best.into_iter().enumerate() {
            if let Some(slot) = coming.get_mut(turn).and_then(|row| row.get_mut(index)) {
                *slot = best;
            }
            turn = if turn + 1 == turns { 0 } else { turn + 1 };
        }
    }
    let (mut now, mut index, _) = best_end;
    let mut beats = vec![now];
    while let Some(then) = now.checked_sub(PERIODS.0 + index) {
        index = links.get(then).and_then(|row| row.get(index)).map_or(index, |&before| usize::from(before));
        now = then;
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
