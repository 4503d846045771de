//! Features of every part in every bar; see [`super::table`] for what each is.
//!
//! Times are compared in ticks. A "line" is a set of parts that double each other at the unison or octaves, a "layer" a set
//! of parts with one rhythm. Undefined values are NaN. Cost grows with notes and, inside a bar, with the square of its parts.

use super::piece::Piece;
use super::table::{Feature as F, TABLE};

/// Values `[part][bar][feature]`, and in which bars each part sounds.
pub(super) struct Features {
    values: Vec<f32>,
    bars: usize,
    parts: usize,
    /// `[part * bars + bar]`.
    pub sounds: Vec<bool>,
}

impl Features {
    fn silent(parts: usize, bars: usize) -> Self {
        Self { values: vec![f32::NAN; parts * bars * TABLE.len()], bars, parts, sounds: vec![false; parts * bars] }
    }

    pub fn new(piece: &Piece) -> Self {
        let mut features = Self::silent(piece.parts(), piece.bars());
        super::register::fill(piece, &mut features);
        super::figure::fill(piece, &mut features);
        super::company::fill(piece, &mut features);
        super::themes::fill(piece, &mut features);
        features.percentiles();
        features.stay(piece);
        features
    }

    pub const fn parts(&self) -> usize {
        self.parts
    }

    pub const fn bars(&self) -> usize {
        self.bars
    }

    /// All features of one part in one bar.
    pub fn row(&self, part: usize, bar: usize) -> &[f32] {
        let at = (part * self.bars + bar) * TABLE.len();
        &self.values[at..at + TABLE.len()]
    }

    pub fn get(&self, part: usize, bar: usize, feature: F) -> f32 {
        self.values[(part * self.bars + bar) * TABLE.len() + feature as usize]
    }

    pub fn set(&mut self, part: usize, bar: usize, feature: F, value: f64) {
        self.values[(part * self.bars + bar) * TABLE.len() + feature as usize] = value as f32;
    }

    fn cells(&self) -> impl Iterator<Item = (usize, usize)> + use<> {
        let bars = self.bars;
        (0..self.parts).flat_map(move |part| (0..bars).map(move |bar| (part, bar)))
    }

    /// Where a value stands among all of the piece, ties in the middle.
    fn percentiles(&mut self) {
        let pairs = [
            (F::dens, F::dens_pct),
            (F::pitch, F::pitch_pct),
            (F::n_parts, F::n_parts_pct),
            (F::cover, F::cover_pct),
            (F::p_ent, F::p_ent_pct),
        ];
        for (from, to) in pairs {
            let defined = |this: &Self, (part, bar): (usize, usize)| {
                let value = this.get(part, bar, from);
                (this.sounds[part * this.bars + bar] && !value.is_nan()).then_some(value)
            };
            let mut sorted: Vec<f32> = self.cells().filter_map(|cell| defined(self, cell)).collect();
            sorted.sort_unstable_by(f32::total_cmp);
            for cell in self.cells() {
                if let Some(value) = defined(self, cell) {
                    let left = sorted.partition_point(|&other| other < value);
                    let right = sorted.partition_point(|&other| other <= value);
                    self.set(cell.0, cell.1, to, (left + right) as f64 / 2.0 / sorted.len() as f64);
                }
            }
        }
    }

    /// How long a part has been playing and will go on, and what the bar's busiest part does.
    fn stay(&mut self, piece: &Piece) {
        for part in 0..self.parts {
            let sounds = self.sounds[part * self.bars..(part + 1) * self.bars].to_vec();
            let share = sounds.iter().filter(|&&sounds| sounds).count() as f64 / self.bars.max(1) as f64;
            let mut from = 0;
            while from < self.bars {
                let to = from + sounds[from..].iter().take_while(|&&sounds| sounds).count();
                for bar in from..to {
                    self.set(part, bar, F::since, (bar - from + 1).min(32) as f64);
                    self.set(part, bar, F::until, (to - bar).min(32) as f64);
                    self.set(part, bar, F::runlen, (to - from).min(64) as f64);
                }
                from = to + 1;
            }
            for bar in 0..self.bars {
                self.set(part, bar, F::active_share, share);
                self.set(part, bar, F::second, f64::from(u8::from(piece.facts[part].second)));
            }
        }
        for bar in 0..self.bars {
            let busiest = (0..self.parts).map(|part| piece.cell(part, bar).len()).max().unwrap_or(0);
            let per_beat = busiest as f64 * piece.beats[bar] as f64 / piece.length(bar) as f64;
            for part in 0..self.parts {
                self.set(part, bar, F::b_dens, per_beat);
            }
        }
    }
}

/// Shannon entropy of `counts`, in bits.
pub(super) fn entropy(counts: &[usize]) -> f64 {
    let total: usize = counts.iter().sum();
    counts.iter().map(|&count| count as f64 / total as f64).map(|p| -p * p.log2()).sum()
}

/// How often each value of `values` occurs; sorts them.
pub(super) fn counts<T: Ord>(values: &mut [T]) -> Vec<usize> {
    values.sort_unstable();
    values.chunk_by(|a, b| a == b).map(<[T]>::len).collect()
}
