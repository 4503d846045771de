//! The HTTP interface: what can be asked, and the OpenAPI description of it.
#![allow(unused_qualifications)] // what the description of a path expands to

use std::convert::Infallible;
use std::path::PathBuf;
use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, JsonRejection, PathRejection, QueryRejection};
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::middleware;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::{Json, Router};
use futures_util::Stream;
use ripieno_library::Reader;
use ripieno_questions::{answer, parse, tables};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, OpenApi, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::assets;
use crate::corrections::{self, Wanted};
use crate::desk::{Desk, Open, no_score};
use crate::failure::{Failure, Outcome};
use crate::guard::{Own, guard};
use crate::jobs::{Job, JobState};
use crate::shelf::{self, Card};
use crate::studied::{self, MOST_BYTES};
use crate::upload;
use crate::view::{Cited, HeldRole, View, held, rounded};

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
        .routes(routes!(evidence))
        .routes(routes!(ask))
        .routes(routes!(correct))
        .routes(routes!(undo))
        .routes(routes!(redo))
        .routes(routes!(job, cancel))
        .routes(routes!(outline))
        .routes(routes!(follow))
}

/// The OpenAPI description, as JSON text.
///
/// # Errors
/// Never in practice: it is plain data.
pub fn openapi() -> Result<String, serde_json::Error> {
    let (_, description) = routes().split_for_parts();
    Ok(description.to_pretty_json()? + "\n")
}

/// The desk's interface and page, for a server at this port.
pub fn router(desk: Desk, port: u16) -> Router {
    let (api, _) = routes().split_for_parts();
    api.with_state(desk)
        .fallback(assets::page)
        .layer(DefaultBodyLimit::max(MOST_BYTES))
        .layer(middleware::from_fn_with_state(Own::at(port), guard))
}

/// Work that reads files or counts, off the threads that answer.
async fn blocking<T: Send + 'static>(work: impl FnOnce() -> Outcome<T> + Send + 'static) -> Outcome<T> {
    let broken = |_| Failure::machine("the desk could not finish this; please report it");
    tokio::task::spawn_blocking(work).await.map_err(broken)?
}

fn bad(why: impl std::fmt::Display) -> Failure {
    Failure::new(StatusCode::BAD_REQUEST, why.to_string())
}

type ScorePath = Result<Path<i64>, PathRejection>;

fn number<T>(path: Result<Path<T>, PathRejection>) -> Outcome<T> {
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
struct Named {
    /// The file's name.
    name: String,
}

/// Add a score: its bytes are the body
#[utoipa::path(post, path = "/api/scores", params(Named), request_body(content = Vec<u8>, content_type = "application/octet-stream"), responses((status = 202, body = JobState), (status = 400, body = Failure), (status = 413, body = Failure), (status = 422, body = Failure), (status = 429, body = Failure), (status = 507, body = Failure)))]
async fn add_score(
    State(desk): State<Desk>,
    named: Result<Query<Named>, QueryRejection>,
    body: Result<Bytes, BytesRejection>,
) -> Outcome<Response> {
    let Query(Named { name }) = named.map_err(bad)?;
    let bytes = body.map_err(|rejected| {
        let status = rejected.status();
        let large = format!("the score is larger than {} megabytes", MOST_BYTES >> 20);
        Failure::new(status, if status == StatusCode::PAYLOAD_TOO_LARGE { large } else { rejected.body_text() })
    })?;
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
        desk.let_go(score);
        Ok(StatusCode::NO_CONTENT)
    })
    .await
}

fn view_of(desk: &Desk, open: &Open) -> Outcome<View> {
    let path = desk.kept(open.score)?.path;
    let corrections = corrections::list(std::path::Path::new(&path));
    Ok(View::of(&open.study, open.score, open.revision, corrections, desk.can_redo(open.score)))
}

/// A score as the page draws it; 409 when it is not open
#[utoipa::path(get, path = "/api/scores/{score}/view", params(("score" = i64, Path)), responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 507, body = Failure)))]
async fn view(State(desk): State<Desk>, score: ScorePath) -> Outcome<Json<View>> {
    let score = number(score)?;
    blocking(move || {
        if desk.open(score).is_none() {
            desk.kept(score)?;
        }
        view_of(&desk, &*desk.opened(score)?)
    })
    .await
    .map(Json)
}

#[derive(Debug, Deserialize, IntoParams)]
struct SpanAsked {
    /// Number of the span.
    span: usize,
    /// The revision in which it has this number.
    revision: u64,
}

/// Who goes with a span.
#[derive(Debug, Serialize, ToSchema)]
struct Companion {
    part: usize,
    /// "unison", "octave", "parallel", "same rhythm"; nothing for the chief line.
    relation: Option<String>,
    bars: Cited,
}

/// Why a span has its role.
#[derive(Debug, Serialize, ToSchema)]
struct Evidence {
    span: usize,
    bars: Cited,
    /// The role shown, then others it has as well.
    roles: Vec<HeldRole>,
    /// The facts that decided, the most telling first.
    reasons: Vec<String>,
    /// What the learned model gives the part over these bars, on the mean: melody, rhythm, harmony, 0 to 1.
    learned: [f64; 3],
    /// The lines of its layer in its first bar, itself among them.
    layer: Vec<Companion>,
    /// Corrections that made it what it is.
    corrections: Vec<String>,
}

/// Why a span has its role
#[utoipa::path(get, path = "/api/scores/{score}/evidence", params(("score" = i64, Path), SpanAsked), responses((status = 200, body = Evidence), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure)))]
async fn evidence(
    State(desk): State<Desk>,
    score: ScorePath,
    asked: Result<Query<SpanAsked>, QueryRejection>,
) -> Outcome<Json<Evidence>> {
    let (score, Query(asked)) = (number(score)?, asked.map_err(bad)?);
    let open = desk.opened(score)?;
    if open.revision != asked.revision {
        return Err(Failure::new(StatusCode::CONFLICT, "the score has changed meanwhile; look again"));
    }
    let study = &open.study;
    let roles = &study.roles.roles;
    let Some(span) = roles.spans.get(asked.span) else { return Err(Failure::not_there("there is no such span")) };
    let name = |part: usize| study.score.parts.get(part).map(|part| part.name.trim().to_owned()).unwrap_or_default();
    let mean = |table: &[Vec<f32>]| {
        let bars: Vec<f32> = span.bars.clone().filter_map(|bar| table.get(span.part)?.get(bar as usize).copied()).collect();
        #[allow(clippy::cast_precision_loss)] // bars
        let count = bars.len().max(1) as f32;
        rounded(bars.iter().sum::<f32>() / count)
    };
    let layer = roles.layers.of(span.line, span.bars.start).and_then(|layer| roles.layers.layers.get(layer));
    let members = layer
        .iter()
        .flat_map(|layer| &layer.members)
        .filter(|member| member.bars.start < span.bars.end && member.bars.end > span.bars.start);
    let companion = |member: &ripieno_texture::Member| Companion {
        part: study.lines.lines[member.line].part,
        relation: member.relation.map(|relation| relation.name().to_owned()),
        bars: Cited::of(&study.cite(&member.bars.clone().collect::<Vec<u32>>())),
    };
    Ok(Json(Evidence {
        span: asked.span,
        bars: Cited::of(&study.cite(&span.bars.clone().collect::<Vec<u32>>())),
        roles: span.roles.iter().map(held).collect(),
        reasons: span.evidence.iter().map(|fact| fact.words(name)).collect(),
        learned: [mean(&study.learned.melody), mean(&study.learned.rhythm), mean(&study.learned.harmony)],
        layer: members.map(companion).collect(),
        corrections: study.roles.said.get(asked.span).map(|said| said.corrections.clone()).unwrap_or_default(),
    }))
}

#[derive(Debug, Deserialize, IntoParams)]
struct Asked {
    /// The question, such as "all brass play"; docs/questions.md has all words.
    question: String,
}

/// The bars that answer a question.
#[derive(Debug, Serialize, ToSchema)]
struct Answer {
    bars: Cited,
    count: u32,
}

/// Ask a score in words; 422 with the column of the word at fault when the question is not understood
#[utoipa::path(get, path = "/api/scores/{score}/ask", params(("score" = i64, Path), Asked), responses((status = 200, body = Answer), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn ask(State(desk): State<Desk>, score: ScorePath, asked: Result<Query<Asked>, QueryRejection>) -> Outcome<Json<Answer>> {
    let (score, Query(asked)) = (number(score)?, asked.map_err(bad)?);
    blocking(move || {
        let question =
            parse(&asked.question).map_err(|error| Failure { column: Some(error.column), ..Failure::refused(error.what) })?;
        let reader = Reader::open(desk.path())?;
        if !reader.scores()?.iter().any(|entry| entry.score == score) {
            return Err(no_score(score));
        }
        let record = reader.record(score, &tables(&question))?;
        let damaged = |_| Failure::machine("what is kept of the score is damaged; add it again");
        let found = answer(&question, &record).map_err(damaged)?;
        let text = found.iter().map(ripieno_questions::Found::cited).collect::<Vec<_>>().join(", ");
        let spans = found.iter().map(|found| [found.first, found.last]).collect();
        Ok(Answer { bars: Cited { text, spans }, count: found.iter().map(ripieno_questions::Found::count).sum() })
    })
    .await
    .map(Json)
}

/// Correct spans; the answer is the score with the correction in force
#[utoipa::path(post, path = "/api/scores/{score}/corrections", params(("score" = i64, Path)), request_body = Wanted, responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn correct(State(desk): State<Desk>, score: ScorePath, wanted: Result<Json<Wanted>, JsonRejection>) -> Outcome<Json<View>> {
    let (score, Json(wanted)) = (number(score)?, wanted.map_err(bad)?);
    blocking(move || {
        let open = corrections::correct(&desk, score, &wanted)?;
        view_of(&desk, &open)
    })
    .await
    .map(Json)
}

#[derive(Debug, Default, Deserialize, IntoParams)]
struct Which {
    /// The correction; the latest without it.
    id: Option<String>,
}

/// Take a correction back
#[utoipa::path(post, path = "/api/scores/{score}/undo", params(("score" = i64, Path), Which), responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn undo(State(desk): State<Desk>, score: ScorePath, which: Result<Query<Which>, QueryRejection>) -> Outcome<Json<View>> {
    let (score, Query(which)) = (number(score)?, which.map_err(bad)?);
    blocking(move || {
        let open = corrections::undo(&desk, score, which.id.as_deref())?;
        view_of(&desk, &open)
    })
    .await
    .map(Json)
}

/// Make the correction again that was taken back last
#[utoipa::path(post, path = "/api/scores/{score}/redo", params(("score" = i64, Path)), responses((status = 200, body = View), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn redo(State(desk): State<Desk>, score: ScorePath) -> Outcome<Json<View>> {
    let score = number(score)?;
    blocking(move || {
        let open = corrections::redo(&desk, score)?;
        view_of(&desk, &open)
    })
    .await
    .map(Json)
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
#[utoipa::path(get, path = "/api/jobs/{job}/events", params(("job" = u64, Path)), responses((status = 200, content_type = "text/event-stream", body = String), (status = 400, body = Failure), (status = 404, body = Failure)))]
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
