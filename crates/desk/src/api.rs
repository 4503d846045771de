//! The HTTP interface: what can be asked, and the OpenAPI description of it.
#![allow(unused_qualifications)] // what the description of a path expands to

use std::convert::Infallible;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, PoisonError};

use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, JsonRejection, PathRejection, QueryRejection};
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::middleware;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::{Json, Router};
use futures_util::Stream;
use serde::Deserialize;
use utoipa::{IntoParams, OpenApi};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::corrections::{self, Done, Wanted};
use crate::desk::{Desk, Open};
use crate::excerpt;
use crate::failure::{Failure, Outcome};
use crate::guard::{Own, guard};
use crate::jobs::{Job, JobState};
use crate::key::Key;
use crate::listen;
use crate::shelf::{self, Card};
use crate::studied::{self, Before, MOST_BYTES};
use crate::takeaway;
use crate::upload;
use crate::view::View;
use crate::{anchors, asking, assets, balance, chart, compare, evidence, notes, profiles, saved, write};

/// The demonstration score, made for this project.
const DEMO: &[u8] = include_bytes!("../../../demo/lifeboat_overture.musicxml");
const DEMO_NAME: &str = "lifeboat_overture.musicxml";

/// Jobs that may wait at one time.
const MOST_JOBS: usize = 64;

#[derive(OpenApi)]
#[openapi(info(
    title = "Ripieno desk",
    description = "What the page of the desk asks of its server, on this machine alone.",
    license(name = "MIT OR Apache-2.0")
))]
struct Description;

fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::with_openapi(Description::openapi())
        .routes(routes!(list_scores, add_score))
        .routes(routes!(add_demo))
        .routes(routes!(open_score, remove_score))
        .routes(routes!(view))
        .routes(routes!(evidence::evidence))
        .routes(routes!(asking::ask))
        .routes(routes!(asking::ask_all))
        .routes(routes!(asking::sql))
        .routes(routes!(notes::notes))
        .routes(routes!(notes::remark))
        .routes(routes!(notes::reword_remark, notes::remove_remark))
        .routes(routes!(notes::bookmark))
        .routes(routes!(notes::remove_bookmark))
        .routes(routes!(notes::add_tag, notes::remove_tag))
        .routes(routes!(compare::side_by_side))
        .routes(routes!(correct))
        .routes(routes!(undo))
        .routes(routes!(redo))
        .routes(routes!(job, cancel))
        .routes(routes!(outline))
        .routes(routes!(follow))
        .merge(balance::routes())
        .merge(chart::routes())
        .merge(excerpt::routes())
        .merge(listen::routes())
        .merge(profiles::routes())
        .merge(saved::routes())
        .merge(takeaway::routes())
        .merge(write::routes())
}

/// The OpenAPI description, as JSON text.
///
/// # Errors
/// Never in practice: it is plain data.
pub fn openapi() -> Result<String, serde_json::Error> {
    let (_, description) = routes().split_for_parts();
    Ok(description.to_pretty_json()? + "\n")
}

/// The desk's interface and page, for a server at this port that opens to this key.
pub fn router(desk: Desk, port: u16, key: Arc<Key>) -> Router {
    let (api, _) = routes().split_for_parts();
    api.with_state(desk)
        .fallback(assets::page)
        .layer(DefaultBodyLimit::max(MOST_BYTES))
        .layer(middleware::from_fn_with_state(Own::at(port, key), guard))
}

/// Work that reads files or counts, off the threads that answer.
pub(crate) async fn blocking<T: Send + 'static>(work: impl FnOnce() -> Outcome<T> + Send + 'static) -> Outcome<T> {
    let broken = |_| Failure::machine("the desk could not finish this; please report it");
    tokio::task::spawn_blocking(work).await.map_err(broken)?
}

pub(crate) fn bad(why: impl std::fmt::Display) -> Failure {
    Failure::new(StatusCode::BAD_REQUEST, why.to_string())
}

pub(crate) type ScorePath = Result<Path<i64>, PathRejection>;

pub(crate) fn number<T>(path: Result<Path<T>, PathRejection>) -> Outcome<T> {
    path.map(|Path(number)| number).map_err(bad)
}

#[derive(Debug, Default, Deserialize, IntoParams)]
struct Find {
    /// Beginnings of words of titles, composers, parts, remarks or tags; all scores without it.
    #[serde(default)]
    words: String,
}

/// The shelf
#[utoipa::path(get, path = "/api/scores", params(Find), responses((status = 200, body = Vec<Card>), (status = 400, body = Failure), (status = 507, body = Failure)))]
async fn list_scores(State(desk): State<Desk>, find: Result<Query<Find>, QueryRejection>) -> Outcome<Json<Vec<Card>>> {
    let Query(find) = find.map_err(bad)?;
    blocking(move || shelf::cards(&desk, &find.words)).await.map(Json)
}

#[derive(Debug, Deserialize, IntoParams)]
pub(crate) struct Named {
    /// The file's name.
    pub name: String,
}

/// A body of at most so many bytes; `what` it is, for whoever sent more.
pub(crate) fn bytes_of(body: Result<Bytes, BytesRejection>, what: &str, most: usize) -> Outcome<Bytes> {
    let large = || Failure::new(StatusCode::PAYLOAD_TOO_LARGE, format!("{what} is larger than {} megabytes", most >> 20));
    match body {
        Ok(bytes) if bytes.len() <= most => Ok(bytes),
        Ok(_) => Err(large()),
        Err(rejected) if rejected.status() == StatusCode::PAYLOAD_TOO_LARGE => Err(large()),
        Err(rejected) => Err(Failure::new(rejected.status(), rejected.body_text())),
    }
}

/// Add a score: its bytes are the body
#[utoipa::path(post, path = "/api/scores", params(Named), request_body(content = Vec<u8>, content_type = "application/octet-stream"), responses((status = 202, body = JobState), (status = 400, body = Failure), (status = 413, body = Failure), (status = 422, body = Failure), (status = 429, body = Failure), (status = 507, body = Failure)))]
async fn add_score(
    State(desk): State<Desk>,
    named: Result<Query<Named>, QueryRejection>,
    body: Result<Bytes, BytesRejection>,
) -> Outcome<Response> {
    let Query(Named { name }) = named.map_err(bad)?;
    let bytes = bytes_of(body, "the score", MOST_BYTES)?;
    take_in(desk, name, bytes).await
}

/// Add the demonstration score
#[utoipa::path(post, path = "/api/demo", responses((status = 202, body = JobState), (status = 429, body = Failure), (status = 507, body = Failure)))]
async fn add_demo(State(desk): State<Desk>) -> Outcome<Response> {
    take_in(desk, DEMO_NAME.to_owned(), Bytes::from_static(DEMO)).await
}

async fn take_in(desk: Desk, name: String, bytes: Bytes) -> Outcome<Response> {
    let name = upload::plain_name(&name)?;
    if desk.jobs.busy() >= MOST_JOBS {
        return Err(Failure::new(
            StatusCode::TOO_MANY_REQUESTS,
            "many scores are waiting already; add this one when some are done",
        ));
    }
    let folder = desk.folder().to_owned();
    let path = blocking(move || upload::keep(&folder, &name, &bytes)).await?;
    Ok((StatusCode::ACCEPTED, Json(studied::begin(&desk, path, None).state())).into_response())
}

/// Open a score: read it, study it
#[utoipa::path(post, path = "/api/scores/{score}", params(("score" = i64, Path)), responses((status = 202, body = JobState), (status = 400, body = Failure), (status = 404, body = Failure), (status = 507, body = Failure)))]
async fn open_score(State(desk): State<Desk>, score: ScorePath) -> Outcome<Response> {
    let score = number(score)?;
    if let Some(job) = desk.jobs.on_score(score) {
        return Ok((StatusCode::ACCEPTED, Json(job.state())).into_response());
    }
    let asked = desk.clone();
    let path = blocking(move || asked.kept(score)).await?.path;
    Ok((StatusCode::ACCEPTED, Json(studied::begin(&desk, PathBuf::from(path), Some(score)).state())).into_response())
}

/// Take a score off the shelf; its file stays
#[utoipa::path(delete, path = "/api/scores/{score}", params(("score" = i64, Path)), responses((status = 204), (status = 400, body = Failure), (status = 404, body = Failure), (status = 507, body = Failure)))]
async fn remove_score(State(desk): State<Desk>, score: ScorePath) -> Outcome<StatusCode> {
    let score = number(score)?;
    blocking(move || {
        desk.kept(score)?;
        // A job at work on it would put it back.
        if let Some(job) = desk.jobs.on_score(score) {
            job.cancel();
        }
        desk.library()?.remove(score)?;
        anchors::forget(&desk, score);
        desk.let_go(score);
        desk.drafts.outdate(score);
        Ok(StatusCode::NO_CONTENT)
    })
    .await
}

/// A score as the page draws it, as JSON that is written once for each revision.
fn view_of(desk: &Desk, open: &Open) -> Outcome<Response> {
    let path = desk.kept(open.score)?.path;
    let json = open.view.get_or_init(|| {
        let corrections = corrections::list(std::path::Path::new(&path));
        let view = View::of(&open.study, open.score, open.revision, corrections, desk.can_redo(open.score));
        serde_json::to_vec(&view).unwrap_or_default().into()
    });
    Ok(([(header::CONTENT_TYPE, "application/json")], json.clone()).into_response())
}

/// A score as the page draws it; 409 when it is not open
#[utoipa::path(get, path = "/api/scores/{score}/view", params(("score" = i64, Path)), responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 507, body = Failure)))]
async fn view(State(desk): State<Desk>, score: ScorePath) -> Outcome<Response> {
    let score = number(score)?;
    blocking(move || {
        if desk.open(score).is_none() {
            desk.kept(score)?;
        }
        view_of(&desk, &*desk.opened(score)?)
    })
    .await
}

/// Told when whoever asked has gone: the server lets go of a request whose connection is closed.
#[derive(Debug, Default)]
struct Asker(Arc<AtomicBool>);

impl Drop for Asker {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Changes the corrections of a score; the answer is the score with the change in force. Whoever breaks off meanwhile finds all as it was: the
/// score is studied to the end, and what has come of it is thrown away. Corrections that came from elsewhere meanwhile stay.
async fn changed(desk: Desk, score: i64, change: impl FnOnce(&Desk) -> Outcome<Done> + Send + 'static) -> Outcome<Response> {
    let asker = Asker::default();
    let gone = Arc::clone(&asker.0);
    let answer = blocking(move || {
        let _one_at_a_time = desk.changing.lock().unwrap_or_else(PoisonError::into_inner);
        if gone.load(Ordering::Relaxed) {
            return Err(broken_off());
        }
        let (before, undone) = (Before::of(&desk, score)?, desk.all_undone());
        let done = change(&desk)?;
        if gone.load(Ordering::Relaxed) {
            before.put_back(&desk, &done.left)?;
            desk.set_undone(undone);
            return Err(broken_off());
        }
        view_of(&desk, &done.open)
    })
    .await;
    drop(asker);
    answer
}

fn broken_off() -> Failure {
    Failure::new(StatusCode::CONFLICT, "broken off; the score is as it was")
}

/// Correct spans; the answer is the score with the correction in force
#[utoipa::path(post, path = "/api/scores/{score}/corrections", params(("score" = i64, Path)), request_body = Wanted, responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn correct(State(desk): State<Desk>, score: ScorePath, wanted: Result<Json<Wanted>, JsonRejection>) -> Outcome<Response> {
    let (score, Json(wanted)) = (number(score)?, wanted.map_err(bad)?);
    changed(desk, score, move |desk| corrections::correct(desk, score, &wanted)).await
}

#[derive(Debug, Default, Deserialize, IntoParams)]
struct Which {
    /// The correction; the latest without it.
    id: Option<String>,
}

/// Take a correction back
#[utoipa::path(post, path = "/api/scores/{score}/undo", params(("score" = i64, Path), Which), responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn undo(State(desk): State<Desk>, score: ScorePath, which: Result<Query<Which>, QueryRejection>) -> Outcome<Response> {
    let (score, Query(which)) = (number(score)?, which.map_err(bad)?);
    changed(desk, score, move |desk| corrections::undo(desk, score, which.id.as_deref())).await
}

/// Make the correction again that was taken back last
#[utoipa::path(post, path = "/api/scores/{score}/redo", params(("score" = i64, Path)), responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn redo(State(desk): State<Desk>, score: ScorePath) -> Outcome<Response> {
    let score = number(score)?;
    changed(desk, score, move |desk| corrections::redo(desk, score)).await
}

fn found_job(desk: &Desk, job: Result<Path<u64>, PathRejection>) -> Outcome<Arc<Job>> {
    let job = number(job)?;
    desk.jobs.get(job).ok_or_else(|| Failure::not_there(format!("there is no job {job}; the desk may have been opened anew")))
}

/// How far a job is
#[utoipa::path(get, path = "/api/jobs/{job}", params(("job" = u64, Path)), responses((status = 200, body = JobState), (status = 400, body = Failure), (status = 404, body = Failure)))]
async fn job(State(desk): State<Desk>, job: Result<Path<u64>, PathRejection>) -> Outcome<Json<JobState>> {
    Ok(Json(found_job(&desk, job)?.state()))
}

/// Break a job off
#[utoipa::path(delete, path = "/api/jobs/{job}", params(("job" = u64, Path)), responses((status = 200, body = JobState), (status = 400, body = Failure), (status = 404, body = Failure)))]
async fn cancel(State(desk): State<Desk>, job: Result<Path<u64>, PathRejection>) -> Outcome<Json<JobState>> {
    let job = found_job(&desk, job)?;
    job.cancel();
    Ok(Json(job.state()))
}

/// What can be shown of the score while its roles are being found; 404 before it has been read
#[utoipa::path(get, path = "/api/jobs/{job}/outline", params(("job" = u64, Path)), responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure)))]
async fn outline(State(desk): State<Desk>, job: Result<Path<u64>, PathRejection>) -> Outcome<Response> {
    let outline = found_job(&desk, job)?.outline().ok_or_else(|| Failure::not_there("the score has not been read yet"))?;
    Ok(Json(&*outline).into_response())
}

/// A job's progress as server-sent events, each a `JobState`
#[utoipa::path(get, path = "/api/jobs/{job}/events", params(("job" = u64, Path)), responses((status = 200, content_type = "text/event-stream", body = JobState), (status = 400, body = Failure), (status = 404, body = Failure)))]
async fn follow(State(desk): State<Desk>, job: Result<Path<u64>, PathRejection>) -> Outcome<Response> {
    let job = found_job(&desk, job)?;
    let stream = Sse::new(events(job)).keep_alive(KeepAlive::default());
    Ok(([(header::CACHE_CONTROL, "no-store")], stream).into_response())
}

fn events(job: Arc<Job>) -> impl Stream<Item = Result<Event, Infallible>> {
    let follow = Some((job.follow(), true));
    futures_util::stream::unfold((follow, job), |(follow, job)| async move {
        let (mut follow, is_first) = follow?;
        if !is_first {
            follow.changed().await.ok()?;
        }
        let state = follow.borrow_and_update().clone();
        let text = serde_json::to_string(&state).unwrap_or_default();
        let next = (!state.is_over()).then_some((follow, false));
        Some((Ok(Event::default().data(text)), (next, job)))
    })
}
