//! The whole: phrase after phrase, with proposals, locks and recasting.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_players::Objection;
use ripieno_score::{Crotchets, Score};
use ripieno_texture::Role;

use crate::assign::{
    Choice, Memory, Problem, Rests, Solved, Taste, Unit, each_alone, filled, grounded, is_single, is_spent, problem, seconds,
    separate, solve, tasks, thinned, told, units,
};
use crate::balance::{Terms, settle};
use crate::breath::breathe;
use crate::build::build;
use crate::criteria::{Covered, Criteria, criteria};
use crate::explain::differing;
use crate::fills::join_in;
use crate::habits::Habits;
use crate::held::held_over;
use crate::lineup::Lineup;
use crate::objections::objections;
use crate::plan::{PhrasePlan, Plan, Task};
use crate::realise::{
    Around, CastNote, LineId, LockedNote, PhraseCast, Seat, Setting, beginning, leave_upbeats, octaves_that_sound, phrase,
};
use crate::reason::{give_reasons, only_the_task};
use crate::sketch::Sketch;
use crate::turns::by_turns;
use crate::voicing::{Search, Weights};
use crate::whole::whole;

/// What casting is asked for beyond sketch, line-up and plan.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// Prices of the voicing rules.
    pub weights: Weights,
    /// How far to search for voicings; its seed is set from [`Options::seed`] for later proposals.
    pub search: Search,
    /// How habits weigh in what the plan leaves open.
    pub taste: Taste,
    /// Seed of the proposals after the first.
    pub seed: u64,
    /// Notes a person has set.
    pub locks: Vec<LockedNote>,
    /// Who has to play, phrase by phrase and unit by unit ([`units`]); the others rest. `None`: casting decides.
    pub playing: Option<Vec<Vec<bool>>>,
}

/// How sure a cast is to be the best by its own prices.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Optimality {
    /// What all voicings cost.
    pub cost: f64,
    /// What they cost at least, where that is known ([`Optimality::bounded`]); else what each section's would cost by themselves.
    pub bound: f64,
    /// Whether `bound` is one: in no phrase chords of several sections were laid out beside each other.
    pub bounded: bool,
    /// Whether nothing was left out in the search for voicings.
    pub exact: bool,
    /// Phrases in which who does what is not known to be the best, and what the best could be worth more in all of them together.
    pub unsettled: (usize, f64),
}

impl Optimality {
    /// How far the cost may lie above the least possible, as a share of it; 0 also where no bound is known.
    #[must_use]
    pub fn gap(&self) -> f64 {
        if !self.bounded || self.bound.abs() < 1e-9 { 0.0 } else { ((self.cost - self.bound) / self.bound.abs()).max(0.0) }
    }

    /// Why the search stopped, in a sentence.
    #[must_use]
    pub fn reason(&self) -> String {
        match self.unsettled.0 {
            0 => self.voicings(),
            1 => format!(
                "in one phrase something better may exist, for the search for who does what stopped at its limit; {}",
                self.voicings()
            ),
            phrases => format!(
                "in {phrases} phrases something better may exist, for the search for who does what stopped at its limit; {}",
                self.voicings()
            ),
        }
    }

    fn voicings(&self) -> String {
        if !self.bounded {
            let tried = if self.exact {
                "every way of laying out each section's chords"
            } else {
                "in places only the likelier ways of laying out the chords"
            };
            return format!("{tried}, one section after another, was tried; how near the best together they are is not known");
        }
        match (self.exact, self.gap() < 1e-9) {
            (true, true) => "every way of laying out the chords was tried; none keeps the rules of voicing better".to_owned(),
            (true, false) => format!(
                "every way of laying out each section's chords was tried; together the sections keep the rules of voicing up to {:.1} % less well than each by itself could",
                100.0 * self.gap()
            ),
            (false, _) => format!(
                "in places only the likelier ways of laying out the chords were tried; together the sections keep the rules of voicing up to {:.1} % less well than each by itself could",
                100.0 * self.gap()
            ),
        }
    }
}

/// A finished casting.
#[derive(Debug, Clone)]
pub struct Cast {
    /// What it is meant to show beside other proposals, in a few words; empty for a cast that stands alone.
    pub idea: &'static str,
    /// The plan with everything filled in.
    pub plan: Plan,
    /// Phrase by phrase what each player has.
    pub phrases: Vec<PhraseCast>,
    /// What it is worth by each criterion.
    pub criteria: Criteria,
    /// What its players, conductor and copyist would object to, as [`crate::objections`] tells it of [`Cast::score`].
    pub objections: Vec<Objection>,
    /// Phrases in which the melody may be covered; told in [`Cast::remarks`] too.
    pub covered: Vec<Covered>,
    /// How near it is to the best.
    pub optimality: Optimality,
    /// What has to be said, by time.
    pub remarks: Vec<String>,
}

impl Cast {
    /// All notes of a player, in order of time; what would overlap the next is cut there.
    #[must_use]
    pub fn notes_of(&self, seat: Seat) -> Vec<CastNote> {
        let mut notes: Vec<CastNote> = Vec::new();
        for phrase in self.phrases.iter().filter_map(|phrase| phrase.notes.get(&seat)) {
            // Whoever takes up the next phrase with its upbeat leaves the chords to others from there.
            if let Some(first) = phrase.iter().map(|note| note.onset).min() {
                notes.retain(|note| note.onset < first);
            }
            // What the sketch holds over the joint is one note where the same player has it on either side, unless he breathes there.
            let goes_on = |last: &CastNote, first: &CastNote| {
                let same = last.line.strand == first.line.strand && last.key() == first.key();
                first.held && same && !last.breath && last.end() == first.onset
            };
            let mut own = phrase.as_slice();
            if let (Some(last), [first, others @ ..]) = (notes.last_mut(), own)
                && goes_on(last, first)
            {
                (last.duration, last.breath) = (first.end() - last.onset, first.breath);
                own = others;
            }
            notes.extend(own);
        }
        notes.sort_by_key(|note| (note.onset, note.duration.is_positive()));
        for at in 1..notes.len() {
            let next = notes[at].onset;
            let before = &mut notes[at - 1];
            if before.end() > next {
                before.duration = next - before.onset;
                before.like = None;
            }
        }
        notes.retain(|note| note.duration.is_positive() || note.like.is_some());
        notes
    }

    /// Locks for everything some players have in a span, so that another plan or seed leaves it as it is.
    #[must_use]
    pub fn locks(&self, seats: &[Seat], span: (Crotchets, Crotchets)) -> Vec<LockedNote> {
        let of = |&seat: &Seat| {
            // What is held into the span is locked from there.
            let within = move |note: &CastNote| span.0 < note.end() && note.onset < span.1 && note.duration.is_positive();
            let notes = self.notes_of(seat).into_iter().filter(within);
            let lock = move |note: CastNote| LockedNote { seat, from: note.onset.max(span.0), to: note.end(), key: note.key() };
            notes.map(lock).collect::<Vec<_>>()
        };
        seats.iter().flat_map(of).collect()
    }

    /// The score: transposed parts, one a player.
    #[must_use]
    pub fn score(&self, sketch: &Sketch, lineup: &Lineup) -> Score {
        build(&held_over(sketch, &self.plan), lineup, self)
    }
}

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

/// Casts a sketch for a line-up. Phrases the plan leaves open, wholly or (with `fill`) in part, are filled in by habits; an empty plan is cut into phrases first.
#[must_use]
pub fn cast(sketch: &Sketch, lineup: &Lineup, plan: &Plan, habits: &Habits, options: &Options) -> Cast {
    let plan = in_phrases(sketch, plan);
    let sketch = held_over(sketch, &plan);
    let mut filling = Filling::new(&sketch, lineup, habits, options, &[]);
    realise(&mut filling, &plan, None, &never)
}

/// A plan with phrases: those of the sketch where it has none.
fn in_phrases<'a>(sketch: &Sketch, plan: &'a Plan) -> Cow<'a, Plan> {
    if plan.phrases.is_empty() { Cow::Owned(Plan::phrases_of(sketch)) } else { Cow::Borrowed(plan) }
}

/// Nobody asks for an end.
const fn never() -> bool {
    false
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

/// Casts some phrases again by a changed plan and keeps all others note for note. `phrases` are indices into the plan of `before`, which must have the same phrases.
#[must_use]
pub fn recast(
    sketch: &Sketch,
    lineup: &Lineup,
    plan: &Plan,
    habits: &Habits,
    options: &Options,
    before: &Cast,
    phrases: &[usize],
) -> Cast {
    let mut wanted = before.plan.clone();
    for &at in phrases {
        if let (Some(new), Some(old)) = (plan.phrases.get(at), wanted.phrases.get_mut(at)) {
            *old = new.clone();
        }
    }
    let sketch = held_over(sketch, &wanted);
    let mut filling = Filling::new(&sketch, lineup, habits, options, &[]);
    realise(&mut filling, &wanted, Some((before, phrases)), &never)
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

/// What an earlier proposal has chosen: phrase by phrase each group's choice, and which groups have the tune.
type Taken = (Vec<Vec<usize>>, Vec<Vec<bool>>);

/// Fills in what a plan leaves open, phrase after phrase, and remembers what everybody had.
struct Filling<'a> {
    sketch: &'a Sketch,
    lineup: &'a Lineup,
    habits: &'a Habits,
    options: &'a Options,
    /// What earlier proposals have chosen.
    taken: &'a [Taken],
    units: Vec<Unit>,
    memory: Memory,
    /// Who rests in the phrase just filled in, and why.
    rests: Rests,
    /// How many of a band have to play in it.
    least: usize,
    /// The phrase before, as it was played.
    before: Option<PhrasePlan>,
    /// The choices made, phrase by phrase, for proposals that must differ, and which groups have the tune.
    picked: Vec<Vec<usize>>,
    tunes: Vec<Vec<bool>>,
    /// As [`Optimality::unsettled`].
    unsettled: (usize, f64),
}

impl<'a> Filling<'a> {
    fn new(sketch: &'a Sketch, lineup: &'a Lineup, habits: &'a Habits, options: &'a Options, taken: &'a [Taken]) -> Self {
        let units = units(lineup);
        let memory = Memory::fresh(units.len());
        let (picked, tunes) = (Vec::new(), Vec::new());
        let rests = Rests::new();
        Self {
            sketch,
            lineup,
            habits,
            options,
            taken,
            units,
            memory,
            rests,
            least: 0,
            before: None,
            picked,
            tunes,
            unsettled: (0, 0.0),
        }
    }

    /// Fills in what phrase `at` leaves open. Its tasks from the number returned on are casting's own.
    fn fill(&mut self, at: usize, phrase: &mut PhrasePlan) -> usize {
        let (sketch, lineup) = (self.sketch, self.lineup);
        let open = phrase.fill && covered(lineup, phrase) < lineup.sections.iter().map(|section| section.chairs.len()).sum();
        phrase.fill = false;
        let own = phrase.tasks.len();
        if !open {
            self.picked.push(Vec::new());
            self.tunes.push(Vec::new());
            return own;
        }
        let asked = self.asked(at, phrase);
        // What must differ may not be possible; then the voicings alone differ.
        let solved = solve(&asked).or_else(|| solve(&Problem { not_again: Vec::new(), ..asked.clone() }));
        // What the search gave no answer to is as far from settled as can be: nobody has anything of it.
        let Solved { picked, worth, bound } = solved.unwrap_or_else(|| Solved { bound: each_alone(&asked), ..Solved::default() });
        if bound - worth > 1e-6 || picked.is_empty() {
            self.unsettled = (self.unsettled.0 + 1, self.unsettled.1 + (bound - worth).max(0.0));
        }
        let new = tasks(sketch, lineup, &self.units, self.habits, phrase, &asked, &picked);
        (self.rests, self.least) = (Rests::new(), 0);
        let mut new = thinned(sketch, lineup, phrase, new, &self.memory, &mut self.rests);
        // Who plays may be given; then nobody else does.
        if self.options.playing.is_none() {
            self.least = filled(
                sketch,
                lineup,
                phrase,
                &mut new,
                &self.memory,
                (self.habits, self.options.taste.fullness),
                &mut self.rests,
            );
            grounded(sketch, lineup, phrase, &mut new, &mut self.rests);
        }
        separate(sketch, lineup, self.habits, &mut new);
        phrase.tasks.extend(new);
        let tune = |(choices, &at): (&Vec<Choice>, &usize)| choices.get(at).is_some_and(|choice| is_tune(sketch, choice));
        self.tunes.push(asked.choices.iter().zip(&picked).map(tune).collect());
        self.picked.push(picked);
        own
    }

    /// The question of a phrase, with what earlier proposals have taken.
    fn asked(&self, at: usize, phrase: &PhrasePlan) -> Problem {
        let (sketch, lineup, taste) = (self.sketch, self.lineup, &self.options.taste);
        let playing = self.options.playing.as_ref().and_then(|playing| playing.get(at)).map(Vec::as_slice);
        let mut asked = problem(sketch, lineup, &self.units, self.habits, phrase, &self.memory, playing, taste);
        for (unit, choices) in asked.choices.iter_mut().enumerate() {
            let has = |(_, tunes): &&Taken| tunes.get(at).and_then(|tunes| tunes.get(unit)) == Some(&true);
            let had = self.taken.iter().filter(has).count();
            let price = taste.other_colour
                * taste.known_of(is_single(lineup)).max(1.0)
                * f64::from(u32::try_from(had).unwrap_or(u32::MAX));
            choices.iter_mut().filter(|choice| is_tune(sketch, choice)).for_each(|choice| choice.worth -= price);
        }
        let differ = (self.units.len() / 4).max(1);
        asked.not_again = self
            .taken
            .iter()
            .filter_map(|(phrases, _)| phrases.get(at))
            .filter(|picked| picked.len() == self.units.len())
            .map(|picked| (picked.clone(), differ))
            .collect();
        asked
    }
}

fn is_tune(sketch: &Sketch, choice: &Choice) -> bool {
    choice.strand.is_some_and(|strand| sketch.strands[strand].role == Role::Melody)
}

fn covered(lineup: &Lineup, phrase: &PhrasePlan) -> usize {
    let all = lineup
        .sections
        .iter()
        .enumerate()
        .flat_map(|(section, found)| (0..found.chairs.len()).map(move |chair| (section, chair)));
    let named = phrase.named();
    all.filter(|seat| named.contains(seat)).count()
}

/// Fills in a plan and realises it, phrase after phrase, from a sketch whose strands are cut where its phrases begin ([`held_over`]); with a cast `before`, only the phrases named. What `stop` has ended is not judged: nobody is given it.
fn realise(filling: &mut Filling<'_>, plan: &Plan, before: Option<(&Cast, &[usize])>, stop: &dyn Fn() -> bool) -> Cast {
    let (sketch, lineup, options) = (filling.sketch, filling.lineup, filling.options);
    let mut plan = plan.clone();
    let mut phrases: Vec<PhraseCast> = Vec::with_capacity(plan.phrases.len());
    let mut last: BTreeMap<Seat, (Crotchets, i32)> = BTreeMap::new();
    let mut last_of_lines: BTreeMap<LineId, (Crotchets, i32)> = BTreeMap::new();
    let asked = Setting { sketch, lineup, weights: options.weights, search: options.search, locks: &options.locks };
    for at in 0..plan.phrases.len() {
        if stop() {
            break;
        }
        let next = plan.phrases.get(at + 1).filter(|next| next.bars.start == plan.phrases[at].bars.end).cloned();
        let follows = at.checked_sub(1).is_some_and(|before| plan.phrases[before].bars.end == plan.phrases[at].bars.start);
        let planned = &mut plan.phrases[at];
        let own = filling.fill(at, planned);
        if stop() {
            break;
        }
        let kept = before.filter(|(_, again)| !again.contains(&at)).and_then(|(before, _)| before.phrases.get(at));
        let done = match kept {
            Some(kept) => kept.clone(),
            None => {
                let after =
                    before.and_then(|(before, again)| (!again.contains(&(at + 1))).then(|| before.phrases.get(at + 1)).flatten());
                let first = |phrase: &PhraseCast| {
                    phrase.notes.iter().filter_map(|(seat, notes)| Some((*seat, notes.first()?.key()))).collect()
                };
                let ahead = next.map_or_else(BTreeMap::new, |mut next| {
                    // Who has what there is not asked yet where the plan leaves it open: lines are taken to go on with those who have them.
                    if next.fill {
                        let named = next.named();
                        let free = |task: &Task| {
                            let chairs =
                                task.chairs.iter().copied().filter(|&chair| !named.contains(&(task.section, chair))).collect();
                            Task { chairs, ..task.clone() }
                        };
                        let going_on: Vec<Task> = planned.tasks.iter().map(free).filter(|task| !task.chairs.is_empty()).collect();
                        next.tasks.extend(going_on);
                    }
                    beginning(&Setting { lineup: &lineup.holding(&next.tasks), ..asked }, &next)
                });
                let around = Around {
                    before: last.clone(),
                    after: after.map(first).unwrap_or_default(),
                    lines: last_of_lines.clone(),
                    ahead,
                    follows,
                };
                let lineup = lineup.holding(&planned.tasks);
                let setting = Setting { lineup: &lineup, ..asked };
                planned.tasks[..own].iter_mut().for_each(only_the_task);
                let mut done = phrase(&setting, planned, &around);
                let terms = Terms {
                    habits: filling.habits,
                    least: filling.least,
                    all_play: options.playing.as_ref().is_some_and(|given| at < given.len()),
                };
                let (again, marked) =
                    settle(sketch, &lineup, planned, own, &done.notes, &filling.memory.loads, &mut filling.rests, &terms);
                if again {
                    done = phrase(&setting, planned, &around);
                }
                let (units, playing) = (&filling.units, options.playing.as_ref().and_then(|playing| playing.get(at)));
                let may = |seat: Seat| {
                    let group = units.iter().position(|unit| unit.section == seat.0 && unit.chairs.contains(&seat.1));
                    playing.is_none_or(|playing| group.and_then(|group| playing.get(group)) == Some(&true))
                };
                done = whole(&setting, planned, own, &around, &mut filling.rests, &may, done);
                if let Some(before) = phrases.last().filter(|_| follows) {
                    leave_upbeats(&setting, before, sketch.bar_start(planned.bars.start), &mut done);
                }
                by_turns(&setting, planned, own, &phrases, &mut done);
                let loads = &filling.memory.loads;
                let spent = |seat: Seat| is_spent(loads.get(&seat).copied().unwrap_or(0.0));
                for (seat, more) in join_in(&setting, planned, own, &mut done, &spent) {
                    let until = sketch.bar_start(planned.bars.start) + more;
                    filling.memory.adds(seat, seconds(sketch, (sketch.bar_start(planned.bars.start), until)));
                }
                told(sketch, planned, own, &filling.rests);
                breathe(&setting, planned, Plan::span(sketch, &planned.bars), &mut done);
                give_reasons(&setting, planned, own, filling.before.as_ref(), &done, &marked);
                octaves_that_sound(sketch, planned, &done);
                done
            }
        };
        for (seat, notes) in &done.notes {
            if let Some(note) = notes.last() {
                last.insert(*seat, (note.end(), note.key()));
            }
            for note in notes {
                let known = last_of_lines.entry(note.line).or_insert((note.end(), note.key()));
                if known.0 < note.end() {
                    *known = (note.end(), note.key());
                }
            }
        }
        phrases.push(done);
        filling.memory.pass(sketch, lineup, &filling.units, planned);
        filling.before = Some(planned.clone());
    }
    let optimality = Optimality {
        cost: phrases.iter().map(|phrase| phrase.cost).sum(),
        bound: phrases.iter().map(|phrase| phrase.bound).sum(),
        bounded: phrases.iter().all(|phrase| phrase.bounded),
        exact: phrases.iter().all(|phrase| phrase.exact),
        unsettled: filling.unsettled,
    };
    let mut remarks: Vec<String> = sketch.remarks.clone();
    for (planned, done) in plan.phrases.iter().zip(&phrases) {
        remarks.extend(done.remarks.iter().cloned());
        remarks.extend(uncarried(sketch, planned));
    }
    remarks.extend(in_turn(sketch, lineup, &plan, &phrases));
    let mut cast = Cast {
        idea: "",
        plan,
        phrases,
        criteria: Criteria::default(),
        objections: Vec::new(),
        covered: Vec::new(),
        optimality,
        remarks,
    };
    if stop() {
        return cast;
    }
    cast.objections = objections(&cast.score(sketch, lineup), lineup);
    let judged = criteria(sketch, lineup, &cast);
    (cast.criteria, cast.covered) = (judged.criteria, judged.covered);
    cast.remarks.extend(judged.missing);
    let told = |one: &Covered| format!("caution, bars {}: {}; {}", one.named(sketch), one.what(), one.remedy());
    cast.remarks.extend(cast.covered.iter().map(told));
    cast
}

/// Which sections breathe in turn, and where: bars of phrases that follow each other as one stretch.
fn in_turn(sketch: &Sketch, lineup: &Lineup, plan: &Plan, phrases: &[PhraseCast]) -> Vec<String> {
    let of = |section: usize| {
        let mut runs: Vec<Range<usize>> = Vec::new();
        let in_turn = |done: &PhraseCast| done.in_turn.iter().any(|seat| seat.0 == section);
        for (planned, _) in plan.phrases.iter().zip(phrases).filter(|(_, done)| in_turn(done)) {
            match runs.last_mut() {
                Some(last) if last.end == planned.bars.start => last.end = planned.bars.end,
                _ => runs.push(planned.bars.clone()),
            }
        }
        let named =
            |bars: &Range<usize>| format!("{}–{}", sketch.bar_name(bars.start), sketch.bar_name(bars.end.saturating_sub(1)));
        let bars: Vec<String> = runs.iter().map(named).collect();
        (!bars.is_empty())
            .then(|| format!("{} breathe in turn in bars {}, as marked in their parts", lineup.label(section), bars.join(", ")))
    };
    (0..lineup.sections.len()).filter_map(of).collect()
}

/// Strands nobody has in a phrase.
fn uncarried(sketch: &Sketch, phrase: &PhrasePlan) -> Vec<String> {
    let span = Plan::span(sketch, &phrase.bars);
    let carried = |strand: usize| phrase.tasks.iter().any(|task| task.strand == Some(strand));
    let missing = crate::assign::present(sketch, span).into_iter().filter(|&strand| !carried(strand));
    let last = phrase.bars.end.saturating_sub(1);
    missing
        .map(|strand| {
            format!(
                "bars {}–{}: nobody has “{}”",
                sketch.bar_name(phrase.bars.start),
                sketch.bar_name(last),
                sketch.strands[strand].name
            )
        })
        .collect()
}

/// Bars of the phrases of a plan that differ between two plans, as indices.
#[must_use]
pub fn changed(before: &Plan, after: &Plan) -> Vec<usize> {
    let same = |at: usize| before.phrases.get(at) == after.phrases.get(at);
    (0..after.phrases.len().max(before.phrases.len())).filter(|&at| !same(at)).collect()
}

/// Phrases that touch bars.
#[must_use]
pub fn phrases_in(plan: &Plan, bars: &Range<usize>) -> Vec<usize> {
    (0..plan.phrases.len())
        .filter(|&at| plan.phrases[at].bars.start < bars.end && bars.start < plan.phrases[at].bars.end)
        .collect()
}
