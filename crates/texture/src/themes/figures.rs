//! Figures: a few intervals with the proportions of their times, wherever they stand and however fast.

use std::num::NonZeroU32;

use super::line::ThemeLine;

/// Ticks to the crotchet for proportions.
const TICKS: NonZeroU32 = NonZeroU32::new(10_080).unwrap();
/// A silence longer than this many ticks ends a figure.
const BREAK: i64 = 2 * 10_080;
/// Ways to look at a figure.
pub(super) const VIEWS: usize = 3;
/// Intervals in a figure of each view: by steps, by size of interval, by metre-free rhythm and contour.
const INTERVALS: [usize; VIEWS] = [4, 5, 7];
/// A figure must be rarer than one in 2 to this many bits, were its intervals and times drawn at random.
const BITS: [f64; VIEWS] = [15.0, 16.0, 16.0];

/// Figures that begin at each note of each line: `ids[line][note][view]`, 0 where there is none.
pub(super) struct Figures {
    pub ids: Vec<Vec<[u32; VIEWS]>>,
    /// Number of ids, 0 included.
    pub count: usize,
}

/// Interval and proportion symbols of a line, by note: symbol `i` leads from note `i` to the next.
struct Symbols {
    steps: Vec<i8>,
    sizes: Vec<i8>,
    /// Proportion to the time before; the first of a figure is not looked at.
    ratios: Vec<i8>,
    /// Whether the line breaks off after note `i`.
    broken: Vec<bool>,
}

impl Figures {
    pub fn new(lines: &[ThemeLine]) -> Self {
        let symbols: Vec<Symbols> = lines.iter().map(Symbols::of).collect();
        let mut named: Vec<(u64, u8, u32, u32)> = Vec::new();
        for (view, intervals) in INTERVALS.into_iter().enumerate() {
            let bits = Bits::of(&symbols, view);
            for (line, symbols) in (0u32..).zip(&symbols) {
                for at in 0..symbols.steps.len().saturating_sub(intervals - 1) {
                    if let Some(name) = symbols.figure(at, view, &bits) {
                        named.push((name, u8::try_from(view).unwrap_or(0), line, u32::try_from(at).unwrap_or(0)));
                    }
                }
            }
        }
        named.sort_unstable();
        let mut ids: Vec<Vec<[u32; VIEWS]>> = lines.iter().map(|line| vec![[0; VIEWS]; line.notes.len()]).collect();
        let mut count = 1u32;
        for same in named.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
            for &(_, view, line, at) in same {
                ids[line as usize][at as usize][usize::from(view)] = count;
            }
            count += 1;
        }
        Self { ids, count: count as usize }
    }

    /// Notes that a figure of view `view` covers.
    pub const fn length(view: usize) -> usize {
        INTERVALS[view] + 1
    }
}

impl Symbols {
    fn of(line: &ThemeLine) -> Self {
        let count = line.notes.len().saturating_sub(1);
        let mut symbols =
            Self { steps: vec![0; count], sizes: vec![0; count], ratios: vec![0; count], broken: vec![false; count] };
        let onsets: Vec<i64> = line.notes.iter().map(|note| note.onset.to_ticks(TICKS)).collect();
        for i in 0..count {
            let (a, b) = (&line.notes[i], &line.notes[i + 1]);
            let steps = (b.place - a.place).clamp(-15, 15);
            symbols.steps[i] = i8::try_from(steps).unwrap_or(0);
            let size = match steps.abs() {
                0 if a.key == b.key => 0,
                0 | 1 => 1,
                2 => 2,
                3 | 4 => 3,
                _ => 4,
            };
            symbols.sizes[i] = if b.key < a.key { -size } else { size };
            symbols.broken[i] = onsets[i + 1] - a.end.to_ticks(TICKS) > BREAK;
            if i > 0 {
                let (before, now) = ((onsets[i] - onsets[i - 1]).max(1), (onsets[i + 1] - onsets[i]).max(1));
                // Half powers of two tell a dot from none and forgive what is finer.
                symbols.ratios[i] = (2.0 * (now as f64 / before as f64).log2()).round_ties_even().clamp(-9.0, 9.0) as i8;
            }
        }
        symbols
    }

    fn pitch(&self, at: usize, view: usize) -> i8 {
        match view {
            0 => self.steps[at],
            1 => self.sizes[at],
            _ => self.sizes[at].signum(),
        }
    }

    /// Name of the figure that begins at note `at`; `None` where the line breaks, and for what is too plain to be known again.
    fn figure(&self, at: usize, view: usize, bits: &Bits) -> Option<u64> {
        let span = at..at + INTERVALS[view];
        if self.broken[span.clone()].contains(&true) {
            return None;
        }
        let mut rare = 0.0;
        // FNV-1a, 64 bits: a stable name without keeping the figure.
        let mut name = 0xcbf2_9ce4_8422_2325_u64;
        let (mut even, mut alike) = (true, true);
        let first = self.pitch(at, view);
        for i in span {
            let pitch = self.pitch(i, view);
            let ratio = if i == at { 0 } else { self.ratios[i] };
            rare += bits.pitch[usize::from(pitch.cast_unsigned())];
            if i > at {
                rare += bits.ratio[usize::from(ratio.cast_unsigned())];
            }
            even &= ratio == 0;
            alike &= pitch == first;
            for byte in [pitch.cast_unsigned(), ratio.cast_unsigned()] {
                name = (name ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
            }
        }
        (rare >= BITS[view] && !(even && alike)).then_some(name)
    }
}

/// How many bits each symbol is worth in this piece.
struct Bits {
    pitch: [f64; 256],
    ratio: [f64; 256],
}

impl Bits {
    fn of(symbols: &[Symbols], view: usize) -> Self {
        let (mut pitch, mut ratio) = ([1f64; 256], [1f64; 256]);
        for symbols in symbols {
            for at in 0..symbols.steps.len() {
                pitch[usize::from(symbols.pitch(at, view).cast_unsigned())] += 1.0;
                ratio[usize::from(symbols.ratios[at].cast_unsigned())] += 1.0;
            }
        }
        let bits = |counts: [f64; 256]| {
            let all: f64 = counts.iter().sum();
            counts.map(|count| (all / count).log2())
        };
        Self { pitch: bits(pitch), ratio: bits(ratio) }
    }
}
