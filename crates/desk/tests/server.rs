//! The server from outside: who may ask, what is refused, what is kept.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)] // a test fails by panicking

mod common;

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Method, Request, StatusCode, header};
use common::{Folder, KEY, PORT, request, told};
use ripieno_desk::{Desk, Key, router};
use ripieno_formats::{Limits, read_file};
use ripieno_score::{Sounding, Unroll};
use ripieno_study::corrections::{self, Change, Corrections, Moment, Who, sidecar_path};
use serde_json::{Value, json};
use tower::ServiceExt;

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
        let mut request =
            Request::builder().uri("/api/scores").header(header::HOST, host).header(header::COOKIE, KEY.cookie(PORT));
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

#[tokio::test]
async fn a_correction_that_is_broken_off_leaves_all_as_it_was() {
    let folder = Folder::new("broken-off");
    let desk = folder.desk();
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let score = done(&desk, &job).await;
    let path = format!("/api/scores/{score}/view");
    let before = get(&desk, &path).await.1;
    let beside = folder.0.join("library-scores/lifeboat_overture.musicxml.corrections.json");
    let wanted = json!({ "revision": before["revision"], "spans": [3], "change": "set-role", "roles": ["effect"] });
    let asked = tokio::spawn({
        let desk = desk.clone();
        async move { post(&desk, &format!("/api/scores/{score}/corrections"), wanted).await }
    });
    // The word is kept before the score is read again; then whoever asked hangs up.
    for _ in 0..600 {
        if beside.is_file() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    assert!(beside.is_file(), "the correction was begun");
    asked.abort();
    assert!(asked.await.is_err_and(|error| error.is_cancelled()), "it was broken off before it was done");
    // The next change waits for its turn, and finds nothing to take back.
    let (status, said) = post(&desk, &format!("/api/scores/{score}/undo"), Value::Null).await;
    assert_eq!(status, StatusCode::NOT_FOUND, "{said}");
    assert!(!beside.exists());
    assert_eq!(get(&desk, &path).await.1, before, "the same revision, and no redo");
    let (_, kept) = get(&desk, "/api/scores").await;
    assert_eq!(kept.as_array().map(Vec::len), Some(1));
}

/// Ours: what is corrected on the command line while the desk studies is no part of what is broken off.
#[tokio::test]
async fn breaking_off_leaves_what_another_has_corrected_meanwhile() {
    let folder = Folder::new("broken-off-beside-another");
    let desk = folder.desk();
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let score = done(&desk, &job).await;
    let before = get(&desk, &format!("/api/scores/{score}/view")).await.1;
    let file = folder.0.join("library-scores/lifeboat_overture.musicxml");
    let read = read_file(&file, &Limits::default()).unwrap().score;
    let sounding = Sounding::new(&read, Unroll::AsWritten);
    let wanted = json!({ "revision": before["revision"], "spans": [3], "change": "set-role", "roles": ["effect"] });
    let asked = tokio::spawn({
        let desk = desk.clone();
        async move { post(&desk, &format!("/api/scores/{score}/corrections"), wanted).await }
    });
    for _ in 0..600 {
        if sidecar_path(&file).is_file() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    let mut others = Corrections::beside(&file).unwrap();
    let (who, change) = (vec![Who { part: 0, voice: None, staff: None }], Change::Remark("by another".to_owned()));
    let request = corrections::Request { change, who, from: Moment::edge(0), to: Moment::edge(3), comment: String::new() };
    assert_eq!(others.add(&read, &sounding, request).unwrap(), "c2", "the desk's own came first");
    others.save().unwrap();
    asked.abort();
    assert!(asked.await.is_err_and(|error| error.is_cancelled()), "it was broken off before it was done");
    // The next change waits for its turn: the desk's own is gone, and what the page shows is what lies beside the score.
    let (status, said) = post(&desk, &format!("/api/scores/{score}/undo?id=c1"), Value::Null).await;
    assert_eq!(status, StatusCode::NOT_FOUND, "{said}");
    let ids: Vec<String> = Corrections::beside(&file).unwrap().list().into_iter().map(|one| one.id).collect();
    assert_eq!(ids, ["c2"]);
    let after = get(&desk, &format!("/api/scores/{score}/view")).await.1;
    assert_eq!((&after["corrections"][0]["id"], after["corrections"].as_array().map(Vec::len)), (&json!("c2"), Some(1)));
    assert_ne!(after["revision"], before["revision"]);
}

#[tokio::test]
async fn a_file_without_a_note_is_not_put_on_the_shelf_and_steps_are_told() {
    let folder = Folder::new("empty");
    let desk = folder.desk();
    let text = include_str!("../../../demo/lifeboat_overture.musicxml");
    // A whole score of rests: well-formed, and nothing to study.
    let head = text.find("<part id=").unwrap();
    let id = text[head..].split('"').nth(1).unwrap();
    let empty = format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"{id}\"><part-name>Flute</part-name></score-part></part-list>\
         <part id=\"{id}\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes>\
         <note><rest/><duration>4</duration></note></measure></part></score-partwise>"
    );
    let (_, job) = told(&desk, request(Method::POST, "/api/scores?name=rests.musicxml").body(Body::from(empty)).unwrap()).await;
    let state = loop {
        let (_, state) = get(&desk, &format!("/api/jobs/{}", job["job"])).await;
        assert_ne!(state["stage"], "done", "{state}");
        if state["stage"] == "failed" {
            break state;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    };
    let said = state["message"].as_str().unwrap();
    assert!(said.starts_with("No note could be read in rests.musicxml, so it is not put on the shelf."), "{said}");
    assert_eq!(get(&desk, "/api/scores").await.1, json!([]));
    // While a score is studied its name and its steps are told.
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let (mut steps, mut messages) = (Vec::new(), Vec::new());
    loop {
        let (_, state) = get(&desk, &format!("/api/jobs/{}", job["job"])).await;
        steps.push(state["done"].as_u64().unwrap());
        messages.push(state["message"].as_str().unwrap().to_owned());
        if state["stage"] == "done" {
            assert_eq!(state["done"], state["steps"]);
            break;
        }
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
    assert!(steps.is_sorted() && steps.first() == Some(&0), "{steps:?}");
    assert!(steps.iter().any(|done| (2..6).contains(done)), "steps of the analysis are told: {steps:?}");
    let last = messages.pop().unwrap();
    assert!(messages.iter().all(|said| said.contains("lifeboat_overture.musicxml")) && last == "done", "{messages:?}");
}

async fn answered(
    desk: &Router,
    method: Method,
    path: &str,
    headers: &[(header::HeaderName, String)],
) -> axum::response::Response {
    let mut request = Request::builder().method(method).uri(path).header(header::HOST, format!("127.0.0.1:{PORT}"));
    for (name, value) in headers {
        request = request.header(name, value);
    }
    desk.clone().oneshot(request.body(Body::empty()).unwrap()).await.unwrap()
}

#[tokio::test]
async fn only_who_has_the_key_may_come_in() {
    let folder = Folder::new("key");
    let key = Arc::new(Key::new().unwrap());
    let desk = router(Desk::on(&folder.0.join("library.db")).unwrap(), PORT, Arc::clone(&key));
    let path = |address: String| address.split_once(&format!(":{PORT}")).unwrap().1.to_owned();
    let cookie = (header::COOKIE, key.cookie(PORT));
    // Without it nothing is told, neither scores nor the page nor its files; a wrong one is none.
    let wrong = (header::COOKIE, KEY.cookie(PORT));
    for headers in [&[][..], &[wrong], &[(header::COOKIE, format!("ripieno-{PORT}="))]] {
        for asked in ["/", "/api/scores", "/mark.svg", "/?key=", "/?key=0123456789abcdef0123456789abcdef", "/api/scores?key=x"] {
            let answer = answered(&desk, Method::GET, asked, headers).await;
            assert_eq!(answer.status(), StatusCode::UNAUTHORIZED, "{asked} {headers:?}");
            assert!(!answer.headers().contains_key(header::SET_COOKIE));
        }
    }
    let answer = answered(&desk, Method::POST, "/api/demo", &[]).await;
    assert_eq!(answer.status(), StatusCode::UNAUTHORIZED);
    // The printed address gives the cookie as often as it is used, the one for the browser once.
    for _ in 0..2 {
        let answer = answered(&desk, Method::GET, &path(key.address(PORT)), &[]).await;
        assert_eq!(answer.status(), StatusCode::OK);
        let given = answer.headers()[header::SET_COOKIE].to_str().unwrap().to_owned();
        assert!(given.starts_with(&key.cookie(PORT)), "{given}");
        for rule in ["HttpOnly", "SameSite=Strict", "Path=/"] {
            assert!(given.contains(rule), "{given}");
        }
    }
    let once = path(key.address_once(PORT));
    assert_ne!(once, path(key.address(PORT)));
    assert_eq!(answered(&desk, Method::GET, &once, &[]).await.status(), StatusCode::OK);
    let html = (header::ACCEPT, "text/html".to_owned());
    let again = answered(&desk, Method::GET, &once, &[html]).await;
    assert_eq!(again.status(), StatusCode::UNAUTHORIZED);
    let said = String::from_utf8(to_bytes(again.into_body(), 4096).await.unwrap().to_vec()).unwrap();
    assert!(said.contains("has been used") && !said.contains('{'), "{said}");
    // Only the page takes a key from the address.
    let elsewhere = format!("/api/scores{}", &path(key.address(PORT))[1..]);
    assert_eq!(answered(&desk, Method::GET, &elsewhere, &[]).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(answered(&desk, Method::GET, "/api/scores", &[cookie]).await.status(), StatusCode::OK);
}

#[tokio::test]
async fn the_usual_port_is_left_out_of_the_host() {
    let folder = Folder::new("port");
    let desk = router(Desk::on(&folder.0.join("library.db")).unwrap(), 80, Arc::clone(&KEY));
    for (host, status) in [("127.0.0.1", StatusCode::OK), ("localhost:80", StatusCode::OK), ("elsewhere", StatusCode::FORBIDDEN)]
    {
        let request = Request::builder().uri("/api/scores").header(header::HOST, host).header(header::COOKIE, KEY.cookie(80));
        assert_eq!(desk.clone().oneshot(request.body(Body::empty()).unwrap()).await.unwrap().status(), status, "{host}");
    }
}

#[tokio::test]
async fn notes_tags_and_bookmarks_are_kept() {
    let folder = Folder::new("notes");
    let desk = folder.desk();
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let score = done(&desk, &job).await;
    let of = |rest: &str| format!("/api/scores/{score}/{rest}");
    let remark = json!({ "text": "the trombones wait for this", "first_bar": 34, "last_bar": 44, "printed_bars": "35–45", "part": "Trombone 1.2" });
    let (status, own) = post(&desk, &of("remarks"), remark).await;
    assert_eq!(status, StatusCode::OK, "{own}");
    assert_eq!((&own["remarks"][0]["bars"], &own["remarks"][0]["part"]), (&json!([34, 44]), &json!("Trombone 1.2")));
    let number = own["remarks"][0]["remark"].as_i64().unwrap();
    let put = |path: String, body: Value| {
        let request = request(Method::PUT, &path).header(header::CONTENT_TYPE, "application/json");
        told(&desk, request.body(Body::from(body.to_string())).unwrap())
    };
    let (_, own) = put(of(&format!("remarks/{number}")), json!({ "text": "held back until here" })).await;
    assert_eq!(own["remarks"][0]["text"], "held back until here");
    let (_, own) = post(&desk, &of("bookmarks"), json!({ "name": "first tutti", "view": "seen=136-180" })).await;
    let bookmark = own["bookmarks"][0]["bookmark"].as_i64().unwrap();
    let (_, own) = post(&desk, &of("tags?tag=harbour%20set"), Value::Null).await;
    assert_eq!(own["tags"], json!(["harbour set"]));
    // Another desk on the library has them all; the shelf finds by them.
    let other = folder.desk();
    let (_, kept) = get(&other, &of("notes")).await;
    assert_eq!(kept, own);
    for words in ["harbour%20set", "held%20back"] {
        assert_eq!(get(&other, &format!("/api/scores?words={words}")).await.1.as_array().unwrap().len(), 1, "{words}");
    }
    for (path, body) in [
        (of("remarks"), json!({ "text": " ", "first_bar": 0, "last_bar": 0, "printed_bars": "1" })),
        (of("remarks"), json!({ "text": "x", "first_bar": 5, "last_bar": 0, "printed_bars": "1" })),
        (of("bookmarks"), json!({ "name": "", "view": "" })),
        (of("tags?tag=%20"), Value::Null),
        (of("tags?tag=a%0Ab"), Value::Null),
    ] {
        assert_eq!(post(&desk, &path, body).await.0, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
    }
    let away = |path: String| told(&desk, request(Method::DELETE, &path).body(Body::empty()).unwrap());
    assert_eq!(away(of("remarks/999")).await.0, StatusCode::NOT_FOUND);
    assert_eq!(away(of("bookmarks/999")).await.0, StatusCode::NOT_FOUND);
    away(of(&format!("remarks/{number}"))).await;
    away(of(&format!("bookmarks/{bookmark}"))).await;
    let (_, own) = away(of("tags?tag=harbour%20set")).await;
    assert_eq!(own, json!({ "tags": [], "remarks": [], "bookmarks": [], "said": "" }));
    // Where a note cannot be tied to its music it is kept all the same, and that is said: sent again, there would be two.
    let ties = folder.0.join("library-notes");
    std::fs::create_dir_all(&ties).unwrap();
    std::fs::write(ties.join(format!("{score}.corrections.json")), "{ damaged").unwrap();
    let remark = json!({ "text": "once", "first_bar": 3, "last_bar": 4, "printed_bars": "4–5" });
    let (status, own) = post(&desk, &of("remarks"), remark).await;
    assert_eq!((status, own["remarks"].as_array().unwrap().len()), (StatusCode::OK, 1), "{own}");
    assert!(own["said"].as_str().unwrap().starts_with("The note is kept, but it stays at its bars"), "{own}");
    let (status, own) = away(of(&format!("remarks/{}", own["remarks"][0]["remark"]))).await;
    assert_eq!((status, &own["remarks"], &own["said"]), (StatusCode::OK, &json!([]), &json!("")), "{own}");
}

#[tokio::test]
async fn the_whole_library_is_asked_in_words_and_in_sql() {
    let folder = Folder::new("asking");
    let desk = folder.desk();
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let score = done(&desk, &job).await;
    let (_, one) = get(&desk, &format!("/api/scores/{score}/ask?question=all%20brass%20play")).await;
    let (status, all) = get(&desk, "/api/ask?question=all%20brass%20play").await;
    assert_eq!(status, StatusCode::OK, "{all}");
    assert_eq!((&all[0]["score"], &all[0]["bars"], &all[0]["count"]), (&json!(score), &one["bars"], &one["count"]));
    assert_eq!(get(&desk, "/api/ask?question=hornz%20play").await.0, StatusCode::UNPROCESSABLE_ENTITY);
    let sql = |text: &str| post(&desk, "/api/sql", json!({ "sql": text }));
    let (status, rows) = sql("SELECT title, bars FROM scores").await;
    assert_eq!(status, StatusCode::OK, "{rows}");
    assert_eq!(
        (&rows["columns"], &rows["numbers"], &rows["is_all"]),
        (&json!(["title", "bars"]), &json!([false, true]), &json!(true))
    );
    for refused in ["DELETE FROM scores", "SELECT", "SELECT 1; SELECT 2", "ATTACH 'x' AS y", "PRAGMA user_version = 9"] {
        let (status, said) = sql(refused).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{refused}: {said}");
    }
}

#[tokio::test]
async fn scores_are_laid_side_by_side() {
    let folder = Folder::new("compare");
    let desk = folder.desk();
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let demo = done(&desk, &job).await;
    // The same piece without the notes of its tenor trombones is another score.
    let text = include_str!("../../../demo/lifeboat_overture.musicxml");
    let other = thinner(text);
    let (status, job) =
        told(&desk, request(Method::POST, "/api/scores?name=thin.musicxml").body(Body::from(other)).unwrap()).await;
    assert_eq!(status, StatusCode::ACCEPTED, "{job}");
    let thin = done(&desk, &job).await;
    let path = format!("/api/compare?a={demo}&b={thin}");
    let (status, measuring) = get(&desk, &path).await;
    assert_eq!((status, &measuring["done"], &measuring["total"]), (StatusCode::ACCEPTED, &json!(1), &json!(2)), "{measuring}");
    let (status, found) = get(&desk, &path).await;
    assert_eq!(status, StatusCode::OK, "{found}");
    assert_eq!(
        found["a"]["scores"][0]["bars"].as_array().unwrap().len(),
        found["a"]["scores"][0]["map"][0]["roles"].as_array().unwrap().len()
    );
    // demo/planted: sections begin at A, B, C ...; families have their registers beside each other.
    let marks = |side: &str| found[side]["scores"][0]["rehearsal"].clone();
    assert_eq!((&marks("a")[0]["text"], marks("a")), (&json!("A"), marks("b")));
    assert!(found["a"]["scores"][0]["register"].as_array().unwrap().iter().any(|band| band["family"] == "brass"));
    let rows = found["rows"].as_array().unwrap();
    assert_eq!(found["same_piece"], true);
    let silent =
        found["changes"].as_array().unwrap().iter().find(|change| change["text"] == "Trombone 1.2, is silent now").unwrap();
    // demo/planted/tuttis.csv: the first bar of the brass together is 35.
    assert!(silent["b"]["text"].as_str().unwrap().starts_with("35"), "{silent}");
    let presence = rows.iter().find(|row| row["measure"] == "presence" && row["bodies"] == "trombones").unwrap();
    assert!(presence["a"].as_f64().unwrap() > presence["b"].as_f64().unwrap(), "{presence}");
    assert_eq!(presence["a_shown"][0]["score"], demo);
    // With itself nothing differs.
    let (_, same) = get(&desk, &format!("/api/compare?a={demo}&b={demo}")).await;
    assert_eq!(same["clear"], 0);
    for (query, expected) in [
        ("a=1", StatusCode::BAD_REQUEST),
        ("a=&b=1", StatusCode::UNPROCESSABLE_ENTITY),
        ("a=1&b=99", StatusCode::NOT_FOUND),
        ("a=1&b=2&group=bagpipes", StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        assert_eq!(get(&desk, &format!("/api/compare?{query}")).await.0, expected, "{query}");
    }
}

/// Notes of one's own stand where their music is, also when the score is saved with other bars, or by another program while the desk is closed.
#[tokio::test]
async fn notes_move_with_their_music() {
    let folder = Folder::new("moving");
    let desk = folder.desk();
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let score = done(&desk, &job).await;
    let remark = |first: u32, last: u32, text: &str| json!({ "text": text, "first_bar": first, "last_bar": last, "printed_bars": "?", "part": "" });
    for (first, last, text) in [(2, 3, "before"), (35, 45, "the first tutti"), (51, 66, "the second theme")] {
        let (status, own) = post(&desk, &format!("/api/scores/{score}/remarks"), remark(first, last, text)).await;
        assert_eq!(status, StatusCode::OK, "{own}");
    }
    // Bars 10 to 14 and 51 to 66 are taken out of every part.
    let file = folder.0.join("library-scores/lifeboat_overture.musicxml");
    let text = std::fs::read_to_string(&file).unwrap();
    let mut cut = String::new();
    for (place, piece) in text.split("<measure ").enumerate() {
        let number = piece.split("number=\"").nth(1).and_then(|rest| rest.split('"').next()?.parse::<u32>().ok());
        if place > 0 && number.is_some_and(|bar| (10..=14).contains(&bar) || (51..=66).contains(&bar)) {
            // What follows the bar (the end of its part) stays.
            cut.push_str(piece.split_once("</measure>").unwrap().1);
            continue;
        }
        cut.push_str(if place > 0 { "<measure " } else { "" });
        cut.push_str(piece);
    }
    std::fs::write(&file, cut).unwrap();
    let desk = folder.desk();
    let (_, job) = post(&desk, &format!("/api/scores/{score}"), Value::Null).await;
    assert_eq!(done(&desk, &job).await, score);
    let (_, own) = get(&desk, &format!("/api/scores/{score}/notes")).await;
    let told: Vec<(Value, bool)> =
        own["remarks"].as_array().unwrap().iter().map(|one| (one["bars"].clone(), one["is_lost"] == true)).collect();
    assert_eq!(told, [(json!([2, 3]), false), (json!([30, 40]), false), (json!([51, 66]), true)], "{own}");
    assert_eq!(own["remarks"][1]["printed_bars"], "35\u{2013}45", "bars keep the numbers that are printed");
    // One taken away is tied to nothing any more.
    let away = request(Method::DELETE, &format!("/api/scores/{score}/remarks/{}", own["remarks"][2]["remark"]));
    assert_eq!(told_of(&desk, away).await, StatusCode::OK);
    let anchors = std::fs::read_to_string(folder.0.join(format!("library-notes/{score}.corrections.json"))).unwrap();
    assert_eq!(anchors.matches("a note of one's own").count(), 2);
}

async fn told_of(desk: &Router, request: axum::http::request::Builder) -> StatusCode {
    told(desk, request.body(Body::empty()).unwrap()).await.0
}

/// A saved profile stands on a side like scores, and goes when it is thrown away.
#[tokio::test]
async fn saved_profiles_stand_on_a_side() {
    let folder = Folder::new("profiles");
    let desk = folder.desk();
    let (_, job) = post(&desk, "/api/demo", Value::Null).await;
    let demo = done(&desk, &job).await;
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    let study = ripieno_study::analyse_file(&path, &Limits::default()).unwrap();
    let mut profile = study.profile(true);
    profile.name = "Harbour overtures".to_owned();
    let add = |body: String| request(Method::POST, "/api/profiles?name=..%2Fharbour.json").body(Body::from(body)).unwrap();
    let (status, kept) = told(&desk, add(profile.to_json())).await;
    assert_eq!((status, &kept["name"], &kept["works"]), (StatusCode::CREATED, &json!("Harbour overtures"), &json!(1)), "{kept}");
    for wrong in ["", "{}", "[1]", "not json"] {
        let (status, said) = told(&desk, add(wrong.to_owned())).await;
        assert!(status == StatusCode::UNPROCESSABLE_ENTITY && !said["message"].as_str().unwrap().is_empty(), "{wrong}: {said}");
    }
    // Also for the next desk on this library.
    let desk = folder.desk();
    assert_eq!(get(&desk, "/api/profiles").await.1, json!([kept]));
    let (status, found) = get(&desk, &format!("/api/compare?a={demo}&b=p{}", kept["profile"])).await;
    assert_eq!(status, StatusCode::OK, "{found}");
    assert_eq!((&found["b"]["profiles"], found["b"]["scores"].as_array().unwrap().len()), (&json!([kept]), 0));
    // The same practice on both sides: nothing stands clear of noise, and bars of the profile are told by the score's name.
    assert_eq!((&found["b"]["works"], &found["clear"]), (&json!(1), &json!(0)));
    let shown = found["rows"].as_array().unwrap().iter().flat_map(|row| row["b_shown"].as_array().unwrap());
    assert!(shown.clone().all(|one| one["score"] == 0 && one["title"] == "The Boat Goes Out"));
    for wrong in ["p99", "p", "px", "p1.p2.p3.p4"] {
        assert!(get(&desk, &format!("/api/compare?a={demo}&b={wrong}")).await.0.is_client_error(), "{wrong}");
    }
    let number = &kept["profile"];
    assert_eq!(told_of(&desk, request(Method::DELETE, &format!("/api/profiles/{number}"))).await, StatusCode::NO_CONTENT);
    assert_eq!(told_of(&desk, request(Method::DELETE, &format!("/api/profiles/{number}"))).await, StatusCode::NOT_FOUND);
    let folder_of = folder.0.join("library-profiles");
    let left = || std::fs::read_dir(&folder_of).unwrap().flatten().filter(|file| file.file_name() != "last").count();
    assert_eq!(left(), 0);
    // Its number is never given again, by no desk: addresses and drafts that name it mean the one that is gone.
    let desk = folder.desk();
    let (_, next) = told(&desk, add(profile.to_json())).await;
    assert!(next["profile"].as_i64() > number.as_i64(), "{next} after {number}");
    assert!(get(&desk, &format!("/api/compare?a={demo}&b=p{number}")).await.0.is_client_error());
    // What has lost the small file beside it is listed and goes too; it counts among those kept.
    std::fs::remove_file(folder_of.join(format!("{}.about", next["profile"]))).unwrap();
    std::fs::write(folder_of.join("7.json"), "not a profile").unwrap();
    let (_, listed) = get(&desk, "/api/profiles").await;
    assert_eq!(listed[0], next, "{listed}");
    assert!(listed[1]["profile"] == 7 && listed[1]["name"].as_str().unwrap().contains("cannot be read"), "{listed}");
    for number in [next["profile"].as_i64().unwrap(), 7] {
        assert_eq!(told_of(&desk, request(Method::DELETE, &format!("/api/profiles/{number}"))).await, StatusCode::NO_CONTENT);
    }
    assert_eq!(left(), 0);
}

/// The score with rests for the notes of its trombones.
fn thinner(text: &str) -> String {
    let (_, of_trombone) = text.split_once("<part-name>Trombone 1.2</part-name>").unwrap();
    assert!(of_trombone.contains("<part id="));
    let before = &text[..text.len() - of_trombone.len()];
    let id = before.rsplit_once("<score-part id=\"").unwrap().1.split('"').next().unwrap();
    let begin = text.find(&format!("<part id=\"{id}\">")).unwrap();
    let end = begin + text[begin..].find("</part>").unwrap();
    let mut part = text[begin..end].to_owned();
    while let Some(from) = part.find("<pitch>") {
        let to = from + part[from..].find("</pitch>").unwrap() + "</pitch>".len();
        part.replace_range(from..to, "<rest/>");
    }
    format!("{}{}{}", &text[..begin], part.replace("<chord/>", ""), &text[end..])
}
