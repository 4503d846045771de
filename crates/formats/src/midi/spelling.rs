//! Which key the music is in, moment by moment, and so how each pitch is spelled.
//!
//! A MIDI key has no spelling. Local keys are found by dynamic programming over moments of a crotchet: each key scores
//! by how well the sounding pitch classes match its profile, and changing key costs (D. Temperley, "What's Key for
//! Key? The Krumhansl-Schmuckler Key-Finding Algorithm Reconsidered", Music Perception 17, 1999). Keys lie on the line
//! of fifths rather than a circle, so that a modulation through E flat minor does not come out in D sharp (D. Temperley,
//! The Cognition of Basic Musical Structures, MIT Press 2001, ch. 5). Within a key, pitches take the
//! harmonic chromatic scale on its tonic: lowered second, third, sixth and seventh, raised fourth (H. C.
//! Longuet-Higgins, "The Perception of Melodies", Nature 263, 1976).

use ripieno_score::{Pitch, Step};

/// Share of each scale degree in major and minor, in semitones above the tonic.
/// J. Albrecht and D. Shanahan, "The Use of Large Corpora to Train a New Type of Key-Finding Algorithm", Music
/// Perception 31 (2013), key profiles.
const PROFILES: [[f32; 12]; 2] = [
    [0.238, 0.006, 0.111, 0.006, 0.137, 0.094, 0.016, 0.214, 0.009, 0.080, 0.008, 0.081],
    [0.220, 0.006, 0.104, 0.123, 0.019, 0.103, 0.012, 0.214, 0.062, 0.022, 0.061, 0.052],
];

/// Steps along the line of fifths from the tonic to each semitone above it.
const CHROMATIC: [i8; 12] = [0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5];

/// Tonics considered, as steps along the line of fifths from C: F double flat to G double sharp.
const FIRST_TONIC: i8 = -9;
const TONICS: usize = 23;
/// Padded so that the inner loop is a whole number of vectors.
const STATES: usize = 48;

// Costs in units of log-likelihood; fitted on the spelling of 49 printed orchestral movements, where 98 % of the
// notes then agree. The result is flat around these values.
const ANY_CHANGE: f32 = 0.5;
const CHANGE_OF_MODE: f32 = 0.5;
const STEP_OF_FIFTHS: f32 = 0.7;
const PARALLEL_STEPS: i8 = 2;
/// Signatures beyond this many accidentals cost, each moment and accidental: players read G flat rather than F sharp
/// with seven sharps, and nobody reads ten.
const EASY_SIGNATURE: i8 = 6;
const HARD_SIGNATURE: f32 = 0.1;
/// Cost, each moment, for every step of fifths away from the printed signature.
const STRAYING: f32 = 0.05;
/// How strongly the first moment is tied to a known signature, for each step of fifths away from it.
const ANCHOR: f32 = 1.4;

/// Longest reach of a held note, in moments; a pedal point says little about the key.
const HELD_MOMENTS: u32 = 16;
const MOST_MOMENTS: u32 = 1 << 17;

/// A key at a moment: tonic on the line of fifths from C, and mode.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LocalKey {
    tonic: i8,
    minor: bool,
}

impl LocalKey {
    /// Sharps (positive) or flats of its signature.
    pub(super) const fn fifths(self) -> i8 {
        if self.minor { self.tonic - 3 } else { self.tonic }
    }

    /// Whether it is a minor key.
    pub(super) const fn is_minor(self) -> bool {
        self.minor
    }

    /// Place on the line of fifths (C is 0, G 1, F -1) of a MIDI key in this key.
    const fn line_of_fifths(self, key: u8) -> i8 {
        let tonic = (7 * self.tonic as i32).rem_euclid(12);
        let above = (key as i32 - tonic).rem_euclid(12);
        self.tonic + CHROMATIC[above as usize]
    }

    fn of_state(state: usize) -> Self {
        let state = state.min(TONICS * 2 - 1);
        let tonic = i8::try_from(state / 2).unwrap_or(0) + FIRST_TONIC;
        Self { tonic, minor: state % 2 == 1 }
    }
}

/// Keys moment by moment.
#[derive(Debug)]
pub(super) struct Spelling {
    moment: u32,
    keys: Vec<LocalKey>,
    /// MIDI keys 0 to 11 as spelled in the key of each tonic.
    names: [[Pitch; 12]; TONICS],
}

impl Spelling {
    /// The key in force at `tick`.
    pub(super) fn key_at(&self, tick: u32) -> LocalKey {
        let index = (tick / self.moment) as usize;
        let last = LocalKey { tonic: 0, minor: false };
        self.keys.get(index).or(self.keys.last()).copied().unwrap_or(last)
    }

    /// A MIDI key struck at `tick`, spelled.
    pub(super) fn pitch(&self, key: u8, tick: u32) -> Pitch {
        let names = &self.names[usize::from(self.key_at(tick).tonic.abs_diff(FIRST_TONIC)).min(TONICS - 1)];
        let lowest = names[usize::from(key % 12)];
        Pitch { octave: lowest.octave + (key / 12).cast_signed(), ..lowest }
    }

    /// The key signatures the music could be printed with: sections whose local keys lie around one signature, by dynamic
    /// programming with a price for each change. Tick, and the key the section is mostly in.
    pub(super) fn signatures(&self) -> Vec<(u32, LocalKey)> {
        /// Signatures of up to seven accidentals.
        const COUNT: usize = 15;
        /// Price of a change, in moments spent in a key one accidental away.
        const CHANGE: u32 = 240;
        /// Keys further away than this cost no more: distant modulations are passing ones.
        const FAR: u8 = 3;
        let costs = |key: LocalKey| {
            let mut costs = [0u32; COUNT];
            for (fifths, cost) in (-7i8..).zip(&mut costs) {
                *cost = u32::from(fifths.abs_diff(key.fifths()).min(FAR));
            }
            costs
        };
        let mut total = [0u32; COUNT];
        let mut from: Vec<[u8; COUNT]> = Vec::with_capacity(self.keys.len());
        for &key in &self.keys {
            let cheapest = total.iter().enumerate().min_by_key(|(_, total)| **total).map_or(0, |(index, _)| index);
            let changed = total.get(cheapest).copied().unwrap_or(0).saturating_add(CHANGE);
            let mut links = [0u8; COUNT];
            for (state, ((total, link), cost)) in (0u8..).zip(total.iter_mut().zip(&mut links).zip(costs(key))) {
                *link = state;
                if *total > changed {
                    *total = changed;
                    *link = u8::try_from(cheapest).unwrap_or(state);
                }
                *total = total.saturating_add(cost);
            }
            from.push(links);
        }
        let mut state = total.iter().enumerate().min_by_key(|(_, total)| **total).map_or(7, |(index, _)| index);
        let mut states: Vec<usize> = Vec::with_capacity(from.len());
        for links in from.iter().rev() {
            states.push(state);
            state = links.get(state).map_or(state, |&link| usize::from(link));
        }
        states.reverse();
        let mut sections = Vec::new();
        let mut first = 0;
        for section in states.chunk_by(|a, b| a == b) {
            let own = self.keys.get(first..first + section.len()).unwrap_or_default();
            let fifths = i8::try_from(section.first().copied().unwrap_or(7)).unwrap_or(7) - 7;
            let minor = own.iter().filter(|key| key.fifths() == fifths && key.minor).count();
            let major = own.iter().filter(|key| key.fifths() == fifths && !key.minor).count();
            let minor = minor > major;
            let tonic = if minor { fifths + 3 } else { fifths };
            let tick = u32::try_from(first).unwrap_or(u32::MAX).saturating_mul(self.moment);
            sections.push((tick, LocalKey { tonic, minor }));
            first += section.len();
        }
        sections
    }

    /// Finds the keys. `sounding` gives onset, end (ticks) and MIDI key of every pitched note, in any order;
    /// `signatures` the printed ones from a tick on, where known.
    pub(super) fn find(
        sounding: impl Iterator<Item = (u32, u32, u8)>,
        end: u32,
        per_crotchet: u32,
        signatures: &[(u32, i8)],
    ) -> Self {
        let mut moment = per_crotchet.max(1);
        while end / moment >= MOST_MOMENTS {
            moment *= 2;
        }
        let count = (end / moment + 1) as usize;
        let mut classes = vec![0u16; count];
        for (on, off, key) in sounding {
            let first = on / moment;
            let last = (off.max(on + 1) - 1) / moment;
            let bit = 1 << (key % 12);
            let reach = first as usize..=(last.min(first + HELD_MOMENTS) as usize).min(count - 1);
            for class in classes.get_mut(reach).unwrap_or_default() {
                *class |= bit;
            }
        }
        let printed = |index: u32| {
            let after = signatures.partition_point(|&(at, _)| at <= index.saturating_mul(moment));
            after.checked_sub(1).and_then(|before| signatures.get(before)).map(|&(_, fifths)| fifths)
        };
        let moments: Vec<(u16, Option<i8>)> = (0u32..).zip(classes).map(|(index, classes)| (classes, printed(index))).collect();
        Self { moment, keys: most_likely(&moments), names: names() }
    }
}

/// Viterbi's algorithm over the keys.
fn most_likely(moments: &[(u16, Option<i8>)]) -> Vec<LocalKey> {
    let changes = changes();
    let fits = fits();
    let hard = hard_signatures();
    let loyal = loyalties();
    let mut links = vec![[0u8; STATES]; moments.len()];
    let mut now = [f32::NEG_INFINITY; STATES];
    for (state, score) in now.iter_mut().enumerate().take(TONICS * 2) {
        let fifths = LocalKey::of_state(state).fifths();
        let signature = moments.first().and_then(|moment| moment.1);
        *score = signature.map_or(-hard[state], |known| -ANCHOR * f32::from((fifths - known).abs()));
    }
    let staying: [u8; STATES] = std::array::from_fn(|state| u8::try_from(state).unwrap_or(0));
    let mut signature = None;
    let mut standing = hard;
    for (moment, (&(classes, printed), links)) in moments.iter().zip(&mut links).enumerate() {
        if classes == 0 {
            // Nothing changes in silence that could not change after it.
            *links = staying;
            continue;
        }
        if moment > 0 {
            now = after_a_change(&now, &changes, links);
        }
        if printed != signature {
            signature = printed;
            let loyalty = printed.and_then(|fifths| loyal.get(usize::try_from(fifths + 7).ok()?));
            standing = loyalty.map_or(hard, |loyalty| std::array::from_fn(|state| hard[state] + loyalty[state]));
        }
        let mut left = classes;
        while left != 0 {
            let fit = &fits[(left.trailing_zeros() as usize).min(11)];
            now.iter_mut().zip(fit).for_each(|(score, fit)| *score += fit);
            left &= left - 1;
        }
        now.iter_mut().zip(&standing).for_each(|(score, cost)| *score -= cost);
    }
    let mut state = place_of_greatest(&now).0;
    let mut keys: Vec<LocalKey> = Vec::with_capacity(links.len());
    for links in links.iter().rev() {
        keys.push(LocalKey::of_state(state));
        state = usize::from(links[state.min(STATES - 1)]);
    }
    keys.reverse();
    keys
}

/// The best score of each key, coming from any, and in `links` from which. A key that is better reached from another is no
/// place to come from: costs obey the triangle inequality, so nearly all keys can be passed over.
fn after_a_change(before: &[f32; STATES], changes: &[[f32; STATES]], links: &mut [u8; STATES]) -> [f32; STATES] {
    let (best, most) = place_of_greatest(before);
    let mut now = [f32::NEG_INFINITY; STATES];
    let Some(from_best) = changes.get(best) else { return now };
    now.iter_mut().zip(from_best).for_each(|(now, cost)| *now = most - cost);
    // As wide as the scores, so that both are chosen alike.
    let mut from = [u32::try_from(best).unwrap_or(0); STATES];
    for (state, (score, row)) in before.iter().zip(changes).enumerate() {
        if *score > now[state] {
            let state = u32::try_from(state).unwrap_or(0);
            for ((now, from), cost) in now.iter_mut().zip(&mut from).zip(row) {
                let coming = score - cost;
                let better = coming > *now;
                *now = if better { coming } else { *now };
                *from = if better { state } else { *from };
            }
        }
    }
    *links = from.map(|state| u8::try_from(state).unwrap_or(0));
    now
}

/// The greatest score and the first key that has it. Eight at a time, which the compiler does in one step.
fn place_of_greatest(scores: &[f32; STATES]) -> (usize, f32) {
    let mut lanes = [f32::NEG_INFINITY; 8];
    for eight in scores.chunks_exact(8) {
        for (lane, score) in lanes.iter_mut().zip(eight) {
            *lane = if *score > *lane { *score } else { *lane };
        }
    }
    let most = lanes.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    #[allow(clippy::float_cmp)] // the same value
    let place = scores.iter().position(|&score| score == most).unwrap_or(0);
    (place, most)
}

/// Cost of going from one key (row) to another.
fn changes() -> Vec<[f32; STATES]> {
    let mut table = vec![[f32::INFINITY; STATES]; STATES];
    for (from, row) in table.iter_mut().enumerate().take(TONICS * 2) {
        for (to, cost) in row.iter_mut().enumerate().take(TONICS * 2) {
            let (a, b) = (LocalKey::of_state(from), LocalKey::of_state(to));
            let steps = (a.fifths() - b.fifths()).abs().min(PARALLEL_STEPS + (a.tonic - b.tonic).abs());
            let mode = if a.minor == b.minor { 0.0 } else { CHANGE_OF_MODE };
            let any = if from == to { 0.0 } else { ANY_CHANGE };
            *cost = any + mode + STEP_OF_FIFTHS * f32::from(steps);
        }
    }
    table
}

/// How well each pitch class (row) fits each key, as log-likelihood.
fn fits() -> [[f32; STATES]; 12] {
    let mut table = [[f32::NEG_INFINITY; STATES]; 12];
    for (class, row) in (0i32..).zip(table.iter_mut()) {
        for (state, fit) in row.iter_mut().enumerate().take(TONICS * 2) {
            let key = LocalKey::of_state(state);
            let above = (class - 7 * i32::from(key.tonic)).rem_euclid(12);
            let [major, minor] = &PROFILES;
            let profile = if key.minor { minor } else { major };
            *fit = profile.get(usize::try_from(above).unwrap_or(0)).map_or(0.0, |share| share.ln());
        }
    }
    table
}

/// Cost of straying from each signature of -7 to 7.
fn loyalties() -> Vec<[f32; STATES]> {
    let costs = |fifths: i8| {
        let mut costs = [0.0; STATES];
        for (state, cost) in costs.iter_mut().enumerate().take(TONICS * 2) {
            *cost = STRAYING * f32::from(LocalKey::of_state(state).fifths().abs_diff(fifths));
        }
        costs
    };
    (-7..=7).map(costs).collect()
}

fn hard_signatures() -> [f32; STATES] {
    let mut costs = [0.0; STATES];
    for (state, cost) in costs.iter_mut().enumerate().take(TONICS * 2) {
        let beyond = (LocalKey::of_state(state).fifths().abs() - EASY_SIGNATURE).max(0);
        *cost = HARD_SIGNATURE * f32::from(beyond);
    }
    costs
}

/// The lowest twelve keys as they are spelled in the key of each tonic.
fn names() -> [[Pitch; 12]; TONICS] {
    std::array::from_fn(|tonic| {
        let key = LocalKey::of_state(tonic * 2);
        std::array::from_fn(|class| {
            let class = u8::try_from(class).unwrap_or(0);
            pitch_on_line(class, key.line_of_fifths(class))
        })
    })
}

/// A MIDI key with the name that stands at this place on the line of fifths; the place must be one of the key's.
fn pitch_on_line(key: u8, place: i8) -> Pitch {
    const STEPS: [Step; 7] = [Step::F, Step::C, Step::G, Step::D, Step::A, Step::E, Step::B];
    let above_f = i32::from(place) + 1;
    let alter = above_f.div_euclid(7);
    let step = STEPS.get(usize::try_from(above_f.rem_euclid(7)).unwrap_or(0)).copied().unwrap_or(Step::C);
    let octave = (i32::from(key) - alter - step.semitones()).div_euclid(12) - 1;
    let (alter, octave) = (i8::try_from(alter).unwrap_or(0), i8::try_from(octave).unwrap_or(0));
    Pitch::new(step, alter, octave)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_spelled_as_itself() {
        for state in 0..TONICS * 2 {
            for key in 0..128 {
                let pitch = pitch_on_line(key, LocalKey::of_state(state).line_of_fifths(key));
                assert_eq!(pitch.semitones(), i32::from(key), "{pitch} in state {state}");
            }
        }
    }

    #[test]
    fn changes_of_key_obey_the_triangle_inequality() {
        let costs = changes();
        let known = 0..TONICS * 2;
        for (from, by, to) in known.clone().flat_map(|a| known.clone().flat_map(move |b| (0..TONICS * 2).map(move |c| (a, b, c))))
        {
            assert!(costs[from][to] <= costs[from][by] + costs[by][to] + 1e-5, "{from} to {to} by {by}");
        }
    }

    fn spelled(keys: &[u8], signature: Option<i8>) -> String {
        let signatures: Vec<(u32, i8)> = signature.map(|fifths| (0, fifths)).into_iter().collect();
        let notes = (0u32..).zip(keys).map(|(i, &key)| (i * 24, i * 24 + 24, key));
        let end = u32::try_from(keys.len()).unwrap() * 24;
        let spelling = Spelling::find(notes, end, 24, &signatures);
        let names = (0u32..).zip(keys).map(|(i, &key)| spelling.pitch(key, i * 24).to_string());
        names.collect::<Vec<_>>().join(" ")
    }

    // Spellings of scales are matters of definition.
    #[test]
    fn scales() {
        assert_eq!(spelled(&[58, 60, 62, 63, 65, 67, 69, 70], None), "Bb3 C4 D4 Eb4 F4 G4 A4 Bb4");
        assert_eq!(spelled(&[64, 66, 68, 69, 71, 73, 75, 76], None), "E4 F#4 G#4 A4 B4 C#5 D#5 E5");
        assert_eq!(spelled(&[60, 62, 63, 65, 67, 68, 71, 72], None), "C4 D4 Eb4 F4 G4 Ab4 B4 C5");
        assert_eq!(spelled(&[61, 63, 65, 66, 68, 70, 72, 73], Some(-5)), "Db4 Eb4 F4 Gb4 Ab4 Bb4 C5 Db5");
        assert_eq!(spelled(&[61, 63, 65, 66, 68, 70, 72, 73], Some(7)), "C#4 D#4 E#4 F#4 G#4 A#4 B#4 C#5");
    }
}
