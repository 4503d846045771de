//! Notes of one's own move with the music: each is tied to the state of the score it was made on, as corrections are (docs/corrections.md), in a
//! file beside the library (`library.db` has `library-notes/N.corrections.json`). When the score has other bars, the note is found again where
//! its music is now; where that is gone, it stays at its bars and is told to have lost them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::PoisonError;

use ripieno_library::Remark;
use ripieno_study::Study;
use ripieno_study::corrections::{Change, Corrections, Moment, Placed, Request, Who};

use crate::desk::{Desk, Open};
use crate::failure::{Failure, Outcome};

/// By score: its revision, and the remarks that had lost their music in it.
pub(crate) type Lost = BTreeMap<i64, (u64, BTreeSet<i64>)>;

/// Scores of which that is remembered.
const MOST_KNOWN: usize = 64;

/// What the file of a score lies beside: it need not be there.
fn path(desk: &Desk, score: i64) -> PathBuf {
    let library = desk.path();
    let stem = library.file_stem().map_or_else(|| "library".into(), |stem| stem.to_string_lossy());
    library.with_file_name(format!("{stem}-notes")).join(score.to_string())
}

fn file(desk: &Desk, score: i64) -> Outcome<Corrections> {
    Corrections::beside(&path(desk, score)).map_err(|error| Failure::refused(error.to_string()))
}

/// The remark an entry of the file ties down.
fn remark_of(comment: &str) -> Option<i64> {
    comment.parse().ok()
}

/// Ties a remark to the music it was made on.
pub(crate) fn tie(desk: &Desk, study: &Study, remark: &Remark) -> Outcome<()> {
    let Some(place) = remark.place.as_ref().filter(|_| !study.is_chart()) else { return Ok(()) };
    let mut lost = desk.noting.lock().unwrap_or_else(PoisonError::into_inner);
    lost.remove(&remark.score);
    let mut anchors = file(desk, remark.score)?;
    let parts = 0..study.score.parts.len();
    let named = |part: &usize| study.score.parts[*part].name.trim() == place.part.trim();
    let one: Vec<Who> = parts.clone().filter(named).map(Who::part).collect();
    let request = Request {
        change: Change::Remark("a note of one's own".to_owned()),
        who: if one.is_empty() { parts.map(Who::part).collect() } else { one },
        from: Moment::edge(place.first_bar),
        to: Moment::edge(place.last_bar),
        comment: remark.remark.to_string(),
    };
    let refused = |error: ripieno_study::corrections::CorrectionsError| Failure::refused(error.to_string());
    anchors.add(&study.score, &study.sounding, request).map_err(refused)?;
    if let Some(folder) = path(desk, remark.score).parent() {
        std::fs::create_dir_all(folder).map_err(|error| Failure::machine(format!("{}: {error}", folder.display())))?;
    }
    anchors.save().map_err(refused)
}

/// Forgets what a remark was tied to.
pub(crate) fn untie(desk: &Desk, score: i64, remark: i64) -> Outcome<()> {
    let mut lost = desk.noting.lock().unwrap_or_else(PoisonError::into_inner);
    lost.remove(&score);
    let mut anchors = file(desk, score)?;
    let tied: Vec<String> =
        anchors.list().into_iter().filter(|one| remark_of(&one.comment) == Some(remark)).map(|one| one.id).collect();
    if tied.is_empty() {
        return Ok(());
    }
    for id in tied {
        anchors.remove(&id);
    }
    anchors.save().map_err(|error| Failure::refused(error.to_string()))
}

/// Forgets all of a score that is taken off the shelf; a file that stays does no harm, as its number is not given again.
pub(crate) fn forget(desk: &Desk, score: i64) {
    let _ = std::fs::remove_file(ripieno_study::corrections::sidecar_path(&path(desk, score)));
}

/// Where the notes of a score are now, and which remark each entry is about; `None` where nothing is tied down.
fn placed(desk: &Desk, score: i64, study: &Study) -> Option<(Placed, Vec<(String, i64)>)> {
    let anchors = file(desk, score).ok().filter(|anchors| !anchors.is_empty())?;
    let remarks = anchors.list().into_iter().filter_map(|one| Some((one.id, remark_of(&one.comment)?))).collect();
    Some((anchors.place(&study.score, &study.sounding), remarks))
}

/// Moves the notes of a score to where their music is in this study of it.
pub(crate) fn follow(desk: &Desk, score: i64, study: &Study) -> Outcome<()> {
    let Some((placed, remarks)) = placed(desk, score, study) else { return Ok(()) };
    let mut library = desk.library()?;
    let known = library.remarks(Some(score))?;
    for instruction in &placed.instructions {
        let remark = remarks.iter().find(|(id, _)| *id == instruction.correction).map(|(_, remark)| *remark);
        let Some(remark) = remark.and_then(|remark| known.iter().find(|one| one.remark == remark)) else { continue };
        let bars = study.bars_between(instruction.from, instruction.to);
        let (first, last) = (bars.start, bars.end.saturating_sub(1).max(bars.start));
        if remark.place.as_ref().is_some_and(|place| (place.first_bar, place.last_bar) != (first, last)) {
            library.move_remark(remark.remark, &study.cite(&(first..=last).collect::<Vec<u32>>()).to_string(), (first, last))?;
        }
    }
    Ok(())
}

/// The remarks whose music is no longer in the score. Looking for it takes the whole score, so it is done once for each revision.
pub(crate) fn lost(desk: &Desk, open: &Open) -> BTreeSet<i64> {
    let mut known = desk.noting.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some((_, lost)) = known.get(&open.score).filter(|(revision, _)| *revision == open.revision) {
        return lost.clone();
    }
    let lost: BTreeSet<i64> = placed(desk, open.score, &open.study).map_or_else(BTreeSet::new, |(placed, remarks)| {
        remarks.into_iter().filter(|(id, _)| placed.unplaced.contains(id)).map(|(_, remark)| remark).collect()
    });
    if known.len() >= MOST_KNOWN {
        known.clear();
    }
    known.insert(open.score, (open.revision, lost.clone()));
    lost
}
