//! Backup and restore.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::backup::Backup;
use rusqlite::{Connection, OpenFlags};

use crate::error::{LibraryError, Result, fail, of_io, of_sqlite};
use crate::schema::{Layout, VERSION, layout};
use crate::store::Library;

/// Pages copied at a time.
const PAGES: i32 = 4096;

impl Library {
    /// Copies the library into a new file, compacted, while it stays in use; the copy is checked before it gets its name.
    ///
    /// # Errors
    /// When there is a file of that name, no room, or the copy is not sound.
    pub fn backup(&self, to: &Path) -> Result<()> {
        if to.exists() {
            return fail(format!("{}: there is a file of this name; name a new one", to.display()));
        }
        let partial = beside(to, ".partial");
        let _ = std::fs::remove_file(&partial);
        let copied = self
            .connection
            .execute("VACUUM INTO ?1", [partial.to_string_lossy()])
            .map_err(|error| of_sqlite(to, &error))
            .and_then(|_| sound(&partial))
            .and_then(|()| std::fs::rename(&partial, to).map_err(|error| of_io(to, "the backup cannot be written", &error)));
        if copied.is_err() {
            let _ = std::fs::remove_file(&partial);
        }
        copied
    }
}

/// Makes the library at `to` what the backup at `from` is: all of it or, should the process die, nothing. A library that is
/// there is replaced only where `replace` says so.
///
/// # Errors
/// When the backup is not sound or no library, when there is a library already, or it cannot be written to.
pub fn restore(from: &Path, to: &Path, replace: bool) -> Result<()> {
    if !from.is_file() {
        return fail(format!("{}: there is no such file", from.display()));
    }
    sound(from)?;
    if to.exists() && !replace {
        return fail(format!("{}: there is a library already; say --replace to give it up for the backup", to.display()));
    }
    let source = read(from)?;
    let say = |error: rusqlite::Error| of_sqlite(to, &error);
    let mut library = match Library::open_or_create(to) {
        Ok(library) => library,
        // What is there cannot be opened, which is what a backup is for: it is set aside, not thrown away.
        Err(_) if replace => {
            for ending in ["", "-wal", "-shm"] {
                let old = beside(to, ending);
                if old.exists() {
                    std::fs::rename(&old, beside(to, &format!(".damaged{ending}")))
                        .map_err(|error| of_io(&old, "the damaged library cannot be set aside", &error))?;
                }
            }
            Library::open_or_create(to)?
        }
        Err(error) => return Err(error),
    };
    let backup = Backup::new(&source, &mut library.connection).map_err(say)?;
    backup.run_to_completion(PAGES, Duration::from_millis(20), None).map_err(say)?;
    drop(backup);
    drop(library);
    // Brings a backup of an older layout to the newest.
    Library::open(to).map(|_| ())
}

fn read(path: &Path) -> Result<Connection> {
    Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX)
        .map_err(|error| of_sqlite(path, &error))
}

/// Whether a file is a library, whole, and of a layout known here.
fn sound(path: &Path) -> Result<()> {
    let say = |error: rusqlite::Error| of_sqlite(path, &error);
    let connection = read(path)?;
    match layout(&connection).map_err(say)? {
        Layout::Version(version) if version <= VERSION => {}
        Layout::Version(_) => {
            return fail(format!("{}: this was made by a newer version of the program. Use that version", path.display()));
        }
        Layout::Empty | Layout::Foreign => return fail(format!("{}: this is no backup of a library", path.display())),
    }
    let verdict: String = connection.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0)).map_err(say)?;
    if verdict == "ok" {
        return Ok(());
    }
    Err(LibraryError(format!("{}: the file is damaged ({verdict}). Use another backup", path.display())))
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path.as_os_str());
    name.push(ending);
    name.into()
}
