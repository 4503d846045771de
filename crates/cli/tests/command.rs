//! The command as a user meets it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn ripieno(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ripieno")).args(arguments).output().unwrap()
}

fn demo() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml").display().to_string()
}

/// A folder of this test's own, empty.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn without_arguments_it_says_what_to_do_next_in_five_lines() {
    let output = ripieno(&[]);
    assert!(output.status.success());
    let said = text(&output.stdout);
    assert_eq!(said.lines().count(), 5, "{said}");
    assert!(said.contains("ripieno study"));
}

#[test]
fn studying_leaves_a_report_and_tables_and_the_same_bytes_each_time() {
    let (one, two) = (folder("study-one"), folder("study-two"));
    for out in [&one, &two] {
        let output = ripieno(&["study", &demo(), "--out", &out.display().to_string()]);
        assert!(output.status.success(), "{}", text(&output.stderr));
    }
    let mut names: Vec<_> = std::fs::read_dir(&one).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    names.sort();
    let listed: Vec<_> = names.iter().map(|name| name.to_string_lossy().into_owned()).collect();
    let expected = [
        "README.txt",
        "chords.csv",
        "combinations.csv",
        "doublings.csv",
        "dynamics.csv",
        "findings.csv",
        "keys.csv",
        "layers.csv",
        "melody.csv",
        "moments.csv",
        "noteworthy.csv",
        "parts.csv",
        "practice.csv",
        "presence.csv",
        "register.csv",
        "report.html",
        "roles.csv",
        "roles_by_bar.csv",
        "tables.json",
        "tempo.csv",
        "themes.csv",
        "tutti.csv",
        "ways.csv",
    ];
    assert_eq!(listed, expected);
    for name in names {
        assert_eq!(std::fs::read(one.join(&name)).unwrap(), std::fs::read(two.join(&name)).unwrap(), "{name:?}");
    }
    let report = std::fs::read_to_string(one.join("report.html")).unwrap();
    let asks_the_network = ["src=\"http", "href=\"http", "url(http", "@import"].iter().any(|call| report.contains(call));
    assert!(!asks_the_network, "the report must be self-contained");
    assert!(report.contains("href=\"#bars-"), "figures lead to their bars");
}

#[test]
fn notes_come_with_the_columns_of_the_documentation() {
    let played = text(&ripieno(&["notes", &demo(), "--csv"]).stdout);
    let written = text(&ripieno(&["notes", &demo(), "--csv", "--score-order"]).stdout);
    let header = "file,part,part_index,bar,printed_bar,pass,onset,duration,pitch,spelling,players,dynamic,players_reason";
    assert_eq!(played.lines().next(), Some(header));
    assert!(played.lines().count() > written.lines().count(), "the demo has a repeat");
    let documented = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/tables.md")).unwrap();
    for column in header.split(',') {
        assert!(documented.contains(&format!("| `{column}` |")), "{column} is not in docs/tables.md");
    }
}

/// Every form of `ripieno roles` has the columns its documentation names, and JSON holds the same rows as the tables.
#[test]
fn roles_come_with_the_columns_of_the_documentation() {
    let documented = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/tables.md")).unwrap();
    let mut rows = Vec::new();
    for more in [&[][..], &["--by-bar"], &["--groups"], &["--melody"]] {
        let output = ripieno(&[&["roles", &demo()], more].concat());
        assert!(output.status.success(), "{}", text(&output.stderr));
        let table = text(&output.stdout);
        for column in table.lines().next().unwrap().split(',') {
            assert!(documented.contains(&format!("`{column}`")), "{column} of {more:?} is not in docs/tables.md");
        }
        rows.push(table.lines().count() - 1);
    }
    let json: serde_json::Value = serde_json::from_slice(&ripieno(&["roles", &demo(), "--format", "json"]).stdout).unwrap();
    let of_file = &json[demo()];
    assert_eq!(of_file["roles"].as_array().unwrap().len(), rows[0]);
    assert_eq!(of_file["roles_by_bar"].as_array().unwrap().len(), rows[1]);
    assert!(!of_file["melody"].as_array().unwrap().is_empty());
}

#[test]
fn converting_tells_what_is_lost_and_keeps_the_source() {
    let folder = folder("convert-told");
    let low = folder.join("low.musicxml");
    let xml = "<score-partwise><part-list><score-part id=\"P1\"><part-name>Tuba</part-name></score-part></part-list><part id=\"P1\">\
<measure number=\"1\"><attributes><divisions>1</divisions><transpose><chromatic>-12</chromatic></transpose></attributes>\
<note><pitch><step>C</step><octave>-1</octave></pitch><duration>4</duration></note></measure></part></score-partwise>";
    std::fs::write(&low, xml).unwrap();
    let (low, new) = (low.display().to_string(), folder.join("low.mid").display().to_string());
    let output = ripieno(&["convert", &low, &new]);
    assert!(output.status.success());
    assert!(text(&output.stderr).contains("Tuba, bar 1: a note would sound 12 semitones outside the MIDI keyboard"));
    assert!(!ripieno(&["convert", "--strict", &low, &new]).status.success());
    let output = ripieno(&["convert", &low, &low]);
    assert!(!output.status.success() && text(&output.stderr).contains("give the new file another name"));
    assert_eq!(std::fs::read_to_string(&low).unwrap(), xml);
}

#[test]
fn converting_keeps_every_note() {
    let folder = folder("convert");
    let heard = |file: &str| {
        let table = text(&ripieno(&["notes", file, "--csv"]).stdout);
        table.lines().skip(1).map(|line| line.split_once(',').unwrap().1.to_owned()).collect::<Vec<_>>()
    };
    for ending in ["musicxml", "mxl"] {
        let new = folder.join(format!("demo.{ending}")).display().to_string();
        assert!(ripieno(&["convert", &demo(), &new]).status.success());
        assert_eq!(heard(&new), heard(&demo()), "{ending}");
    }
}

/// What cannot be read is told in one sentence with the file's name and what to do, and the command fails.
#[test]
fn files_that_are_no_scores_get_one_clear_sentence() {
    let folder = folder("no-scores");
    let cases: [(&str, &[u8], &str); 6] = [
        ("scan.pdf", b"%PDF-1.7 ...", "page image"),
        ("take.wav", b"RIFF\x24\x00\x00\x00WAVEfmt ", "sound recording"),
        ("empty.mid", b"", "empty"),
        ("letter.txt", b"Dear conductor, the parts will follow.", "not a score format"),
        ("page.xml", b"<?xml version=\"1.0\"?><html><body/></html>", "MusicXML"),
        ("broken.mxl", b"PK\x03\x04broken", "archive"),
    ];
    for (name, bytes, expected) in cases {
        let path = folder.join(name);
        std::fs::write(&path, bytes).unwrap();
        let output = ripieno(&["notes", &path.display().to_string(), "--csv"]);
        let said = text(&output.stderr);
        assert!(!output.status.success(), "{name}");
        let first = said.lines().next().unwrap();
        assert!(first.starts_with(name) && first.contains(expected) && first.ends_with('.'), "{name}: {said}");
    }
    let missing = ripieno(&["study", "nowhere.musicxml"]);
    assert!(text(&missing.stderr).starts_with("nowhere.musicxml: the file cannot be opened"), "{}", text(&missing.stderr));
}

#[test]
fn strict_refuses_what_lenient_mends() {
    let folder = folder("strict");
    let path = folder.join("ragged.musicxml");
    let note = |duration: u32| {
        format!("<note><pitch><step>C</step><octave>5</octave></pitch><duration>{duration}</duration><voice>1</voice></note>")
    };
    let part = |id: &str, notes: &str| {
        let attributes = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        format!("<part id=\"{id}\"><measure number=\"1\">{attributes}{notes}</measure></part>")
    };
    let list = "<part-list><score-part id=\"P1\"><part-name>Flute</part-name></score-part><score-part id=\"P2\"><part-name>Oboe</part-name></score-part></part-list>";
    let score = format!(
        "<?xml version=\"1.0\"?><score-partwise version=\"4.0\">{list}{}{}</score-partwise>",
        part("P1", &note(4)),
        part("P2", &note(3))
    );
    std::fs::write(&path, score).unwrap();
    let file = path.display().to_string();
    let lenient = ripieno(&["notes", &file, "--csv"]);
    assert!(lenient.status.success());
    assert!(text(&lenient.stderr).contains("Oboe, bar 1"), "{}", text(&lenient.stderr));
    assert!(!ripieno(&["notes", &file, "--csv", "--strict"]).status.success());
}

#[test]
fn corrections_are_kept_beside_the_score_until_taken_back() {
    let file = folder("correct").join("overture.musicxml").display().to_string();
    std::fs::copy(demo(), &file).unwrap();
    let correct = |more: &[&str]| ripieno(&[&["correct", &file], more].concat());
    let made = correct(&["--part", "Horn 1.2 in F", "--part", "horn 3.4 in f", "--bars", "35-45", "--role", "countermelody"]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    assert_eq!(text(&made.stdout), "c1: Horn 1.2 in F and Horn 3.4 in F, bars 35 to 45: countermelody\n");
    let named = correct(&["--part", "#0", "--bars", "36:1-40:2", "--name-role", "spray", "--comment", "as in bar 89"]);
    assert_eq!(
        text(&named.stdout),
        "c2: Flute 1, bars 36, after 1 crotchet, to 40, the first 2 crotchets: role named \"spray\" (as in bar 89)\n"
    );
    assert!(correct(&["--remove", "c1"]).status.success());
    let listed = correct(&["--list"]);
    assert_eq!(text(&listed.stdout), text(&named.stdout));
    for (more, expected) in [
        (&["--part", "Serpent", "--bars", "1", "--role", "bass"][..], "there is no part \"Serpent\"; the parts are Flute 1 (#0)"),
        (&["--part", "Tuba", "--bars", "500", "--role", "bass"], "no bar bears the number \"500\""),
        (&["--part", "Tuba", "--bars", "5-4", "--role", "bass"], "the span is empty"),
        (&["--part", "Tuba", "--bars", "5", "--role", "tenor"], "the roles are melody, countermelody"),
        (&["--part", "Tuba", "--bars", "5"], "say what is to be changed"),
        (&["--remove", "c9"], "there is no correction \"c9\""),
        (&["--part", "Tuba", "--bars", "5", "--role", "bass", "--split-layer"], "cannot be used with"),
    ] {
        let refused = correct(more);
        let said = text(&refused.stderr);
        assert!(!refused.status.success() && said.contains(expected), "{more:?}: {said}");
    }
    assert_eq!(text(&correct(&[]).stdout), text(&named.stdout));
}

/// A staff that plays, or rests, four bars.
fn staff(id: &str, pitch: Option<&str>) -> String {
    let what = pitch.map_or("<rest/>".to_owned(), |step| format!("<pitch><step>{step}</step><octave>5</octave></pitch>"));
    let attributes = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
    let bar = |number: u32| {
        let head = if number == 1 { attributes } else { "" };
        format!("<measure number=\"{number}\">{head}<note>{what}<duration>4</duration><voice>1</voice></note></measure>")
    };
    format!("<part id=\"{id}\">{}</part>", (1..=4).map(bar).collect::<String>())
}

fn score_of(staves: &[(&str, Option<&str>)]) -> String {
    let ids: Vec<String> = (1..=staves.len()).map(|number| format!("P{number}")).collect();
    let list = ids
        .iter()
        .zip(staves)
        .map(|(id, (name, _))| format!("<score-part id=\"{id}\"><part-name>{name}</part-name></score-part>"));
    let parts = ids.iter().zip(staves).map(|(id, (_, pitch))| staff(id, *pitch));
    format!(
        "<score-partwise version=\"4.0\"><part-list>{}</part-list>{}</score-partwise>",
        list.collect::<String>(),
        parts.collect::<String>()
    )
}

fn demo_file(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(name).display().to_string()
}

#[test]
fn what_is_read_is_never_written_over() {
    let folder = folder("spare");
    let at = |name: &str| folder.join(name).display().to_string();
    let text_of = score_of(&[("Melody", Some("C")), ("Bass", Some("E"))]);
    std::fs::write(at("sketch.musicxml"), &text_of).unwrap();
    std::fs::copy(demo_file("lineups/brass_quintet.toml"), at("lineup.toml")).unwrap();
    let (sketch, lineup) = (at("sketch.musicxml"), at("lineup.toml"));
    // The same file by another way.
    let beside = folder.join(".").join("sketch.musicxml").display().to_string();
    let (cast, plan) = (at("cast.musicxml"), at("cast.2.musicxml"));
    for arguments in [
        &["cast", &sketch, "--lineup", &lineup, "--out", &beside][..],
        &["cast", &sketch, "--lineup", &lineup, "--out", &cast, "--save-plan", &lineup],
        &["cast", &sketch, "--lineup", &lineup, "--out", &cast, "--proposals", "2", "--save-plan", &plan],
        &["sketch", &sketch, "--out", &sketch],
        &["convert", &sketch, &beside],
        &["excerpt", &sketch, "--bars", "1", "--out", &sketch],
    ] {
        let output = ripieno(arguments);
        let said = text(&output.stderr);
        assert!(!output.status.success() && said.contains("another name") && said.lines().count() == 1, "{arguments:?}: {said}");
        assert_eq!(std::fs::read_to_string(&sketch).unwrap(), text_of, "{arguments:?}");
        assert!(!Path::new(&cast).exists());
    }
    let wrong = ripieno(&["sketch", &sketch, "--out", &at("x.mid")]);
    assert!(text(&wrong.stderr).contains("sketches are written as .musicxml or .mxl") && !Path::new(&at("x.mid")).exists());
}

#[test]
fn a_sketch_of_nothing_is_refused() {
    let folder = folder("nothing");
    let sketch = folder.join("rests.musicxml").display().to_string();
    std::fs::write(&sketch, score_of(&[("Melody", None), ("Bass", None)])).unwrap();
    let out = folder.join("cast.musicxml").display().to_string();
    for arguments in [
        &["cast", &sketch, "--lineup", &demo_file("lineups/brass_quintet.toml"), "--out", &out][..],
        &["sketch", &sketch, "--out", &out],
    ] {
        let said = ripieno(arguments);
        assert!(!said.status.success() && text(&said.stderr).contains("nothing with a definite pitch"), "{}", text(&said.stderr));
        assert!(!Path::new(&out).exists());
    }
}

#[test]
fn a_delivery_leaves_nothing_of_an_earlier_one() {
    let folder = folder("again");
    let at = |name: &str| folder.join(name).display().to_string();
    let stands = folder.join("stands");
    let names = |folder: &str| -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(stands.join(folder))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    };
    std::fs::write(at("two.musicxml"), score_of(&[("Flute", Some("C")), ("Oboe", Some("E"))])).unwrap();
    std::fs::write(at("one.musicxml"), score_of(&[("Clarinet", Some("C"))])).unwrap();
    let deliver = |file: &str, more: &[&str]| {
        let out = stands.display().to_string();
        ripieno(&[&["deliver", &at(file), "--no-pages", "--out", &out], more].concat())
    };
    assert!(deliver("two.musicxml", &[]).status.success());
    // What somebody has written into the folder stays.
    std::fs::write(stands.join("parts/remarks.pdf"), "x").unwrap();
    let refused = deliver("one.musicxml", &[]);
    let said = text(&refused.stderr);
    assert!(!refused.status.success() && said.contains("an earlier delivery lies there (parts/01 Flute.musicxml)"), "{said}");
    assert_eq!(names("parts"), ["01 Flute.musicxml", "02 Oboe.musicxml", "remarks.pdf"]);
    let replaced = deliver("one.musicxml", &["--replace"]);
    assert!(replaced.status.success(), "{}", text(&replaced.stderr));
    assert_eq!(names("parts"), ["01 Clarinet.musicxml", "remarks.pdf"]);
    assert_eq!(names("score"), ["score at concert pitch.musicxml", "score.mid", "score.musicxml"]);
    // The score of the delivery itself is no source for a delivery over it.
    let itself = ripieno(&[
        "deliver",
        &stands.join("score/score.musicxml").display().to_string(),
        "--no-pages",
        "--replace",
        "--out",
        &stands.display().to_string(),
    ]);
    assert!(text(&itself.stderr).contains("one of the files to be read"), "{}", text(&itself.stderr));
}
