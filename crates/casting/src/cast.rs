//! The whole: phrase after phrase, from who has what to the notes, and again where something was changed.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_players::Objection;
use ripieno_score::{Crotchets, Score};

use crate::assign::{Taste, is_spent, seconds, told};
use crate::balance::{Terms, settle};
use crate::breath::breathe;
use crate::build::build;
use crate::criteria::{Covered, Criteria, criteria};
use crate::explain::with_signs;
use crate::filling::Filling;
use crate::fills::join_in;
use crate::habits::Habits;
use crate::held::held_over;
use crate::lineup::Lineup;
use crate::objections::objections;
use crate::optimality::Optimality;
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
    /// Who has to play, phrase by phrase and unit by unit ([`crate::units`]); the others rest. `None`: casting decides.
    pub playing: Option<Vec<Vec<bool>>>,
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
    /// Notes a person has set.
    pub set: Vec<LockedNote>,
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
    /// All notes of a player, in order of time; what would overlap the next is cut there, but for what a person has set: that lasts as it was set, and the next waits for it.
    #[must_use]
    pub fn notes_of(&self, seat: Seat) -> Vec<CastNote> {
        let mut notes: Vec<CastNote> = Vec::new();
        let set: Vec<&LockedNote> = self.set.iter().filter(|lock| lock.seat == seat).collect();
        let is =
            |note: &CastNote, lock: &LockedNote| (note.onset, note.key()) == (lock.from, lock.key) && note.duration.is_positive();
        for phrase in self.phrases.iter().filter_map(|phrase| phrase.notes.get(&seat)) {
            // Whoever takes up the next phrase with its upbeat leaves the chords to others from there.
            if let Some(first) = phrase.iter().map(|note| note.onset).min() {
                notes.retain(|note| note.onset < first || set.iter().any(|lock| is(note, lock)));
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
        for lock in set {
            let Some(at) = notes.iter().position(|note| is(note, lock)) else { continue };
            if notes[at].end() < lock.to {
                (notes[at].duration, notes[at].like) = (lock.to - lock.from, None);
            }
            for (_, other) in notes.iter_mut().enumerate().filter(|(other, note)| *other != at && note.onset < lock.to) {
                if lock.from < other.onset {
                    let end = other.end().max(lock.to);
                    (other.onset, other.duration, other.like) = (lock.to, end - lock.to, None);
                }
            }
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

/// Casts a sketch for a line-up. Phrases the plan leaves open, wholly or (with `fill`) in part, are filled in by habits; an empty plan is cut into phrases first.
#[must_use]
pub fn cast(sketch: &Sketch, lineup: &Lineup, plan: &Plan, habits: &Habits, options: &Options) -> Cast {
    let plan = in_phrases(sketch, plan);
    let sketch = held_over(sketch, &plan);
    let mut filling = Filling::new(&sketch, lineup, habits, options, &[]);
    realise(&mut filling, &plan, None, &never)
}

/// A plan with phrases: those of the sketch where it has none.
pub(crate) fn in_phrases<'a>(sketch: &Sketch, plan: &'a Plan) -> Cow<'a, Plan> {
    if plan.phrases.is_empty() { Cow::Owned(Plan::phrases_of(sketch)) } else { Cow::Borrowed(plan) }
}

/// Nobody asks for an end.
pub(crate) const fn never() -> bool {
    false
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

/// Fills in a plan and realises it, phrase after phrase, from a sketch whose strands are cut where its phrases begin ([`held_over`]); with a cast `before`, only the phrases named. What `stop` has ended is not judged: nobody is given it.
pub(crate) fn realise(
    filling: &mut Filling<'_>,
    plan: &Plan,
    before: Option<(&Cast, &[usize])>,
    stop: &dyn Fn() -> bool,
) -> Cast {
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
                let around = Around {
                    before: last.clone(),
                    after: after.map(first).unwrap_or_default(),
                    lines: last_of_lines.clone(),
                    follows,
                    ..Around::default()
                };
                played(filling, &asked, (at, own), planned, next.as_ref(), around, &phrases)
            }
        };
        for &(seat, more) in &done.besides {
            let from = sketch.bar_start(planned.bars.start);
            filling.memory.adds(seat, seconds(sketch, (from, from + more)));
        }
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
        set: options.locks.clone(),
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
    cast.remarks.extend((!cast.covered.is_empty()).then(Covered::limits));
    cast.remarks.iter_mut().for_each(|remark| *remark = with_signs(remark));
    cast
}

/// Realises phrase `at`, whose tasks from `own` on casting has just filled in and may still change: for balance, and until its chords are whole. `earlier` are the phrases before it; the lines of
/// the `next` are not in `around` yet.
fn played(
    filling: &mut Filling<'_>,
    asked: &Setting<'_>,
    (at, own): (usize, usize),
    planned: &mut PhrasePlan,
    next: Option<&PhrasePlan>,
    mut around: Around,
    earlier: &[PhraseCast],
) -> PhraseCast {
    let (sketch, lineup, options) = (filling.sketch, filling.lineup, filling.options);
    around.ahead = ahead(asked, planned, next);
    planned.tasks.iter_mut().for_each(only_the_task);
    let mut seated = lineup.holding(&planned.tasks);
    let mut done = phrase(&Setting { lineup: &seated, ..*asked }, planned, &around);
    let terms = Terms {
        habits: filling.habits,
        least: filling.least,
        all_play: options.playing.as_ref().is_some_and(|given| at < given.len()),
    };
    let (again, marked) = settle(sketch, &seated, planned, own, &done.notes, &filling.memory.loads, &mut filling.rests, &terms);
    if again {
        seated = lineup.holding(&planned.tasks);
        around.ahead = ahead(asked, planned, next);
        done = phrase(&Setting { lineup: &seated, ..*asked }, planned, &around);
    }
    let (units, playing) = (&filling.units, options.playing.as_ref().and_then(|playing| playing.get(at)));
    let may = |seat: Seat| {
        let group = units.iter().position(|unit| unit.section == seat.0 && unit.chairs.contains(&seat.1));
        playing.is_none_or(|playing| group.and_then(|group| playing.get(group)) == Some(&true))
    };
    done = whole(&Setting { lineup: &seated, ..*asked }, planned, own, &around, &mut filling.rests, &may, done);
    told(sketch, planned, own, &filling.rests);
    planned.tasks[own..].iter_mut().for_each(|task| task.by_casting = true);
    // Notes follow from who has what in the end, so that the plan gives them again.
    let (then, now) = (ahead(asked, planned, next), lineup.holding(&planned.tasks));
    if then != around.ahead || now != seated {
        (around.ahead, seated) = (then, now);
        done = phrase(&Setting { lineup: &seated, ..*asked }, planned, &around);
    }
    let setting = Setting { lineup: &seated, ..*asked };
    if let Some(before) = earlier.last().filter(|_| around.follows) {
        leave_upbeats(&setting, before, sketch.bar_start(planned.bars.start), &mut done);
    }
    by_turns(&setting, planned, earlier, &mut done);
    let loads = &filling.memory.loads;
    let spent = |seat: Seat| is_spent(loads.get(&seat).copied().unwrap_or(0.0));
    done.besides = join_in(&setting, planned, &mut done, &spent);
    breathe(&setting, planned, Plan::span(sketch, &planned.bars), &mut done);
    give_reasons(&setting, planned, own, filling.before.as_ref(), &done, &marked);
    octaves_that_sound(sketch, planned, &done);
    done
}

/// With what the lines of the next phrase begin. Who has what there is not asked yet where the plan leaves it open, and is the same again where casting has filled it in: lines are taken to go on
/// with those who have them.
fn ahead(asked: &Setting<'_>, planned: &PhrasePlan, next: Option<&PhrasePlan>) -> BTreeMap<Seat, Vec<CastNote>> {
    let Some(mut next) = next.cloned() else { return BTreeMap::new() };
    if next.fill || next.tasks.iter().any(|task| task.by_casting) {
        next.tasks.retain(|task| !task.by_casting);
        let named = next.named();
        let free = |task: &Task| {
            let chairs = task.chairs.iter().copied().filter(|&chair| !named.contains(&(task.section, chair))).collect();
            Task { chairs, ..task.clone() }
        };
        let going_on: Vec<Task> = planned.tasks.iter().map(free).filter(|task| !task.chairs.is_empty()).collect();
        next.tasks.extend(going_on);
    }
    beginning(&Setting { lineup: &asked.lineup.holding(&next.tasks), ..*asked }, &next)
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
