//! SQL over a library, read only.

use std::path::Path;

use rusqlite::fallible_iterator::FallibleIterator;
use rusqlite::hooks::{AuthAction, AuthContext, Authorization};
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

/// Most rows of an answer, so that a slip of the pen does not fill the memory.
const MOST_ROWS: usize = 5_000_000;

/// Answers one SQL statement over the tables and views described in `docs/library.md`. Nothing can be changed by it.
///
/// # Errors
/// When the statement is not understood, is not one, or would change something; and as [`Reader::open`].
pub fn query(library: &Path, sql: &str) -> Result<Rows> {
    let mut reader = Reader::open(library)?;
    make_views(&reader)?;
    // Full-text search makes itself ready with statements of its own; after that it only reads.
    reader.connection.execute_batch("SELECT rowid FROM search WHERE search MATCH 'a'").map_err(|error| reader.say(&error))?;
    let wrong = |error: rusqlite::Error| LibraryError(format!("the SQL is not understood: {}", told(&error)));
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
    while let Some(row) = rows.next().map_err(wrong)? {
        if answer.rows.len() >= MOST_ROWS {
            return fail(format!("the answer has more than {MOST_ROWS} rows; add a WHERE or LIMIT, or export the library"));
        }
        let cells = (0..answer.columns.len()).map(|column| row.get(column));
        answer.rows.push(cells.collect::<rusqlite::Result<Vec<Value>>>().map_err(wrong)?);
    }
    Ok(answer)
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
