//! Answers: the bars of a record in which a question holds.

mod bands;
mod cast;
mod entries;
mod heard;
mod holds;
mod lines;
mod page;
mod pitches;
mod stage;
mod wanted;

use std::collections::BTreeSet;

use crate::language::{Changing, Condition, PedalNote, Question, Wanted, Who};
use crate::record::{Damaged, Record, Table};

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
    /// What was asked for besides the bars: the part, where a question asks who; the pitch, where it asks for a note; the number, distance, role or
    /// section, where it asks for that.
    pub told: Option<String>,
    /// The section it is told of, where the answer goes section by section in score order.
    pub of: Option<String>,
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

    /// As [`Self::cited`], with what was asked for besides: "35–45 (Oboe 1)".
    #[must_use]
    pub fn said(&self) -> String {
        self.told.as_ref().map_or_else(|| self.cited(), |told| format!("{} ({told})", self.cited()))
    }

    /// Bars in it.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.last - self.first + 1
    }
}

/// The answer in words, to be printed one under the other: `Found::said` of all in one line, or a line for each section with what is told of it by bars.
#[must_use]
pub fn in_lines(found: &[Found]) -> Vec<String> {
    let of = |body: &[Found]| {
        let said: Vec<String> = match &body[0].of {
            None => body.iter().map(Found::said).collect(),
            Some(name) => {
                let start = format!("{name}: ");
                let told =
                    |found: &Found| found.told.as_deref().map_or("", |told| told.strip_prefix(&start).unwrap_or(told)).to_owned();
                body.iter().map(|found| format!("{} {}", told(found), found.cited())).collect()
            }
        };
        let name = body[0].of.as_ref().map_or_else(String::new, |name| format!("{name}: "));
        format!("{name}{}", said.join(", "))
    };
    found.chunk_by(|one, other| one.of == other.of).map(of).collect()
}

/// Bars in all of these, each once.
#[must_use]
pub fn bar_count(found: &[Found]) -> usize {
    found.iter().flat_map(|found| found.first..=found.last).collect::<BTreeSet<u32>>().len()
}

/// Answers a question from a record that has at least the tables [`tables`] names.
///
/// # Errors
/// When the record is damaged or lacks a table.
pub fn answer(question: &Question, record: &Record) -> Result<Vec<Found>, Damaged> {
    let mut stage = stage::Stage::new(record)?;
    let printed = record.table("bars")?.texts("printed_bar")?;
    let label = |bar: usize| match printed.get(bar) {
        None | Some("") => (bar + 1).to_string(),
        Some(number) => number.to_owned(),
    };
    let found = |(first, last): (usize, usize), told: Option<String>, of: Option<String>| Found {
        first: u32::try_from(first).unwrap_or(u32::MAX),
        last: u32::try_from(last).unwrap_or(u32::MAX),
        first_printed: label(first),
        last_printed: label(last),
        told,
        of,
    };
    let mut asks_who = false;
    question.each_who(&mut |who| asks_who |= *who == Who::Asked);
    if !asks_who {
        let holds = holds::holds(&question.condition, &stage)?;
        let runs = wanted::wanted(&question.wanted, &holds, &stage)?;
        return Ok(runs.into_iter().map(|(run, told, of)| found(run, told, of)).collect());
    }
    let mut answers = Vec::new();
    for part in 0..stage.part_count() {
        stage.asked = part;
        let holds = holds::holds(&question.condition, &stage)?;
        let runs = wanted::wanted(&question.wanted, &holds, &stage)?;
        let name = stage.part_name(part).map(str::to_owned);
        answers.extend(runs.into_iter().map(|(run, ..)| found(run, name.clone(), None)));
    }
    // Of one moment in page order.
    answers.sort_by_key(|found| (found.first, found.last));
    Ok(answers)
}

/// First and last bar of each row.
fn spans(table: &Table) -> Result<impl Iterator<Item = (i64, i64)> + '_, Damaged> {
    Ok(table.numbers("first_bar")?.iter().copied().zip(table.numbers("last_bar")?.iter().copied()))
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
    needed.extend(match &question.wanted {
        Wanted::Distance(..) => Some("notes"),
        Wanted::Against(_) => Some("proofs"),
        Wanted::RolesOf(_) => Some("spans"),
        _ => None,
    });
    question.each_who(&mut |who| {
        needed.extend(match who {
            Who::Melody => Some("melody"),
            Who::BassLine => Some("spans"),
            Who::Instrument(_) => Some("instruments"),
            _ => None,
        });
    });
    needed.into_iter().collect()
}

fn collect(condition: &Condition, needed: &mut BTreeSet<&'static str>) {
    let table = match condition {
        Condition::All(all, _) | Condition::Either(all) => return all.iter().for_each(|one| collect(one, needed)),
        Condition::Not(inner) => return collect(inner, needed),
        Condition::Doubles(..) => "doublings",
        Condition::Has(..) | Condition::Changes(..) => "spans",
        Condition::Lie(..) | Condition::Together(..) => "notes",
        Condition::Pedal(_, note) => {
            needed.extend(matches!(note, PedalNote::Degree(_)).then_some("keys"));
            "notes"
        }
        Condition::OneLayer(..) => "layers",
        Condition::Leads(_) | Condition::TakesOver(..) | Condition::Solo(_) => "melody",
        Condition::Way(..) => "techniques",
        Condition::Heard(_, by) => {
            needed.extend(by.as_ref().map(|_| "maskers"));
            "balance"
        }
        Condition::Even(_) => "balance",
        Condition::Tutti => "tuttis",
        Condition::Swells(..) => "swells",
        Condition::Thickened(..) | Condition::Voiced(..) | Condition::Splits(_) | Condition::Stacked(..) => "proofs",
        Condition::Chord(..) => "chords",
        Condition::Key(..) | Condition::Differs(Changing::Key) => "keys",
        Condition::Theme(..) => "statements",
        Condition::Plays(_)
        | Condition::Rests(_)
        | Condition::Enters(..)
        | Condition::FirstEnters(_)
        | Condition::Leaves(_)
        | Condition::Level(..)
        | Condition::Register(..)
        | Condition::Edge(..)
        | Condition::Between(..)
        | Condition::Metre(_)
        | Condition::Tempo(..)
        | Condition::Differs(_)
        | Condition::Count(..) => return,
    };
    needed.insert(table);
}
