//! Reads the file line by line.

mod clock;
mod report;
mod signs;
mod spines;

use ripieno_score::{Crotchets, Score, Swell};

use super::about::{self, Records};
use super::bars::Bars;
use super::columns::Column;
use super::dynamics;
use super::expansion::Sections;
use super::parts::Assembly;
use super::signifiers::Signifiers;
use super::spine::{Holds, Moment, Spine};
use super::text::text;
use super::token::Parsed;
use crate::{Finding, Findings, Limits, Place, ReadError, Severity};

/// Spines and sub-spines side by side; the largest scores have a tenth of it.
const MOST_COLUMNS: usize = 1024;
/// Pieces one after the other in a file.
const MOST_SECTIONS: usize = 1000;
/// Lines out of shape after which the rest of the file is given up.
const MOST_BROKEN_LINES: usize = 10_000;
/// Different tandem interpretations or signifiers reported as unknown.
const MOST_UNKNOWN: usize = 50;

/// Something that waits for the next line with notes to know its time.
#[derive(Debug, Clone, Copy)]
enum Waiting<'a> {
    Barline(&'a [u8]),
    Tandem {
        spine: usize,
        layer: u16,
        token: &'a [u8],
    },
    /// A local or global comment that carries words to print.
    Words {
        spine: Option<usize>,
        layout: &'a [u8],
    },
    /// A tempo or movement heading from a reference record.
    Heading(&'a [u8]),
    /// A token of another spine on a line without notes; the number counts such lines.
    Beside {
        spine: usize,
        layer: u16,
        token: &'a [u8],
        line: u32,
    },
}

impl Waiting<'_> {
    /// Whether it concerns what follows, so that before a barline it belongs behind it. A clef before the barline is printed
    /// there, and what ends there ends there.
    fn looks_ahead(&self) -> bool {
        const STAYS: [&[u8]; 4] = [b"*clef", b"*X8", b"*X15", b"*Xped"];
        match self {
            Self::Tandem { token, .. } => !STAYS.iter().any(|prefix| token.starts_with(prefix)),
            Self::Words { .. } | Self::Heading(_) => true,
            Self::Barline(_) | Self::Beside { .. } => false,
        }
    }
}

/// The notes of one token on the current line.
#[derive(Debug, Clone)]
struct Entry {
    column: usize,
    subs: std::ops::Range<usize>,
    signs: std::ops::Range<usize>,
    takes_time: bool,
}

pub(super) struct Reader<'a> {
    file: &'a str,
    limits: &'a Limits,
    own: Signifiers,
    findings: Findings,
    line: u64,
    columns: Vec<Column>,
    spines: Vec<Spine<'a>>,
    bars: Bars,
    /// When the last line with notes sounded.
    now: Crotchets,
    /// When the first note begun on that line ends.
    soonest: Crotchets,
    /// When everything read so far has ended.
    latest: Crotchets,
    /// Each with the line it stands on.
    waiting: Vec<(u64, Waiting<'a>)>,
    lines_beside: u32,
    /// Hairpins that end with the line before: spine and which way they go.
    closing: Vec<(usize, Swell)>,
    parsed: Parsed,
    entries: Vec<Entry>,
    signs: Vec<dynamics::Sign>,
    events: usize,
    broken_lines: usize,
    unknown: Vec<Vec<u8>>,
    sections_read: usize,
    /// Whether the section has had a note or rest.
    music: bool,
    records: Records,
    assembly: Assembly,
    sections: Sections,
    decoration: String,
}

/// What [`Reader::read`] arrives at.
pub(super) struct Done {
    pub score: Score,
    pub findings: Findings,
}

impl<'a> Reader<'a> {
    pub(super) fn new(file: &'a str, bytes: &'a [u8], limits: &'a Limits) -> Self {
        Self {
            file,
            limits,
            own: Signifiers::of(bytes),
            findings: Findings::default(),
            line: 0,
            columns: Vec::new(),
            spines: Vec::new(),
            bars: Bars::new(),
            now: Crotchets::ZERO,
            soonest: Crotchets::ZERO,
            latest: Crotchets::ZERO,
            waiting: Vec::new(),
            lines_beside: 0,
            closing: Vec::new(),
            parsed: Parsed::default(),
            entries: Vec::new(),
            signs: Vec::new(),
            events: 0,
            broken_lines: 0,
            unknown: Vec::new(),
            sections_read: 0,
            music: false,
            records: Records::default(),
            assembly: Assembly::default(),
            sections: Sections::default(),
            decoration: String::new(),
        }
    }

    pub(super) fn read(mut self, bytes: &'a [u8]) -> Result<Done, ReadError> {
        let mut rest = bytes;
        while !rest.is_empty() {
            let end = rest.iter().position(|&byte| byte == b'\n' || byte == b'\r').unwrap_or(rest.len());
            let (line, tail) = rest.split_at(end);
            rest = match tail {
                [b'\r', b'\n', tail @ ..] | [_, tail @ ..] => tail,
                [] => tail,
            };
            self.line += 1;
            self.one_line(line, rest)?;
            self.fits_memory()?;
            if self.broken_lines > MOST_BROKEN_LINES {
                let what =
                    format!("more than {MOST_BROKEN_LINES} lines do not fit the spines; the rest of the file was not read");
                self.find(Severity::Error, "spines-broken", None, what, "Check the file with a Humdrum syntax checker");
                break;
            }
        }
        if !self.columns.is_empty() {
            if self.music {
                self.find(
                    Severity::Note,
                    "not-terminated",
                    None,
                    "the spines are not ended by *-",
                    "Check that the file is complete",
                );
            }
            self.end_section()?;
        }
        self.finish()
    }

    fn wait(&mut self, item: Waiting<'a>) {
        self.waiting.push((self.line, item));
    }

    fn one_line(&mut self, line: &'a [u8], rest: &'a [u8]) -> Result<(), ReadError> {
        match line {
            [] => {}
            [b'!', b'!', b'!', ..] => self.record(line),
            [b'!', b'!', ..] => {
                if let Some(layout) = line.strip_prefix(b"!!LO:") {
                    self.wait(Waiting::Words { spine: None, layout });
                }
            }
            [b'!', ..] => self.comments(line),
            [b'*', b'*', ..] => self.exclusive(line)?,
            [b'*', ..] => self.interpretations(line, rest)?,
            _ if line.iter().all(u8::is_ascii_whitespace) => {}
            _ if self.columns.is_empty() => {
                self.broken_lines += 1;
                self.find(Severity::Warning, "outside-spines", None, "data stand outside any spine and were left out", "");
            }
            _ => self.data(line)?,
        }
        Ok(())
    }

    fn record(&mut self, line: &'a [u8]) {
        let Some((code, value)) = about::split(line) else { return };
        match code {
            b"OMD" => {
                self.wait(Waiting::Heading(value));
                if !self.music && self.sections_read == 0 {
                    self.records.add(code, value);
                }
            }
            b"system" if line.starts_with(b"!!!system-decoration") => self.decoration = text(value),
            _ if self.sections_read == 0 || self.columns.is_empty() => self.records.add(code, value),
            _ => {}
        }
    }

    fn fits_memory(&self) -> Result<(), ReadError> {
        if self.events.max(self.waiting.len()) > self.limits.events {
            return Err(self.too_much(format!("the score has more than {} notes, rests and signs", self.limits.events)));
        }
        Ok(())
    }

    fn end_section(&mut self) -> Result<(), ReadError> {
        let end = self.latest;
        self.arrive(end)?;
        let moment = self.bars.moment(end);
        for (spine, swell) in std::mem::take(&mut self.closing) {
            self.close_hairpin(spine, swell, moment);
        }
        self.columns.clear();
        let mut spines = std::mem::take(&mut self.spines);
        for spine in &mut spines {
            let unmatched = spine.close(moment);
            if unmatched > 0 {
                let place = Place { file: self.file.to_owned(), part: Some(spine.label()), bar: None, line: None };
                let what = if unmatched == 1 {
                    "a slur or glissando begins that does not end".to_owned()
                } else {
                    format!("{unmatched} slurs or glissandi begin that do not end")
                };
                let hint = "They were left out".to_owned();
                self.findings.push(Finding { severity: Severity::Note, code: "slur-unmatched", place, what, hint });
            }
        }
        if spines.iter().any(|spine| spine.holds == Holds::Notes) {
            self.sections_read += 1;
            self.assembly.add(spines);
            self.sections.section_end(end);
        }
        if self.sections_read > MOST_SECTIONS {
            return Err(self.too_much(format!("the file holds more than {MOST_SECTIONS} pieces")));
        }
        if self.assembly.part_count() > self.limits.parts {
            return Err(self.too_much(format!("the score has more than {} parts", self.limits.parts)));
        }
        Ok(())
    }

    fn finish(mut self) -> Result<Done, ReadError> {
        if self.sections_read == 0 {
            let hint = "Ripieno reads the notes of **kern spines";
            return Err(ReadError::whole_file(self.file, "no-kern", "the file has no **kern spine, so it holds no notes", hint));
        }
        if self.sections_read > 1 {
            let what = format!("the file holds {} pieces or movements one after the other", self.sections_read);
            let hint = "They were read as one score, in order; parts of the same name were joined".to_owned();
            let place = Place { file: self.file.to_owned(), ..Place::default() };
            self.findings.push(Finding { severity: Severity::Note, code: "several-sections", place, what, hint });
        }
        for (_, item) in std::mem::take(&mut self.waiting) {
            // Reference records may stand at the end of the file; a heading there is that of the beginning.
            if let Waiting::Heading(value) = item {
                self.heading(value, Moment::default());
            }
        }
        let about = self.records.about();
        let (bars, section_starts) = self.bars.finish(self.latest);
        let room = self.limits.events.saturating_sub(self.events);
        let mut score =
            self.assembly.finish(about, (bars, &section_starts), &self.decoration, room, (self.file, &mut self.findings))?;
        self.sections.apply(&mut score, self.file, &mut self.findings);
        Ok(Done { score, findings: self.findings })
    }
}

/// Tokens of a line: separated by a tab, or by several as some editors leave them.
fn fields(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(|&byte| byte == b'\t').map(<[u8]>::trim_ascii).filter(|token| !token.is_empty())
}
