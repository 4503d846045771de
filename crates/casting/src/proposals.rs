//! Several castings of one sketch that differ, and what each is called.

use ripieno_texture::Role;

use crate::cast::{Cast, Options, in_phrases, never, realise};
use crate::explain::differing;
use crate::filling::{Filling, Taken};
use crate::habits::Habits;
use crate::held::held_over;
use crate::lineup::Lineup;
use crate::plan::{PhrasePlan, Plan};
use crate::realise::Seat;
use crate::sketch::Sketch;

impl Options {
    /// The seed with which [`proposals`] makes proposal `n` (from 0): a proposal kept with it is made again as it was.
    #[must_use]
    pub fn seed_of(&self, n: usize) -> u64 {
        match u64::try_from(n) {
            Ok(0) | Err(_) => 0,
            Ok(n) => self.seed.wrapping_mul(1_000_003).wrapping_add(n).max(1),
        }
    }

    /// These options with one seed for who does what and for the voicings.
    #[must_use]
    pub fn seeded(&self, seed: u64) -> Self {
        let mut seeded = self.clone();
        (seeded.taste.seed, seeded.search.seed) = (seed, seed);
        seeded
    }
}

/// Several castings that differ: in who does what where the plan leaves that open, else in the voicings. The first is the best known.
#[must_use]
pub fn proposals(sketch: &Sketch, lineup: &Lineup, plan: &Plan, habits: &Habits, options: &Options, count: usize) -> Vec<Cast> {
    proposals_unless(sketch, lineup, plan, habits, options, count, &never)
}

/// The same, given up as soon as `stop` says so, which is asked before each phrase: then the proposals that were finished.
#[must_use]
pub fn proposals_unless(
    sketch: &Sketch,
    lineup: &Lineup,
    plan: &Plan,
    habits: &Habits,
    options: &Options,
    count: usize,
    stop: &dyn Fn() -> bool,
) -> Vec<Cast> {
    let mut found: Vec<Cast> = Vec::new();
    let mut taken: Vec<Taken> = Vec::new();
    let plan = &*in_phrases(sketch, plan);
    let sketch = &*held_over(sketch, plan);
    for n in 0..count {
        let mut options = if n > 0 { options.seeded(options.seed_of(n)) } else { options.clone() };
        let (idea, fuller) = IDEAS[if n == 0 { 0 } else { 1 + (n - 1) % (IDEAS.len() - 1) }];
        options.taste.fullness += fuller;
        let mut filling = Filling::new(sketch, lineup, habits, &options, &taken);
        let mut cast = realise(&mut filling, plan, None, stop);
        cast.idea = found.first().map_or(idea, |first| named(sketch, lineup, first, &cast, fuller));
        let chosen = (filling.picked, filling.tunes);
        taken.push(chosen);
        if stop() {
            break;
        }
        found.push(cast);
    }
    found
}

/// What each proposal is for, and how much fuller than usual it is: the first as usual, then the tune in other colours, in a full and in a thin texture.
/// How it is called in the end, [`named`] says.
const IDEAS: [(&str, f64); 4] = [
    ("as usual", 0.0),
    ("the tune in another colour", 0.0),
    ("another colour, and fuller", 1.2),
    ("another colour, and thinner", -1.0),
];

/// Players that a fuller or thinner proposal sounds more or less than the first, in the mean, to be called so: in a line-up of up to nine, and in others (ours).
const APART: [f64; 2] = [1.0, 2.0];

/// What a later proposal shows beside the first, by what it is: a small line-up or a plan may not allow what was asked for.
fn named(sketch: &Sketch, lineup: &Lineup, first: &Cast, cast: &Cast, fuller: f64) -> &'static str {
    let sounding = |cast: &Cast| cast.criteria.get("players sounding").unwrap_or(0.0);
    let players: usize = lineup.sections.iter().map(|section| section.chairs.len()).sum();
    let more = (sounding(cast) - sounding(first)) * fuller.signum();
    let full = fuller.abs() > 1e-9 && more >= APART[usize::from(players > 9)];
    let tune = |cast: &Cast| -> Vec<Vec<Seat>> {
        let of = |phrase: &PhrasePlan| {
            let tasks =
                phrase.tasks.iter().filter(|task| task.strand.is_some_and(|strand| sketch.strands[strand].role == Role::Melody));
            let mut seats: Vec<Seat> = tasks.flat_map(|task| task.chairs.iter().map(|&chair| (task.section, chair))).collect();
            seats.sort_unstable();
            seats
        };
        cast.plan.phrases.iter().map(of).collect()
    };
    match (tune(first) != tune(cast), full) {
        (true, true) if fuller > 0.0 => "another colour, and fuller",
        (true, true) => "another colour, and thinner",
        (true, false) => "the tune in another colour",
        (false, true) if fuller > 0.0 => "fuller, the tune as in the first",
        (false, true) => "thinner, the tune as in the first",
        (false, false) if differing(lineup, first, cast).0 > 0 => "other players, the tune as in the first",
        (false, false) => "the same players, with other voicings",
    }
}
