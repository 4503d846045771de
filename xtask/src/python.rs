//! Python environments inside the target folder: of the outside witnesses, and of training.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Makes the witnesses' environment if it is missing or its requirements have changed, and answers its interpreter.
pub fn environment(root: &Path) -> Result<PathBuf, String> {
    environment_of(root, "target/reference-venv", "reference/requirements.txt")
}

/// The same for any folder and list of requirements, both within `root`.
pub fn environment_of(root: &Path, folder: &str, requirements: &str) -> Result<PathBuf, String> {
    let (folder, requirements) = (root.join(folder), root.join(requirements));
    let python = folder.join("bin/python");
    let wanted = std::fs::read_to_string(&requirements).map_err(|error| format!("{}: {error}", requirements.display()))?;
    let stamp = folder.join("installed.txt");
    if python.exists() && std::fs::read_to_string(&stamp).is_ok_and(|installed| installed == wanted) {
        return Ok(python);
    }
    println!("Installing Python packages into {} ...", folder.display());
    make(&folder)?;
    run(Command::new(&python).args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r"]).arg(&requirements))?;
    std::fs::write(&stamp, wanted).map_err(|error| format!("{}: {error}", stamp.display()))?;
    Ok(python)
}

/// Makes an empty environment; Debian keeps the module for it in a package of its own.
fn make(folder: &Path) -> Result<(), String> {
    let attempt = || run(Command::new("python3").args(["-m", "venv", "--clear"]).arg(folder));
    attempt().or_else(|_| {
        println!("Installing python3-venv with apt-get ...");
        let install = "apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq python3-venv";
        let shell = if is_root() { ["sh", "-c"].as_slice() } else { ["sudo", "sh", "-c"].as_slice() };
        run(Command::new(shell[0]).args(&shell[1..]).arg(install)).and_then(|()| attempt()).map_err(|failure| {
            format!("{failure}. Install Python 3.11 or newer with its venv module (Debian, Ubuntu: apt-get install python3-venv)")
        })
    })
}

fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.starts_with(b"0"))
}

fn run(command: &mut Command) -> Result<(), String> {
    let status = command.status().map_err(|error| format!("{:?} cannot be run ({error})", command.get_program()))?;
    if status.success() { Ok(()) } else { Err(format!("{:?} failed ({status})", command.get_program())) }
}
