//! Drafts in hand: what has been read of them, so that a change is answered at once, and the scores they stand for.

use std::collections::{BTreeMap, VecDeque};
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use axum::http::StatusCode;
use ripieno_casting::{Cast, Lineup, Plan, Sketch};
use ripieno_formats::{Format, Reading};
use ripieno_score::{About, Score};
use ripieno_study::analyse;

use super::locks::{LockRow, by_time, heads, shown, within};
use super::plan::{mended, plan_of, rows_of};
use super::shown::{DraftShown, ProposalShown, group_shown, groups_of, proposal_of, staves_of, strands_of};
use super::store::{Kept, KeptProposal, Model, OWN_STAVES, SKETCH, Step, Store, called};
use crate::desk::{Desk, Open};
use crate::failure::{Failure, Outcome};
use crate::jobs::{Job, Stage};

/// Drafts kept in memory, and scores of drafts.
const MOST_HELD: usize = 4;
const MOST_OPEN: usize = 12;
/// Places of one draft among the numbers of scores: the sketch, then its proposals.
const PLACES: i64 = 10;
/// Proposals at one time.
pub(crate) const MOST_PROPOSALS: usize = 3;
/// Bars of a sketch.
const MOST_BARS: usize = 1000;

/// The number of a draft's sketch (0) or proposal (from 1) among the scores: below zero, where the library has none.
pub(crate) fn score_number(draft: i64, place: usize) -> i64 {
    -(draft * PLACES + i64::try_from(place).unwrap_or(0))
}

/// The draft and the proposal (from 1) a score below zero stands for; none for sketches and scores of the library.
pub(crate) fn place_of_score(score: i64) -> Option<(i64, usize)> {
    let number = score.checked_neg().filter(|&number| number > 0)?;
    let place = usize::try_from(number % PLACES).ok().filter(|&place| place > 0)?;
    Some((number / PLACES, place))
}

/// A draft that has been read.
#[derive(Debug)]
pub(crate) struct Draft {
    pub number: i64,
    pub kept: Kept,
    pub sketch: Arc<Sketch>,
    pub lineup: Arc<Lineup>,
    /// The casts behind the proposals, where they were made since the desk was opened.
    pub casts: Vec<Option<Arc<Cast>>>,
    pub job: Option<Arc<Job>>,
    /// What the latest change did besides.
    pub said: String,
}

/// All drafts.
#[derive(Debug)]
pub(crate) struct Drafts {
    pub store: Store,
    held: Mutex<VecDeque<(i64, Arc<Mutex<Draft>>)>>,
    open: Mutex<VecDeque<Arc<Open>>>,
    /// One draft is read or begun at a time.
    reading: Mutex<()>,
    /// Deliveries under way, by score.
    delivering: Mutex<BTreeMap<i64, Arc<Job>>>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Drafts {
    pub(crate) fn beside(library: &Path) -> Self {
        Self {
            store: Store::beside(library),
            held: Mutex::default(),
            open: Mutex::default(),
            reading: Mutex::default(),
            delivering: Mutex::default(),
        }
    }

    /// The study of a sketch or proposal, when it has been made.
    pub(crate) fn open(&self, score: i64) -> Option<Arc<Open>> {
        let mut open = locked(&self.open);
        let place = open.iter().position(|one| one.score == score)?;
        let found = open.remove(place)?;
        open.push_back(Arc::clone(&found));
        Some(found)
    }

    /// Holds the study of a sketch or proposal open, in place of an older one.
    pub(crate) fn hold(&self, made: Arc<Open>) {
        let mut open = locked(&self.open);
        open.retain(|other| other.score != made.score);
        open.push_back(made);
        while open.len() > MOST_OPEN {
            open.pop_front();
        }
    }

    /// Begins a delivery of a score, unless one is under way.
    pub(crate) fn deliver(&self, desk: &Desk, score: i64) -> Outcome<Arc<Job>> {
        let mut all = locked(&self.delivering);
        all.retain(|_, job| !job.state().is_over());
        if all.contains_key(&score) {
            return Err(Failure::new(StatusCode::CONFLICT, "this score is being made ready already; wait, or break that off"));
        }
        let job = desk.jobs.begin("waits for its turn", None);
        all.insert(score, Arc::clone(&job));
        Ok(job)
    }

    /// Says that a score has other notes from now on, or is gone: what was delivered of it counts no more, nor what is being
    /// delivered.
    pub(crate) fn outdate(&self, score: i64) {
        let all = locked(&self.delivering);
        if let Some(job) = all.get(&score) {
            job.go(Stage::Failed, "the score has changed meanwhile; make its parts again", None);
        }
        self.store.forget_delivery(score);
    }

    /// Keeps a delivery, unless its job is over: broken off, or of notes that are no longer those.
    pub(crate) fn delivered(&self, score: i64, job: &Job, bytes: &[u8]) -> Outcome<()> {
        let _nothing_changes_meanwhile = locked(&self.delivering);
        if !job.state().is_over() {
            self.store.keep_delivery(score, bytes)?;
            job.go(Stage::Done, "done", None);
        }
        Ok(())
    }

    fn forget(&self, draft: i64) {
        locked(&self.held).retain(|(number, _)| *number != draft);
        locked(&self.open).retain(|open| -open.score / PLACES != draft);
    }

    /// A draft, read when it is not in hand.
    pub(crate) fn get(&self, draft: i64) -> Outcome<Arc<Mutex<Draft>>> {
        let known = |held: &mut VecDeque<(i64, Arc<Mutex<Draft>>)>| {
            let place = held.iter().position(|(number, _)| *number == draft)?;
            let found = held.remove(place)?;
            held.push_back(found.clone());
            Some(found.1)
        };
        if let Some(found) = known(&mut locked(&self.held)) {
            return Ok(found);
        }
        let _one_at_a_time = locked(&self.reading);
        if let Some(found) = known(&mut locked(&self.held)) {
            return Ok(found);
        }
        let kept = self.store.kept(draft)?;
        let sketch = Arc::new(self.store.sketch(draft, kept.sketch_file())?);
        let lineup = Arc::new(kept.now().lineup.lineup()?);
        let casts = kept.proposals.iter().map(|_| None).collect();
        let read = Draft { number: draft, kept, sketch, lineup, casts, job: None, said: String::new() };
        let made = Arc::new(Mutex::new(read));
        let mut held = locked(&self.held);
        held.push_back((draft, Arc::clone(&made)));
        // A draft at work, or in somebody's hands, stays: read again, it would not know of its job.
        while held.len() > MOST_HELD {
            let free = held.iter().position(|(_, one)| Arc::strong_count(one) == 1 && locked(one).at_work().is_none());
            let Some(place) = free else { break };
            held.remove(place);
        }
        Ok(made)
    }

    /// Does something with a draft.
    pub(crate) fn with<T>(&self, draft: i64, work: impl FnOnce(&mut Draft) -> Outcome<T>) -> Outcome<T> {
        let found = self.get(draft)?;
        let mut draft = locked(&found);
        draft.said.clear();
        work(&mut draft)
    }

    /// Keeps a new draft; of a file whose roles were found also its own staves, beside the sketch they were reduced to.
    pub(crate) fn begin(&self, sketch: &Sketch, mut kept: Kept, staves: Option<&Score>) -> Outcome<i64> {
        if sketch.score.bars.len() > MOST_BARS {
            return Err(Failure::refused(format!("a sketch of more than {MOST_BARS} bars; take it in pieces")));
        }
        if sketch.strands.is_empty() {
            return Err(Failure::refused("nothing sounds in this sketch"));
        }
        let draft = self.store.begin()?;
        if staves.is_some() {
            OWN_STAVES.clone_into(&mut kept.own_staves);
        }
        let mut files = std::iter::once((SKETCH, &sketch.score)).chain(staves.map(|staves| (OWN_STAVES, staves)));
        let mut written = files.try_for_each(|(file, score)| self.store.keep_score(draft, file, score));
        if written.is_ok() {
            written = self.store.keep(draft, &kept);
        }
        if let Err(failure) = written {
            // What could not be written whole is no draft.
            self.store.discard(draft);
            return Err(failure);
        }
        Ok(draft)
    }

    pub(crate) fn remove(&self, draft: i64) -> Outcome<()> {
        if let Ok(found) = self.get(draft)
            && let Some(job) = locked(&found).job.take()
        {
            job.cancel();
        }
        self.store.remove(draft)?;
        for place in 0..=MOST_PROPOSALS {
            self.outdate(score_number(draft, place));
        }
        self.forget(draft);
        Ok(())
    }
}

impl Draft {
    /// The job at work on it.
    pub(crate) fn at_work(&self) -> Option<Arc<Job>> {
        self.job.clone().filter(|job| !job.state().is_over())
    }

    /// Refuses while a job is at work.
    pub(crate) fn idle(&self) -> Outcome<()> {
        match self.at_work() {
            None => Ok(()),
            Some(_) => {
                Err(Failure::new(StatusCode::CONFLICT, "the draft is being worked on; wait until that is done, or break it off"))
            }
        }
    }

    /// Where a proposal stands among the others, by its number.
    pub(crate) fn place_of(&self, proposal: usize) -> Outcome<usize> {
        let place = self.kept.proposals.iter().position(|kept| kept.shown.number == proposal);
        place.ok_or_else(|| Failure::not_there("there is no such proposal"))
    }

    /// Its plan as casting takes it.
    pub(crate) fn plan(&self) -> Outcome<Plan> {
        plan_of(&self.kept.now().plan, &self.sketch, &self.lineup)
    }

    /// Goes a step on, and keeps it.
    pub(crate) fn step(&mut self, drafts: &Drafts, step: Step) -> Outcome<()> {
        self.step_with(drafts, self.kept.clone(), Arc::clone(&self.sketch), step)
    }

    /// As [`Self::step`], together with whatever else is kept otherwise: all of it or nothing.
    pub(crate) fn step_with(&mut self, drafts: &Drafts, mut kept: Kept, sketch: Arc<Sketch>, mut step: Step) -> Outcome<()> {
        let lineup = step.lineup.lineup()?;
        if let Some(said) = mended(&mut step.plan, &sketch, &lineup) {
            self.said = said;
        }
        plan_of(&step.plan, &sketch, &lineup)?;
        step.split.retain(|name| lineup.sections.iter().any(|section| section.name == *name));
        step.locks.retain(|lock| lock.locked(&lineup).is_some());
        kept.step(step);
        drafts.store.keep(self.number, &kept)?;
        (self.kept, self.sketch, self.lineup) = (kept, sketch, Arc::new(lineup));
        Ok(())
    }

    /// Takes steps back (`by` -1) or makes them again (1).
    pub(crate) fn turn(&mut self, drafts: &Drafts, by: isize) -> Outcome<()> {
        let at = self.kept.at.checked_add_signed(by).filter(|&at| at < self.kept.steps.len());
        let none = if by < 0 { "there is nothing to take back" } else { "there is nothing to make again" };
        let at = at.ok_or_else(|| Failure::new(StatusCode::CONFLICT, none))?;
        let mut kept = self.kept.clone();
        kept.at = at;
        let mut step = kept.now();
        let lineup = Arc::new(step.lineup.lineup()?);
        // The sketch has no steps: what names a staff that has another role now is left open.
        if let Some(said) = mended(&mut step.plan, &self.sketch, &lineup) {
            self.said = said;
            if let Some(kept) = kept.steps.get_mut(at) {
                *kept = step;
            }
        }
        drafts.store.keep(self.number, &kept)?;
        (self.kept, self.lineup) = (kept, lineup);
        Ok(())
    }

    /// Gives the staves of the sketch other roles.
    pub(crate) fn set_roles(&mut self, drafts: &Drafts, desk: &Desk, roles: &[String]) -> Outcome<()> {
        self.idle()?;
        let mut score = self.sketch.score.clone();
        if roles.len() != score.parts.len() {
            return Err(Failure::refused(format!("the sketch has {} staves; give each a role", score.parts.len())));
        }
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for (part, role) in score.parts.iter_mut().zip(roles) {
            let plain = part.name.trim().to_owned();
            if role.is_empty() {
                if ripieno_casting::role_named(&plain).is_some() {
                    part.name = format!("Left out ({plain})");
                }
                continue;
            }
            let title = super::ROLE_WORDS.iter().find(|(word, _)| word == role).map(|(_, title)| *title);
            let title = title.ok_or_else(|| Failure::refused(format!("“{role}” is no role of a staff")))?;
            let count = counts.entry(title).or_default();
            *count += 1;
            part.name = titled(title, *count, &plain);
        }
        let sketch = Sketch::by_names(score.clone()).filter(|sketch| !sketch.strands.is_empty());
        let sketch = sketch.ok_or_else(|| Failure::refused("give at least one staff a role"))?;
        let mut step = self.kept.now();
        let before = self.sketch.clone();
        // A staff that changes places takes its cells along.
        for task in step.plan.iter_mut().flat_map(|phrase| &mut phrase.tasks) {
            let part = before.strands.iter().find(|strand| strand.name == task.role).map(|strand| strand.part);
            if let Some(now) = part.and_then(|part| sketch.strands.iter().find(|strand| strand.part == part)) {
                task.role.clone_from(&now.name);
            }
        }
        let mut kept = self.kept.clone();
        for proposal in &mut kept.proposals {
            // Names of strands are part of what was asked: the proposal counts as old from now on.
            proposal.shown.is_old = true;
        }
        // Until the draft names the new file, the old one is the sketch.
        kept.sketch = drafts.store.keep_new(self.number, "sketch", &score)?;
        kept.remember();
        let (file, old) = (kept.sketch.clone(), self.kept.sketch_file().to_owned());
        if let Err(failure) = self.step_with(drafts, kept, Arc::new(sketch), step) {
            drafts.store.forget(self.number, &file);
            return Err(failure);
        }
        self.put_in_place(drafts, desk, &old, score);
        Ok(())
    }

    /// Forgets the file of an older sketch. Where one can choose between a file's own staves and the reduction, both stay, with the roles
    /// they were given last.
    fn let_go(&self, drafts: &Drafts, old: &str) {
        if !self.kept.names(old) {
            drafts.store.forget(self.number, old);
        }
    }

    /// What follows from another sketch: the file of the old one is let go, nothing is cast, and the new one can be looked at.
    fn put_in_place(&mut self, drafts: &Drafts, desk: &Desk, old: &str, score: Score) {
        self.let_go(drafts, old);
        self.casts.iter_mut().for_each(|cast| *cast = None);
        let number = score_number(self.number, 0);
        drafts.hold(studied(desk, number, &self.kept.title, score));
        drafts.outdate(number);
    }

    /// Takes the file's own staves as the sketch, each in the role it has most often or was given by hand, or the reduction by the roles found.
    pub(crate) fn use_own_staves(&mut self, drafts: &Drafts, desk: &Desk, own: bool) -> Outcome<()> {
        self.idle()?;
        if self.kept.own_staves.is_empty() {
            return Err(Failure::refused("the sketch is made of the file's own staves already"));
        }
        let mut kept = self.kept.clone();
        for proposal in &mut kept.proposals {
            proposal.shown.is_old = true;
        }
        // Drafts of before did not say it at once.
        kept.remember();
        kept.sketch = if own { kept.own_staves.clone() } else { kept.reduction.clone() };
        kept.uses_own_staves = own;
        let sketch = Arc::new(drafts.store.sketch(self.number, kept.sketch_file())?);
        let old = self.kept.sketch_file().to_owned();
        let score = sketch.score.clone();
        self.step_with(drafts, kept, sketch, self.kept.now())?;
        self.put_in_place(drafts, desk, &old, score);
        Ok(())
    }

    /// Sees to it that the sketch and the proposals can be looked at and heard.
    pub(crate) fn hold_all(&self, drafts: &Drafts, desk: &Desk) -> Outcome<()> {
        let sketch = score_number(self.number, 0);
        if drafts.open(sketch).is_none() {
            drafts.hold(studied(desk, sketch, &self.kept.title, self.sketch.score.clone()));
        }
        for proposal in &self.kept.proposals {
            let number = proposal.shown.score;
            if drafts.open(number).is_none() {
                let score = drafts.store.score(self.number, &proposal.file)?;
                drafts.hold(studied(desk, number, &self.kept.called(proposal), score));
            }
        }
        Ok(())
    }

    /// Keeps new proposals in place of those there were, or of the one at a place. Their files were written before and are others than
    /// the old ones, so that at any moment what is told and what is written belong together.
    pub(crate) fn take(&mut self, drafts: &Drafts, made: Vec<Made>, place: Option<usize>) -> Outcome<()> {
        let mut kept = self.kept.clone();
        let all = place.map_or(0..kept.proposals.len(), |at| at..at + 1);
        let old: Vec<KeptProposal> = kept.proposals.splice(all.clone(), made.iter().map(|one| one.kept.clone())).collect();
        // Both before, so that no old parts are found when the desk ends in between, and after, when nobody can begin with the old notes.
        old.iter().for_each(|one| drafts.outdate(one.shown.score));
        drafts.store.keep(self.number, &kept)?;
        self.kept = kept;
        self.casts.splice(all, made.iter().map(|one| Some(Arc::clone(&one.cast))));
        locked(&drafts.open).retain(|open| !old.iter().any(|one| one.shown.score == open.score));
        made.into_iter().for_each(|one| drafts.hold(one.open));
        for one in &old {
            drafts.outdate(one.shown.score);
            drafts.store.forget(self.number, &one.file);
        }
        Ok(())
    }

    pub(crate) fn proposal_shown(&self, drafts: &Drafts, kept: &KeptProposal) -> ProposalShown {
        let now = self.kept.now();
        let bars = |step: &Step| step.plan.iter().map(|phrase| (phrase.first, phrase.last)).collect::<Vec<_>>();
        let is_old = kept.shown.is_old || kept.asked.lineup != now.lineup || bars(&kept.asked) != bars(&now);
        let open = drafts.open(kept.shown.score);
        let heads =
            |locks: &[LockRow]| open.as_ref().map(|open| heads(locks, &open.study.score, &open.study.sounding, &self.lineup));
        // Notes set since that it has already ask for nothing.
        let has = |locks: &[LockRow]| heads(locks).is_some_and(|found| found.len() == locks.len());
        let (locks, before) = (by_time(&now.locks), by_time(&kept.asked.locks));
        let differs = |&at: &usize| {
            let phrase = now.plan.get(at);
            let has_other = |phrase| {
                let set = within(&locks, &self.sketch, phrase);
                set != within(&before, &self.sketch, phrase)
                    && !has(&set.iter().map(|(_, lock)| (*lock).clone()).collect::<Vec<_>>())
            };
            kept.asked.plan.get(at) != phrase || phrase.is_some_and(has_other)
        };
        let mut set_heads = heads(&now.locks).unwrap_or_default();
        set_heads.sort_unstable();
        // Halves of a body in unison have one notehead.
        set_heads.dedup();
        ProposalShown {
            changed: if is_old { Vec::new() } else { (0..now.plan.len()).filter(differs).collect() },
            is_old,
            like: kept.model.like,
            like_profile: kept.model.like_profile,
            set: if is_old { Vec::new() } else { set_heads },
            revision: open.map_or(0, |open| open.revision),
            ..kept.shown.clone()
        }
    }

    /// The draft as the page shows it.
    pub(crate) fn shown(&self, drafts: &Drafts) -> DraftShown {
        let now = self.kept.now();
        let groups = groups_of(&self.lineup, &now.split);
        DraftShown {
            draft: self.number,
            title: self.kept.title.clone(),
            from: self.kept.from.clone(),
            source: self.kept.source,
            has_passage: self.kept.source.is_some() && self.kept.source_bars.is_some(),
            sketch: score_number(self.number, 0),
            staves: staves_of(&self.sketch),
            strands: strands_of(&self.sketch),
            bars: (0..self.sketch.score.bars.len()).map(|bar| self.sketch.bar_name(bar)).collect(),
            has_own_lineup: self.kept.own_lineup.is_some(),
            split: now.split,
            groups: groups.iter().map(|unit| group_shown(&self.lineup, unit)).collect(),
            people: self.lineup.people(),
            lineup: now.lineup,
            plan: now.plan,
            locks: shown(&now.locks, &self.sketch, &self.lineup),
            has_own_staves: !self.kept.own_staves.is_empty(),
            uses_own_staves: self.kept.uses_own_staves,
            can_undo: self.kept.at > 0,
            can_redo: self.kept.at + 1 < self.kept.steps.len(),
            proposals: self.kept.proposals.iter().map(|kept| self.proposal_shown(drafts, kept)).collect(),
            job: self.at_work().map(|job| job.state()),
            remarks: self.kept.remarks.iter().chain(&self.sketch.remarks).cloned().collect(),
            said: self.said.clone(),
        }
    }
}

/// A staff by its role, numbered where several have it; what it was called before stays in brackets.
pub(crate) fn titled(title: &str, count: usize, before: &str) -> String {
    let numbered = if count == 1 { title.to_owned() } else { format!("{title} {count}") };
    // Of names that were given here only the brackets are the file's.
    let own = match ripieno_casting::role_named(before) {
        Some(_) => before.split_once('(').map(|(_, rest)| rest.trim_end_matches(')')),
        None => Some(before.strip_prefix("Left out (").map_or(before, |rest| rest.trim_end_matches(')'))),
    };
    match own.map(str::trim).filter(|own| !own.is_empty() && ripieno_casting::role_named(own).is_none()) {
        Some(own) => format!("{numbered} ({own})"),
        None => numbered,
    }
}

/// A proposal just made.
#[derive(Debug)]
pub(crate) struct Made {
    pub kept: KeptProposal,
    pub cast: Arc<Cast>,
    pub open: Arc<Open>,
}

/// A score under another title.
pub(crate) fn entitled(score: Score, title: &str) -> Score {
    let about = About { work: title.to_owned(), movement: String::new(), movement_number: String::new(), ..score.about };
    Score { about, ..score }
}

/// Studies a sketch or a proposal under its title.
fn studied(desk: &Desk, score: i64, title: &str, notes: Score) -> Arc<Open> {
    let notes = entitled(notes, title);
    let study = analyse(title.to_owned(), Reading { score: notes, findings: Vec::new(), format: Format::MusicXml });
    Arc::new(Open { score, revision: desk.next_revision(), study, view: OnceLock::new() })
}

/// Everything a cast is made from.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    pub draft: i64,
    pub title: String,
    pub step: Step,
    pub sketch: Arc<Sketch>,
    pub lineup: Arc<Lineup>,
    pub model: Model,
}

impl Asked {
    pub(crate) fn of(draft: &Draft, model: Model) -> Self {
        Self {
            draft: draft.number,
            title: draft.kept.title.clone(),
            step: draft.kept.now(),
            sketch: Arc::clone(&draft.sketch),
            lineup: Arc::clone(&draft.lineup),
            model,
        }
    }

    /// Writes a cast's score down under a new name, studies it, and answers it as a proposal.
    pub(crate) fn made(&self, desk: &Desk, number: usize, cast: Cast, seed: u64, seconds: f64) -> Outcome<Made> {
        let store = &desk.drafts.store;
        let score = cast.score(&self.sketch, &self.lineup);
        let file = store.keep_new(self.draft, &format!("proposal-{number}"), &score)?;
        // Read back, so that what is seen and heard is what is delivered.
        let title = called(&self.title, &self.step);
        let open = studied(desk, score_number(self.draft, number), &title, store.score(self.draft, &file)?);
        let kept = KeptProposal {
            file,
            asked: self.step.clone(),
            plan: rows_of(&cast.plan, &self.sketch, &self.lineup),
            seed,
            again: Vec::new(),
            locks: self.step.locks.clone(),
            model: self.model,
            habits: None,
            shown: proposal_of(number, open.score, &cast, &self.sketch, &self.lineup, seconds),
        };
        Ok(Made { kept, cast: Arc::new(cast), open })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test fails by panicking
mod tests {
    use std::path::PathBuf;

    use ripieno_formats::{Limits, read};

    use super::*;
    use crate::jobs::Jobs;
    use crate::write::lineup::known_named;

    struct Folder(PathBuf);

    impl Folder {
        fn new(name: &str) -> Self {
            let path = std::env::temp_dir().join(format!("ripieno-desk-drafts-{name}-{}", std::process::id()));
            let _ = std::fs::remove_dir_all(&path);
            Self(path)
        }

        fn drafts(&self) -> Drafts {
            Drafts::beside(&self.0.join("library.db"))
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = std::fs::remove_dir_all(&self.0);
        }
    }

    fn begun(drafts: &Drafts) -> i64 {
        let reading = read("sketch.musicxml", crate::write::DEMO_SKETCH, &Limits::default()).unwrap();
        let sketch = Sketch::by_names(reading.score).unwrap();
        let lineup = known_named("lifeboat-brass").unwrap();
        let plan = rows_of(&Plan::phrases_of(&sketch), &sketch, &lineup.lineup().unwrap());
        drafts.begin(&sketch, Kept { steps: vec![Step { lineup, plan, ..Step::default() }], ..Kept::default() }, None).unwrap()
    }

    #[test]
    fn a_draft_at_work_stays_in_hand() {
        let folder = Folder::new("held");
        let (drafts, jobs) = (folder.drafts(), Jobs::default());
        let all: Vec<i64> = (0..MOST_HELD + 3).map(|_| begun(&drafts)).collect();
        let job = jobs.begin("casting", None);
        locked(&drafts.get(all[0]).unwrap()).job = Some(Arc::clone(&job));
        for &other in &all[1..] {
            drafts.get(other).unwrap();
        }
        assert_eq!(drafts.with(all[0], |draft| draft.idle()).map_err(|failure| failure.status), Err(409));
        assert_eq!(locked(&drafts.held).len(), MOST_HELD);
        job.go(Stage::Done, "done", None);
        for &other in &all[1..] {
            drafts.get(other).unwrap();
        }
        assert!(!locked(&drafts.held).iter().any(|(number, _)| *number == all[0]), "what is done makes room");
    }

    #[test]
    fn what_was_delivered_goes_with_its_notes() {
        let folder = Folder::new("outdated");
        let (drafts, jobs) = (folder.drafts(), Jobs::default());
        let begin = || {
            let job = jobs.begin("writing the parts", None);
            locked(&drafts.delivering).insert(-11, Arc::clone(&job));
            job
        };
        let first = begin();
        drafts.delivered(-11, &first, b"old").unwrap();
        assert_eq!((first.state().stage, std::fs::read(drafts.store.delivery(-11)).unwrap()), (Stage::Done, b"old".to_vec()));
        drafts.outdate(-11);
        assert!(!drafts.store.delivery(-11).exists());
        // One under way when the notes change keeps nothing, and says why.
        let late = begin();
        drafts.outdate(-11);
        drafts.delivered(-11, &late, b"old").unwrap();
        assert!(!drafts.store.delivery(-11).exists());
        assert!(late.state().stage == Stage::Failed && late.state().message.contains("changed meanwhile"));
    }

    #[test]
    fn nothing_is_left_of_a_draft_that_could_not_be_begun() {
        let folder = Folder::new("begun");
        let drafts = folder.drafts();
        let draft = drafts.store.begin().unwrap();
        drafts.store.write(draft, SKETCH, b"half").unwrap();
        drafts.store.discard(draft);
        assert_eq!(std::fs::read_dir(folder.0.join("library-drafts")).unwrap().count(), 0);
    }
}
