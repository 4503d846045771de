//! Questions kept by name, the same that `ripieno ask --save` keeps: one list for the library, in words and in SQL.
#![allow(unused_qualifications)] // what the description of a path expands to

use axum::Json;
use axum::extract::rejection::{JsonRejection, QueryRejection};
use axum::extract::{Query, State};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::api::{bad, blocking};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};

/// Most letters of a name and of a question.
const MOST_NAME: usize = 100;
const MOST_TEXT: usize = 20_000;
/// Questions kept.
const MOST: usize = 500;

pub(crate) fn routes() -> OpenApiRouter<Desk> {
    OpenApiRouter::new().routes(routes!(kept, keep, forget))
}

/// A question kept by name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct KeptQuestion {
    name: String,
    question: String,
    /// Whether it is SQL rather than words.
    #[serde(default)]
    sql: bool,
}

fn all(desk: &Desk) -> Outcome<Vec<KeptQuestion>> {
    let saved = desk.reader()?.saved_questions()?.into_iter();
    Ok(saved.map(|one| KeptQuestion { name: one.name, question: one.question, sql: one.is_sql }).collect())
}

/// Questions kept by name
#[utoipa::path(get, path = "/api/questions", responses((status = 200, body = Vec<KeptQuestion>), (status = 507, body = Failure)))]
async fn kept(State(desk): State<Desk>) -> Outcome<Json<Vec<KeptQuestion>>> {
    blocking(move || all(&desk)).await.map(Json)
}

/// Keep a question by name, in place of one of that name; the answer is all that are kept
#[utoipa::path(post, path = "/api/questions", request_body = KeptQuestion, responses((status = 200, body = Vec<KeptQuestion>), (status = 400, body = Failure), (status = 415, body = Failure), (status = 422, body = Failure), (status = 507, body = Failure)))]
async fn keep(State(desk): State<Desk>, wanted: Result<Json<KeptQuestion>, JsonRejection>) -> Outcome<Json<Vec<KeptQuestion>>> {
    let Json(wanted) = wanted.map_err(bad)?;
    let name = wanted.name.trim().to_owned();
    if name.is_empty() || name.chars().count() > MOST_NAME || name.contains(char::is_control) {
        return Err(Failure::refused(format!("the question needs a name of at most {MOST_NAME} letters on one line")));
    }
    if wanted.question.trim().is_empty() || wanted.question.chars().count() > MOST_TEXT {
        return Err(Failure::refused(format!("there is no question to keep, or it is longer than {MOST_TEXT} letters")));
    }
    if !wanted.sql {
        // One that is not understood today is not kept for tomorrow.
        ripieno_questions::parse(&wanted.question)
            .map_err(|error| Failure { column: Some(error.column), ..Failure::refused(error.what) })?;
    }
    blocking(move || {
        let known = all(&desk)?;
        if known.len() >= MOST && !known.iter().any(|one| one.name == name) {
            return Err(Failure::refused(format!("{MOST} questions are kept already; forget some first")));
        }
        desk.library()?.save_question(&name, &wanted.question, wanted.sql)?;
        all(&desk)
    })
    .await
    .map(Json)
}

#[derive(Debug, Deserialize, IntoParams)]
struct Name {
    /// The question's name.
    name: String,
}

/// Forget a question kept by name; the answer is all that are left
#[utoipa::path(delete, path = "/api/questions", params(Name), responses((status = 200, body = Vec<KeptQuestion>), (status = 400, body = Failure), (status = 404, body = Failure), (status = 507, body = Failure)))]
async fn forget(State(desk): State<Desk>, which: Result<Query<Name>, QueryRejection>) -> Outcome<Json<Vec<KeptQuestion>>> {
    let Query(Name { name }) = which.map_err(bad)?;
    blocking(move || {
        if !desk.library()?.forget_question(&name)? {
            return Err(Failure::not_there("no question is kept by this name; it may have been forgotten meanwhile"));
        }
        all(&desk)
    })
    .await
    .map(Json)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;

    fn wanted(name: &str, question: &str, sql: bool) -> KeptQuestion {
        KeptQuestion { name: name.to_owned(), question: question.to_owned(), sql }
    }

    /// One list with `ripieno ask --save`: what the library keeps is what is told, and what is forgotten is gone there too.
    #[tokio::test]
    async fn questions_are_those_of_the_library() {
        let folder = std::env::temp_dir().join(format!("ripieno-desk-saved-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let desk = Desk::on(&folder.join("library.db")).unwrap();
        let put = |one: KeptQuestion| keep(State(desk.clone()), Ok(Json(one)));
        desk.library().unwrap().save_question("full brass", "all brass play", false).unwrap();
        let Json(list) = put(wanted(" tune low ", "cellos have melody", false)).await.unwrap();
        assert_eq!(list, [wanted("full brass", "all brass play", false), wanted("tune low", "cellos have melody", false)]);
        assert_eq!(put(wanted("tune low", "SELECT 1", true)).await.unwrap().0.len(), 2, "in place of the one of that name");
        assert!(desk.reader().unwrap().saved_question("tune low").unwrap().is_sql);
        for (wrong, says) in [
            (wanted(" ", "all brass play", false), "needs a name"),
            (wanted("x", " ", false), "no question to keep"),
            (wanted("x", "hornz play", false), "hornz"),
        ] {
            let failure = put(wrong).await.unwrap_err();
            assert!(failure.status == 422 && failure.message.contains(says), "{}", failure.message);
        }
        let away = |name: &str| forget(State(desk.clone()), Ok(Query(Name { name: name.to_owned() })));
        // A flat is one letter, of three bytes.
        assert_eq!(
            put(wanted("long", &format!("SELECT '{}'", "\u{266d}".repeat(MOST_TEXT - 9)), true)).await.unwrap().0.len(),
            3
        );
        let longer = put(wanted("longer", &"\u{266d}".repeat(MOST_TEXT + 1), true)).await.unwrap_err();
        assert!(longer.message.contains("longer than"), "{}", longer.message);
        assert_eq!(away("long").await.unwrap().0.len(), 2);
        assert_eq!(away("full brass").await.unwrap().0.len(), 1);
        assert_eq!(away("full brass").await.unwrap_err().status, 404);
        assert!(desk.reader().unwrap().saved_question("full brass").is_err());
        drop(desk);
        std::fs::remove_dir_all(folder).unwrap();
    }
}
