//! One door for all formats.

use std::fmt;
use std::io::Read as _;
use std::path::Path;

use ripieno_score::Score;

use crate::{Finding, Limits, kern, midi, musicxml, roster};

/// The formats read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Format {
    /// MusicXML 1.0 to 4.0, partwise or timewise, plain text.
    MusicXml,
    /// MusicXML in its zip container (`.mxl`).
    CompressedMusicXml,
    /// Standard MIDI File, type 0 or 1.
    Midi,
    /// Humdrum `**kern`.
    Kern,
    /// A chart made by hand (`ripieno_chart`), which holds no notes: [`read`] refuses it.
    Chart,
}

impl Format {
    /// Recognises a format by its first bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Option<Self> {
        if bytes.starts_with(b"PK\x03\x04") {
            return Some(Self::CompressedMusicXml);
        }
        if bytes.starts_with(b"MThd") || (bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"RMID")) {
            return Some(Self::Midi);
        }
        if musicxml::looks_like(bytes) {
            return Some(Self::MusicXml);
        }
        if kern::looks_like(bytes) {
            return Some(Self::Kern);
        }
        is_chart(bytes).then_some(Self::Chart)
    }
}

/// Whether these bytes say `format = "ripieno-chart"` before the first table.
fn is_chart(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(1 << 14)]);
    let keys = text.trim_start_matches('\u{feff}').lines().map(str::trim).take_while(|line| !line.starts_with("[["));
    let mut said = keys.filter_map(|line| line.split_once('=')).filter(|(key, _)| key.trim() == "format");
    said.next().is_some_and(|(_, value)| value.contains("ripieno-chart"))
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::MusicXml => "MusicXML",
            Self::CompressedMusicXml => "compressed MusicXML",
            Self::Midi => "Standard MIDI File",
            Self::Kern => "Humdrum kern",
            Self::Chart => "chart",
        })
    }
}

/// A score read, and what is to be said about it.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The score.
    pub score: Score,
    /// What was noticed, mended or left out, in file order.
    pub findings: Vec<Finding>,
    /// What the file was.
    pub format: Format,
}

/// A file that holds no score we can read: one sentence with the place and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadError(pub Box<Finding>);

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl std::error::Error for ReadError {}

impl ReadError {
    /// An error about the file as a whole.
    #[must_use]
    pub fn whole_file(file: &str, code: &'static str, what: impl Into<String>, hint: impl Into<String>) -> Self {
        let place = crate::Place { file: file.to_owned(), ..crate::Place::default() };
        Self(Box::new(Finding { severity: crate::Severity::Error, code, place, what: what.into(), hint: hint.into() }))
    }
}

/// Reads a score from bytes. `file` is the name used in findings.
///
/// # Errors
/// When the bytes are no score, are damaged beyond reading, or go beyond `limits`.
pub fn read(file: &str, bytes: &[u8], limits: &Limits) -> Result<Reading, ReadError> {
    if bytes.len() as u64 > limits.file_bytes {
        return Err(too_large(file, limits));
    }
    let mut reading = match Format::of(bytes) {
        Some(Format::MusicXml) => musicxml::read(file, bytes, limits),
        Some(Format::CompressedMusicXml) => musicxml::read_compressed(file, bytes, limits),
        Some(Format::Midi) => midi::read(file, bytes, limits),
        Some(Format::Kern) => kern::read(file, bytes, limits),
        Some(Format::Chart) => {
            let hint = "“study”, “compare”, “ask”, “library” and the desk work on charts; give the score itself here";
            Err(ReadError::whole_file(file, "chart", "this is a chart, which tells who does what and holds no notes", hint))
        }
        None => Err(unrecognised(file, bytes)),
    }?;
    reading.findings.extend(roster::fill(file, &mut reading.score));
    Ok(reading)
}

fn too_large(file: &str, limits: &Limits) -> ReadError {
    let what = format!("the file is larger than the {} bytes allowed", limits.file_bytes);
    ReadError::whole_file(file, "file-too-large", what, "Split the score into movements")
}

/// Says what the bytes are instead of a score.
fn unrecognised(file: &str, bytes: &[u8]) -> ReadError {
    let starts = |magics: &[&[u8]]| magics.iter().any(|magic| bytes.starts_with(magic));
    if bytes.is_empty() {
        return ReadError::whole_file(file, "empty", "the file is empty", "Export the score again");
    }
    if starts(&[b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"II*\0", b"MM\0*", b"GIF8", b"BM"]) {
        let hint = "Export MusicXML from the program the score was made with, or run music recognition first and proof-read its MusicXML";
        return ReadError::whole_file(file, "picture", "this is a page image, not a score that can be read note by note", hint);
    }
    if starts(&[b"RIFF", b"OggS", b"fLaC", b"ID3", b"FORM"]) {
        let hint = "Give the score itself, as MusicXML, MIDI or Humdrum kern";
        return ReadError::whole_file(file, "sound", "this is a sound recording, not a score", hint);
    }
    let hint =
        "Ripieno reads MusicXML (.musicxml, .xml, .mxl), Standard MIDI Files (.mid) and Humdrum kern (.krn); export one of these";
    ReadError::whole_file(file, "unknown-format", "this is not a score format Ripieno reads", hint)
}

/// Reads a score from a file. The name in findings is the path's last component.
///
/// # Errors
/// When the file cannot be opened, or as [`read`].
pub fn read_file(path: &Path, limits: &Limits) -> Result<Reading, ReadError> {
    let (name, bytes) = load(path, limits)?;
    read(&name, &bytes, limits)
}

/// The name of a file for findings, its path's last component, and its bytes.
///
/// # Errors
/// When the file cannot be opened or is larger than allowed.
pub fn load(path: &Path, limits: &Limits) -> Result<(String, Vec<u8>), ReadError> {
    let name = path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
    let failed = |error: std::io::Error| {
        ReadError::whole_file(
            &name,
            "cannot-open",
            format!("the file cannot be opened ({error})"),
            "Check the path and its permissions",
        )
    };
    let file = std::fs::File::open(path).map_err(failed)?;
    let length = file.metadata().map_err(failed)?.len();
    if length > limits.file_bytes {
        return Err(too_large(&name, limits));
    }
    // What has no length of its own (a pipe, a device) may go on for ever.
    let mut bytes = Vec::with_capacity(usize::try_from(length).unwrap_or(0));
    file.take(limits.file_bytes.saturating_add(1)).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > limits.file_bytes {
        return Err(too_large(&name, limits));
    }
    Ok((name, bytes))
}
