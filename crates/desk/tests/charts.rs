//! Charts on the server: begun, laid over, taken back, studied; and what is refused.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)] // a test fails by panicking

mod common;

use axum::Router;
use axum::body::Body;
use axum::http::{Method, StatusCode, header};
use common::{Folder, PORT, request, told};
use serde_json::{Value, json};

async fn ask(desk: &Router, method: Method, path: &str, body: Option<Value>) -> (StatusCode, Value) {
    let request = request(method, path).header(header::ORIGIN, format!("http://127.0.0.1:{PORT}"));
    let body = body.map_or_else(Body::empty, |body| Body::from(body.to_string()));
    told(desk, request.header(header::CONTENT_TYPE, "application/json").body(body).unwrap()).await
}

fn wanted() -> Value {
    json!({ "title": "Quay", "composer": "Nobody", "parts": ["Flute 1.2", "Horn 1.2", "Horn 3.4", "Violin I"], "bars": 12, "metre": "3/4", "upbeat": "1" })
}

async fn begun(desk: &Router) -> i64 {
    let (status, answer) = ask(desk, Method::POST, "/api/charts", Some(wanted())).await;
    assert_eq!(status, StatusCode::CREATED, "{answer}");
    answer["score"].as_i64().unwrap()
}

fn laid(state: &Value, parts: &[usize], first: u32, last: u32, role: &str) -> Option<Value> {
    Some(json!({ "state": state, "parts": parts, "first": first, "last": last, "roles": [role], "dynamic": "mf", "layer": "a" }))
}

#[tokio::test]
async fn a_chart_is_made_action_by_action_and_taken_back() {
    let folder = Folder::new("made");
    let desk = folder.desk();
    let score = begun(&desk).await;
    let path = format!("/api/scores/{score}/chart");
    let (status, empty) = ask(&desk, Method::GET, &path, None).await;
    assert_eq!(status, StatusCode::OK, "{empty}");
    assert_eq!(empty["view"]["bars"].as_array().unwrap().len(), 13, "twelve bars and an upbeat");
    assert_eq!((&empty["view"]["bars"][0]["label"], &empty["view"]["bars"][0]["length"]), (&json!("0"), &json!(1.0)));
    assert_eq!((&empty["view"]["chart"], &empty["rows"]), (&json!(true), &json!([])));

    let rows = format!("{path}/rows");
    let (status, one) = ask(&desk, Method::POST, &rows, laid(&empty["state"], &[1, 2], 1, 8, "harmony")).await;
    assert_eq!(status, StatusCode::OK, "{one}");
    assert_eq!(
        one["rows"],
        json!([{ "who": "Horn 1.2, Horn 3.4", "bars": "1-8", "roles": ["harmony"], "layer": "a", "dynamic": "mf", "more": "" }])
    );
    let (_, two) = ask(&desk, Method::POST, &rows, laid(&one["state"], &[2], 3, 4, "melody")).await;
    let told: Vec<(&str, &str)> =
        two["rows"].as_array().unwrap().iter().map(|row| (row["who"].as_str().unwrap(), row["bars"].as_str().unwrap())).collect();
    assert_eq!(told, [("Horn 1.2", "1-8"), ("Horn 3.4", "1-2, 5-8"), ("Horn 3.4", "3-4")]);
    assert_eq!(two["view"]["melody"].as_array().unwrap().len(), 1);

    // What another window did in between is not lost.
    let (status, _) = ask(&desk, Method::POST, &rows, laid(&one["state"], &[0], 1, 1, "melody")).await;
    assert_eq!(status, StatusCode::CONFLICT);
    let back = json!({ "state": two["state"], "text": one["text"] });
    let (status, again) = ask(&desk, Method::PUT, &path, Some(back)).await;
    assert_eq!((status, &again["rows"]), (StatusCode::OK, &one["rows"]));

    // The file holds it: another desk on the same library sees the same, and the question is answered.
    let other = folder.desk();
    let (_, kept) = ask(&other, Method::GET, &path, None).await;
    assert_eq!(kept["text"], one["text"]);
    let (status, answer) =
        ask(&other, Method::GET, &format!("/api/scores/{score}/ask?question=horns%20have%20harmony"), None).await;
    assert_eq!(status, StatusCode::OK, "{answer}");
    assert!(answer.to_string().contains("1–8"), "{answer}");
}

#[tokio::test]
async fn what_cannot_be_is_refused_in_words() {
    let folder = Folder::new("refused");
    let desk = folder.desk();
    let score = begun(&desk).await;
    let path = format!("/api/scores/{score}/chart");
    let (_, chart) = ask(&desk, Method::GET, &path, None).await;
    let rows = format!("{path}/rows");
    for (body, words) in [
        (laid(&chart["state"], &[9], 1, 2, "melody"), "the chart has no such part"),
        (laid(&chart["state"], &[], 1, 2, "melody"), "the chart has no such part"),
        (laid(&chart["state"], &[0], 1, 99, "melody"), "the chart has no such bars"),
        (laid(&chart["state"], &[0], 1, 2, "drone"), "“drone” is no role"),
    ] {
        let (status, answer) = ask(&desk, Method::POST, &rows, body).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(answer["message"].as_str().unwrap().contains(words), "{answer}");
    }
    let wrong = json!({ "state": chart["state"], "text": chart["text"].as_str().unwrap().replace("Violin I", "Frobnicator") });
    let (status, answer) = ask(&desk, Method::PUT, &path, Some(wrong)).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        answer["message"].as_str().unwrap().contains("line") && answer["message"].as_str().unwrap().contains("no instrument"),
        "{answer}"
    );
    for (field, value, words) in [
        ("parts", json!([]), "no line-up"),
        ("parts", json!(["Frobnicator"]), "no instrument"),
        ("bars", json!(0), "bars"),
        ("metre", json!("4/0"), "no metre"),
        ("upbeat", json!("x"), "no length of an upbeat"),
    ] {
        let mut body = wanted();
        body[field] = value;
        let (status, answer) = ask(&desk, Method::POST, "/api/charts", Some(body)).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(answer["message"].as_str().unwrap().contains(words), "{answer}");
    }
    let (status, _) = ask(&desk, Method::GET, "/api/scores/77/chart", None).await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    // A chart cannot be weighed.
    let balance = format!("/api/scores/{score}/balance?revision={}&place=hall", chart["view"]["revision"]);
    let (status, answer) = ask(&desk, Method::GET, &balance, None).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{answer}");
    assert!(answer["message"].as_str().unwrap().contains("holds no notes"), "{answer}");
    // Roles of a chart are no matter of corrections.
    let correction = json!({ "revision": chart["view"]["revision"], "spans": [0], "change": "set-role", "roles": ["bass"] });
    let (status, answer) = ask(&desk, Method::POST, &format!("/api/scores/{score}/corrections"), Some(correction)).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{answer}");
}
