//! What a reader has to say about a file: located, in one sentence, with what to do.

use std::fmt;

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing; nothing was changed or lost.
    Note,
    /// Something was mended, guessed or left out; the rest can be trusted.
    Warning,
    /// Part of the content could not be read at all; `--strict` refuses such a file.
    Error,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Error => "error",
        })
    }
}

/// Where in the file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Place {
    /// File name as the user gave it, or the member inside an archive.
    pub file: String,
    /// Part name as printed.
    pub part: Option<String>,
    /// Printed bar number (or, failing that, the position counted from 1).
    pub bar: Option<String>,
    /// Line in the text file, from 1, where that helps more than a bar.
    pub line: Option<u64>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(part) = &self.part {
            write!(f, ", {part}")?;
        }
        if let Some(bar) = &self.bar {
            write!(f, ", bar {bar}")?;
        }
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        Ok(())
    }
}

/// One finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// Stable name of the kind of finding, such as "voice-too-long", for filtering and counting.
    pub code: &'static str,
    /// Where.
    pub place: Place,
    /// What is the matter, without a full stop: "voice 2 is a quaver too long".
    pub what: String,
    /// What to do or what was done, without a full stop; may be empty.
    pub hint: String,
}

impl fmt::Display for Finding {
    /// `quartet.musicxml, Viola, bar 12: voice 2 is a quaver too long. Is a rest counted twice?`
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}.", self.place, self.what)?;
        if self.hint.is_empty() {
            return Ok(());
        }
        write!(f, " {}", self.hint)?;
        if self.hint.ends_with(['?', '.', '!']) { Ok(()) } else { f.write_str(".") }
    }
}

/// Gathers findings while bounding them: a damaged file may have the same fault in each of ten thousand bars.
#[derive(Debug, Default)]
pub struct Findings {
    list: Vec<Finding>,
    counts: std::collections::BTreeMap<(&'static str, Option<String>), usize>,
}

impl Findings {
    /// Findings of one kind in one part kept one by one; the rest are counted.
    pub const KEPT_EACH: usize = 20;

    /// Adds one.
    pub fn push(&mut self, finding: Finding) {
        let count = self.counts.entry((finding.code, finding.place.part.clone())).or_default();
        *count += 1;
        if *count <= Self::KEPT_EACH {
            self.list.push(finding);
        }
    }

    /// Whether nothing was found.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// All kept findings in the order they were made; kinds that occurred more often end with how many more there were.
    #[must_use]
    pub fn into_vec(self) -> Vec<Finding> {
        let Self { list, mut counts } = self;
        let mut told = std::collections::BTreeMap::new();
        let mut all = Vec::with_capacity(list.len());
        for finding in list {
            let kind = (finding.code, finding.place.part.clone());
            let so_far: &mut usize = told.entry(kind.clone()).or_default();
            *so_far += 1;
            // After the last one kept of a kind.
            let more = if *so_far == Self::KEPT_EACH { counts.remove(&kind) } else { None };
            let more = more.and_then(|count| count.checked_sub(Self::KEPT_EACH)).filter(|&more| more > 0);
            let rest = more.map(|more| Finding {
                place: Place { bar: None, line: None, ..finding.place.clone() },
                what: format!("{more} more like the one before"),
                hint: String::new(),
                ..finding.clone()
            });
            all.push(finding);
            all.extend(rest);
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_happens_often_is_counted() {
        let mut findings = Findings::default();
        for bar in 0..50 {
            for part in ["Oboe", "Viola"] {
                let place = Place { part: Some(part.into()), bar: Some(bar.to_string()), ..Place::default() };
                let (what, hint) = ("a tie leads nowhere".to_owned(), String::new());
                findings.push(Finding { severity: Severity::Warning, code: "tie", place, what, hint });
            }
        }
        let all = findings.into_vec();
        assert_eq!(all.len(), 2 * Findings::KEPT_EACH + 2);
        let last: Vec<String> = all.iter().rev().take(3).map(ToString::to_string).collect();
        let more = |part: &str| format!(", {part}: 30 more like the one before.");
        assert_eq!(last, [more("Viola"), ", Viola, bar 19: a tie leads nowhere.".to_owned(), more("Oboe")]);
    }
}
