//! How the database is laid out, and every step from layouts there ever were.

use rusqlite::{Connection, TransactionBehavior};

use crate::error::{LibraryError, Result};

/// Marks the file as a library of this program (SQLite `application_id`): "Ripi" in ASCII.
pub(crate) const APPLICATION: i32 = 0x5269_7069;

/// Each entry leads from one version of the layout to the next; the first from an empty file. Entries are added, never changed.
pub(crate) const STEPS: &[&str] = &[
    // 1
    "CREATE TABLE scores (
        score INTEGER PRIMARY KEY AUTOINCREMENT,
        path TEXT NOT NULL UNIQUE,
        file TEXT NOT NULL,
        content TEXT NOT NULL,
        corrections TEXT NOT NULL,
        analysis TEXT NOT NULL,
        format TEXT NOT NULL,
        bytes INTEGER NOT NULL,
        title TEXT NOT NULL,
        composers TEXT NOT NULL,
        work TEXT NOT NULL,
        work_number TEXT NOT NULL,
        movement TEXT NOT NULL,
        movement_number TEXT NOT NULL,
        version TEXT NOT NULL,
        line_up TEXT NOT NULL,
        part_names TEXT NOT NULL,
        bars INTEGER NOT NULL,
        parts INTEGER NOT NULL,
        notes INTEGER NOT NULL,
        seconds REAL NOT NULL
    );
    CREATE INDEX scores_by_content ON scores (content);
    CREATE TABLE record (
        id INTEGER PRIMARY KEY,
        score INTEGER NOT NULL REFERENCES scores (score) ON DELETE CASCADE,
        name TEXT NOT NULL,
        rows INTEGER NOT NULL,
        data BLOB NOT NULL,
        UNIQUE (score, name)
    );
    CREATE TABLE corrections_files (
        score INTEGER PRIMARY KEY REFERENCES scores (score) ON DELETE CASCADE,
        data BLOB NOT NULL
    );
    CREATE TABLE tags (
        score INTEGER NOT NULL REFERENCES scores (score) ON DELETE CASCADE,
        tag TEXT NOT NULL,
        PRIMARY KEY (score, tag)
    ) WITHOUT ROWID;
    CREATE TABLE remarks (
        remark INTEGER PRIMARY KEY AUTOINCREMENT,
        score INTEGER NOT NULL REFERENCES scores (score) ON DELETE CASCADE,
        printed_bars TEXT NOT NULL,
        remark_text TEXT NOT NULL
    );
    CREATE TABLE questions (
        name TEXT PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind IN ('words', 'sql')),
        question TEXT NOT NULL
    ) WITHOUT ROWID;
    CREATE VIRTUAL TABLE search USING fts5 (
        title, composers, parts, remarks, tags, tokenize = 'unicode61 remove_diacritics 2'
    );",
    // 2
    "ALTER TABLE remarks ADD COLUMN first_bar INTEGER;
    ALTER TABLE remarks ADD COLUMN last_bar INTEGER;
    ALTER TABLE remarks ADD COLUMN part TEXT NOT NULL DEFAULT '';
    CREATE TABLE bookmarks (
        bookmark INTEGER PRIMARY KEY AUTOINCREMENT,
        score INTEGER NOT NULL REFERENCES scores (score) ON DELETE CASCADE,
        name TEXT NOT NULL,
        view TEXT NOT NULL
    );",
];

/// The newest version of the layout.
#[allow(clippy::cast_possible_truncation, clippy::cast_possible_wrap)] // a short list
pub(crate) const VERSION: i32 = STEPS.len() as i32;

/// What kind of file it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Layout {
    /// Nothing in it yet.
    Empty,
    /// A library of this version.
    Version(i32),
    /// A database of something else.
    Foreign,
}

pub(crate) fn layout(connection: &Connection) -> rusqlite::Result<Layout> {
    let number = |pragma: &str| connection.pragma_query_value(None, pragma, |row| row.get::<_, i32>(0));
    let (application, version) = (number("application_id")?, number("user_version")?);
    let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    Ok(match (application, tables) {
        (APPLICATION, _) => Layout::Version(version),
        (0, 0) => Layout::Empty,
        _ => Layout::Foreign,
    })
}

/// Brings the database to the newest layout, step by step, each whole or not at all; several processes may try at once.
///
/// `say` turns what SQLite says into words.
pub(crate) fn migrate(connection: &mut Connection, steps: &[&str], say: impl Fn(&rusqlite::Error) -> LibraryError) -> Result<()> {
    loop {
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(|error| say(&error))?;
        let version = match layout(&transaction).map_err(|error| say(&error))? {
            Layout::Empty => 0,
            Layout::Version(version) => version,
            Layout::Foreign => return Err(say(&foreign())),
        };
        let Some(step) = usize::try_from(version).ok().and_then(|version| steps.get(version)) else { return Ok(()) };
        let done = transaction
            .execute_batch(step)
            .and_then(|()| transaction.pragma_update(None, "application_id", APPLICATION))
            .and_then(|()| transaction.pragma_update(None, "user_version", version + 1))
            .and_then(|()| transaction.commit());
        done.map_err(|error| say(&error))?;
    }
}

/// The error for a file that is a database of something else.
pub(crate) fn foreign() -> rusqlite::Error {
    rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_NOTADB), None)
}
