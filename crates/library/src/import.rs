//! Taking scores in.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use ripieno_formats::{Format, Limits};
use ripieno_questions::record::{MomentRow, Record};
use ripieno_study::corrections::sidecar_path;
use ripieno_study::{Cancel, Study, read_all};
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, named_params};
use sha2::{Digest, Sha256};

use crate::error::{LibraryError, Result};
use crate::search::index;
use crate::store::Library;

/// Changes whenever the same score might be analysed or kept differently, so that kept scores are taken in anew: the version, and a
/// hash of the sources and data of the crates that read and analyse, taken when the program is built.
pub const ANALYSIS: &str = concat!(env!("CARGO_PKG_VERSION"), ".", env!("RIPIENO_ANALYSIS"));

/// What a person says of the scores taken in; what is left out stays as it was, or as the file has it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Labels {
    /// Title of the work that a cue or movement belongs to.
    pub work: Option<String>,
    /// Number of the cue or movement within it.
    pub number: Option<String>,
    /// Version: "2", "as recorded".
    pub version: Option<String>,
    /// Tags.
    pub tags: Vec<String>,
}

/// What came of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It is kept now, as this score.
    Added(i64),
    /// It had changed, or the analysis had, and is kept anew.
    Renewed(i64),
    /// It is kept already: the same content, corrections and analysis.
    Unchanged(i64),
    /// It could not be read, and why.
    Unread(String),
}

/// Told after each file.
#[derive(Debug, Clone, Copy)]
pub struct ImportProgress<'a> {
    /// The file.
    pub path: &'a Path,
    /// Files done, this one included.
    pub done: usize,
    /// Files in all.
    pub total: usize,
    /// What came of it.
    pub outcome: &'a Outcome,
}

/// Files of one import.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[allow(missing_docs)] // as in Outcome
pub struct Counts {
    pub added: usize,
    pub renewed: usize,
    pub unchanged: usize,
    pub unread: usize,
}

/// A file, known by what is in it.
#[derive(Debug, Clone)]
struct Source {
    path: PathBuf,
    content: String,
    corrections: String,
    bytes: u64,
}

enum Event {
    Unread(usize, String),
    Read(usize, Box<Study>),
}

/// The scores in a folder and its subfolders, by name; a file is itself. Endings tell what is a score.
///
/// # Errors
/// When a folder cannot be read.
pub fn score_files(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for path in paths {
        if path.is_dir() { walk(path, &mut found)? } else { found.push(path.clone()) }
    }
    Ok(found)
}

fn walk(folder: &Path, found: &mut Vec<PathBuf>) -> Result<()> {
    let failed = |error: std::io::Error| LibraryError(format!("{}: the folder cannot be read ({error})", folder.display()));
    let mut entries = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        // Links to folders are not followed: they may lead round in a circle.
        entries.push((entry.path(), entry.file_type().map_err(failed)?.is_dir()));
    }
    entries.sort();
    for (path, is_folder) in entries {
        let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
        if hidden {
            continue;
        }
        if is_folder {
            walk(&path, found)?;
        } else if matches!(ending.as_deref(), Some("musicxml" | "xml" | "mxl" | "mid" | "midi" | "krn" | "kern"))
            || (ending.as_deref() == Some("toml") && is_chart(&path))
        {
            found.push(path);
        }
    }
    Ok(())
}

/// Whether a file says that it is a chart; other texts of its ending are no matter of ours.
fn is_chart(path: &Path) -> bool {
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(HEAD).read_to_end(&mut head));
    read.is_ok() && Format::of(&head) == Some(Format::Chart)
}

/// Bytes in which a chart has said so.
const HEAD: u64 = 1 << 14;

impl Library {
    /// Takes files in on all cores, telling after each. A file kept already is skipped; each other file is one transaction, so an
    /// import that is broken off goes on where it was when run again.
    ///
    /// `moments` finds the moments of a study. After `cancel` is asked no file is begun; it is asked when a score cannot be kept.
    ///
    /// # Errors
    /// When the library cannot be written to; what was kept before the score in hand stays.
    pub fn import(
        &mut self,
        files: &[PathBuf],
        labels: &Labels,
        limits: &Limits,
        cancel: &Cancel,
        moments: impl Fn(&Study) -> Vec<MomentRow> + Sync,
        mut progress: impl FnMut(&ImportProgress<'_>),
    ) -> Result<Counts> {
        let mut counts = Counts::default();
        let mut done = 0;
        let mut tell = |path: &Path, outcome: &Outcome| {
            done += 1;
            match outcome {
                Outcome::Added(_) => counts.added += 1,
                Outcome::Renewed(_) => counts.renewed += 1,
                Outcome::Unchanged(_) => counts.unchanged += 1,
                Outcome::Unread(_) => counts.unread += 1,
            }
            progress(&ImportProgress { path, done, total: files.len(), outcome });
        };
        let mut sources = Vec::new();
        // The same content twice in one import is one score; the second file is looked at after the first is kept.
        let mut again = Vec::new();
        let mut seen = BTreeMap::new();
        for path in files {
            if cancel.is_cancelled() {
                break;
            }
            match source(path) {
                Err(failure) => tell(path, &Outcome::Unread(failure)),
                Ok(source) => match self.kept(&source)? {
                    Some(score) => {
                        self.label(score, labels)?;
                        tell(path, &Outcome::Unchanged(score));
                    }
                    None if seen.insert((source.content.clone(), source.corrections.clone()), ()).is_some() => again.push(source),
                    None => sources.push(source),
                },
            }
        }
        let paths: Vec<PathBuf> = sources.iter().map(|source| source.path.clone()).collect();
        let (send, receive) = sync_channel(1);
        let written = std::thread::scope(|scope| {
            let moments = &moments;
            scope.spawn(move || read(&paths, limits, cancel, &send, moments));
            self.keep_all(&sources, labels, cancel, &receive, &mut tell)
        });
        written?;
        for source in again {
            if let Some(score) = self.kept(&source)? {
                tell(&source.path, &Outcome::Unchanged(score));
            }
        }
        Ok(counts)
    }

    fn keep_all(
        &mut self,
        sources: &[Source],
        labels: &Labels,
        cancel: &Cancel,
        events: &Receiver<(Event, Vec<MomentRow>)>,
        tell: &mut impl FnMut(&Path, &Outcome),
    ) -> Result<()> {
        let mut failed = None;
        for (event, moments) in events {
            // After a failure the readers are let run out.
            if failed.is_some() {
                continue;
            }
            match event {
                Event::Unread(index, why) => tell(&sources[index].path, &Outcome::Unread(why)),
                Event::Read(index, study) => match self.keep(&sources[index], &study, &moments, labels) {
                    Ok(outcome) => tell(&sources[index].path, &outcome),
                    Err(error) => {
                        cancel.cancel();
                        failed = Some(error);
                    }
                },
            }
        }
        failed.map_or(Ok(()), Err)
    }

    /// Keeps one study as the score at `path`, whose bytes are read to know its content.
    ///
    /// # Errors
    /// When the file cannot be read or the library not written to.
    pub fn add(&mut self, path: &Path, study: &Study, moments: &[MomentRow], labels: &Labels) -> Result<Outcome> {
        let source = source(path).map_err(LibraryError)?;
        self.keep(&source, study, moments, labels)
    }

    /// The score that has this content, these corrections and this analysis.
    fn kept(&self, source: &Source) -> Result<Option<i64>> {
        let sql =
            "SELECT score FROM scores WHERE content = ?1 AND corrections = ?2 AND analysis = ?3 ORDER BY path = ?4 DESC, score";
        let mut kept = self.connection.prepare_cached(sql).map_err(|error| self.say(&error))?;
        let path = source.path.to_string_lossy();
        kept.query_row((&source.content, &source.corrections, ANALYSIS, path), |row| row.get(0))
            .optional()
            .map_err(|error| self.say(&error))
    }

    fn keep(&mut self, source: &Source, study: &Study, moments: &[MomentRow], labels: &Labels) -> Result<Outcome> {
        let record = Record::of(study, moments);
        let packed: Vec<(&str, usize, Vec<u8>)> =
            record.tables().iter().map(|table| (table.shape.name, table.rows, table.pack())).collect();
        let path = self.path.clone();
        let say = |error: rusqlite::Error| crate::error::of_sqlite(&path, &error);
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(say)?;
        let outcome = keep_in(&transaction, source, study, &packed, labels).map_err(say)?;
        transaction.commit().map_err(say)?;
        Ok(outcome)
    }

    fn label(&mut self, score: i64, labels: &Labels) -> Result<()> {
        if *labels == Labels::default() {
            return Ok(());
        }
        let path = self.path.clone();
        let say = |error: rusqlite::Error| crate::error::of_sqlite(&path, &error);
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(say)?;
        label_in(&transaction, score, labels).and_then(|()| index(&transaction, score)).map_err(say)?;
        transaction.commit().map_err(say)
    }
}

/// Reads on all cores; a study waits until the one before it is kept, so memory stays bounded.
fn read(
    paths: &[PathBuf],
    limits: &Limits,
    cancel: &Cancel,
    send: &SyncSender<(Event, Vec<MomentRow>)>,
    moments: &(impl Fn(&Study) -> Vec<MomentRow> + Sync),
) {
    let of_path: BTreeMap<&Path, usize> = paths.iter().enumerate().map(|(index, path)| (path.as_path(), index)).collect();
    let unread = send.clone();
    read_all(
        paths,
        limits,
        cancel,
        move |progress| {
            if let (Err(error), Some(&index)) = (progress.outcome, of_path.get(progress.path)) {
                // The receiver outlives the readers.
                let _ = unread.send((Event::Unread(index, error.to_string()), Vec::new()));
            }
        },
        |index, study| {
            let moments = moments(&study);
            let _ = send.send((Event::Read(index, Box::new(study)), moments));
        },
    );
}

/// Takes in what makes a file itself. The bytes are read again by the reader: should the file change in between, it counts as
/// changed next time.
fn source(path: &Path) -> std::result::Result<Source, String> {
    let (content, bytes) = hash(path)?;
    let sidecar = sidecar_path(path);
    let corrections = if sidecar.exists() { hash(&sidecar)?.0 } else { String::new() };
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    Ok(Source { path, content, corrections, bytes })
}

/// SHA-256 (FIPS 180-4) of a file, in hexadecimal, and its length.
fn hash(path: &Path) -> std::result::Result<(String, u64), String> {
    let failed = |error: std::io::Error| format!("{}: the file cannot be opened ({error})", path.display());
    let mut file = File::open(path).map_err(failed)?;
    let mut hash = Sha256::new();
    let mut buffer = vec![0; 1 << 16];
    let mut bytes = 0u64;
    loop {
        let read = file.read(&mut buffer).map_err(failed)?;
        if read == 0 {
            break;
        }
        hash.update(&buffer[..read]);
        bytes += read as u64;
    }
    let hex = hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    Ok((hex, bytes))
}

fn keep_in(
    transaction: &Transaction<'_>,
    source: &Source,
    study: &Study,
    packed: &[(&str, usize, Vec<u8>)],
    labels: &Labels,
) -> rusqlite::Result<Outcome> {
    let path = source.path.to_string_lossy().into_owned();
    // Another process may have kept it meanwhile.
    let same =
        "SELECT score FROM scores WHERE content = ?1 AND corrections = ?2 AND analysis = ?3 ORDER BY path = ?4 DESC, score";
    let kept: Option<i64> =
        transaction.query_row(same, (&source.content, &source.corrections, ANALYSIS, &path), |row| row.get(0)).optional()?;
    if let Some(score) = kept {
        label_in(transaction, score, labels)?;
        index(transaction, score)?;
        return Ok(Outcome::Unchanged(score));
    }
    let before: Option<i64> =
        transaction.query_row("SELECT score FROM scores WHERE path = ?1", [&path], |row| row.get(0)).optional()?;
    let about = &study.score.about;
    let composers = about.creators.iter().filter(|(role, _)| role == "composer").map(|(_, name)| name.trim());
    let composers = composers.collect::<Vec<_>>().join("; ");
    let part_names = study.score.parts.iter().map(|part| part.name.trim()).collect::<Vec<_>>().join("; ");
    let count = |number: usize| i64::try_from(number).unwrap_or(i64::MAX);
    // The person's own work, number and version stay when a score is renewed.
    let sql = "INSERT INTO scores (path, file, content, corrections, analysis, format, bytes, title, composers, work, work_number,
            movement, movement_number, version, line_up, part_names, bars, parts, notes, seconds)
        VALUES (:path, :file, :content, :corrections, :analysis, :format, :bytes, :title, :composers, :work, :work_number,
            :movement, :movement_number, '', :line_up, :part_names, :bars, :parts, :notes, :seconds)
        ON CONFLICT (path) DO UPDATE SET file = excluded.file, content = excluded.content, corrections = excluded.corrections,
            analysis = excluded.analysis, format = excluded.format, bytes = excluded.bytes, title = excluded.title,
            composers = excluded.composers, work = iif(excluded.work = '', work, excluded.work),
            work_number = excluded.work_number, movement = excluded.movement,
            movement_number = iif(excluded.movement_number = '', movement_number, excluded.movement_number),
            line_up = excluded.line_up, part_names = excluded.part_names, bars = excluded.bars, parts = excluded.parts, notes = excluded.notes,
            seconds = excluded.seconds
        RETURNING score";
    let seconds = study.sounding.tempo.seconds(study.sounding.length());
    let score: i64 = transaction.query_row(
        sql,
        named_params! {
            ":path": path,
            ":file": study.file,
            ":content": source.content,
            ":corrections": source.corrections,
            ":analysis": ANALYSIS,
            ":format": study.format.to_string(),
            ":bytes": i64::try_from(source.bytes).unwrap_or(i64::MAX),
            ":title": study.title(),
            ":composers": composers,
            ":work": about.work,
            ":work_number": about.work_number,
            ":movement": about.movement,
            ":movement_number": about.movement_number,
            ":line_up": ripieno_questions::line_up(study),
            ":part_names": part_names,
            ":bars": count(study.sounding.bars.len()),
            ":parts": count(study.score.parts.len()),
            ":notes": count(study.sounding.notes.len()),
            ":seconds": (seconds * 100.0).round() / 100.0,
        },
        |row| row.get(0),
    )?;
    transaction.execute("DELETE FROM record WHERE score = ?1", [score])?;
    let mut insert = transaction.prepare_cached("INSERT INTO record (score, name, rows, data) VALUES (?1, ?2, ?3, ?4)")?;
    for (name, rows, data) in packed {
        insert.execute((score, name, count(*rows), data))?;
    }
    let corrections = std::fs::read(sidecar_path(&source.path)).ok().filter(|_| !source.corrections.is_empty());
    if let Some(data) = corrections {
        transaction.execute("INSERT OR REPLACE INTO corrections_files (score, data) VALUES (?1, ?2)", (score, data))?;
    }
    label_in(transaction, score, labels)?;
    index(transaction, score)?;
    Ok(if before.is_some() { Outcome::Renewed(score) } else { Outcome::Added(score) })
}

fn label_in(transaction: &Transaction<'_>, score: i64, labels: &Labels) -> rusqlite::Result<()> {
    let columns = [("work", &labels.work), ("movement_number", &labels.number), ("version", &labels.version)];
    for (column, value) in columns {
        if let Some(value) = value {
            transaction.execute(&format!("UPDATE scores SET {column} = ?1 WHERE score = ?2"), (value, score))?;
        }
    }
    for tag in &labels.tags {
        transaction.execute("INSERT OR IGNORE INTO tags (score, tag) VALUES (?1, ?2)", (score, tag.trim()))?;
    }
    Ok(())
}
