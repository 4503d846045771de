//! Kept records, loaded table by table.

use std::path::{Path, PathBuf};

use ripieno_questions::record::{Record, SHAPES, Table, shape};
use rusqlite::Connection;

use crate::error::{LibraryError, Result, of_damage, of_sqlite};
use crate::store::connect_to_read;

/// A library opened to read only. Scores may be added meanwhile; what is read is each as it was at one moment.
#[derive(Debug)]
pub struct Reader {
    pub(crate) connection: Connection,
    pub(crate) path: PathBuf,
}

/// A kept score by number and name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its number.
    pub score: i64,
    /// Where its file lay when it was taken in.
    pub path: PathBuf,
    /// Name of its file.
    pub file: String,
    /// Title.
    pub title: String,
}

impl Reader {
    /// Opens the library at `path`; one of an older layout is brought to the newest first.
    ///
    /// # Errors
    /// When there is none, or it is something else, made by a newer program, or cannot be opened.
    pub fn open(path: &Path) -> Result<Self> {
        let connection = connect_to_read(path)?;
        // All that is read belongs to one moment: the first read begins a transaction that nothing ends.
        connection.execute_batch("BEGIN").map_err(|error| of_sqlite(path, &error))?;
        Ok(Self { connection, path: path.to_owned() })
    }

    pub(crate) fn say(&self, error: &rusqlite::Error) -> LibraryError {
        of_sqlite(&self.path, error)
    }

    /// All scores, in the order they were first kept.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn scores(&self) -> Result<Vec<Entry>> {
        let sql = "SELECT score, file, title, path FROM scores ORDER BY score";
        let mut statement = self.connection.prepare(sql).map_err(|error| self.say(&error))?;
        let entry = |row: &rusqlite::Row<'_>| {
            let path: String = row.get(3)?;
            Ok(Entry { score: row.get(0)?, path: path.into(), file: row.get(1)?, title: row.get(2)? })
        };
        let rows = statement.query_map([], entry).and_then(Iterator::collect);
        rows.map_err(|error| self.say(&error))
    }

    /// Tables of a score; all of them where none is named. Tables that an older record lacks are empty.
    ///
    /// # Errors
    /// When the library cannot be read, or what is kept is damaged.
    pub fn record(&self, score: i64, tables: &[&str]) -> Result<Record> {
        let say = |error: rusqlite::Error| self.say(&error);
        let mut statement =
            self.connection.prepare_cached("SELECT rows, data FROM record WHERE score = ?1 AND name = ?2").map_err(say)?;
        let mut found = Vec::new();
        for shape in SHAPES.iter().filter(|shape| tables.is_empty() || tables.contains(&shape.name)) {
            let mut rows = statement.query((score, shape.name)).map_err(say)?;
            let Some(row) = rows.next().map_err(say)? else { continue };
            let count: i64 = row.get(0).map_err(say)?;
            let data = row.get_ref(1).map_err(say)?;
            let table = usize::try_from(count).ok().zip(data.as_blob().ok()).ok_or(ripieno_questions::record::Damaged);
            let table = table.and_then(|(count, data)| Table::unpack(shape, count, data));
            found.push(table.map_err(|damaged| of_damage(&self.path, score, damaged))?);
        }
        Ok(Record::from_tables(found))
    }

    /// One table of a score; `None` where it has none of that name.
    pub(crate) fn table(&self, score: i64, name: &str) -> Result<Option<Table>> {
        let Some(shape) = shape(name) else { return Ok(None) };
        Ok(self.record(score, &[shape.name])?.tables().first().cloned())
    }
}
