//! Columns in memory.

use std::collections::HashMap;

use ripieno_score::Crotchets;

use super::shape::{ColumnShape, Kind};

/// Stands in a column of numbers where there is nothing to say.
pub const NOTHING: i64 = i64::MIN;

/// Texts, each kept once.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Texts {
    /// The different texts, in order of first use.
    pub words: Vec<String>,
    /// For each row its text, index into `words`; [`NOTHING`] where there is none.
    pub of: Vec<i64>,
}

impl Texts {
    /// Text of a row.
    #[must_use]
    pub fn get(&self, row: usize) -> Option<&str> {
        let word = usize::try_from(*self.of.get(row)?).ok()?;
        self.words.get(word).map(String::as_str)
    }
}

/// A column; its kind decides which.
#[derive(Debug, Clone, PartialEq)]
pub enum Column {
    /// [`Kind::Whole`], and [`Kind::Decimal`] times its power of ten; [`NOTHING`] where there is none.
    Numbers(Vec<i64>),
    /// [`Kind::Time`].
    Times(Vec<Crotchets>),
    /// [`Kind::Text`].
    Texts(Texts),
}

impl Column {
    /// Rows.
    #[must_use]
    pub fn len(&self) -> usize {
        match self {
            Self::Numbers(numbers) => numbers.len(),
            Self::Times(times) => times.len(),
            Self::Texts(texts) => texts.of.len(),
        }
    }

    /// Whether it has no rows.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// What stands in a row; nothing beyond the end.
    #[must_use]
    pub fn cell(&self, row: usize, kind: Kind) -> Cell<'_> {
        match self {
            Self::Numbers(numbers) => match (numbers.get(row), kind) {
                (None | Some(&NOTHING), _) => Cell::Nothing,
                (Some(&number), Kind::Decimal(places)) => Cell::Decimal(scaled_down(number, places)),
                (Some(&number), _) => Cell::Whole(number),
            },
            Self::Times(times) => times.get(row).map_or(Cell::Nothing, |&time| Cell::Time(time)),
            Self::Texts(texts) => texts.get(row).map_or(Cell::Nothing, Cell::Text),
        }
    }
}

/// One value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell<'a> {
    /// Nothing to say.
    Nothing,
    /// A whole number.
    Whole(i64),
    /// A decimal number; kept to the places of its column.
    Decimal(f64),
    /// Exact time in crotchets.
    Time(Crotchets),
    /// A text.
    Text(&'a str),
}

impl<'a> Cell<'a> {
    /// A number, or nothing.
    pub fn of(number: Option<impl Into<i64>>) -> Self {
        number.map_or(Self::Nothing, |number| Self::Whole(number.into()))
    }

    /// A count.
    #[must_use]
    pub fn count(number: usize) -> Self {
        Self::Whole(i64::try_from(number).unwrap_or(i64::MAX))
    }

    /// A text, or nothing.
    #[must_use]
    pub const fn text(text: Option<&'a str>) -> Self {
        match text {
            Some(text) => Self::Text(text),
            None => Self::Nothing,
        }
    }
}

fn power(places: u8) -> f64 {
    10f64.powi(i32::from(places))
}

#[allow(clippy::cast_precision_loss)] // numbers of music lie far below 2^52
fn scaled_down(number: i64, places: u8) -> f64 {
    number as f64 / power(places)
}

#[allow(clippy::cast_possible_truncation)] // saturates, and says nothing of what is no number
fn scaled_up(number: f64, places: u8) -> i64 {
    if number.is_finite() { (number * power(places)).round() as i64 } else { NOTHING }
}

/// Columns being filled row by row.
#[derive(Debug)]
pub struct Filling {
    kinds: Vec<Kind>,
    columns: Vec<Column>,
    known: Vec<HashMap<String, i64>>,
}

impl Filling {
    /// Begins the kept columns of a table.
    #[must_use]
    pub fn new(kept: &[ColumnShape]) -> Self {
        let empty = |column: &ColumnShape| match column.kind {
            Kind::Time => Column::Times(Vec::new()),
            Kind::Text => Column::Texts(Texts::default()),
            _ => Column::Numbers(Vec::new()),
        };
        Self {
            kinds: kept.iter().map(|column| column.kind).collect(),
            columns: kept.iter().map(empty).collect(),
            known: vec![HashMap::new(); kept.len()],
        }
    }

    /// Adds a row of as many cells as there are kept columns. A cell of the wrong kind counts as nothing.
    pub fn push<const N: usize>(&mut self, cells: [Cell<'_>; N]) {
        debug_assert_eq!(N, self.columns.len(), "a row has a cell for each kept column");
        let columns = self.columns.iter_mut().zip(&self.kinds).zip(&mut self.known);
        for (((column, kind), known), cell) in columns.zip(cells) {
            match column {
                Column::Numbers(numbers) => numbers.push(match (cell, kind) {
                    (Cell::Decimal(number), Kind::Decimal(places)) => scaled_up(number, *places),
                    (Cell::Whole(number), Kind::Whole) => number,
                    _ => NOTHING,
                }),
                Column::Times(times) => times.push(if let Cell::Time(time) = cell { time } else { Crotchets::ZERO }),
                Column::Texts(texts) => {
                    let Cell::Text(text) = cell else {
                        texts.of.push(NOTHING);
                        continue;
                    };
                    let word = known.get(text).copied().unwrap_or_else(|| {
                        let word = i64::try_from(texts.words.len()).unwrap_or(NOTHING);
                        texts.words.push(text.to_owned());
                        known.insert(text.to_owned(), word);
                        word
                    });
                    texts.of.push(word);
                }
            }
        }
    }

    /// The columns.
    #[must_use]
    pub fn finish(self) -> Vec<Column> {
        self.columns
    }
}
