//! Columns as few bytes.
//!
//! Numbers as differences to the one before, in as many bytes as they need, then deflated (RFC 1951); each column by itself, so
//! that a question unpacks only what it asks about. Unpacking trusts nothing: lengths are bounded and checked.

use std::fmt;
use std::io::{Read, Write};

use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use ripieno_score::Crotchets;

use super::column::{Column, NOTHING, Texts};
use super::shape::Kind;

/// Most rows a table may have: more than any score, few enough to hold in memory.
pub(super) const MOST_ROWS: usize = 1 << 26;
/// Most bytes of a column, unpacked.
const MOST_BYTES: u64 = 1 << 30;

/// Packed columns that cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Damaged;

impl fmt::Display for Damaged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the record is damaged")
    }
}

impl std::error::Error for Damaged {}

/// Packs one column.
pub(super) fn pack(column: &Column) -> Vec<u8> {
    let mut bytes = Vec::new();
    match column {
        Column::Numbers(numbers) => put_numbers(&mut bytes, numbers),
        Column::Times(times) => put_times(&mut bytes, times),
        Column::Texts(texts) => {
            put(&mut bytes, u64::try_from(texts.words.len()).unwrap_or(0));
            for word in &texts.words {
                put(&mut bytes, u64::try_from(word.len()).unwrap_or(0));
                bytes.extend_from_slice(word.as_bytes());
            }
            put_numbers(&mut bytes, &texts.of);
        }
    }
    let mut deflated = DeflateEncoder::new(Vec::new(), Compression::new(6));
    // Writing into memory does not fail; were it to, the empty column would be found damaged when read.
    let _ = deflated.write_all(&bytes);
    deflated.finish().unwrap_or_default()
}

/// Unpacks a column of `rows` rows.
pub(super) fn unpack(packed: &[u8], kind: Kind, rows: usize) -> Result<Column, Damaged> {
    let mut bytes = Vec::new();
    DeflateDecoder::new(packed).take(MOST_BYTES).read_to_end(&mut bytes).map_err(|_| Damaged)?;
    let mut from = bytes.as_slice();
    let column = match kind {
        Kind::Time => Column::Times(take_times(&mut from, rows)?),
        Kind::Text => {
            let count = take_length(&mut from)?;
            let mut words = Vec::new();
            for _ in 0..count {
                let length = take_length(&mut from)?;
                let (word, rest) = from.split_at_checked(length).ok_or(Damaged)?;
                words.push(std::str::from_utf8(word).map_err(|_| Damaged)?.to_owned());
                from = rest;
            }
            Column::Texts(Texts { words, of: take_numbers(&mut from, rows)? })
        }
        _ => Column::Numbers(take_numbers(&mut from, rows)?),
    };
    if from.is_empty() { Ok(column) } else { Err(Damaged) }
}

/// A length that the bytes left can hold.
fn take_length(from: &mut &[u8]) -> Result<usize, Damaged> {
    let length = usize::try_from(take(from)?).map_err(|_| Damaged)?;
    if length <= from.len() { Ok(length) } else { Err(Damaged) }
}

/// How numbers follow each other.
const PLAIN: u8 = 0;
const DIFFERENCES: u8 = 1;
const HOLES: u8 = 2;

fn put_numbers(bytes: &mut Vec<u8>, numbers: &[i64]) {
    let holes = numbers.contains(&NOTHING);
    let cost = |number: i64| 64 - folded(number).leading_zeros();
    let (mut plain, mut differences, mut last) = (0u64, 0u64, 0i64);
    for &number in numbers.iter().filter(|&&number| number != NOTHING) {
        plain += u64::from(cost(number));
        differences += u64::from(cost(number.wrapping_sub(last)));
        last = number;
    }
    let by = if differences < plain { DIFFERENCES } else { PLAIN };
    bytes.push(by | if holes { HOLES } else { 0 });
    if holes {
        let bits = numbers
            .chunks(8)
            .map(|eight| eight.iter().enumerate().fold(0u8, |bits, (at, &number)| bits | (u8::from(number == NOTHING) << at)));
        bytes.extend(bits);
    }
    last = 0;
    for &number in numbers.iter().filter(|&&number| number != NOTHING) {
        put(bytes, folded(if by == DIFFERENCES { number.wrapping_sub(last) } else { number }));
        last = number;
    }
}

fn take_numbers(from: &mut &[u8], rows: usize) -> Result<Vec<i64>, Damaged> {
    if rows > MOST_ROWS {
        return Err(Damaged);
    }
    let (&how, rest) = from.split_first().ok_or(Damaged)?;
    *from = rest;
    let holes = if how & HOLES == 0 {
        &[]
    } else {
        let (bits, rest) = from.split_at_checked(rows.div_ceil(8)).ok_or(Damaged)?;
        *from = rest;
        bits
    };
    let mut numbers = Vec::with_capacity(rows.min(from.len() + holes.len() * 8));
    let mut last = 0i64;
    for row in 0..rows {
        if holes.get(row / 8).is_some_and(|bits| bits >> (row % 8) & 1 == 1) {
            numbers.push(NOTHING);
            continue;
        }
        let number = unfolded(take(from)?);
        last = if how & DIFFERENCES == 0 { number } else { last.wrapping_add(number) };
        numbers.push(last);
    }
    Ok(numbers)
}

/// As counts of the largest unit that all times share, where that is no finer than a column can need; else each as a fraction.
fn put_times(bytes: &mut Vec<u8>, times: &[Crotchets]) {
    let unit = times.iter().try_fold(1u64, |unit, time| {
        let denominator = u64::try_from(time.denominator()).ok()?;
        let common = unit / greatest_common(unit, denominator) * denominator;
        (common <= 1 << 20).then_some(common)
    });
    let unit = unit.and_then(|unit| i64::try_from(unit).ok());
    let counted = unit.and_then(|unit| {
        let count = |time: &Crotchets| time.numerator().checked_mul(unit / time.denominator());
        times.iter().map(count).collect::<Option<Vec<i64>>>()
    });
    if let (Some(unit), Some(counts)) = (unit, counted) {
        put(bytes, folded(unit));
        put_numbers(bytes, &counts);
    } else {
        put(bytes, 0);
        put_numbers(bytes, &times.iter().map(|time| time.numerator()).collect::<Vec<_>>());
        put_numbers(bytes, &times.iter().map(|time| time.denominator()).collect::<Vec<_>>());
    }
}

fn take_times(from: &mut &[u8], rows: usize) -> Result<Vec<Crotchets>, Damaged> {
    let unit = unfolded(take(from)?);
    let numerators = take_numbers(from, rows)?;
    if unit != 0 {
        return numerators.into_iter().map(|count| Crotchets::new(count, unit).ok_or(Damaged)).collect();
    }
    let denominators = take_numbers(from, rows)?;
    numerators.into_iter().zip(denominators).map(|(over, under)| Crotchets::new(over, under).ok_or(Damaged)).collect()
}

const fn greatest_common(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// Signs folded in, so that small numbers of either sign stay small.
#[allow(clippy::cast_sign_loss)] // the bits are meant
const fn folded(number: i64) -> u64 {
    ((number << 1) ^ (number >> 63)) as u64
}

#[allow(clippy::cast_possible_wrap)] // the bits are meant
const fn unfolded(bits: u64) -> i64 {
    (bits >> 1) as i64 ^ -((bits & 1) as i64)
}

/// Seven bits a byte, the lowest first, the top bit set while more follow.
pub(super) fn put(bytes: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        bytes.push(u8::try_from(number & 0x7f).unwrap_or(0) | 0x80);
        number >>= 7;
    }
    bytes.push(u8::try_from(number).unwrap_or(0));
}

pub(super) fn take(from: &mut &[u8]) -> Result<u64, Damaged> {
    let mut number = 0u64;
    for shift in (0..64).step_by(7) {
        let (&byte, rest) = from.split_first().ok_or(Damaged)?;
        *from = rest;
        number |= u64::from(byte & 0x7f) << shift;
        if byte & 0x80 == 0 {
            return Ok(number);
        }
    }
    Err(Damaged)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn there_and_back(column: Column, kind: Kind) {
        assert_eq!(unpack(&pack(&column), kind, column.len()), Ok(column));
    }

    proptest! {
        #[test]
        fn numbers_come_back(numbers in proptest::collection::vec(any::<i64>(), 0..50)) {
            there_and_back(Column::Numbers(numbers), Kind::Whole);
        }

        #[test]
        fn times_come_back(times in proptest::collection::vec((-9_000_000i64..9_000_000, 1i64..5000), 0..50)) {
            let times = times.into_iter().filter_map(|(over, under)| Crotchets::new(over, under)).collect();
            there_and_back(Column::Times(times), Kind::Time);
        }

        #[test]
        fn texts_come_back(words in proptest::collection::vec(".*", 1..6), of in proptest::collection::vec(0i64..6, 0..40)) {
            let of = of.into_iter().map(|word| if usize::try_from(word).is_ok_and(|word| word < words.len()) { word } else { NOTHING });
            there_and_back(Column::Texts(Texts { of: of.collect(), words: words.clone() }), Kind::Text);
        }

        #[test]
        fn no_bytes_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200), rows in 0usize..100_000_000) {
            for kind in [Kind::Whole, Kind::Decimal(2), Kind::Time, Kind::Text] {
                let _ = unpack(&bytes, kind, rows);
                let mut deflated = DeflateEncoder::new(Vec::new(), Compression::new(6));
                deflated.write_all(&bytes).unwrap();
                let _ = unpack(&deflated.finish().unwrap(), kind, rows);
            }
        }
    }
}
