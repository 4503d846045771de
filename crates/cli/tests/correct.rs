//! Corrections of a score that was saved under a new name.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise

use std::path::Path;
use std::process::{Command, Output};

fn correct(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ripieno")).arg("correct").args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn a_revision_takes_over_corrections_once() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("take-over");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/lifeboat_overture.musicxml");
    let [old, new] = ["overture.musicxml", "overture-2.musicxml"].map(|name| {
        let file = folder.join(name);
        std::fs::copy(&demo, &file).unwrap();
        file.display().to_string()
    });
    let made = text(&correct(&[&old, "--part", "Tuba", "--bars", "35-45", "--role", "bass"]).stdout);
    let taken = correct(&[&new, "--take-over", &old]);
    assert_eq!(text(&taken.stdout), made, "{}", text(&taken.stderr));
    assert_eq!(text(&correct(&[&new]).stdout), made);
    assert_eq!(text(&correct(&[&old]).stdout), made, "the old file keeps its own");
    let again = correct(&[&new, "--take-over", &old]);
    assert!(!again.status.success() && text(&again.stderr).contains("there are corrections already"), "{}", text(&again.stderr));
}
