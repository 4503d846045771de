//! SQL over a library, read only.

use std::path::Path;
use std::time::{Duration, Instant};

use rusqlite::ErrorCode;
use rusqlite::fallible_iterator::FallibleIterator;
use rusqlite::hooks::{AuthAction, AuthContext, Authorization};
use rusqlite::limits::Limit;
use rusqlite::types::{Value, ValueRef};

use crate::error::{LibraryError, Result, fail};
use crate::load::Reader;
use crate::views::make_views;

/// Rows that a query answers.
#[derive(Debug, Clone, PartialEq)]
pub struct Rows {
    /// Names of the columns.
    pub columns: Vec<String>,
    /// The rows.
    pub rows: Vec<Vec<Value>>,
}

/// What an answer may cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bounds {
    /// Rows; more are left out.
    pub rows: usize,
    /// Bytes of texts and blobs together.
    pub bytes: usize,
    /// Time.
    pub time: Duration,
}

/// Most rows of an answer, so that a slip of the pen does not fill the memory.
const MOST_ROWS: usize = 5_000_000;

/// Steps of SQLite's own machine between two looks at the clock.
const STEPS: i32 = 10_000;

/// Most bytes of one text or blob, where time and room are bounded.
const MOST_CELL: i32 = 4 << 20;

/// Answers one SQL statement over the tables and views described in `docs/library.md`. Nothing can be changed by it.
///
/// # Errors
/// When the statement is not understood, is not one, or would change something; and as [`Reader::open`].
pub fn query(library: &Path, sql: &str) -> Result<Rows> {
    let (answer, is_all) = answered(library, sql, None)?;
    if is_all {
        Ok(answer)
    } else {
        fail(format!("the answer has more than {MOST_ROWS} rows; add a WHERE or LIMIT, or export the library"))
    }
}

/// As [`query`], at most so many rows, bytes and so long; tells whether these are all rows there are.
///
/// # Errors
/// As [`query`], and when the time or the room is over.
pub fn query_within(library: &Path, sql: &str, bounds: Bounds) -> Result<(Rows, bool)> {
    answered(library, sql, Some(bounds))
}

fn answered(library: &Path, sql: &str, bounds: Option<Bounds>) -> Result<(Rows, bool)> {
    let mut reader = Reader::open(library)?;
    make_views(&reader)?;
    // Full-text search makes itself ready with statements of its own; after that it only reads.
    reader.connection.execute_batch("SELECT rowid FROM search WHERE search MATCH 'a'").map_err(|error| reader.say(&error))?;
    let wrong = |error: rusqlite::Error| match (error.sqlite_error_code(), bounds) {
        (Some(ErrorCode::OperationInterrupted), Some(bounds)) => LibraryError(format!(
            "the answer takes longer than {} seconds; ask for less, name one score, or ask with `ripieno ask --sql`",
            bounds.time.as_secs()
        )),
        (Some(ErrorCode::TooBig), Some(_)) => LibraryError("the answer is too large; ask for less".to_owned()),
        _ => LibraryError(format!("the SQL is not understood: {}", told(&error))),
    };
    if let Some(bounds) = bounds {
        let end = Instant::now() + bounds.time;
        let limited = reader.connection.set_limit(Limit::SQLITE_LIMIT_LENGTH, MOST_CELL).map(|_| ());
        limited
            .and_then(|()| reader.connection.progress_handler(STEPS, Some(move || Instant::now() > end)))
            .map_err(|error| reader.say(&error))?;
    }
    if let Err(error) = reader.connection.authorizer(Some(only_reading)) {
        return Err(reader.say(&error));
    }
    let mut batch = rusqlite::Batch::new(&reader.connection, sql);
    let Some(mut statement) = batch.next().map_err(wrong)? else {
        return fail("there is no SQL statement to answer; begin it with SELECT");
    };
    if batch.next().map_err(wrong)?.is_some() {
        return fail("several SQL statements were given; ask one at a time");
    }
    let columns: Vec<String> = statement.column_names().map(str::to_owned).collect();
    let mut answer = Rows { columns, rows: Vec::new() };
    let mut rows = statement.query([]).map_err(wrong)?;
    let most = bounds.map_or(MOST_ROWS, |bounds| bounds.rows);
    let mut bytes = 0usize;
    while let Some(row) = rows.next().map_err(wrong)? {
        if answer.rows.len() >= most {
            return Ok((answer, false));
        }
        let cells = (0..answer.columns.len()).map(|column| row.get(column));
        let cells = cells.collect::<rusqlite::Result<Vec<Value>>>().map_err(wrong)?;
        bytes += cells.iter().map(length).sum::<usize>();
        if bounds.is_some_and(|bounds| bytes > bounds.bytes) {
            return fail("the answer is too large; ask for fewer rows or columns");
        }
        answer.rows.push(cells);
    }
    Ok((answer, true))
}

fn length(value: &Value) -> usize {
    match value {
        Value::Text(text) => text.len(),
        Value::Blob(bytes) => bytes.len(),
        Value::Null | Value::Integer(_) | Value::Real(_) => 8,
    }
}

fn told(error: &rusqlite::Error) -> String {
    match error {
        rusqlite::Error::SqliteFailure(_, Some(what)) => what.clone(),
        rusqlite::Error::SqlInputError { msg, sql, offset, .. } => {
            let at = usize::try_from(*offset).ok().and_then(|offset| sql.get(offset..));
            match at.filter(|rest| !rest.is_empty()) {
                Some(rest) => format!("{msg}, at “{}”", rest.chars().take(30).collect::<String>()),
                None => msg.clone(),
            }
        }
        other => other.to_string(),
    }
}

/// Reading, and nothing else: no other file is attached, no setting changed.
fn only_reading(context: AuthContext<'_>) -> Authorization {
    match context.action {
        AuthAction::Select | AuthAction::Read { .. } | AuthAction::Function { .. } | AuthAction::Recursive => {
            Authorization::Allow
        }
        // Full-text search asks whether the file has changed.
        AuthAction::Pragma { pragma_name: "data_version", pragma_value: None } => Authorization::Allow,
        _ => Authorization::Deny,
    }
}

/// A value as text, nothing as an empty one.
#[must_use]
pub fn text_of(value: &Value) -> String {
    match ValueRef::from(value) {
        ValueRef::Null => String::new(),
        ValueRef::Integer(number) => number.to_string(),
        ValueRef::Real(number) => number.to_string(),
        ValueRef::Text(text) => String::from_utf8_lossy(text).into_owned(),
        ValueRef::Blob(bytes) => format!("{} bytes", bytes.len()),
    }
}
