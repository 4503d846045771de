//! What every step of reading shares: the walk through the XML, the findings, the limits.

use std::collections::BTreeSet;

use crate::{Finding, Findings, Limits, Place, Severity};

use super::cursor::Cursor;

/// See the module.
pub(super) struct Context<'x, 'f> {
    pub cursor: Cursor<'x>,
    pub limits: &'f Limits,
    /// The file has at least one `<tie>`, so that `<tied>` is notation only.
    pub ties_sound: bool,
    file: &'f str,
    findings: Findings,
    events: usize,
    unknown: BTreeSet<&'x str>,
}

/// Part and bar of a finding; either may be empty.
#[derive(Clone, Copy)]
pub(super) struct At<'a> {
    pub part: &'a str,
    pub bar: &'a str,
}

impl At<'static> {
    /// The file as a whole.
    pub const FILE: Self = Self { part: "", bar: "" };
}

impl<'x, 'f> Context<'x, 'f> {
    pub fn new(file: &'f str, cursor: Cursor<'x>, limits: &'f Limits) -> Self {
        let (findings, unknown) = (Findings::default(), BTreeSet::new());
        Self { cursor, limits, ties_sound: false, file, findings, events: 0, unknown }
    }

    pub fn say(&mut self, severity: Severity, at: At<'_>, code: &'static str, what: impl Into<String>, hint: impl Into<String>) {
        let named = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        let place = Place { file: self.file.to_owned(), part: named(at.part), bar: named(at.bar), line: None };
        self.findings.push(Finding { severity, code, place, what: what.into(), hint: hint.into() });
    }

    pub fn note(&mut self, at: At<'_>, code: &'static str, what: impl Into<String>, hint: impl Into<String>) {
        self.say(Severity::Note, at, code, what, hint);
    }

    pub fn warn(&mut self, at: At<'_>, code: &'static str, what: impl Into<String>, hint: impl Into<String>) {
        self.say(Severity::Warning, at, code, what, hint);
    }

    /// A finding about a line of the file.
    pub fn say_line(&mut self, severity: Severity, line: u64, at: At<'_>, code: &'static str, what: String, hint: &str) {
        let named = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        let place = Place { file: self.file.to_owned(), part: named(at.part), bar: named(at.bar), line: Some(line) };
        self.findings.push(Finding { severity, code, place, what, hint: hint.to_owned() });
    }

    /// Counts one more note, rest, direction, change or sign, and ends the reading when there are too many.
    #[inline]
    pub fn count_event(&mut self) {
        self.events += 1;
        if self.events > self.limits.events {
            let what = format!("the score has more than the {} notes, rests and signs allowed", self.limits.events);
            self.cursor.stop(what);
        }
    }

    /// How many more events may be made.
    pub const fn events_left(&self) -> usize {
        self.limits.events.saturating_sub(self.events)
    }

    /// Passes over an element that MusicXML does not have, and reports its name once.
    #[cold]
    pub fn skip_unknown(&mut self, name: &'x str, at: At<'_>) {
        self.cursor.skip();
        const NAMES_KEPT: usize = 40;
        if self.unknown.len() < NAMES_KEPT && self.unknown.insert(name) {
            let shown: String = name.chars().take(40).collect();
            let what = format!("the element <{shown}> does not belong here in MusicXML and was passed over");
            self.note(at, "unknown-element", what, "");
        }
    }

    /// The findings so far, in order.
    pub fn into_findings(self) -> Vec<Finding> {
        self.findings.into_vec()
    }
}
