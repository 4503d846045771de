//! Clefs, keys, metres, transpositions, instruments and staves: what holds when the excerpt begins, and what changes in it.

use std::mem::{Discriminant, discriminant};

use ripieno_score::{BarIndex, Change, ChangeKind, Crotchets, Part, Score};

use super::Window;

/// The changes of the excerpt: what is in force first, then what stands in its bars.
pub(super) fn changes(score: &Score, part: &Part, window: Window) -> Vec<Change> {
    let here = |change: &&Change| {
        let at = (change.bar, change.at);
        // One that stands at the very end is meant for the bar after.
        window.holds(change.bar) && (at < window.end() || at == window.start())
    };
    let inside: Vec<&Change> = part.changes.iter().filter(here).collect();
    let at_start = |kind: &ChangeKind, staff: Option<u8>| {
        inside.iter().any(|change| {
            (change.bar, change.at) == window.start()
                && discriminant(&change.kind) == discriminant(kind)
                && (change.staff.is_none() || change.staff == staff)
        })
    };
    let mut changes: Vec<Change> = in_force(score, part, window.first)
        .into_iter()
        .filter(|change| !at_start(&change.kind, change.staff))
        .map(|change| Change { bar: BarIndex(0), at: Crotchets::ZERO, ..change.clone() })
        .collect();
    changes.extend(inside.into_iter().map(|change| Change { bar: window.within(change.bar), ..change.clone() }));
    changes
}

/// The last change of each kind and staff before a bar, in the order they stand.
fn in_force<'a>(score: &Score, part: &'a Part, first: BarIndex) -> Vec<&'a Change> {
    let mut held: Vec<(Discriminant<ChangeKind>, &Change)> = Vec::new();
    for change in part.changes.iter().take_while(|change| change.bar < first) {
        let kind = discriminant(&change.kind);
        held.retain(|(other, earlier)| *other != kind || (change.staff.is_some() && change.staff != earlier.staff));
        held.push((kind, change));
    }
    let last_metre = (0u32..first.0).rev().find(|&bar| score.bars[bar as usize].metre.is_some());
    let holds = |change: &Change| match &change.kind {
        // A metre of all parts ends one of a part's own.
        ChangeKind::Metre(_) => last_metre.is_none_or(|bar| bar <= change.bar.0),
        ChangeKind::Alternative(on) => *on,
        ChangeKind::StaffLines(lines) => *lines != 5,
        _ => true,
    };
    held.into_iter().map(|(_, change)| change).filter(|change| holds(change)).collect()
}
