//! `cargo xtask train roles`: from the annotated collections to the model of roles, with its cross-validated figures.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::{cargo, python};

/// Trains what `name` names and packs it; `from` names the step to begin with when earlier ones have been run.
pub fn train(root: &Path, name: Option<&str>, from: Option<&str>) -> Result<(), String> {
    if name != Some("roles") {
        return Err("what to train: cargo xtask train roles [--from inputs|table|fit|pack]".to_owned());
    }
    let steps = ["inputs", "table", "fit", "pack"];
    let from = from.unwrap_or("inputs");
    let first =
        steps.iter().position(|step| *step == from).ok_or_else(|| format!("--from {from}: not one of {}", steps.join(", ")))?;
    let data = std::env::var_os("RIPIENO_DATA").map_or_else(|| root.join("../shared/data"), PathBuf::from);
    if !data.join("texture/s3_gold.csv").exists() {
        return Err(format!("{} lacks the annotated collections; docs/roles-figures.md says what they are", data.display()));
    }
    let interpreter = environment(root)?;
    for step in &steps[first..] {
        println!("== {step}");
        match *step {
            "inputs" => inputs(root, &data)?,
            // A machine with a graphics processor fits in five minutes, two cores in some hours.
            "fit" => {
                script(root, &interpreter, &data, &["fit.py", "--only", "trees"])?;
                script(root, &interpreter, &data, &["fit.py", "--only", "networks"])?;
            }
            "pack" => {
                script(root, &interpreter, &data, &["figures.py"])?;
                script(root, &interpreter, &data, &["pack.py"])?;
                script(root, &interpreter, &data, &["reference.py", "made-up"])?;
                script(root, &interpreter, &data, &["reference.py", "demo"])?;
            }
            step => script(root, &interpreter, &data, &[&format!("{step}.py")])?,
        }
    }
    println!(
        "crates/texture/data/roles.model and the values its tests compare with are written; `cargo test -p ripieno-texture` next."
    );
    Ok(())
}

/// What the program reads of every score, by the program itself.
fn inputs(root: &Path, data: &Path) -> Result<(), String> {
    let mut files: Vec<PathBuf> = Vec::new();
    for (folder, extension) in [("texture/s3_midi", "mid"), ("scores", "mxl")] {
        let entries =
            std::fs::read_dir(data.join(folder)).map_err(|error| format!("{}: {error}", data.join(folder).display()))?;
        files.extend(
            entries.flatten().map(|entry| entry.path()).filter(|path| path.extension().is_some_and(|found| found == extension)),
        );
    }
    files.sort();
    files.push(root.join("demo/lifeboat_overture.musicxml"));
    let mut command = cargo(root);
    command.args(["run", "--release", "--package", "ripieno-texture", "--example", "role_inputs", "--", "target/roles/inputs"]);
    run(command.args(files))
}

fn script(root: &Path, interpreter: &Path, data: &Path, arguments: &[&str]) -> Result<(), String> {
    let mut command = Command::new(interpreter);
    command.current_dir(root).env("RIPIENO_DATA", data).arg(root.join("model/roles").join(arguments[0]));
    run(command.args(&arguments[1..]))
}

/// An environment of its own: training wants more than the outside witnesses do.
fn environment(root: &Path) -> Result<PathBuf, String> {
    python::environment_of(root, "target/train-venv", "model/roles/requirements.txt")
}

fn run(command: &mut Command) -> Result<(), String> {
    let status = command.status().map_err(|error| format!("{:?} cannot be run ({error})", command.get_program()))?;
    if status.success() { Ok(()) } else { Err(format!("{:?} failed ({status})", command.get_program())) }
}
