//! Chord voicings for a body of voices: dynamic programming over candidate voicings, slice by slice.
//!
//! Voices are ordered from the top down and never cross. A slice is a stretch in which the chord strand does not change. What a
//! voicing costs by itself and what a step from one to the next costs is in `cost`; the path of least total cost is found exactly among
//! the candidates, and the candidates are all voicings unless there are more than [`Search::candidates`] of them: then the cheapest
//! by themselves are kept and the answer says that it is bounded.

mod cost;

use ripieno_score::{Crotchets, Pitch};

use crate::lineup::Reach;

pub use cost::{Weights, standing_cost, step_cost};
pub(crate) use cost::{hanging, most_on};

/// One voice of a choir, from the top down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Voice {
    /// What the player can be asked for.
    pub reach: Reach,
    /// Where the voice should lie, as a key.
    pub target: i32,
    /// How many players have it.
    pub players: usize,
}

/// A stretch in which the chord does not change.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Slice {
    /// When it begins.
    pub from: Crotchets,
    /// When it ends.
    pub to: Crotchets,
    /// Pitch classes that may be used, as bits.
    pub allowed: u16,
    /// Pitch classes no other line has, which the choir has to sound.
    pub required: u16,
    /// Of these the ones that no choir beside this has either.
    pub alone: u16,
    /// Pitch classes that want to be in the choir although another line has them.
    pub wanted: u16,
    /// Pitch classes not to be doubled: leading notes and sevenths.
    pub tendency: u16,
    /// The leading note, which wants to rise by a semitone.
    pub leading: u16,
    /// The seventh, which wants to fall by a step.
    pub seventh: u16,
    /// Of these two what another body of voices has already.
    pub doubled: u16,
    /// The third of the chord, doubled with restraint.
    pub third: u16,
    /// The fifth of the chord, the first to be left out.
    pub fifth: u16,
    /// Pitch classes attacked here; others are held.
    pub attacked: u16,
    /// Pitch classes of repeated notes that go on within a beat: whoever has one keeps it.
    pub kept: u16,
    /// Key of the melody, if one sounds.
    pub above: Option<i32>,
    /// Key of the bass line, if one sounds.
    pub below: Option<i32>,
    /// Keys of the independent lines besides the choir, in a fixed order; `None` where one rests.
    pub lines: Vec<Option<i32>>,
    /// Keys of the same lines just before the slice ends.
    pub lines_end: Vec<Option<i32>>,
    /// Keys that are set for voices by a lock.
    pub fixed: Vec<Option<i32>>,
    /// For each voice the keys between which it has to stay, lest it cross a line in its own section.
    pub between: Vec<(Option<i32>, Option<i32>)>,
    /// How the pitch classes are spelled, by class.
    pub names: [Option<(ripieno_score::Step, i8)>; 12],
}

impl Slice {
    /// The spelled pitch of a key.
    #[must_use]
    pub fn pitch(&self, key: i32) -> Pitch {
        spelled(&self.names, key)
    }
}

/// A key spelled as its class is named; as keyboards label it where it has no name.
pub(crate) fn spelled(names: &[Option<(ripieno_score::Step, i8)>; 12], key: i32) -> Pitch {
    let class = usize::try_from(key.rem_euclid(12)).unwrap_or(0);
    let plain = || {
        ripieno_score::MidiKey::try_from(key.clamp(0, 127))
            .map_or(Pitch::new(ripieno_score::Step::C, 0, 4), ripieno_score::MidiKey::pitch)
    };
    names[class].map_or_else(plain, |(step, alter)| {
        let octave = (key - step.semitones() - i32::from(alter)).div_euclid(12) - 1;
        Pitch::new(step, alter, i8::try_from(octave).unwrap_or(4))
    })
}

/// How far to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    /// Most candidates for a slice.
    pub candidates: usize,
    /// Semitones a voice may lie from its target; beyond it only where nothing else is left.
    pub window: i32,
    /// Seed: proposals other than the first shake the costs a little by it; 0 does not.
    pub seed: u64,
}

impl Default for Search {
    fn default() -> Self {
        Self { candidates: 400, window: 19, seed: 0 }
    }
}

/// The voicings found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Voiced {
    /// For each slice the keys of the voices from the top down; empty where no voicing is possible.
    pub keys: Vec<Vec<i32>>,
    /// Total cost.
    pub cost: f64,
    /// Whether every voicing was a candidate in every slice, so that no cheaper path exists.
    pub exact: bool,
}

/// A cheap reproducible number in 0..1 from a seed and two places.
fn shake(seed: u64, a: u64, b: u64) -> f64 {
    let mut x = seed ^ a.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ b.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x ^= x >> 30;
    x = x.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x ^= x >> 27;
    x = x.wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^= x >> 31;
    #[allow(clippy::cast_precision_loss)] // 53 bits
    let unit = (x >> 11) as f64 / (1u64 << 53) as f64;
    unit
}

/// Finds the cheapest path. `before` are the keys the voices have before the first slice, where they are known, and `after` those after the last, where the surroundings are settled.
#[must_use]
pub fn voice(
    slices: &[Slice],
    voices: &[Voice],
    before: Option<(&Slice, &[Option<i32>])>,
    after: Option<&[i32]>,
    weights: &Weights,
    search: &Search,
) -> Voiced {
    let mut exact = true;
    let mut layers: Vec<Vec<(f64, Vec<i32>)>> = Vec::with_capacity(slices.len());
    for (place, slice) in slices.iter().enumerate() {
        let (mut found, whole) = candidates(slice, voices, weights, search);
        exact &= whole;
        if search.seed != 0 {
            for (cost, keys) in &mut found {
                let code =
                    keys.iter().fold(0u64, |code, &key| code.wrapping_mul(131).wrapping_add(u64::try_from(key).unwrap_or(0)));
                *cost += weights.shake * shake(search.seed, code, u64::try_from(place / 8).unwrap_or(0));
            }
        }
        layers.push(found);
    }
    // Cheapest way to each candidate, and from where.
    let mut costs: Vec<Vec<(f64, usize)>> = Vec::with_capacity(slices.len());
    let mut last: Option<usize> = None;
    for (place, layer) in layers.iter().enumerate() {
        let here: Vec<(f64, usize)> = match last {
            _ if layer.is_empty() => Vec::new(),
            None => layer
                .iter()
                .map(|(cost, keys)| {
                    let step = before.filter(|before| before.1.len() == keys.len()).map_or(0.0, |(from, known)| {
                        let both = known.iter().zip(keys).filter_map(|(before, key)| Some(((*before)?, *key)));
                        let (a, b): (Vec<i32>, Vec<i32>) = both.unzip();
                        step_cost(Some(from), &slices[place], &a, &b, weights)
                    });
                    (cost + step, usize::MAX)
                })
                .collect(),
            Some(from) => {
                let mut order: Vec<usize> = (0..layers[from].len()).collect();
                order.sort_by(|&a, &b| costs[from][a].0.total_cmp(&costs[from][b].0).then(a.cmp(&b)));
                let cheapest = |(cost, keys): &(f64, Vec<i32>)| {
                    let mut best = (f64::INFINITY, usize::MAX);
                    for &earlier in &order {
                        let so_far = costs[from][earlier].0;
                        // Steps cost nothing or more, so no later one can be better.
                        if so_far >= best.0 {
                            break;
                        }
                        let step = step_cost(Some(&slices[from]), &slices[place], &layers[from][earlier].1, keys, weights);
                        if so_far + step < best.0 {
                            best = (so_far + step, earlier);
                        }
                    }
                    (best.0 + cost, best.1)
                };
                layer.iter().map(cheapest).collect()
            }
        };
        if !layer.is_empty() {
            last = Some(place);
        }
        costs.push(here);
    }
    let mut keys = vec![Vec::new(); slices.len()];
    let Some(end) = last else { return Voiced { keys, cost: 0.0, exact: slices.is_empty() } };
    let closing = |at: usize| {
        let keys = &layers[end][at].1;
        let step = after.map_or(0.0, |after| {
            if after.len() == keys.len() { step_cost(Some(&slices[end]), &slices[end], keys, after, weights) } else { 0.0 }
        });
        costs[end][at].0 + step
    };
    let best = (0..layers[end].len()).min_by(|&a, &b| closing(a).total_cmp(&closing(b)).then(a.cmp(&b)));
    let mut at = best.unwrap_or(0);
    let cost = closing(at);
    for place in (0..=end).rev() {
        if layers[place].is_empty() {
            exact = false;
            continue;
        }
        keys[place].clone_from(&layers[place][at].1);
        at = costs[place][at].1;
    }
    Voiced { keys, cost, exact }
}

/// All voicings of a slice with what each costs by itself, the cheapest first; `false` where not all were kept.
fn candidates(slice: &Slice, voices: &[Voice], weights: &Weights, search: &Search) -> (Vec<(f64, Vec<i32>)>, bool) {
    let mut whole = true;
    for window in [search.window, 127] {
        let mut partial: Vec<(f64, Vec<i32>)> = vec![(0.0, Vec::new())];
        for (place, voice) in voices.iter().enumerate() {
            let mut next = Vec::new();
            for (_, keys) in &partial {
                let top = keys.last().copied().unwrap_or(127);
                let fixed = slice.fixed.get(place).copied().flatten();
                let (low, high) = (i32::from(voice.reach.possible.low()), i32::from(voice.reach.possible.high()).min(top));
                for key in fixed.map_or(low..=high, |key| key..=key) {
                    let far = (key - voice.target).abs() > window;
                    let foreign = slice.allowed >> key.rem_euclid(12) & 1 == 0;
                    if fixed.is_none() && (far || foreign) {
                        continue;
                    }
                    let mut longer = keys.clone();
                    longer.push(key);
                    next.push((cost::partial_cost(slice, voices, &longer, weights), longer));
                }
            }
            // A beam wide enough that it is seldom felt.
            let most = search.candidates.saturating_mul(12);
            if next.len() > most {
                whole = false;
                next.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
                next.truncate(most);
            }
            partial = next;
        }
        let mut found: Vec<(f64, Vec<i32>)> = partial
            .into_iter()
            .map(|(_, keys)| (standing_cost(slice, voices, &keys, weights), keys))
            .filter(|(cost, _)| cost.is_finite())
            .collect();
        if found.is_empty() {
            continue;
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
        if found.len() > search.candidates {
            whole = false;
            found.truncate(search.candidates);
        }
        // Voicings beyond the window are no candidates either: the window is part of what is asked.
        return (found, whole);
    }
    (Vec::new(), false)
}

#[cfg(test)]
mod tests;
