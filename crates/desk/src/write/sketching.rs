//! Where sketches come from: a file, or bars of a studied score.

use std::ops::Range;
use std::path::Path;

use ripieno_casting::{Plan, Sketch, reduce};
use ripieno_formats::{Reading, read};
use ripieno_study::{Study, analyse, analyse_file};

use super::lineup::{LineupRows, known_named};
use super::plan::rows_of;
use super::store::{Kept, Step};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};
use crate::studied::limits;

/// The line-up a draft begins with, where its sketch brings none.
const FIRST_LINEUP: &str = "lifeboat-brass";

/// Does something with the study of a score of the library, or of one that is being written.
pub(crate) fn with_study<T>(desk: &Desk, score: i64, work: impl FnOnce(&Study) -> Outcome<T>) -> Outcome<T> {
    if let Some(open) = desk.open(score) {
        return work(&open.study);
    }
    let path = desk.kept(score)?.path;
    let study = analyse_file(Path::new(&path), &limits()).map_err(|error| Failure::refused(error.to_string()))?;
    work(&study)
}

/// Bars from first to last of a score.
pub(crate) fn span(study: &Study, first: u32, last: u32) -> Outcome<Range<usize>> {
    let bars = study.score.bars.len();
    let (first, last) = (first as usize, last as usize);
    if first > last || last >= bars {
        return Err(Failure::refused(format!(
            "there are no bars {first} to {last}; the score's are 0 to {}",
            bars.saturating_sub(1)
        )));
    }
    Ok(first..last + 1)
}

fn begin(desk: &Desk, sketch: &Sketch, kept: Kept) -> Outcome<i64> {
    let lineup = kept.own_lineup.clone().map_or_else(|| known_named(FIRST_LINEUP), Ok)?;
    let plan = rows_of(&Plan::phrases_of(sketch), sketch, &lineup.lineup()?);
    let steps = vec![Step { lineup, plan, split: Vec::new() }];
    desk.drafts.begin(sketch, Kept { steps, ..kept })
}

/// A draft on a sketch in a file: by the names of its staves, else by the roles found in it.
pub(crate) fn from_file(desk: &Desk, name: &str, bytes: &[u8]) -> Outcome<i64> {
    let reading = read(name, bytes, &limits()).map_err(|error| Failure::refused(error.to_string()))?;
    let Reading { score, findings, format } = reading;
    let mut remarks: Vec<String> = findings
        .iter()
        .filter(|finding| finding.severity >= ripieno_formats::Severity::Warning)
        .take(20)
        .map(ToString::to_string)
        .collect();
    let title = match score.about.title() {
        title if title.trim().is_empty() => name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_owned(),
        title => title,
    };
    let sketch = match Sketch::by_names(score.clone()) {
        Some(sketch) => sketch,
        None => {
            remarks
                .push("no staff is named by a role; the roles were found, and the score reduced to a staff for each".to_owned());
            let study = analyse(name.to_owned(), Reading { score, findings, format });
            let bars = 0..study.score.bars.len();
            reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars)
        }
    };
    let kept = Kept { title, from: name.to_owned(), remarks, ..Kept::default() };
    begin(desk, &sketch, kept)
}

/// A draft on bars of a score, reduced to a sketch by role.
pub(crate) fn from_bars(desk: &Desk, score: i64, first: u32, last: u32) -> Outcome<i64> {
    with_study(desk, score, |study| {
        let bars = span(study, first, last)?;
        let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars);
        let (from, to) = (study.bar_label(first), study.bar_label(last));
        let bars = if from == to { format!("bar {from}") } else { format!("bars {from}–{to}") };
        let kept = Kept {
            title: study.title(),
            from: format!("{bars} of {}", study.title()),
            source: (score > 0).then_some(score),
            // A score whose parts the catalogue does not know has none to offer.
            own_lineup: LineupRows::of_score(&study.score).ok(),
            ..Kept::default()
        };
        begin(desk, &sketch, kept)
    })
}
