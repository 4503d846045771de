//! Whether notes stand on a metrical grid, and putting those that do not on one.
//!
//! A line whose onsets fall on simple divisions of the crotchet is notation: it is kept to the tick. A line that was played
//! in is fitted: beat by beat the division is chosen that describes the onsets in the fewest bits (their places on
//! the grid, their residuals, the division itself, and a change of division between beats), after the idea of A. T.
//! Cemgil, P. Desain and B. Kappen, "Rhythm Quantization for Transcription", Computer Music Journal 24 (2000).

use super::events::{Strike, StrikeKind};

/// Divisions of a crotchet that count as notation: halves and thirds, and those of rarer tuplets.
const PLAIN: [u32; 9] = [1, 2, 3, 4, 6, 8, 12, 24, 32];
const RARE: [u32; 4] = [5, 7, 9, 10];

/// Divisions tried when fitting, with the cost of choosing each (nats; common practice).
const DIVISIONS: [(u32, f64); 8] = [(1, 0.0), (2, 0.3), (3, 1.5), (4, 0.8), (6, 2.5), (8, 2.2), (12, 4.0), (16, 4.0)];
/// Fitted notes stand on multiples of this part of a crotchet: the common multiple of all divisions.
pub(super) const FITTED: u32 = 48;
/// Cost of going from two- to three-part division or back between neighbouring beats.
const CHANGE_OF_KIND: f64 = 1.0;
/// Cost when two onsets played apart fall on one point of the grid.
const COLLISION: f64 = 4.0;
/// Spread of playing assumed at first and the bounds of the measured one, in crotchets.
const SPREAD: (f64, f64, f64) = (0.06, 0.015, 0.08);

/// Which ticks within a crotchet are notation.
pub(super) struct Notation {
    /// Of each tick: whether it is on a plain division, and whether on any.
    ticks: Vec<(bool, bool)>,
}

impl Notation {
    pub(super) fn new(per_crotchet: u32) -> Self {
        let per_crotchet = per_crotchet.max(1);
        let mut ticks = vec![(false, false); per_crotchet as usize];
        for division in PLAIN.into_iter().chain(RARE) {
            for part in 0..division {
                // Where a division is no whole number of ticks, files round it either way.
                let exact = u64::from(part) * u64::from(per_crotchet);
                let below = u32::try_from(exact / u64::from(division)).unwrap_or(0);
                let above = below + u32::from(exact % u64::from(division) != 0);
                for tick in [below, above] {
                    if let Some((plain, any)) = ticks.get_mut((tick % per_crotchet) as usize) {
                        *plain |= PLAIN.contains(&division);
                        *any = true;
                    }
                }
            }
        }
        Self { ticks }
    }

    fn of(&self, tick: u32) -> (bool, bool) {
        let crotchet = u32::try_from(self.ticks.len()).unwrap_or(u32::MAX);
        self.ticks.get((tick % crotchet) as usize).copied().unwrap_or((true, true))
    }

    /// Whether an onset here is notation.
    pub(super) fn has_onset(&self, tick: u32) -> bool {
        self.of(tick).1
    }

    /// Whether an end here is: rare tuplets end only notes that began in one, elsewhere nine tenths of a crotchet are a
    /// crotchet cut short.
    pub(super) fn has_end(&self, strike: &Strike) -> bool {
        let (plain, any) = self.of(strike.off);
        plain || any && !self.of(strike.on).0
    }
}

/// How much of a line is notation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Share {
    pub(super) notes: u32,
    pub(super) onsets: u32,
    pub(super) ends: u32,
}

impl Share {
    /// Counts the played notes of a line.
    pub(super) fn of<'s>(strikes: impl Iterator<Item = &'s Strike>, notation: &Notation) -> Self {
        let mut share = Self::default();
        for strike in strikes.filter(|strike| strike.kind != StrikeKind::Hidden) {
            share.notes += 1;
            share.onsets += u32::from(notation.has_onset(strike.on));
            share.ends += u32::from(notation.has_end(strike));
        }
        share
    }

    pub(super) const fn plus(self, other: Self) -> Self {
        Self { notes: self.notes + other.notes, onsets: self.onsets + other.onsets, ends: self.ends + other.ends }
    }

    /// Whether the onsets are notation: at least nine in ten.
    pub(super) const fn has_notated_onsets(self) -> bool {
        self.onsets as u64 * 10 >= self.notes as u64 * 9
    }

    /// Whether the ends are notation: at least three in four (articulations end where they like).
    pub(super) const fn has_notated_ends(self) -> bool {
        self.ends as u64 * 4 >= self.notes as u64 * 3
    }
}

/// How far fitting moved the onsets, in ticks.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Moved {
    pub(super) notes: u32,
    pub(super) squares: f64,
    /// Moved by more than a demisemiquaver.
    pub(super) far: u32,
}

impl Moved {
    pub(super) fn plus(self, other: Self) -> Self {
        Self { notes: self.notes + other.notes, squares: self.squares + other.squares, far: self.far + other.far }
    }

    /// Root mean square, in ticks.
    pub(super) fn rms(self) -> f64 {
        if self.notes == 0 { 0.0 } else { (self.squares / f64::from(self.notes)).sqrt() }
    }
}

/// How strongly onsets gather on divisions of the beat, 0 to 1: the length of the mean of their phases, for the division
/// that does best.
pub(super) fn concentration<'s>(onsets: impl Iterator<Item = &'s Strike>, per_crotchet: u32) -> (f64, u32) {
    const TRIED: [f64; 4] = [1.0, 2.0, 3.0, 4.0];
    let mut sums = [(0.0f64, 0.0f64); 4];
    let mut count = 0u32;
    for strike in onsets {
        let turn = f64::from(strike.on % per_crotchet.max(1)) / f64::from(per_crotchet.max(1)) * std::f64::consts::TAU;
        for (sum, times) in sums.iter_mut().zip(TRIED) {
            let (sine, cosine) = (turn * times).sin_cos();
            *sum = (sum.0 + cosine, sum.1 + sine);
        }
        count += 1;
    }
    let longest = sums.iter().map(|(x, y)| x.hypot(*y)).fold(0.0, f64::max);
    (longest / f64::from(count.max(1)), count)
}

/// Fits the onsets of a line, in order, to divisions of the crotchet; `chord` is the spread in ticks within which onsets
/// were meant together. Ticks to the crotchet must be a multiple of [`FITTED`]. Answers how far notes moved.
pub(super) fn fit_onsets(strikes: &mut [Strike], per_crotchet: u32, chord: u32) -> Moved {
    let events = gather(strikes, chord);
    let places: Vec<f64> = events.iter().map(|event| event.mean / f64::from(per_crotchet)).collect();
    let (mut spread, least, most) = SPREAD;
    let mut fitted = Vec::new();
    for _ in 0..2 {
        fitted = divide(&places, spread);
        let squares: f64 = places.iter().zip(&fitted).map(|(place, at)| (place - at).powi(2)).sum();
        #[allow(clippy::cast_precision_loss)] // a count of notes
        let mean = squares / fitted.len().max(1) as f64;
        spread = mean.sqrt().clamp(least, most);
    }
    let mut moved = Moved::default();
    for (event, at) in events.iter().zip(&fitted) {
        let tick = to_tick(*at, per_crotchet);
        for strike in strikes.get_mut(event.notes.clone()).unwrap_or_default() {
            let by = tick.abs_diff(strike.on);
            moved.notes += 1;
            moved.squares += f64::from(by).powi(2);
            moved.far += u32::from(by > per_crotchet / 8);
            let length = strike.off.saturating_sub(strike.on);
            strike.on = tick;
            strike.off = tick.saturating_add(length);
        }
    }
    moved
}

/// A place in crotchets that is a multiple of 1/48, as ticks.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // rounded, not negative, below 2^31 by construction
fn to_tick(place: f64, per_crotchet: u32) -> u32 {
    let units = (place * f64::from(FITTED)).round().max(0.0) as u64;
    u32::try_from(units * u64::from(per_crotchet) / u64::from(FITTED)).unwrap_or(u32::MAX >> 1)
}

/// Onsets meant together.
struct Together {
    notes: std::ops::Range<usize>,
    mean: f64,
}

fn gather(strikes: &[Strike], chord: u32) -> Vec<Together> {
    let mut events: Vec<Together> = Vec::new();
    let mut first = 0;
    for index in 1..=strikes.len() {
        let (Some(start), next) = (strikes.get(first), strikes.get(index)) else { break };
        if next.is_some_and(|next| next.on - start.on <= chord) {
            continue;
        }
        let notes = strikes.get(first..index).unwrap_or_default();
        let sum: f64 = notes.iter().map(|strike| f64::from(strike.on)).sum();
        #[allow(clippy::cast_precision_loss)] // a count of notes
        events.push(Together { notes: first..index, mean: sum / notes.len().max(1) as f64 });
        first = index;
    }
    events
}

/// The best places for onsets (crotchets, in order), by dynamic programming over the divisions of each beat.
fn divide(places: &[f64], spread: f64) -> Vec<f64> {
    struct Beat {
        start: f64,
        onsets: std::ops::Range<usize>,
        /// Least cost up to here and division before, for each division of this beat.
        best: [(f64, usize); DIVISIONS.len()],
    }
    let mut beats: Vec<Beat> = Vec::new();
    let mut first = 0;
    while let Some(&place) = places.get(first) {
        let start = place.floor();
        let count = places.get(first..).unwrap_or_default().iter().take_while(|&&later| later < start + 1.0).count();
        let onsets = first..first + count.max(1);
        let own = places.get(onsets.clone()).unwrap_or_default();
        let before = beats.last().filter(|before| before.start + 1.0 >= start).map(|before| &before.best);
        let mut best = [(0.0, 0); DIVISIONS.len()];
        for (&(division, price), best) in DIVISIONS.iter().zip(&mut best) {
            let here = price + cost(own, start, division, spread);
            let (so_far, from) = before.map_or((0.0, 0), |before| {
                let mut least = (f64::INFINITY, 0);
                for (from, (&(earlier, _), &(cost, _))) in DIVISIONS.iter().zip(before.iter()).enumerate() {
                    let differs = earlier > 1 && division > 1 && (earlier % 3 == 0) != (division % 3 == 0);
                    let total = cost + if differs { CHANGE_OF_KIND } else { 0.0 };
                    if total < least.0 {
                        least = (total, from);
                    }
                }
                least
            });
            *best = (here + so_far, from);
        }
        first = onsets.end;
        beats.push(Beat { start, onsets, best });
    }
    let mut fitted = vec![0.0; places.len()];
    let mut chosen: Option<(usize, f64)> = None;
    for beat in beats.iter().rev() {
        let linked = chosen.filter(|&(_, later)| beat.start + 1.0 >= later);
        let index = match linked {
            Some((index, _)) => index,
            None => {
                let least = beat.best.iter().enumerate().min_by(|a, b| a.1.0.total_cmp(&b.1.0));
                least.map_or(0, |(index, _)| index)
            }
        };
        let division = f64::from(DIVISIONS.get(index).map_or(1, |&(division, _)| division));
        for onset in beat.onsets.clone() {
            if let (Some(&place), Some(slot)) = (places.get(onset), fitted.get_mut(onset)) {
                *slot = beat.start + ((place - beat.start) * division).round() / division;
            }
        }
        chosen = Some((beat.best.get(index).map_or(0, |&(_, from)| from), beat.start));
    }
    fitted
}

/// Nats to describe onsets of one beat on a grid of so many parts.
fn cost(places: &[f64], start: f64, division: u32, spread: f64) -> f64 {
    let parts = f64::from(division);
    let mut total = 0.0;
    let mut last = f64::NEG_INFINITY;
    for place in places {
        let on_grid = ((place - start) * parts).round() / parts;
        let residual = (place - start - on_grid) / spread;
        total += residual * residual / 2.0 + parts.ln();
        #[allow(clippy::float_cmp)] // equal by the same computation
        if on_grid == last {
            total += COLLISION;
        }
        last = on_grid;
    }
    total
}

/// Fits the ends of a line whose onsets stand on the grid: to the next onset where the note nearly reaches it or
/// slightly outlasts it, else to the nearest division. Answers how many changed.
pub(super) fn fit_ends(strikes: &mut [Strike], per_crotchet: u32) -> u32 {
    let mut changed = 0;
    let mut next = u32::MAX;
    let mut at = u32::MAX;
    for index in (0..strikes.len()).rev() {
        let Some(strike) = strikes.get_mut(index) else { break };
        if strike.on < at {
            next = at;
            at = strike.on;
        }
        if strike.kind == StrikeKind::Grace {
            continue;
        }
        let length = strike.off.saturating_sub(strike.on).max(1);
        let room = next - strike.on;
        // Detached playing shortens notes to about four fifths; a legato one outlasts the next onset a little.
        let reaches = u64::from(length) * 5 >= u64::from(room) * 4 && strike.off <= next.saturating_add(per_crotchet / 6);
        let end = if next != u32::MAX && reaches { next } else { nearest_end(strike.on, length, per_crotchet) };
        changed += u32::from(end != strike.off);
        strike.off = end.max(strike.on + 1);
    }
    cut_at_same_key(strikes);
    changed
}

/// Ends notes where their own key is struck again.
fn cut_at_same_key(strikes: &mut [Strike]) {
    let mut next = [u32::MAX; 128];
    for strike in strikes.iter_mut().rev() {
        if let Some(again) = next.get_mut(usize::from(strike.key)) {
            if *again > strike.on {
                strike.off = strike.off.min(*again);
            }
            *again = strike.on;
        }
    }
}

/// The end that gives a note of about this length a plain value: a multiple of a half, quarter or eighth of the crotchet,
/// or of its third or sixth where the onset is off the binary grid.
fn nearest_end(on: u32, length: u32, per_crotchet: u32) -> u32 {
    let binary = u64::from(on) * 8 % u64::from(per_crotchet) == 0;
    let divisions: [u32; 3] = if binary { [2, 4, 8] } else { [3, 6, 12] };
    let end = on.saturating_add(length);
    let mut best = end;
    for division in divisions {
        let step = (per_crotchet / division).max(1);
        best = (end + step / 2) / step * step;
        // The coarsest step that stays within a fifth of the length.
        if best > on && u64::from(best.abs_diff(end)) * 5 <= u64::from(length) {
            return best;
        }
    }
    if best > on { best } else { on.saturating_add((per_crotchet / divisions[2]).max(1)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strike(on: u32, off: u32) -> Strike {
        Strike { on, off, key: 60, velocity: 64, channel: 0, kind: StrikeKind::Played }
    }

    #[test]
    fn notation_knows_tuplets_rounded_to_ticks() {
        let notation = Notation::new(480);
        for tick in [0, 15, 20, 69, 68, 96, 160, 360, 480 + 320] {
            assert!(notation.has_onset(tick), "{tick}");
        }
        for tick in [1, 13, 101, 479] {
            assert!(!notation.has_onset(tick), "{tick}");
        }
    }

    #[test]
    fn fits_quavers_triplets_and_chords() {
        // A crotchet, two quavers, a triplet, a chord; played up to 20 ticks off.
        let played = [(7, 400), (470, 700), (733, 950), (955, 1100), (1125, 1260), (1270, 1400), (1450, 1900), (1431, 1900)];
        let mut strikes: Vec<Strike> = played.iter().map(|&(on, off)| strike(on, off)).collect();
        strikes.sort_by_key(|s| s.on);
        let moved = fit_onsets(&mut strikes, 480, 34);
        fit_ends(&mut strikes, 480);
        let fitted: Vec<(u32, u32)> = strikes.iter().map(|s| (s.on, s.off)).collect();
        let expected = [(0, 480), (480, 720), (720, 960), (960, 1120), (1120, 1280), (1280, 1440), (1440, 1920), (1440, 1920)];
        assert_eq!(fitted, expected);
        assert_eq!((moved.notes, moved.far), (8, 0));
    }

    #[test]
    fn ends_of_detached_playing_reach_the_next_onset() {
        let mut strikes = vec![strike(0, 456), strike(480, 936), strike(960, 1199), strike(1440, 1919)];
        assert_eq!(fit_ends(&mut strikes, 480), 4);
        let ends: Vec<u32> = strikes.iter().map(|s| s.off).collect();
        assert_eq!(ends, [480, 960, 1200, 1920]);
    }
}
