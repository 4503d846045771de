//! Long work: a score being read, then studied, with its progress.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use ripieno_study::Step;
use serde::Serialize;
use tokio::sync::watch;
use utoipa::ToSchema;

use crate::view::View;

/// How far a job is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Stage {
    /// Waits for its turn.
    Waiting,
    /// The file is being read.
    Reading,
    /// It has been read: the outline is there; roles are being found.
    Studying,
    /// Done: the score is open.
    Done,
    /// It could not be done, and `message` says why.
    Failed,
    /// A person broke it off.
    Cancelled,
}

/// A job as the page follows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct JobState {
    pub job: u64,
    pub stage: Stage,
    /// What is being done, or what went wrong: one sentence.
    pub message: String,
    /// The score's number in the library, once it is known.
    pub score: Option<i64>,
    /// Steps done, and how many there are; they do not take equally long.
    pub done: u8,
    pub steps: u8,
}

/// Reading, then the steps of the analysis.
#[allow(clippy::cast_possible_truncation)] // a handful
pub(crate) const STEPS: u8 = 1 + Step::ALL.len() as u8;

impl JobState {
    pub(crate) fn is_over(&self) -> bool {
        matches!(self.stage, Stage::Done | Stage::Failed | Stage::Cancelled)
    }
}

/// One job.
#[derive(Debug)]
pub(crate) struct Job {
    state: watch::Sender<JobState>,
    outline: Mutex<Option<Arc<View>>>,
}

impl Job {
    /// Goes on to a stage; a job that is over stays so. Answers whether it went on.
    pub(crate) fn go(&self, stage: Stage, message: impl Into<String>, score: Option<i64>) -> bool {
        let went_on = self.state.send_if_modified(|state| {
            if state.is_over() {
                return false;
            }
            let done = match stage {
                Stage::Done => STEPS,
                // Reading comes first.
                Stage::Studying => state.done.max(1),
                _ => state.done,
            };
            *state =
                JobState { job: state.job, stage, message: message.into(), score: score.or(state.score), done, steps: STEPS };
            true
        });
        if self.state.borrow().is_over() {
            // A page still drawing it holds its own.
            *self.outline.lock().unwrap_or_else(PoisonError::into_inner) = None;
        }
        went_on
    }

    /// Tells which step of the analysis of a file has begun.
    pub(crate) fn at(&self, name: &str, step: Step) {
        self.state.send_if_modified(|state| {
            let done = Step::ALL.iter().position(|one| *one == step).and_then(|at| u8::try_from(at + 1).ok());
            if state.is_over() || state.stage != Stage::Studying {
                return false;
            }
            state.done = done.unwrap_or(state.done);
            state.message = format!("{name}: {}", step.words());
            true
        });
    }

    pub(crate) fn state(&self) -> JobState {
        self.state.borrow().clone()
    }

    pub(crate) fn follow(&self) -> watch::Receiver<JobState> {
        self.state.subscribe()
    }

    pub(crate) fn set_outline(&self, outline: View) {
        let mut held = self.outline.lock().unwrap_or_else(PoisonError::into_inner);
        if !self.state.borrow().is_over() {
            *held = Some(Arc::new(outline));
        }
    }

    pub(crate) fn outline(&self) -> Option<Arc<View>> {
        self.outline.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Asks it to stop: what it is at is finished and thrown away.
    pub(crate) fn cancel(&self) {
        self.go(Stage::Cancelled, "broken off", None);
    }

    pub(crate) fn is_cancelled(&self) -> bool {
        self.state.borrow().stage == Stage::Cancelled
    }
}

/// Jobs kept after they are over.
const REMEMBERED: usize = 32;

/// All jobs.
#[derive(Debug, Default)]
pub(crate) struct Jobs {
    next: AtomicU64,
    jobs: Mutex<BTreeMap<u64, Arc<Job>>>,
}

impl Jobs {
    pub(crate) fn begin(&self, message: impl Into<String>, score: Option<i64>) -> Arc<Job> {
        let number = self.next.fetch_add(1, Ordering::Relaxed) + 1;
        let state = JobState { job: number, stage: Stage::Waiting, message: message.into(), score, done: 0, steps: STEPS };
        let job = Arc::new(Job { state: watch::Sender::new(state), outline: Mutex::default() });
        let mut jobs = self.jobs.lock().unwrap_or_else(PoisonError::into_inner);
        jobs.insert(number, Arc::clone(&job));
        while jobs.len() > REMEMBERED {
            let Some(oldest) = jobs.iter().find(|(_, job)| job.state().is_over()).map(|(&number, _)| number) else { break };
            jobs.remove(&oldest);
        }
        job
    }

    pub(crate) fn get(&self, job: u64) -> Option<Arc<Job>> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner).get(&job).cloned()
    }

    /// Jobs waiting or at work.
    pub(crate) fn busy(&self) -> usize {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner).values().filter(|job| !job.state().is_over()).count()
    }

    /// The job at work on a score.
    pub(crate) fn on_score(&self, score: i64) -> Option<Arc<Job>> {
        let jobs = self.jobs.lock().unwrap_or_else(PoisonError::into_inner);
        jobs.values().find(|job| !job.state().is_over() && job.state().score == Some(score)).cloned()
    }
}
