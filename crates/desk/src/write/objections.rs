//! What players would object to, in any score that is open: studied, or written here.
#![allow(unused_qualifications)] // what the description of a path expands to

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use ripieno_players::{CAUTION, Group, Level, Options, Severity, check, grouped, source, who};
use ripieno_score::{BarIndex, Sounding, Unroll};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::api::{ScorePath, bad, blocking, number};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};

/// Rows told, the gravest first.
const MOST_ROWS: usize = 600;
/// Stretches told of an objection.
const MOST_STRETCHES: usize = 12;

/// For whom a score is checked.
#[derive(Debug, Default, Deserialize, IntoParams)]
pub(crate) struct For {
    /// professional, amateur or student; professional without it.
    #[serde(default)]
    level: String,
}

/// On what an objection rests.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct SourceShown {
    /// confirmed, derived, catalogue or memory.
    status: String,
    citation: String,
}

/// Bars that follow each other.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct StretchShown {
    /// First bar, from 0.
    first: u32,
    /// Last bar, from 0.
    last: u32,
    /// "14–18".
    text: String,
}

/// An objection with its repeats.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct ObjectionShown {
    /// fault, caution or note.
    severity: String,
    /// "slide-glissando".
    kind: String,
    /// What is objected to, and from where on.
    definition: String,
    /// "Horn 1.2, player 2".
    who: String,
    /// "12, 14-18".
    bars: String,
    /// Where they are, stretch by stretch.
    stretches: Vec<StretchShown>,
    /// Stretches there are in all.
    places: usize,
    /// How many objections there are.
    count: usize,
    reason: String,
    remedy: String,
    sources: Vec<SourceShown>,
}

/// What would be objected to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct ObjectionsShown {
    level: String,
    /// What to mind.
    caution: String,
    faults: usize,
    cautions: usize,
    notes: usize,
    rows: Vec<ObjectionShown>,
    /// Rows left out because there are too many.
    left_out: usize,
}

/// What players, conductor and copyist would object to in an open score
#[utoipa::path(get, path = "/api/scores/{score}/objections", params(("score" = i64, Path), For), responses((status = 200, body = ObjectionsShown), (status = 400, body = Failure), (status = 404, body = Failure), (status = 409, body = Failure), (status = 422, body = Failure)))]
pub(crate) async fn objections(
    State(desk): State<Desk>,
    score: ScorePath,
    whom: Result<Query<For>, QueryRejection>,
) -> Outcome<Json<ObjectionsShown>> {
    let (score, Query(whom)) = (number(score)?, whom.map_err(bad)?);
    let level = level(&whom.level)?;
    blocking(move || {
        let open = desk.opened(score)?;
        if open.study.is_chart() {
            return Err(Failure::refused(
                "this is a chart, which tells who does what and holds no notes; players can say nothing of it",
            ));
        }
        let score = &open.study.score;
        let played = Sounding::new(score, Unroll::AsPlayed);
        let found = check(score, &played, &Options { level, only: Vec::new() });
        let count = |severity| found.iter().filter(|one| one.severity == severity).count();
        let mut groups = grouped(&found);
        let left_out = groups.len().saturating_sub(MOST_ROWS);
        groups.truncate(MOST_ROWS);
        let name = |bar: BarIndex| {
            let printed = score.bars.get(bar.at()).map_or("", |bar| &bar.number);
            if printed.is_empty() { format!("#{}", bar.0 + 1) } else { printed.to_owned() }
        };
        let stretch = |&(first, last): &(BarIndex, BarIndex)| StretchShown {
            first: first.0,
            last: last.0,
            text: if first == last { name(first) } else { format!("{}–{}", name(first), name(last)) },
        };
        let row = |group: &Group| {
            let one = &group.first;
            let sources = one.source.split('+').filter_map(source);
            ObjectionShown {
                severity: one.severity.name().to_owned(),
                kind: one.kind.id().to_owned(),
                definition: one.kind.definition().to_owned(),
                who: who(score, one),
                bars: group.bars_text(score),
                stretches: group.bars.iter().take(MOST_STRETCHES).map(stretch).collect(),
                places: group.bars.len(),
                count: group.count,
                reason: one.reason.clone(),
                remedy: one.remedy.clone(),
                sources: sources
                    .map(|source| SourceShown { status: source.status.clone(), citation: source.citation.clone() })
                    .collect(),
            }
        };
        Ok(ObjectionsShown {
            level: level.name().to_owned(),
            caution: CAUTION.to_owned(),
            faults: count(Severity::Fault),
            cautions: count(Severity::Caution),
            notes: count(Severity::Note),
            rows: groups.iter().map(row).collect(),
            left_out,
        })
    })
    .await
    .map(Json)
}

pub(crate) fn level(text: &str) -> Outcome<Level> {
    if text.is_empty() {
        return Ok(Level::default());
    }
    text.parse().map_err(|_| Failure::refused(format!("“{text}” is no level; levels are professional, amateur and student")))
}
