//! Steps that are run one after the other, timed and counted.

use std::process::Command;
use std::time::Instant;

/// Runs steps, keeps count, and says at the end how it went.
#[derive(Default)]
pub struct Steps {
    passed: usize,
    failed: Vec<String>,
    skipped: usize,
}

impl Steps {
    /// Runs a command; it passes when the command succeeds.
    pub fn run(&mut self, title: &str, command: &mut Command) {
        println!("\n== {title}");
        let start = Instant::now();
        let outcome = command.status();
        let seconds = start.elapsed().as_secs_f64();
        match outcome {
            Ok(status) if status.success() => {
                self.passed += 1;
                println!("-- passed in {seconds:.0} s: {title}");
            }
            Ok(status) => self.fail(title, &format!("{status} after {seconds:.0} s")),
            Err(error) => self.fail(title, &format!("{:?} cannot be run ({error})", command.get_program())),
        }
    }

    /// Counts a failure.
    pub fn fail(&mut self, title: &str, why: &str) {
        println!("-- FAILED: {title}: {why}");
        self.failed.push(title.to_owned());
    }

    /// Says that something was not run, and why.
    pub fn skip(&mut self, title: &str, why: &str) {
        println!("\n== skipped: {title}: {why}");
        self.skipped += 1;
    }

    /// Closes with the count; an error when anything failed.
    pub fn finish(self) -> Result<(), String> {
        println!("\n{} passed, {} failed, {} skipped", self.passed, self.failed.len(), self.skipped);
        if self.failed.is_empty() { Ok(()) } else { Err(format!("failed: {}", self.failed.join("; "))) }
    }
}
