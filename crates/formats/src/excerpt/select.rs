//! Bars and parts as musicians name them.

use std::collections::BTreeSet;
use std::fmt;

use ripieno_instruments::{Chair, Nobody, called};
use ripieno_score::{BarIndex, Score};

/// Why bars or parts could not be found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SelectError {
    /// Not a bar or a span of bars.
    NotBars(String),
    /// No bar is printed with this number.
    NoBar {
        /// The number asked for.
        number: String,
        /// The first and last printed numbers.
        known: (String, String),
    },
    /// The last bar comes before the first.
    Backwards(String),
    /// Nobody is called so.
    NoPart(Nobody),
}

impl fmt::Display for SelectError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotBars(text) => write!(f, "\"{text}\" names no bars; write one as 40, several as 40-56"),
            Self::NoBar { number, known } => {
                write!(f, "no bar is numbered {number}; the score runs from {} to {}", known.0, known.1)
            }
            Self::Backwards(text) => write!(f, "\"{text}\" ends before it begins; name the first bar first"),
            Self::NoPart(nobody) => nobody.fmt(f),
        }
    }
}

impl std::error::Error for SelectError {}

/// The bars named by printed numbers: "40", "40-56". Where a number stands more than once (several movements in one score) the
/// first counts, for the end the first from the beginning on. `#` before a number counts from the score's first bar instead: "#1-#8".
///
/// # Errors
/// When the text names no bars, or bars the score does not have.
pub fn bars_named(score: &Score, text: &str) -> Result<(BarIndex, BarIndex), SelectError> {
    let text = text.trim().replace(['\u{2013}', '\u{2014}'], "-");
    let (from, to) = match text.split_once('-') {
        Some((from, to)) => (from.trim(), to.trim()),
        None => (text.as_str(), text.as_str()),
    };
    if from.is_empty() || to.is_empty() || to.contains('-') {
        return Err(SelectError::NotBars(text));
    }
    let first = bar_named(score, from, 0)?;
    let last = if from == to { first } else { bar_named(score, to, first).or_else(|_| bar_named(score, to, 0))? };
    let index = |bar: usize| BarIndex(u32::try_from(bar).unwrap_or(u32::MAX));
    if last < first {
        return Err(SelectError::Backwards(text));
    }
    Ok((index(first), index(last)))
}

fn bar_named(score: &Score, number: &str, from: usize) -> Result<usize, SelectError> {
    let counted = number.strip_prefix('#').and_then(|count| count.parse::<usize>().ok()).and_then(|count| count.checked_sub(1));
    let found = match counted {
        Some(index) => (index < score.bars.len()).then_some(index),
        None => {
            let named = |bar: usize| {
                let printed = &score.bars[bar].number;
                if printed.is_empty() { (bar + 1).to_string() == number } else { **printed == *number }
            };
            (from..score.bars.len()).find(|&bar| named(bar))
        }
    };
    let printed = |bar: Option<&ripieno_score::Bar>| bar.map_or_else(String::new, |bar| bar.number.to_string());
    found.ok_or_else(|| SelectError::NoBar {
        number: number.to_owned(),
        known: (printed(score.bars.first()), printed(score.bars.last())),
    })
}

/// The parts named, separated by commas: sections, families, instruments, parts by their names or places; see
/// [`called`](ripieno_instruments::called::called). In score order.
///
/// # Errors
/// When nobody is called so.
pub fn parts_named(score: &Score, text: &str) -> Result<Vec<usize>, SelectError> {
    let chairs: Vec<Chair<'_>> = score.parts.iter().map(Chair::from).collect();
    let mut chosen = BTreeSet::new();
    for name in text.split(',').map(str::trim).filter(|name| !name.is_empty()) {
        chosen.extend(called(&chairs, name).map_err(SelectError::NoPart)?);
    }
    Ok(chosen.into_iter().collect())
}
