//! What went wrong, as a sentence and a status.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

/// Why something could not be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct Failure {
    #[serde(skip)]
    pub status: u16,
    /// One sentence: what is the matter and what to do.
    pub message: String,
    /// For a question: column of the word at fault, from 1.
    pub column: Option<usize>,
}

impl Failure {
    pub(crate) fn new(status: StatusCode, message: impl Into<String>) -> Self {
        Self { status: status.as_u16(), message: message.into(), column: None }
    }

    pub(crate) fn not_there(message: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, message)
    }

    pub(crate) fn refused(message: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, message)
    }

    /// Of the machine: a disk that is full, a library that cannot be written to.
    pub(crate) fn machine(message: impl Into<String>) -> Self {
        Self::new(StatusCode::INSUFFICIENT_STORAGE, message)
    }
}

impl From<ripieno_library::LibraryError> for Failure {
    fn from(error: ripieno_library::LibraryError) -> Self {
        Self::machine(error.to_string())
    }
}

impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::BAD_REQUEST);
        (status, Json(self)).into_response()
    }
}

pub(crate) type Outcome<T> = Result<T, Failure>;
