//! `cargo xtask train roles`: from the annotated collections to the model of roles, with its cross-validated figures.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::{cargo, python};

/// Trains what `name` names and packs it; `from` names the step to begin with when earlier ones have been run. `quick` goes the whole way with
/// hardly any training, in a folder of its own, and leaves the program's model alone.
pub fn train(root: &Path, name: Option<&str>, from: Option<&str>, quick: bool) -> Result<(), String> {
    if name != Some("roles") {
        return Err("what to train: cargo xtask train roles [--from inputs|table|fit|pack] [--quick]".to_owned());
    }
    let steps = ["inputs", "table", "fit", "pack"];
    let from = from.unwrap_or("inputs");
    let first =
        steps.iter().position(|step| *step == from).ok_or_else(|| format!("--from {from}: not one of {}", steps.join(", ")))?;
    let data = std::env::var_os("RIPIENO_DATA").map_or_else(|| root.join("../shared/data"), PathBuf::from);
    if !data.join("texture/s3_gold.csv").exists() {
        return Err(format!("{} lacks the annotated collections; docs/roles-figures.md says what they are", data.display()));
    }
    let work = std::env::var_os("RIPIENO_ROLES_WORK")
        .map_or_else(|| root.join(if quick { "target/roles-quick" } else { "target/roles" }), |given| root.join(given));
    let interpreter = python::environment_of(root, "target/train-venv", "model/roles/requirements.txt")?;
    let script = |arguments: &[&str]| {
        let mut command = Command::new(&interpreter);
        command.current_dir(root).env("RIPIENO_DATA", &data).env("RIPIENO_ROLES_WORK", &work);
        if quick {
            command.env("RIPIENO_ROLES_PRODUCT", work.join("product"));
        }
        command.arg(root.join("model/roles").join(arguments[0]));
        run(command.args(&arguments[1..]))
    };
    let short: &[&str] = if quick { &["--quick"] } else { &[] };
    for step in &steps[first..] {
        println!("== {step}");
        match *step {
            "inputs" => inputs(root, &data, &work)?,
            // A machine with a graphics processor fits in five minutes, two cores in some hours.
            "fit" => {
                script(&[["fit.py", "--only", "trees"].as_slice(), short].concat())?;
                script(&[["fit.py", "--only", "networks"].as_slice(), short].concat())?;
            }
            "pack" => {
                script(&["figures.py"])?;
                script(&["pack.py"])?;
                script(&["reference.py", "made-up"])?;
                script(&["reference.py", "demo"])?;
            }
            step => script(&[&format!("{step}.py")])?,
        }
    }
    if quick {
        println!("all steps work; the model in {} is hardly trained and is not the program's", work.join("product").display());
    } else {
        println!(
            "crates/texture/data/roles.model and the values its tests compare with are written; `cargo test -p ripieno-texture` next."
        );
    }
    Ok(())
}

/// What the program reads of every score, by the program itself.
fn inputs(root: &Path, data: &Path, work: &Path) -> Result<(), String> {
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
    command.args(["run", "--release", "--package", "ripieno-texture", "--example", "role_inputs", "--"]).arg(work.join("inputs"));
    run(command.args(files))
}

fn run(command: &mut Command) -> Result<(), String> {
    let status = command.status().map_err(|error| format!("{:?} cannot be run ({error})", command.get_program()))?;
    if status.success() { Ok(()) } else { Err(format!("{:?} failed ({status})", command.get_program())) }
}
