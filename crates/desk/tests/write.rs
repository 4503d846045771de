//! Writing from outside: a sketch becomes proposals, objections and a delivery; drafts survive; what is wrong is said in a sentence.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)] // a test fails by panicking

mod common;

use std::collections::BTreeSet;
use std::io::{Cursor, Read};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::http::{Method, StatusCode, header};
use common::{Folder, bytes, request};
use ripieno_casting::{Habits, Lineup, Options, Plan, Sketch, cast};
use ripieno_formats::{Limits, read};
use serde_json::{Value, json};

const SKETCH: &[u8] = include_bytes!("../../../demo/sketch_second_theme.musicxml");
const LINEUP: &str = include_str!("../../../demo/lineups/lifeboat_brass.toml");

async fn raw(desk: &Router, method: Method, path: &str, kind: &str, body: impl Into<Body>) -> (StatusCode, Vec<u8>) {
    bytes(desk, request(method, path).header(header::CONTENT_TYPE, kind).body(body.into()).unwrap()).await
}

async fn told(desk: &Router, method: Method, path: &str, body: Value) -> (StatusCode, Value) {
    let request = request(method, path).header(header::CONTENT_TYPE, "application/json");
    common::told(desk, request.body(Body::from(body.to_string())).unwrap()).await
}

async fn get(desk: &Router, path: &str) -> (StatusCode, Value) {
    told(desk, Method::GET, path, Value::Null).await
}

async fn ended(desk: &Router, job: &Value) -> Value {
    for _ in 0..2400 {
        let (_, state) = get(desk, &format!("/api/jobs/{}", job["job"])).await;
        if matches!(state["stage"].as_str(), Some("done" | "failed" | "cancelled")) {
            return state;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("the job does not end");
}

fn demo_file() -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml")
}

async fn demo(desk: &Router) -> Value {
    let (status, draft) = told(desk, Method::POST, "/api/drafts/demo", Value::Null).await;
    assert_eq!(status, StatusCode::CREATED, "{draft}");
    draft
}

async fn cast_on(desk: &Router, draft: &Value, count: usize) -> Value {
    let path = format!("/api/drafts/{}", draft["draft"]);
    let (status, job) = told(desk, Method::POST, &format!("{path}/cast"), json!({ "count": count })).await;
    assert_eq!(status, StatusCode::ACCEPTED, "{job}");
    assert_eq!(ended(desk, &job).await["stage"], "done");
    get(desk, &path).await.1
}

/// Tasks of a phrase as (section, role), in order.
fn tasks(phrase: &Value) -> Vec<(String, String)> {
    let word = |value: &Value| value.as_str().unwrap().to_owned();
    phrase["cells"].as_array().unwrap().iter().map(|cell| (word(&cell["task"]["section"]), word(&cell["task"]["role"]))).collect()
}

#[tokio::test]
async fn the_page_gets_what_the_command_writes() {
    let folder = Folder::new("same");
    let desk = folder.desk();
    let draft = demo(&desk).await;
    let roles: Vec<&str> = draft["staves"].as_array().unwrap().iter().map(|staff| staff["role"].as_str().unwrap()).collect();
    // Names of the staves in demo/sketch_second_theme.musicxml.
    assert_eq!(roles, ["melody", "answer", "figure", "chords", "bass"]);
    let draft = cast_on(&desk, &draft, 3).await;
    let proposals = draft["proposals"].as_array().unwrap();
    assert_eq!(proposals.len(), 3);
    // As `ripieno cast` does it: the same sketch, line-up, plan and habits.
    let reading = read("sketch.musicxml", SKETCH, &Limits::default()).unwrap();
    let sketch = Sketch::by_names(reading.score).unwrap();
    let lineup = Lineup::from_toml("line-up", LINEUP).unwrap();
    let wanted = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options { seed: 1, ..Options::default() });
    let first = &proposals[0];
    for (phrase, planned) in first["phrases"].as_array().unwrap().iter().zip(&wanted.plan.phrases) {
        let expected: Vec<(String, String)> = planned
            .tasks
            .iter()
            .map(|task| {
                let role = task.strand.map_or("silence", |strand| sketch.strands[strand].name.as_str());
                (lineup.sections[task.section].name.clone(), role.to_owned())
            })
            .collect();
        assert_eq!(tasks(phrase), expected);
    }
    for criterion in first["criteria"].as_array().unwrap() {
        let value = wanted.criteria.get(criterion["name"].as_str().unwrap()).unwrap();
        assert!((criterion["value"].as_f64().unwrap() - value).abs() < 1e-3, "{criterion}");
    }
    let distinct: BTreeSet<String> = proposals.iter().map(|one| one["phrases"].to_string()).collect();
    assert_eq!(distinct.len(), 3, "three proposals are three");
    // Each is a score like any other: engraved, heard, looked through.
    for proposal in proposals {
        let score = &proposal["score"];
        let (status, sound) = get(&desk, &format!("/api/scores/{score}/sound")).await;
        assert_eq!(status, StatusCode::OK, "{sound}");
        assert_eq!(sound["bars"].as_array().unwrap().len(), draft["bars"].as_array().unwrap().len());
        let (status, excerpt) = get(&desk, &format!("/api/scores/{score}/excerpt?first=0&last=3")).await;
        assert_eq!(status, StatusCode::OK, "{excerpt}");
        let (status, found) = get(&desk, &format!("/api/scores/{score}/objections?level=amateur")).await;
        assert_eq!(status, StatusCode::OK, "{found}");
        assert!(found["caution"].as_str().unwrap().contains("Stop on pain"));
    }
}

#[tokio::test]
async fn what_is_set_stays_and_one_phrase_is_cast_again() {
    let folder = Folder::new("locks");
    let desk = folder.desk();
    let draft = cast_on(&desk, &demo(&desk).await, 1).await;
    let path = format!("/api/drafts/{}", draft["draft"]);
    let mut plan = draft["plan"].clone();
    let group = &draft["groups"][0];
    plan[0]["tasks"] = json!([{ "section": group["section"], "players": group["players"], "role": "silence" }]);
    let (status, changed) = told(&desk, Method::PUT, &path, json!({ "plan": plan })).await;
    assert_eq!(status, StatusCode::OK, "{changed}");
    assert_eq!(changed["proposals"][0]["changed"], json!([0]));
    let (status, again) = told(&desk, Method::POST, &format!("{path}/again"), json!({ "proposal": 1, "phrases": [0] })).await;
    assert_eq!(status, StatusCode::OK, "{again}");
    let (before, after) = (&draft["proposals"][0]["phrases"], &again["proposals"][0]["phrases"]);
    let mine = tasks(&after[0]).into_iter().find(|(section, _)| group["section"] == section.as_str()).unwrap();
    assert_eq!(mine.1, "silence");
    for phrase in 1..before.as_array().unwrap().len() {
        assert_eq!(before[phrase], after[phrase], "phrases not asked for stay");
    }
    assert_eq!(again["proposals"][0]["changed"], json!([]));
    // Taken back and made again, also by the next desk on this library.
    let desk = folder.desk();
    let (_, kept) = get(&desk, &path).await;
    assert_eq!((&kept["plan"], &kept["proposals"][0]["phrases"]), (&again["plan"], after));
    let (_, undone) = told(&desk, Method::POST, &format!("{path}/undo"), Value::Null).await;
    assert_eq!(undone["plan"], draft["plan"]);
    let (_, redone) = told(&desk, Method::POST, &format!("{path}/redo"), Value::Null).await;
    assert_eq!(redone["plan"], again["plan"]);
    assert_eq!(told(&desk, Method::POST, &format!("{path}/redo"), Value::Null).await.0, StatusCode::CONFLICT);
    // And a phrase can still be cast again there: all others stay note for note.
    let (status, third) = told(&desk, Method::POST, &format!("{path}/again"), json!({ "proposal": 1, "phrases": [1] })).await;
    assert_eq!(status, StatusCode::OK, "{third}");
    assert_eq!(third["proposals"][0]["phrases"][0], after[0]);
}

#[tokio::test]
async fn line_up_and_plan_go_out_and_come_back_as_text() {
    let folder = Folder::new("text");
    let desk = folder.desk();
    let draft = cast_on(&desk, &demo(&desk).await, 1).await;
    let path = format!("/api/drafts/{}", draft["draft"]);
    let (_, chosen) = told(&desk, Method::POST, &format!("{path}/lineup?id=brass-quintet"), Value::Null).await;
    assert_eq!((&chosen["people"], &chosen["proposals"][0]["is_old"]), (&json!(5), &json!(true)));
    let (_, text) = raw(&desk, Method::GET, &format!("{path}/lineup.toml"), "text/plain", "").await;
    let (status, read) = raw(&desk, Method::PUT, &format!("{path}/lineup.toml"), "application/toml", text.clone()).await;
    assert_eq!(status, StatusCode::OK, "{}", String::from_utf8_lossy(&read));
    assert_eq!(serde_json::from_slice::<Value>(&read).unwrap()["lineup"], chosen["lineup"]);
    let mut plan = chosen["plan"].clone();
    plan[0]["tasks"] = json!([{ "section": "Tuba", "players": [1], "role": "Bass", "octave": -1, "dynamic": "mf" }]);
    let (_, set) = told(&desk, Method::PUT, &path, json!({ "plan": plan })).await;
    let (_, text) = raw(&desk, Method::GET, &format!("{path}/plan.toml"), "text/plain", "").await;
    let (status, read) = raw(&desk, Method::PUT, &format!("{path}/plan.toml"), "application/toml", text).await;
    let read: Value = serde_json::from_slice(&read).unwrap();
    assert_eq!((status, &read["plan"][0]["tasks"][0]["octave"]), (StatusCode::OK, &json!(-1)), "{read}");
    assert_eq!(read["plan"].as_array().unwrap().len(), set["plan"].as_array().unwrap().len());
    // What is wrong is told in one sentence, and nothing is changed by it.
    for (what, body, expected) in [
        ("lineup.toml", "[[section]]\nname = \"Zonk\"", "Zonk"),
        ("lineup.toml", "name = 3", "line"),
        ("plan.toml", "[[phrase]]\nbars = \"1-900\"", "no bar"),
    ] {
        let (status, said) = raw(&desk, Method::PUT, &format!("{path}/{what}"), "application/toml", body).await;
        let said = String::from_utf8(said).unwrap();
        assert!(status == StatusCode::UNPROCESSABLE_ENTITY && said.contains(expected), "{what}: {status} {said}");
    }
    let wrong = json!({ "plan": [{ "first": 0, "last": 0, "tasks": [{ "section": "Tuba", "players": [2], "role": "Bass" }] }] });
    assert_eq!(told(&desk, Method::PUT, &path, wrong).await.0, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(get(&desk, &path).await.1["plan"], read["plan"]);
}

#[tokio::test]
async fn an_instrument_to_take_up_is_kept() {
    let folder = Folder::new("doubles");
    let desk = folder.desk();
    let draft = demo(&desk).await;
    let path = format!("/api/drafts/{}", draft["draft"]);
    let lineup = "[[section]]\nname = \"Flutes\"\nplayers = 2\ninstruments = [{ player = 2, doubles = [\"Piccolo\"] }]\n\n\
                  [[section]]\nname = \"Trombones\"\nplayers = 2\n\n[[section]]\nname = \"Tuba\"\n";
    let put = async |what: &str, text: String| -> Value {
        let (status, said) = raw(&desk, Method::PUT, &format!("{path}/{what}"), "application/toml", text).await;
        assert_eq!(status, StatusCode::OK, "{}", String::from_utf8_lossy(&said));
        serde_json::from_slice(&said).unwrap()
    };
    put("lineup.toml", lineup.to_owned()).await;
    let (first, last) = (draft["bars"][0].as_str().unwrap(), draft["bars"][3].as_str().unwrap());
    let plan = format!(
        "[[phrase]]\nbars = \"{first}-{last}\"\nfill = true\n\n[[phrase.task]]\nsection = \"Flutes\"\nplayers = [2]\n\
         instrument = \"Piccolo\"\nrole = \"Melody\"\n"
    );
    let set = put("plan.toml", plan).await;
    assert_eq!(set["plan"][0]["tasks"][0]["instrument"], "piccolo");
    let (_, out) = raw(&desk, Method::GET, &format!("{path}/plan.toml"), "text/plain", "").await;
    assert!(String::from_utf8(out).unwrap().contains("instrument = \"piccolo\""));
    let made = cast_on(&desk, &set, 1).await;
    let cells = made["proposals"][0]["phrases"][0]["cells"].as_array().unwrap();
    assert!(cells.iter().any(|cell| cell["task"]["instrument"] == "piccolo"), "{cells:?}");
    // Where nobody has it any more the cell is left open, and told.
    let left = put("lineup.toml", lineup.replace("instruments = [{ player = 2, doubles = [\"Piccolo\"] }]\n", "")).await;
    assert_eq!(left["plan"][0]["tasks"], json!([]), "{left}");
    let mut wrong = set["plan"].clone();
    wrong[0]["tasks"][0]["instrument"] = json!("Piccolo");
    let (status, said) = told(&desk, Method::PUT, &path, json!({ "plan": wrong })).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && said["message"].as_str().unwrap().contains("has “Piccolo”"), "{said}");
}

#[tokio::test]
async fn a_delivery_holds_what_belongs_to_it() {
    let folder = Folder::new("deliver");
    let desk = folder.desk();
    let draft = cast_on(&desk, &demo(&desk).await, 1).await;
    let score = &draft["proposals"][0]["score"];
    let path = format!("/api/scores/{score}/delivery");
    assert_eq!(raw(&desk, Method::GET, &path, "text/plain", "").await.0, StatusCode::NOT_FOUND);
    let (status, job) = told(&desk, Method::POST, &path, json!({ "sound": false })).await;
    assert_eq!(status, StatusCode::ACCEPTED, "{job}");
    assert_eq!(told(&desk, Method::POST, &path, json!({})).await.0, StatusCode::CONFLICT, "one at a time");
    let state = ended(&desk, &job).await;
    assert_eq!(state["stage"], "done", "{state}");
    let (status, bytes) = raw(&desk, Method::GET, &path, "text/plain", "").await;
    assert_eq!(status, StatusCode::OK);
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let names: Vec<String> = zip.file_names().map(|name| name.unwrap().into_owned()).collect();
    let parts = names.iter().filter(|name| name.contains("/parts/") && name.ends_with(".musicxml")).count();
    assert_eq!(parts, draft["people"].as_u64().unwrap() as usize, "{names:?}");
    for wanted in
        ["score/score.musicxml", "score/score at concert pitch.musicxml", "score/score.mid", "cover list.txt", "proof list.csv"]
    {
        let name = names.iter().find(|name| name.ends_with(wanted)).unwrap_or_else(|| panic!("{wanted}: {names:?}")).clone();
        assert!(!name.contains("..") && !name.starts_with('/'));
        let mut text = Vec::new();
        zip.by_name(&name).unwrap().read_to_end(&mut text).unwrap();
        assert!(!text.is_empty(), "{wanted}");
        if wanted == "score/score.musicxml" {
            let reading = read("score.musicxml", &text, &Limits::default()).unwrap();
            assert_eq!(reading.score.bars.len(), draft["bars"].as_array().unwrap().len());
            let (title, lineup) = (draft["title"].as_str().unwrap(), draft["lineup"]["name"].as_str().unwrap());
            assert_eq!(reading.score.about.title(), format!("{title}, for {lineup}"), "told from its source");
        }
        if wanted == "proof list.csv" {
            // As `ripieno cast --deliver` writes it: also what casting estimates and nobody objects to.
            let reading = read("sketch.musicxml", SKETCH, &Limits::default()).unwrap();
            let sketch = Sketch::by_names(reading.score).unwrap();
            let lineup = Lineup::from_toml("line-up", LINEUP).unwrap();
            let made = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options { seed: 1, ..Options::default() });
            let list = String::from_utf8(text).unwrap();
            assert!(made.covered.iter().all(|one| list.contains(&one.named(&sketch)) && list.contains(one.remedy())), "{list}");
        }
    }
    // What is planned otherwise since is not in it, which its proof list says.
    let mut plan = draft["plan"].clone();
    let group = &draft["groups"][0];
    plan[1]["tasks"] = json!([{ "section": group["section"], "players": group["players"], "role": "silence" }]);
    let (_, changed) = told(&desk, Method::PUT, &format!("/api/drafts/{}", draft["draft"]), json!({ "plan": plan })).await;
    assert_eq!(changed["proposals"][0]["changed"], json!([1]));
    let (_, job) = told(&desk, Method::POST, &path, json!({})).await;
    assert_eq!(ended(&desk, &job).await["stage"], "done");
    let (_, bytes) = raw(&desk, Method::GET, &path, "text/plain", "").await;
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let list = zip.file_names().map(|name| name.unwrap().into_owned()).find(|name| name.ends_with("proof list.csv")).unwrap();
    let mut text = String::new();
    zip.by_name(&list).unwrap().read_to_string(&mut text).unwrap();
    let bar = |at: &Value| draft["bars"][at.as_u64().unwrap() as usize].as_str().unwrap().to_owned();
    let bars = format!("{}\u{2013}{}", bar(&plan[1]["first"]), bar(&plan[1]["last"]));
    assert!(text.lines().any(|row| row.contains(&bars) && row.contains("says something else")), "{bars}: {text}");
    told(&desk, Method::POST, &format!("/api/drafts/{}/undo", draft["draft"]), Value::Null).await;
    // Cast again, its old parts are not handed out any more.
    let again = format!("/api/drafts/{}/again", draft["draft"]);
    let (status, said) = told(&desk, Method::POST, &again, json!({ "proposal": 1, "phrases": [0], "seed": 7 })).await;
    assert_eq!(status, StatusCode::OK, "{said}");
    assert_eq!(raw(&desk, Method::GET, &path, "text/plain", "").await.0, StatusCode::NOT_FOUND);
    // On the shelf it is a score like any other.
    let shelve = format!("/api/drafts/{}/shelve", draft["draft"]);
    let (status, job) = told(&desk, Method::POST, &shelve, json!({ "proposal": 1 })).await;
    assert_eq!(status, StatusCode::ACCEPTED, "{job}");
    let state = ended(&desk, &job).await;
    assert!(state["score"].as_i64().is_some_and(|score| score > 0), "{state}");
    let (_, shelf) = get(&desk, "/api/scores").await;
    let titles: Vec<&str> = shelf.as_array().unwrap().iter().map(|card| card["title"].as_str().unwrap()).collect();
    assert!(titles.iter().any(|title| title.ends_with(", proposal 1") && title.contains(", for ")), "{titles:?}");
    assert_eq!(told(&desk, Method::POST, &shelve, json!({ "proposal": 4 })).await.0, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn bars_of_a_score_become_a_sketch_and_a_model() {
    let folder = Folder::new("bars");
    let desk = folder.desk();
    let (_, job) = told(&desk, Method::POST, "/api/demo", Value::Null).await;
    let score = ended(&desk, &job).await["score"].clone();
    // The second theme stands in bars 51 to 66, as in demo/sketch_second_theme.musicxml; the upbeat is bar 0.
    let (status, draft) =
        told(&desk, Method::POST, "/api/drafts/of-bars", json!({ "score": score, "first": 51, "last": 66 })).await;
    assert_eq!(status, StatusCode::CREATED, "{draft}");
    assert_eq!((&draft["bars"][0], &draft["bars"][15], &draft["source"]), (&json!("51"), &json!("66"), &score));
    assert_eq!(draft["has_own_lineup"], true);
    // Those bars by themselves are a score to compare with: as many bars, all parts.
    let (status, job) = told(&desk, Method::POST, &format!("/api/drafts/{}/passage", draft["draft"]), Value::Null).await;
    assert_eq!((status, &draft["has_passage"]), (StatusCode::ACCEPTED, &json!(true)), "{job}");
    let passage = ended(&desk, &job).await["score"].clone();
    let (_, shelf) = get(&desk, "/api/scores").await;
    let card = shelf.as_array().unwrap().iter().find(|card| card["score"] == passage).unwrap();
    assert_eq!((&card["bars"], &card["title"]), (&json!(16), &json!("The Boat Goes Out, bars 51–66")));
    assert_eq!(draft["title"], "The Boat Goes Out, bars 51–66");
    let path = format!("/api/drafts/{}", draft["draft"]);
    let (status, over) = told(&desk, Method::POST, &format!("{path}/model"), json!({ "score": score, "bars": "35-45" })).await;
    assert_eq!(status, StatusCode::OK, "{over}");
    let set: usize = over["plan"].as_array().unwrap().iter().map(|phrase| phrase["tasks"].as_array().unwrap().len()).sum();
    assert!(set > 0, "the passage says what sections do");
    // Filled in as in the score itself.
    let (_, job) = told(&desk, Method::POST, &format!("{path}/cast"), json!({ "count": 1, "like": score })).await;
    assert_eq!(ended(&desk, &job).await["stage"], "done");
    let (_, found) = get(&desk, &format!("/api/scores/{score}/objections")).await;
    assert!(found["rows"].as_array().is_some_and(|rows| !rows.is_empty()), "{found}");
    // Or as in a saved profile, one model at a time.
    let study = ripieno_study::analyse_file(&demo_file(), &Limits::default()).unwrap();
    let profile = study.profile(false).to_json();
    let (status, kept) = raw(&desk, Method::POST, "/api/profiles?name=one.json", "application/octet-stream", profile).await;
    assert_eq!(status, StatusCode::CREATED);
    let kept: Value = serde_json::from_slice(&kept).unwrap();
    let wanted = json!({ "count": 1, "like": score, "like_profile": kept["profile"] });
    assert_eq!(told(&desk, Method::POST, &format!("{path}/cast"), wanted).await.0, StatusCode::UNPROCESSABLE_ENTITY);
    let as_score = get(&desk, &path).await.1["proposals"][0]["phrases"].clone();
    let (_, job) =
        told(&desk, Method::POST, &format!("{path}/cast"), json!({ "count": 1, "like_profile": kept["profile"] })).await;
    assert_eq!(ended(&desk, &job).await["stage"], "done");
    let by_profile = get(&desk, &path).await.1;
    assert_eq!(by_profile["proposals"][0]["phrases"], as_score, "the profile holds the same score");
    assert_eq!(by_profile["proposals"][0]["like_profile"], kept["profile"]);
    let (_, job) = told(&desk, Method::POST, &format!("{path}/cast"), json!({ "count": 1, "like": score })).await;
    assert_eq!(ended(&desk, &job).await["stage"], "done");
    for wrong in [json!({ "score": score, "first": 5, "last": 4 }), json!({ "score": score, "first": 0, "last": 9999 })] {
        assert_eq!(told(&desk, Method::POST, "/api/drafts/of-bars", wrong).await.0, StatusCode::UNPROCESSABLE_ENTITY);
    }
    let nowhere = json!({ "score": 99, "first": 0, "last": 1 });
    assert_eq!(told(&desk, Method::POST, "/api/drafts/of-bars", nowhere).await.0, StatusCode::NOT_FOUND);
    // What was delivered of a score goes with it; what was cast as it does can be cast again, also by the next desk.
    let zip = folder.0.join("library-drafts").join("deliveries").join(format!("{score}.zip"));
    std::fs::create_dir_all(zip.parent().unwrap()).unwrap();
    std::fs::write(&zip, "parts").unwrap();
    let (status, said) = told(&desk, Method::DELETE, &format!("/api/scores/{score}"), Value::Null).await;
    assert!(status == StatusCode::NO_CONTENT && !zip.exists(), "{said}");
    let desk = folder.desk();
    let (status, again) = told(&desk, Method::POST, &format!("{path}/again"), json!({ "proposal": 1, "phrases": [0] })).await;
    assert_eq!(status, StatusCode::OK, "{again}");
}

/// A note that is set stays through whatever is cast again, survives a restart, and is free again on demand.
#[tokio::test]
async fn single_notes_are_set_and_kept() {
    let folder = Folder::new("single");
    let desk = folder.desk();
    let draft = cast_on(&desk, &demo(&desk).await, 1).await;
    let path = format!("/api/drafts/{}", draft["draft"]);
    let score = draft["proposals"][0]["score"].clone();
    let file = |desk: Router| {
        let score = score.clone();
        async move {
            let path = format!("/api/scores/{score}/excerpt/file?first=0&last=15&staves=full&concert=true&form=musicxml");
            let (status, bytes) = raw(&desk, Method::GET, &path, "text/plain", Body::empty()).await;
            assert_eq!(status, StatusCode::OK);
            read("proposal.musicxml", &bytes, &Limits::default()).unwrap().score
        }
    };
    // The first note that has a chord's place: of a player in the middle.
    let before = file(desk.clone()).await;
    let (part, note) = before
        .parts
        .iter()
        .enumerate()
        .filter(|(_, part)| part.name.starts_with("Trombone"))
        .find_map(|(index, part)| part.notes.iter().position(|note| note.bar.0 < 4 && note.plays()).map(|note| (index, note)))
        .expect("a trombone plays in the first phrase");
    let was = before.parts[part].notes[note].pitch().unwrap().semitones();
    let revision = draft["proposals"][0]["revision"].clone();
    let set =
        |by: i32, free: bool| json!({ "proposal": 1, "revision": revision, "part": part, "note": note, "by": by, "free": free });
    let (status, locked) = told(&desk, Method::POST, &format!("{path}/lock"), set(-2, false)).await;
    assert_eq!(status, StatusCode::OK, "{locked}");
    assert_eq!((locked["locks"].as_array().unwrap().len(), &locked["proposals"][0]["changed"]), (1, &json!([0])));
    assert!(locked["locks"][0]["label"].as_str().unwrap().starts_with("Trombone"), "{}", locked["locks"]);
    let (status, again) = told(&desk, Method::POST, &format!("{path}/again"), json!({ "proposal": 1, "phrases": [0] })).await;
    assert_eq!(status, StatusCode::OK, "{again}");
    let key_at = |score: &ripieno_score::Score| {
        let at = (before.parts[part].notes[note].bar, before.parts[part].notes[note].at);
        let found = score.parts[part].notes.iter().find(|note| (note.bar, note.at) == at && note.plays());
        found.map(|note| note.pitch().unwrap().semitones())
    };
    assert_eq!(key_at(&file(desk.clone()).await), Some(was - 2));
    assert_eq!((&again["proposals"][0]["changed"], &again["proposals"][0]["set"]), (&json!([]), &json!([[part, note]])));
    // In another way, and by the next desk, it is still there; casting again there makes the same proposal once more first.
    let desk = folder.desk();
    let wanted = json!({ "proposal": 1, "phrases": [0], "seed": 77 });
    let (status, other) = told(&desk, Method::POST, &format!("{path}/again"), wanted).await;
    assert_eq!(status, StatusCode::OK, "{other}");
    assert_eq!(key_at(&file(desk.clone()).await), Some(was - 2));
    // Proposals made anew keep to it too.
    let renewed = cast_on(&desk, &draft, 1).await;
    assert_eq!((key_at(&file(desk.clone()).await), renewed["proposals"][0]["set"].as_array().unwrap().len()), (Some(was - 2), 1));
    let stale = json!({ "proposal": 1, "revision": other["proposals"][0]["revision"], "part": part, "note": note, "by": 1 });
    // Part and note were counted in the notes of before: of the new ones it would be another that is moved.
    let (status, said) = told(&desk, Method::POST, &format!("{path}/lock"), stale).await;
    assert!(
        status == StatusCode::CONFLICT && said["message"].as_str().unwrap().contains("pick the note again"),
        "{status} {said}"
    );
    assert_eq!(get(&desk, &path).await.1["locks"], renewed["locks"], "nothing was set");
    let revision = renewed["proposals"][0]["revision"].clone();
    let of = |proposal: usize, part: usize, note: usize, by: i32| json!({ "proposal": proposal, "revision": revision, "part": part, "note": note, "by": by });
    for (wrong, expected) in [
        (of(9, 0, 0, 0), StatusCode::NOT_FOUND),
        (of(1, 99, 0, 0), StatusCode::NOT_FOUND),
        (of(1, part, 99999, 0), StatusCode::NOT_FOUND),
        (of(1, part, note, 60), StatusCode::UNPROCESSABLE_ENTITY),
        (of(1, part, note, -200), StatusCode::UNPROCESSABLE_ENTITY),
        (of(1, part, note, i32::MAX), StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        assert_eq!(told(&desk, Method::POST, &format!("{path}/lock"), wrong.clone()).await.0, expected, "{wrong}");
    }
    let heads = renewed["proposals"][0]["set"][0].clone();
    let freed = json!({ "proposal": 1, "revision": revision, "part": heads[0], "note": heads[1], "free": true });
    let (status, free) = told(&desk, Method::POST, &format!("{path}/lock"), freed).await;
    assert_eq!((status, &free["locks"]), (StatusCode::OK, &json!([])), "{free}");
    // Setting is a step like any other.
    let (_, back) = told(&desk, Method::POST, &format!("{path}/undo"), Value::Null).await;
    assert_eq!(back["locks"].as_array().unwrap().len(), 1);
}

/// Where both halves of a body play a note in unison, it is set for both: moved, the body does not fall into two.
#[tokio::test]
async fn a_note_of_a_body_is_set_whole() {
    let folder = Folder::new("body");
    let desk = folder.desk();
    let draft = demo(&desk).await;
    let path = format!("/api/drafts/{}", draft["draft"]);
    let lineup = r#"name = "strings"
[[section]]
name = "Violins I"
players = 12
[[section]]
name = "Violins II"
players = 10
[[section]]
name = "Violas"
players = 8
[[section]]
name = "Violoncellos"
players = 8
[[section]]
name = "Double basses"
players = 6
"#;
    let (status, said) = raw(&desk, Method::PUT, &format!("{path}/lineup.toml"), "application/toml", lineup).await;
    assert_eq!(status, StatusCode::OK, "{}", String::from_utf8_lossy(&said));
    let bars = format!("{}-{}", draft["bars"][0].as_str().unwrap(), draft["bars"][3].as_str().unwrap());
    let plan =
        format!("[[phrase]]\nbars = \"{bars}\"\nfill = true\n\n[[phrase.task]]\nsection = \"Violins I\"\nrole = \"Melody\"\n");
    let (status, said) = raw(&desk, Method::PUT, &format!("{path}/plan.toml"), "application/toml", plan).await;
    assert_eq!(status, StatusCode::OK, "{}", String::from_utf8_lossy(&said));
    let made = cast_on(&desk, &draft, 1).await;
    let score = made["proposals"][0]["score"].clone();
    let written = |desk: Router| {
        let path = format!("/api/scores/{score}/excerpt/file?first=0&last=3&staves=full&concert=true&form=musicxml");
        async move {
            let (_, bytes) = raw(&desk, Method::GET, &path, "text/plain", Body::empty()).await;
            read("proposal.musicxml", &bytes, &Limits::default()).unwrap().score
        }
    };
    let before = written(desk.clone()).await;
    let violins = before.parts.iter().position(|part| part.name.starts_with("Violins I") && !part.name.contains("II")).unwrap();
    let plays = |score: &ripieno_score::Score| -> Vec<_> {
        let of = score.parts[violins].notes.iter().filter(|note| note.plays());
        of.map(|note| (note.bar, note.at, note.pitch().unwrap().semitones())).collect()
    };
    let was = plays(&before);
    assert!(was.windows(2).all(|two| two[0].1 != two[1].1 || two[0].0 != two[1].0), "all play the melody in unison");
    let note = before.parts[violins].notes.iter().position(|note| note.plays()).unwrap();
    let wanted = json!({ "proposal": 1, "revision": made["proposals"][0]["revision"], "part": violins, "note": note, "by": -1 });
    let (status, set) = told(&desk, Method::POST, &format!("{path}/lock"), wanted).await;
    assert_eq!((status, &set["locks"].as_array().unwrap().len()), (StatusCode::OK, &1), "{set}");
    assert!(set["locks"][0]["label"] == "Violins I" && set["said"].as_str().unwrap().starts_with("Violins I: "), "{set}");
    let (status, again) = told(&desk, Method::POST, &format!("{path}/again"), json!({ "proposal": 1, "phrases": [0] })).await;
    assert_eq!(status, StatusCode::OK, "{again}");
    let mut moved = was.clone();
    moved[0].2 -= 1;
    assert_eq!(plays(&written(desk.clone()).await), moved, "one voice as before, with one note moved");
    // Freed for both as well.
    let proposal = &again["proposals"][0];
    assert_eq!(proposal["set"].as_array().unwrap().len(), 1, "{}", proposal["set"]);
    let (part, note) = (&proposal["set"][0][0], &proposal["set"][0][1]);
    let wanted = json!({ "proposal": 1, "revision": proposal["revision"], "part": part, "note": note, "free": true });
    let (status, free) = told(&desk, Method::POST, &format!("{path}/lock"), wanted).await;
    assert_eq!((status, &free["locks"]), (StatusCode::OK, &json!([])), "{free}");
    let step: Value = serde_json::from_slice(
        &std::fs::read(folder.0.join("library-drafts").join(draft["draft"].to_string()).join("draft.json")).unwrap(),
    )
    .unwrap();
    let at = usize::try_from(step["at"].as_u64().unwrap()).unwrap();
    assert_eq!(step["steps"][at]["locks"], json!([]), "neither half is held");
}

/// While a phrase is cast again the draft can be looked at, and what needs it idle is told to wait.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn casting_again_holds_nobody_up() {
    let folder = Folder::new("meanwhile");
    let draft = cast_on(&folder.desk(), &demo(&folder.desk()).await, 1).await;
    // A new desk has to make the whole proposal once more before it casts a phrase again: that takes a while.
    let desk = folder.desk();
    let path = format!("/api/drafts/{}", draft["draft"]);
    get(&desk, &path).await;
    let (asked, at) = (desk.clone(), path.clone());
    let again = tokio::spawn(async move {
        told(&asked, Method::POST, &format!("{at}/again"), json!({ "proposal": 1, "phrases": [0] })).await
    });
    let mut seen = false;
    while !again.is_finished() {
        let (status, now) = get(&desk, &path).await;
        assert_eq!(status, StatusCode::OK);
        if now["job"]["message"] == "casting again" {
            seen = true;
            let (status, said) = told(&desk, Method::POST, &format!("{path}/cast"), json!({ "count": 1 })).await;
            assert!(again.is_finished() || status == StatusCode::CONFLICT, "{said}");
            break;
        }
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
    assert!(seen, "the draft was held all the time");
    let (status, told) = again.await.unwrap();
    assert_eq!((status, &told["job"]), (StatusCode::OK, &Value::Null), "{told}");
}

/// A file whose staves are named by instruments: roles are found, and its own staves can be given them by hand.
#[tokio::test]
async fn staves_without_role_names_are_given_roles_by_hand() {
    let folder = Folder::new("unnamed");
    let desk = folder.desk();
    let text = String::from_utf8(SKETCH.to_vec()).unwrap();
    let mut plain = text;
    for (role, name) in [("Melody", "Violin"), ("Answer", "Oboe"), ("Figure", "Harp"), ("Chords", "Organ"), ("Bass", "Cello")] {
        plain = plain.replace(&format!("<part-name>{role}</part-name>"), &format!("<part-name>{name}</part-name>"));
    }
    let (status, made) = raw(&desk, Method::POST, "/api/drafts?name=plain.musicxml", "application/octet-stream", plain).await;
    assert_eq!(status, StatusCode::CREATED);
    let draft: Value = serde_json::from_slice(&made).unwrap();
    assert_eq!((&draft["has_own_staves"], &draft["uses_own_staves"]), (&json!(true), &json!(false)));
    let path = format!("/api/drafts/{}", draft["draft"]);
    let (status, own) = told(&desk, Method::PUT, &format!("{path}/own-staves"), json!({ "own": true })).await;
    assert_eq!(status, StatusCode::OK, "{own}");
    let staves = own["staves"].as_array().unwrap();
    assert!(staves.len() == 5 && staves[0]["name"].as_str().unwrap().contains("(Violin)"), "{}", own["staves"]);
    let roles = json!({ "roles": ["melody", "answer", "figure", "chords", "bass"] });
    let (status, given) = told(&desk, Method::PUT, &format!("{path}/staves"), roles).await;
    assert_eq!(status, StatusCode::OK, "{given}");
    let names: Vec<&str> = given["staves"].as_array().unwrap().iter().map(|staff| staff["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["Melody (Violin)", "Answer (Oboe)", "Figure (Harp)", "Chords (Organ)", "Bass (Cello)"]);
    // Back to what was found, and again to the staves: both files are still there. A sketch with named staves has nothing to choose.
    for own in [false, true] {
        let (status, now) = told(&desk, Method::PUT, &format!("{path}/own-staves"), json!({ "own": own })).await;
        assert_eq!((status, &now["uses_own_staves"]), (StatusCode::OK, &json!(own)), "{now}");
    }
    // Roles given by hand are those one comes back to, on the own staves and on the reduction, and by the next desk too.
    assert_eq!(get(&desk, &path).await.1["staves"], given["staves"]);
    let (_, reduced) = told(&desk, Method::PUT, &format!("{path}/own-staves"), json!({ "own": false })).await;
    let mut roles: Vec<&str> =
        reduced["staves"].as_array().unwrap().iter().map(|staff| staff["role"].as_str().unwrap()).collect();
    roles[0] = "";
    let (status, fewer) = told(&desk, Method::PUT, &format!("{path}/staves"), json!({ "roles": roles })).await;
    assert_eq!(status, StatusCode::OK, "{fewer}");
    let desk = folder.desk();
    for (own, staves) in [(true, &given["staves"]), (false, &fewer["staves"]), (true, &given["staves"])] {
        let (status, now) = told(&desk, Method::PUT, &format!("{path}/own-staves"), json!({ "own": own })).await;
        assert_eq!((status, &now["staves"]), (StatusCode::OK, staves), "{now}");
    }
    // Nothing lies about that is not asked for any more.
    let folder = folder.0.join("library-drafts").join(draft["draft"].to_string());
    let scores =
        std::fs::read_dir(folder).unwrap().flatten().filter(|file| file.path().extension().is_some_and(|end| end == "musicxml"));
    assert_eq!(scores.count(), 2);
    let named = demo(&desk).await;
    assert_eq!(named["has_own_staves"], false);
    let path = format!("/api/drafts/{}/own-staves", named["draft"]);
    assert_eq!(told(&desk, Method::PUT, &path, json!({ "own": true })).await.0, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn staves_get_other_roles() {
    let folder = Folder::new("staves");
    let desk = folder.desk();
    let draft = demo(&desk).await;
    let path = format!("/api/drafts/{}/staves", draft["draft"]);
    let roles = json!({ "roles": ["melody", "melody", "", "chords", "bass"] });
    let (status, changed) = told(&desk, Method::PUT, &path, roles).await;
    assert_eq!(status, StatusCode::OK, "{changed}");
    let names: Vec<&str> = changed["staves"].as_array().unwrap().iter().map(|staff| staff["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["Melody", "Melody 2", "Left out (Figure)", "Chords", "Bass"]);
    // The draft names the new sketch, so that either both are the old ones or both the new.
    let kept = folder.0.join("library-drafts").join(draft["draft"].to_string());
    let told_of: Value = serde_json::from_slice(&std::fs::read(kept.join("draft.json")).unwrap()).unwrap();
    let file = told_of["sketch"].as_str().unwrap();
    assert!(file != "sketch.musicxml" && kept.join(file).is_file() && !kept.join("sketch.musicxml").exists(), "{file}");
    let desk = folder.desk();
    assert_eq!(get(&desk, &format!("/api/drafts/{}", draft["draft"])).await.1["staves"], changed["staves"]);
    for (roles, expected) in [
        (json!(["", "", "", "", ""]), "at least one"),
        (json!(["melody"]), "5 staves"),
        (json!(["tune", "", "", "", ""]), "no role"),
    ] {
        let (status, said) = told(&desk, Method::PUT, &path, json!({ "roles": roles })).await;
        assert!(said["message"].as_str().unwrap().contains(expected) && status == StatusCode::UNPROCESSABLE_ENTITY, "{said}");
    }
}

#[tokio::test]
async fn a_plan_says_who_is_filled_in() {
    let folder = Folder::new("fill");
    let desk = folder.desk();
    let draft = demo(&desk).await;
    let path = format!("/api/drafts/{}", draft["draft"]);
    assert!(draft["plan"].as_array().unwrap().iter().all(|phrase| phrase["fill"] == true));
    let reading = read("sketch.musicxml", SKETCH, &Limits::default()).unwrap();
    let sketch = Sketch::by_names(reading.score).unwrap();
    let lineup = Lineup::from_toml("line-up", LINEUP).unwrap();
    let (first, last) = (draft["bars"][0].as_str().unwrap(), draft["bars"][3].as_str().unwrap());
    let section = &lineup.sections[0].name;
    for (fill, expected) in [("", false), ("fill = true\n", true)] {
        let text = format!(
            "[[phrase]]\nbars = \"{first}-{last}\"\n{fill}\n[[phrase.task]]\nsection = \"{section}\"\nrole = \"Melody\"\n"
        );
        let (status, set) = raw(&desk, Method::PUT, &format!("{path}/plan.toml"), "application/toml", text.clone()).await;
        let set: Value = serde_json::from_slice(&set).unwrap();
        assert_eq!((status, &set["plan"][0]["fill"]), (StatusCode::OK, &json!(expected)), "{set}");
        let (_, out) = raw(&desk, Method::GET, &format!("{path}/plan.toml"), "text/plain", "").await;
        let out = String::from_utf8(out).unwrap();
        let again = Plan::from_toml("plan", &out, &sketch, &lineup).unwrap();
        assert_eq!(again.phrases[0].fill, expected, "{out}");
        // As `ripieno cast --plan` does it.
        let plan = Plan::from_toml("plan", &text, &sketch, &lineup).unwrap();
        let wanted = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options { seed: 1, ..Options::default() });
        let made = cast_on(&desk, &set, 1).await;
        let phrase = &made["proposals"][0]["phrases"][0];
        assert_eq!(tasks(phrase).len(), wanted.plan.phrases[0].tasks.len(), "{phrase}");
        assert_eq!(tasks(phrase).len() == 1, !expected);
    }
}

#[tokio::test]
async fn a_draft_that_cannot_be_read_is_shown_and_thrown_away() {
    let folder = Folder::new("broken");
    let desk = folder.desk();
    let draft = demo(&desk).await;
    let path = format!("/api/drafts/{}", draft["draft"]);
    // What is refused changes nothing, the title neither.
    let wrong = json!({ "title": "Otherwise", "plan": [{ "first": 9, "last": 2 }] });
    assert_eq!(told(&desk, Method::PUT, &path, wrong).await.0, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(get(&desk, &path).await.1["title"], draft["title"]);
    assert_eq!(get(&desk, "/api/drafts").await.1[0]["trouble"], "");
    let file = folder.0.join("library-drafts").join(draft["draft"].to_string()).join("draft.json");
    std::fs::write(file, "{ half").unwrap();
    let desk = folder.desk();
    let (_, all) = get(&desk, "/api/drafts").await;
    assert!(all[0]["draft"] == draft["draft"] && all[0]["trouble"].as_str().unwrap().contains("cannot be read"), "{all}");
    assert_eq!(told(&desk, Method::DELETE, &path, Value::Null).await.0, StatusCode::NO_CONTENT);
    assert_eq!(get(&desk, "/api/drafts").await.1, json!([]));
}

#[tokio::test]
async fn a_chart_has_no_parts() {
    let folder = Folder::new("chart");
    let desk = folder.desk();
    let wanted =
        json!({ "title": "Quay", "composer": "", "parts": ["Flute 1.2", "Violin I"], "bars": 12, "metre": "3/4", "upbeat": "" });
    let (status, chart) = told(&desk, Method::POST, "/api/charts", wanted).await;
    assert_eq!(status, StatusCode::CREATED, "{chart}");
    let (status, said) = told(&desk, Method::POST, &format!("/api/scores/{}/delivery", chart["score"]), json!({})).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && said["message"].as_str().unwrap().contains("chart"), "{status} {said}");
}

#[tokio::test]
async fn a_job_is_broken_off_and_only_one_is_at_work() {
    let folder = Folder::new("jobs");
    let desk = folder.desk();
    let draft = demo(&desk).await;
    let path = format!("/api/drafts/{}/cast", draft["draft"]);
    let (_, job) = told(&desk, Method::POST, &path, json!({ "count": 3 })).await;
    let (status, said) = told(&desk, Method::POST, &path, json!({ "count": 1 })).await;
    assert_eq!(status, StatusCode::CONFLICT, "{said}");
    let (_, state) = told(&desk, Method::DELETE, &format!("/api/jobs/{}", job["job"]), Value::Null).await;
    assert_eq!(state["stage"], "cancelled");
    let (_, draft) = get(&desk, &format!("/api/drafts/{}", draft["draft"])).await;
    assert_eq!((draft["proposals"].as_array().unwrap().len(), &draft["job"]), (0, &Value::Null));
    let draft = cast_on(&desk, &draft, 2).await;
    assert_eq!(draft["proposals"].as_array().unwrap().len(), 2);
}

#[tokio::test]
async fn nothing_leads_out_of_the_library_and_odd_requests_get_a_sentence() {
    let folder = Folder::new("odd");
    let desk = folder.desk();
    for path in ["/api/drafts/0", "/api/drafts/-1", "/api/drafts/x", "/api/drafts/..%2f..", "/api/drafts/1/plan.toml"] {
        let (status, said) = get(&desk, path).await;
        assert!(status.is_client_error() && !said["message"].as_str().unwrap_or_default().is_empty(), "{path}: {status} {said}");
    }
    for (name, body, expected) in [
        ("..%2F..%2Fescaped.exe", "x", StatusCode::UNPROCESSABLE_ENTITY),
        ("sketch.mid", "not music", StatusCode::UNPROCESSABLE_ENTITY),
        ("empty.musicxml", "", StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        let (status, said) =
            raw(&desk, Method::POST, &format!("/api/drafts?name={name}"), "application/octet-stream", body).await;
        assert_eq!(status, expected, "{name}: {}", String::from_utf8_lossy(&said));
    }
    assert_eq!(get(&desk, "/api/drafts").await.1, json!([]), "what could not be read is no draft");
    let draft = demo(&desk).await;
    let path = format!("/api/drafts/{}", draft["draft"]);
    for (what, body) in [
        ("cast", json!({ "count": 0 })),
        ("cast", json!({ "count": 1, "like": 77 })),
        ("again", json!({ "proposal": 1, "phrases": [0] })),
        ("lineup?id=..%2Fx", json!(null)),
        ("undo", json!(null)),
    ] {
        let (status, said) = told(&desk, Method::POST, &format!("{path}/{what}"), body).await;
        assert!(status.is_client_error() && !said["message"].as_str().unwrap_or_default().is_empty(), "{what}: {status} {said}");
    }
    let (status, _) = told(&desk, Method::DELETE, &path, Value::Null).await;
    assert_eq!(status, StatusCode::NO_CONTENT);
    assert_eq!(get(&desk, &path).await.0, StatusCode::NOT_FOUND);
}
