//! Steps that are run one after the other, or two at a time, timed and counted.

use std::io::Write as _;
use std::process::{Command, ExitStatus, Output};
use std::sync::{Mutex, mpsc};
use std::time::Instant;

/// Steps that may run at a time: witnesses are interpreters of one thread each, on the two cores that are promised.
const LANES: usize = 2;

/// A step that waits for its turn.
pub type Waiting = (&'static str, Command);

/// Place, step, outcome, beginning.
type Ended = (usize, Waiting, std::io::Result<Output>, Instant);

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
        self.count(title, command, outcome, (start, Instant::now()));
    }

    /// Runs commands that need nothing of each other, two at a time; what each printed is shown when it has ended, in the order given.
    pub fn together(&mut self, steps: Vec<Waiting>) {
        let (tell, told) = mpsc::channel::<Ended>();
        let count = steps.len();
        let waiting = Mutex::new(steps.into_iter().enumerate());
        std::thread::scope(|scope| {
            for tell in vec![tell; LANES] {
                let waiting = &waiting;
                scope.spawn(move || {
                    let next = || waiting.lock().ok()?.next();
                    while let Some((place, (title, mut command))) = next() {
                        let start = Instant::now();
                        let outcome = command.output();
                        let _ = tell.send((place, (title, command), outcome, start));
                    }
                });
            }
            let mut ended: Vec<Option<_>> = std::iter::repeat_with(|| None).take(count).collect();
            let mut shown = 0;
            for (place, (title, command), outcome, start) in told {
                ended[place] = Some((title, command, outcome, start, Instant::now()));
                while let Some((title, command, outcome, start, end)) = ended.get_mut(shown).and_then(Option::take) {
                    println!("\n== {title}");
                    let status = outcome.map(|output| {
                        // Bytes as they came: a witness may quote what is no text.
                        let _ = std::io::stdout().write_all(&output.stdout);
                        let _ = std::io::stdout().write_all(&output.stderr);
                        output.status
                    });
                    self.count(title, &command, status, (start, end));
                    shown += 1;
                }
            }
        });
    }

    /// Counts a command that has ended.
    fn count(&mut self, title: &str, command: &Command, outcome: std::io::Result<ExitStatus>, (start, end): (Instant, Instant)) {
        let seconds = (end - start).as_secs_f64();
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
