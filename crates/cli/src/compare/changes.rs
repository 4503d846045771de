//! Changed bars and parts of two versions, in words.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use ripieno_study::{BarChange, PartChange, Study, Touch, Versions};

/// What has changed, a line for each stretch of bars with the same change.
pub fn text(old: &Study, new: &Study, versions: &Versions) -> String {
    let mut text = String::from("CHANGED PARTS AND BARS (bars of the newer version unless said otherwise)\n");
    let name = |study: &Study, part: usize| study.score.parts.get(part).map_or(String::new(), |part| part.name.trim().to_owned());
    for change in &versions.parts {
        let line = match change {
            PartChange::Added { new: part, bars } => format!("{} is new; plays in {}", name(new, *part), cited(new, bars)),
            PartChange::Removed { old: part, bars } => {
                format!("{} is gone; played in {} of the older version", name(old, *part), cited(old, bars))
            }
            PartChange::Renamed { old: before, new: now } => format!("{} is called {} now", name(old, *before), name(new, *now)),
            PartChange::Transposed { new: part, semitones, .. } => {
                let way = if *semitones > 0 { "higher" } else { "lower" };
                format!("{} lies {} semitones {way} for the most part", name(new, *part), semitones.unsigned_abs())
            }
        };
        let _ = writeln!(text, "  {line}");
    }
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
    let mut list = |what: &str, study: &Study, bars: &[u32]| {
        if !bars.is_empty() {
            let _ = writeln!(text, "  {what}: {}", cited(study, bars));
        }
    };
    list("added bars", new, &added);
    list("removed bars of the older version", old, &removed);
    list("bars of another length", new, &lengths);
    moved.sort_unstable();
    for run in moved.chunk_by(|a, b| (a.0 + 1, a.1 + 1) == *b) {
        let (from, to): (Vec<u32>, Vec<u32>) = run.iter().copied().unzip();
        let _ = writeln!(text, "  moved: {} of the older version to {}", cited(old, &from), cited(new, &to));
    }
    for ((part, touch), bars) in &touched {
        let _ = writeln!(text, "  {}, {}: {}", name(new, *part), touch.name(), cited(new, bars));
    }
    let _ = writeln!(text, "  unchanged: {}\n", super::rows::counted(versions.unchanged, "bar"));
    text
}

fn cited(study: &Study, bars: &[u32]) -> String {
    if bars.is_empty() {
        return "no bar".to_owned();
    }
    format!("{} ({})", study.cite(bars), super::rows::counted(bars.len(), "bar"))
}
