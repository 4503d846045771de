//! The test command and the benchmarks.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::cargo;
use crate::desk;
use crate::python::environment;
use crate::steps::Steps;

/// Everything a change has to pass.
pub fn test(root: &Path, quick: bool) -> Result<(), String> {
    let mut steps = Steps::default();
    // What comes over the network is fetched while the processor compiles; where that fails, the step in need of it asks again and says so.
    let fetching = {
        let root = root.to_owned();
        std::thread::spawn(move || {
            let _ = environment(&root);
            desk::browser();
        })
    };
    steps.run("format", cargo(root).args(["fmt", "--all", "--check"]));
    steps.run("lints", cargo(root).args(["clippy", "--workspace", "--all-targets", "--quiet", "--", "--deny", "warnings"]));
    // Invented cases are the same in every run of this command; `cargo test` by itself goes on to invent others.
    let tests = ["test", "--workspace", "--quiet", "--no-fail-fast"];
    steps.run("unit and integration tests", cargo(root).args(tests).env("PROPTEST_RNG_SEED", "20251126"));
    demo_is_fresh(root, &mut steps);
    let _ = fetching.join();
    desk::page(root, &mut steps);
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

/// Composes the demo again, into another folder, and compares byte by byte.
fn demo_is_fresh(root: &Path, steps: &mut Steps) {
    let title = "the demo and its planted truth are what their generator makes";
    let again = root.join("target/demo-again");
    steps.run(title, Command::new("python3").current_dir(root).args(["demo/compose.py", "--out"]).arg(&again));
    let Ok(made) = std::fs::read_dir(again.join("planted")) else { return steps.fail(title, "nothing was made") };
    let mut names: Vec<String> =
        made.filter_map(|entry| Some(format!("planted/{}", entry.ok()?.file_name().to_string_lossy()))).collect();
    names.push("lifeboat_overture.musicxml".to_owned());
    names.sort();
    for name in names {
        let (old, new) = (std::fs::read(root.join("demo").join(&name)), std::fs::read(again.join(&name)));
        if old.ok() != new.ok() {
            steps.fail(title, &format!("demo/{name} differs; run python3 demo/compose.py"));
        }
    }
}

/// Large scores beside the checkout read by the witnesses in the ordinary run: two symphonic movements and a choral one.
const SCORES: [&str; 3] = ["Brahms_Op.68_4.mxl", "Bruckner_WAB.105_1.mxl", "Bach_BWV.232_15.mxl"];

/// Large scores beside the checkout whose practice is counted again.
const RECOUNTED: [&str; 2] = ["Brahms_Op.68_4.mxl", "Bruckner_WAB.105_1.mxl"];

/// What reading has reached, in per cent of all notes; less is a fault. Set just under the figures of docs/reading.md, so that no
/// explanation in reference/exceptions.toml can hide a loss.
const MUSICXML_FLOORS: [&str; 2] = ["--threshold=99.99", "--bar-threshold=99.93"];
const KERN_FLOORS: [&str; 3] = ["--threshold=99.999", "--bar-threshold=99.94", "--part-threshold=99.9"];

fn run_witnesses(root: &Path, steps: &mut Steps, all: bool) {
    let python = match environment(root) {
        Ok(python) => python,
        Err(failure) => return steps.fail("outside witnesses", &failure),
    };
    // What the tests were built from, so that nothing is compiled a second time; the witnesses take far longer than we do either way.
    steps.run("the programs", cargo(root).args(["build", "--workspace", "--quiet", "--bins", "--examples"]));
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from).join("debug");
    let shared = root.join("../shared/data");
    let scores: Vec<PathBuf> = match (shared.is_dir(), all) {
        (false, _) => Vec::new(),
        (true, true) => files_ending(&shared.join("scores"), ".mxl"),
        (true, false) => SCORES.iter().map(|name| shared.join("scores").join(name)).collect(),
    };
    if scores.is_empty() {
        steps.skip(
            "the annotated orchestral scores and symphonies",
            "../shared is not here; docs/reading.md says where they are published",
        );
    }
    let script = |name: &str| {
        let mut command = Command::new(&python);
        command.current_dir(root).arg(root.join("reference").join(name));
        command
    };
    let with = |name: &str, program: &str| {
        let mut command = script(name);
        command.arg("--bin").arg(target.join(program));
        command
    };
    let given = |mut command: Command, arguments: &[&str], files: &[PathBuf]| {
        command.args(arguments).args(files);
        command
    };
    let written = root.join("target/written");
    let _ = std::fs::remove_dir_all(&written);
    if let Err(error) = std::fs::create_dir_all(&written) {
        return steps.fail("written scores", &format!("{}: {error}", written.display()));
    }
    let recounted: Vec<PathBuf> =
        RECOUNTED.iter().map(|name| shared.join("scores").join(name)).filter(|score| score.is_file()).collect();
    let mut round_trip = with("round_trip.py", "examples/round_trip");
    round_trip.arg("--keep").arg(&written);
    let mut loudness = with("loudness_agree.py", "examples/measure_raw");
    loudness.arg("--render").arg(target.join("ripieno"));
    // The longest first, so that neither lane waits for it alone at the end.
    let mut first = vec![
        (
            "MusicXML: the same notes as music21 and partitura read",
            given(given(with("reading_agree.py", "ripieno"), &MUSICXML_FLOORS, &[]), &["corpus"], &scores),
        ),
        ("MusicXML and kern: written and read again, the same notes sound", given(round_trip, &["corpus", "kern"], &scores)),
        (
            "practice: presence, rests, reserve, doublings, cohesion, chords, hand-offs and brass, counted again with music21",
            given(with("practice_agree.py", "ripieno"), &["demo/lifeboat_overture.musicxml"], &recounted),
        ),
        ("the desk answers whatever it is asked", given(with("desk_fuzz.py", "ripieno"), &["--seconds", "90"], &[])),
        (
            "kern: the same notes as music21 and partitura read",
            given(given(with("reading_agree.py", "ripieno"), &KERN_FLOORS, &[]), &["kern"], &[]),
        ),
        (
            "loudness: the same as MoSQITo and pyloudnorm measure, ten renderings among it",
            given(loudness, &["--seconds", "2"], &[]),
        ),
    ];
    if !scores.is_empty() {
        let midi = [shared.join("texture/s3_midi")];
        first.push(("MIDI: the same notes as mido and symusic read", given(with("midi_agree.py", "ripieno"), &[], &midi)));
    }
    // A test of `ripieno-deliver` has set them, if the engraver was built.
    let stands = target.join("../tmp/stands");
    if stands.is_dir() {
        let title = "parts and score on paper: staves, margins, numbers, measured in the PDF";
        first.push((title, given(script("parts_pdf.py"), &[], &[stands])));
    } else {
        steps.skip("parts and score on paper", "the tests have set none");
    }
    steps.together(first);
    steps.together(vec![
        (
            "what was written is valid MusicXML 4.0 by the W3C schema",
            given(script("validate_xsd.py"), &[], &[written, PathBuf::from("demo/lifeboat_overture.musicxml")]),
        ),
        (
            "the demo, as composed and as written again, opens in music21, partitura and verovio",
            given(script("opens.py"), &[], &demo_twice(root, &target)),
        ),
    ]);
}

/// The demo as it lies in the repository, and as Ripieno writes it after reading.
fn demo_twice(root: &Path, target: &Path) -> [PathBuf; 2] {
    let (demo, again) = (root.join("demo/lifeboat_overture.musicxml"), root.join("target/written/demo.musicxml"));
    // A failure shows in the step that opens the file.
    let _ = Command::new(target.join("ripieno")).arg("convert").args([&demo, &again]).status();
    [demo, again]
}

/// Files of a folder by the end of their names, sorted.
fn files_ending(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    let mut files: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.retain(|path| path.to_string_lossy().ends_with(ending));
    files.sort();
    files
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
