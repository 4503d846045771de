//! The Python environment of the outside witnesses, inside the target folder.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Where the environment lies, and its interpreter.
pub fn interpreter(root: &Path) -> PathBuf {
    root.join("target/reference-venv/bin/python")
}

/// Makes the environment if it is missing or its requirements have changed, and answers its interpreter.
pub fn environment(root: &Path) -> Result<PathBuf, String> {
    let python = interpreter(root);
    let wanted = std::fs::read_to_string(root.join("reference/requirements.txt"))
        .map_err(|error| format!("reference/requirements.txt: {error}"))?;
    let stamp = root.join("target/reference-venv/installed.txt");
    if python.exists() && std::fs::read_to_string(&stamp).is_ok_and(|installed| installed == wanted) {
        return Ok(python);
    }
    println!("Installing the outside witnesses (Python packages) into target/reference-venv ...");
    make(root)?;
    run(Command::new(&python)
        .args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r"])
        .arg(root.join("reference/requirements.txt")))?;
    std::fs::write(&stamp, wanted).map_err(|error| format!("{}: {error}", stamp.display()))?;
    Ok(python)
}

/// Makes an empty environment; Debian keeps the module for it in a package of its own.
fn make(root: &Path) -> Result<(), String> {
    let folder = root.join("target/reference-venv");
    let attempt = || run(Command::new("python3").args(["-m", "venv", "--clear"]).arg(&folder));
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
