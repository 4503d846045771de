//! Who weighs: for each situation looked at, a thread that keeps the score as it sounds there and answers about it.

use std::collections::VecDeque;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use axum::body::Bytes;
use ripieno_pictures::BarMap;
use ripieno_report::balance_map;
use ripieno_study::acoustics::Situation;
use tokio::sync::oneshot;

use crate::balance::{HeardSpan, told, weighed};
use crate::desk::Open;
use crate::failure::{Failure, Outcome};

/// Situations kept at one time: the one looked at, and the one before it.
const KEPT: usize = 2;
/// How long one that nobody asks is kept.
const IDLE: Duration = Duration::from_secs(600);

/// What is asked of a weigher, and whom it answers; who has gone meanwhile is left out.
enum Question {
    All(oneshot::Sender<Outcome<Bytes>>),
    Span(usize, oneshot::Sender<Outcome<Option<HeardSpan>>>),
    Map(oneshot::Sender<Outcome<Arc<Mapped>>>),
}

/// The balance bar by bar, to be drawn.
#[derive(Debug)]
pub(crate) struct Mapped {
    pub map: BarMap,
    /// Where it is heard, in words.
    pub place: String,
}

impl Question {
    fn is_gone(&self) -> bool {
        match self {
            Self::All(asker) => asker.is_closed(),
            Self::Span(_, asker) => asker.is_closed(),
            Self::Map(asker) => asker.is_closed(),
        }
    }

    fn refuse(self, failure: Failure) {
        match self {
            Self::All(asker) => drop(asker.send(Err(failure))),
            Self::Span(_, asker) => drop(asker.send(Err(failure))),
            Self::Map(asker) => drop(asker.send(Err(failure))),
        }
    }
}

struct Weigher {
    score: i64,
    revision: u64,
    situation: Situation,
    questions: Sender<Question>,
}

/// All of them, the one asked last at the end.
#[derive(Default)]
pub(crate) struct Weighers {
    kept: Mutex<VecDeque<Weigher>>,
    /// One weighs at a time: it takes a core.
    at_work: Arc<Mutex<()>>,
}

impl std::fmt::Debug for Weighers {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Weighers").finish_non_exhaustive()
    }
}

impl Weighers {
    /// The whole score in a situation, as JSON.
    pub(crate) async fn all(&self, open: &Arc<Open>, situation: Situation) -> Outcome<Bytes> {
        let (asker, answer) = oneshot::channel();
        self.ask(open, situation, Question::All(asker))?;
        answer.await.map_err(broken)?
    }

    /// One span in a situation.
    pub(crate) async fn span(&self, open: &Arc<Open>, situation: Situation, span: usize) -> Outcome<Option<HeardSpan>> {
        let (asker, answer) = oneshot::channel();
        self.ask(open, situation, Question::Span(span, asker))?;
        answer.await.map_err(broken)?
    }

    /// The map of a situation.
    pub(crate) async fn map(&self, open: &Arc<Open>, situation: Situation) -> Outcome<Arc<Mapped>> {
        let (asker, answer) = oneshot::channel();
        self.ask(open, situation, Question::Map(asker))?;
        answer.await.map_err(broken)?
    }

    /// Forgets a score, so that its study need not be held.
    pub(crate) fn let_go(&self, score: i64) {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner).retain(|weigher| weigher.score != score);
    }

    fn ask(&self, open: &Arc<Open>, situation: Situation, mut question: Question) -> Outcome<()> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        // An older revision is not asked for again.
        kept.retain(|weigher| weigher.score != open.score || weigher.revision == open.revision);
        let place = kept.iter().position(|weigher| weigher.score == open.score && weigher.situation == situation);
        if let Some(weigher) = place.and_then(|place| kept.remove(place)) {
            match weigher.questions.send(question) {
                Ok(()) => {
                    kept.push_back(weigher);
                    return Ok(());
                }
                // It has waited too long and gone home.
                Err(back) => question = back.0,
            }
        }
        let (questions, asked) = channel();
        let _ = questions.send(question);
        let (study, place, at_work) = (Arc::clone(open), situation.clone(), Arc::clone(&self.at_work));
        let begun = thread::Builder::new().name("weigher".to_owned()).spawn(move || answer(&study, &place, &asked, &at_work));
        begun.map_err(|_| Failure::machine("the machine has no room for one more thread; close something and try again"))?;
        kept.push_back(Weigher { score: open.score, revision: open.revision, situation, questions });
        while kept.len() > KEPT {
            kept.pop_front();
        }
        Ok(())
    }
}

fn broken(_: oneshot::error::RecvError) -> Failure {
    Failure::machine("the balance of this score could not be worked out; please report it")
}

/// Answers until nobody can ask any more, or nobody has for long.
fn answer(open: &Open, situation: &Situation, questions: &Receiver<Question>, at_work: &Mutex<()>) {
    let next = || loop {
        match questions.recv_timeout(IDLE) {
            Ok(question) if question.is_gone() => {}
            Ok(question) => return Some(question),
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return None,
        }
    };
    let (mut question, turn) = loop {
        let Some(question) = next() else { return };
        let turn = at_work.lock().unwrap_or_else(PoisonError::into_inner);
        // Who has gone while another was weighing is left out, and nobody is kept waiting for it.
        if !question.is_gone() {
            break (question, turn);
        }
    };
    let weighing = match open.study.weigh(situation.clone()) {
        Ok(weighing) => weighing,
        Err(refused) => {
            drop(turn);
            let refuse = |question: Question| question.refuse(Failure::refused(refused.to_string()));
            refuse(question);
            std::iter::from_fn(next).for_each(refuse);
            return;
        }
    };
    drop(turn);
    let mut all: Option<Bytes> = None;
    let mut mapped: Option<Arc<Mapped>> = None;
    loop {
        let turn = at_work.lock().unwrap_or_else(PoisonError::into_inner);
        match question {
            Question::All(asker) => {
                let json =
                    all.get_or_insert_with(|| serde_json::to_vec(&weighed(&open.study, &weighing)).unwrap_or_default().into());
                let _ = asker.send(Ok(json.clone()));
            }
            Question::Span(span, asker) => {
                let _ = asker.send(Ok(weighing.span(span).as_ref().map(|heard| told(&open.study, span, heard))));
            }
            Question::Map(asker) => {
                let map = mapped.get_or_insert_with(|| {
                    let balance = weighing.balance();
                    Arc::new(Mapped { map: balance_map(&open.study, &balance), place: open.study.place(&balance.situation) })
                });
                let _ = asker.send(Ok(Arc::clone(map)));
            }
        }
        drop(turn);
        let Some(other) = next() else { return };
        question = other;
    }
}
