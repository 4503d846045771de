//! A desk on a folder of its own, asked without a socket.
#![allow(dead_code)] // each test uses its share

use std::path::PathBuf;
use std::sync::{Arc, LazyLock};

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::request::Builder;
use axum::http::{Method, Request, StatusCode, header};
use ripieno_desk::{Desk, Key, router};
use serde_json::Value;
use tower::ServiceExt;

pub const PORT: u16 = 4711;

/// One for all tests.
pub static KEY: LazyLock<Arc<Key>> = LazyLock::new(|| Arc::new(Key::new().unwrap()));

/// A folder that goes with the test.
pub struct Folder(pub PathBuf);

impl Folder {
    pub fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("ripieno-desk-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    /// A desk on the library of this folder; each is like a new start of the program.
    pub fn desk(&self) -> Router {
        router(Desk::on(&self.0.join("library.db")).unwrap(), PORT, Arc::clone(&KEY))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A request of the desk's own page.
pub fn request(method: Method, path: &str) -> Builder {
    let host = format!("127.0.0.1:{PORT}");
    Request::builder().method(method).uri(path).header(header::HOST, host).header(header::COOKIE, KEY.cookie(PORT))
}

pub async fn bytes(desk: &Router, request: Request<Body>) -> (StatusCode, Vec<u8>) {
    let answer = desk.clone().oneshot(request).await.unwrap();
    let status = answer.status();
    (status, to_bytes(answer.into_body(), 256 << 20).await.unwrap().to_vec())
}

/// The answer as JSON; null where it is none.
pub async fn told(desk: &Router, request: Request<Body>) -> (StatusCode, Value) {
    let (status, body) = bytes(desk, request).await;
    (status, serde_json::from_slice(&body).unwrap_or(Value::Null))
}
