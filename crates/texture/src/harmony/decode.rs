//! The most likely course of keys and chords, found jointly.
//!
//! A state is a chord in a key. What a unit sounds like speaks for chords, what its surroundings sound like for keys; that the chord is usual in the
//! key, follows the one before as usual, and that neither changes without need, ties them together. The search is exact but for one economy:
//! a chord can be entered only in a unit where it is among the likeliest.

use super::model::{CHORDS, HarmonyModel, KEYS, QUALITIES};
use super::units::Units;

/// Chords that can be entered in a unit.
const ENTERED: usize = 16;
/// Chords that can be left, in each key.
const LEFT: usize = 8;

/// Chord and key of a unit, as in the model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct State {
    pub chord: usize,
    pub key: usize,
}

/// `chords[unit * CHORDS + chord]` and `keys[unit * KEYS + key]` are logarithms of probabilities.
pub(super) struct Evidence {
    pub chords: Vec<f32>,
    pub keys: Vec<f32>,
}

/// The best state of each unit.
pub(super) fn decode(model: &HarmonyModel, units: &Units, evidence: &Evidence) -> Vec<State> {
    if units.len() == 0 {
        return Vec::new();
    }
    let knobs = &model.knobs;
    // How usual each chord is in each key, less nothing: `usual[key * CHORDS + chord]`.
    let usual: Vec<f32> = (0..KEYS * CHORDS)
        .map(|state| {
            let (key, chord) = (state / CHORDS, state % CHORDS);
            knobs.context_weight * model.usual[key % 2 * CHORDS + from_tonic(chord, key)]
        })
        .collect();
    let mut score = vec![0f32; KEYS * CHORDS];
    let mut entered = vec![0u16; units.len() * ENTERED];
    let mut back = vec![0u16; units.len() * ENTERED * KEYS];
    let mut left: Vec<(f32, u16)> = Vec::with_capacity(CHORDS);
    let mut arrive = vec![(f32::NEG_INFINITY, 0u16); ENTERED * KEYS];
    for unit in 0..units.len() {
        let chords = &evidence.chords[unit * CHORDS..(unit + 1) * CHORDS];
        let keys = &evidence.keys[unit * KEYS..(unit + 1) * KEYS];
        let likely = likeliest(chords);
        entered[unit * ENTERED..(unit + 1) * ENTERED].copy_from_slice(&likely);
        if unit > 0 {
            let here = units.units[unit];
            let charge = knobs.chord_change + if here.beat { 0.0 } else { knobs.off_beat };
            let best: Vec<(f32, u16)> = (0..KEYS).map(|key| best_of(&score[key * CHORDS..(key + 1) * CHORDS])).collect();
            for key in 0..KEYS {
                let from = &score[key * CHORDS..(key + 1) * CHORDS];
                left.clear();
                // The step between chords is worth at most the charge and the table's span; far behind cannot win.
                left.extend((0u16..).zip(from).filter(|(_, s)| **s > best[key].0 - 12.0).map(|(chord, &s)| (s, chord)));
                if left.len() > LEFT {
                    left.select_nth_unstable_by(LEFT - 1, |a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
                    left.truncate(LEFT);
                }
                // From another key: its best chord, whichever it is.
                let mut other = (f32::NEG_INFINITY, 0u16);
                for (before, &(s, chord)) in best.iter().enumerate() {
                    let step = model.keys[before % 2 * KEYS + (key / 2 + 12 - before / 2) % 12 * 2 + key % 2];
                    let s = s + step - knobs.key_change;
                    if before != key && s > other.0 {
                        other = (s, state(before, usize::from(chord)));
                    }
                }
                let table = &model.after[key % 2 * CHORDS * CHORDS..][..CHORDS * CHORDS];
                for (slot, &chord) in likely.iter().enumerate() {
                    let chord = usize::from(chord);
                    let to = from_tonic(chord, key);
                    let mut top = (from[chord], state(key, chord));
                    for &(s, before) in &left {
                        let step = table[from_tonic(usize::from(before), key) * CHORDS + to];
                        let s = s + knobs.after_weight * step - charge;
                        if usize::from(before) != chord && s > top.0 {
                            top = (s, state(key, usize::from(before)));
                        }
                    }
                    let s = other.0 - charge + knobs.after_weight * model.usual[key % 2 * CHORDS + to];
                    if s > top.0 {
                        top = (s, other.1);
                    }
                    arrive[slot * KEYS + key] = top;
                }
            }
            for (slot, &chord) in likely.iter().enumerate() {
                for key in 0..KEYS {
                    let (s, from) = arrive[slot * KEYS + key];
                    score[key * CHORDS + usize::from(chord)] = s;
                    back[(unit * ENTERED + slot) * KEYS + key] = from;
                }
            }
        }
        if !units.is_silent(unit) {
            for (key, scores) in score.chunks_exact_mut(CHORDS).enumerate() {
                let lean = knobs.key_weight * keys[key];
                let usual = &usual[key * CHORDS..(key + 1) * CHORDS];
                for ((score, &chord), &usual) in scores.iter_mut().zip(chords).zip(usual) {
                    *score += knobs.chord_weight * chord + lean + usual;
                }
            }
        }
        // Kept near zero, so that a long piece loses no precision.
        let top = highest(&score);
        score.iter_mut().for_each(|score| *score -= top);
    }
    let mut at = best_of(&score).1;
    let mut path = Vec::with_capacity(units.len());
    for unit in (0..units.len()).rev() {
        let (key, chord) = (usize::from(at) / CHORDS, usize::from(at) % CHORDS);
        path.push(State { chord, key });
        let slots = &entered[unit * ENTERED..(unit + 1) * ENTERED];
        if unit > 0
            && let Some(slot) = slots.iter().position(|&other| usize::from(other) == chord)
        {
            at = back[(unit * ENTERED + slot) * KEYS + key];
        }
    }
    path.reverse();
    path
}

/// The chord with its root counted from the tonic.
pub(super) const fn from_tonic(chord: usize, key: usize) -> usize {
    (chord / QUALITIES + 12 - key / 2) % 12 * QUALITIES + chord % QUALITIES
}

fn state(key: usize, chord: usize) -> u16 {
    u16::try_from(key * CHORDS + chord).unwrap_or(0)
}

/// The best score and the first place that has it.
fn best_of(scores: &[f32]) -> (f32, u16) {
    let best = highest(scores);
    (best, (0u16..).zip(scores).find(|&(_, &score)| score >= best).map_or(0, |(place, _)| place))
}

/// The highest of the scores: eight running ones at a time, which is what the processor does best.
fn highest(scores: &[f32]) -> f32 {
    let mut lanes = [f32::NEG_INFINITY; 8];
    let mut eights = scores.chunks_exact(8);
    for eight in eights.by_ref() {
        lanes.iter_mut().zip(eight).for_each(|(lane, &score)| *lane = if score > *lane { score } else { *lane });
    }
    lanes.iter().chain(eights.remainder()).copied().fold(f32::NEG_INFINITY, f32::max)
}

fn likeliest(chords: &[f32]) -> [u16; ENTERED] {
    let mut order: Vec<u16> = (0u16..).zip(chords).map(|(chord, _)| chord).collect();
    order.select_nth_unstable_by(ENTERED - 1, |&a, &b| chords[usize::from(b)].total_cmp(&chords[usize::from(a)]).then(a.cmp(&b)));
    let mut top = [0; ENTERED];
    top.copy_from_slice(&order[..ENTERED]);
    top.sort_unstable();
    top
}
