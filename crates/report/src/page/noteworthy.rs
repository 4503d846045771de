//! What stands first: findings in words and moments worth looking at, each leading to its bars.

use std::fmt::Write;

use ripieno_study::Study;

use super::text::{cited, escaped, linked};

/// Shown before the fold.
const SHOWN: usize = 12;

/// Sentences, the most unusual first; before them what the reader of the file doubts, since some of them rest on it.
pub(super) fn findings(study: &Study) -> String {
    let items = study
        .noteworthy
        .iter()
        .map(|found| format!("{} <span class=\"where\">{}</span>", escaped(&found.text), cited(&study.cite(&found.bars))));
    let doubts = study
        .doubts()
        .into_iter()
        .map(|doubt| format!("<p><strong>Doubtful in the file</strong>: {}</p>\n", escaped(&doubt.text)));
    doubts.collect::<String>() + &list(&items.collect::<Vec<_>>())
}

/// Moments, the most telling first.
pub(super) fn moments(study: &Study) -> String {
    let items = study.moments.iter().map(|moment| {
        let bars: Vec<u32> = moment.bars.clone().collect();
        let spans = study.cite(&bars);
        let (kind, reason) = (escaped(moment.kind), escaped(&moment.reason));
        format!("{}: <strong>{kind}</strong>. {reason}", linked(&spans.to_string(), &spans))
    });
    list(&items.collect::<Vec<_>>())
}

fn list(items: &[String]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let mut out = String::new();
    let points = |items: &[String]| items.iter().map(|item| format!("<li>{item}</li>\n")).collect::<String>();
    let (shown, folded) = items.split_at(items.len().min(SHOWN));
    let _ = write!(out, "<ul>\n{}</ul>\n", points(shown));
    if !folded.is_empty() {
        let _ = write!(out, "<details><summary>{} more</summary>\n<ul>\n{}</ul>\n</details>\n", folded.len(), points(folded));
    }
    out
}
