//! The tables of records as SQL views.
//!
//! A view counts rows and asks, for each value wanted, the function `kept` for it; that function keeps the tables of the scores
//! last asked for unpacked, column by column as they are asked for, so that a join may go to and fro between scores. So a query
//! costs what it looks at, and memory is bounded.

use std::fmt::Write;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use ripieno_questions::record::{Cell, ColumnShape, Kind, Record, SHAPES, Shape, Table};
use rusqlite::functions::{Context, FunctionFlags};
use rusqlite::types::Value;
use rusqlite::vtab::series;

use crate::error::Result;
use crate::load::Reader;

/// A column of a view: its name and the place and form of what it shows.
pub(crate) struct ViewColumn {
    pub name: String,
    pub column: usize,
    /// An exact time as a fraction.
    pub exact: bool,
    pub kind: Kind,
}

/// What a view or export of a table shows: each column once, times twice.
pub(crate) fn view_columns(shape: &'static Shape) -> Vec<ViewColumn> {
    let of = |(column, shape): (usize, &ColumnShape)| {
        let view = |name: String, exact| ViewColumn { name, column, exact, kind: shape.kind };
        let exact = (shape.kind == Kind::Time).then(|| view(format!("{}_exact", shape.name), true));
        std::iter::once(view(shape.name.to_owned(), false)).chain(exact)
    };
    shape.columns.iter().enumerate().flat_map(of).collect()
}

/// Makes the views on a connection that may only read; they last as long as it does.
pub(crate) fn make_views(reader: &Reader) -> Result<()> {
    let say = |error: rusqlite::Error| reader.say(&error);
    let connection = &reader.connection;
    series::load_module(connection).map_err(say)?;
    let cache = Cache::open(&reader.path)?;
    let flags = FunctionFlags::SQLITE_UTF8 | FunctionFlags::SQLITE_DETERMINISTIC;
    connection.create_scalar_function("kept", 5, flags, move |context| cache.value(context)).map_err(say)?;
    let mut sql = String::new();
    for (index, shape) in SHAPES.iter().enumerate() {
        let columns: String = view_columns(shape)
            .iter()
            .map(|view| {
                format!(", kept(r.score, {index}, {}, i.value, {}) AS \"{}\"", view.column, u8::from(view.exact), view.name)
            })
            .collect();
        let _ = write!(
            sql,
            "CREATE TEMP VIEW {} AS SELECT r.score AS score{columns} \
             FROM record r JOIN generate_series(0, r.rows - 1) i WHERE r.name = '{}';",
            shape.name, shape.name
        );
    }
    connection.execute_batch(&sql).map_err(say)
}

/// Values in memory at most, some 16 bytes each; the score in hand stays whatever it holds.
const MOST_VALUES: usize = 16 << 20;

/// The scores last asked for.
struct Cache {
    held: Mutex<Held>,
}

struct Held {
    reader: Reader,
    /// Scores in memory, the one asked for last at the end.
    scores: Vec<Unpacked>,
}

/// The tables of a score by place in [`SHAPES`]; `None` where not asked for yet.
struct Unpacked {
    score: i64,
    tables: Vec<Option<Table>>,
    /// Values of its tables, were all of their columns unpacked.
    values: usize,
}

impl Cache {
    fn open(path: &Path) -> Result<Self> {
        let reader = Reader::open(path)?;
        Ok(Self { held: Mutex::new(Held { reader, scores: Vec::new() }) })
    }

    fn value(&self, context: &Context<'_>) -> rusqlite::Result<Value> {
        let score: i64 = context.get(0)?;
        let place = |argument: usize| context.get::<i64>(argument).map(|place| usize::try_from(place).unwrap_or(usize::MAX));
        let (table, column, row) = (place(1)?, place(2)?, place(3)?);
        let exact: bool = context.get(4)?;
        let failed = |error: crate::LibraryError| rusqlite::Error::UserFunctionError(Box::new(error));
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        held.turn_to(score);
        let Some(shape) = SHAPES.get(table) else { return Ok(Value::Null) };
        let wanted = shape.columns.get(column).map(|column| column.kind);
        held.load(table).map_err(failed)?;
        let (table, column, row) = match wanted {
            Some(Kind::Of { table: other, column, row: by }) => {
                let by = held.number(table, by, row).map_err(failed)?;
                let Some(other) = SHAPES.iter().position(|shape| shape.name == other) else { return Ok(Value::Null) };
                let Some(row) = by else { return Ok(Value::Null) };
                held.load(other).map_err(failed)?;
                (other, SHAPES[other].column(column).unwrap_or(usize::MAX), row)
            }
            _ => (table, column, row),
        };
        let Some(table) = held.table(table) else { return Ok(Value::Null) };
        let Some(kind) = table.shape.columns.get(column).map(|column| column.kind) else { return Ok(Value::Null) };
        let column = table.column(column).map_err(|damaged| failed(held.damaged(damaged)))?;
        Ok(value(column.cell(row, kind), exact))
    }
}

impl Held {
    /// Makes this score the one in hand, and lets those go that were not asked for longest while there are too many values.
    fn turn_to(&mut self, score: i64) {
        if self.scores.last().is_some_and(|held| held.score == score) {
            return;
        }
        let known = self.scores.iter().position(|held| held.score == score);
        let next = known
            .map_or_else(|| Unpacked { score, tables: vec![None; SHAPES.len()], values: 0 }, |known| self.scores.remove(known));
        let mut values: usize = self.scores.iter().map(|held| held.values).sum();
        let mut let_go = 0;
        while values + next.values > MOST_VALUES && let_go < self.scores.len() {
            values -= self.scores[let_go].values;
            let_go += 1;
        }
        self.scores.drain(..let_go);
        self.scores.push(next);
    }

    fn table(&self, table: usize) -> Option<&Table> {
        self.scores.last().and_then(|held| held.tables.get(table)).and_then(Option::as_ref)
    }

    fn load(&mut self, table: usize) -> Result<()> {
        let Some(held) = self.scores.last_mut() else { return Ok(()) };
        if held.tables[table].is_none() {
            held.tables[table] = self.reader.table(held.score, SHAPES[table].name)?;
            held.values += held.tables[table].as_ref().map_or(0, |table| table.rows * table.shape.kept().len());
        }
        Ok(())
    }

    fn number(&self, table: usize, column: &str, row: usize) -> Result<Option<usize>> {
        let Some(table) = self.table(table) else { return Ok(None) };
        let numbers = table.numbers(column).map_err(|damaged| self.damaged(damaged))?;
        Ok(numbers.get(row).and_then(|&number| usize::try_from(number).ok()))
    }

    fn damaged(&self, damaged: ripieno_questions::record::Damaged) -> crate::LibraryError {
        crate::error::of_damage(&self.reader.path, self.scores.last().map_or(-1, |held| held.score), damaged)
    }
}

fn value(cell: Cell<'_>, exact: bool) -> Value {
    match cell {
        Cell::Nothing => Value::Null,
        Cell::Whole(number) => Value::Integer(number),
        Cell::Decimal(number) => Value::Real(number),
        Cell::Time(time) if exact => Value::Text(time.to_string()),
        Cell::Time(time) => Value::Real(time.to_f64()),
        Cell::Text(text) => Value::Text(text.to_owned()),
    }
}

/// A cell of an export.
pub(crate) fn exported(
    record: &Record,
    table: &Table,
    view: &ViewColumn,
    row: usize,
) -> std::result::Result<Value, ripieno_questions::record::Damaged> {
    Ok(value(record.cell(table, view.column, row)?, view.exact))
}
