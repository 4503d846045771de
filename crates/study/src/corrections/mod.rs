//! Corrections: what a person knows better, kept in a file beside the score.
//!
//! A correction sets, splits, merges or names a role or a layer over a span ([`Change`]). It is kept with a fingerprint of
//! the score it was made on, so that it can be found again when bars are put in or taken out, parts renamed or reordered,
//! notes changed, a part transposed: [`Corrections::place`] aligns the two and answers [`Instruction`]s for the score as it
//! is now, and findings for what has no place in it any more. Nothing is dropped: only [`Corrections::remove`] removes.
//!
//! The file is open JSON, described in `docs/corrections.md`. Corrections are applied, never learned from: nothing here
//! changes a weight or a threshold.

pub(crate) mod align;
mod apply;
mod change;
mod file;
pub(crate) mod fingerprint;
mod layers;
mod melody;
pub(crate) mod parts;
mod place;
mod sidecar;
mod words;

use std::collections::BTreeSet;
use std::fmt;
use std::path::{Path, PathBuf};

use ripieno_formats::{Finding, Place, Severity};
use ripieno_instruments::printed;
use ripieno_practice::Groups;
use ripieno_score::{Crotchets, Score, Sounding};

pub use apply::{Corrected, Said, apply};
pub use change::{Change, Instruction, Moment, Request, Who};
use file::{Contents, Edge, Entry, GroupEntry, GroupFields, PartName, Record, ScoreEntry};
use fingerprint::Fingerprint;
pub use place::Placed;
pub use sidecar::sidecar_path;
pub use words::{part_named, role_named, span_named};

/// Why corrections could not be read, made or kept: one sentence with its place and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CorrectionsError(pub Box<Finding>);

impl fmt::Display for CorrectionsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl std::error::Error for CorrectionsError {}

impl CorrectionsError {
    fn new(place: Place, code: &'static str, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self(Box::new(Finding { severity: Severity::Error, code, place, what: what.into(), hint: hint.into() }))
    }

    fn of_file(path: &Path, code: &'static str, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Place { file: last_name(path), ..Place::default() }, code, what, hint)
    }
}

fn last_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

/// A correction as lists show it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Its identifier.
    pub id: String,
    /// What it changes.
    pub change: Change,
    /// The parts as they were called when it was made, as scores print it.
    pub parts: Vec<String>,
    /// "bars 35 to 45", by the numbers printed when it was made.
    pub span: String,
    /// The person's words; may be empty.
    pub comment: String,
}

impl fmt::Display for Listed {
    /// "Trumpet 1 in F, bars 47 to 50, the first crotchet: melody (heard so)".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let change = match &self.change {
            Change::SetRole(roles) => roles.iter().map(|role| role.name()).collect::<Vec<_>>().join(", also "),
            other => other.to_string(),
        };
        write!(f, "{}, {}: {change}", self.parts.join(" and "), self.span)?;
        if self.comment.is_empty() { Ok(()) } else { write!(f, " ({})", self.comment) }
    }
}

/// The corrections of one score, as its file has them.
#[derive(Debug, Clone, Default)]
pub struct Corrections {
    /// The file.
    path: PathBuf,
    /// The score's file name, for findings.
    score_file: String,
    contents: Contents,
    findings: Vec<Finding>,
    /// The file's bytes when it was read; `None` when there was none.
    on_disk: Option<Vec<u8>>,
}

impl Corrections {
    /// Reads the corrections beside the score at `score`; none when there is no file.
    ///
    /// # Errors
    /// When there is a file that cannot be opened, is no corrections file, or is of another version.
    pub fn beside(score: &Path) -> Result<Self, CorrectionsError> {
        Self::read(&sidecar_path(score), &last_name(score))
    }

    /// Reads the file at `path`, of a score whose file has this name.
    fn read(path: &Path, score_file: &str) -> Result<Self, CorrectionsError> {
        let on_disk = sidecar::load(path).map_err(|error| {
            let hint = "Check its permissions, or move it away to start anew";
            CorrectionsError::of_file(path, "corrections-cannot-open", format!("the file cannot be opened ({error})"), hint)
        })?;
        let (contents, findings) = match &on_disk {
            None => (Contents::default(), Vec::new()),
            Some(bytes) => parse(path, bytes)?,
        };
        Ok(Self { score_file: score_file.to_owned(), path: path.to_owned(), contents, findings, on_disk })
    }

    /// The corrections of the score at `old`, to be kept beside the score at `new` from the next [`Self::save`] on: for a
    /// revised score under another name. The old file stays.
    ///
    /// # Errors
    /// As [`Self::beside`], and when `new` has corrections of its own already.
    pub fn taken_over(old: &Path, new: &Path) -> Result<Self, CorrectionsError> {
        let (old, new) = (Self::beside(old)?, Self::beside(new)?);
        if !new.is_empty() || new.groups().next().is_some() {
            let hint = format!("Move it away to take over those of {}", old.score_file);
            return Err(CorrectionsError::of_file(&new.path, "corrections-there", "there are corrections already", hint));
        }
        Ok(Self { contents: old.contents, findings: old.findings, ..new })
    }

    /// The file they are kept in.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Groups of players a person has named, with the sections, families or parts they are made of, in the order they were named.
    pub fn groups(&self) -> impl Iterator<Item = (&str, &[String])> {
        self.contents.groups.iter().filter_map(|group| match group {
            GroupEntry::Known(fields) => Some((fields.name.as_str(), fields.members.as_slice())),
            GroupEntry::Foreign(_) => None,
        })
    }

    /// Names a group of sections, families or parts; a group of this name is replaced. Nothing is written before [`Self::save`].
    ///
    /// # Errors
    /// When the score has no such member, or has a section or family of this name.
    pub fn name_group(&mut self, score: &Score, name: &str, members: &[String]) -> Result<(), CorrectionsError> {
        Groups::new(score).name_group(score, name, members).map_err(|what| {
            let place = Place { file: self.score_file.clone(), ..Place::default() };
            CorrectionsError::new(place, "group-refused", what, "Give it another name, or name its members as the score does")
        })?;
        self.remove_group(name);
        let fields = GroupFields { name: name.trim().to_owned(), members: members.to_vec(), extra: serde_json::Map::new() };
        self.contents.groups.push(GroupEntry::Known(fields));
        Ok(())
    }

    /// Forgets a named group; whether there was one.
    pub fn remove_group(&mut self, name: &str) -> bool {
        let before = self.contents.groups.len();
        let other = |group: &GroupEntry| !matches!(group, GroupEntry::Known(fields) if fields.name.trim().eq_ignore_ascii_case(name.trim()));
        self.contents.groups.retain(other);
        self.contents.groups.len() < before
    }

    /// The groups of the score, with those a person has named; a finding for each that the score does not have.
    pub(crate) fn group(&self, score: &Score) -> (Groups, Vec<Finding>) {
        let mut groups = Groups::new(score);
        let mut findings = Vec::new();
        for (name, members) in self.groups() {
            if let Err(what) = groups.name_group(score, name, members) {
                let place = Place { file: last_name(&self.path), ..Place::default() };
                let hint = "It is left out of the measures; mend or remove it".to_owned();
                findings.push(Finding { severity: Severity::Warning, code: "group-not-found", place, what, hint });
            }
        }
        (groups, findings)
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.contents.entries.is_empty()
    }

    /// Corrections that are understood, in the order they were made.
    #[must_use]
    pub fn list(&self) -> Vec<Listed> {
        let listed = |record: &Record| Listed {
            id: record.id.clone(),
            change: record.change.clone(),
            parts: record.parts.iter().map(|part| printed(&part.word())).collect(),
            span: place::span_words(record),
            comment: record.comment.clone(),
        };
        self.records().map(listed).collect()
    }

    fn records(&self) -> impl Iterator<Item = &Record> {
        self.contents.entries.iter().filter_map(|entry| match entry {
            Entry::Known(record) => Some(&**record),
            Entry::Foreign(_) => None,
        })
    }

    /// Settles all corrections on the score as it is now. `sounding` is its view as written, each bar once. What was noticed
    /// on reading the file comes first among the findings.
    #[must_use]
    pub fn place(&self, score: &Score, sounding: &Sounding) -> Placed {
        if self.is_empty() {
            // The common case: no fingerprint needs to be taken.
            return Placed { findings: self.findings.clone(), ..Placed::default() };
        }
        let mut placed = place::place(&self.score_file, &self.contents, score, sounding);
        placed.findings.splice(0..0, self.findings.iter().cloned());
        placed
    }

    /// Adds a correction about the score as it is now and answers its identifier. Earlier ones stay, also where the new one
    /// contradicts them. Nothing is written before [`Self::save`].
    ///
    /// # Errors
    /// When the request names a part or bar the score does not have, nobody, no role, or a span that is empty.
    pub fn add(&mut self, score: &Score, sounding: &Sounding, request: Request) -> Result<String, CorrectionsError> {
        self.check(sounding, score, &request)?;
        let score_id = self.fingerprint_id(Fingerprint::new(score, sounding));
        let id = new_id("c", self.contents.entries.iter().filter_map(Entry::id));
        let part = |who: &Who| PartName {
            name: Some(score.parts[who.part].name.clone()),
            id: Some(score.parts[who.part].id.clone()),
            place: Some(who.part),
            voice: who.voice,
            staff: who.staff,
            ..PartName::default()
        };
        let edge = |moment: Moment| Edge {
            bar: Some(moment.bar),
            printed: score.bars.get(moment.bar as usize).map(|bar| bar.number.to_string()),
            at: moment.at,
            ..Edge::default()
        };
        let record = Record {
            id: id.clone(),
            score: Some(score_id),
            parts: request.who.iter().map(part).collect(),
            from: edge(request.from),
            to: edge(request.to),
            change: request.change,
            comment: request.comment,
            extra: serde_json::Map::new(),
        };
        self.contents.entries.push(Entry::Known(Box::new(record)));
        Ok(id)
    }

    fn check(&self, sounding: &Sounding, score: &Score, request: &Request) -> Result<(), CorrectionsError> {
        let refuse = |what: String, hint: &str| {
            let place = Place { file: self.score_file.clone(), ..Place::default() };
            Err(CorrectionsError::new(place, "correction-refused", what, hint))
        };
        let (parts, bars) = (score.parts.len(), sounding.bars.len());
        if request.who.is_empty() {
            return refuse("the correction is about no part".to_owned(), "Name at least one");
        }
        if let Some(who) = request.who.iter().find(|who| who.part >= parts) {
            return refuse(format!("there is no part {}, counted from 0", who.part), &format!("The score has {parts} parts"));
        }
        if matches!(&request.change, Change::SetRole(roles) if roles.is_empty()) {
            return refuse("no role is given".to_owned(), "Give at least one");
        }
        let moment = |moment: Moment, edge: fn(Crotchets) -> Crotchets| {
            let bar = sounding.bars.get(moment.bar as usize)?;
            Some(bar.start + moment.at.unwrap_or_else(|| edge(bar.length)))
        };
        let within = |at: Moment| at.at.is_none_or(|at| at >= Crotchets::ZERO);
        match (moment(request.from, |_| Crotchets::ZERO), moment(request.to, |length| length)) {
            (Some(from), Some(to)) if from < to && within(request.from) && within(request.to) => Ok(()),
            (Some(_), Some(_)) => refuse("the span is empty".to_owned(), "It must end after it begins"),
            _ => refuse("the span goes beyond the score".to_owned(), &format!("The score has {bars} bars")),
        }
    }

    /// The identifier of a fingerprint, entered if it is new.
    fn fingerprint_id(&mut self, now: Fingerprint) -> String {
        let known = self.contents.scores.iter().find_map(|score| match score {
            ScoreEntry::Known { id, print, .. } if **print == now => Some(id.clone()),
            _ => None,
        });
        known.unwrap_or_else(|| {
            let entered = self.contents.scores.iter().filter_map(|score| match score {
                ScoreEntry::Known { id, .. } => Some(id.as_str()),
                ScoreEntry::Foreign(_) => None,
            });
            // One whose fingerprint is missing must not be taken for one made on this score.
            let id = new_id("s", entered.chain(self.records().filter_map(|record| record.score.as_deref())));
            let (print, extra) = (Box::new(now), serde_json::Map::new());
            self.contents.scores.push(ScoreEntry::Known { id: id.clone(), print, extra });
            id
        })
    }

    /// Takes a correction back; whether there was one of this identifier. Fingerprints nothing refers to any more go too.
    pub fn remove(&mut self, id: &str) -> bool {
        let before = self.contents.entries.len();
        self.contents.entries.retain(|entry| entry.id().as_deref() != Some(id));
        let removed = self.contents.entries.len() < before;
        // An entry that is not understood may refer to any of them.
        let all_understood = self.contents.entries.iter().all(|entry| matches!(entry, Entry::Known(_)));
        if removed && all_understood {
            let used: Vec<String> = self.records().filter_map(|record| record.score.clone()).collect();
            self.contents.scores.retain(|score| match score {
                ScoreEntry::Known { id, .. } => used.contains(id),
                ScoreEntry::Foreign(_) => true,
            });
        }
        removed
    }

    /// Puts the file back as `before` read it, after a change that `self` has saved was broken off; whether it is as it was before. Where somebody else has
    /// changed the file meanwhile, their corrections stay: only what the change added goes, and what it took away comes back.
    ///
    /// # Errors
    /// When the file cannot be read or written.
    pub fn put_back(&self, before: &Self) -> Result<bool, CorrectionsError> {
        let mut now = Self::read(&self.path, &self.score_file)?;
        if now.on_disk == self.on_disk {
            let written = match &before.on_disk {
                Some(bytes) => sidecar::replace(&self.path, bytes),
                None => sidecar::remove(&self.path),
            };
            written.map_err(|error| not_written(&self.path, &error))?;
            return Ok(true);
        }
        let ids = |of: &Self| -> BTreeSet<String> { of.records().map(|record| record.id.clone()).collect() };
        let (had, left) = (ids(before), ids(self));
        left.difference(&had).for_each(|added| {
            now.remove(added);
        });
        for (at, record) in before.records().enumerate().filter(|(_, record)| !left.contains(&record.id)) {
            now.take_again(before, record, at);
        }
        now.save()?;
        Ok(false)
    }

    /// Enters a correction of `before`, with the fingerprint it refers to, as the one at this place; under another identifier where its own is taken.
    fn take_again(&mut self, before: &Self, record: &Record, at: usize) {
        let mut record = record.clone();
        record.score = record.score.take().map(|of| {
            let print = before.contents.scores.iter().find_map(|score| match score {
                ScoreEntry::Known { id, print, .. } if *id == of => Some(print),
                _ => None,
            });
            print.map_or(of, |print| self.fingerprint_id((**print).clone()))
        });
        if self.contents.entries.iter().any(|entry| entry.id().as_deref() == Some(record.id.as_str())) {
            record.id = new_id("c", self.contents.entries.iter().filter_map(Entry::id));
        }
        let at = at.min(self.contents.entries.len());
        self.contents.entries.insert(at, Entry::Known(Box::new(record)));
    }

    /// Writes the file, whole or not at all.
    ///
    /// # Errors
    /// When it cannot be written, or has been changed by somebody else since it was read.
    pub fn save(&mut self) -> Result<(), CorrectionsError> {
        let failed = |code, what: String, hint: &str| Err(CorrectionsError::of_file(&self.path, code, what, hint));
        match sidecar::load(&self.path) {
            Ok(now) if now == self.on_disk => {}
            Ok(_) => {
                let what = "somebody else has changed the file meanwhile".to_owned();
                return failed("corrections-changed", what, "Make the correction again");
            }
            Err(error) => return failed("corrections-cannot-open", format!("the file cannot be opened ({error})"), ""),
        }
        let text = match file::write(&self.contents) {
            Ok(text) => text,
            Err(error) => return failed("corrections-not-written", format!("the file cannot be written ({error})"), ""),
        };
        sidecar::replace(&self.path, text.as_bytes()).map_err(|error| not_written(&self.path, &error))?;
        self.on_disk = Some(text.into_bytes());
        Ok(())
    }
}

fn not_written(path: &Path, error: &std::io::Error) -> CorrectionsError {
    let hint = "Check the folder's permissions and free space";
    CorrectionsError::of_file(path, "corrections-not-written", format!("the file cannot be written ({error})"), hint)
}

fn parse(path: &Path, bytes: &[u8]) -> Result<(Contents, Vec<Finding>), CorrectionsError> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let what = format!("the file is not UTF-8 text from byte {} on", error.valid_up_to());
        CorrectionsError::of_file(path, "corrections-not-readable", what, "Save it as UTF-8, or move it away to start anew")
    })?;
    // Some editors put a byte order mark at the beginning, which JSON does not allow.
    file::read(&last_name(path), text.strip_prefix('\u{feff}').unwrap_or(text)).map_err(CorrectionsError)
}

/// An identifier such as c4: one above the highest of this form, so that a number taken back is not given again at once.
fn new_id<T: AsRef<str>>(letter: &str, taken: impl Iterator<Item = T>) -> String {
    let taken: BTreeSet<u64> = taken.filter_map(|id| id.as_ref().strip_prefix(letter)?.parse().ok()).collect();
    let above = taken.last().map_or(Some(1), |last| last.checked_add(1));
    let gap = || (1..u64::MAX).find(|count| !taken.contains(count)).unwrap_or_default();
    format!("{letter}{}", above.unwrap_or_else(gap))
}
