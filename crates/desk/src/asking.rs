//! Questions in words, of one score or of all, and SQL.
#![allow(unused_qualifications)] // what the description of a path expands to

use std::time::Duration;

use axum::Json;
use axum::extract::rejection::{JsonRejection, QueryRejection};
use axum::extract::{Query, State};
use ripieno_library::{Bounds, Value, query_within, text_of};
use ripieno_questions::{Found, Question, answer, bar_count, parse, tables};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::api::{ScorePath, bad, blocking, number};
use crate::desk::{Desk, no_score};
use crate::failure::{Failure, Outcome};
use crate::view::Cited;

/// What an answer to SQL may cost on the page; `ripieno ask --sql` has no such bounds.
const BOUNDS: Bounds = Bounds { rows: 1000, bytes: 8 << 20, time: Duration::from_secs(10) };

#[derive(Debug, Deserialize, IntoParams)]
pub(crate) struct Asked {
    /// The question, such as "all brass play"; docs/questions.md has all words.
    question: String,
}

/// The bars that answer a question.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct Answer {
    bars: Cited,
    count: u32,
}

impl Answer {
    fn of(found: &[Found]) -> Self {
        let text = found.iter().map(Found::said).collect::<Vec<_>>().join(", ");
        let spans = found.iter().map(|found| [found.first, found.last]).collect();
        // Where several play at once a bar is found more than once.
        let count = u32::try_from(bar_count(found)).unwrap_or(u32::MAX);
        Self { bars: Cited { text, spans }, count }
    }
}

fn understood(question: &str) -> Outcome<Question> {
    parse(question).map_err(|error| Failure { column: Some(error.column), ..Failure::refused(error.what) })
}

/// Ask a score in words; 422 with the column of the word at fault when the question is not understood
#[utoipa::path(get, path = "/api/scores/{score}/ask", params(("score" = i64, Path), Asked), responses((status = 200, body = Answer), (status = 400, body = Failure), (status = 404, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn ask(
    State(desk): State<Desk>,
    score: ScorePath,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Outcome<Json<Answer>> {
    let (score, Query(asked)) = (number(score)?, asked.map_err(bad)?);
    blocking(move || {
        let question = understood(&asked.question)?;
        let reader = desk.reader()?;
        if reader.kept(score)?.is_none() {
            return Err(no_score(score));
        }
        let record = reader.record(score, &tables(&question))?;
        let damaged = |_| Failure::machine("what is kept of the score is damaged; add it again");
        Ok(Answer::of(&answer(&question, &record).map_err(damaged)?))
    })
    .await
    .map(Json)
}

/// A score in which a question is answered.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct InScore {
    score: i64,
    title: String,
    file: String,
    bars: Cited,
    count: u32,
}

/// Ask all scores in words; those without an answer are left out
#[utoipa::path(get, path = "/api/ask", params(Asked), responses((status = 200, body = Vec<InScore>), (status = 400, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn ask_all(
    State(desk): State<Desk>,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Outcome<Json<Vec<InScore>>> {
    let Query(asked) = asked.map_err(bad)?;
    blocking(move || {
        let question = understood(&asked.question)?;
        let answers = desk.reader()?.ask(&question)?;
        let one = |one: ripieno_library::Answer| {
            let Answer { bars, count } = Answer::of(&one.found);
            InScore { score: one.entry.score, title: one.entry.title, file: one.entry.file, bars, count }
        };
        Ok(answers.into_iter().map(one).collect())
    })
    .await
    .map(Json)
}

/// SQL to be answered.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Statement {
    /// One statement that only reads; docs/library.md has the tables.
    sql: String,
}

/// Rows of an answer.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct SqlRows {
    columns: Vec<String>,
    /// Which columns hold numbers in all their rows.
    numbers: Vec<bool>,
    /// Cells as text, nothing as an empty one.
    rows: Vec<Vec<String>>,
    /// Whether these are all; at most 1,000 are given.
    is_all: bool,
}

/// Ask with SQL, read only: at most 1,000 rows and 10 seconds
#[utoipa::path(post, path = "/api/sql", request_body = Statement, responses((status = 200, body = SqlRows), (status = 400, body = Failure), (status = 415, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
pub(crate) async fn sql(State(desk): State<Desk>, asked: Result<Json<Statement>, JsonRejection>) -> Outcome<Json<SqlRows>> {
    let Json(Statement { sql }) = asked.map_err(bad)?;
    blocking(move || {
        let (answer, is_all) = query_within(desk.path(), &sql, BOUNDS).map_err(|error| Failure::refused(error.to_string()))?;
        let is_number = |value: &Value| matches!(value, Value::Integer(_) | Value::Real(_) | Value::Null);
        let numbers = (0..answer.columns.len()).map(|column| answer.rows.iter().all(|row| is_number(&row[column])));
        let numbers = numbers.collect();
        let rows = answer.rows.iter().map(|row| row.iter().map(text_of).collect()).collect();
        Ok(SqlRows { columns: answer.columns, numbers, rows, is_all })
    })
    .await
    .map(Json)
}
