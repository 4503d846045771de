//! What a person knows better: said of spans, kept beside the score, taken back and said again.

use std::path::Path;
use std::sync::{Arc, PoisonError};

use axum::http::StatusCode;
use ripieno_score::Crotchets;
use ripieno_study::Study;
use ripieno_study::corrections::{Change, Corrections, Instruction, Listed, Moment, Request, Who, role_named};
use serde::Deserialize;
use utoipa::ToSchema;

use crate::desk::{Desk, Open};
use crate::failure::{Failure, Outcome};
use crate::studied::again;
use crate::view::Correction;

/// What is to be changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Kind {
    /// They have these roles.
    SetRole,
    /// They stand apart from what comes before and after.
    SplitRole,
    /// They are one thing, in one role.
    MergeRoles,
    /// They are called so.
    NameRole,
    /// They, and no others, form one layer.
    SetLayer,
    /// They leave their layers.
    SplitLayer,
    /// Their layers become one.
    MergeLayers,
    /// A remark that changes nothing.
    Remark,
}

/// A correction asked for.
#[derive(Debug, Clone, PartialEq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Wanted {
    /// The revision in which the spans have these numbers.
    pub revision: u64,
    /// The spans it is about; at least one.
    pub spans: Vec<usize>,
    pub change: Kind,
    /// Roles, the chief one first.
    #[serde(default)]
    pub roles: Vec<String>,
    /// A name, or the words of a remark.
    #[serde(default)]
    pub text: String,
    /// Only from this bar on, instead of where the spans begin.
    pub first_bar: Option<u32>,
    /// Only to the end of this bar, instead of where they end.
    pub last_bar: Option<u32>,
    /// Why.
    #[serde(default)]
    pub comment: String,
}

/// The corrections of a kept score, as lists show them.
pub(crate) fn list(path: &Path) -> Vec<Correction> {
    let of = |one: Listed| Correction {
        told: one.to_string(),
        id: one.id,
        what: one.change.to_string(),
        parts: one.parts,
        span: one.span,
        comment: one.comment,
    };
    Corrections::beside(path).map(|corrections| corrections.list().into_iter().map(of).collect()).unwrap_or_default()
}

/// A change that is done: the score with it in force, and its corrections as the change left them.
pub(crate) struct Done {
    pub(crate) open: Arc<Open>,
    pub(crate) left: Corrections,
}

/// Makes a correction; the score is studied again with it in force.
pub(crate) fn correct(desk: &Desk, score: i64, wanted: &Wanted) -> Outcome<Done> {
    let _one_at_a_time = desk.correcting.lock().unwrap_or_else(PoisonError::into_inner);
    let path = desk.kept(score)?.path;
    let open = desk.opened(score)?;
    if open.revision != wanted.revision {
        return Err(Failure::new(StatusCode::CONFLICT, "the score has changed meanwhile; look again and repeat the correction"));
    }
    if open.study.is_chart() {
        return Err(Failure::refused("this is a chart: what it says is changed on the page on which it is made"));
    }
    let request = request(&open.study, wanted)?;
    let left = add(Path::new(&path), &open.study, request)?;
    desk.forget_undone(score);
    Ok(Done { open: again(desk, Path::new(&path))?, left })
}

/// Takes back the latest correction, or the one named.
pub(crate) fn undo(desk: &Desk, score: i64, id: Option<&str>) -> Outcome<Done> {
    let _one_at_a_time = desk.correcting.lock().unwrap_or_else(PoisonError::into_inner);
    let path = desk.kept(score)?.path;
    let path = Path::new(&path);
    let open = desk.opened(score)?;
    let mut corrections = Corrections::beside(path).map_err(said)?;
    let listed = corrections.list();
    let one = match id {
        Some(id) => listed.into_iter().find(|one| one.id == id),
        None => listed.into_iter().next_back(),
    };
    let Some(one) = one else { return Err(Failure::not_there("there is no such correction to take back")) };
    let made = open.study.corrections.iter().find(|made| made.correction == one.id);
    let request = made.map(|made| restored(&open.study, made, &one.comment));
    corrections.remove(&one.id);
    corrections.save().map_err(said)?;
    if let Some(request) = request {
        desk.undone(score, request);
    }
    Ok(Done { open: again(desk, path)?, left: corrections })
}

/// Makes the correction again that was taken back last.
pub(crate) fn redo(desk: &Desk, score: i64) -> Outcome<Done> {
    let _one_at_a_time = desk.correcting.lock().unwrap_or_else(PoisonError::into_inner);
    let path = desk.kept(score)?.path;
    let open = desk.opened(score)?;
    let Some(request) = desk.last_undone(score) else {
        return Err(Failure::not_there("nothing has been taken back since the desk was opened"));
    };
    let left = add(Path::new(&path), &open.study, request.clone()).inspect_err(|_| desk.undone(score, request))?;
    Ok(Done { open: again(desk, Path::new(&path))?, left })
}

/// Adds a correction to those kept; they as they are now.
fn add(path: &Path, study: &Study, request: Request) -> Outcome<Corrections> {
    let mut corrections = Corrections::beside(path).map_err(said)?;
    corrections.add(&study.score, &study.sounding, request).map_err(said)?;
    corrections.save().map_err(said)?;
    Ok(corrections)
}

pub(crate) fn said(error: ripieno_study::corrections::CorrectionsError) -> Failure {
    Failure::refused(error.to_string())
}

/// A correction that was settled on this score, as it was asked for.
fn restored(study: &Study, made: &Instruction, comment: &str) -> Request {
    Request {
        change: made.change.clone(),
        who: made.who.clone(),
        from: moment(study, made.from, false),
        to: moment(study, made.to, true),
        comment: comment.to_owned(),
    }
}

/// A moment by its bar; an end that lies on a barline belongs to the bar before.
fn moment(study: &Study, at: Crotchets, is_end: bool) -> Moment {
    let bars = &study.sounding.bars;
    let after = bars.partition_point(|bar| if is_end { bar.start < at } else { bar.start <= at });
    let bar = after.saturating_sub(1);
    let start = bars.get(bar).map_or(Crotchets::ZERO, |bar| bar.start);
    Moment { bar: u32::try_from(bar).unwrap_or(u32::MAX), at: Some(at - start) }
}

fn request(study: &Study, wanted: &Wanted) -> Outcome<Request> {
    let all = &study.roles.roles.spans;
    let spans: Option<Vec<_>> = wanted.spans.iter().map(|&span| all.get(span)).collect();
    let spans =
        spans.filter(|spans| !spans.is_empty()).ok_or_else(|| Failure::refused("say which spans the correction is about"))?;
    let mut who: Vec<Who> = Vec::new();
    for span in &spans {
        let line = &study.lines.lines[span.line];
        let one = Who { part: span.part, voice: Some(line.place), staff: Some(line.staff) };
        if !who.contains(&one) {
            who.push(one);
        }
    }
    let text = wanted.text.trim();
    let named = || if text.is_empty() { Err(Failure::refused("the name is empty; say something")) } else { Ok(text.to_owned()) };
    let change = match wanted.change {
        Kind::SetRole => {
            let roles = wanted.roles.iter().map(|name| role_named(name)).collect::<Result<Vec<_>, _>>();
            Change::SetRole(roles.map_err(Failure::refused)?)
        }
        Kind::SplitRole => Change::SplitRole,
        Kind::MergeRoles => Change::MergeRoles,
        Kind::NameRole => Change::NameRole(named()?),
        Kind::SetLayer => Change::SetLayer(Some(text.to_owned()).filter(|name| !name.is_empty())),
        Kind::SplitLayer => Change::SplitLayer,
        Kind::MergeLayers => Change::MergeLayers,
        Kind::Remark => Change::Remark(named()?),
    };
    let from = spans.iter().map(|span| span.from).min().unwrap_or(Crotchets::ZERO);
    let to = spans.iter().map(|span| span.to).max().unwrap_or(Crotchets::ZERO);
    Ok(Request {
        change,
        who,
        from: wanted.first_bar.map_or_else(|| moment(study, from, false), Moment::edge),
        to: wanted.last_bar.map_or_else(|| moment(study, to, true), Moment::edge),
        comment: wanted.comment.trim().to_owned(),
    })
}
