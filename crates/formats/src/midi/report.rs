//! Gathering findings with less ado.

use crate::{Finding, Findings, Place, Severity};

/// Findings about one file.
pub(super) struct Report<'a> {
    file: &'a str,
    findings: Findings,
}

/// Where in the file: a part's name, a bar's printed number, or neither.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct At<'a> {
    pub(super) part: Option<&'a str>,
    pub(super) bar: Option<&'a str>,
}

impl<'a> At<'a> {
    /// The file as a whole.
    pub(super) const FILE: Self = Self { part: None, bar: None };

    /// A part as a whole.
    pub(super) const fn part(name: &'a str) -> Self {
        Self { part: Some(name), bar: None }
    }

    /// A bar of all parts.
    pub(super) const fn bar(number: &'a str) -> Self {
        Self { part: None, bar: Some(number) }
    }

    /// The same place, in a bar.
    pub(super) const fn in_bar(self, number: &'a str) -> Self {
        Self { part: self.part, bar: Some(number) }
    }
}

impl<'a> Report<'a> {
    pub(super) fn new(file: &'a str) -> Self {
        Self { file, findings: Findings::default() }
    }

    fn push(&mut self, severity: Severity, at: At<'_>, code: &'static str, what: impl Into<String>, hint: &str) {
        let (part, bar) = (at.part.map(str::to_owned), at.bar.map(str::to_owned));
        let place = Place { file: self.file.to_owned(), part, bar, line: None };
        self.findings.push(Finding { severity, code, place, what: what.into(), hint: hint.to_owned() });
    }

    pub(super) fn note(&mut self, at: At<'_>, code: &'static str, what: impl Into<String>, hint: &str) {
        self.push(Severity::Note, at, code, what, hint);
    }

    pub(super) fn warning(&mut self, at: At<'_>, code: &'static str, what: impl Into<String>, hint: &str) {
        self.push(Severity::Warning, at, code, what, hint);
    }

    pub(super) fn error(&mut self, at: At<'_>, code: &'static str, what: impl Into<String>, hint: &str) {
        self.push(Severity::Error, at, code, what, hint);
    }

    pub(super) fn into_vec(self) -> Vec<Finding> {
        self.findings.into_vec()
    }
}

/// "1 note", "3 notes".
pub(super) fn count(number: u32, noun: &str) -> String {
    if number == 1 { format!("1 {noun}") } else { format!("{number} {noun}s") }
}
