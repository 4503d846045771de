//! What a person keeps of a score: tags, remarks on bars or spans, bookmarks of views.
#![allow(unused_qualifications)] // what the description of a path expands to

use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use ripieno_library::{Library, LibraryError, Place};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::anchors;
use crate::api::{ScorePath, bad, blocking, number};
use crate::desk::{Desk, no_score};
use crate::failure::{Failure, Outcome};

/// A remark.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct RemarkView {
    remark: i64,
    text: String,
    /// "35-45"; may be empty.
    printed_bars: String,
    /// First and last bar, where it was made on the page.
    bars: Option<[u32; 2]>,
    /// The part it is about; empty for all.
    part: String,
    /// Whether the music it was made on is no longer in the score; it stays at its bars.
    is_lost: bool,
}

/// A bookmark.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct BookmarkView {
    bookmark: i64,
    name: String,
    /// What stands in the page's address after "?".
    view: String,
}

/// All a person keeps of a score.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Own {
    tags: Vec<String>,
    remarks: Vec<RemarkView>,
    bookmarks: Vec<BookmarkView>,
    /// What came of the latest change besides; mostly empty.
    said: String,
}

fn own(desk: &Desk, score: i64) -> Outcome<Own> {
    let reader = desk.reader()?;
    let kept = reader.kept(score)?.ok_or_else(|| no_score(score))?;
    let lost = desk.open(score).map(|open| anchors::lost(desk, &open)).unwrap_or_default();
    let remarks = reader.remarks(score)?.into_iter().map(|one| {
        let (bars, part) = one.place.map_or((None, String::new()), |at| (Some([at.first_bar, at.last_bar]), at.part));
        RemarkView {
            remark: one.remark,
            text: one.text,
            printed_bars: one.printed_bars,
            bars,
            part,
            is_lost: lost.contains(&one.remark),
        }
    });
    let bookmarks = reader.bookmarks(score)?;
    let bookmarks = bookmarks.into_iter().map(|one| BookmarkView { bookmark: one.bookmark, name: one.name, view: one.view });
    Ok(Own { tags: kept.tags, remarks: remarks.collect(), bookmarks: bookmarks.collect(), said: String::new() })
}

/// Words a person keeps: some, and not too many.
fn worded(text: &str, most: usize) -> Outcome<()> {
    match text.trim() {
        "" => Err(Failure::refused("there is nothing to keep yet; say something")),
        text if text.len() > most => Err(Failure::refused(format!("this is too long to be kept: at most {most} letters are"))),
        _ => Ok(()),
    }
}

/// Most letters of a remark or of a bookmark's view, of a bookmark's name, of a tag.
const MOST_TEXT: usize = 20_000;
const MOST_NAME: usize = 200;
const MOST_TAG: usize = 100;

/// Changes something and answers all there is then.
async fn changed(
    desk: Desk,
    score: i64,
    is_there: impl FnOnce(&Own) -> bool + Send + 'static,
    change: impl FnOnce(&mut Library) -> Result<(), LibraryError> + Send + 'static,
) -> Outcome<Json<Own>> {
    changed_with(desk, score, is_there, |_, library| change(library).map(|()| String::new()).map_err(Failure::from)).await
}

/// The same, of what does not lie in the library alone; the change answers what has to be said of it.
async fn changed_with(
    desk: Desk,
    score: i64,
    is_there: impl FnOnce(&Own) -> bool + Send + 'static,
    change: impl FnOnce(&Desk, &mut Library) -> Outcome<String> + Send + 'static,
) -> Outcome<Json<Own>> {
    blocking(move || {
        if !is_there(&own(&desk, score)?) {
            return Err(Failure::not_there("the score has none of this number; it may have been taken away meanwhile"));
        }
        let said = change(&desk, &mut desk.library()?)?;
        Ok(Own { said, ..own(&desk, score)? })
    })
    .await
    .map(Json)
}

/// A person's tags, remarks and bookmarks of a score
#[utoipa::path(get, path = "/api/scores/{score}/notes", params(("score" = i64, Path)), responses((status = 200, body = Own), (status = 400, body = Failure), (status = 404, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn notes(State(desk): State<Desk>, score: ScorePath) -> Outcome<Json<Own>> {
    let score = number(score)?;
    blocking(move || own(&desk, score)).await.map(Json)
}

/// A remark to be kept.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct RemarkWanted {
    text: String,
    first_bar: u32,
    last_bar: u32,
    /// As the page calls them.
    printed_bars: String,
    /// The part it is about; all without it.
    #[serde(default)]
    part: String,
}

/// Keep a remark on bars
#[utoipa::path(post, path = "/api/scores/{score}/remarks", params(("score" = i64, Path)), request_body = RemarkWanted, responses((status = 200, body = Own), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn remark(
    State(desk): State<Desk>,
    score: ScorePath,
    wanted: Result<Json<RemarkWanted>, JsonRejection>,
) -> Outcome<Json<Own>> {
    let (score, Json(wanted)) = (number(score)?, wanted.map_err(bad)?);
    if wanted.first_bar > wanted.last_bar || wanted.printed_bars.len() > 200 || wanted.part.len() > 200 {
        return Err(Failure::refused("the remark names no bars: the first must not come after the last"));
    }
    worded(&wanted.text, MOST_TEXT)?;
    changed_with(
        desk,
        score,
        |_| true,
        move |desk, library| {
            let place = Place { first_bar: wanted.first_bar, last_bar: wanted.last_bar, part: wanted.part };
            let number = library.remark_at(score, &wanted.printed_bars, &place, &wanted.text)?;
            // Bars the score does not have are kept as they are said; there is no music to tie them to.
            let open = desk.open(score).filter(|open| (place.last_bar as usize) < open.study.sounding.bars.len());
            let remark = library.remarks(Some(score))?.into_iter().find(|one| one.remark == number);
            let tied = open.zip(remark).map_or(Ok(()), |(open, remark)| anchors::tie(desk, &open.study, &remark));
            // The note is kept by now: sent once more it would stand there twice.
            Ok(tied.err().map_or_else(String::new, |failure| {
                format!(
                    "The note is kept, but it stays at its bars when the score changes: {}.",
                    failure.message.trim_end_matches('.')
                )
            }))
        },
    )
    .await
}

/// Other words.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Words {
    text: String,
}

type Numbered = Result<Path<(i64, i64)>, PathRejection>;

fn has_remark(remark: i64) -> impl FnOnce(&Own) -> bool + Send + 'static {
    move |own| own.remarks.iter().any(|one| one.remark == remark)
}

/// Say a remark otherwise
#[utoipa::path(put, path = "/api/scores/{score}/remarks/{remark}", params(("score" = i64, Path), ("remark" = i64, Path)), request_body = Words, responses((status = 200, body = Own), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn reword_remark(
    State(desk): State<Desk>,
    which: Numbered,
    words: Result<Json<Words>, JsonRejection>,
) -> Outcome<Json<Own>> {
    let (Path((score, remark)), Json(words)) = (which.map_err(bad)?, words.map_err(bad)?);
    worded(&words.text, MOST_TEXT)?;
    changed(desk, score, has_remark(remark), move |library| library.reword_remark(remark, &words.text)).await
}

/// Take a remark away
#[utoipa::path(delete, path = "/api/scores/{score}/remarks/{remark}", params(("score" = i64, Path), ("remark" = i64, Path)), responses((status = 200, body = Own), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn remove_remark(State(desk): State<Desk>, which: Numbered) -> Outcome<Json<Own>> {
    let Path((score, remark)) = which.map_err(bad)?;
    changed_with(desk, score, has_remark(remark), move |desk, library| {
        library.remove_remark(remark)?;
        // What stays behind of it ties nothing down: numbers of remarks are not given again.
        let _ = anchors::untie(desk, score, remark);
        Ok(String::new())
    })
    .await
}

/// A view to be found again.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct BookmarkWanted {
    name: String,
    /// What stands in the page's address after "?".
    view: String,
}

/// Keep a view under a name
#[utoipa::path(post, path = "/api/scores/{score}/bookmarks", params(("score" = i64, Path)), request_body = BookmarkWanted, responses((status = 200, body = Own), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn bookmark(
    State(desk): State<Desk>,
    score: ScorePath,
    wanted: Result<Json<BookmarkWanted>, JsonRejection>,
) -> Outcome<Json<Own>> {
    let (score, Json(wanted)) = (number(score)?, wanted.map_err(bad)?);
    worded(&wanted.name, MOST_NAME)?;
    if wanted.view.len() > MOST_TEXT {
        return Err(Failure::refused("the view is too long to be kept; shorten the question in it"));
    }
    changed(desk, score, |_| true, move |library| library.bookmark(score, &wanted.name, &wanted.view).map(|_| ())).await
}

/// Take a bookmark away
#[utoipa::path(delete, path = "/api/scores/{score}/bookmarks/{bookmark}", params(("score" = i64, Path), ("bookmark" = i64, Path)), responses((status = 200, body = Own), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn remove_bookmark(State(desk): State<Desk>, which: Numbered) -> Outcome<Json<Own>> {
    let Path((score, bookmark)) = which.map_err(bad)?;
    let is_there = move |own: &Own| own.bookmarks.iter().any(|one| one.bookmark == bookmark);
    changed(desk, score, is_there, move |library| library.remove_bookmark(score, bookmark)).await
}

#[derive(Debug, Deserialize, IntoParams)]
pub(crate) struct Tag {
    /// A word or a few.
    tag: String,
}

/// Give a score a tag
#[utoipa::path(post, path = "/api/scores/{score}/tags", params(("score" = i64, Path), Tag), responses((status = 200, body = Own), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn add_tag(
    State(desk): State<Desk>,
    score: ScorePath,
    tag: Result<Query<Tag>, QueryRejection>,
) -> Outcome<Json<Own>> {
    tagged(desk, score, tag, false).await
}

/// Take a tag away
#[utoipa::path(delete, path = "/api/scores/{score}/tags", params(("score" = i64, Path), Tag), responses((status = 200, body = Own), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn remove_tag(
    State(desk): State<Desk>,
    score: ScorePath,
    tag: Result<Query<Tag>, QueryRejection>,
) -> Outcome<Json<Own>> {
    tagged(desk, score, tag, true).await
}

async fn tagged(desk: Desk, score: ScorePath, tag: Result<Query<Tag>, QueryRejection>, away: bool) -> Outcome<Json<Own>> {
    let (score, Query(Tag { tag })) = (number(score)?, tag.map_err(bad)?);
    worded(&tag, MOST_TAG)?;
    if tag.contains(char::is_control) {
        return Err(Failure::refused("a tag is a word or a few on one line"));
    }
    changed(desk, score, |_| true, move |library| library.tag(score, &[tag], away)).await
}
