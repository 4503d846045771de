//! Why a span has its role.
#![allow(unused_qualifications)] // what the description of a path expands to

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use ripieno_instruments::printed;
use ripieno_texture::company;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::api::{ScorePath, bad, blocking, number};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};
use crate::view::{Cited, HeldRole, held, rounded};

#[derive(Debug, Deserialize, IntoParams)]
pub(crate) struct SpanAsked {
    /// Number of the span.
    span: usize,
    /// The revision in which it has this number.
    revision: u64,
}

/// Who goes with a span.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Companion {
    part: usize,
    /// How it goes with the span asked about: "unison", "octaves", "parallel", "same rhythm"; nothing for the span itself.
    relation: Option<String>,
    bars: Cited,
}

/// Why a span has its role.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Evidence {
    span: usize,
    bars: Cited,
    /// The role shown, then others it has as well.
    roles: Vec<HeldRole>,
    /// The facts that decided, the most telling first.
    reasons: Vec<String>,
    /// What the learned model gives the part over these bars, on the mean: melody, rhythm, harmony, 0 to 1.
    learned: [f64; 3],
    /// The span's part, then the parts of its layer that act together with it, each once, as seen from it.
    layer: Vec<Companion>,
    /// Corrections that made it what it is.
    corrections: Vec<String>,
}

/// Why a span has its role
#[utoipa::path(get, path = "/api/scores/{score}/evidence", params(("score" = i64, Path), SpanAsked), responses((status = 200, body = Evidence), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure)))]
pub(crate) async fn evidence(
    State(desk): State<Desk>,
    score: ScorePath,
    asked: Result<Query<SpanAsked>, QueryRejection>,
) -> Outcome<Json<Evidence>> {
    let (score, Query(asked)) = (number(score)?, asked.map_err(bad)?);
    blocking(move || of_span(&desk, score, &asked)).await.map(Json)
}

fn of_span(desk: &Desk, score: i64, asked: &SpanAsked) -> Outcome<Evidence> {
    let open = desk.opened(score)?;
    if open.revision != asked.revision {
        return Err(Failure::new(StatusCode::CONFLICT, "the score has changed meanwhile; look again"));
    }
    let study = &open.study;
    let roles = &study.roles.roles;
    let Some(span) = roles.spans.get(asked.span) else { return Err(Failure::not_there("there is no such span")) };
    let name = |part: usize| study.score.parts.get(part).map(|part| printed(&part.name)).unwrap_or_default();
    let mean = |table: &[Vec<f32>]| {
        let bars: Vec<f32> = span.bars.clone().filter_map(|bar| table.get(span.part)?.get(bar as usize).copied()).collect();
        #[allow(clippy::cast_precision_loss)] // bars
        let count = bars.len().max(1) as f32;
        rounded(bars.iter().sum::<f32>() / count)
    };
    let layer = roles.layers.of(span.line, span.bars.start).and_then(|layer| roles.layers.layers.get(layer));
    let here = |bars: &std::ops::Range<u32>| Cited::of(&study.cite(&bars.clone().collect::<Vec<u32>>()));
    let own = Companion { part: span.part, relation: None, bars: here(&span.bars) };
    let others = layer.map(|layer| company(&study.lines, span.line, layer, &span.bars)).unwrap_or_default();
    let others = others.iter().map(|member| Companion {
        part: study.lines.lines[member.line].part,
        relation: member.relation.map(|relation| relation.name().to_owned()),
        bars: here(&member.bars),
    });
    Ok(Evidence {
        span: asked.span,
        bars: Cited::of(&study.cite(&span.bars.clone().collect::<Vec<u32>>())),
        roles: span.roles.iter().map(held).collect(),
        reasons: span.evidence.iter().map(|fact| fact.words(name)).collect(),
        learned: [mean(&study.learned.melody), mean(&study.learned.rhythm), mean(&study.learned.harmony)],
        layer: layer.map(|_| own).into_iter().chain(others).collect(),
        corrections: study.roles.said.get(asked.span).map(|said| said.corrections.clone()).unwrap_or_default(),
    })
}
