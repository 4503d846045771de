//! What has changed from one version of a piece to the other, a row for each kind of change.

use std::collections::BTreeMap;

use ripieno_study::{BarChange, PartChange, Study, Touch, Versions};
use serde::Serialize;
use utoipa::ToSchema;

use crate::view::Cited;

/// A change, with its bars in either version.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Changed {
    /// "Tuba, is silent now".
    text: String,
    /// Bars of the older version; none where the change has no place there.
    a: Option<Cited>,
    /// Bars of the newer version.
    b: Option<Cited>,
}

/// All changes: parts first, then bars, then what parts play.
pub(crate) fn changes(old: &Study, new: &Study, versions: &Versions) -> Vec<Changed> {
    let name = |study: &Study, part: usize| study.score.parts.get(part).map_or(String::new(), |part| part.name.trim().to_owned());
    let cited = |study: &Study, bars: &[u32]| (!bars.is_empty()).then(|| Cited::of(&study.cite(bars)));
    let parts = versions.parts.iter().map(|change| match change {
        PartChange::Added { new: part, bars } => {
            Changed { text: format!("{} is new", name(new, *part)), a: None, b: cited(new, bars) }
        }
        PartChange::Removed { old: part, bars } => {
            Changed { text: format!("{} is gone", name(old, *part)), a: cited(old, bars), b: None }
        }
        PartChange::Renamed { old: before, new: now } => {
            Changed { text: format!("{} is called {} now", name(old, *before), name(new, *now)), a: None, b: None }
        }
        PartChange::Transposed { new: part, semitones, .. } => {
            let way = if *semitones > 0 { "higher" } else { "lower" };
            let text = format!("{} lies {} semitones {way} for the most part", name(new, *part), semitones.unsigned_abs());
            Changed { text, a: None, b: None }
        }
    });
    let (mut added, mut removed, mut moved, mut lengths) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut touched: BTreeMap<(usize, Touch), Vec<u32>> = BTreeMap::new();
    for change in &versions.bars {
        match change {
            BarChange::Added { new } => added.push(*new),
            BarChange::Removed { old } => removed.push(*old),
            BarChange::Moved { old, new } => moved.push((*old, *new)),
            BarChange::Changed { new, length, parts, .. } => {
                lengths.extend(length.map(|_| *new));
                parts.iter().for_each(|&part| touched.entry(part).or_default().push(*new));
            }
        }
    }
    removed.sort_unstable();
    moved.sort_unstable();
    let (from, to): (Vec<u32>, Vec<u32>) = moved.into_iter().unzip();
    let bars = [
        ("bars added", Vec::new(), added),
        ("bars taken out", removed, Vec::new()),
        ("bars moved elsewhere", from, to),
        ("bars of another length", Vec::new(), lengths),
    ];
    let bars = bars.into_iter().filter(|(_, a, b)| !(a.is_empty() && b.is_empty()));
    let bars = bars.map(|(text, a, b)| Changed { text: text.to_owned(), a: cited(old, &a), b: cited(new, &b) });
    let touched = touched.iter().map(|((part, touch), bars)| Changed {
        text: format!("{}, {}", name(new, *part), touch.name()),
        a: None,
        b: cited(new, bars),
    });
    parts.chain(bars).chain(touched).collect()
}
