//! A score's fingerprint: enough to find its bars and parts again in a revised score, and no more.
//!
//! For each part and bar a [`Cell`] says what is attacked where in the bar. Pitch is sounding pitch, so that a change of
//! transposition alone changes nothing; lengths of notes, voices, ties and signs are left out, since revisions touch them
//! first. The text form is part of an open file format (`docs/corrections.md`): hashes must never change.

use std::fmt::Write as _;

use ripieno_score::{Crotchets, Score, Sounding};

/// What one part attacks in one bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Cell {
    /// Hash of positions and pitches relative to the lowest: the same when transposed. 0 for silence.
    pub shape: u64,
    /// Lowest pitch, as a MIDI key.
    pub lowest: u8,
    /// Hash of the positions alone.
    pub rhythm: u16,
    /// Pitch classes attacked, C in the lowest bit.
    pub classes: u16,
}

impl Cell {
    pub(crate) const SILENT: Self = Self { shape: 0, lowest: 0, rhythm: 0, classes: 0 };

    pub(crate) const fn is_silent(self) -> bool {
        self.shape == 0
    }

    /// The same music `semitones` higher.
    pub(crate) fn moved(self, semitones: i16) -> Self {
        if self.is_silent() || self.classes == 0 || semitones == 0 {
            return self;
        }
        let by = semitones.rem_euclid(12).unsigned_abs();
        let classes = ((self.classes << by) | (self.classes >> (12 - by))) & 0xfff;
        let lowest = (i16::from(self.lowest) + semitones).clamp(0, 255);
        Self { lowest: u8::try_from(lowest).unwrap_or(u8::MAX), classes, ..self }
    }

    /// How alike two cells are, 0 to 1: the same notes 1, transposed 0.9, else by rhythm and pitch classes, at most 0.7:
    /// one note of four changed gives about 0.5, two 0.4, and other music in the same rhythm seldom so much.
    pub(crate) fn likeness(self, other: Self) -> f32 {
        if self.shape == other.shape {
            return if self.lowest == other.lowest { 1.0 } else { 0.9 };
        }
        if self.is_silent() || other.is_silent() {
            return 0.0;
        }
        let shared = (self.classes & other.classes).count_ones();
        let either = (self.classes | other.classes).count_ones();
        let classes = if either == 0 { 0.0 } else { f32::from(shared as u8) / f32::from(either as u8) };
        let rhythm = if self.rhythm == other.rhythm { 0.25 } else { 0.0 };
        rhythm + 0.45 * classes
    }

    /// `shape lowest rhythm classes` in 25 hexadecimal digits.
    fn write(self, text: &mut String) {
        let _ = write!(text, "{:016x}{:02x}{:04x}{:03x}", self.shape, self.lowest, self.rhythm, self.classes);
    }

    fn parse(text: &str) -> Option<Self> {
        if text.len() != 25 || !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            return None;
        }
        let cell = Self {
            shape: u64::from_str_radix(&text[..16], 16).ok()?,
            lowest: u8::from_str_radix(&text[16..18], 16).ok()?,
            rhythm: u16::from_str_radix(&text[18..22], 16).ok()?,
            classes: u16::from_str_radix(&text[22..], 16).ok()?,
        };
        (!cell.is_silent()).then_some(cell)
    }
}

/// One part of a fingerprint.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PartPrint {
    pub id: String,
    pub name: String,
    /// One a bar.
    pub cells: Vec<Cell>,
}

/// A whole score.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Fingerprint {
    /// Length of each bar.
    pub lengths: Vec<Crotchets>,
    pub parts: Vec<PartPrint>,
}

impl Fingerprint {
    /// Takes the fingerprint of a score; `sounding` is its view with each bar once.
    pub(crate) fn new(score: &Score, sounding: &Sounding) -> Self {
        let lengths: Vec<Crotchets> = sounding.bars.iter().map(|bar| bar.length).collect();
        let parts = score.parts.iter().zip(&sounding.notes.of_part).map(|(part, rows)| PartPrint {
            id: part.id.clone(),
            name: part.name.clone(),
            cells: cells(sounding, rows.clone()),
        });
        Self { parts: parts.collect(), lengths }
    }

    /// Whether the bars and every part's notes are the same, whatever the parts are called.
    pub(crate) fn same_music(&self, other: &Self) -> bool {
        self.lengths == other.lengths
            && self.parts.len() == other.parts.len()
            && self.parts.iter().zip(&other.parts).all(|(a, b)| a.cells == b.cells)
    }
}

fn cells(sounding: &Sounding, rows: std::ops::Range<usize>) -> Vec<Cell> {
    let notes = &sounding.notes;
    let held = held_over(sounding, rows.clone());
    let mut cells = Vec::with_capacity(sounding.bars.len());
    let mut attacks: Vec<(Crotchets, i32)> = Vec::new();
    let mut row = rows.start;
    for (bar, held) in sounding.bars.iter().zip(held) {
        let end = bar.start + bar.length;
        attacks.clear();
        let mut classes = 0u16;
        while row < rows.end && notes.onset[row] < end {
            let pitch = notes.key[row].map_or_else(|| notes.pitch[row].semitones(), |key| i32::from(key.number()));
            attacks.push((notes.onset[row] - bar.start, pitch));
            if notes.key[row].is_some() {
                classes |= 1 << pitch.rem_euclid(12);
            }
            row += 1;
        }
        attacks.sort_unstable();
        // Two players on one note, or two voices that meet, are one attack: how the page divides them may change.
        attacks.dedup();
        cells.push(cell(&attacks, classes, held));
    }
    cells
}

fn cell(attacks: &[(Crotchets, i32)], classes: u16, held: bool) -> Cell {
    if attacks.is_empty() && !held {
        return Cell::SILENT;
    }
    let lowest = attacks.iter().map(|attack| attack.1).min().unwrap_or(0);
    let (mut shape, mut rhythm) = (Hash::new(), Hash::new());
    shape.add(i64::from(held));
    for (i, (at, pitch)) in attacks.iter().enumerate() {
        shape.add(at.numerator());
        shape.add(at.denominator());
        shape.add(i64::from(pitch - lowest));
        if i == 0 || attacks[i - 1].0 != *at {
            rhythm.add(at.numerator());
            rhythm.add(at.denominator());
        }
    }
    let folded = (rhythm.0 ^ (rhythm.0 >> 16) ^ (rhythm.0 >> 32) ^ (rhythm.0 >> 48)) & 0xffff;
    Cell {
        shape: shape.0.max(1),
        lowest: u8::try_from(lowest.clamp(0, 255)).unwrap_or(0),
        rhythm: u16::try_from(folded).unwrap_or(0),
        classes,
    }
}

/// For each bar whether a note that began earlier is still sounding in it.
fn held_over(sounding: &Sounding, rows: std::ops::Range<usize>) -> Vec<bool> {
    let notes = &sounding.notes;
    let mut ends = Crotchets::ZERO;
    let mut row = rows.start;
    let held = |bar: &ripieno_score::PlayedBar| {
        while row < rows.end && notes.onset[row] < bar.start {
            ends = ends.max(notes.onset[row] + notes.duration[row]);
            row += 1;
        }
        ends > bar.start
    };
    sounding.bars.iter().map(held).collect()
}

/// FNV-1a (G. Fowler, L. C. Noll, K.-P. Vo) over the little-endian bytes of 64-bit numbers: tiny, and the same for ever.
struct Hash(u64);

impl Hash {
    const fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }

    fn add(&mut self, number: i64) {
        self.add_bytes(&number.to_le_bytes());
    }

    fn add_bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }
}

/// Most bars a fingerprint in a file may have: as many as a score may have by the readers' own limit.
const MOST_BARS: usize = 100_000;
/// Most bars of all parts of all fingerprints in a file, together: a hundred states of a score of 1,500 bars and 60 parts.
pub(crate) const MOST_CELLS: usize = 10_000_000;

/// Writes items separated by spaces, `item*count` for several in a row.
fn write_runs<T: PartialEq>(items: &[T], mut write: impl FnMut(&T, &mut String)) -> String {
    let mut text = String::new();
    for run in items.chunk_by(|a, b| a == b) {
        if !text.is_empty() {
            text.push(' ');
        }
        write(&run[0], &mut text);
        if run.len() > 1 {
            let _ = write!(text, "*{}", run.len());
        }
    }
    text
}

/// Reads what [`write_runs`] wrote, at most `most` items.
fn parse_runs<T: Clone>(text: &str, most: usize, mut parse: impl FnMut(&str) -> Option<T>) -> Result<Vec<T>, String> {
    let mut items = Vec::new();
    for word in text.split_ascii_whitespace() {
        let (item, count) = word.split_once('*').unwrap_or((word, "1"));
        let bad = || format!("{word:?} cannot be read");
        let count = count.parse::<usize>().map_err(|_| bad())?;
        let item = parse(item).ok_or_else(bad)?;
        if count > most - items.len() {
            return Err(format!("there are more than {most} bars"));
        }
        items.resize(items.len() + count, item);
    }
    Ok(items)
}

/// `4*24 3*16`
pub(crate) fn lengths_to_text(lengths: &[Crotchets]) -> String {
    write_runs(lengths, |length, text| {
        let _ = write!(text, "{length}");
    })
}

pub(crate) fn lengths_from_text(text: &str) -> Result<Vec<Crotchets>, String> {
    parse_runs(text, MOST_BARS, |word| word.parse::<Crotchets>().ok().filter(|length| *length >= Crotchets::ZERO))
}

/// `-*34 1f0c…`: a hyphen for silence.
pub(crate) fn cells_to_text(cells: &[Cell]) -> String {
    write_runs(cells, |cell, text| if cell.is_silent() { text.push('-') } else { cell.write(text) })
}

pub(crate) fn cells_from_text(text: &str, bars: usize) -> Result<Vec<Cell>, String> {
    parse_runs(text, bars, |word| if word == "-" { Some(Cell::SILENT) } else { Cell::parse(word) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(n: i64, d: i64) -> Crotchets {
        Crotchets::new(n, d).unwrap()
    }

    /// Test vectors of 64-bit FNV-1a from its authors' internet draft (draft-eastlake-fnv), values from memory.
    #[test]
    fn the_hash_is_fnv_1a() {
        for (text, expected) in [("", 0xcbf2_9ce4_8422_2325_u64), ("a", 0xaf63_dc4c_8601_ec8c), ("foobar", 0x8594_4171_f739_67e8)]
        {
            let mut hash = Hash::new();
            hash.add_bytes(text.as_bytes());
            assert_eq!(hash.0, expected, "{text:?}");
        }
    }

    /// Files that exist depend on these very digits, worked out with Python's integers by the rule in `docs/corrections.md`.
    #[test]
    fn cells_stay_what_they_are() {
        let cell = cell(&[(at(0, 1), 60), (at(3, 2), 67)], 0b1000_0001, false);
        let mut text = String::new();
        cell.write(&mut text);
        assert_eq!(text, "652f9614764ffb223c8219081");
        assert_eq!(Cell::parse(&text), Some(cell));
    }

    #[test]
    fn transposing_moves_all_but_the_shape() {
        let low = cell(&[(at(0, 1), 60), (at(1, 1), 64)], (1 << 0) | (1 << 4), false);
        let high = cell(&[(at(0, 1), 67), (at(1, 1), 71)], (1 << 7) | (1 << 11), false);
        assert_eq!(low.shape, high.shape);
        assert_eq!(low.moved(7), high);
        assert_eq!(high.moved(-7), low);
        assert!((low.likeness(high) - 0.9).abs() < 1e-6);
    }

    #[test]
    fn one_note_changed_is_nearer_than_other_music() {
        let plain = cell(&[(at(0, 1), 60), (at(1, 1), 64), (at(2, 1), 67)], 0x91, false);
        let changed = cell(&[(at(0, 1), 60), (at(1, 1), 65), (at(2, 1), 67)], 0xa1, false);
        let other = cell(&[(at(1, 2), 61), (at(5, 2), 66)], 0x42, false);
        assert!(plain.likeness(changed) > 0.45 && plain.likeness(other) < 0.1);
        assert_eq!(plain.likeness(Cell::SILENT), 0.0);
    }

    proptest! {
        #[test]
        fn text_and_back(shapes in prop::collection::vec((0u64..4, 0u8..=255, any::<u16>(), 0u16..4096), 0..60)) {
            let cells: Vec<Cell> = shapes.into_iter()
                .map(|(shape, lowest, rhythm, classes)| if shape == 0 { Cell::SILENT } else { Cell { shape, lowest, rhythm, classes } })
                .collect();
            prop_assert_eq!(cells_from_text(&cells_to_text(&cells), 60).unwrap(), cells);
        }

        #[test]
        fn any_text_is_read_or_refused(text in "[-0-9a-f* /é]{0,80}") {
            let _ = cells_from_text(&text, 100);
            let _ = lengths_from_text(&text);
        }
    }

    #[test]
    fn a_short_text_cannot_ask_for_much_memory() {
        assert!(cells_from_text("-*18446744073709551615", 109).is_err());
        assert!(cells_from_text("-*108 -*2", 109).is_err());
        assert!(lengths_from_text("4*100001").is_err());
    }
}
