//! An objection, and repeats of it put together.

use std::collections::BTreeMap;
use std::fmt;

use ripieno_instruments::printed;
use ripieno_score::{BarIndex, Crotchets, Score};

use crate::kind::{Kind, Severity};

/// What a player, a conductor or a copyist would object to.
#[derive(Debug, Clone, PartialEq)]
pub struct Objection {
    /// What it is about.
    pub kind: Kind,
    /// How much it weighs.
    pub severity: Severity,
    /// The part, index into [`Score::parts`].
    pub part: usize,
    /// The player by the number in the part's name (3 for the third horn); `None` for all or a section.
    pub player: Option<u16>,
    /// First bar.
    pub bar: BarIndex,
    /// Last bar.
    pub last: BarIndex,
    /// Where in the first bar.
    pub at: Crotchets,
    /// The written notes it rests on, indices into the part's notes, in score order; may be empty (what is missing has no note).
    pub notes: Vec<u32>,
    /// Why, with the facts.
    pub reason: String,
    /// What could be done.
    pub remedy: String,
    /// Source codes (see [`crate::source`]).
    pub source: String,
}

/// One objection with its repeats: same kind, severity, part and player.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// The first of them; it lends its reason.
    pub first: Objection,
    /// How many there are.
    pub count: usize,
    /// The bars of all, as runs, in order and without overlap.
    pub bars: Vec<(BarIndex, BarIndex)>,
}

/// Runs of bars printed before the rest is only counted.
const MOST_RUNS: usize = 8;

impl Group {
    /// The bars by their printed numbers: "12, 14-18 and 30 more".
    #[must_use]
    pub fn bars_text(&self, score: &Score) -> String {
        let name = |bar: BarIndex| {
            let printed = score.bars.get(bar.at()).map_or("", |bar| &bar.number);
            if printed.is_empty() { format!("#{}", bar.0 + 1) } else { printed.to_owned() }
        };
        let run = |&(first, last): &(BarIndex, BarIndex)| {
            if first == last { name(first) } else { format!("{}-{}", name(first), name(last)) }
        };
        let shown: Vec<String> = self.bars.iter().take(MOST_RUNS).map(run).collect();
        let more: u32 = self.bars.iter().skip(MOST_RUNS).map(|(first, last)| last.0 - first.0 + 1).sum();
        if more == 0 { shown.join(", ") } else { format!("{} and {more} more", shown.join(", ")) }
    }
}

/// Puts repeats together: gravest first, then by the order of the score, kinds in the order of the register.
#[must_use]
pub fn grouped(objections: &[Objection]) -> Vec<Group> {
    let mut groups: BTreeMap<(Severity, usize, Kind, Option<u16>), Vec<&Objection>> = BTreeMap::new();
    for one in objections {
        groups.entry((one.severity, one.part, one.kind, one.player)).or_default().push(one);
    }
    let together = |mut all: Vec<&Objection>| {
        all.sort_by_key(|one| (one.bar, one.at));
        let mut bars: Vec<(BarIndex, BarIndex)> = Vec::new();
        for one in &all {
            match bars.last_mut() {
                Some((_, last)) if one.bar.0 <= last.0 + 1 => *last = (*last).max(one.last),
                _ => bars.push((one.bar, one.last)),
            }
        }
        Some(Group { first: (*all.first()?).clone(), count: all.len(), bars })
    };
    groups.into_values().filter_map(together).collect()
}

/// A player's name for a report, as scores print it: "Horn 1.2 in F, player 2"; the part's alone where all are meant.
#[must_use]
pub fn who(score: &Score, objection: &Objection) -> String {
    let part = score.parts.get(objection.part);
    let name = part.map_or("", |part| part.name.as_str());
    let name = if name.trim().is_empty() { format!("part {}", objection.part + 1) } else { printed(name) };
    // Of one player the name says enough.
    match objection.player.filter(|_| part.is_none_or(|part| part.players.most > 1)) {
        Some(number) => format!("{name}, player {number}"),
        None => name,
    }
}

impl fmt::Display for Objection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}: {}. {}.", self.severity, self.kind, self.reason, self.remedy)
    }
}
