//! Changed bars and parts of two versions, a line each.

use std::fmt::Write as _;

use ripieno_study::{Study, Versions};

/// What has changed, parts first.
pub fn text(old: &Study, new: &Study, versions: &Versions) -> String {
    let mut text = String::from("CHANGED PARTS AND BARS (bars of the newer version unless said otherwise)\n");
    for change in versions.listed(old, new) {
        let line = match (change.old.is_empty(), change.new.is_empty()) {
            (true, true) => change.text,
            (false, true) => format!("{}: {} of the older version", change.text, cited(old, &change.old)),
            (false, false) if change.moves => {
                format!("{}: {} of the older version to {}", change.text, cited(old, &change.old), cited(new, &change.new))
            }
            (_, false) => format!("{}: {}", change.text, cited(new, &change.new)),
        };
        let _ = writeln!(text, "  {line}");
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
