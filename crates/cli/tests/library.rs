//! The library under processes that die, processes that meet, and disks that fill.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(folder.join("scores")).unwrap();
    folder
}

/// Copies of the demo overture that differ in a comment, so that each is a score of its own.
fn copies(folder: &Path, count: usize) {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    let demo = std::fs::read_to_string(demo).unwrap();
    for copy in 0..count {
        std::fs::write(folder.join(format!("scores/{copy:02}.musicxml")), format!("{demo}<!-- {copy} -->\n")).unwrap();
    }
}

fn ripieno(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ripieno"));
    command.env("RIPIENO_LIBRARY", folder.join("library.db")).stdin(Stdio::null());
    command
}

fn add(folder: &Path) -> Child {
    ripieno(folder)
        .args(["library", "add"])
        .arg(folder.join("scores"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    ripieno(folder).args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// What SQL answers, without its header.
fn sql(folder: &Path, question: &str) -> String {
    let output = run(folder, &["ask", "--sql", question, "--format", "csv"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    text(&output.stdout).lines().skip(1).collect::<Vec<_>>().join("\n")
}

/// Every score of the library has its whole record.
fn whole(folder: &Path) -> usize {
    let broken = "SELECT count(*) FROM scores s WHERE (SELECT count(*) FROM record r WHERE r.score = s.score) != \
                  (SELECT max(n) FROM (SELECT count(*) n FROM record GROUP BY score))
                  OR s.notes != (SELECT r.rows FROM record r WHERE r.score = s.score AND r.name = 'notes')";
    assert_eq!(sql(folder, broken), "0");
    sql(folder, "SELECT count(*) FROM scores").parse().unwrap()
}

#[test]
fn a_process_that_is_killed_loses_at_most_the_score_in_hand() {
    let folder = folder("killed");
    let count = 8;
    copies(&folder, count);
    let mut kept = 0;
    for round in 0..3 {
        let mut child = add(&folder);
        // Killed as soon as one more score is kept, at some point of the next one.
        let begun = Instant::now();
        while begun.elapsed() < Duration::from_secs(120) {
            std::thread::sleep(Duration::from_millis(7 + 11 * round));
            let output = run(&folder, &["library", "list"]);
            if text(&output.stdout).matches(".musicxml").count() > kept {
                break;
            }
        }
        child.kill().unwrap();
        child.wait().unwrap();
        let now = whole(&folder);
        assert!(now > kept, "round {round}: what was kept stays kept");
        kept = now;
    }
    assert!(add(&folder).wait().unwrap().success());
    assert_eq!(whole(&folder), count);
    assert_eq!(sql(&folder, "SELECT count(DISTINCT notes) FROM scores"), "1");
}

#[test]
fn two_processes_at_once_keep_every_score_once() {
    let folder = folder("two");
    copies(&folder, 4);
    let (mut one, mut other) = (add(&folder), add(&folder));
    assert!(one.wait().unwrap().success());
    assert!(other.wait().unwrap().success());
    assert_eq!(whole(&folder), 4);
}

#[test]
fn questions_have_their_exit_status() {
    let folder = folder("asked");
    copies(&folder, 1);
    assert!(add(&folder).wait().unwrap().success());
    let score = folder.join("scores/00.musicxml");
    let status = |arguments: &[&str]| run(&folder, arguments).status.code().unwrap();
    assert_eq!(status(&["ask", "trombones rest", "--in", score.to_str().unwrap()]), 0);
    assert_eq!(status(&["ask", "trombones rest and trombones play"]), 1);
    assert_eq!(status(&["ask", "trombnoes rest"]), 2);
    assert_eq!(status(&["ask", "--sql", "DELETE FROM scores"]), 2);
    assert_eq!(status(&["ask", "trombones rest", "--in", "absent.mxl"]), 2);
    // From the file and from the library the answer is one.
    let spans = |arguments: &[&str]| {
        let lines = text(&run(&folder, arguments).stdout);
        lines.lines().map(|line| line.rsplit_once(": ").unwrap().1.to_owned()).collect::<Vec<_>>()
    };
    let from_file = spans(&["ask", "all brass play", "--in", score.to_str().unwrap(), "--save", "tutti"]);
    assert_eq!(from_file, ["35\u{2013}45, 81\u{2013}100, 105\u{2013}108 (35 bars in 3 passages)"]);
    assert_eq!(spans(&["ask", "--saved", "tutti"]), from_file);
    assert!(text(&run(&folder, &["ask", "--list-saved"]).stdout).contains("tutti: all brass play"));
    let json: serde_json::Value =
        serde_json::from_slice(&run(&folder, &["ask", "all brass play", "--format", "json"]).stdout).unwrap();
    assert_eq!(json[0]["first_bar"], "35");
    let cut = folder.join("cut");
    let output = run(&folder, &["ask", "all brass play", "--excerpts", cut.to_str().unwrap()]);
    let told: Vec<String> = text(&output.stderr).lines().map(str::to_owned).collect();
    assert_eq!(told.len(), 3, "{told:?}");
    for (path, bars) in told.iter().zip([11, 20, 4]) {
        let written = std::fs::read_to_string(path).unwrap();
        let first = written.split("</part>").next().unwrap();
        assert_eq!(first.matches("<measure ").count(), bars, "{path}");
    }
    let error = text(&run(&folder, &["ask", "hornz play"]).stderr);
    assert!(error.contains("“hornz”, at the beginning,") && error.contains("“horns”"), "{error}");
}

/// A file that may not grow stands for a full disk.
#[cfg(unix)]
#[test]
fn no_room_is_told_in_one_sentence() {
    let folder = folder("no-room");
    copies(&folder, 1);
    assert!(add(&folder).wait().unwrap().success());
    copies(&folder, 6);
    // The shell ignores the signal that a file at its limit brings, so that the write fails as on a full disk.
    let script = "trap '' XFSZ; ulimit -f 120; exec \"$0\" library add \"$1\"";
    let mut command = Command::new("sh");
    command.args(["-c", script, env!("CARGO_BIN_EXE_ripieno")]).arg(folder.join("scores"));
    let output = command.env("RIPIENO_LIBRARY", folder.join("library.db")).output().unwrap();
    assert!(!output.status.success());
    let error = text(&output.stderr);
    let last = error.lines().last().unwrap();
    assert!(last.starts_with("ripieno: ") && last.contains("library.db"), "{error}");
    assert!(whole(&folder) >= 1);
    assert!(add(&folder).wait().unwrap().success());
    assert_eq!(whole(&folder), 6);
}
