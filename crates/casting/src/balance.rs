//! Balance as a target: what would cover the melody is marked softer or played by fewer, and chords are evened out.
//!
//! Estimated sound power by `ripieno_acoustics`; a melody is also heard by register and colour, which no number here tells. That an accompaniment is marked
//! a dynamic below the tune is common practice (handbooks agree; from memory). The sketch's own distinctions and the tasks of a plan stay as they are.

use std::collections::BTreeMap;

use ripieno_acoustics::{Source, Ways};
use ripieno_score::{Crotchets, DynamicLevel, Transposition};
use ripieno_texture::Role;

use crate::assign::{Doing, Rest, Rests, Unit, doing, has_gentle, has_strings, is_heavy, not_soft, playing, present, units};
use crate::habits::Habits;
use crate::lineup::Lineup;
use crate::loudness::{level_at, level_in, moved_by};
use crate::plan::{PhrasePlan, Plan, Task};
use crate::realise::{CastNote, LineId, Seat};
use crate::sketch::Sketch;

/// The melody may send out so many dB less than all others together before anything is done for it.
const WANTED: f64 = -3.0;
/// From so many dB of the loudest chord tone over the softest on a chord is evened out.
const EVEN: f64 = 6.0;
/// What a dB that lacks is worth, of melody and of chords, and what a step softer and a player less cost, in one unit.
const MELODY_DB: f64 = 1.0;
const CHORD_DB: f64 = 0.3;
const SOFTER: f64 = 0.8;
const FEWER: f64 = 0.4;
const JOINS: f64 = 0.8;
/// How much more it costs that heavy brass joins a soft tune: the mellower ones are asked first (common practice; the figure is ours).
const HEAVY_JOINS: f64 = 1.5;
/// The softest level casting marks of itself: pp.
const SOFTEST_MARKED: f32 = 2.0;
/// From here on it is loud, and whole sections are not taken out.
const LOUD: f32 = 5.5;
/// Below this it is soft: up to mp.
const SOFT: f32 = 4.5;
/// How many steps below the melody casting marks an accompaniment at most.
const STEPS: f32 = 2.0;

/// Sound power of a moment: the melody's, all others', and of each tone of the chords.
#[derive(Default)]
struct Power {
    tune: f64,
    rest: f64,
    tones: BTreeMap<i32, f64>,
}

/// By how many dB the melody stands above all others at each beginning of a bar, and the loudest chord tone above the softest.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Balance {
    pub margins: Vec<f64>,
    pub spreads: Vec<f64>,
}

/// The balance of a phrase; `seated`: the line-up as it sits there; `sounding`: what a player sounds at a moment.
pub(crate) fn of_phrase(
    sketch: &Sketch,
    seated: &Lineup,
    phrase: &PhrasePlan,
    sounding: &dyn Fn(Crotchets) -> Vec<(Seat, CastNote)>,
) -> Balance {
    let span = Plan::span(sketch, &phrase.bars);
    let mut found = Balance::default();
    for bar in phrase.bars.clone() {
        let at = sketch.bar_start(bar);
        let mut power = Power::default();
        for (seat, note) in sounding(at) {
            let chair = &seated.sections[seat.0].chairs[seat.1];
            let task = phrase.tasks.iter().find(|task| task.section == seat.0 && task.chairs.contains(&seat.1));
            let level = level_at(sketch, task, note.line.strand, span, at).map_or(DynamicLevel::MEZZO_FORTE, DynamicLevel);
            let db = Source::of(&chair.instrument.id).power(f64::from(note.key()), level, Ways::empty()).db;
            let own = 10f64.powf(db / 10.0) * f64::from(chair.people);
            match sketch.strands[note.line.strand].role {
                Role::Melody => power.tune += own,
                role => {
                    power.rest += own;
                    if role == Role::Harmony {
                        *power.tones.entry(note.key().rem_euclid(12)).or_default() += own;
                    }
                }
            }
        }
        if power.tune > 0.0 && power.rest > 0.0 {
            found.margins.push(10.0 * (power.tune / power.rest).log10());
        }
        if power.tones.len() > 1 {
            let ends = |(least, most): (f64, f64), &own: &f64| (f64::min(least, own), f64::max(most, own));
            let (least, most) = power.tones.values().fold((f64::INFINITY, 0.0), ends);
            found.spreads.push(10.0 * (most / least).log10());
        }
    }
    found
}

pub(crate) fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / f64::from(u32::try_from(values.len()).unwrap_or(1)))
}

/// What is short of a good balance, in the unit of the prices.
fn short(balance: &Balance) -> f64 {
    let melody = mean(&balance.margins).map_or(0.0, |margin| (WANTED - margin).max(0.0));
    let chords = mean(&balance.spreads).map_or(0.0, |spread| (spread - EVEN).max(0.0));
    MELODY_DB * melody + CHORD_DB * chords
}

/// One thing that can be done.
#[derive(Clone, Copy)]
enum Remedy {
    /// A task marked one step softer.
    Softer(usize),
    /// A player of a task rests; the only one, where others have the strand.
    Fewer(usize),
    /// A player of a task joins the tune.
    Joins(usize),
}

/// What remedies have to keep to.
pub(crate) struct Terms<'a> {
    /// What sections do in the practice asked for.
    pub habits: &'a Habits,
    /// So many players play at least.
    pub least: usize,
    /// Who plays is given: no group is silenced.
    pub all_play: bool,
}

/// Betters the balance of a phrase by what casting itself has decided: the tasks from `own` on. Who is tired goes on resting, as `rests` says, which learns who rests now. Returns whether players were taken out, so that the phrase has to be realised again,
/// and what is to be said of tasks that are marked softer.
#[allow(clippy::too_many_arguments)] // what is known of the phrase
pub(crate) fn settle(
    sketch: &Sketch,
    seated: &Lineup,
    phrase: &mut PhrasePlan,
    own: usize,
    notes: &BTreeMap<Seat, Vec<CastNote>>,
    loads: &BTreeMap<Seat, f64>,
    rests: &mut Rests,
    terms: &Terms<'_>,
) -> (bool, Marked) {
    let mut marked = Marked::new();
    let span = Plan::span(sketch, &phrase.bars);
    // Of several lines of it the first.
    let melody =
        phrase.tasks.iter().filter(|task| task.role == Role::Melody && task.strand.is_some()).min_by_key(|task| task.strand);
    let Some(tune) = melody.and_then(|task| task.strand) else { return (false, marked) };
    let loud = melody.and_then(|task| Some(level_in(sketch, tune, span)? + moved_by(sketch, task, span)));
    let mark = loud.unwrap_or(DynamicLevel::MEZZO_FORTE.0);
    let reckon = |phrase: &PhrasePlan| {
        let plays = |seat: &Seat| {
            phrase.tasks.iter().any(|task| task.strand.is_some() && task.section == seat.0 && task.chairs.contains(&seat.1))
        };
        let sounding = |at: Crotchets| {
            let of = |(seat, own): (&Seat, &Vec<CastNote>)| crate::realise::sounding(own, at).map(|note| (*seat, *note));
            let known = notes.iter().filter(|(seat, _)| plays(seat) && !joined(phrase, seat, tune, notes)).filter_map(of);
            known.chain(joining(sketch, phrase, tune, notes, at)).collect()
        };
        short(&of_phrase(sketch, seated, phrase, &sounding))
    };
    let (mut lacks, mut fewer) = (reckon(phrase), false);
    let before = phrase.tasks.clone();
    while lacks > 0.0 {
        let mut best: Option<(f64, f64, PhrasePlan, Remedy)> = None;
        for at in own..phrase.tasks.len() {
            let section = &seated.sections[phrase.tasks[at].section];
            let joins = JOINS + if mark < SOFT && is_heavy(section) { HEAVY_JOINS } else { 0.0 };
            let remedies = [(Remedy::Softer(at), SOFTER), (Remedy::Fewer(at), FEWER), (Remedy::Joins(at), joins)];
            for (remedy, price) in remedies {
                let Some(changed) = with(sketch, seated, phrase, own, remedy, tune, mark, span, loads, rests, terms) else {
                    continue;
                };
                let left = reckon(&changed);
                let gain = lacks - left - price;
                if gain > 1e-9 && best.as_ref().is_none_or(|(known, ..)| gain > known + 1e-9) {
                    best = Some((gain, left, changed, remedy));
                }
            }
        }
        let Some((_, left, changed, remedy)) = best else { break };
        *phrase = changed;
        lacks = left;
        fewer |= matches!(remedy, Remedy::Fewer(_) | Remedy::Joins(_));
    }
    for task in phrase.tasks[own..].iter().filter(|task| task.strand.is_none()) {
        for &chair in &task.chairs {
            rests.entry((task.section, chair)).or_insert(Rest::Uncovers);
        }
    }
    rests.retain(|seat, _| {
        phrase.tasks.iter().any(|task| task.strand.is_none() && task.section == seat.0 && task.chairs.contains(&seat.1))
    });
    for task in &mut phrase.tasks[own..] {
        let was = before.iter().find(|was| was.section == task.section && was.strand == task.strand && was.octave == task.octave);
        if let (Some(level), Some(was)) = (task.dynamic, was)
            && task.dynamic != was.dynamic
        {
            let cause = if lacks < f64::EPSILON {
                "so that the melody is heard and the chord is even"
            } else {
                "to cover the melody less"
            };
            marked.insert(doing(task), format!("marked {} {cause} (estimated sound power)", level.mark()));
        }
    }
    // Whoever joined the tune or rests leaves places: the tune stays with the top of those who play.
    fewer |= crate::assign::seated_by_height(sketch, seated, phrase, own);
    // Where nothing is marked, who is marked softer needs something to be softer than.
    if loud.is_none() && phrase.tasks.iter().zip(&before).any(|(task, was)| task.dynamic != was.dynamic) {
        let first = phrase.tasks.iter().skip(own).position(|task| task.strand == Some(tune) && task.dynamic.is_none());
        if let Some(first) = first {
            phrase.tasks[own + first].dynamic = Some(DynamicLevel::MEZZO_FORTE);
        }
    }
    (fewer, marked)
}

/// What is to be said of tasks that are marked softer, by what they are.
pub(crate) type Marked = BTreeMap<Doing, String>;

/// The phrase with one remedy; `None` where it is none.
#[allow(clippy::too_many_arguments)] // what is known of the phrase
fn with(
    sketch: &Sketch,
    seated: &Lineup,
    phrase: &PhrasePlan,
    own: usize,
    remedy: Remedy,
    tune: usize,
    mark: f32,
    span: (Crotchets, Crotchets),
    loads: &BTreeMap<Seat, f64>,
    rests: &Rests,
    terms: &Terms<'_>,
) -> Option<PhrasePlan> {
    let mut changed = phrase.clone();
    match remedy {
        Remedy::Softer(at) => {
            let task = changed.tasks.get_mut(at).filter(|task| task.strand.is_some_and(|strand| strand != tune))?;
            let (sketched, melody) = (level_in(sketch, task.strand?, span), level_in(sketch, tune, span));
            // Where the sketch has set them apart already, it has decided.
            if sketched.zip(melody).is_some_and(|(own, melody)| own < melody - 0.5) {
                return None;
            }
            let now = sketched.unwrap_or(DynamicLevel::MEZZO_FORTE.0) + moved_by(sketch, task, span);
            let now = task.dynamic.filter(|_| sketched.is_none()).map_or(now, |level| level.0);
            let next = DynamicLevel::from_mark(DynamicLevel(now - 1.0).mark())?;
            if next.0 < SOFTEST_MARKED || next.0 < mark - STEPS - 0.1 || next.0 >= now {
                return None;
            }
            task.dynamic = Some(next);
        }
        Remedy::Fewer(at) => {
            let out = spared(sketch, seated, phrase, at, tune, span, loads)?;
            let section = phrase.tasks[at].section;
            let goes_on = |chair: &usize| {
                let plays = |task: &Task| task.section == section && task.strand.is_some() && task.chairs.contains(chair);
                !out.contains(chair) && phrase.tasks.iter().any(plays)
            };
            let silenced = |unit: &Unit| {
                unit.section == section && unit.chairs.iter().any(|chair| out.contains(chair)) && !unit.chairs.iter().any(goes_on)
            };
            // A band without strings is as full as its loudness asks for.
            if playing(&phrase.tasks) < terms.least + out.len() || terms.all_play && units(seated).iter().any(silenced) {
                return None;
            }
            without(&mut changed, at, &out);
            let silent = |task: &&mut Task| task.section == section && task.strand.is_none();
            match changed.tasks.iter_mut().skip(own).find(silent) {
                Some(silence) => {
                    silence.chairs.extend(out);
                    silence.chairs.sort_unstable();
                }
                None => changed.tasks.push(Task::new(section, out, Role::Tacet, None)),
            }
        }
        Remedy::Joins(at) => {
            let task = phrase.tasks.get(at)?;
            // Whoever rests for the lips goes on resting; of an orchestra nobody leaves what he has: there dynamics do it.
            let out = match task.strand {
                Some(_) if has_strings(seated) => return None,
                None if seated.sections[task.section].is_body => return None,
                None => {
                    let load = |chair: usize| loads.get(&(task.section, chair)).copied().unwrap_or(0.0);
                    let fresh =
                        task.chairs.iter().copied().filter(|&chair| rests.get(&(task.section, chair)) != Some(&Rest::Lips));
                    vec![fresh.min_by(|&a, &b| load(a).total_cmp(&load(b)).then(a.cmp(&b)))?]
                }
                Some(_) => spared(sketch, seated, phrase, at, tune, span, loads).filter(|out| out.len() == 1)?,
            };
            let leads = phrase.tasks.iter().find(|task| task.strand == Some(tune))?;
            let (section, octave) = (task.section, leads.octave.unwrap_or(0));
            let reach = seated.sections[section].chairs[out[0]].reach;
            let notes = sketch.strands[tune].between(span.0, span.1);
            let strain = if mark < SOFT { 0 } else { 2 };
            if task.held != 0 || notes.iter().any(|note| reach.strain(note.key() + 12 * octave) > strain) {
                return None;
            }
            // A soft tune is not given to trumpets and trombones while there are woodwind or strings, nor to anybody who cannot be so soft there (common practice; from memory).
            let heavy = is_heavy(&seated.sections[section]) && has_gentle(seated);
            let chair = &seated.sections[section].chairs[out[0]];
            if mark < SOFT && (heavy || not_soft(sketch, &seated.sections[section], chair, notes, octave, Some(mark)) > 0.0) {
                return None;
            }
            let roles: Vec<Role> = present(sketch, span).into_iter().map(|strand| sketch.strands[strand].role).collect();
            // At p one or two of a section have a line; what it never has it does not join.
            let with_it = |task: &&Task| task.section == section && task.strand == Some(tune);
            let many: usize = phrase.tasks.iter().filter(with_it).map(|task| task.chairs.len()).sum();
            if mark < SOFT && many >= 2 || many == 0 && terms.habits.never(seated.sections[section].kind, Role::Melody, &roles) {
                return None;
            }
            // At the pitch of those who have it; an octave lower it would lie under the chords of the section.
            let lower = octave < 0
                || crate::realise::best_octave(&seated.sections[section].chairs[out[0]], Role::Melody, notes, octave) != octave;
            let chords = |task: &Task| {
                let others = task.chairs.iter().any(|chair| !out.contains(chair));
                task.section == section && others && task.strand.is_some_and(|strand| sketch.strands[strand].is_chordal())
            };
            if lower && phrase.tasks.iter().any(chords) {
                return None;
            }
            without(&mut changed, at, &out);
            let same = |task: &&mut Task| {
                task.section == section && task.strand == Some(tune) && task.octave.unwrap_or(0) == octave && task.held == 0
            };
            match changed.tasks.iter_mut().skip(own).find(same) {
                // At p one or two of a section have a line.
                Some(tune) if mark < 4.5 && tune.chairs.len() > 1 => return None,
                Some(tune) => {
                    tune.chairs.extend(out);
                    tune.chairs.sort_unstable();
                }
                None => changed.tasks.push(Task {
                    octave: Some(octave),
                    why: "with the tune, which the others would cover by estimated sound power".to_owned(),
                    dynamic: leads.dynamic,
                    ..Task::new(section, out, Role::Melody, Some(tune))
                }),
            }
        }
    }
    Some(changed)
}

/// Players a task can spare: the most tired, where others have it too; what there is of chords stays whole.
fn spared(
    sketch: &Sketch,
    seated: &Lineup,
    phrase: &PhrasePlan,
    at: usize,
    tune: usize,
    span: (Crotchets, Crotchets),
    loads: &BTreeMap<Seat, f64>,
) -> Option<Vec<usize>> {
    let task = phrase.tasks.get(at).filter(|task| task.strand.is_some_and(|strand| strand != tune))?;
    let strand = task.strand?;
    // The bass is what the rest stands on, and a body of strings is not sent out for balance's sake: both are marked softer, and play.
    if sketch.strands[strand].role == Role::Bass || seated.sections[task.section].is_body {
        return None;
    }
    let all: usize = phrase.tasks.iter().filter(|other| other.strand == Some(strand)).map(|task| task.chairs.len()).sum();
    let least = if sketch.strands[strand].is_chordal() { crate::assign::tones_of(sketch, strand, span) } else { 1 };
    let load = |chair: usize| loads.get(&(task.section, chair)).copied().unwrap_or(0.0);
    let tired = task.chairs.iter().copied().max_by(|&a, &b| load(a).total_cmp(&load(b)).then(a.cmp(&b)))?;
    let out = vec![tired];
    // In a tutti nobody is left out, only doublings are.
    let empties = out.len() == task.chairs.len();
    let loud = level_in(sketch, tune, span).is_some_and(|level| level >= LOUD);
    (all >= least + out.len() && !(empties && loud)).then_some(out)
}

/// Takes players out of a task, and the task out where nobody is left.
fn without(phrase: &mut PhrasePlan, at: usize, out: &[usize]) {
    phrase.tasks[at].chairs.retain(|chair| !out.contains(chair));
    if phrase.tasks[at].chairs.is_empty() {
        phrase.tasks.remove(at);
    }
}

/// Whether a player has the tune by the plan and other notes, or none, as yet.
fn joined(phrase: &PhrasePlan, seat: &Seat, tune: usize, notes: &BTreeMap<Seat, Vec<CastNote>>) -> bool {
    let has = |task: &Task| task.strand == Some(tune) && task.section == seat.0 && task.chairs.contains(&seat.1);
    phrase.tasks.iter().any(has) && notes.get(seat).and_then(|own| own.first()).is_none_or(|note| note.line.strand != tune)
}

/// What those who join the tune would sound at a moment.
fn joining(
    sketch: &Sketch,
    phrase: &PhrasePlan,
    tune: usize,
    notes: &BTreeMap<Seat, Vec<CastNote>>,
    at: Crotchets,
) -> Vec<(Seat, CastNote)> {
    let Some(now) = sketch.strands[tune].at(at) else { return Vec::new() };
    let mut found = Vec::new();
    for task in phrase.tasks.iter().filter(|task| task.strand == Some(tune)) {
        for &chair in &task.chairs {
            let seat = (task.section, chair);
            if joined(phrase, &seat, tune, notes) {
                let octaves = i8::try_from(task.octave.unwrap_or(0)).unwrap_or(0);
                let pitch = now.pitch.moved(Transposition { octaves, ..Transposition::NONE });
                let line = LineId { strand: tune, voice: 0 };
                found.push((
                    seat,
                    CastNote { onset: now.onset, duration: now.duration, pitch, line, breath: false, held: false, like: None },
                ));
            }
        }
    }
    found
}

/// Why a melody that may be covered was left so, in a few words.
pub(crate) fn reason(sketch: &Sketch, phrase: &PhrasePlan) -> &'static str {
    let span = Plan::span(sketch, &phrase.bars);
    let Some(tune) = phrase.tasks.iter().find(|task| task.role == Role::Melody).and_then(|task| task.strand) else {
        return "nobody has the melody";
    };
    let others = || phrase.tasks.iter().filter(|task| task.strand.is_some_and(|strand| strand != tune));
    if others().any(|task| task.why == crate::plan::BY_THE_PLAN) {
        return "the plan has set who plays and how loud";
    }
    let apart = |task: &Task| {
        let (own, melody) = (task.strand.and_then(|strand| level_in(sketch, strand, span)), level_in(sketch, tune, span));
        own.zip(melody).is_some_and(|(own, melody)| own < melody - 0.5)
    };
    if others().all(|task| apart(task) && task.dynamic.is_none()) {
        return "the sketch marks the others softer already, and no player of theirs can be spared";
    }
    "the others are as soft and as few as casting makes them"
}
