//! Questions put to all scores, and questions kept by name.

use std::sync::mpsc::sync_channel;
use std::sync::{Mutex, PoisonError};

use ripieno_questions::{Found, Question, Record, answer, tables};
use rusqlite::OptionalExtension;

use crate::error::{LibraryError, Result, fail, of_damage};
use crate::load::{Entry, Reader};
use crate::store::Library;

/// The bars of one score.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// The score.
    pub entry: Entry,
    /// Its bars, never empty.
    pub found: Vec<Found>,
}

/// A kept question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saved {
    /// Its name.
    pub name: String,
    /// Whether it is SQL.
    pub is_sql: bool,
    /// The question.
    pub question: String,
}

impl Reader {
    /// Puts a question to every score, on all cores; scores without an answer are left out. In the order they were first kept.
    ///
    /// # Errors
    /// When the library cannot be read or a record is damaged.
    pub fn ask(&self, question: &Question) -> Result<Vec<Answer>> {
        let scores = self.scores()?;
        let tables = tables(question);
        let workers = std::thread::available_parallelism().map_or(1, usize::from).min(scores.len()).max(1);
        // This thread reads packed tables, the others unpack and answer; a few records wait in between, never all.
        let (send, receive) = sync_channel::<(usize, Record)>(workers * 2);
        let receive = Mutex::new(receive);
        let answers = Mutex::new(Vec::new());
        let work = || {
            loop {
                let next = receive.lock().unwrap_or_else(PoisonError::into_inner).recv();
                let Ok((index, record)) = next else { return };
                let found = answer(question, &record);
                answers.lock().unwrap_or_else(PoisonError::into_inner).push((index, found));
            }
        };
        std::thread::scope(|scope| {
            for _ in 0..workers {
                scope.spawn(work);
            }
            let send = send;
            for (index, entry) in scores.iter().enumerate() {
                // The workers go on until nothing more comes.
                let _ = send.send((index, self.record(entry.score, &tables)?));
            }
            Ok(())
        })?;
        let mut answers = answers.into_inner().unwrap_or_else(PoisonError::into_inner);
        answers.sort_unstable_by_key(|(index, _)| *index);
        let mut told = Vec::new();
        for (index, found) in answers {
            let entry = scores[index].clone();
            let found = found.map_err(|damaged| of_damage(&self.path, entry.score, damaged))?;
            if !found.is_empty() {
                told.push(Answer { entry, found });
            }
        }
        Ok(told)
    }
}

impl Library {
    /// Keeps a question by name, in place of one of that name.
    ///
    /// # Errors
    /// When the name is empty or the library cannot be written to.
    pub fn save_question(&mut self, name: &str, question: &str, is_sql: bool) -> Result<()> {
        if name.trim().is_empty() {
            return fail("the question needs a name to be kept by");
        }
        let kind = if is_sql { "sql" } else { "words" };
        self.connection
            .execute("INSERT OR REPLACE INTO questions (name, kind, question) VALUES (?1, ?2, ?3)", (name.trim(), kind, question))
            .map(|_| ())
            .map_err(|error| self.say(&error))
    }

    /// Forgets a kept question; whether there was one of this name.
    ///
    /// # Errors
    /// When the library cannot be written to.
    pub fn forget_question(&mut self, name: &str) -> Result<bool> {
        let gone = self.connection.execute("DELETE FROM questions WHERE name = ?1", [name.trim()]);
        gone.map(|count| count > 0).map_err(|error| self.say(&error))
    }
}

impl Reader {
    /// A kept question by name.
    ///
    /// # Errors
    /// When there is none of this name, with the names there are.
    pub fn saved_question(&self, name: &str) -> Result<Saved> {
        let sql = "SELECT name, kind = 'sql', question FROM questions WHERE name = ?1";
        let saved = |row: &rusqlite::Row<'_>| Ok(Saved { name: row.get(0)?, is_sql: row.get(1)?, question: row.get(2)? });
        let found = self.connection.query_row(sql, [name.trim()], saved).optional().map_err(|error| self.say(&error))?;
        found.map_or_else(
            || {
                let names: Vec<String> = self.saved_questions()?.into_iter().map(|saved| saved.name).collect();
                let there =
                    if names.is_empty() { "there are none yet".to_owned() } else { format!("there are: {}", names.join(", ")) };
                Err(LibraryError(format!("no question is kept as “{name}”; {there}")))
            },
            Ok,
        )
    }

    /// All kept questions, by name.
    ///
    /// # Errors
    /// When the library cannot be read.
    pub fn saved_questions(&self) -> Result<Vec<Saved>> {
        let say = |error: rusqlite::Error| self.say(&error);
        let mut statement =
            self.connection.prepare("SELECT name, kind = 'sql', question FROM questions ORDER BY name").map_err(say)?;
        let saved = |row: &rusqlite::Row<'_>| Ok(Saved { name: row.get(0)?, is_sql: row.get(1)?, question: row.get(2)? });
        let rows = statement.query_map([], saved).and_then(Iterator::collect);
        rows.map_err(say)
    }
}
