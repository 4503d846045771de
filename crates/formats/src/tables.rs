//! Tables for spreadsheets, databases and statistics. Columns are described in `docs/tables.md`.

use std::io::{self, Write};

use ripieno_score::{Score, Sounding};

/// Column names of the table of notes.
pub const NOTE_COLUMNS: [&str; 13] = [
    "file",
    "part",
    "part_index",
    "bar",
    "printed_bar",
    "pass",
    "onset",
    "duration",
    "pitch",
    "spelling",
    "players",
    "dynamic",
    "players_reason",
];

/// Writes tables of notes, several files one below the other under one header.
pub struct NotesTable<W: Write> {
    csv: csv::Writer<W>,
}

impl<W: Write> NotesTable<W> {
    /// Starts a table with its header.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn new(out: W) -> io::Result<Self> {
        let mut csv = csv::Writer::from_writer(out);
        csv.write_record(NOTE_COLUMNS).map_err(plain)?;
        Ok(Self { csv })
    }

    /// Adds the notes of one score, in the order of the sounding view; `file` fills the first column.
    ///
    /// # Errors
    /// When the table cannot be written.
    pub fn add(&mut self, file: &str, score: &Score, sounding: &Sounding) -> io::Result<()> {
        let part_numbers: Vec<String> = (0..score.parts.len()).map(|index| index.to_string()).collect();
        for row in sounding.notes.rows() {
            let part = usize::from(row.part);
            let played = sounding.bars[row.bar as usize];
            let spelling = row.key.map(|_| row.pitch.to_string()).unwrap_or_default();
            self.csv
                .write_record([
                    file,
                    &score.parts[part].name,
                    &part_numbers[part],
                    &played.bar.to_string(),
                    &score.bars[played.bar.at()].number,
                    &played.pass.to_string(),
                    &row.onset.to_string(),
                    &row.duration.to_string(),
                    &row.key.map(|key| key.number().to_string()).unwrap_or_default(),
                    &spelling,
                    &row.players.to_string(),
                    &row.level.map(|level| level_text(level.0)).unwrap_or_default(),
                    row.players_reason.clause(),
                ])
                .map_err(plain)?;
        }
        Ok(())
    }

    /// Writes out what is still held back.
    ///
    /// # Errors
    /// When the table cannot be written.
    pub fn finish(mut self) -> io::Result<()> {
        self.csv.flush()
    }
}

/// A level with at most two decimals, so that the same input gives the same bytes on every machine.
fn level_text(level: f32) -> String {
    let text = format!("{level:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The error of the stream beneath, with its kind: whoever reads the table may have stopped listening, which is no failure.
fn plain(error: csv::Error) -> io::Error {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}
