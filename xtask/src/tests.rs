//! The test command and the benchmarks.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::cargo;
use crate::python::environment;
use crate::steps::Steps;

/// Everything a change has to pass.
pub fn test(root: &Path, quick: bool) -> Result<(), String> {
    let mut steps = Steps::default();
    steps.run("format", cargo(root).args(["fmt", "--all", "--check"]));
    steps.run("lints", cargo(root).args(["clippy", "--workspace", "--all-targets", "--quiet", "--", "--deny", "warnings"]));
    steps.run("unit and integration tests", cargo(root).args(["test", "--workspace", "--quiet"]));
    steps.run("the demo is what its generator makes", demo_is_fresh(root, &mut Command::new("python3")));
    if quick {
        steps.skip("outside witnesses", "left out with --quick");
    } else {
        run_witnesses(root, &mut steps, false);
    }
    steps.finish()
}

/// Only the outside witnesses.
pub fn witnesses(root: &Path, all: bool) -> Result<(), String> {
    let mut steps = Steps::default();
    run_witnesses(root, &mut steps, all);
    steps.finish()
}

/// Composes the demo again, into another folder, and compares.
fn demo_is_fresh<'a>(root: &Path, python: &'a mut Command) -> &'a mut Command {
    python.current_dir(root).args(["demo/compose.py", "--check"])
}

/// Large scores beside the checkout read by the witnesses in the ordinary run: the three the figures are about, and a choir.
const SCORES: [&str; 4] = ["Brahms_Op.68_4.mxl", "Bruckner_WAB.105_1.mxl", "Beethoven_Op.67_1.mxl", "Bach_BWV.232_15.mxl"];

fn run_witnesses(root: &Path, steps: &mut Steps, all: bool) {
    let python = match environment(root) {
        Ok(python) => python,
        Err(failure) => return steps.fail("outside witnesses", &failure),
    };
    steps.run(
        "release build",
        cargo(root).args([
            "build",
            "--release",
            "--package",
            "ripieno",
            "--package",
            "ripieno-formats",
            "--bins",
            "--examples",
            "--quiet",
        ]),
    );
    let script = |name: &str| {
        let mut command = Command::new(&python);
        command.current_dir(root).arg(root.join("reference").join(name));
        command
    };
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from).join("release");
    let mut sets = vec!["corpus".to_owned()];
    let shared = root.join("../shared/data");
    if !shared.is_dir() {
        steps.skip("the annotated orchestral scores", "../shared is not here; docs/reading.md says where they are published");
    } else if all {
        sets.push("scores".to_owned());
    } else {
        sets.extend(SCORES.iter().map(|name| shared.join("scores").join(name).display().to_string()));
    }
    steps.run(
        "MusicXML: the same notes as music21 and partitura, and the same again after writing, by the schema",
        script("check.py").arg("--bin").arg(&target).args(["musicxml"]).args(&sets),
    );
    steps.run(
        "kern: every file of the music21 package opens and its bars add up",
        script("check.py").arg("--bin").arg(&target).args(["kern", "kern"]),
    );
    if shared.is_dir() {
        steps.run(
            "MIDI: the same notes as mido and symusic",
            script("check.py").arg("--bin").arg(&target).arg("midi").arg(shared.join("texture/s3_midi")),
        );
    } else {
        steps.skip("MIDI files of the symphony set", "../shared is not here");
    }
    steps.run(
        "the demo opens elsewhere",
        script("check.py").arg("--bin").arg(&target).args(["opens", "demo/lifeboat_overture.musicxml"]),
    );
}

/// Figures for docs/benchmarks.md, references in the same run.
pub fn bench(root: &Path) -> Result<(), String> {
    let python = environment(root)?;
    let mut steps = Steps::default();
    let scores = root.join("../shared/data/scores");
    let files: Vec<PathBuf> = if scores.is_dir() {
        ["Bruckner_WAB.105_1.mxl", "Brahms_Op.68_4.mxl"].iter().map(|name| scores.join(name)).collect()
    } else {
        vec![root.join("demo/lifeboat_overture.musicxml")]
    };
    for file in &files {
        steps.run(
            &format!("reading {}", file.display()),
            cargo(root)
                .args(["run", "--release", "--quiet", "--package", "ripieno-formats", "--example", "read_speed", "--"])
                .arg(file),
        );
        steps.run(
            "the same file in music21 and partitura",
            Command::new(&python).current_dir(root).arg("reference/bench_readers.py").arg(file),
        );
    }
    steps.finish()
}
