//! Casting a draft: proposals as a job, and single phrases again at once.

use std::sync::Arc;
use std::time::Instant;

use axum::http::StatusCode;
use ripieno_casting::{Cast, Habits, Lineup, Options, Sketch, cast, proposals_unless, recast};
use ripieno_deliver::Unresolved;
use ripieno_formats::musicxml;
use ripieno_study::analyse_file;

use super::drafts::{Asked, Draft, MOST_PROPOSALS, Made, place_of_score};
use super::habits::KeptHabits;
use super::locks::{LockRow, LockWanted, by_time, changed, locked, within};
use super::plan::plan_of;
use super::shown::DraftShown;
use super::store::{Again, KeptProposal, Model, Step};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};
use crate::jobs::{Job, Stage};
use crate::studied::limits;

/// The habits of the model; the usual ones without.
fn habits(desk: &Desk, model: Model) -> Outcome<Habits> {
    if let Some(profile) = model.like_profile {
        return Ok(Habits::of(&*desk.saved_profiles.get(profile)?, |_| false));
    }
    let Some(score) = model.like else { return Ok(Habits::usual()) };
    let kept = desk.kept(score)?;
    let profile = match desk.open(score) {
        Some(open) => open.study.profile(false),
        None => {
            let study = analyse_file(std::path::Path::new(&kept.path), &limits());
            study.map_err(|error| Failure::refused(error.to_string()))?.profile(false)
        }
    };
    Ok(Habits::of(&profile, |_| false))
}

/// Begins to make proposals.
pub(crate) fn begin(desk: &Desk, draft: i64, count: usize, seed: u64, model: Model) -> Outcome<Arc<Job>> {
    if !(1..=MOST_PROPOSALS).contains(&count) {
        return Err(Failure::refused(format!("there are 1 to {MOST_PROPOSALS} proposals")));
    }
    match model {
        Model { like: Some(_), like_profile: Some(_) } => {
            return Err(Failure::refused("one model at a time: a score or a saved profile"));
        }
        Model { like: Some(score), .. } => drop(desk.kept(score)?),
        Model { like_profile: Some(profile), .. } => drop(desk.saved_profiles.named(profile)?),
        Model { .. } => {}
    }
    let job = desk.drafts.with(draft, |draft| {
        draft.idle()?;
        draft.plan()?;
        let job = desk.jobs.begin("waits for its turn", None);
        draft.job = Some(Arc::clone(&job));
        Ok(job)
    })?;
    let (desk, working) = (desk.clone(), Arc::clone(&job));
    tokio::spawn(async move {
        let Ok(_turn) = Arc::clone(&desk.turns).acquire_owned().await else { return };
        let job = Arc::clone(&working);
        let done = tokio::task::spawn_blocking(move || work(&desk, draft, count, seed, model, &working)).await;
        let failed = match done {
            Ok(Ok(())) => return,
            Ok(Err(failure)) => failure.message,
            Err(_) => BROKE_DOWN.to_owned(),
        };
        job.go(Stage::Failed, failed, None);
    });
    Ok(job)
}

fn work(desk: &Desk, number: i64, count: usize, seed: u64, model: Model, job: &Job) -> Outcome<()> {
    let drafts = &desk.drafts;
    let asked = drafts.with(number, |draft| Ok(Asked::of(draft, model)))?;
    if model.is_some() && !job.go(Stage::Reading, "learning how the model does it", None) {
        return Ok(());
    }
    let habits = habits(desk, model)?;
    if !job.go(Stage::Studying, "casting", None) {
        return Ok(());
    }
    let plan = plan_of(&asked.step.plan, &asked.sketch, &asked.lineup)?;
    let begun = Instant::now();
    let options = Options { seed, locks: locked(&asked.step.locks, &asked.lineup), ..Options::default() };
    let stop = || job.is_cancelled();
    let casts: Vec<Cast> = proposals_unless(&asked.sketch, &asked.lineup, &plan, &habits, &options, count, &stop);
    let seconds = begun.elapsed().as_secs_f64();
    let mut made = Vec::new();
    for (n, cast) in casts.into_iter().enumerate() {
        if !job.go(Stage::Studying, format!("reading proposal {} of {count} through", n + 1), None) {
            made.iter().for_each(|one: &Made| drafts.store.forget(number, &one.kept.file));
            return Ok(());
        }
        let mut one = asked.made(desk, n + 1, cast, options.seed_of(n), seconds)?;
        one.kept.habits = model.is_some().then(|| KeptHabits::of(&habits));
        made.push(one);
    }
    drafts.with(number, |draft| {
        if job.is_cancelled() {
            made.iter().for_each(|one| drafts.store.forget(number, &one.kept.file));
            return Ok(());
        }
        draft.take(drafts, made, None)
    })?;
    job.go(Stage::Done, "done", None);
    Ok(())
}

/// The habits a proposal was filled in by. Older drafts do not keep them: they are learnt from the score as it is now.
fn habits_of(desk: &Desk, kept: &KeptProposal) -> Outcome<Habits> {
    kept.habits.as_ref().map_or_else(|| habits(desk, kept.model), |habits| Ok(habits.habits()))
}

/// What a proposal was made from, taken out of its draft so that nobody waits for the draft meanwhile.
struct Behind {
    draft: i64,
    kept: KeptProposal,
    sketch: Arc<Sketch>,
    lineup: Arc<Lineup>,
    /// The cast, where it was made since the desk was opened.
    known: Option<Arc<Cast>>,
}

impl Behind {
    fn of(draft: &Draft, at: usize) -> Outcome<Self> {
        let kept = draft.kept.proposals.get(at).cloned().ok_or_else(|| Failure::not_there("there is no such proposal"))?;
        let known = draft.casts.get(at).cloned().flatten();
        Ok(Self { draft: draft.number, kept, sketch: Arc::clone(&draft.sketch), lineup: Arc::clone(&draft.lineup), known })
    }

    /// The cast behind the proposal; made once more from what was asked for when the desk was opened anew.
    fn cast(&self, desk: &Desk) -> Outcome<Arc<Cast>> {
        if let Some(known) = &self.known {
            return Ok(Arc::clone(known));
        }
        let Self { kept, sketch, lineup, .. } = self;
        let habits = habits_of(desk, kept)?;
        let options = |seed: u64, locks: &[LockRow]| Options { locks: locked(locks, lineup), ..Options::default().seeded(seed) };
        let plan = plan_of(&kept.plan, sketch, lineup)?;
        let mut made = cast(sketch, lineup, &plan, &habits, &options(kept.seed, &kept.locks));
        let mut asked = kept.plan.clone();
        for again in &kept.again {
            for (place, phrase) in &again.phrases {
                if let Some(row) = asked.get_mut(*place) {
                    row.clone_from(phrase);
                }
            }
            let phrases: Vec<usize> = again.phrases.iter().map(|(place, _)| *place).collect();
            let plan = plan_of(&asked, sketch, lineup)?;
            made = recast(sketch, lineup, &plan, &habits, &options(again.seed, &again.locks), &made, &phrases);
        }
        // Another version of the program may cast otherwise: what a person has heard is not changed unasked.
        let written = musicxml::write(&made.score(sketch, lineup));
        if desk.drafts.store.read(self.draft, &kept.file)? != written.as_bytes() {
            return Err(Failure::refused(
                "this proposal was made by another version of the program; it can be heard and delivered, but no phrase of it cast again. Propose anew",
            ));
        }
        Ok(Arc::new(made))
    }
}

const BROKE_DOWN: &str = "casting broke down. Please report the sketch and the line-up";

/// Ends its job when it goes, whatever happens on the way, so that no draft is left at work for good.
struct Ends(Arc<Job>);

impl Drop for Ends {
    fn drop(&mut self) {
        self.0.go(Stage::Failed, BROKE_DOWN, None);
    }
}

/// Casts some phrases of a proposal again by the plan as it is now, or with another seed; all others stay note for note. Meanwhile the draft can
/// be looked at and planned on; whatever needs it idle is told that it is being worked on.
pub(crate) fn again(desk: &Desk, number: i64, proposal: usize, phrases: &[usize], seed: Option<u64>) -> Outcome<DraftShown> {
    let drafts = &desk.drafts;
    let (behind, asked, at, job) = drafts.with(number, |draft| {
        draft.idle()?;
        let at = draft.place_of(proposal)?;
        let behind = Behind::of(draft, at)?;
        let asked = Asked::of(draft, behind.kept.model);
        if draft.shown(drafts).proposals.get(at).is_some_and(|one| one.is_old) {
            return Err(Failure::refused("line-up, sketch or phrases have changed since; ask for new proposals"));
        }
        if phrases.is_empty() || phrases.iter().any(|&phrase| phrase >= asked.step.plan.len()) {
            return Err(Failure::refused("choose a phrase of the plan"));
        }
        let job = desk.jobs.begin("casting again", None);
        draft.job = Some(Arc::clone(&job));
        Ok((behind, asked, at, Ends(job)))
    })?;
    let made = again_made(desk, &behind, &asked, phrases, seed, proposal);
    let done = drafts.with(number, |draft| {
        let made = made?;
        if job.0.is_cancelled() {
            drafts.store.forget(number, &made.kept.file);
            return Err(Failure::new(StatusCode::CONFLICT, "broken off"));
        }
        draft.take(drafts, vec![made], Some(at))?;
        Ok(())
    });
    // The draft is free before anybody hears of it.
    match &done {
        Ok(()) => job.0.go(Stage::Done, "done", None),
        Err(failure) => job.0.go(Stage::Failed, failure.message.clone(), None),
    };
    done?;
    drafts.with(number, |draft| Ok(draft.shown(drafts)))
}

fn again_made(
    desk: &Desk,
    behind: &Behind,
    asked: &Asked,
    phrases: &[usize],
    seed: Option<u64>,
    proposal: usize,
) -> Outcome<Made> {
    let kept = &behind.kept;
    let before = behind.cast(desk)?;
    let habits = habits_of(desk, kept)?;
    let plan = plan_of(&asked.step.plan, &asked.sketch, &asked.lineup)?;
    let seed = seed.unwrap_or(kept.seed);
    let begun = Instant::now();
    let options = Options { locks: locked(&asked.step.locks, &asked.lineup), ..Options::default().seeded(seed) };
    let done = recast(&asked.sketch, &asked.lineup, &plan, &habits, &options, &before, phrases);
    let mut made = asked.made(desk, proposal, done, kept.seed, begun.elapsed().as_secs_f64())?;
    let row = |&phrase: &usize| Some((phrase, asked.step.plan.get(phrase)?.clone()));
    let again = Again { phrases: phrases.iter().filter_map(row).collect(), seed, locks: asked.step.locks.clone() };
    made.kept.habits = kept.model.is_some().then(|| KeptHabits::of(&habits));
    made.kept.plan.clone_from(&kept.plan);
    made.kept.locks.clone_from(&kept.locks);
    made.kept.again = kept.again.iter().cloned().chain([again]).collect();
    // Phrases not cast again were asked for as they were then, notes that were set included.
    let of = |phrase: usize| if phrases.contains(&phrase) { &asked.step } else { &kept.asked };
    let all = 0..asked.step.plan.len();
    made.kept.asked.plan = all.clone().filter_map(|phrase| of(phrase).plan.get(phrase)).cloned().collect();
    let (now, before) = (by_time(&asked.step.locks), by_time(&kept.asked.locks));
    made.kept.asked.locks = all
        .filter_map(|phrase| Some((if phrases.contains(&phrase) { &now } else { &before }, asked.step.plan.get(phrase)?)))
        .flat_map(|(locks, row)| within(locks, &asked.sketch, row))
        .map(|(_, lock)| (*lock).clone())
        .collect();
    Ok(made)
}

/// What casting estimates of a proposal and nobody has objected to, as points for its proof list; nothing of any other score.
pub(crate) fn estimated(desk: &Desk, score: i64) -> Vec<Unresolved> {
    let Some((draft, place)) = place_of_score(score) else { return Vec::new() };
    let behind = desk.drafts.with(draft, |draft| Behind::of(draft, draft.place_of(place)?));
    let (behind, cast) = match behind.and_then(|behind| behind.cast(desk).map(|cast| (behind, cast))) {
        Ok(both) => both,
        Err(failure) => {
            let what = format!("what casting estimated of it is not known any more: {}", failure.message);
            return vec![Unresolved::of_all("", what, "propose anew, or listen for a covered melody")];
        }
    };
    let points = cast.covered.iter();
    points.map(|one| Unresolved::of_all(one.named(&behind.sketch), one.what(), one.remedy()).at(one.bars.start)).collect()
}

/// Sets, moves or frees a single note of a proposal; its phrase is to be cast again.
pub(crate) fn lock(desk: &Desk, number: i64, wanted: LockWanted) -> Outcome<DraftShown> {
    let drafts = &desk.drafts;
    // The cast behind a proposal may have to be made once more: that is done before the draft is held.
    let (behind, open, step) = drafts.with(number, |draft| {
        draft.hold_all(drafts, desk)?;
        let behind = Behind::of(draft, draft.place_of(wanted.proposal)?)?;
        let open = drafts.open(behind.kept.shown.score).ok_or_else(|| Failure::not_there("there is no such proposal"))?;
        Ok((behind, open, draft.kept.now()))
    })?;
    if behind.kept.shown.is_old || behind.kept.asked.lineup != step.lineup {
        return Err(Failure::refused("line-up, sketch or phrases have changed since; ask for new proposals"));
    }
    // Part and note count in the score that was looked at: in another they are another note.
    if open.revision != wanted.revision {
        return Err(Failure::new(StatusCode::CONFLICT, "the proposal has other notes meanwhile; pick the note again"));
    }
    let score = (&open.study.score, &open.study.sounding);
    let (locks, said) = changed(&step.locks, wanted, score, &behind.lineup, || behind.cast(desk))?;
    drafts.with(number, |draft| {
        if draft.kept.now() != step {
            return Err(Failure::new(StatusCode::CONFLICT, "the draft has changed meanwhile; set the note again"));
        }
        draft.step(drafts, Step { locks, ..step })?;
        draft.said = said;
        Ok(draft.shown(drafts))
    })
}
