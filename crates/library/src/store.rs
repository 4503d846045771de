//! Opening a library.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags};

use crate::error::{LibraryError, Result, fail, of_sqlite};
use crate::schema::{Layout, STEPS, VERSION, foreign, layout, migrate};

/// How long a command waits for another program that writes.
const PATIENCE: Duration = Duration::from_secs(30);

/// A library of scores: one SQLite file.
///
/// Every change is one transaction, so a process that dies leaves the library as it was before the change in hand. Several
/// processes may use a library at once; writers take turns.
#[derive(Debug)]
pub struct Library {
    pub(crate) connection: Connection,
    pub(crate) path: PathBuf,
}

impl Library {
    /// Opens the library at `path`, begins one when there is no file, and brings an older one to the newest layout.
    ///
    /// # Errors
    /// When the file is something else, made by a newer program, or cannot be opened.
    pub fn open_or_create(path: &Path) -> Result<Self> {
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder)
                .map_err(|error| LibraryError(format!("{}: the folder cannot be made ({error})", folder.display())))?;
        }
        Self::opened(path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE)
    }

    /// Opens a library that is there.
    ///
    /// # Errors
    /// As [`Self::open_or_create`], and when there is none.
    pub fn open(path: &Path) -> Result<Self> {
        there(path)?;
        Self::opened(path, OpenFlags::SQLITE_OPEN_READ_WRITE)
    }

    fn opened(path: &Path, flags: OpenFlags) -> Result<Self> {
        let say = |error: &rusqlite::Error| of_sqlite(path, error);
        let mut connection = connect(path, flags).map_err(|error| say(&error))?;
        match layout(&connection).map_err(|error| say(&error))? {
            Layout::Foreign => return Err(say(&foreign())),
            Layout::Version(version) if version > VERSION => return fail(newer(path)),
            Layout::Empty | Layout::Version(_) => {}
        }
        write_ahead(&connection).map_err(|error| say(&error))?;
        migrate(&mut connection, STEPS, say)?;
        Ok(Self { connection, path: path.to_owned() })
    }

    /// Where it lies.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Limits the file to so many pages of 4096 bytes, as a full disk would; for tests.
    ///
    /// # Errors
    /// When the limit cannot be set.
    #[doc(hidden)]
    pub fn limit_pages(&self, pages: u32) -> Result<()> {
        self.connection.pragma_update(None, "max_page_count", pages).map_err(|error| self.say(&error))
    }

    pub(crate) fn say(&self, error: &rusqlite::Error) -> LibraryError {
        of_sqlite(&self.path, error)
    }
}

fn newer(path: &Path) -> String {
    format!("{}: this library was made by a newer version of the program. Use that version", path.display())
}

fn there(path: &Path) -> Result<()> {
    if path.is_file() {
        return Ok(());
    }
    fail(format!("{}: there is no library here yet. Begin one with `ripieno library add FILE`", path.display()))
}

fn connect(path: &Path, flags: OpenFlags) -> rusqlite::Result<Connection> {
    let connection = Connection::open_with_flags(path, flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    connection.busy_timeout(PATIENCE)?;
    connection.pragma_update(None, "foreign_keys", true)?;
    Ok(connection)
}

/// A connection that can only read, to a library of the newest layout; an older one is brought there first.
pub(crate) fn connect_to_read(path: &Path) -> Result<Connection> {
    let say = |error: rusqlite::Error| of_sqlite(path, &error);
    there(path)?;
    let read = || connect(path, OpenFlags::SQLITE_OPEN_READ_ONLY);
    let connection = read().map_err(say)?;
    match layout(&connection).map_err(say)? {
        Layout::Version(version) if version > VERSION => fail(newer(path)),
        Layout::Version(VERSION) => Ok(connection),
        Layout::Version(_) | Layout::Empty => {
            drop(connection);
            drop(Library::open(path)?);
            read().map_err(say)
        }
        Layout::Foreign => Err(say(foreign())),
    }
}

/// Readers go on while one writes, and a commit is one append. Changing the mode does not wait by itself when another process
/// is about to do the same.
fn write_ahead(connection: &Connection) -> rusqlite::Result<()> {
    for _ in 0..100 {
        match connection.pragma_update_and_check(None, "journal_mode", "wal", |row| row.get::<_, String>(0)) {
            Err(error) if error.sqlite_error_code() == Some(ErrorCode::DatabaseBusy) => {
                std::thread::sleep(Duration::from_millis(50));
            }
            Err(error) => return Err(error),
            Ok(_) => break,
        }
    }
    // A commit survives the death of the process; a power cut may cost the last ones, never the database.
    connection.pragma_update(None, "synchronous", "NORMAL")
}
