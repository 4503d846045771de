//! Where sketches come from: a file, or bars of a studied score.

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;

use ripieno_casting::{Plan, Sketch, reduce, reduce_every_line};
use ripieno_formats::excerpt::{Cut, cut};
use ripieno_formats::{Reading, read};
use ripieno_score::{BarIndex, Score};
use ripieno_study::{Study, analyse, analyse_file};
use ripieno_texture::Role;

use super::drafts::{entitled, titled};
use super::lineup::{LineupRows, known_named, left_out};
use super::plan::rows_of;
use super::shown::role_word;
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

fn begin(desk: &Desk, sketch: &Sketch, kept: Kept, staves: Option<&Score>) -> Outcome<i64> {
    let lineup = kept.own_lineup.clone().map_or_else(|| known_named(FIRST_LINEUP), Ok)?;
    let plan = rows_of(&Plan::phrases_of(sketch), sketch, &lineup.lineup()?);
    let steps = vec![Step { lineup, plan, ..Step::default() }];
    desk.drafts.begin(sketch, Kept { steps, ..kept }, staves)
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
    let (sketch, own) = match Sketch::by_names(score.clone()) {
        Some(sketch) => (sketch, None),
        None => {
            remarks
                .push("no staff is named by a role; the roles were found, and the score reduced to a staff for each".to_owned());
            let study = analyse(name.to_owned(), Reading { score, findings, format });
            let bars = 0..study.score.bars.len();
            (reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars), by_most(&study))
        }
    };
    let kept = Kept { title, from: name.to_owned(), remarks, ..Kept::default() };
    begin(desk, &sketch, kept, own.as_ref())
}

/// Staves of a sketch that a person may give roles to one by one.
const MOST_STAVES: usize = 40;

/// The score with its own staves, each called by the role it has in most of its bars; none where they are too many, or nobody has a role.
fn by_most(study: &Study) -> Option<Score> {
    let mut score = study.score.clone();
    if score.parts.len() > MOST_STAVES {
        return None;
    }
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for (index, part) in score.parts.iter_mut().enumerate() {
        let mut bars: BTreeMap<Role, u32> = BTreeMap::new();
        for span in study.roles.roles.spans.iter().filter(|span| span.part == index && span.role() != Role::Tacet) {
            *bars.entry(span.role()).or_default() += span.bars.end - span.bars.start;
        }
        let before = part.name.trim().to_owned();
        // Of equals the role listed first.
        let most = bars.into_iter().max_by_key(|&(role, bars)| (bars, std::cmp::Reverse(role))).map(|(role, _)| role_word(role));
        let title = most.and_then(|word| super::ROLE_WORDS.iter().find(|(known, _)| *known == word)).map(|(_, title)| *title);
        part.name = match title {
            Some(title) => {
                let count = counts.entry(title).or_default();
                *count += 1;
                titled(title, *count, &before)
            }
            None => before,
        };
    }
    Sketch::by_names(score.clone()).map(|_| score)
}

/// Bars by their printed numbers: "bar 12", "bars 82–98".
fn bars_printed(study: &Study, first: u32, last: u32) -> String {
    let (from, to) = (study.bar_label(first), study.bar_label(last));
    if from == to { format!("bar {from}") } else { format!("bars {from}–{to}") }
}

/// Bars of a score as a score of their own, all parts of it, with its title and theirs.
pub(crate) fn passage(desk: &Desk, score: i64, first: u32, last: u32) -> Outcome<(String, Score)> {
    with_study(desk, score, |study| {
        span(study, first, last)?;
        let title = format!("{}, {}", study.title(), bars_printed(study, first, last));
        let cut = cut(&study.score, &Cut::bars(BarIndex(first), BarIndex(last)));
        let found = cut.map_err(|error| Failure::refused(error.to_string()))?.score;
        Ok((title.clone(), entitled(found, &title)))
    })
}

/// A draft on bars of a score, reduced to a sketch by role.
pub(crate) fn from_bars(desk: &Desk, score: i64, first: u32, last: u32) -> Outcome<i64> {
    with_study(desk, score, |study| {
        let bars = span(study, first, last)?;
        let sketch = reduce_every_line(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars);
        let bars = bars_printed(study, first, last);
        let kept = Kept {
            title: format!("{}, {bars}", study.title()),
            from: format!("{bars} of {}", study.title()),
            // What the reduction leaves out; the file does not tell it.
            remarks: sketch.remarks.iter().cloned().chain(left_out(&study.score)).collect(),
            source: (score > 0).then_some(score),
            source_bars: Some((first, last)),
            // A score whose parts the catalogue does not know has none to offer.
            own_lineup: LineupRows::of_score(&study.score).ok(),
            ..Kept::default()
        };
        begin(desk, &sketch, kept, None)
    })
}
