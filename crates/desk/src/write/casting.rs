//! Casting a draft: proposals as a job, and single phrases again at once.

use std::sync::Arc;
use std::time::Instant;

use ripieno_casting::{Cast, Habits, Options, cast, proposals_unless, recast};
use ripieno_formats::musicxml;
use ripieno_study::analyse_file;

use super::drafts::{Asked, Draft, MOST_PROPOSALS, Made};
use super::habits::KeptHabits;
use super::plan::plan_of;
use super::shown::DraftShown;
use super::store::{Again, KeptProposal};
use crate::desk::Desk;
use crate::failure::{Failure, Outcome};
use crate::jobs::{Job, Stage};
use crate::studied::limits;

/// The habits of a score of the library; the usual ones without.
fn habits(desk: &Desk, like: Option<i64>) -> Outcome<Habits> {
    let Some(score) = like else { return Ok(Habits::usual()) };
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
pub(crate) fn begin(desk: &Desk, draft: i64, count: usize, seed: u64, like: Option<i64>) -> Outcome<Arc<Job>> {
    if !(1..=MOST_PROPOSALS).contains(&count) {
        return Err(Failure::refused(format!("there are 1 to {MOST_PROPOSALS} proposals")));
    }
    if let Some(score) = like {
        desk.kept(score)?;
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
        let done = tokio::task::spawn_blocking(move || work(&desk, draft, count, seed, like, &working)).await;
        let failed = match done {
            Ok(Ok(())) => return,
            Ok(Err(failure)) => failure.message,
            Err(_) => "casting broke down. Please report the sketch and the line-up".to_owned(),
        };
        job.go(Stage::Failed, failed, None);
    });
    Ok(job)
}

fn work(desk: &Desk, number: i64, count: usize, seed: u64, like: Option<i64>, job: &Job) -> Outcome<()> {
    let drafts = &desk.drafts;
    let asked = drafts.with(number, |draft| Ok(Asked::of(draft, like)))?;
    if like.is_some() && !job.go(Stage::Reading, "learning how the score taken as a model does it", None) {
        return Ok(());
    }
    let habits = habits(desk, like)?;
    if !job.go(Stage::Studying, "casting", None) {
        return Ok(());
    }
    let plan = plan_of(&asked.step.plan, &asked.sketch, &asked.lineup)?;
    let begun = Instant::now();
    let options = Options { seed, ..Options::default() };
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
        one.kept.habits = like.map(|_| KeptHabits::of(&habits));
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
    kept.habits.as_ref().map_or_else(|| habits(desk, kept.like), |habits| Ok(habits.habits()))
}

/// The cast behind a proposal; made once more from what was asked for when the desk was opened anew.
fn cast_of(desk: &Desk, draft: &mut Draft, at: usize) -> Outcome<Arc<Cast>> {
    if let Some(Some(known)) = draft.casts.get(at) {
        return Ok(Arc::clone(known));
    }
    let Some(kept) = draft.kept.proposals.get(at).cloned() else { return Err(Failure::not_there("there is no such proposal")) };
    let habits = habits_of(desk, &kept)?;
    let (sketch, lineup) = (Arc::clone(&draft.sketch), Arc::clone(&draft.lineup));
    let plan = plan_of(&kept.plan, &sketch, &lineup)?;
    let mut made = cast(&sketch, &lineup, &plan, &habits, &Options::default().seeded(kept.seed));
    let mut asked = kept.plan.clone();
    for again in &kept.again {
        for (place, phrase) in &again.phrases {
            if let Some(row) = asked.get_mut(*place) {
                row.clone_from(phrase);
            }
        }
        let phrases: Vec<usize> = again.phrases.iter().map(|(place, _)| *place).collect();
        let plan = plan_of(&asked, &sketch, &lineup)?;
        made = recast(&sketch, &lineup, &plan, &habits, &Options::default().seeded(again.seed), &made, &phrases);
    }
    // Another version of the program may cast otherwise: what a person has heard is not changed unasked.
    let written = musicxml::write(&made.score(&sketch, &lineup));
    if desk.drafts.store.read(draft.number, &kept.file)? != written.as_bytes() {
        return Err(Failure::refused(
            "this proposal was made by another version of the program; it can be heard and delivered, but no phrase of it cast again. Propose anew",
        ));
    }
    let made = Arc::new(made);
    if let Some(place) = draft.casts.get_mut(at) {
        *place = Some(Arc::clone(&made));
    }
    Ok(made)
}

/// Casts some phrases of a proposal again by the plan as it is now, or with another seed; all others stay note for note.
pub(crate) fn again(desk: &Desk, number: i64, proposal: usize, phrases: &[usize], seed: Option<u64>) -> Outcome<DraftShown> {
    let drafts = &desk.drafts;
    drafts.with(number, |draft| {
        draft.idle()?;
        let at = draft.kept.proposals.iter().position(|kept| kept.shown.number == proposal);
        let at = at.ok_or_else(|| Failure::not_there("there is no such proposal"))?;
        let kept = draft.kept.proposals[at].clone();
        let asked = Asked::of(draft, kept.like);
        if draft.shown(drafts).proposals.get(at).is_some_and(|one| one.is_old) {
            return Err(Failure::refused("line-up, sketch or phrases have changed since; ask for new proposals"));
        }
        if phrases.is_empty() || phrases.iter().any(|&phrase| phrase >= asked.step.plan.len()) {
            return Err(Failure::refused("choose a phrase of the plan"));
        }
        let before = cast_of(desk, draft, at)?;
        let habits = habits_of(desk, &kept)?;
        let plan = draft.plan()?;
        let seed = seed.unwrap_or(kept.seed);
        let begun = Instant::now();
        let done = recast(&asked.sketch, &asked.lineup, &plan, &habits, &Options::default().seeded(seed), &before, phrases);
        let mut made = asked.made(desk, proposal, done, kept.seed, begun.elapsed().as_secs_f64())?;
        let row = |&phrase: &usize| Some((phrase, asked.step.plan.get(phrase)?.clone()));
        let again = Again { phrases: phrases.iter().filter_map(row).collect(), seed };
        made.kept.habits = kept.like.map(|_| KeptHabits::of(&habits));
        made.kept.plan = kept.plan;
        made.kept.again = kept.again.into_iter().chain([again]).collect();
        // Phrases not cast again were asked for as they were then.
        made.kept.asked.plan = (0..asked.step.plan.len())
            .filter_map(
                |phrase| if phrases.contains(&phrase) { asked.step.plan.get(phrase) } else { kept.asked.plan.get(phrase) },
            )
            .cloned()
            .collect();
        draft.take(drafts, vec![made], Some(at))?;
        Ok(draft.shown(drafts))
    })
}
