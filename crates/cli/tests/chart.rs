//! `ripieno chart`, and the other commands on a chart.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("ripieno-cli-chart-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_ripieno")).args(arguments).current_dir(&self.0).output().unwrap()
    }

    /// What it prints, when it does what it is asked.
    fn done(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    /// What it complains about.
    fn refused(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(!output.status.success(), "{arguments:?}");
        String::from_utf8(output.stderr).unwrap()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn demo(file: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(file).display().to_string()
}

#[test]
fn a_chart_is_begun_checked_and_studied() {
    let folder = Folder::new("begun");
    let told = folder.done(&[
        "chart",
        "new",
        "quay.toml",
        "--parts",
        "Flute 1.2, Horn 1.2, Violin I",
        "--bars",
        "12",
        "--upbeat",
        "1",
        "--title",
        "Quay",
    ]);
    assert!(told.starts_with("quay.toml: 3 parts, 13 bars."), "{told}");
    assert!(folder.refused(&["chart", "new", "quay.toml", "--parts", "Tuba", "--bars", "1"]).contains("is there already"));
    let text = std::fs::read_to_string(folder.0.join("quay.toml")).unwrap();
    let rows = "\n[[row]]\nwho = \"horns\"\nbars = \"1-8\"\nrole = \"harmony\"\n\n[[row]]\nwho = \"Violin I\"\nbars = \"0-12\"\nrole = \"melody\"\n";
    std::fs::write(folder.0.join("quay.toml"), format!("{text}{rows}")).unwrap();
    let told = folder.done(&["chart", "check", "quay.toml"]);
    assert_eq!(told, "quay.toml: 2 of 3 parts charted, 13 bars, 2 rows; nothing is wrong\n");
    folder.done(&["study", "quay.toml", "--out", "report"]);
    let report = std::fs::read_to_string(folder.0.join("report/report.html")).unwrap();
    assert!(report.contains("Quay") && report.contains("no notes") && report.contains("this is a chart"));
    assert!(!report.contains("Is it heard"), "a chart cannot be weighed");
    let answer = folder.done(&["ask", "horns have harmony", "--in", "quay.toml"]);
    assert!(answer.contains("1") && answer.contains("8"), "{answer}");
    // The same chart, the same bytes.
    folder.done(&["study", "quay.toml", "--out", "again"]);
    assert_eq!(report, std::fs::read_to_string(folder.0.join("again/report.html")).unwrap());
    // What needs notes says so.
    let refusal = folder.refused(&["convert", "quay.toml", "quay.mid"]);
    assert!(refusal.contains("this is a chart, which tells who does what and holds no notes"), "{refusal}");
}

#[test]
fn every_fault_of_a_chart_is_listed() {
    let folder = Folder::new("faults");
    folder.done(&["chart", "new", "quay.toml", "--lineup", &demo("lineups/brass_eight.toml"), "--bars", "8"]);
    let text = std::fs::read_to_string(folder.0.join("quay.toml")).unwrap();
    let rows = "\n[[row]]\nwho = \"flutes\"\nbars = \"1-8\"\nrole = \"melody\"\n\n[[row]]\nwho = \"horns\"\nbars = \"1-9\"\nrole = \"harmony\"\n";
    std::fs::write(folder.0.join("quay.toml"), format!("{text}{rows}")).unwrap();
    let told = folder.refused(&["chart", "check", "quay.toml"]);
    assert!(told.contains("row 1: the score has nobody called “flutes”") && told.contains("row 2: there is no bar 9"), "{told}");
    assert!(told.lines().all(|line| line.contains("quay.toml, line ")), "{told}");
}

#[test]
fn a_score_is_charted_compared_and_kept() {
    let folder = Folder::new("from");
    let score = demo("lifeboat_overture.musicxml");
    let told = folder.done(&["chart", "from", &score, "--whole-bars", "--out", "boat.toml"]);
    assert!(told.starts_with("boat.toml: 25 parts, "), "{told}");
    assert!(folder.done(&["chart", "check", "boat.toml"]).contains("25 of 25 parts charted, 109 bars"));
    // The planted chart beside the chart of what the analysis reads: both are charts, and both are compared like scores.
    let compared = folder.done(&["compare", &demo("chart_lifeboat.toml"), "boat.toml"]);
    assert!(!compared.trim().is_empty());
    folder.done(&["library", "add", "--library", "shelf.db", "boat.toml"]);
    assert!(folder.done(&["library", "list", "--library", "shelf.db"]).contains("The Boat Goes Out"));
}
