//! The page of the desk: that it is what its sources make, and that it works in a browser.

use std::path::Path;
use std::process::{Command, Stdio};

use crate::cargo;
use crate::steps::Steps;

/// Where Debian and others put the browser.
const BROWSERS: &[&str] = &["/usr/bin/chromium", "/usr/bin/chromium-browser"];

/// Types, geometry, the built page, then the page in a browser.
pub fn page(root: &Path, steps: &mut Steps) {
    let web = root.join("crates/desk/web");
    let npm = |arguments: &[&str]| {
        let mut command = Command::new("npm");
        command.current_dir(&web).args(arguments);
        command
    };
    let is_there = npm(&["--version"]).stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok_and(|status| status.success());
    if !is_there {
        return steps.skip("the page of the desk", "there is no npm (Debian: apt-get install nodejs npm)");
    }
    steps.run("packages of the page", &mut npm(&["ci", "--no-audit", "--no-fund"]));
    steps.run("client types from the description", &mut npm(&["run", "types"]));
    steps.run("types of the page", &mut npm(&["run", "check"]));
    steps.run("geometry of the page", &mut npm(&["test"]));
    steps.run("the page is built", &mut npm(&["run", "build"]));
    let made = ["crates/desk/web/dist", "crates/desk/web/src/generated"];
    let title = "what is committed of the page is what its sources make";
    steps.run(title, Command::new("git").current_dir(root).args(["diff", "--exit-code", "--stat", "--"]).args(made));
    let program = std::env::var_os("CARGO_TARGET_DIR")
        .map_or_else(|| root.join("target"), |target| root.join(target))
        .join("debug/ripieno");
    // The tests of the command have just built it; building the package by itself would compile most of it again with other features.
    if !program.is_file() {
        steps.run("the command, for the browser", cargo(root).args(["build", "--package", "ripieno", "--quiet"]));
    }
    let Some(browser) = browser() else {
        return steps.skip("the page in a browser", "there is no chromium (Debian: apt-get install chromium)");
    };
    steps.run("the page in a browser", npm(&["run", "browser"]).env("RIPIENO", &program).env("CHROMIUM", browser));
    steps.run("the page looks as it was reviewed", npm(&["run", "looks"]).env("RIPIENO", &program).env("CHROMIUM", browser));
}

/// The browser, installed where it is missing and can be.
pub fn browser() -> Option<&'static str> {
    let there = || BROWSERS.iter().copied().find(|path| Path::new(path).is_file());
    there().or_else(|| {
        println!("Installing chromium with apt-get ...");
        let install = "apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq chromium";
        // Without the rights for it the step is skipped and says what to install.
        let _ = Command::new("sh").args(["-c", install]).stdout(Stdio::null()).stderr(Stdio::null()).status();
        there()
    })
}
