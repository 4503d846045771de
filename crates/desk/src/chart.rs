//! Charting by hand: a score that exists only on paper, written down on a grid of parts and bars.
//!
//! The chart is a file of its own (`docs/charts.md`), saved whole with every action before the answer goes out, and kept on the
//! shelf like any score. The page lays statements over bars; taking one back is putting an earlier text in its place.
#![allow(unused_qualifications)] // what the description of a path expands to

use std::collections::hash_map::DefaultHasher;
use std::fs;
use std::hash::{Hash, Hasher};
use std::io::Write;
use std::path::Path;
use std::sync::PoisonError;

use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::StatusCode;
use ripieno_chart::{Chart, ChartPart, Fault, Places, Row, Run, Span, dynamic_text, interval_text, manner_names, role_named};
use ripieno_formats::{Finding, Format, load};
use ripieno_score::{Crotchets, DynamicLevel};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::api::{ScorePath, bad, blocking, number};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};
use crate::studied::{again, limits};
use crate::upload;
use crate::view::View;

pub(crate) fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::new().routes(routes!(begin_chart)).routes(routes!(chart, put_text)).routes(routes!(lay_row))
}

/// A chart to begin.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct ChartWanted {
    /// Title; the chart's file is named by it.
    pub title: String,
    #[serde(default)]
    pub composer: String,
    /// Names of the parts from the top of the page down.
    pub parts: Vec<String>,
    /// How many bars, an upbeat not counted.
    pub bars: u32,
    /// Metre of the first bar: "4/4".
    pub metre: String,
    /// Length of an upbeat in crotchets, as a fraction; none without it.
    pub upbeat: Option<String>,
}

/// Which score it has become.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct ChartBegun {
    pub score: i64,
}

/// What is laid over bars.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Laid {
    /// The state of the chart it is laid over ([`ChartShown::state`]).
    pub state: String,
    /// Parts, as the view numbers them.
    pub parts: Vec<usize>,
    /// First bar, counted from 0.
    pub first: u32,
    /// Last bar, itself included.
    pub last: u32,
    /// Roles, the chief one first; tacet for silence.
    pub roles: Vec<String>,
    /// Which line of each part, from 1.
    pub line: Option<u16>,
    /// A letter: those with the same one act together.
    #[serde(default)]
    pub layer: String,
    /// "pp" to "fff"; unmarked without it.
    #[serde(default)]
    pub dynamic: String,
    /// A remark.
    #[serde(default)]
    pub remark: String,
}

/// A text to put in the chart's place.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct TextWanted {
    /// The state of the chart it takes the place of.
    pub state: String,
    /// The chart, as its file has it.
    pub text: String,
}

/// What a row of the chart says, in words.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct RowShown {
    pub who: String,
    pub bars: String,
    pub roles: Vec<String>,
    pub layer: String,
    pub dynamic: String,
    /// Ways of playing, whom it doubles, register, remark: everything else.
    pub more: String,
}

/// A chart as the page shows it.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct ChartShown {
    /// As the study shows it.
    pub view: View,
    /// The chart's file.
    pub text: String,
    /// Changes with the text.
    pub state: String,
    pub rows: Vec<RowShown>,
    /// What is worth knowing about the rows.
    pub told: Vec<String>,
}

/// Begin a chart; it is kept on the shelf
#[utoipa::path(post, path = "/api/charts", request_body = ChartWanted, responses((status = 201, body = ChartBegun), (status = 400, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn begin_chart(
    State(desk): State<Desk>,
    wanted: Result<Json<ChartWanted>, JsonRejection>,
) -> Outcome<(StatusCode, Json<ChartBegun>)> {
    let Json(wanted) = wanted.map_err(bad)?;
    blocking(move || {
        let chart = begun(&wanted)?;
        let text = chart.write();
        Chart::read(&wanted.title, &text).map_err(|faults| refused(&faults))?;
        let title = if wanted.title.trim().is_empty() { "chart" } else { wanted.title.trim() };
        let name = upload::plain_name(&format!("{}.toml", title.replace(['/', '\\', '.'], " ").trim()))?;
        let path = upload::keep(desk.folder(), &name, text.as_bytes())?;
        Ok((StatusCode::CREATED, Json(ChartBegun { score: again(&desk, &path)?.score })))
    })
    .await
}

fn begun(wanted: &ChartWanted) -> Outcome<Chart> {
    let upbeat = wanted.upbeat.as_deref().map(str::trim).filter(|length| !length.is_empty());
    let length = |text: &str| {
        let length = text.parse::<Crotchets>().ok().filter(|length| length.is_positive());
        length.ok_or_else(|| Failure::refused(format!("“{text}” is no length of an upbeat; give crotchets, such as 1 or 3/2")))
    };
    Ok(Chart {
        title: wanted.title.trim().to_owned(),
        composer: wanted.composer.trim().to_owned(),
        parts: ChartPart::of_names(&wanted.parts),
        bars: Run::begin(wanted.bars, wanted.metre.trim(), upbeat.map(length).transpose()?),
        ..Chart::default()
    })
}

/// A chart to work on; 422 when the score is none
#[utoipa::path(get, path = "/api/scores/{score}/chart", params(("score" = i64, Path)), responses((status = 200, body = ChartShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn chart(State(desk): State<Desk>, score: ScorePath) -> Outcome<Json<ChartShown>> {
    let score = number(score)?;
    blocking(move || {
        let path = desk.kept(score)?.path;
        let (text, _) = read(Path::new(&path))?;
        show(&desk, Path::new(&path), text)
    })
    .await
    .map(Json)
}

/// Lay roles over bars; the answer is the chart with them
#[utoipa::path(post, path = "/api/scores/{score}/chart/rows", params(("score" = i64, Path)), request_body = Laid, responses((status = 200, body = ChartShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn lay_row(
    State(desk): State<Desk>,
    score: ScorePath,
    laid: Result<Json<Laid>, JsonRejection>,
) -> Outcome<Json<ChartShown>> {
    let (score, Json(laid)) = (number(score)?, laid.map_err(bad)?);
    blocking(move || {
        let _one_at_a_time = desk.correcting.lock().unwrap_or_else(PoisonError::into_inner);
        let path = desk.kept(score)?.path;
        let path = Path::new(&path);
        let (text, mut chart) = read(path)?;
        unchanged(&text, &laid.state)?;
        let row = row(&chart, &laid)?;
        chart.lay(row).map_err(|faults| Failure::refused(faults.iter().map(sentence).collect::<Vec<_>>().join(" ")))?;
        let text = chart.write();
        save(path, &text)?;
        show(&desk, path, text)
    })
    .await
    .map(Json)
}

/// Put a text in the chart's place: an earlier one takes an action back
#[utoipa::path(put, path = "/api/scores/{score}/chart", params(("score" = i64, Path)), request_body = TextWanted, responses((status = 200, body = ChartShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn put_text(
    State(desk): State<Desk>,
    score: ScorePath,
    wanted: Result<Json<TextWanted>, JsonRejection>,
) -> Outcome<Json<ChartShown>> {
    let (score, Json(wanted)) = (number(score)?, wanted.map_err(bad)?);
    blocking(move || {
        let _one_at_a_time = desk.correcting.lock().unwrap_or_else(PoisonError::into_inner);
        let path = desk.kept(score)?.path;
        let path = Path::new(&path);
        let (text, _) = read(path)?;
        unchanged(&text, &wanted.state)?;
        Chart::read(&name(path), &wanted.text).map_err(|faults| refused(&faults))?;
        save(path, &wanted.text)?;
        show(&desk, path, wanted.text)
    })
    .await
    .map(Json)
}

fn name(path: &Path) -> String {
    path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// The chart of a kept score, as its file has it now.
fn read(path: &Path) -> Outcome<(String, Chart)> {
    let (name, bytes) = load(path, &limits()).map_err(|error| Failure::refused(error.to_string()))?;
    let text = String::from_utf8(bytes).ok().filter(|text| Format::of(text.as_bytes()) == Some(Format::Chart));
    let text =
        text.ok_or_else(|| Failure::refused(format!("{name} is a score and no chart; correct its roles on its own page")))?;
    let (chart, ..) = Chart::read(&name, &text).map_err(|faults| refused(&faults))?;
    Ok((text, chart))
}

fn refused(faults: &[Finding]) -> Failure {
    Failure::refused(faults.iter().take(3).map(ToString::to_string).collect::<Vec<_>>().join(" "))
}

fn sentence(fault: &Fault) -> String {
    if fault.hint.is_empty() { format!("{}.", fault.what) } else { format!("{}. {}.", fault.what, fault.hint) }
}

fn state_of(text: &str) -> String {
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

fn unchanged(text: &str, state: &str) -> Outcome<()> {
    if state_of(text) == state {
        return Ok(());
    }
    Err(Failure::new(StatusCode::CONFLICT, "the chart has been changed meanwhile; look at it again and repeat the action"))
}

/// Written under another name, and to the disk, before it takes the chart's place.
fn save(path: &Path, text: &str) -> Outcome<()> {
    let failed = |error: std::io::Error| Failure::machine(format!("{}: the chart cannot be saved ({error})", path.display()));
    let part = path.with_extension(format!("{}.part", std::process::id()));
    let mut file = fs::File::create(&part).map_err(failed)?;
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(failed)?;
    fs::rename(&part, path).map_err(failed)
}

fn row(chart: &Chart, laid: &Laid) -> Outcome<Row> {
    let settled = chart.settle().map_err(|faults| Failure::refused(faults.iter().map(sentence).collect::<String>()))?;
    let score = &settled.score;
    let name = |&part: &usize| score.parts.get(part).map(|part| part.name.clone());
    let who: Option<Vec<String>> = laid.parts.iter().map(name).collect();
    let who = who.filter(|who| !who.is_empty()).ok_or_else(|| Failure::refused("the chart has no such part"))?;
    let (first, last) = (laid.first.min(laid.last) as usize, laid.first.max(laid.last) as usize);
    let (Some(from), Some(to)) = (score.bars.get(first), score.bars.get(last)) else {
        return Err(Failure::refused("the chart has no such bars"));
    };
    let roles = laid.roles.iter().map(|role| role_named(role)).collect::<Result<Vec<_>, _>>().map_err(Failure::refused)?;
    if roles.is_empty() {
        return Err(Failure::refused("no role is given; tacet is silence"));
    }
    let dynamic = match laid.dynamic.trim() {
        "" => None,
        mark => Some(DynamicLevel::from_mark(mark).ok_or_else(|| Failure::refused(format!("“{mark}” is no dynamic")))?),
    };
    Ok(Row {
        who,
        line: laid.line.filter(|line| *line != 1),
        bars: vec![Span::between(&Places::of(score), from.start, to.start + to.length)],
        roles,
        layer: laid.layer.trim().to_owned(),
        dynamic,
        remark: laid.remark.trim().to_owned(),
        ..Row::default()
    })
}

/// The chart studied and kept as it now is.
fn show(desk: &Desk, path: &Path, text: String) -> Outcome<ChartShown> {
    let open = again(desk, path)?;
    let (chart, settled, _) = Chart::read(&name(path), &text).map_err(|faults| refused(&faults))?;
    let rows = chart.rows.iter().map(row_shown).collect();
    let told = settled.notes.iter().map(sentence).collect();
    let view = View::of(&open.study, open.score, open.revision, Vec::new(), false);
    Ok(ChartShown { view, state: state_of(&text), text, rows, told })
}

fn row_shown(row: &Row) -> RowShown {
    let doubles = row.doubles.as_ref().map(|doubles| {
        let part = if doubles.in_part { ", in part" } else { "" };
        format!("doubles {}, {}{part}", doubles.who, interval_text(doubles.octaves))
    });
    let lead = row.lead.then(|| "leads".to_owned());
    let register = Some(&row.register).filter(|text| !text.is_empty()).cloned();
    let remark = Some(&row.remark).filter(|text| !text.is_empty()).cloned();
    let line = row.line.map(|line| format!("line {line}"));
    let manner = manner_names(row.manner).into_iter().map(str::to_owned);
    RowShown {
        who: row.who.join(", "),
        bars: row.bars.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
        roles: row.roles.iter().map(|role| role.name().to_owned()).collect(),
        layer: row.layer.clone(),
        dynamic: row.dynamic.map_or_else(String::new, dynamic_text),
        more: line
            .into_iter()
            .chain(lead)
            .chain(manner)
            .chain(doubles)
            .chain(register)
            .chain(remark)
            .collect::<Vec<_>>()
            .join(", "),
    }
}
