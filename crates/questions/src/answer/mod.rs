//! Answers: the bars of a record in which a question holds.

mod bands;
mod entries;
mod heard;
mod holds;
mod stage;

use std::collections::BTreeSet;

use crate::language::{Condition, Counted, Question};
use crate::record::{Damaged, Record};

/// Consecutive bars with the numbers printed on the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// First bar, from 0.
    pub first: u32,
    /// Last bar.
    pub last: u32,
    /// Printed number of the first.
    pub first_printed: String,
    /// Printed number of the last.
    pub last_printed: String,
}

impl Found {
    /// "35–45", or "35".
    #[must_use]
    pub fn cited(&self) -> String {
        if self.first == self.last {
            self.first_printed.clone()
        } else {
            format!("{}\u{2013}{}", self.first_printed, self.last_printed)
        }
    }

    /// Bars in it.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.last - self.first + 1
    }
}

/// Answers a question from a record that has at least the tables [`tables`] names.
///
/// # Errors
/// When the record is damaged or lacks a table.
pub fn answer(question: &Question, record: &Record) -> Result<Vec<Found>, Damaged> {
    let stage = stage::Stage::new(record)?;
    let holds = holds::holds(&question.condition, &stage)?;
    let printed = record.table("bars")?.texts("printed_bar")?;
    let label = |bar: usize| match printed.get(bar) {
        None | Some("") => (bar + 1).to_string(),
        Some(number) => number.to_owned(),
    };
    let runs = runs(&holds).into_iter().map(|(first, last)| Found {
        first: u32::try_from(first).unwrap_or(u32::MAX),
        last: u32::try_from(last).unwrap_or(u32::MAX),
        first_printed: label(first),
        last_printed: label(last),
    });
    Ok(runs.collect())
}

/// First and last of each run of bars.
pub(crate) fn runs(holds: &[bool]) -> Vec<(usize, usize)> {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for (bar, _) in holds.iter().enumerate().filter(|(_, holds)| **holds) {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == bar => *last = bar,
            _ => runs.push((bar, bar)),
        }
    }
    runs
}

/// The tables a question needs, so that no others are unpacked.
#[must_use]
pub fn tables(question: &Question) -> Vec<&'static str> {
    let mut needed = BTreeSet::from(["parts", "bars", "roles", "groups"]);
    collect(&question.condition, &mut needed);
    needed.into_iter().collect()
}

fn collect(condition: &Condition, needed: &mut BTreeSet<&'static str>) {
    let table = match condition {
        Condition::All(all, _) | Condition::Either(all) => return all.iter().for_each(|one| collect(one, needed)),
        Condition::Not(inner) => return collect(inner, needed),
        Condition::Doubles(..) => "doublings",
        Condition::Has(..) => "spans",
        Condition::Lie(..) => "notes",
        Condition::OneLayer(..) => "layers",
        Condition::Leads(_) | Condition::TakesOver(..) | Condition::Solo(_) => "melody",
        Condition::Way(..) => "techniques",
        Condition::Heard(_, by) => {
            needed.extend(by.as_ref().map(|_| "maskers"));
            "balance"
        }
        Condition::Even(_) => "balance",
        Condition::Chord(..) => "chords",
        Condition::Key(..) => "keys",
        Condition::Theme(..) => "statements",
        Condition::Plays(_)
        | Condition::Rests(_)
        | Condition::Enters(..)
        | Condition::FirstEnters(_)
        | Condition::Level(..)
        | Condition::Register(..)
        | Condition::Between(..)
        | Condition::Metre(_)
        | Condition::Tempo(..)
        | Condition::Count(Counted::Players | Counted::Parts | Counted::Sections | Counted::Of(_), ..) => return,
    };
    needed.insert(table);
}
