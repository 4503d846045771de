//! The changes of two versions as a list: what changed, and its bars in either version.

use std::collections::BTreeMap;

use super::{BarChange, PartChange, Touch, Versions};
use crate::Study;

/// One entry of the list of changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// What changed: "Tuba, is silent now", "bars added".
    pub text: String,
    /// Played bars of the older version, ascending; none where the change has no place there.
    pub old: Vec<u32>,
    /// Played bars of the newer version.
    pub new: Vec<u32>,
    /// Whether it is the place that changed: the bars stood elsewhere, their notes the same.
    pub moves: bool,
}

impl Versions {
    /// All changes: parts first, then bars, those that moved stretch by stretch, then what each part plays. `old` and `new` are the studies compared.
    #[must_use]
    pub fn listed(&self, old: &Study, new: &Study) -> Vec<Listed> {
        let mut list: Vec<Listed> = self.parts.iter().map(|change| of_part(change, old, new)).collect();
        let (mut added, mut removed, mut moved, mut lengths) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        let mut touched: BTreeMap<(usize, Touch), (Vec<u32>, Vec<u32>)> = BTreeMap::new();
        for change in &self.bars {
            match change {
                BarChange::Added { new } => added.push(*new),
                BarChange::Removed { old } => removed.push(*old),
                BarChange::Moved { old, new } => moved.push((*old, *new)),
                BarChange::Changed { old, new, length, parts } => {
                    lengths.extend(length.map(|_| (*old, *new)));
                    for &part in parts {
                        let bars = touched.entry(part).or_default();
                        bars.0.push(*old);
                        bars.1.push(*new);
                    }
                }
            }
        }
        removed.sort_unstable();
        moved.sort_unstable();
        let mut say = |text: &str, old: Vec<u32>, new: Vec<u32>, moves: bool| {
            if !(old.is_empty() && new.is_empty()) {
                list.push(Listed { text: text.to_owned(), old, new, moves });
            }
        };
        say("bars added", Vec::new(), added, false);
        say("bars taken out", removed, Vec::new(), false);
        for run in moved.chunk_by(|a, b| (a.0 + 1, a.1 + 1) == *b) {
            let (from, to) = run.iter().copied().unzip();
            say("bars moved elsewhere", from, to, true);
        }
        let (before, now) = lengths.into_iter().unzip();
        say("bars of another length", before, now, false);
        for ((part, touch), (before, now)) in touched {
            say(&format!("{}, {}", name(new, part), touch.name()), before, now, false);
        }
        list
    }
}

fn name(study: &Study, part: usize) -> String {
    study.score.parts.get(part).map_or(String::new(), |part| part.name.split_whitespace().collect::<Vec<_>>().join(" "))
}

fn of_part(change: &PartChange, old: &Study, new: &Study) -> Listed {
    let nowhere = |text: String| Listed { text, old: Vec::new(), new: Vec::new(), moves: false };
    match change {
        PartChange::Added { new: part, bars } => Listed { new: bars.clone(), ..nowhere(format!("{} is new", name(new, *part))) },
        PartChange::Removed { old: part, bars } => {
            Listed { old: bars.clone(), ..nowhere(format!("{} is gone", name(old, *part))) }
        }
        PartChange::Renamed { old: before, new: now } => {
            nowhere(format!("{} is called {} now", name(old, *before), name(new, *now)))
        }
        PartChange::Transposed { new: part, semitones, .. } => {
            let way = if *semitones > 0 { "higher" } else { "lower" };
            let steps = semitones.unsigned_abs();
            let unit = if steps == 1 { "semitone" } else { "semitones" };
            nowhere(format!("{} lies {steps} {unit} {way} for the most part", name(new, *part)))
        }
    }
}
