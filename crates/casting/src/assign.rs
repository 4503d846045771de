//! Who does what in a phrase, where the plan leaves it open: an integer programme over groups and what each may do.
//!
//! Every group takes one option: silence, or a strand at an octave. What an option is worth comes from the habits of the section
//! (role, register, loudness), the reach of its players, and what it did in the phrase before. Every strand has to be
//! carried, the melody and the bass where possible at their own octave, chords by enough players for their tones.

use std::collections::BTreeMap;

use good_lp::{Expression, ProblemVariables, Solution, SolverModel, Variable, constraint, microlp, variable};
use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::habits::Habits;
use crate::lineup::Lineup;
use crate::plan::{PhrasePlan, Plan, Task};
use crate::realise::Seat;
use crate::sketch::{Sketch, SketchNote};

/// Players who act as one when casting decides.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unit {
    /// Section, index into the line-up.
    pub section: usize,
    /// Chairs, indices.
    pub chairs: Vec<usize>,
}

/// Up to so many players every one is a group of his own.
const FEW: usize = 9;

/// Whether every player is a group of his own.
pub(crate) fn is_single(lineup: &Lineup) -> bool {
    let players: usize = lineup.sections.iter().map(|section| section.chairs.len()).sum();
    players <= FEW && lineup.sections.iter().all(|section| !section.is_body)
}

/// The groups casting decides about: sections; in a small line-up single players.
#[must_use]
pub fn units(lineup: &Lineup) -> Vec<Unit> {
    let single = is_single(lineup);
    let mut units = Vec::new();
    for (section, found) in lineup.sections.iter().enumerate() {
        let chairs: Vec<usize> = (0..found.chairs.len()).collect();
        if single {
            units.extend(chairs.iter().map(|&chair| Unit { section, chairs: vec![chair] }));
        } else {
            // Different instruments of one section (a bass trombone, an English horn) may go their own way.
            for chair in chairs {
                let instrument = &found.chairs[chair].instrument.id;
                let same = |unit: &Unit| unit.section == section && found.chairs[unit.chairs[0]].instrument.id == *instrument;
                match units.iter_mut().find(|unit| same(unit)) {
                    Some(unit) => unit.chairs.push(chair),
                    None => units.push(Unit { section, chairs: vec![chair] }),
                }
            }
        }
    }
    units
}

/// One thing a group may do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choice {
    /// The strand, or `None` for silence.
    pub strand: Option<usize>,
    /// Octaves a line is moved by.
    pub octave: i32,
    /// What it is worth.
    pub worth: f64,
}

/// What is asked of one phrase's assignment.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Problem {
    /// The choices of each group.
    pub choices: Vec<Vec<Choice>>,
    /// Players of each group.
    pub players: Vec<usize>,
    /// Strands that have to be carried: strand, whether at its own octave, players needed at least.
    pub needs: Vec<(usize, bool, usize)>,
    /// Assignments not to be given again, with how many groups have to differ.
    pub not_again: Vec<(Vec<usize>, usize)>,
    /// Octaves in which a line is to sound too: strand, octave, and what it costs where nobody has it there.
    pub wishes: Vec<(usize, i32, f64)>,
    /// Pairs of choices, each a group and one of its choices, that exclude each other: players of one section who would have to cross.
    pub apart: Vec<[(usize, usize); 2]>,
}

/// What it costs that an octave in which the sketch has a line is not played.
const WISH: f64 = 3.0;
/// What an octave costs in which the sketch does not have a line that it has in several.
const UNWRITTEN: f64 = 1.5;
/// What a need that nobody meets costs: more than any preference.
const UNMET: f64 = 100.0;

/// Solves a problem exactly: the index of each group's choice and the total worth. `None` where the solver gives up.
#[must_use]
pub fn solve(problem: &Problem) -> Option<(Vec<usize>, f64)> {
    let mut vars = ProblemVariables::new();
    let x: Vec<Vec<Variable>> =
        problem.choices.iter().map(|choices| choices.iter().map(|_| vars.add(variable().binary())).collect()).collect();
    let unmet: Vec<Variable> = problem
        .needs
        .iter()
        .map(|need| vars.add(variable().min(0.0).max(f64::from(u32::try_from(need.2).unwrap_or(1)))))
        .collect();
    let unheard: Vec<Variable> = problem.wishes.iter().map(|_| vars.add(variable().min(0.0).max(1.0))).collect();
    let mut objective = Expression::from(0.0);
    for (choices, row) in problem.choices.iter().zip(&x) {
        for (choice, &var) in choices.iter().zip(row) {
            objective += choice.worth * var;
        }
    }
    for &slack in &unmet {
        objective -= UNMET * slack;
    }
    for (slack, wish) in unheard.iter().zip(&problem.wishes) {
        objective -= wish.2 * *slack;
    }
    let mut model = vars.maximise(objective).using(microlp);
    for row in x.iter().filter(|row| !row.is_empty()) {
        let sum: Expression = row.iter().copied().map(Expression::from).sum();
        model = model.with(constraint!(sum == 1.0));
    }
    for (need, &slack) in problem.needs.iter().zip(&unmet) {
        let mut sum = Expression::from(slack);
        for ((choices, row), &players) in problem.choices.iter().zip(&x).zip(&problem.players) {
            for (choice, &var) in choices.iter().zip(row) {
                if meets(choice, need) {
                    sum += f64::from(u32::try_from(players).unwrap_or(1)) * var;
                }
            }
        }
        model = model.with(constraint!(sum >= f64::from(u32::try_from(need.2).unwrap_or(1))));
    }
    for (before, differ) in &problem.not_again {
        let same: Expression =
            before.iter().zip(&x).filter_map(|(&choice, row)| row.get(choice).copied()).map(Expression::from).sum();
        let most = i32::try_from(before.len().saturating_sub(*differ)).unwrap_or(i32::MAX);
        model = model.with(constraint!(same <= f64::from(most)));
    }
    for ((strand, octave, _), &slack) in problem.wishes.iter().zip(&unheard) {
        let mut sum = Expression::from(slack);
        for (choices, row) in problem.choices.iter().zip(&x) {
            let there = |choice: &&(&Choice, &Variable)| choice.0.strand == Some(*strand) && choice.0.octave == *octave;
            sum += choices.iter().zip(row).filter(|pair| there(&pair)).map(|(_, &var)| Expression::from(var)).sum::<Expression>();
        }
        model = model.with(constraint!(sum >= 1.0));
    }
    for [a, b] in &problem.apart {
        if let (Some(&a), Some(&b)) = (x.get(a.0).and_then(|row| row.get(a.1)), x.get(b.0).and_then(|row| row.get(b.1))) {
            model = model.with(constraint!(a + b <= 1.0));
        }
    }
    let solution = model.solve().ok()?;
    let picked: Vec<usize> = x
        .iter()
        .map(|row| {
            let value = |&at: &usize| solution.value(row[at]);
            (0..row.len()).max_by(|a, b| value(a).total_cmp(&value(b)).then(b.cmp(a))).unwrap_or(0)
        })
        .collect();
    let worth = worth(problem, &picked)?;
    Some((picked, worth))
}

fn meets(choice: &Choice, need: &(usize, bool, usize)) -> bool {
    choice.strand == Some(need.0) && (!need.1 || choice.octave == 0)
}

/// What an assignment is worth; `None` where it is one not to be given again, or two of its choices exclude each other.
#[must_use]
pub fn worth(problem: &Problem, picked: &[usize]) -> Option<f64> {
    for (before, differ) in &problem.not_again {
        if before.iter().zip(picked).filter(|(a, b)| a != b).count() < *differ {
            return None;
        }
    }
    let has = |(unit, choice): (usize, usize)| picked.get(unit) == Some(&choice);
    if problem.apart.iter().any(|[a, b]| has(*a) && has(*b)) {
        return None;
    }
    let mut sum = 0.0;
    for (choices, &at) in problem.choices.iter().zip(picked) {
        sum += choices.get(at).map_or(0.0, |choice| choice.worth);
    }
    for need in &problem.needs {
        let have: usize = problem
            .choices
            .iter()
            .zip(picked)
            .zip(&problem.players)
            .filter(|((choices, at), _)| choices.get(**at).is_some_and(|choice| meets(choice, need)))
            .map(|(_, players)| *players)
            .sum();
        sum -= UNMET * f64::from(u32::try_from(need.2.saturating_sub(have)).unwrap_or(0));
    }
    for &(strand, octave, price) in &problem.wishes {
        let there = |choice: &Choice| choice.strand == Some(strand) && choice.octave == octave;
        let heard = problem.choices.iter().zip(picked).any(|(choices, &at)| choices.get(at).is_some_and(there));
        sum -= if heard { 0.0 } else { price };
    }
    Some(sum)
}

/// How a phrase's choices are judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Taste {
    /// Weight of habits of role.
    pub role: f64,
    /// Weight of habits of register.
    pub register: f64,
    /// Weight of how much a strand does: one that has little to play has few players. 0 by default, for in the programme it agreed less with
    /// what masters did than in the model it was fitted in (docs/casting.md).
    pub liveliness: f64,
    /// Weight of how often a section plays.
    pub presence: f64,
    /// What it is worth to go on as before.
    pub steady: f64,
    /// Weight of fatigue ([`Memory::strain`]), of brass.
    pub rest: f64,
    /// Seed; 0 shakes nothing.
    pub seed: u64,
}

impl Default for Taste {
    fn default() -> Self {
        Self { role: 1.0, register: 1.0, liveliness: 0.0, presence: 0.7, steady: 0.4, rest: 0.05, seed: 0 }
    }
}

/// What happened before a phrase, by group.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Memory {
    /// The strand and octave of the phrase before.
    pub last: Vec<Option<(usize, i32)>>,
    /// How tired the lips are: 1 for a phrase, up to 3 where it is loud and high, halved by every phrase of rest.
    pub strain: Vec<f64>,
}

/// Strands that sound in a phrase.
#[must_use]
pub fn present(sketch: &Sketch, span: (Crotchets, Crotchets)) -> Vec<usize> {
    (0..sketch.strands.len()).filter(|&strand| !sketch.strands[strand].between(span.0, span.1).is_empty()).collect()
}

/// How likely a section plays, from how often it does at this loudness, from fortissimo, and from the number of strands: a logistic model fitted on four-bar windows of 49
/// open scores; works left out, it is right in .80 of 23,633 cases, the habit alone in .72.
fn plays(presence: f64, level: Option<f32>, strands: usize) -> f64 {
    let usual = presence.clamp(0.05, 0.95);
    let many = f64::from(u32::try_from(strands).unwrap_or(4)) - 4.0;
    let very_loud = f64::from(u8::from(level.is_some_and(|level| level >= 6.5)));
    let odds = 0.47 + 0.78 * (usual / (1.0 - usual)).ln() + 0.83 * very_loud + 0.5 * many;
    (1.0 / (1.0 + (-odds).exp())).clamp(0.03, 0.97)
}

/// What the number of attacks in a bar says for a strand; for the melody less, which needs few.
fn liveliness(role: Role, notes: &[SketchNote], bars: usize) -> f64 {
    let attacks = notes.chunk_by(|a, b| a.onset == b.onset).count();
    let many = f64::from(u32::try_from(attacks).unwrap_or(u32::MAX)) / f64::from(u32::try_from(bars.max(1)).unwrap_or(u32::MAX));
    let (weight, start) = match role {
        Role::Melody => (0.41, -0.08),
        Role::Countermelody => (1.18, -0.6),
        Role::Bass => (0.98, -0.23),
        Role::Harmony => (1.04, -0.25),
        Role::Pedal => (1.19, 0.91),
        Role::Rhythm | Role::Punctuation => (0.54, 0.0),
        _ => (1.45, 0.25),
    };
    weight * many.ln_1p() + start
}

fn mean(notes: &[SketchNote]) -> f64 {
    let sum: f64 = notes.iter().map(|note| f64::from(note.key())).sum();
    sum / f64::from(u32::try_from(notes.len()).unwrap_or(1).max(1))
}

/// Puts a phrase's question. `playing`: the groups that have to play, where that is given; the others rest.
#[must_use]
#[allow(clippy::too_many_arguments)] // one question has this many sides, and they are of different types
pub fn problem(
    sketch: &Sketch,
    lineup: &Lineup,
    units: &[Unit],
    habits: &Habits,
    phrase: &PhrasePlan,
    memory: &Memory,
    playing: Option<&[bool]>,
    taste: &Taste,
) -> Problem {
    let span = Plan::span(sketch, &phrase.bars);
    let strands = present(sketch, span);
    let roles: Vec<Role> = strands.iter().map(|&strand| sketch.strands[strand].role).collect();
    let level = strands
        .iter()
        .filter_map(|&strand| sketch.level_at(sketch.strands[strand].part, span.0))
        .fold(None, |most: Option<f32>, level| Some(most.map_or(level, |most| most.max(level))));
    let class = match level {
        Some(level) if level < 4.5 => 0,
        Some(level) if level >= 5.5 => 2,
        _ => 1,
    };
    let busy: Vec<Seat> = phrase
        .tasks
        .iter()
        .flat_map(|task| task.chairs.iter().map(move |&chair| (task.section, chair)))
        .chain(phrase.reserve.iter().copied())
        .collect();
    let mut problem = Problem::default();
    let single = is_single(lineup);
    for (at, unit) in units.iter().enumerate() {
        let section = &lineup.sections[unit.section];
        let chairs: Vec<usize> = unit.chairs.iter().copied().filter(|&chair| !busy.contains(&(unit.section, chair))).collect();
        problem.players.push(if section.is_body { 1 } else { chairs.len() });
        let Some(&first) = chairs.first() else {
            problem.choices.push(vec![Choice { strand: None, octave: 0, worth: 0.0 }]);
            continue;
        };
        let chair = &section.chairs[first];
        let habit = habits.section(section.kind);
        let forced = playing.map(|playing| playing.get(at).copied().unwrap_or(false));
        let plays = plays(habit.map_or(0.6, |habit| habit.presence[class]), level, strands.len());
        // Where there are few, everybody is wanted.
        let plays = if single { plays.max(0.75) } else { plays };
        let mut choices = Vec::new();
        if forced != Some(false) {
            for &strand in &strands {
                let found = &sketch.strands[strand];
                let notes = found.between(span.0, span.1);
                let share = habit.map_or(1.0 / 6.0, |habit| habit.share(found.role, &roles));
                let usual = habit
                    .and_then(|habit| habit.medians.get(&found.role).copied())
                    .unwrap_or_else(|| f64::from(chair.reach.middle()));
                let register = mean(notes);
                let lively = taste.liveliness * liveliness(found.role, notes, phrase.bars.len());
                let written = found.octaves_in(span);
                let octaves: Vec<i32> = if found.is_chordal() { vec![0] } else { (-2..=2).collect() };
                for octave in octaves {
                    let mut worth = taste.role * (0.9 * share + 0.1 / 6.0).ln() + lively;
                    if found.is_chordal() {
                        let off = (register - usual) / 14.0;
                        worth -= taste.register * (off * off / 2.0).min(3.0);
                    } else {
                        let keys = || notes.iter().map(|note| note.key() + 12 * octave);
                        let beyond = keys().filter(|&key| !chair.reach.allows(key)).count();
                        if beyond * 10 > notes.len() {
                            continue;
                        }
                        let strain: i32 = keys().map(|key| chair.reach.strain(key)).sum();
                        let many = f64::from(u32::try_from(notes.len()).unwrap_or(1).max(1));
                        let off = (register + 12.0 * f64::from(octave) - usual) / 9.0;
                        worth -= taste.register * (off * off / 2.0).min(4.0);
                        worth -= 0.3 * f64::from(strain) / many + 4.0 * f64::from(u32::try_from(beyond).unwrap_or(0)) / many;
                        // Where every player counts, one section should not be spread over two octaves of the texture.
                        let far = if unit.chairs.len() == 1 && section.chairs.len() > 1 { 1.6 } else { 0.6 };
                        if written.is_empty() {
                            worth -= far * f64::from(octave.abs());
                        } else if octave != 0 && written.iter().all(|(other, _)| *other != octave) {
                            worth -= far.max(UNWRITTEN);
                        }
                        // With few players a bass an octave up lies among the chords and is none.
                        if single && matches!(found.role, Role::Bass | Role::Pedal) {
                            worth -= 6.0 * f64::from(octave.max(0));
                        }
                    }
                    // The first desk has the tune before the second.
                    if found.role == Role::Melody && units.len() > lineup.sections.len() {
                        worth -= 0.15 * f64::from(u32::try_from(unit.chairs[0]).unwrap_or(0));
                    }
                    if memory.last.get(at).copied().flatten() == Some((strand, octave)) {
                        worth += taste.steady;
                    }
                    worth -= taste.rest
                        * memory.strain.get(at).copied().unwrap_or(0.0).min(12.0)
                        * if section.chairs[first].instrument.family == ripieno_instruments::Family::Brass { 1.0 } else { 0.0 };
                    if taste.seed != 0 {
                        worth += 0.6 * noise(taste.seed, at, strand, octave, phrase.bars.start);
                    }
                    choices.push(Choice { strand: Some(strand), octave, worth });
                }
            }
        }
        // Whether to play is asked before what: silence is measured against the best there is to play, not against each role's share.
        if forced != Some(true) || choices.is_empty() {
            let best = choices.iter().map(|choice| choice.worth).fold(f64::NEG_INFINITY, f64::max);
            let instead = taste.presence * ((1.0 - plays).ln() - plays.ln());
            choices.insert(0, Choice { strand: None, octave: 0, worth: if best.is_finite() { best + instead } else { 0.0 } });
        }
        problem.choices.push(choices);
    }
    if single {
        problem.apart = crossing(sketch, units, &problem.choices);
    }
    for &strand in &strands {
        let found = &sketch.strands[strand];
        let already: usize = phrase.tasks.iter().filter(|task| task.strand == Some(strand)).map(|task| task.chairs.len()).sum();
        let needed = if found.is_chordal() { polyphony(sketch, strand, &strands, span) } else { 1 };
        if already >= needed {
            continue;
        }
        problem.needs.push((strand, false, needed - already));
        if !found.is_chordal() {
            let written = found.octaves_in(span).into_iter().filter(|(_, share)| *share >= 0.5);
            problem.wishes.extend(written.map(|(octave, _)| (strand, octave, WISH)));
        }
        let line = matches!(found.role, Role::Melody | Role::Countermelody);
        let can = |choices: &Vec<Choice>| choices.iter().any(|choice| choice.strand == Some(strand) && choice.octave == 0);
        if line && already == 0 && problem.choices.iter().any(can) {
            problem.needs.push((strand, true, 1));
        }
    }
    problem
}

/// Choices of players of one section that would make them cross: one has a line below its own octave, or a bass above it, and the other
/// chords, which lie in between.
fn crossing(sketch: &Sketch, units: &[Unit], choices: &[Vec<Choice>]) -> Vec<[(usize, usize); 2]> {
    let moved = |choice: &Choice| {
        let role = choice.strand.map(|strand| sketch.strands[strand].role);
        match role {
            Some(Role::Melody | Role::Countermelody | Role::Figuration) => choice.octave < 0,
            Some(Role::Bass | Role::Pedal) => choice.octave > 0,
            _ => false,
        }
    };
    let chordal = |choice: &Choice| choice.strand.is_some_and(|strand| sketch.strands[strand].is_chordal());
    let mut found = Vec::new();
    for (a, unit) in units.iter().enumerate() {
        for (b, _) in units.iter().enumerate().filter(|(b, other)| *b != a && other.section == unit.section) {
            for (i, _) in choices[a].iter().enumerate().filter(|(_, choice)| moved(choice)) {
                found.extend(choices[b].iter().enumerate().filter(|(_, choice)| chordal(choice)).map(|(j, _)| [(a, i), (b, j)]));
            }
        }
    }
    found
}

/// Tones that sound together in a chord strand and in no other line: as many at most.
fn polyphony(sketch: &Sketch, strand: usize, strands: &[usize], span: (Crotchets, Crotchets)) -> usize {
    let found = &sketch.strands[strand];
    let lines: Vec<usize> = strands.iter().copied().filter(|&other| !sketch.strands[other].is_chordal()).collect();
    let counts = found.moments(span).map(|(at, here)| {
        let others = lines
            .iter()
            .filter_map(|&other| sketch.strands[other].at(at))
            .fold(0u16, |have, note| have | 1 << note.key().rem_euclid(12));
        (here & !others).count_ones() as usize
    });
    counts.max().unwrap_or(1).clamp(1, 6)
}

fn noise(seed: u64, unit: usize, strand: usize, octave: i32, bar: usize) -> f64 {
    let mut x = seed;
    for part in [unit as u64, strand as u64, (octave + 8).unsigned_abs().into(), bar as u64] {
        x = (x ^ part).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        x ^= x >> 29;
    }
    #[allow(clippy::cast_precision_loss)] // 53 bits
    let unit = (x >> 11) as f64 / (1u64 << 53) as f64;
    2.0 * unit - 1.0
}

/// A share of time from which on a habit is a reason.
const USUAL: f64 = 0.05;

/// What players of a section do: section, strand and octave.
type Doing = (usize, Option<usize>, i32);

/// Who does each thing.
type Gathered = BTreeMap<Doing, Vec<usize>>;

/// Turns the choices of groups into tasks; chords leave their register to the voicing.
#[must_use]
pub fn tasks(
    sketch: &Sketch,
    lineup: &Lineup,
    units: &[Unit],
    habits: &Habits,
    phrase: &PhrasePlan,
    problem: &Problem,
    picked: &[usize],
) -> Vec<Task> {
    let busy: Vec<Seat> = phrase
        .tasks
        .iter()
        .flat_map(|task| task.chairs.iter().map(move |&chair| (task.section, chair)))
        .chain(phrase.reserve.iter().copied())
        .collect();
    let mut by: Gathered = BTreeMap::new();
    for ((unit, choices), &at) in units.iter().zip(&problem.choices).zip(picked) {
        let Some(choice) = choices.get(at) else { continue };
        let free = unit.chairs.iter().copied().filter(|&chair| !busy.contains(&(unit.section, chair)));
        let entry = by.entry((unit.section, choice.strand, choice.octave)).or_default();
        entry.extend(free);
    }
    let uncarried: Vec<usize> = present(sketch, Plan::span(sketch, &phrase.bars))
        .into_iter()
        .filter(|&strand| {
            phrase.tasks.iter().all(|task| task.strand != Some(strand)) && by.keys().all(|key| key.1 != Some(strand))
        })
        .collect();
    for strand in uncarried {
        split(units, problem, picked, strand, &mut by);
    }
    in_order(sketch, lineup, phrase, &mut by);
    let mut tasks = Vec::new();
    for ((section, strand, octave), mut chairs) in by {
        chairs.sort_unstable();
        if chairs.is_empty() {
            continue;
        }
        let role = strand.map_or(Role::Tacet, |strand| sketch.strands[strand].role);
        let kind = lineup.sections[section].kind;
        let share = habits.section(kind).and_then(|habit| habit.shares.get(&role)).copied().filter(|share| *share >= USUAL);
        let own_best = units.iter().zip(&problem.choices).zip(picked).any(|((unit, choices), &at)| {
            let best = choices
                .iter()
                .filter(|choice| choice.strand.is_some())
                .map(|choice| choice.worth)
                .fold(f64::NEG_INFINITY, f64::max);
            unit.section == section
                && choices.get(at).is_some_and(|choice| choice.strand == strand && choice.worth >= best - 1e-9)
        });
        let why = match (strand, share) {
            (None, _) => "kept in reserve; every strand has its players".to_owned(),
            (Some(_), Some(share)) => format!("{kind} have this role {:.0} % of their time in {}", share * 100.0, habits.name),
            (Some(strand), None) if !own_best => {
                format!("needed there: “{}” would be short of players", sketch.strands[strand].name)
            }
            (Some(_), None) => "it lies best for them of what there is to play".to_owned(),
        };
        let line = strand.is_some_and(|strand| !sketch.strands[strand].is_chordal());
        tasks.push(Task { octave: line.then_some(octave), why, ..Task::new(section, chairs, role, strand) });
    }
    tasks
}

/// A strand that no group is left for goes to half the players of the group that would do it best beside what it does.
fn split(units: &[Unit], problem: &Problem, picked: &[usize], strand: usize, by: &mut Gathered) {
    let mut best: Option<(f64, Doing, i32)> = None;
    for ((unit, choices), &at) in units.iter().zip(&problem.choices).zip(picked) {
        let Some(now) = choices.get(at) else { continue };
        let key = (unit.section, now.strand, now.octave);
        if now.strand.is_none() || by.get(&key).is_none_or(|chairs| chairs.len() < 2) {
            continue;
        }
        for other in choices.iter().filter(|choice| choice.strand == Some(strand)) {
            let loss = other.worth - now.worth;
            if best.is_none_or(|(known, _, _)| loss > known) {
                best = Some((loss, key, other.octave));
            }
        }
    }
    let Some((_, key, octave)) = best else { return };
    if let Some(chairs) = by.get_mut(&key) {
        chairs.sort_unstable();
        let moved = chairs.split_off(chairs.len().div_ceil(2));
        by.entry((key.0, Some(strand), octave)).or_default().extend(moved);
    }
}

/// Inside a section the higher task goes to the higher chairs, so that nobody has to cross.
fn in_order(sketch: &Sketch, lineup: &Lineup, phrase: &PhrasePlan, by: &mut Gathered) {
    let span = Plan::span(sketch, &phrase.bars);
    for (section, found) in lineup.sections.iter().enumerate() {
        let mut keys: Vec<(usize, Option<usize>, i32)> = by.keys().filter(|key| key.0 == section).copied().collect();
        if keys.len() < 2 {
            continue;
        }
        let height = |key: &(usize, Option<usize>, i32)| {
            key.1.map_or(f64::NEG_INFINITY, |strand| {
                mean(sketch.strands[strand].between(span.0, span.1)) + 12.0 * f64::from(key.2)
            })
        };
        keys.sort_by(|a, b| height(b).total_cmp(&height(a)).then(a.cmp(b)));
        let all: Vec<usize> = keys.iter().flat_map(|key| by[key].clone()).collect();
        let mut order = crate::realise::from_the_top(&found.chairs, found.kind, &all).into_iter();
        for key in &keys {
            if let Some(chairs) = by.get_mut(key) {
                *chairs = order.by_ref().take(chairs.len()).collect();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(problem: &Problem) -> f64 {
        let mut best = f64::NEG_INFINITY;
        let sizes: Vec<usize> = problem.choices.iter().map(Vec::len).collect();
        let total: usize = sizes.iter().product();
        for mut code in 0..total {
            let picked: Vec<usize> = sizes
                .iter()
                .map(|size| {
                    let at = code % size;
                    code /= size;
                    at
                })
                .collect();
            if let Some(worth) = worth(problem, &picked) {
                best = best.max(worth);
            }
        }
        best
    }

    #[test]
    fn thirty_small_assignments_equal_the_exact_optimum() {
        for seed in 1..=30u64 {
            let choices: Vec<Vec<Choice>> = (0..5)
                .map(|unit| {
                    let mut list = vec![Choice { strand: None, octave: 0, worth: noise(seed, unit, 9, 0, 0) }];
                    for strand in 0..3 {
                        for octave in -1..=0 {
                            list.push(Choice {
                                strand: Some(strand),
                                octave,
                                worth: 3.0 * noise(seed, unit, strand, octave, 1) - 1.0,
                            });
                        }
                    }
                    list
                })
                .collect();
            let mut problem = Problem {
                choices,
                players: vec![1, 2, 3, 1, 2],
                needs: vec![(0, true, 1), (1, false, 3), (2, false, 1)],
                not_again: Vec::new(),
                wishes: vec![(1, -1, 0.7), (2, 0, 2.0)],
                apart: vec![[(0, 1), (1, 3)], [(2, 2), (3, 2)]],
            };
            let (picked, found) = solve(&problem).expect("the solver answers");
            assert!((found - all(&problem)).abs() < 1e-6, "seed {seed}");
            // And with the best one forbidden.
            problem.not_again.push((picked, 2));
            let (_, second) = solve(&problem).expect("the solver answers");
            assert!((second - all(&problem)).abs() < 1e-6, "seed {seed}, second");
            assert!(second <= found);
        }
    }
}
