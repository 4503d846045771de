//! Writing on the desk: from a sketch to proposals, objections and parts. What `ripieno cast`, `check` and `deliver` do with files
//! is done here with a draft that is kept beside the library. Nothing musical is decided here.
#![allow(unused_qualifications)] // what the description of a path expands to

mod casting;
mod delivery;
mod drafts;
mod habits;
mod lineup;
mod locks;
mod objections;
mod plan;
mod shown;
mod sketching;
mod store;

use std::sync::Arc;

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, JsonRejection, PathRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use ripieno_casting::{Plan, carried_over};
use ripieno_formats::excerpt::bars_named;
use ripieno_formats::musicxml;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::api::{Named, ScorePath, bad, blocking, bytes_of, number};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};
use crate::jobs::JobState;
use crate::takeaway::attachment;
use crate::{studied, upload};
use delivery::DeliveryWanted;
use drafts::Draft;
pub(crate) use drafts::Drafts;
use lineup::{KnownLineup, LineupRows};
use locks::LockWanted;
use plan::PhraseRow;
use shown::{DraftCard, DraftShown};
use store::{Model, Step};

/// Roles a staff can be given, with the names staves get.
const ROLE_WORDS: [(&str, &str); 9] = [
    ("melody", "Melody"),
    ("answer", "Answer"),
    ("chords", "Chords"),
    ("bass", "Bass"),
    ("figure", "Figure"),
    ("rhythm", "Rhythm"),
    ("pedal", "Pedal"),
    ("hits", "Hits"),
    ("effect", "Effect"),
];

/// The sketch of the demonstration: the second theme of the overture.
const DEMO_SKETCH: &[u8] = include_bytes!("../../../../demo/sketch_second_theme.musicxml");

/// Most bytes of a line-up or a plan as text.
const MOST_TEXT: usize = 1 << 20;

pub(crate) fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::new()
        .routes(routes!(list_drafts, add_draft))
        .routes(routes!(add_demo_draft))
        .routes(routes!(draft_of_bars))
        .routes(routes!(draft, change_draft, remove_draft))
        .routes(routes!(set_staves))
        .routes(routes!(use_own_staves))
        .routes(routes!(draft_undo))
        .routes(routes!(draft_redo))
        .routes(routes!(list_lineups))
        .routes(routes!(choose_lineup))
        .routes(routes!(lineup_text, read_lineup))
        .routes(routes!(plan_text, read_plan))
        .routes(routes!(carry_over))
        .routes(routes!(cast_draft))
        .routes(routes!(cast_again))
        .routes(routes!(lock_note))
        .routes(routes!(shelve))
        .routes(routes!(shelve_passage))
        .routes(routes!(objections::objections))
        .routes(routes!(deliver, delivery_file))
}

type DraftPath = Result<Path<i64>, PathRejection>;

/// Does something with a draft, off the threads that answer, and answers the draft.
async fn changed(
    desk: Desk,
    draft: DraftPath,
    work: impl FnOnce(&Desk, &mut Draft) -> Outcome<()> + Send + 'static,
) -> Outcome<Json<DraftShown>> {
    let draft = number(draft)?;
    blocking(move || {
        let drafts = &desk.drafts;
        drafts.with(draft, |draft| {
            work(&desk, draft)?;
            draft.hold_all(drafts, &desk)?;
            Ok(draft.shown(drafts))
        })
    })
    .await
    .map(Json)
}

fn text_of(body: Result<Bytes, BytesRejection>) -> Outcome<String> {
    String::from_utf8(bytes_of(body, "the file", MOST_TEXT)?.to_vec()).map_err(|_| Failure::refused("this is no text in UTF-8"))
}

/// The drafts, the newest first
#[utoipa::path(get, path = "/api/drafts", responses((status = 200, body = Vec<DraftCard>), (status = 507, body = Failure)))]
async fn list_drafts(State(desk): State<Desk>) -> Outcome<Json<Vec<DraftCard>>> {
    blocking(move || {
        let store = &desk.drafts.store;
        let card = |draft: i64| match store.kept(draft) {
            Ok(kept) => {
                let lineup = kept.now().lineup;
                DraftCard {
                    draft,
                    players: lineup.section.iter().map(|section| u32::from(section.players)).sum(),
                    lineup: lineup.name,
                    proposals: kept.proposals.len(),
                    title: kept.title,
                    from: kept.from,
                    trouble: String::new(),
                }
            }
            Err(failure) => {
                DraftCard { draft, title: format!("Draft {draft}"), trouble: failure.message, ..DraftCard::default() }
            }
        };
        Ok(store.numbers().into_iter().map(card).collect())
    })
    .await
    .map(Json)
}

async fn begun(desk: Desk, work: impl FnOnce(&Desk) -> Outcome<i64> + Send + 'static) -> Outcome<(StatusCode, Json<DraftShown>)> {
    let shown = blocking(move || {
        let draft = work(&desk)?;
        let drafts = &desk.drafts;
        drafts.with(draft, |draft| {
            draft.hold_all(drafts, &desk)?;
            Ok(draft.shown(drafts))
        })
    });
    Ok((StatusCode::CREATED, Json(shown.await?)))
}

/// Begin a draft on a sketch: its bytes are the body
#[utoipa::path(post, path = "/api/drafts", params(Named), request_body(content = Vec<u8>, content_type = "application/octet-stream"), responses((status = 201, body = DraftShown), (status = 400, body = Failure), (status = 413, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn add_draft(
    State(desk): State<Desk>,
    named: Result<Query<Named>, QueryRejection>,
    body: Result<Bytes, BytesRejection>,
) -> Outcome<(StatusCode, Json<DraftShown>)> {
    let Query(Named { name }) = named.map_err(bad)?;
    let name = upload::plain_name(&name)?;
    let bytes = bytes_of(body, "the file", studied::MOST_BYTES)?;
    begun(desk, move |desk| sketching::from_file(desk, &name, &bytes)).await
}

/// Begin a draft on the sketch of the demonstration
#[utoipa::path(post, path = "/api/drafts/demo", responses((status = 201, body = DraftShown), (status = 507, body = Failure)))]
async fn add_demo_draft(State(desk): State<Desk>) -> Outcome<(StatusCode, Json<DraftShown>)> {
    begun(desk, |desk| sketching::from_file(desk, "sketch_second_theme.musicxml", DEMO_SKETCH)).await
}

/// Bars of a score of the library.
#[derive(Debug, Clone, Deserialize, ToSchema)]
struct BarsOf {
    score: i64,
    /// First bar, from 0.
    first: u32,
    /// Last bar, from 0.
    last: u32,
}

/// A passage of a score, by the numbers printed.
#[derive(Debug, Clone, Deserialize, ToSchema)]
struct PassageOf {
    score: i64,
    /// "40", "40-56"; with # counted from the first bar: "#1-#8".
    bars: String,
}

/// Begin a draft on bars of a score, reduced to a sketch by role
#[utoipa::path(post, path = "/api/drafts/of-bars", request_body = BarsOf, responses((status = 201, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn draft_of_bars(
    State(desk): State<Desk>,
    wanted: Result<Json<BarsOf>, JsonRejection>,
) -> Outcome<(StatusCode, Json<DraftShown>)> {
    let Json(BarsOf { score, first, last }) = wanted.map_err(bad)?;
    begun(desk, move |desk| sketching::from_bars(desk, score, first, last)).await
}

/// A draft with all that belongs to it
#[utoipa::path(get, path = "/api/drafts/{draft}", params(("draft" = i64, Path)), responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn draft(State(desk): State<Desk>, draft: DraftPath) -> Outcome<Json<DraftShown>> {
    changed(desk, draft, |_, _| Ok(())).await
}

/// What of a draft is to be otherwise.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
struct DraftChange {
    title: Option<String>,
    lineup: Option<LineupRows>,
    plan: Option<Vec<PhraseRow>>,
    /// Sections whose players stand in rows of their own.
    split: Option<Vec<String>>,
}

/// Change line-up, plan or title; what is changed can be taken back
#[utoipa::path(put, path = "/api/drafts/{draft}", params(("draft" = i64, Path)), request_body = DraftChange, responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn change_draft(
    State(desk): State<Desk>,
    draft: DraftPath,
    change: Result<Json<DraftChange>, JsonRejection>,
) -> Outcome<Json<DraftShown>> {
    let Json(change) = change.map_err(bad)?;
    changed(desk, draft, move |desk, draft| {
        let mut kept = draft.kept.clone();
        // A score has a title; an empty one leaves it as it was.
        if let Some(title) = change.title.filter(|title| !title.trim().is_empty()) {
            kept.title = title.trim().chars().take(120).collect();
        }
        let now = kept.now();
        let change_names_plan = change.plan.is_some();
        let step = Step {
            lineup: change.lineup.unwrap_or(now.lineup),
            plan: change.plan.unwrap_or(now.plan),
            split: change.split.unwrap_or(now.split),
            locks: now.locks,
        };
        // What is asked for has to be there; only what an older plan names is mended.
        if change_names_plan {
            plan::plan_of(&step.plan, &draft.sketch, &step.lineup.lineup()?)?;
        }
        draft.step_with(&desk.drafts, kept, Arc::clone(&draft.sketch), step)
    })
    .await
}

/// Throw a draft away
#[utoipa::path(delete, path = "/api/drafts/{draft}", params(("draft" = i64, Path)), responses((status = 204), (status = 400, body = Failure), (status = 404, body = Failure), (status = 507, body = Failure)))]
async fn remove_draft(State(desk): State<Desk>, draft: DraftPath) -> Outcome<StatusCode> {
    let draft = number(draft)?;
    blocking(move || desk.drafts.remove(draft)).await.map(|()| StatusCode::NO_CONTENT)
}

/// Roles of the staves of a sketch.
#[derive(Debug, Clone, Deserialize, ToSchema)]
struct StaffRoles {
    /// For each staff melody, answer, chords, bass, figure, rhythm, pedal, hits or effect; empty leaves it out.
    roles: Vec<String>,
}

/// Give the staves of the sketch other roles
#[utoipa::path(put, path = "/api/drafts/{draft}/staves", params(("draft" = i64, Path)), request_body = StaffRoles, responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn set_staves(
    State(desk): State<Desk>,
    draft: DraftPath,
    wanted: Result<Json<StaffRoles>, JsonRejection>,
) -> Outcome<Json<DraftShown>> {
    let Json(StaffRoles { roles }) = wanted.map_err(bad)?;
    changed(desk, draft, move |desk, draft| draft.set_roles(&desk.drafts, desk, &roles)).await
}

/// Of which staves the sketch is made.
#[derive(Debug, Clone, Deserialize, ToSchema)]
struct OwnStaves {
    /// The file's own staves, each in the role it has most often; else the reduction by the roles found.
    own: bool,
}

/// Make the sketch of the file's own staves, or of the roles found in it
#[utoipa::path(put, path = "/api/drafts/{draft}/own-staves", params(("draft" = i64, Path)), request_body = OwnStaves, responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn use_own_staves(
    State(desk): State<Desk>,
    draft: DraftPath,
    wanted: Result<Json<OwnStaves>, JsonRejection>,
) -> Outcome<Json<DraftShown>> {
    let Json(OwnStaves { own }) = wanted.map_err(bad)?;
    changed(desk, draft, move |desk, draft| draft.use_own_staves(&desk.drafts, desk, own)).await
}

/// Take the latest change of line-up or plan back
#[utoipa::path(post, path = "/api/drafts/{draft}/undo", params(("draft" = i64, Path)), responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn draft_undo(State(desk): State<Desk>, draft: DraftPath) -> Outcome<Json<DraftShown>> {
    changed(desk, draft, |desk, draft| draft.turn(&desk.drafts, -1)).await
}

/// Make the change again that was taken back last
#[utoipa::path(post, path = "/api/drafts/{draft}/redo", params(("draft" = i64, Path)), responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn draft_redo(State(desk): State<Desk>, draft: DraftPath) -> Outcome<Json<DraftShown>> {
    changed(desk, draft, |desk, draft| draft.turn(&desk.drafts, 1)).await
}

/// Line-ups that come with the program
#[utoipa::path(get, path = "/api/lineups", responses((status = 200, body = Vec<KnownLineup>)))]
async fn list_lineups() -> Json<Vec<KnownLineup>> {
    Json(lineup::known())
}

#[derive(Debug, Deserialize, IntoParams)]
struct WhichLineup {
    /// One that comes with the program, or "own": that of the score the sketch was taken from.
    id: String,
}

/// Take a line-up over
#[utoipa::path(post, path = "/api/drafts/{draft}/lineup", params(("draft" = i64, Path), WhichLineup), responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn choose_lineup(
    State(desk): State<Desk>,
    draft: DraftPath,
    which: Result<Query<WhichLineup>, QueryRejection>,
) -> Outcome<Json<DraftShown>> {
    let Query(WhichLineup { id }) = which.map_err(bad)?;
    changed(desk, draft, move |desk, draft| {
        let own =
            || draft.kept.own_lineup.clone().ok_or_else(|| Failure::not_there("the sketch comes from no score with a line-up"));
        let lineup = if id == "own" { own()? } else { lineup::known_named(&id)? };
        draft.step(&desk.drafts, Step { lineup, ..draft.kept.now() })
    })
    .await
}

/// The line-up as TOML, as `ripieno cast --lineup` reads it
#[utoipa::path(get, path = "/api/drafts/{draft}/lineup.toml", params(("draft" = i64, Path)), responses((status = 200, content_type = "application/toml", body = String), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn lineup_text(State(desk): State<Desk>, draft: DraftPath) -> Outcome<Response> {
    let draft = number(draft)?;
    let text = blocking(move || desk.drafts.with(draft, |draft| Ok(draft.kept.now().lineup.to_toml()))).await?;
    Ok(attachment("application/toml", "lineup.toml", text.into_bytes()))
}

/// Read a line-up from TOML: its text is the body
#[utoipa::path(put, path = "/api/drafts/{draft}/lineup.toml", params(("draft" = i64, Path)), request_body(content = String, content_type = "application/toml"), responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 413, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn read_lineup(
    State(desk): State<Desk>,
    draft: DraftPath,
    body: Result<Bytes, BytesRejection>,
) -> Outcome<Json<DraftShown>> {
    let text = text_of(body)?;
    changed(desk, draft, move |desk, draft| {
        let lineup = LineupRows::from_toml("line-up", &text)?;
        draft.step(&desk.drafts, Step { lineup, ..draft.kept.now() })
    })
    .await
}

/// The plan as TOML, as `ripieno cast --plan` reads it
#[utoipa::path(get, path = "/api/drafts/{draft}/plan.toml", params(("draft" = i64, Path)), responses((status = 200, content_type = "application/toml", body = String), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn plan_text(State(desk): State<Desk>, draft: DraftPath) -> Outcome<Response> {
    let draft = number(draft)?;
    let text = blocking(move || desk.drafts.with(draft, |draft| Ok(plan::text_of(&draft.plan()?, &draft.sketch, &draft.lineup))));
    Ok(attachment("application/toml", "plan.toml", text.await?.into_bytes()))
}

/// Read a plan from TOML: its text is the body
#[utoipa::path(put, path = "/api/drafts/{draft}/plan.toml", params(("draft" = i64, Path)), request_body(content = String, content_type = "application/toml"), responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 413, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn read_plan(State(desk): State<Desk>, draft: DraftPath, body: Result<Bytes, BytesRejection>) -> Outcome<Json<DraftShown>> {
    let text = text_of(body)?;
    changed(desk, draft, move |desk, draft| {
        let plan = Plan::from_toml("plan", &text, &draft.sketch, &draft.lineup);
        let plan = plan.map_err(|error| Failure::refused(error.to_string()))?;
        let plan = plan::rows_of(&plan, &draft.sketch, &draft.lineup);
        draft.step(&desk.drafts, Step { plan, ..draft.kept.now() })
    })
    .await
}

/// Carry over from bars of a studied score who does what there; the rest stays open
#[utoipa::path(post, path = "/api/drafts/{draft}/model", params(("draft" = i64, Path)), request_body = PassageOf, responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn carry_over(
    State(desk): State<Desk>,
    draft: DraftPath,
    wanted: Result<Json<PassageOf>, JsonRejection>,
) -> Outcome<Json<DraftShown>> {
    let Json(wanted) = wanted.map_err(bad)?;
    changed(desk, draft, move |desk, draft| {
        sketching::with_study(desk, wanted.score, |study| {
            let (first, last) = bars_named(&study.score, &wanted.bars).map_err(|error| Failure::refused(error.to_string()))?;
            let bars = first.at()..last.at() + 1;
            let plan = carried_over(&draft.sketch, &draft.lineup, &study.score, &study.roles.roles, bars);
            let plan = plan::rows_of(&plan, &draft.sketch, &draft.lineup);
            draft.step(&desk.drafts, Step { plan, ..draft.kept.now() })
        })
    })
    .await
}

/// How a draft is to be cast.
#[derive(Debug, Clone, Deserialize, ToSchema)]
struct CastWanted {
    /// Proposals, 1 to 3.
    count: usize,
    /// Seed of those after the first.
    #[serde(default = "first_seed")]
    seed: u64,
    /// Open cells are filled as in this score of the library; as scores usually do without it.
    like: Option<i64>,
    /// As in this saved profile.
    #[serde(default)]
    like_profile: Option<i64>,
}

const fn first_seed() -> u64 {
    1
}

/// Make proposals
#[utoipa::path(post, path = "/api/drafts/{draft}/cast", params(("draft" = i64, Path)), request_body = CastWanted, responses((status = 202, body = JobState), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn cast_draft(
    State(desk): State<Desk>,
    draft: DraftPath,
    wanted: Result<Json<CastWanted>, JsonRejection>,
) -> Outcome<(StatusCode, Json<JobState>)> {
    let (draft, Json(wanted)) = (number(draft)?, wanted.map_err(bad)?);
    let job = blocking(move || {
        // Spawning needs the runtime, which threads of this kind are part of.
        casting::begin(&desk, draft, wanted.count, wanted.seed, Model { like: wanted.like, like_profile: wanted.like_profile })
    });
    Ok((StatusCode::ACCEPTED, Json(job.await?.state())))
}

/// Which phrases are to be cast again.
#[derive(Debug, Clone, Deserialize, ToSchema)]
struct AgainWanted {
    /// The proposal, from 1.
    proposal: usize,
    /// Phrases of the plan, from 0.
    phrases: Vec<usize>,
    /// Another seed: another way where the plan leaves it open.
    seed: Option<u64>,
}

/// Cast phrases of a proposal again by the plan as it is now; all others stay note for note
#[utoipa::path(post, path = "/api/drafts/{draft}/again", params(("draft" = i64, Path)), request_body = AgainWanted, responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn cast_again(
    State(desk): State<Desk>,
    draft: DraftPath,
    wanted: Result<Json<AgainWanted>, JsonRejection>,
) -> Outcome<Json<DraftShown>> {
    let (draft, Json(wanted)) = (number(draft)?, wanted.map_err(bad)?);
    blocking(move || casting::again(&desk, draft, wanted.proposal, &wanted.phrases, wanted.seed)).await.map(Json)
}

/// Set, move or free a single note of a proposal
#[utoipa::path(post, path = "/api/drafts/{draft}/lock", params(("draft" = i64, Path)), request_body = LockWanted, responses((status = 200, body = DraftShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn lock_note(
    State(desk): State<Desk>,
    draft: DraftPath,
    wanted: Result<Json<LockWanted>, JsonRejection>,
) -> Outcome<Json<DraftShown>> {
    let (draft, Json(wanted)) = (number(draft)?, wanted.map_err(bad)?);
    blocking(move || casting::lock(&desk, draft, wanted)).await.map(Json)
}

/// Which proposal.
#[derive(Debug, Clone, Deserialize, ToSchema)]
struct ProposalWanted {
    /// From 1.
    proposal: usize,
}

/// Put a proposal on the shelf, where it is studied and compared like any score
#[utoipa::path(post, path = "/api/drafts/{draft}/shelve", params(("draft" = i64, Path)), request_body = ProposalWanted, responses((status = 202, body = JobState), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn shelve(
    State(desk): State<Desk>,
    draft: DraftPath,
    wanted: Result<Json<ProposalWanted>, JsonRejection>,
) -> Outcome<(StatusCode, Json<JobState>)> {
    let (draft, Json(wanted)) = (number(draft)?, wanted.map_err(bad)?);
    let kept = desk.clone();
    let path = blocking(move || {
        let drafts = &kept.drafts;
        let (title, file) = drafts.with(draft, |draft| {
            let found = draft.kept.proposals.iter().find(|one| one.shown.number == wanted.proposal);
            let found = found.ok_or_else(|| Failure::not_there("there is no such proposal"))?;
            // Beside its source and other proposals it has to be told from them.
            Ok((format!("{}, proposal {}", draft.kept.called(found), wanted.proposal), found.file.clone()))
        })?;
        let score = drafts::entitled(drafts.store.score(draft, &file)?, &title);
        on_shelf(&kept, &title, &score)
    });
    let path = path.await?;
    Ok((StatusCode::ACCEPTED, Json(studied::begin(&desk, path, None).state())))
}

/// Put the bars a sketch was taken from on the shelf as a score of their own, to lay proposals beside: values that count bars compare like with like
#[utoipa::path(post, path = "/api/drafts/{draft}/passage", params(("draft" = i64, Path)), responses((status = 202, body = JobState), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn shelve_passage(State(desk): State<Desk>, draft: DraftPath) -> Outcome<(StatusCode, Json<JobState>)> {
    let draft = number(draft)?;
    let kept = desk.clone();
    let path = blocking(move || {
        let from = kept.drafts.with(draft, |draft| Ok(draft.kept.source.zip(draft.kept.source_bars)))?;
        let (score, (first, last)) = from.ok_or_else(|| Failure::not_there("this sketch was taken from no bars of a score"))?;
        let (title, score) = sketching::passage(&kept, score, first, last)?;
        on_shelf(&kept, &title, &score)
    });
    let path = path.await?;
    Ok((StatusCode::ACCEPTED, Json(studied::begin(&desk, path, None).state())))
}

/// Keeps a score under its title in the folder of the shelf.
fn on_shelf(desk: &Desk, title: &str, score: &ripieno_score::Score) -> Outcome<std::path::PathBuf> {
    let name = upload::plain_name(&format!("{}.musicxml", title.replace(['/', '\\'], "-")))?;
    upload::keep(desk.folder(), &name, musicxml::write(score).as_bytes())
}

/// Make score, parts, lists, pages and sound of an open score
#[utoipa::path(post, path = "/api/scores/{score}/delivery", params(("score" = i64, Path)), request_body = DeliveryWanted, responses((status = 202, body = JobState), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure)))]
async fn deliver(
    State(desk): State<Desk>,
    score: ScorePath,
    wanted: Result<Json<DeliveryWanted>, JsonRejection>,
) -> Outcome<(StatusCode, Json<JobState>)> {
    let (score, Json(wanted)) = (number(score)?, wanted.map_err(bad)?);
    let open = desk.opened(score)?;
    Ok((StatusCode::ACCEPTED, Json(delivery::begin(&desk, open, wanted)?.state())))
}

/// The latest delivery of a score, as one ZIP
#[utoipa::path(get, path = "/api/scores/{score}/delivery", params(("score" = i64, Path)), responses((status = 200, content_type = "application/zip", body = Vec<u8>), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure)))]
async fn delivery_file(State(desk): State<Desk>, score: ScorePath) -> Outcome<Response> {
    let score = number(score)?;
    let open = desk.opened(score)?;
    blocking(move || {
        let none = |_| Failure::not_there("nothing has been delivered of this score yet");
        let bytes = std::fs::read(desk.drafts.store.delivery(score)).map_err(none)?;
        let name = crate::takeaway::Named { study: &open.study, bars: None, what: "score and parts" }.file("zip");
        Ok(attachment("application/zip", &name, bytes).into_response())
    })
    .await
}
