//! Lists, full-text search, tags, removal.

use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior};

use crate::error::{Result, fail, of_sqlite};
use crate::load::Reader;
use crate::store::Library;

/// A kept score, as lists show it.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)] // as the columns of table "scores" in docs/library.md
pub struct Kept {
    pub score: i64,
    pub path: String,
    pub file: String,
    pub title: String,
    pub composers: String,
    pub work: String,
    pub number: String,
    pub version: String,
    pub line_up: String,
    pub bars: i64,
    pub parts: i64,
    pub notes: i64,
    pub tags: Vec<String>,
    pub remarks: i64,
    /// Changes whenever the file, its corrections or the analysis has: what is worked out from the record holds as long as it stays.
    pub stamp: String,
}

const LISTED: &str = "SELECT s.score, s.path, s.file, s.title, s.composers, s.work, s.movement_number, s.version, s.line_up, s.bars, s.parts, s.notes,
    coalesce((SELECT group_concat(tag, char(10)) FROM (SELECT tag FROM tags t WHERE t.score = s.score ORDER BY tag)), ''),
    (SELECT count(*) FROM remarks r WHERE r.score = s.score), s.content || s.corrections || s.analysis
    FROM scores s";

fn kept(row: &Row<'_>) -> rusqlite::Result<Kept> {
    let tags: String = row.get(12)?;
    Ok(Kept {
        score: row.get(0)?,
        path: row.get(1)?,
        file: row.get(2)?,
        title: row.get(3)?,
        composers: row.get(4)?,
        work: row.get(5)?,
        number: row.get(6)?,
        version: row.get(7)?,
        line_up: row.get(8)?,
        bars: row.get(9)?,
        parts: row.get(10)?,
        notes: row.get(11)?,
        tags: tags.lines().map(str::to_owned).collect(),
        remarks: row.get(13)?,
        stamp: row.get(14)?,
    })
}

/// All scores, in the order they were first kept.
fn all(connection: &Connection) -> rusqlite::Result<Vec<Kept>> {
    listed(connection, &format!("{LISTED} ORDER BY s.score"), [])
}

fn listed(connection: &Connection, sql: &str, values: impl rusqlite::Params) -> rusqlite::Result<Vec<Kept>> {
    connection.prepare(sql)?.query_map(values, kept).and_then(Iterator::collect)
}

/// What full-text search is asked for; an error where there is no word.
fn terms(words: &str) -> Result<String> {
    let terms: Vec<String> = words
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(|word| format!("\"{word}\"*"))
        .collect();
    if terms.is_empty() {
        return fail("say what to look for: a word of a title, a composer, a part, a remark or a tag");
    }
    Ok(terms.join(" "))
}

fn found(connection: &Connection, terms: &str) -> rusqlite::Result<Vec<Kept>> {
    let sql = format!("{LISTED} JOIN search ON search.rowid = s.score WHERE search MATCH ?1 ORDER BY search.rank, s.score");
    listed(connection, &sql, [terms])
}

impl Reader {
    /// As [`Library::list`].
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn list(&self) -> Result<Vec<Kept>> {
        all(&self.connection).map_err(|error| self.say(&error))
    }

    /// As [`Library::find`].
    ///
    /// # Errors
    /// When there is no word in `words`, or the library cannot be read.
    pub fn find(&self, words: &str) -> Result<Vec<Kept>> {
        found(&self.connection, &terms(words)?).map_err(|error| self.say(&error))
    }

    /// The score of this number.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn kept(&self, score: i64) -> Result<Option<Kept>> {
        let found = listed(&self.connection, &format!("{LISTED} WHERE s.score = ?1"), [score]);
        Ok(found.map_err(|error| self.say(&error))?.pop())
    }
}

impl Library {
    /// All scores, in the order they were first kept.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn list(&self) -> Result<Vec<Kept>> {
        all(&self.connection).map_err(|error| self.say(&error))
    }

    /// Scores in whose title, composers, part names, remarks or tags every one of the words begins a word; the nearest first.
    /// Case and accents do not count.
    ///
    /// # Errors
    /// When there is no word in `words`, or the library cannot be read.
    pub fn find(&self, words: &str) -> Result<Vec<Kept>> {
        found(&self.connection, &terms(words)?).map_err(|error| self.say(&error))
    }

    /// The score a person means: its number, its file's name or path, or its title.
    ///
    /// # Errors
    /// When there is none, or several.
    pub fn named(&self, name: &str) -> Result<i64> {
        let number: Option<i64> = name.trim().parse().ok();
        let sql = "SELECT score FROM scores WHERE score = ?1 OR file = ?2 OR path = ?2 OR title = ?2 ORDER BY score";
        let mut statement = self.connection.prepare(sql).map_err(|error| self.say(&error))?;
        let rows = statement.query_map((number, name.trim()), |row| row.get(0)).and_then(Iterator::collect);
        let found: Vec<i64> = rows.map_err(|error| self.say(&error))?;
        match found.as_slice() {
            [] => fail(format!("the library has no score “{name}”; `ripieno library list` shows what it has")),
            [one] => Ok(*one),
            several => {
                let several: Vec<String> = several.iter().map(ToString::to_string).collect();
                fail(format!("“{name}” may be score {}: name it by its number", several.join(" or ")))
            }
        }
    }

    /// Gives a score tags, or takes tags away.
    ///
    /// # Errors
    /// When a tag is empty or the library cannot be written to.
    pub fn tag(&mut self, score: i64, tags: &[String], away: bool) -> Result<()> {
        if tags.iter().any(|tag| tag.trim().is_empty() || tag.contains(['\n', '\r'])) {
            return fail("a tag is a word or a few on one line; this one is empty or has several lines");
        }
        self.change(score, |transaction| {
            let sql = if away {
                "DELETE FROM tags WHERE score = ?1 AND tag = ?2"
            } else {
                "INSERT OR IGNORE INTO tags (score, tag) VALUES (?1, ?2)"
            };
            tags.iter().try_for_each(|tag| transaction.execute(sql, (score, tag.trim())).map(|_| ()))
        })
    }

    /// Takes a score out, with its record, tags and remarks. The file stays where it is.
    ///
    /// # Errors
    /// When the library cannot be written to.
    pub fn remove(&mut self, score: i64) -> Result<()> {
        self.change(score, |transaction| transaction.execute("DELETE FROM scores WHERE score = ?1", [score]).map(|_| ()))
    }

    /// A person's corrections as the library keeps them: the file that lay beside the score.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn corrections(&self, score: i64) -> Result<Option<Vec<u8>>> {
        let sql = "SELECT data FROM corrections_files WHERE score = ?1";
        self.connection.query_row(sql, [score], |row| row.get(0)).optional().map_err(|error| self.say(&error))
    }

    /// One change to one score, whole or not at all, after which search knows of it.
    pub(crate) fn change<T>(&mut self, score: i64, change: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>) -> Result<T> {
        let path = self.path.clone();
        let say = |error: rusqlite::Error| of_sqlite(&path, &error);
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(say)?;
        let there: Option<i64> = transaction
            .query_row("SELECT score FROM scores WHERE score = ?1", [score], |row| row.get(0))
            .optional()
            .map_err(say)?;
        if there.is_none() {
            return fail(format!("the library has no score {score}; `ripieno library list` shows what it has"));
        }
        let answer = change(&transaction).map_err(say)?;
        index(&transaction, score).map_err(say)?;
        transaction.commit().map_err(say)?;
        Ok(answer)
    }
}

/// Brings full-text search up to date for one score.
pub(crate) fn index(connection: &Connection, score: i64) -> rusqlite::Result<()> {
    connection.execute("DELETE FROM search WHERE rowid = ?1", [score])?;
    let sql = "INSERT INTO search (rowid, title, composers, parts, remarks, tags)
        SELECT s.score, title || ' ' || work || ' ' || movement || ' ' || file, composers, part_names,
            coalesce((SELECT group_concat(remark_text, ' ') FROM remarks r WHERE r.score = s.score), ''),
            coalesce((SELECT group_concat(tag, ' ') FROM tags t WHERE t.score = s.score), '')
        FROM scores s WHERE s.score = ?1";
    connection.execute(sql, [score]).map(|_| ())
}
