//! Chores for people who work on Ripieno: `cargo xtask demo`, `test`, `witnesses`, `bench`, `train`, `setup`.
#![allow(clippy::print_stdout, clippy::print_stderr)] // printing is what it does

mod desk;
mod python;
mod steps;
mod tests;
mod train;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

const HELP: &str = "\
cargo xtask demo               study the demo score and say where the report lies
cargo xtask test [--quick]     install what the tests need and pass them all; --quick leaves the outside witnesses out
cargo xtask witnesses [--all]  only the outside witnesses; --all also reads every large score in ../shared (half an hour)
cargo xtask bench              measure what docs/benchmarks.md states
cargo xtask train roles        train the model of roles from ../shared/data and print its cross-validated figures (docs/roles-figures.md);
                               --quick goes the whole way with hardly any training and leaves the model alone
cargo xtask setup              only install what tests and witnesses need";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let has = |flag: &str| arguments.iter().any(|argument| argument == flag);
    let root = repository();
    let outcome = match arguments.first().map(String::as_str) {
        Some("demo") => demo(&root),
        Some("test") => tests::test(&root, has("--quick")),
        Some("witnesses") => tests::witnesses(&root, has("--all")),
        Some("bench") => tests::bench(&root),
        Some("train") => {
            let from = arguments.iter().position(|argument| argument == "--from").and_then(|at| arguments.get(at + 1));
            train::train(&root, arguments.get(1).map(String::as_str), from.map(String::as_str), has("--quick"))
        }
        Some("setup") => python::environment(&root).map(drop),
        _ => {
            println!("{HELP}");
            return ExitCode::SUCCESS;
        }
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("xtask: {failure}");
            ExitCode::FAILURE
        }
    }
}

/// The checkout this binary was built in.
fn repository() -> PathBuf {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR"));
    manifest.parent().unwrap_or(manifest).to_owned()
}

/// Builds the command and studies the demo.
fn demo(root: &Path) -> Result<(), String> {
    let out = root.join("target/demo-report");
    let status = cargo(root)
        .args(["run", "--release", "--package", "ripieno", "--", "study", "demo/lifeboat_overture.musicxml", "--out"])
        .arg(&out)
        .status()
        .map_err(|error| format!("cargo cannot be run ({error})"))?;
    if !status.success() {
        return Err("the demo could not be studied".to_owned());
    }
    println!("Open {} in a browser; its tables lie beside it.", out.join("report.html").display());
    Ok(())
}

/// Cargo, the one that runs us.
fn cargo(root: &Path) -> Command {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.current_dir(root);
    command
}
