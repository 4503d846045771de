//! The record of a study: everything worth keeping, as tables of few bytes.
//!
//! A record is made from a study ([`Record::of`]) or unpacked from a library, table by table and column by column as they are
//! asked for. Questions are answered from it, so that one file and a thousand kept scores answer alike.

mod bars;
mod behind;
mod column;
mod heard;
mod made;
mod pack;
mod shape;
mod spans;

use std::sync::OnceLock;

use ripieno_score::Crotchets;

pub use column::{Cell, Column, Filling, NOTHING, Texts};
pub use made::{MomentRow, line_up};
pub use pack::Damaged;
pub use shape::{ColumnShape, Kind, SHAPES, Shape, shape};

/// A table, packed until asked for.
#[derive(Debug, Clone)]
pub struct Table {
    /// What it is.
    pub shape: &'static Shape,
    /// Rows.
    pub rows: usize,
    packed: Vec<Vec<u8>>,
    columns: Vec<OnceLock<Column>>,
}

impl Table {
    /// A table of these columns, one for each that is kept.
    #[must_use]
    pub fn new(shape: &'static Shape, columns: Vec<Column>) -> Self {
        let rows = columns.first().map_or(0, Column::len);
        Self { shape, rows, packed: Vec::new(), columns: columns.into_iter().map(OnceLock::from).collect() }
    }

    /// As bytes, for [`Self::unpack`].
    #[must_use]
    pub fn pack(&self) -> Vec<u8> {
        let columns = (0..self.columns.len()).map(|column| match self.columns[column].get() {
            Some(column) => pack::pack(column),
            None => self.packed.get(column).cloned().unwrap_or_default(),
        });
        let columns: Vec<Vec<u8>> = columns.collect();
        let mut bytes = Vec::new();
        for column in &columns {
            pack::put(&mut bytes, u64::try_from(column.len()).unwrap_or(0));
        }
        bytes.extend(columns.iter().flatten());
        bytes
    }

    /// From bytes; columns are unpacked when asked for.
    ///
    /// # Errors
    /// When the bytes are no such table.
    pub fn unpack(shape: &'static Shape, rows: usize, bytes: &[u8]) -> Result<Self, Damaged> {
        if rows > pack::MOST_ROWS {
            return Err(Damaged);
        }
        let mut rest = bytes;
        let mut lengths = Vec::new();
        for _ in shape.kept() {
            lengths.push(usize::try_from(pack::take(&mut rest)?).map_err(|_| Damaged)?);
        }
        let mut packed = Vec::new();
        for length in lengths {
            let (column, after) = rest.split_at_checked(length).ok_or(Damaged)?;
            packed.push(column.to_vec());
            rest = after;
        }
        let columns = packed.iter().map(|_| OnceLock::new()).collect();
        Ok(Self { shape, rows, packed, columns })
    }

    /// A kept column by place.
    ///
    /// # Errors
    /// When its bytes are damaged or there is none.
    pub fn column(&self, index: usize) -> Result<&Column, Damaged> {
        let slot = self.columns.get(index).ok_or(Damaged)?;
        if let Some(column) = slot.get() {
            return Ok(column);
        }
        let packed = self.packed.get(index).ok_or(Damaged)?;
        let column = pack::unpack(packed, self.shape.columns[index].kind, self.rows)?;
        Ok(slot.get_or_init(|| column))
    }

    fn named(&self, name: &str) -> Result<&Column, Damaged> {
        self.column(self.shape.column(name).ok_or(Damaged)?)
    }

    /// A column of numbers; [`NOTHING`] where there is none.
    ///
    /// # Errors
    /// As [`Self::column`], and when it holds something else.
    pub fn numbers(&self, name: &str) -> Result<&[i64], Damaged> {
        if let Column::Numbers(numbers) = self.named(name)? { Ok(numbers) } else { Err(Damaged) }
    }

    /// A column of times.
    ///
    /// # Errors
    /// As [`Self::numbers`].
    pub fn times(&self, name: &str) -> Result<&[Crotchets], Damaged> {
        if let Column::Times(times) = self.named(name)? { Ok(times) } else { Err(Damaged) }
    }

    /// A column of texts.
    ///
    /// # Errors
    /// As [`Self::numbers`].
    pub fn texts(&self, name: &str) -> Result<&Texts, Damaged> {
        if let Column::Texts(texts) = self.named(name)? { Ok(texts) } else { Err(Damaged) }
    }
}

/// The tables of one score. Tables that were not loaded are absent.
#[derive(Debug, Clone, Default)]
pub struct Record {
    tables: Vec<Table>,
}

impl Record {
    /// A record of these tables.
    #[must_use]
    pub const fn from_tables(tables: Vec<Table>) -> Self {
        Self { tables }
    }

    /// All tables.
    #[must_use]
    pub fn tables(&self) -> &[Table] {
        &self.tables
    }

    /// A table by name.
    ///
    /// # Errors
    /// When it is not there.
    pub fn table(&self, name: &str) -> Result<&Table, Damaged> {
        self.tables.iter().find(|table| table.shape.name == name).ok_or(Damaged)
    }

    /// What stands in a column, looked up in another table where it is not kept in its own.
    ///
    /// # Errors
    /// When the record is damaged or lacks a table.
    pub fn cell<'a>(&'a self, table: &'a Table, column: usize, row: usize) -> Result<Cell<'a>, Damaged> {
        let kind = table.shape.columns.get(column).ok_or(Damaged)?.kind;
        let Kind::Of { table: other, column: wanted, row: by } = kind else {
            return Ok(table.column(column)?.cell(row, kind));
        };
        let Some(Ok(row)) = table.numbers(by)?.get(row).map(|&row| usize::try_from(row)) else { return Ok(Cell::Nothing) };
        let other = self.table(other)?;
        let column = other.shape.column(wanted).ok_or(Damaged)?;
        Ok(other.column(column)?.cell(row, other.shape.columns[column].kind))
    }
}
