//! What a person keeps of a score: remarks on bars or on a span, and bookmarks of views.

use rusqlite::{Connection, OptionalExtension, Row};

use crate::error::{Result, fail};
use crate::load::Reader;
use crate::store::Library;

/// Where in a score a remark stands, besides the printed bars.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// First bar, from 0, each bar once in page order.
    pub first_bar: u32,
    /// Last bar.
    pub last_bar: u32,
    /// The part it is about, by name; empty for all of them.
    pub part: String,
}

/// A person's remark on a score.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// Its number.
    pub remark: i64,
    /// The score.
    pub score: i64,
    /// The printed bars it is about; may be empty.
    pub printed_bars: String,
    /// What it says.
    pub text: String,
    /// The bars it was made on. The score may have changed since.
    pub place: Option<Place>,
}

/// A view of a score that a person wants to find again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bookmark {
    /// Its number.
    pub bookmark: i64,
    /// The score.
    pub score: i64,
    /// What it is called.
    pub name: String,
    /// The view, as whoever shows it writes it down.
    pub view: String,
}

/// Most bytes of a remark, or of a bookmark's view.
const MOST_TEXT: usize = 20_000;

/// Most bytes of a bookmark's name.
const MOST_NAME: usize = 200;

fn remark(row: &Row<'_>) -> rusqlite::Result<Remark> {
    let (first, last): (Option<u32>, Option<u32>) = (row.get(4)?, row.get(5)?);
    let part: String = row.get(6)?;
    let place = first.zip(last).map(|(first_bar, last_bar)| Place { first_bar, last_bar, part });
    Ok(Remark { remark: row.get(0)?, score: row.get(1)?, printed_bars: row.get(2)?, text: row.get(3)?, place })
}

/// Remarks on a score, or on all, in the order they were made.
fn remarks(connection: &Connection, score: Option<i64>) -> rusqlite::Result<Vec<Remark>> {
    let sql = "SELECT remark, score, printed_bars, remark_text, first_bar, last_bar, part FROM remarks \
        WHERE ?1 IS NULL OR score = ?1 ORDER BY remark";
    connection.prepare(sql)?.query_map([score], remark).and_then(Iterator::collect)
}

fn worded(text: &str) -> Result<&str> {
    match text.trim() {
        "" => fail("the remark is empty; say something"),
        text if text.len() > MOST_TEXT => fail(format!("the remark is too long: at most {MOST_TEXT} letters are kept")),
        text => Ok(text),
    }
}

impl Library {
    /// Keeps a remark on a score; `printed_bars` says where and may be empty. Answers its number.
    ///
    /// # Errors
    /// When the text is empty or too long, or the library cannot be written to.
    pub fn remark(&mut self, score: i64, printed_bars: &str, text: &str) -> Result<i64> {
        self.keep_remark(score, printed_bars, None, text)
    }

    /// Keeps a remark on bars, of one part or of all. Answers its number.
    ///
    /// # Errors
    /// When the text is empty or too long, or the library cannot be written to.
    pub fn remark_at(&mut self, score: i64, printed_bars: &str, place: &Place, text: &str) -> Result<i64> {
        self.keep_remark(score, printed_bars, Some(place), text)
    }

    fn keep_remark(&mut self, score: i64, printed_bars: &str, place: Option<&Place>, text: &str) -> Result<i64> {
        let text = worded(text)?;
        let bars = place.map(|place| (place.first_bar, place.last_bar));
        let part = place.map_or("", |place| place.part.trim());
        self.change(score, |transaction| {
            let sql = "INSERT INTO remarks (score, printed_bars, remark_text, first_bar, last_bar, part) \
                VALUES (?1, ?2, ?3, ?4, ?5, ?6) RETURNING remark";
            let values = (score, printed_bars.trim(), text, bars.map(|bars| bars.0), bars.map(|bars| bars.1), part);
            transaction.query_row(sql, values, |row| row.get(0))
        })
    }

    /// Says a remark otherwise.
    ///
    /// # Errors
    /// When there is none of this number, the text is empty or too long, or the library cannot be written to.
    pub fn reword_remark(&mut self, remark: i64, text: &str) -> Result<()> {
        let text = worded(text)?;
        let score = self.remarked(remark)?;
        let sql = "UPDATE remarks SET remark_text = ?2 WHERE remark = ?1";
        self.change(score, |transaction| transaction.execute(sql, (remark, text)).map(|_| ()))
    }

    /// Says that the music of a remark lies in other bars now.
    ///
    /// # Errors
    /// When there is none of this number, or the library cannot be written to.
    pub fn move_remark(&mut self, remark: i64, printed_bars: &str, (first, last): (u32, u32)) -> Result<()> {
        let score = self.remarked(remark)?;
        let sql = "UPDATE remarks SET printed_bars = ?2, first_bar = ?3, last_bar = ?4 WHERE remark = ?1";
        self.change(score, |transaction| transaction.execute(sql, (remark, printed_bars.trim(), first, last)).map(|_| ()))
    }

    /// Takes a remark away.
    ///
    /// # Errors
    /// When there is none of this number, or the library cannot be written to.
    pub fn remove_remark(&mut self, remark: i64) -> Result<()> {
        let score = self.remarked(remark)?;
        self.change(score, |transaction| transaction.execute("DELETE FROM remarks WHERE remark = ?1", [remark]).map(|_| ()))
    }

    /// The score a remark is on.
    fn remarked(&self, remark: i64) -> Result<i64> {
        let sql = "SELECT score FROM remarks WHERE remark = ?1";
        let score = self.connection.query_row(sql, [remark], |row| row.get(0)).optional().map_err(|error| self.say(&error))?;
        score.map_or_else(|| fail(format!("the library has no remark {remark}")), Ok)
    }

    /// Remarks on a score, or on all, in the order they were made.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn remarks(&self, score: Option<i64>) -> Result<Vec<Remark>> {
        remarks(&self.connection, score).map_err(|error| self.say(&error))
    }

    /// Keeps a view of a score under a name. Answers its number.
    ///
    /// # Errors
    /// When the name is empty or too long, or the library cannot be written to.
    pub fn bookmark(&mut self, score: i64, name: &str, view: &str) -> Result<i64> {
        let name = name.trim();
        if name.is_empty() {
            return fail("the bookmark needs a name");
        }
        if name.len() > MOST_NAME || view.len() > MOST_TEXT {
            return fail(format!("the bookmark is too long: a name has at most {MOST_NAME} letters"));
        }
        let sql = "INSERT INTO bookmarks (score, name, view) VALUES (?1, ?2, ?3) RETURNING bookmark";
        self.change(score, |transaction| transaction.query_row(sql, (score, name, view), |row| row.get(0)))
    }

    /// Takes a bookmark away.
    ///
    /// # Errors
    /// When the score has none of this number, or the library cannot be written to.
    pub fn remove_bookmark(&mut self, score: i64, bookmark: i64) -> Result<()> {
        let sql = "DELETE FROM bookmarks WHERE score = ?1 AND bookmark = ?2";
        let gone = self.change(score, |transaction| transaction.execute(sql, (score, bookmark)))?;
        if gone == 0 { fail(format!("the score has no bookmark {bookmark}")) } else { Ok(()) }
    }
}

impl Reader {
    /// Remarks on a score, in the order they were made.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn remarks(&self, score: i64) -> Result<Vec<Remark>> {
        remarks(&self.connection, Some(score)).map_err(|error| self.say(&error))
    }

    /// Bookmarks of a score, in the order they were made.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn bookmarks(&self, score: i64) -> Result<Vec<Bookmark>> {
        let say = |error: rusqlite::Error| self.say(&error);
        let sql = "SELECT bookmark, score, name, view FROM bookmarks WHERE score = ?1 ORDER BY bookmark";
        let mut statement = self.connection.prepare(sql).map_err(say)?;
        let one =
            |row: &Row<'_>| Ok(Bookmark { bookmark: row.get(0)?, score: row.get(1)?, name: row.get(2)?, view: row.get(3)? });
        let rows = statement.query_map([score], one).and_then(Iterator::collect);
        rows.map_err(say)
    }
}
