//! The server from outside: who may ask, what is refused, what is kept.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)] // a test fails by panicking

use std::path::{Path, PathBuf};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Method, Request, StatusCode, header};
use ripieno_desk::{Desk, router};
use serde_json::{Value, json};
use tower::ServiceExt;

const PORT: u16 = 4711;

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("ripieno-desk-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn desk(&self) -> Router {
        router(Desk::on(&self.0.join("library.db")).unwrap(), PORT)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn request(method: Method, path: &str) -> axum::http::request::Builder {
    Request::builder().method(method).uri(path).header(header::HOST, format!("127.0.0.1:{PORT}"))
}

async fn told(desk: &Router, request: Request<Body>) -> (StatusCode, Value) {
    let answer = desk.clone().oneshot(request).await.unwrap();
    let status = answer.status();
    let bytes = to_bytes(answer.into_body(), 64 << 20).await.unwrap();
    (status, serde_json::from_slice(&bytes).unwrap_or(Value::Null))
}

async fn get(desk: &Router, path: &str) -> (StatusCode, Value) {
    told(desk, request(Method::GET, path).body(Body::empty()).unwrap()).await
}

async fn post(desk: &Router, path: &str, body: Value) -> (StatusCode, Value) {
    let request = request(Method::POST, path).header(header::CONTENT_TYPE, "application/json");
    told(desk, request.body(Body::from(body.to_string())).unwrap()).await
}

/// Waits for a job and answers its score.
async fn done(desk: &Router, job: &Value) -> i64 {
    for _ in 0..1200 {
        let (_, state) = get(desk, &format!("/api/jobs/{}", job["job"])).await;
        match state["stage"].as_str() {
            Some("done") => return state["score"].as_i64().unwrap(),
            Some("failed" | "cancelled") => panic!("{state}"),
            _ => tokio::time::sleep(Duration::from_millis(100)).await,
        }
    }
    panic!("the job does not end");
}

#[tokio::test]
async fn only_its_own_page_may_ask() {
    let folder = Folder::new("guard");
    let desk = folder.desk();
    let asked = |host: &str, extra: &[(&str, &str)]| {
        let mut request = Request::builder().uri("/api/scores").header(header::HOST, host);
        for (name, value) in extra {
            request = request.header(*name, *value);
        }
        let desk = desk.clone();
        let request = request.body(Body::empty()).unwrap();
        async move { desk.oneshot(request).await.unwrap() }
    };
    for (host, extra) in [
        ("127.0.0.1:4711", &[][..]),
        ("localhost:4711", &[("origin", "http://localhost:4711")]),
        ("127.0.0.1:4711", &[("origin", "http://127.0.0.1:4711"), ("sec-fetch-site", "same-origin")]),
    ] {
        let answer = asked(host, extra).await;
        assert_eq!(answer.status(), StatusCode::OK, "{host} {extra:?}");
        let policy = answer.headers()[header::CONTENT_SECURITY_POLICY].to_str().unwrap();
        assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        assert!(!answer.headers().contains_key(header::ACCESS_CONTROL_ALLOW_ORIGIN));
    }
    for (host, extra) in [
        ("scores.example:4711", &[][..]),
        ("127.0.0.1:80", &[]),
        ("127.0.0.1:4711.example", &[]),
        ("127.0.0.1:4711", &[("origin", "http://elsewhere.example")]),
        ("127.0.0.1:4711", &[("origin", "null")]),
        ("127.0.0.1:4711", &[("origin", "https://127.0.0.1:4711")]),
        ("127.0.0.1:4711", &[("origin", "http://127.0.0.1:4712")]),
        ("127.0.0.1:4711", &[("sec-fetch-site", "cross-site")]),
    ] {
        assert_eq!(asked(host, extra).await.status(), StatusCode::FORBIDDEN, "{host} {extra:?}");
    }
}

#[tokio::test]
async fn names_stay_in_the_folder_and_what_is_no_score_is_refused() {
    let folder = Folder::new("paths");
    let desk = folder.desk();
    for name in ["../../escaped.exe", "", "..", "%00", "a.txt"] {
        let path = format!("/api/scores?name={name}");
        let (status, said) = told(&desk, request(Method::POST, &path).body(Body::from("x")).unwrap()).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{name}: {said}");
    }
    let path = "/api/scores?name=..%2F..%2F..%2Fescaped.mid";
    let (status, job) = told(&desk, request(Method::POST, path).body(Body::from("not music")).unwrap()).await;
    assert_eq!(status, StatusCode::ACCEPTED);
    assert!(folder.0.join("library-scores/escaped.mid").is_file());
    for _ in 0..100 {
        let (_, state) = get(&desk, &format!("/api/jobs/{}", job["job"])).await;
        if state["stage"] == "failed" {
            assert!(state["message"].as_str().unwrap().contains("escaped.mid"), "{state}");
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("a file that is no score must fail");
}

#[tokio::test]
async fn odd_requests_get_a_sentence_and_never_a_fault() {
    let folder = Folder::new("odd");
    let desk = folder.desk();
    for path in [
        "/api/scores/1/view",
        "/api/scores/x/view",
        "/api/scores/99999999999999999999/view",
        "/api/scores/-1/evidence?span=0&revision=0",
        "/api/scores/1/evidence",
        "/api/scores/1/evidence?span=-1&revision=x",
        "/api/scores/1/ask",
        "/api/scores/1/ask?question=",
        "/api/scores/1/ask?question=%F0%9F%8E%BB",
        "/api/jobs/7",
        "/api/jobs/7/outline",
        "/api/jobs/7/events",
        "/../Cargo.toml",
        "/assets/..%2f..%2fCargo.toml",
    ] {
        let (status, _) = get(&desk, path).await;
        assert!(status.is_client_error(), "{path}: {status}");
    }
    for (path, body) in [
        ("/api/scores/1", json!(null)),
        ("/api/scores/1/undo", json!(null)),
        ("/api/scores/1/redo", json!(null)),
        ("/api/scores/1/corrections", json!({})),
        ("/api/scores/1/corrections", json!({ "revision": 1, "spans": [], "change": "set-role" })),
        ("/api/scores/1/corrections", json!([1, 2])),
    ] {
        let (status, said) = post(&desk, path, body).await;
        assert!(status.is_client_error() && !said["message"].as_str().unwrap_or_default().is_empty(), "{path}: {status} {said}");
    }
}

#[tokio::test]
async fn a_correction_is_kept_taken_back_and_made_again() {
    let folder = Folder::new("correct");
    let desk = folder.desk();
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let score = done(&desk, &job).await;
    let (status, view) = get(&desk, &format!("/api/scores/{score}/view")).await;
    assert_eq!(status, StatusCode::OK);
    // As the file itself says, each bar once a part.
    let text = include_str!("../../../demo/lifeboat_overture.musicxml");
    let (parts, bars) = (text.matches("<part id=").count(), text.matches("<measure ").count());
    assert_eq!(view["parts"].as_array().unwrap().len(), parts);
    assert_eq!(view["bars"].as_array().unwrap().len(), bars / parts);
    let was = view["spans"][3]["roles"][0]["role"].clone();
    let wish = if was == "effect" { "bass" } else { "effect" };
    let role = |view: &Value| {
        view["spans"].as_array().unwrap().iter().any(|span| span["by_hand"] == true && span["roles"][0]["role"] == wish)
    };
    let wanted =
        json!({ "revision": view["revision"], "spans": [3], "change": "set-role", "roles": [wish], "comment": "heard so" });
    let (status, corrected) = post(&desk, &format!("/api/scores/{score}/corrections"), wanted.clone()).await;
    assert_eq!(status, StatusCode::OK, "{corrected}");
    assert!(role(&corrected));
    // The same again is about numbers that are no more.
    assert_eq!(post(&desk, &format!("/api/scores/{score}/corrections"), wanted).await.0, StatusCode::CONFLICT);
    // Another desk on the same library, as after a crash: the correction is there.
    let other = folder.desk();
    let (_, job) = post(&other, &format!("/api/scores/{score}"), Value::Null).await;
    assert_eq!(done(&other, &job).await, score);
    assert!(role(&get(&other, &format!("/api/scores/{score}/view")).await.1));
    let (_, undone) = post(&desk, &format!("/api/scores/{score}/undo"), Value::Null).await;
    assert!(!role(&undone) && undone["can_redo"] == true);
    let (_, redone) = post(&desk, &format!("/api/scores/{score}/redo"), Value::Null).await;
    assert!(role(&redone) && redone["can_redo"] == false);
    assert_eq!(redone["corrections"][0]["comment"], "heard so");
    // The command finds it where it looks for corrections.
    assert!(Path::new(&folder.0.join("library-scores/lifeboat_overture.musicxml.corrections.json")).is_file());
}
