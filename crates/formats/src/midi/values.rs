//! Which note values, ties and tuplets write down a stretch of a bar.

use std::num::NonZeroU32;

use ripieno_score::{Crotchets, NoteValue, TupletRatio};

/// Part of a stretch that one notehead or rest shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Piece {
    /// Ticks from the barline.
    pub(super) start: u32,
    pub(super) length: u32,
    /// `None` where no value with up to two dots, in a tuplet or not, has this length.
    pub(super) value: Option<NoteValue>,
    pub(super) tuplet: Option<TupletRatio>,
}

type Shape = Option<(NoteValue, Option<TupletRatio>)>;

/// Finds values and exact positions, remembering those asked for.
#[derive(Debug)]
pub(super) struct Values {
    per_crotchet: NonZeroU32,
    /// A length and its shape, at the place given by the length's lowest bits.
    shapes: Vec<(u32, Shape)>,
    /// Exact positions within a bar.
    crotchets: Vec<Option<Crotchets>>,
    /// Whether a plain value may begin so many ticks after the barline.
    plain: Vec<bool>,
    /// The beat asked for last.
    beat: Beat,
}

/// Tuplets looked for, the usual ones first.
const TUPLETS: [TupletRatio; 7] = [
    TupletRatio { actual: 3, normal: 2 },
    TupletRatio { actual: 5, normal: 4 },
    TupletRatio { actual: 7, normal: 4 },
    TupletRatio { actual: 9, normal: 8 },
    TupletRatio { actual: 11, normal: 8 },
    TupletRatio { actual: 13, normal: 8 },
    TupletRatio { actual: 15, normal: 8 },
];

/// Longest and shortest values written: breve and 256th.
const HALVINGS: std::ops::RangeInclusive<i8> = -1..=8;
/// Crotchets of the longest value, a breve with two dots.
const LONGEST: u32 = 14;

const REMEMBERED: usize = 1 << 14;

impl Values {
    /// For bars of at most so many ticks (longer ones work, slower).
    pub(super) fn new(per_crotchet: NonZeroU32, longest_bar: u32) -> Self {
        let remembered = (longest_bar as usize + 1).min(REMEMBERED).next_power_of_two();
        let plain = (0u32..).take(remembered).map(|start| may_begin(start, 1, per_crotchet)).collect();
        // No length is 0, so that the first entries match none.
        let (shapes, crotchets) = (vec![(0, None); remembered], vec![None; remembered]);
        Self { per_crotchet, shapes, crotchets, plain, beat: Beat { length: 0, compound: false } }
    }

    /// Ticks as crotchets.
    pub(super) fn crotchets(&mut self, ticks: u32) -> Crotchets {
        let per_crotchet = self.per_crotchet;
        let exact = || super::bars::at(ticks, per_crotchet);
        match self.crotchets.get_mut(ticks as usize) {
            Some(slot) => *slot.get_or_insert_with(exact),
            None => exact(),
        }
    }

    fn shape(&mut self, length: u32) -> Shape {
        let mask = self.shapes.len().saturating_sub(1);
        let slot = self.shapes.get_mut(length as usize & mask)?;
        if slot.0 != length {
            *slot = (length, shape(length, self.per_crotchet.get()));
        }
        slot.1
    }

    fn piece(&mut self, start: u32, length: u32, beat: Beat) -> Option<Piece> {
        let (value, tuplet) = self.shape(length)?;
        let may_begin = match tuplet {
            None => self.plain.get(start as usize).copied().unwrap_or_else(|| may_begin(start, 1, self.per_crotchet)),
            Some(tuplet) => may_begin(start, tuplet.actual, self.per_crotchet),
        };
        if !may_begin {
            return None;
        }
        // Over a beat, a tuplet note keeps to the tuplet's own larger steps (crotchets in the time of a minim), and in
        // compound metres notes begin on a beat.
        let step = length / if value.dots > 0 { 3 } else { 2 };
        let astray =
            tuplet.is_some() && !start.is_multiple_of(step.max(1)) || beat.compound && !start.is_multiple_of(beat.length);
        let crosses = || start / beat.length != (start + length - 1) / beat.length;
        (!astray || !crosses()).then_some(Piece { start, length, value: Some(value), tuplet })
    }

    /// Divides the stretch from `start` to `end` (ticks from the barline) into as few pieces as values allow, dividing
    /// at beats. A stretch no values can show ends in a piece without one.
    pub(super) fn divide(&mut self, start: u32, end: u32, beat: u32, pieces: &mut Vec<Piece>) {
        pieces.clear();
        let beat = beat.max(1);
        if self.beat.length != beat {
            let compound = (u64::from(beat) * 4).is_multiple_of(u64::from(self.per_crotchet.get()) * 3);
            self.beat = Beat { length: beat, compound };
        }
        let whole = self.beat;
        let mut now = start;
        while now < end {
            if let Some(piece) = self.piece(now, end - now, whole) {
                pieces.push(piece);
                return;
            }
            // The longest piece that ends on a beat, or else up to the next beat as it is.
            let next = (now / beat + 1).saturating_mul(beat);
            let within = now.saturating_add(self.per_crotchet.get().saturating_mul(LONGEST));
            let mut to = end.min(within.max(next)) / beat * beat;
            let mut found = None;
            while to >= next && to > now && to < end {
                found = self.piece(now, to - now, whole);
                if found.is_some() {
                    break;
                }
                let Some(earlier) = to.checked_sub(beat) else { break };
                to = earlier;
            }
            if found.is_none() && next >= end {
                // Within a beat: halves of the beat.
                let half = (now / beat * beat).saturating_add(beat / 2);
                found = if half > now && half < end { self.piece(now, half - now, whole) } else { None };
            }
            let piece = found.unwrap_or_else(|| {
                let to = if next < end { next } else { end };
                Piece { start: now, length: to - now, value: None, tuplet: None }
            });
            pieces.push(piece);
            now = now.saturating_add(piece.length.max(1));
        }
    }
}

/// The beat notes are divided at.
#[derive(Debug, Clone, Copy)]
struct Beat {
    /// In ticks, at least 1.
    length: u32,
    /// Whether it has three parts.
    compound: bool,
}

/// Whether a value may begin so many ticks after the barline: tuplet notes on the tuplet's grid, others on a binary one.
fn may_begin(start: u32, actual: u16, per_crotchet: NonZeroU32) -> bool {
    (u64::from(start) * u64::from(actual) * 64).is_multiple_of(u64::from(per_crotchet.get()))
}

fn shape(length: u32, per_crotchet: u32) -> Shape {
    let plain = value(u64::from(length), u64::from(per_crotchet), 2).map(|value| (value, None));
    plain.or_else(|| {
        TUPLETS.iter().find_map(|&ratio| {
            let (long, short) = (u64::from(ratio.actual), u64::from(ratio.normal));
            let value = value(u64::from(length) * long, u64::from(per_crotchet) * short, 1)?;
            Some((value, Some(ratio)))
        })
    })
}

/// The value of `length / crotchet` crotchets.
fn value(length: u64, crotchet: u64, most_dots: u8) -> Option<NoteValue> {
    (0..=most_dots).find_map(|dots| {
        // With n dots a value lasts (2^(n+1) - 1) / 2^n of 2^(2 - halvings) crotchets.
        let (long, short) = (length << dots, crotchet * ((2u64 << dots) - 1));
        let halvings = if long >= short { 2 - doublings(long, short)? } else { 2 + doublings(short, long)? };
        let halvings = i8::try_from(halvings).ok()?;
        HALVINGS.contains(&halvings).then_some(NoteValue { halvings, dots })
    })
}

/// How often `short` must be doubled to make `long`, if that is how they relate.
fn doublings(long: u64, short: u64) -> Option<i32> {
    let times = long.checked_div(short)?;
    (times.is_power_of_two() && times * short == long).then(|| times.trailing_zeros().cast_signed())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn divided(start: u32, end: u32, beat: u32) -> String {
        let mut values = Values::new(NonZeroU32::new(840).unwrap(), 3360);
        let mut pieces = Vec::new();
        values.divide(start, end, beat, &mut pieces);
        assert_eq!(pieces.iter().map(|piece| piece.length).sum::<u32>(), end - start);
        let name = |piece: &Piece| {
            let value = piece.value.map_or("?".to_owned(), |v| format!("{}{}", v.halvings, ".".repeat(v.dots.into())));
            format!("{value}{}", piece.tuplet.map_or(String::new(), |t| format!("/{}", t.actual)))
        };
        pieces.iter().map(name).collect::<Vec<_>>().join(" ")
    }

    // Halvings of the semibreve, dots, tuplet: what each length is follows from the meaning of note values.
    #[test]
    fn values_and_ties() {
        let cases = [
            ((0, 840), "2"),
            ((0, 3360), "0"),
            ((420, 1260), "2"),
            ((0, 1260), "2."),
            ((0, 1470), "2.."),
            ((0, 2100), "1 3"),
            ((0, 280), "3/3"),
            ((280, 560), "3/3"),
            ((0, 560), "2/3"),
            ((560, 1120), "2/3"),
            ((0, 168), "4/5"),
            ((168, 840), "2/5"),
            ((0, 120), "4/7"),
            ((0, 420), "3"),
            ((560, 1680), "1/3"),
            ((280, 1400), "2/3 2/3"),
            ((280, 840 + 280), "2/3 3/3"),
            ((0, 3), "?"),
            ((0, 1683), "1 ?"),
        ];
        for ((start, end), expected) in cases {
            assert_eq!(divided(start, end, 840), expected, "{start} to {end}");
        }
        // In 6/8 a note from the second quaver on is tied over the middle of the bar.
        assert_eq!(divided(420, 2100, 1260), "2 2");
    }
}
