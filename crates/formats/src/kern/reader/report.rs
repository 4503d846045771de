//! What is said about the file.

use ripieno_score::Crotchets;

use super::{MOST_UNKNOWN, Reader};
use crate::kern::spine::{Holds, Spine, Unmatched};
use crate::kern::text::text;
use crate::kern::token::Doubt;
use crate::{Finding, Place, ReadError, Severity};

impl Reader<'_> {
    pub(super) fn find(
        &mut self,
        severity: Severity,
        code: &'static str,
        spine: Option<usize>,
        what: impl Into<String>,
        hint: impl Into<String>,
    ) {
        let part = spine.and_then(|spine| self.spines.get(spine)).map(Spine::label);
        let bar = (self.music || self.sections_read > 0).then(|| self.bars.label());
        let place = Place { file: self.file.to_owned(), part, bar, line: Some(self.line) };
        self.findings.push(Finding { severity, code, place, what: what.into(), hint: hint.into() });
    }

    pub(super) fn too_much(&self, what: String) -> ReadError {
        let place = Place { file: self.file.to_owned(), part: None, bar: Some(self.bars.label()), line: Some(self.line) };
        let hint = "Split the score into movements".to_owned();
        ReadError(Box::new(Finding { severity: Severity::Error, code: "too-large", place, what, hint }))
    }

    /// Reports a line that has not as many tokens as there are spines.
    pub(super) fn check_width(&mut self, count: usize) {
        let wanted = self.columns.len();
        if count == wanted {
            return;
        }
        self.broken_lines += 1;
        let what = format!("the line has {count} tokens for {wanted} spines");
        let hint = if count < wanted {
            "The spines on the right were taken as silent here"
        } else {
            "The tokens on the right were left out"
        };
        self.find(Severity::Warning, "line-width", None, what, hint);
    }

    pub(super) fn report_unused(&mut self, spine: usize, holds: Holds, token: &[u8]) {
        if holds == Holds::Other && token.starts_with(b"**") {
            let what = format!("the spine {} is of no use to this reader and was left out", shown(token));
            self.find(Severity::Note, "spine-left-out", Some(spine), what, "");
        }
    }

    pub(super) fn report_entry(&mut self, spine: usize, (absurd, uneven, no_duration): (bool, bool, bool), lost: &[Unmatched]) {
        if absurd {
            let what = format!("a note or rest lasts longer than {} crotchets", self.limits.bar_crotchets);
            self.find(Severity::Warning, "absurd-duration", Some(spine), what, "It was cut to that length");
        }
        if uneven {
            let hint = "All were given the length of the first; write the others in a sub-spine";
            self.find(Severity::Warning, "chord-lengths", Some(spine), "the notes of a chord have different lengths", hint);
        }
        if no_duration {
            let hint = "A note was taken as a grace note, a rest left out";
            self.find(Severity::Warning, "no-duration", Some(spine), "a note or rest has no duration", hint);
        }
        for lost in lost {
            let what = match lost {
                Unmatched::SlurEnd => "a slur ends that did not begin",
                Unmatched::SlurStart => "too many slurs are open at once; the oldest was dropped",
                Unmatched::Glissando => "a glissando has no beginning",
            };
            self.find(Severity::Note, "slur-unmatched", Some(spine), what, "It was left out");
        }
    }

    pub(super) fn report_doubts(&mut self, spine: usize, token: &[u8]) {
        let doubts = std::mem::take(&mut self.parsed.doubts);
        for doubt in doubts {
            match doubt {
                Doubt::Unknown(byte) => {
                    if self.is_news(&[byte]) {
                        let what =
                            format!("the signifier {} has no meaning in **kern and the file gives it none", shown(&[byte]));
                        self.find(Severity::Note, "unknown-signifier", Some(spine), what, "It was left out wherever it occurs");
                    }
                }
                Doubt::TwoPitches => {
                    let what = format!("{} has two pitches in one note", shown(token));
                    self.find(
                        Severity::Warning,
                        "two-pitches",
                        Some(spine),
                        what,
                        "The first was taken; separate the notes of a chord by spaces",
                    );
                }
                Doubt::Nothing => {
                    let what = format!("{} is neither a note nor a rest", shown(token));
                    self.find(Severity::Warning, "no-note", Some(spine), what, "It was left out");
                }
                Doubt::Duration => {
                    let what = format!("the duration of {} cannot be read", shown(token));
                    self.find(Severity::Warning, "bad-duration", Some(spine), what, "");
                }
            }
        }
    }

    /// Whether this has not been reported as unknown yet.
    pub(super) fn is_news(&mut self, what: &[u8]) -> bool {
        let news = self.unknown.len() < MOST_UNKNOWN && !self.unknown.iter().any(|known| known == what);
        if news {
            self.unknown.push(what.to_owned());
        }
        news
    }
}

/// A length as findings say it.
pub(super) fn in_crotchets(length: Crotchets) -> String {
    if length == Crotchets::ONE { "1 crotchet".to_owned() } else { format!("{length} crotchets") }
}

/// A token as findings quote it, cut to a readable length.
pub(super) fn shown(token: &[u8]) -> String {
    const MOST: usize = 40;
    let whole = text(token);
    if whole.chars().count() > MOST {
        format!("“{}…”", whole.chars().take(MOST).collect::<String>())
    } else {
        format!("“{whole}”")
    }
}
