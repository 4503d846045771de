//! A plan carried over from a passage of a studied score: every section does what its like does there.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_score::{Crotchets, Score};
use ripieno_texture::{Role, RoleReading};

use crate::assign::present;
use crate::held::held_over;
use crate::lineup::Lineup;
use crate::plan::{Plan, Task};
use crate::sketch::Sketch;

/// Share of the passage in which a section must sound to count as playing.
const PLAYS: f64 = 0.25;

/// What each section, by the catalogue's word for it, does for most of its time in bars of a score; tacet where it sounds in less than a quarter
/// of the time. Sections of percussion without pitch are left out.
#[must_use]
pub fn roles_of(score: &Score, roles: &RoleReading, bars: Range<usize>) -> BTreeMap<&'static str, Role> {
    let (lineup, of_part) = Lineup::of_score(score);
    let at = |bar: usize| score.bars.get(bar).map_or_else(|| score.length(), |bar| bar.start);
    let (from, to) = (at(bars.start), at(bars.end));
    let mut time: BTreeMap<&'static str, BTreeMap<Role, Crotchets>> = BTreeMap::new();
    for (part, section) in of_part.iter().enumerate() {
        let Some(section) = section.and_then(|section| lineup.sections.get(section)) else { continue };
        let sums = time.entry(section.kind).or_default();
        for span in roles.of_part(part) {
            let overlap = span.to.min(to) - span.from.max(from);
            if overlap.is_positive() {
                *sums.entry(span.role()).or_default() += overlap;
            }
        }
    }
    let least = (to - from).to_f64() * PLAYS;
    let most = |sums: BTreeMap<Role, Crotchets>| {
        let best = sums.iter().fold(None, |best: Option<(Role, Crotchets)>, (&role, &time)| {
            best.filter(|best| best.1 >= time).or(Some((role, time)))
        });
        let all: Crotchets = sums.values().copied().sum();
        best.filter(|_| all.to_f64() >= least).map_or(Role::Tacet, |best| best.0)
    };
    time.into_iter().map(|(kind, sums)| (kind, most(sums))).collect()
}

/// A plan for a sketch in which sections of the line-up do what sections of their kind do in bars of a score. Sections the model does not have, and
/// roles for which the sketch has no strand, are left for casting to fill in.
#[must_use]
pub fn carried_over(sketch: &Sketch, lineup: &Lineup, score: &Score, roles: &RoleReading, bars: Range<usize>) -> Plan {
    let model = roles_of(score, roles, bars);
    let mut plan = Plan::phrases_of(sketch);
    let sketch = &*held_over(sketch, &plan);
    for phrase in &mut plan.phrases {
        let strands = present(sketch, Plan::span(sketch, &phrase.bars));
        for (at, section) in lineup.sections.iter().enumerate() {
            let chairs: Vec<usize> = (0..section.chairs.len()).collect();
            let Some(&role) = model.get(section.kind) else { continue };
            let why = format!("{} have {role} in the passage taken as model", section.kind);
            if role == Role::Tacet {
                phrase.tasks.push(Task {
                    why: format!("{} rest in the passage taken as model", section.kind),
                    ..Task::new(at, chairs, role, None)
                });
            } else if let Some(&strand) = strands.iter().find(|&&strand| like(sketch.strands[strand].role, role)) {
                phrase.tasks.push(Task { why, ..Task::new(at, chairs, sketch.strands[strand].role, Some(strand)) });
            }
        }
    }
    plan
}

/// Whether a strand serves for a role: hits are rhythm in a sketch that has no staff for them.
const fn like(strand: Role, role: Role) -> bool {
    strand as u8 == role as u8 || matches!((strand, role), (Role::Rhythm, Role::Punctuation) | (Role::Punctuation, Role::Rhythm))
}
