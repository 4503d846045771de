//! Who does what in a phrase, where the plan leaves it open: an integer programme over groups and what each may do.
//!
//! Every group takes one option: silence, or a strand at an octave. What an option is worth comes from the habits of the section
//! (role, register, loudness), the reach of its players, and what it did in the phrase before. Every strand has to be
//! carried, the melody and the bass where possible at their own octave, chords by enough players for their tones.

mod customs;
mod desks;
mod learned;
mod memory;
mod practice;
mod programme;

use std::collections::BTreeMap;

use ripieno_acoustics::{Source, Ways};
use ripieno_instruments::Family;
use ripieno_players::{Change, change_time};
use ripieno_score::{Crotchets, DynamicLevel};
use ripieno_texture::Role;

use crate::habits::{Habit, Habits};
use crate::lineup::{Chair, Lineup};
use crate::numbers::number;
use crate::period::period;
use crate::plan::{PhrasePlan, Plan, Task};
use crate::realise::share_to_move;
use crate::sketch::{Sketch, SketchNote, Strand};

pub(crate) use customs::{has_gentle, has_strings, is_heavy, is_last, not_soft};
pub(crate) use desks::{Rest, Rests, filled, grounded, is_loud, is_spent, playing, thinned, told};
pub use learned::{CastingTable, Learned, casting_table};
pub use memory::Memory;
pub(crate) use memory::seconds;
pub(crate) use practice::separate;
pub(crate) use programme::each_alone;
pub use programme::{Choice, Led, Need, Pair, Problem, Solved, solve, worth};

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
                let kept = |chair: usize| found.chairs[chair].instruments().map(|(instrument, _)| &instrument.id);
                let same = |unit: &Unit| unit.section == section && kept(unit.chairs[0]).eq(kept(chair));
                match units.iter_mut().find(|unit| same(unit)) {
                    Some(unit) => unit.chairs.push(chair),
                    None => units.push(Unit { section, chairs: vec![chair] }),
                }
            }
        }
    }
    units
}

/// What an octave costs in which the sketch does not have a line that it has in several.
const UNWRITTEN: f64 = 1.5;
/// How a phrase's choices are judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Taste {
    /// Weight of what is learned of role. What is asked for (a practice, another colour, a seed) is weighed by it too, so that it moves as much whatever this is.
    pub known: f64,
    /// The same where every player is a group of his own; of few brass alone, with several of a section, habits stand in its place.
    pub few: f64,
    /// Weight of how a practice asked for differs from what is learned, beside what is learned.
    pub like: f64,
    /// Weight of habits of register.
    pub register: f64,
    /// Weight of how often a section plays.
    pub presence: f64,
    /// What it is worth to go on as before.
    pub steady: f64,
    /// Weight of staying with the tune through its theme.
    pub theme: f64,
    /// What a dB of sound power is worth on the tune.
    pub heard: f64,
    /// Weight of what two sections are worth together.
    pub pairs: f64,
    /// What each section costs that has a soft tune beyond the usual few.
    pub carrier: f64,
    /// What it costs that an octave in which the sketch has a line is not played.
    pub wish: f64,
    /// What a rest is worth for each unit of fatigue ([`Memory::strain`]) of brass; half of it for woodwind.
    pub rest: f64,
    /// How much more (or less, negative) is to play than usual, as odds (a natural logarithm).
    pub fullness: f64,
    /// What it costs a group to have the melody that had it in an earlier proposal, as far as the caller knows them.
    pub other_colour: f64,
    /// Seed; 0 shakes nothing.
    pub seed: u64,
    /// What was learned of who does what.
    pub learned: Learned,
}

/// What is learned is worth so much beside all other terms: chosen on other passages than those it is measured on (docs/casting.md).
const KNOWN: f64 = 5.0;

impl Taste {
    /// Weight of what is learned; `single`: where every player is a group of his own.
    pub(crate) const fn known_of(&self, single: bool) -> f64 {
        if single { self.few } else { self.known }
    }
}

impl Default for Taste {
    fn default() -> Self {
        Self {
            known: KNOWN,
            few: 1.0,
            like: 1.5,
            register: 1.0,
            presence: 0.7,
            steady: 0.4,
            theme: 1.0,
            heard: 0.06,
            pairs: 1.0,
            carrier: 3.0,
            wish: 3.0,
            rest: 0.12,
            fullness: 0.0,
            other_colour: 2.5,
            seed: 0,
            learned: Learned::usual(),
        }
    }
}

/// Strands that sound in a phrase.
#[must_use]
pub fn present(sketch: &Sketch, span: (Crotchets, Crotchets)) -> Vec<usize> {
    // A grace note belongs to what it leads to or follows.
    let lasts = |strand: &usize| sketch.strands[*strand].between(span.0, span.1).iter().any(|note| note.duration.is_positive());
    (0..sketch.strands.len()).filter(lasts).collect()
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
    // What hardly sounds must not keep a section from the rest of the phrase: a few players have it ([`tasks`]).
    let there = present(sketch, span);
    let (mut sparse, mut strands): (Vec<usize>, Vec<usize>) =
        there.iter().copied().partition(|&strand| !is_single(lineup) && is_sparse(sketch, &there, strand, &phrase.bars));
    if strands.is_empty() {
        std::mem::swap(&mut sparse, &mut strands);
    }
    let level = strands
        .iter()
        .filter_map(|&strand| sketch.level_at(sketch.strands[strand].part, sketch.bar_start(phrase.bars.start)))
        .fold(None, |most: Option<f32>, level| Some(most.map_or(level, |most| most.max(level))));
    let class = presence_class(level);
    let busy = phrase.named();
    let mut problem = Problem::default();
    let roles = strands.iter().map(|&strand| sketch.strands[strand].role).collect();
    let single = is_single(lineup);
    let told = present(sketch, span);
    // What is learned is learned of orchestras: where few brass are alone, and players of one section groups of their own, habits decide.
    let logs = if single && units.len() > lineup.sections.len() && !has_gentle(lineup) {
        Vec::new()
    } else {
        let everybody = vec![true; units.len()];
        taste.learned.logs(&casting_table(sketch, lineup, units, &told, span), playing.unwrap_or(&everybody))
    };
    let known = taste.known_of(single);
    let of_line = |&strand: &usize| if sketch.strands[strand].is_chordal() { &[] } else { period(sketch, strand, span) };
    let periods = told.iter().map(of_line).collect();
    let question = Question {
        sketch,
        lineup,
        units,
        habits,
        phrase,
        memory,
        taste,
        known,
        span,
        strands: &strands,
        roles,
        single,
        told,
        logs,
        periods,
    };
    let usual = |unit: &Unit| {
        let presence = habits.section(lineup.sections[unit.section].kind).map_or(0.6, |habit| habit.presence[class]);
        let p = plays(presence, level, strands.len());
        let kept =
            practice::reserve(habits, lineup, unit.section, class == 2) - question.kept_out(&lineup.sections[unit.section]);
        (1.0 / (1.0 + (1.0 / p - 1.0) * (-taste.fullness - kept).exp())).clamp(0.03, 0.97)
    };
    let mut likely: Vec<f64> = units.iter().map(usual).collect();
    if !has_strings(lineup) {
        lift(&mut likely, in_a_band(level, strands.len()));
    }
    // In a band nobody sits by for long: whoever has rested for some phrases is wanted again. So are strings where it is loud.
    for ((p, &silent), unit) in likely.iter_mut().zip(&memory.silent).zip(units) {
        let long = match lineup.sections[unit.section].is_body {
            true if class == 2 => silent,
            false if !has_strings(lineup) => silent.saturating_sub(LONG_SILENT),
            _ => 0,
        };
        let odds = (*p / (1.0 - *p)).ln() + WANTED_AGAIN * f64::from(long.min(8));
        *p = (1.0 / (1.0 + (-odds).exp())).clamp(0.03, 0.97);
    }
    for (at, unit) in units.iter().enumerate() {
        let section = &lineup.sections[unit.section];
        let chairs: Vec<usize> = unit.chairs.iter().copied().filter(|&chair| !busy.contains(&(unit.section, chair))).collect();
        problem.players.push(if section.is_body { 1 } else { chairs.len() });
        let Some(&first) = chairs.first() else {
            problem.choices.push(vec![Choice::silence(0.0)]);
            problem.sparse.push(Vec::new());
            continue;
        };
        let told = playing.map(|playing| playing.get(at).copied().unwrap_or(false));
        let forced = told.or_else(|| question.sits_by(section).then_some(false));
        // Where there are few, everybody is wanted.
        let plays = if single { likely[at].max(0.75) } else { likely[at] };
        let mut choices = if forced == Some(false) { Vec::new() } else { question.choices(at, &section.chairs[first]) };
        question.in_course(at, level, &mut choices);
        question.by_instrument(at, &section.chairs[first], &mut choices);
        if told.is_none() || choices.iter().any(|choice| !question.leaves_the_bass(section, choice)) {
            choices.retain(|choice| !question.leaves_the_bass(section, choice));
        }
        // Whoever is told to rest is not asked for what hardly sounds either.
        problem.sparse.push(match forced {
            Some(false) => Vec::new(),
            _ => Question { strands: &sparse, ..question.clone() }.choices(at, &section.chairs[first]),
        });
        // Whether to play is asked before what: silence is measured against the best there is to play, not against each role's share.
        if forced != Some(true) || choices.is_empty() {
            let best = choices.iter().map(|choice| choice.worth).fold(f64::NEG_INFINITY, f64::max);
            let instead =
                taste.presence * ((1.0 - plays).ln() - plays.ln()) + taste.rest * tired(&section.chairs[first], memory, at);
            choices.insert(0, Choice::silence(if best.is_finite() { best + instead } else { 0.0 }));
        }
        problem.choices.push(choices);
    }
    for &strand in strands.iter().filter(|&&strand| is_frame(sketch, &strands, strand)) {
        question.somehow(strand, &busy, playing, &mut problem);
    }
    if single {
        problem.apart = crossing(sketch, units, &problem.choices);
    }
    for &strand in &strands {
        let found = &sketch.strands[strand];
        let already: usize = phrase.tasks.iter().filter(|task| task.strand == Some(strand)).map(|task| task.chairs.len()).sum();
        let needed = match found.role {
            Role::Harmony if single => {
                fullness(sketch, strand, &strands, span).iter().filter(|share| **share > 0.0).count().clamp(1, 6)
            }
            _ if found.is_chordal() => polyphony(sketch, strand, &strands, span),
            _ => 1,
        };
        if already >= needed {
            continue;
        }
        let (mut there, each) = price(found.role);
        let further = is_further(sketch, &strands, strand);
        if further {
            there = FURTHER * there.min(price(Role::Countermelody).0);
        }
        // Where casting decides who plays, whoever rests comes in for it first.
        if already == 0 && playing.is_some() && found.role != Role::Harmony && !is_frame(sketch, &strands, strand) {
            there = question.shared_out(strand, &problem.choices).map_or(there, |shared| there.min(shared));
        }
        // What sounds for a bar only is given up before what goes through.
        let share = if single { sounding_bars(sketch, strand, &phrase.bars) } else { 1.0 };
        let mut need = |own_octave: bool, players: usize, price: f64| {
            problem.needs.push(Need { strand, own_octave, players, price: price * share });
        };
        // That a strand is there at all counts more than that it is whole.
        if already == 0 {
            need(false, 1, there);
        }
        if needed > 1 {
            if single && found.role == Role::Harmony {
                // Every tone counts as long as it sounds: the last players of full chords less than the first.
                let shares = fullness(sketch, strand, &strands, span);
                let share = |tones: usize| shares.get(tones - 1).copied().unwrap_or(0.0);
                for tones in (2..=needed).filter(|tones| *tones > already) {
                    need(false, tones - already, each * (share(tones) - share(tones + 1)));
                }
            } else {
                need(false, needed - already, each);
            }
            if already < 2 {
                need(false, 2 - already, SECOND);
            }
        }
        if !found.is_chordal() {
            let written = found.octaves_in(span).into_iter().filter(|(_, share)| *share >= 0.5);
            problem.wishes.extend(written.map(|(octave, _)| (strand, octave, taste.wish)));
        }
        let line = matches!(found.role, Role::Melody | Role::Countermelody | Role::Bass) && !further;
        // Whoever is exhausted need not go on because nobody else reaches so high: then it may sound an octave lower for a while.
        let fresh =
            |at: usize| single || tired(&lineup.sections[units[at].section].chairs[units[at].chairs[0]], memory, at) < EXHAUSTED;
        let can = |(at, choices): (usize, &Vec<Choice>)| {
            let own = |choice: &Choice| choice.strand == Some(strand) && choice.octave == 0 && question.keeps(at, strand, choice);
            fresh(at) && choices.iter().any(own)
        };
        if line && already == 0 && problem.choices.iter().enumerate().any(can) {
            let price = if found.role == Role::Countermelody && has_strings(lineup) {
                ANSWER_ELSEWHERE * question.known.max(1.0)
            } else {
                OWN_OCTAVE
            };
            problem.needs.push(Need { strand, own_octave: true, players: 1, price });
        }
        if found.role == Role::Melody && already == 0 && !further {
            tune(sketch, strand, (!single).then_some(taste.carrier), &mut problem, span);
            // Of an orchestra that is told who plays it is learned.
            if playing.is_none() || !has_strings(lineup) {
                shared_by_many(strand, level, &mut problem);
            }
        }
    }
    question.customs(playing, &mut problem);
    practice::pairs(&question, &mut problem);
    problem.pairs.iter_mut().for_each(|pair| pair.worth *= taste.pairs);
    problem
}

/// What it costs that nobody has a strand, and each player its chords lack: where not everything can be carried, figures and effects go first, then rhythm, then an answer, then what
/// makes chords whole; never the tune, nor the bass (common practice; from memory, as the handbooks on writing for few have it).
const fn price(role: Role) -> (f64, f64) {
    match role {
        Role::Melody => (800.0, 0.0),
        Role::Bass => (600.0, 0.0),
        Role::Harmony => (200.0, 110.0),
        Role::Countermelody => (100.0, 0.0),
        Role::Rhythm | Role::Punctuation => (60.0, 25.0),
        Role::Pedal => (60.0, 0.0),
        Role::Figuration => (50.0, 0.0),
        _ => (40.0, 0.0),
    }
}
/// The share of a role's price, or of an answer's where that is less, that a further line of it is worth: the second line goes before what there is but one of, and nobody is kept for it from
/// what he is much likelier to have; a section is divided for it then. Chosen with [`KNOWN`]: .05 has .711 of the other passages, .2 to .7 have .707.
const FURTHER: f64 = 0.05;
/// What the second player of chords costs more, where there is none.
const SECOND: f64 = 30.0;
/// What it costs that a tune is not heard at its own octave, though somebody could play it there; and an answer of an orchestra, beside what is learned.
const OWN_OCTAVE: f64 = 90.0;
const ANSWER_ELSEWHERE: f64 = 0.6;
/// What it costs that a section of an orchestra divides for a strand that no section has as a whole, beside what is learned (docs/casting.md).
const DIVIDES: f64 = 0.4;
/// Groups that have the tune at most where it is soft: more are one grey colour (common practice; the number is an orchestrator's who read our proposals).
const SOFT_CARRIERS: usize = 3;

/// That not many sections have the tune where it is soft.
fn tune(sketch: &Sketch, strand: usize, carrier: Option<f64>, problem: &mut Problem, span: (Crotchets, Crotchets)) {
    let soft = crate::loudness::level_in(sketch, strand, span).is_some_and(|level| level < 4.5);
    if let Some(price) = carrier.filter(|_| soft) {
        problem.limits.push((strand, SOFT_CARRIERS, price));
    }
}

/// That a share of the players has the tune at f and more, lest the others cover it.
fn shared_by_many(strand: usize, level: Option<f32>, problem: &mut Problem) {
    let all: usize = problem.players.iter().sum();
    let players = match desks::class(level) {
        2 => all / 6,
        3 => all / 4,
        _ => 0,
    };
    if players > 1 {
        problem.needs.push(Need { strand, own_octave: false, players: players.min(6), price: 2.0 });
    }
}

/// Share of a phrase's bars in which a strand begins a note or goes on with one.
fn sounding_bars(sketch: &Sketch, strand: usize, bars: &std::ops::Range<usize>) -> f64 {
    let found = &sketch.strands[strand];
    let sounds = |bar: &usize| {
        let (from, to) = (sketch.bar_start(*bar), sketch.bar_start(*bar + 1));
        found.between(from, to).iter().any(|note| note.duration.is_positive()) || found.at(from).is_some()
    };
    number(bars.clone().filter(sounds).count()) / number(bars.len().max(1))
}

/// Whether a strand is a further line of a role ("Answer 2") beside others that are there.
pub(crate) fn is_further(sketch: &Sketch, there: &[usize], strand: usize) -> bool {
    let found = &sketch.strands[strand];
    !found.is_chordal() && there.iter().any(|&other| other < strand && sketch.strands[other].role == found.role)
}

/// Whether a strand is the tune or the bass: no further line of theirs.
fn is_frame(sketch: &Sketch, there: &[usize], strand: usize) -> bool {
    matches!(sketch.strands[strand].role, Role::Melody | Role::Bass) && !is_further(sketch, there, strand)
}

/// Whether a strand of those that are there sounds in less than half of a phrase, and is neither tune nor bass.
fn is_sparse(sketch: &Sketch, there: &[usize], strand: usize, bars: &std::ops::Range<usize>) -> bool {
    !is_frame(sketch, there, strand) && sounding_bars(sketch, strand, bars) < 0.5
}

/// How much the register of chords weighs beside the share of a role: as 0.55 to 0.72 in a conditional model fitted on four-bar windows (docs/casting.md).
const CHORD_REGISTER: f64 = 0.75;

/// How much of a chord strand lies where a section is at home in it (within six semitones or so), as a logarithm: 0 for all of it. Chords reach over several octaves, and their middle
/// says little: what lies near a section is evidence that it is for it.
fn nearness(notes: &[SketchNote], home: f64) -> f64 {
    let near = |note: &SketchNote| {
        let off = (f64::from(note.key()) - home) / 6.0;
        (-off * off / 2.0).exp()
    };
    let many = number(notes.len()).max(1.0);
    (notes.iter().map(near).sum::<f64>() / many + 0.01).min(1.0).ln()
}

/// The share of sections that play, in the mean, by loudness (up to mp, mf, f, ff) and with so many strands at once (two or fewer, three, four, five or more): measured
/// on open scores, all sections of the orchestra (`examples/density.rs`). Where there are no strings to play nearly all of it a band is asked for as much.
const PLAY: [[f64; 4]; 4] =
    [[0.34, 0.52, 0.56, 0.71], [0.51, 0.50, 0.64, 0.71], [0.69, 0.69, 0.73, 0.80], [0.71, 0.76, 0.84, 0.88]];

/// Phrases of rest after which a section of a band is wanted again, and by how much more with each further one, as odds (ours).
const LONG_SILENT: u32 = 2;
const WANTED_AGAIN: f64 = 0.9;

/// How much of a band plays at a loudness.
fn in_a_band(level: Option<f32>, strands: usize) -> f64 {
    PLAY[desks::class(level)][strands.saturating_sub(2).min(3)]
}

/// Lifts likelihoods, all by the same odds, until their mean is at least as given: habits are those of orchestras, in which brass rest while strings play; in a band
/// they have to do what strings do there.
fn lift(likely: &mut [f64], mean: f64) {
    let lifted = |p: f64, by: f64| 1.0 / (1.0 + (-(p / (1.0 - p)).ln() - by).exp());
    let number = number(likely.len()).max(1.0);
    let reaches = |by: f64| likely.iter().map(|&p| lifted(p, by)).sum::<f64>() / number >= mean;
    let (mut low, mut high) = (0.0, 8.0);
    if reaches(low) {
        return;
    }
    for _ in 0..30 {
        let middle = f64::midpoint(low, high);
        if reaches(middle) { high = middle } else { low = middle }
    }
    likely.iter_mut().for_each(|p| *p = lifted(*p, high).clamp(0.03, 0.97));
}

/// The logarithm below which likelihoods are not told apart: one in a thousand.
const LEAST_LIKELY: f64 = -7.0;

/// What it costs to take up another instrument.
const TAKE_UP: f64 = 1.0;

/// A phrase's question, and what is known when it is put.
#[derive(Clone)]
struct Question<'a> {
    sketch: &'a Sketch,
    lineup: &'a Lineup,
    units: &'a [Unit],
    habits: &'a Habits,
    phrase: &'a PhrasePlan,
    memory: &'a Memory,
    taste: &'a Taste,
    /// Weight of what is learned.
    known: f64,
    span: (Crotchets, Crotchets),
    strands: &'a [usize],
    roles: Vec<Role>,
    single: bool,
    /// Every strand present, and what is learned of each group with each of them.
    told: Vec<usize>,
    logs: Vec<f64>,
    /// What the period of each line has that is present, in the order of `told`; nothing of chords.
    periods: Vec<&'a [SketchNote]>,
}

impl Question<'_> {
    /// Everything a group may do but rest; `chair` is the first of it.
    fn choices(&self, at: usize, chair: &Chair) -> Vec<Choice> {
        let unit = &self.units[at];
        let section = &self.lineup.sections[unit.section];
        let mut choices = Vec::new();
        for &strand in self.strands {
            let found = &self.sketch.strands[strand];
            let notes = found.between(self.span.0, self.span.1);
            let octaves = if found.is_chordal() { 0..=0 } else { -2..=2 };
            for octave in octaves {
                for held in 0..=chair.doubles.len() {
                    if held > 0 && !asks_for_another(chair, found, notes, octave) || !self.can_take_up(at, chair, held, notes) {
                        continue;
                    }
                    let with = if held == 0 { None } else { chair.holding(held, section.level) };
                    let Some(mut worth) = self.worth(at, chair, with.as_ref().unwrap_or(chair), strand, octave) else { continue };
                    if held > 0 && self.memory.held.get(at).is_none_or(|known| known.0 != held) {
                        worth -= TAKE_UP;
                    }
                    choices.push(Choice { strand: Some(strand), octave, held, worth });
                }
            }
        }
        choices
    }

    /// What it costs at most that no section of an orchestra has a strand as a whole, where one that could play it has players enough to divide: that is nearer to what scores do than to take a
    /// whole section from what it has likelier. `None` where nobody can.
    fn shared_out(&self, strand: usize, choices: &[Vec<Choice>]) -> Option<f64> {
        if self.single || !has_strings(self.lineup) {
            return None;
        }
        let busy = self.phrase.named();
        let divides = |(unit, choices): &(&Unit, &Vec<Choice>)| {
            let free = unit.chairs.iter().filter(|&&chair| !busy.contains(&(unit.section, chair))).count();
            free > 1 && choices.iter().any(|choice| choice.strand == Some(strand))
        };
        let holds = |(unit, _): (&Unit, _)| practice::breaking_up(self.habits, self.lineup.sections[unit.section].kind);
        let least = self.units.iter().zip(choices).filter(divides).map(holds).min_by(f64::total_cmp)?;
        Some(DIVIDES * self.known.max(1.0) * least)
    }

    /// Tune and bass are carried somehow: where nobody has all of one within reach, by those of whom the fewest notes have to go to another octave.
    fn somehow(&self, strand: usize, busy: &[(usize, usize)], playing: Option<&[bool]>, problem: &mut Problem) {
        if problem.choices.iter().flatten().any(|choice| choice.strand == Some(strand)) {
            return;
        }
        let notes = self.sketch.strands[strand].between(self.span.0, self.span.1);
        for (at, unit) in self.units.iter().enumerate() {
            let free = unit.chairs.iter().find(|&&chair| !busy.contains(&(unit.section, chair)));
            let Some(chair) = free.filter(|_| playing.is_none_or(|playing| playing.get(at) != Some(&false))) else { continue };
            let chair = &self.lineup.sections[unit.section].chairs[*chair];
            let octave = crate::realise::best_octave(chair, self.sketch.strands[strand].role, notes, 0);
            let beyond = notes.iter().filter(|note| !chair.reach.allows(note.key() + 12 * octave)).count();
            let best = problem.choices[at].iter().map(|choice| choice.worth).fold(0.0, f64::max);
            let worth = best - 20.0 * number(beyond) / number(notes.len().max(1)) - 2.0 * f64::from(octave.abs());
            problem.choices[at].push(Choice { strand: Some(strand), octave, held: 0, worth });
        }
    }

    /// What speaks for and against choices beside habit and reach: one colour stays with the tune through its theme, the first chairs have it before figures, and where it is loud
    /// whoever is heard has it (common practice, from memory; the weights are ours).
    fn in_course(&self, at: usize, level: Option<f32>, choices: &mut [Choice]) {
        let unit = &self.units[at];
        let several = self.units.iter().filter(|other| other.section == unit.section).count() > 1;
        let place = number(unit.chairs[0]);
        let goes_on = |choice: &Choice| {
            self.memory.last.get(at).copied().flatten().is_some_and(|(strand, _)| Some(strand) == choice.strand)
        };
        // Nobody stays with it for ever: lips first, and a theme and its repeat are enough of one colour.
        let rested = self.memory.strain.get(at).is_none_or(|strain| *strain < STAYS);
        let stayed = self.memory.stayed.get(at).copied().unwrap_or(0);
        let loud = f64::from(u8::from(level.is_some_and(|level| level >= 5.5))) + 0.5;
        for choice in choices {
            let Some(strand) = choice.strand else { continue };
            match self.sketch.strands[strand].role {
                Role::Melody => {
                    let stays = KEEPS_THE_TUNE * self.taste.theme * practice::staying(self.habits);
                    choice.worth += match stayed {
                        _ if !goes_on(choice) => 0.0,
                        0..THEME if rested => stays,
                        0..THEME => 0.0,
                        _ => -0.6 * f64::from((stayed + 1 - THEME).min(4)),
                    };
                    choice.worth += practice::taking_over(self, at, strand);
                    choice.worth -= if several && self.single { 0.6 * place } else { 0.0 };
                    choice.worth += loud * self.taste.heard * self.power(unit, strand, choice.octave, level).min(0.0);
                }
                Role::Figuration | Role::Effect if several && self.single => choice.worth -= 0.4 * (2.0 - place).max(0.0),
                _ => {}
            }
        }
    }

    /// Estimated sound power of a group on a line, in dB above what is usual for one player of the line-up's loudest sections.
    fn power(&self, unit: &Unit, strand: usize, octave: i32, level: Option<f32>) -> f64 {
        let level = DynamicLevel(level.unwrap_or(DynamicLevel::MEZZO_FORTE.0));
        let key = mean(self.sketch.strands[strand].between(self.span.0, self.span.1)) + 12.0 * f64::from(octave);
        let of = |unit: &Unit| {
            let chair = &self.lineup.sections[unit.section].chairs[unit.chairs[0]];
            let people: u32 =
                unit.chairs.iter().map(|&chair| u32::from(self.lineup.sections[unit.section].chairs[chair].people)).sum();
            let db = Source::of(&chair.instrument.id).power(key, level, Ways::empty()).db;
            db + 10.0 * f64::from(people.max(1)).log10()
        };
        let loudest = self.units.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        of(unit) - loudest
    }

    /// Whether there is time to have an instrument in hand when a strand begins.
    fn can_take_up(&self, at: usize, chair: &Chair, held: usize, notes: &[SketchNote]) -> bool {
        let Some(&(known, until)) = self.memory.held.get(at).filter(|known| known.0 != held) else { return true };
        if until.is_zero() && known == 0 {
            return true;
        }
        let Some((instrument, _)) = chair.instruments().nth(held) else { return false };
        let level = self.lineup.sections[self.units[at].section].level;
        let needed = change_time(instrument, Change::Instrument, level).map_or(UNKNOWN_CHANGE, |time| time.comfortable);
        let tempo = &self.sketch.sounding.tempo;
        notes.first().is_some_and(|first| tempo.seconds(first.onset) - tempo.seconds(until) >= needed)
    }

    /// The period of a line.
    fn period(&self, strand: usize) -> &[SketchNote] {
        self.told.iter().position(|&told| told == strand).map_or(&[], |at| self.periods[at])
    }

    /// What a group has of a line's period: all of it where it goes on with the line, else what is to come.
    fn ahead(&self, at: usize, strand: usize) -> &[SketchNote] {
        let period = self.period(strand);
        let goes_on = self.memory.last.get(at).copied().flatten().is_some_and(|last| last.0 == strand);
        let first = if goes_on { 0 } else { period.partition_point(|note| note.onset < self.span.0) };
        &period[first..]
    }

    /// The share of a line's notes that would lie below the bass at an octave and do not so in the sketch. For the tune the bass goes down by an octave itself.
    fn below_the_bass(&self, role: Role, notes: &[SketchNote], octave: i32) -> f64 {
        let bass = self.told.iter().find(|&&strand| self.sketch.strands[strand].role == Role::Bass);
        let Some(bass) = bass.map(|&bass| &self.sketch.strands[bass]) else { return 0.0 };
        let gives_way = if role == Role::Melody { 12 } else { 0 };
        let below = |note: &&SketchNote| {
            let lowest = bass.at(note.onset).map(SketchNote::key);
            lowest.is_some_and(|bass| note.key() >= bass && note.key() + 12 * octave < bass - gives_way)
        };
        number(notes.iter().filter(below).count()) / number(notes.len().max(1))
    }

    /// Whether a line is in the middle of a period where the phrase begins.
    fn goes_on(&self, strand: usize) -> bool {
        self.period(strand).first().is_some_and(|first| first.onset < self.span.0)
    }

    /// Whether a group has nearly all that is to come of a line's period within reach with a choice: then the line can stay at its octave.
    fn keeps(&self, at: usize, strand: usize, choice: &Choice) -> bool {
        let unit = &self.units[at];
        let section = &self.lineup.sections[unit.section];
        let chair = &section.chairs[unit.chairs[0]];
        let in_hand = chair.holding(choice.held, section.level);
        share_to_move(in_hand.as_ref().unwrap_or(chair), self.ahead(at, strand), choice.octave) <= STAYS_WITHIN
    }

    /// What speaks against a line at an octave; `None` where it is out of reach there.
    fn place(&self, unit: &Unit, chair: &Chair, strand: usize, octave: i32, home: f64) -> Option<f64> {
        let (found, section) = (&self.sketch.strands[strand], &self.lineup.sections[unit.section]);
        let notes = found.between(self.span.0, self.span.1);
        let keys = || notes.iter().map(|note| note.key() + 12 * octave);
        let beyond = keys().filter(|&key| !chair.reach.allows(key)).count();
        // With few players whoever single notes of tune or bass are out of reach for has it all the same: those go to another octave.
        let few_bass = self.single && found.role == Role::Bass;
        let of = match found.role {
            Role::Bass if self.single => 3,
            Role::Melody if self.single => 4,
            _ => 10,
        };
        if beyond * of > notes.len() {
            return None;
        }
        let strain: i32 = keys().map(|key| chair.reach.strain(key)).sum();
        let many = f64::from(u32::try_from(notes.len()).unwrap_or(1).max(1));
        let off = (mean(notes) + 12.0 * f64::from(octave) - home) / 9.0;
        let mut worth = -self.taste.register * (off * off / 2.0).min(4.0);
        worth -= if few_bass { 0.8 } else { 0.3 } * f64::from(strain) / many
            + 4.0 * f64::from(u32::try_from(beyond).unwrap_or(0)) / many;
        if octave < 0 && !matches!(found.role, Role::Bass | Role::Pedal) {
            worth -= BELOW_THE_BASS * self.known.max(1.0) * self.below_the_bass(found.role, notes, octave);
        }
        // Where every player counts, one section should not be spread over two octaves of the texture.
        let far = if unit.chairs.len() == 1 && section.chairs.len() > 1 { 1.6 } else { 0.6 };
        let written = found.octaves_in(self.span);
        if written.is_empty() {
            worth -= far * f64::from(octave.abs());
        } else if octave != 0 && written.iter().all(|(other, _)| *other != octave) {
            worth -= far.max(UNWRITTEN);
        }
        // With few players a bass an octave up lies among the chords and is none.
        if self.single && matches!(found.role, Role::Bass | Role::Pedal) {
            worth -= 6.0 * f64::from(octave.max(0));
        }
        Some(worth)
    }

    /// What it is worth that a group has a strand at an octave, with what the first chair has in hand (`chair`; `usual`: what it has else). `None` where it is out of reach.
    fn worth(&self, at: usize, usual: &Chair, chair: &Chair, strand: usize, octave: i32) -> Option<f64> {
        let (taste, unit) = (self.taste, &self.units[at]);
        let section = &self.lineup.sections[unit.section];
        let habit = self.habits.section(section.kind);
        let found = &self.sketch.strands[strand];
        let notes = found.between(self.span.0, self.span.1);
        // What is learned of all; and how the practice asked for differs from it.
        let general = self.taste.learned.habits().section(section.kind);
        // A practice that does not have a section tells nothing of it.
        let asked = habit.or(general);
        let share = |habit: Option<&Habit>| {
            (0.9 * habit.map_or(1.0 / 6.0, |habit| habit.share(found.role, &self.roles)) + 0.1 / 6.0).ln()
        };
        let home = |habit: Option<&Habit>| {
            habit.and_then(|habit| habit.medians.get(&found.role).copied()).unwrap_or_else(|| f64::from(usual.reach.middle()))
                + f64::from(chair.reach.middle() - usual.reach.middle())
        };
        let place = self.told.iter().position(|&told| told == strand);
        let log = place.and_then(|place| self.logs.get(at * self.told.len() + place));
        let mut worth = log.map_or_else(
            || share(asked),
            |log| self.known * (log.max(LEAST_LIKELY) + taste.like * (share(asked) - share(general))),
        );
        if found.is_chordal() {
            // Where there are few, how the chords lie for each player is asked as well.
            let usual = if self.single { 0.0 } else { nearness(notes, home(general)) };
            worth += CHORD_REGISTER * taste.register * (nearness(notes, home(asked)) - usual);
        } else {
            // One octave serves the whole period, as long as the instrument stays the same.
            let lasts = keeps_its_octave(found.role) && std::ptr::eq(chair.instrument, usual.instrument);
            let later = |octave: i32| if lasts { share_to_move(chair, self.ahead(at, strand), octave) } else { 0.0 };
            let place = |octave: i32| {
                let worth = self.place(unit, chair, strand, octave, home(asked))?;
                Some(worth - if self.single { LATER_FOR_FEW } else { LATER } * later(octave).powi(2))
            };
            let own = place(octave)?;
            // How likely the strand is for them is learned; at which octave they have it is asked here. Where there are few, how it lies for each player counts as well.
            worth += if self.single { own } else { own - (-2..=2).filter_map(place).fold(own, f64::max) };
            // Whoever has the tune at ease where the sketch has it does not take it lower; who doubles it above may.
            let written = found.octaves_in(self.span);
            if found.role == Role::Melody && octave < 0 && written.is_empty() && at_ease(chair, self.ahead(at, strand)) {
                worth -= MOVED_TUNE;
            }
        }
        // The first desk has the tune before the second.
        if found.role == Role::Melody && self.units.len() > self.lineup.sections.len() {
            worth -= 0.15 * f64::from(u32::try_from(unit.chairs[0]).unwrap_or(0));
        }
        match self.memory.last.get(at).copied().flatten() {
            Some(last) if last == (strand, octave) => worth += taste.steady,
            Some((last, _)) if last == strand && keeps_its_octave(found.role) && self.goes_on(strand) => worth -= BREAKS_OFF,
            _ => {}
        }
        if taste.seed != 0 {
            worth += 0.6 * self.known * noise(taste.seed, at, strand, octave, self.phrase.bars.start);
        }
        Some(worth)
    }
}

/// What it costs that all of a line's period would have to leave an octave (a part of it counts by the square of its share), and that who goes on with it changes the octave in its middle (ours).
const LATER: f64 = 70.0;
/// The same where every player is a group: what a tune or bass cannot keep there is a smaller fault than a tuba with the tune or a horn with the bass.
const LATER_FOR_FEW: f64 = 25.0;
const BREAKS_OFF: f64 = 6.0;

/// The share of a period that may have to leave an octave at which a line stays (ours).
const STAYS_WITHIN: f64 = 0.1;
/// What it costs that all of a line would lie below the bass (ours).
const BELOW_THE_BASS: f64 = 6.0;

/// Roles whose octave is that of a whole period.
const fn keeps_its_octave(role: Role) -> bool {
    matches!(role, Role::Melody | Role::Countermelody | Role::Bass)
}

/// What it is worth that the tune stays with who has it, and how tired ([`Memory::strain`]) they may be for it: about a theme of eight bars and its repeat.
const KEEPS_THE_TUNE: f64 = 1.2;
const STAYS: f64 = 5.0;
/// Phrases after which another colour is due.
const THEME: u32 = 4;

/// How much a group wants a rest: brass for their lips, woodwind half as much for their breath; strings do not tire so soon.
fn tired(chair: &Chair, memory: &Memory, at: usize) -> f64 {
    let share = match chair.instrument.family {
        Family::Brass => 1.0,
        Family::Woodwind => 0.5,
        _ => 0.0,
    };
    share * memory.strain.get(at).copied().unwrap_or(0.0).min(EXHAUSTED)
}

/// The most fatigue that is told apart ([`Memory::strain`]): a dozen phrases without a rest, or four loud and high ones.
const EXHAUSTED: f64 = 12.0;

/// What it costs to take a tune down by octaves for whoever has it at ease where it is (ours).
const MOVED_TUNE: f64 = 1.5;

/// Whether notes lie well for a player as they stand.
fn at_ease(chair: &Chair, notes: &[SketchNote]) -> bool {
    notes.iter().all(|note| chair.reach.allows(note.key()) && chair.reach.strain(note.key()) == 0)
}

/// Seconds to take up another instrument where the tables of `players` say nothing (memory; theirs for woodwind are of this order).
const UNKNOWN_CHANGE: f64 = 6.0;

/// Whether a line lies so that another of the player's instruments is asked for: some of it beyond what is comfortable on the usual one.
fn asks_for_another(chair: &Chair, strand: &Strand, notes: &[SketchNote], octave: i32) -> bool {
    !strand.is_chordal() && notes.iter().any(|note| chair.reach.strain(note.key() + 12 * octave) > 0)
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
    tones_beside(sketch, strand, strands, span).into_iter().max().unwrap_or(1).clamp(1, 6)
}

/// The same moment by moment.
fn tones_beside(sketch: &Sketch, strand: usize, strands: &[usize], span: (Crotchets, Crotchets)) -> Vec<usize> {
    let found = &sketch.strands[strand];
    let lines: Vec<usize> = strands.iter().copied().filter(|&other| !sketch.strands[other].is_chordal()).collect();
    let count = |(at, here): (Crotchets, u16)| {
        let others = lines
            .iter()
            .filter_map(|&other| sketch.strands[other].at(at))
            .fold(0u16, |have, note| have | 1 << note.key().rem_euclid(12));
        (here & !others).count_ones() as usize
    };
    found.moments(span).map(count).collect()
}

/// In what share of its moments a chord strand has at least one, two, ... tones that neither tune nor bass has: what else there is may be given up for them.
fn fullness(sketch: &Sketch, strand: usize, strands: &[usize], span: (Crotchets, Crotchets)) -> Vec<f64> {
    let stays = |strand: &usize| matches!(sketch.strands[*strand].role, Role::Melody | Role::Bass);
    let carried: Vec<usize> = strands.iter().copied().filter(stays).collect();
    let counts = tones_beside(sketch, strand, &carried, span);
    let share = |tones: usize| number(counts.iter().filter(|&&count| count >= tones).count()) / number(counts.len().max(1));
    (1..=7).map(share).collect()
}

/// Different tones that sound together in a chord strand and in no line beside it.
pub(crate) fn tones_of(sketch: &Sketch, strand: usize, span: (Crotchets, Crotchets)) -> usize {
    polyphony(sketch, strand, &present(sketch, span), span)
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

/// What players of a section do: section, strand, octave, and which of their instruments they hold.
pub(crate) type Doing = (usize, Option<usize>, i32, usize);

/// The same of a task.
pub(crate) fn doing(task: &Task) -> Doing {
    (task.section, task.strand, task.octave.unwrap_or(0), task.held)
}

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
    let busy = phrase.named();
    let span = Plan::span(sketch, &phrase.bars);
    let mut by: Gathered = BTreeMap::new();
    for ((unit, choices), &at) in units.iter().zip(&problem.choices).zip(picked) {
        let Some(choice) = choices.get(at) else { continue };
        let free = unit.chairs.iter().copied().filter(|&chair| !busy.contains(&(unit.section, chair)));
        let entry = by.entry((unit.section, choice.strand, choice.octave, choice.held)).or_default();
        entry.extend(free);
    }
    let there = present(sketch, span);
    let mut uncarried: Vec<usize> = there
        .iter()
        .copied()
        .filter(|&strand| {
            phrase.tasks.iter().all(|task| task.strand != Some(strand)) && by.keys().all(|key| key.1 != Some(strand))
        })
        .collect();
    // A further line takes nobody whom what there is but one of still wants.
    uncarried.sort_by_key(|&strand| is_further(sketch, &there, strand));
    let breaks = |unit: &Unit| practice::breaking_up(habits, lineup.sections[unit.section].kind);
    for strand in uncarried {
        let few = is_sparse(sketch, &there, strand, &phrase.bars).then(|| polyphony(sketch, strand, &[strand], span).min(2));
        split(units, problem, picked, strand, few, &breaks, &mut by);
    }
    let given_up = there
        .iter()
        .any(|&strand| phrase.tasks.iter().all(|task| task.strand != Some(strand)) && by.keys().all(|key| key.1 != Some(strand)));
    in_order(sketch, lineup, phrase, &mut by);
    let mut tasks = Vec::new();
    for ((section, strand, octave, held), mut chairs) in by {
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
            (None, _) if given_up => "rest; what nobody has here lies out of their reach or is given up".to_owned(),
            (None, _) => in_reserve(sketch, phrase, habits, kind),
            (Some(_), Some(share)) => {
                let borrowed = habits.lender(kind).map_or_else(String::new, |lender| format!(" (taken from {lender})"));
                format!("{kind} have this role {:.0} % of their time in {}{borrowed}", share * 100.0, habits.name)
            }
            (Some(strand), None) if !own_best => {
                format!("needed there: “{}” would be short of players", sketch.strands[strand].name)
            }
            (Some(_), None) => "it lies best for them of what there is to play".to_owned(),
        };
        let line = strand.is_some_and(|strand| !sketch.strands[strand].is_chordal());
        tasks.push(Task { octave: line.then_some(octave), held, why, ..Task::new(section, chairs, role, strand) });
    }
    tasks
}

/// Why a section rests that casting has found no strand for: by how often it plays at this loudness, if that is less than half of the time.
fn in_reserve(sketch: &Sketch, phrase: &PhrasePlan, habits: &Habits, kind: &str) -> String {
    let level = desks::loudest(sketch, phrase);
    let presence = habits.section(kind).map(|habit| habit.presence[presence_class(level)]).filter(|share| *share < 0.5);
    let mark = DynamicLevel(level.unwrap_or(DynamicLevel::MEZZO_FORTE.0)).mark();
    presence.map_or_else(
        || "rest: what there is to play is shared out without them".to_owned(),
        |share| format!("kept in reserve: at {mark} {kind} play {:.0} % of their time in {}", share * 100.0, habits.name),
    )
}

/// The class of loudness by which habits tell how often a section plays: up to mp, mf, f and more.
fn presence_class(level: Option<f32>) -> usize {
    level.map_or(1, |level| usize::from(level >= 4.5) + usize::from(level >= 5.5))
}

/// A strand that no group is left for goes to players of the group that would do it best beside what it does: to half of them, or to so `few` where it hardly sounds, and then
/// rather to players who rest.
fn split(
    units: &[Unit],
    problem: &Problem,
    picked: &[usize],
    strand: usize,
    few: Option<usize>,
    breaks: &dyn Fn(&Unit) -> f64,
    by: &mut Gathered,
) {
    let mut best: Option<(f64, Doing, (i32, usize))> = None;
    for (at, (unit, choices)) in units.iter().zip(&problem.choices).enumerate() {
        let Some(now) = picked.get(at).and_then(|&picked| choices.get(picked)) else { continue };
        let key = (unit.section, now.strand, now.octave, now.held);
        let (rests, left) = (now.strand.is_none(), by.get(&key).map_or(0, Vec::len));
        if left < if rests { 1 } else { 2 } {
            continue;
        }
        let spare = problem.sparse.get(at).into_iter().flatten();
        for other in choices.iter().chain(spare).filter(|choice| choice.strand == Some(strand)) {
            let loss = if rests { other.worth } else { other.worth - now.worth - BREAKS_UP * breaks(unit) };
            if best.is_none_or(|(known, _, _)| loss > known) {
                best = Some((loss, key, (other.octave, other.held)));
            }
        }
    }
    let Some((_, key, (octave, held))) = best else { return };
    if let Some(chairs) = by.get_mut(&key) {
        chairs.sort_unstable();
        let most = if key.1.is_none() { chairs.len() } else { chairs.len() / 2 };
        let moved = chairs.split_off(chairs.len() - few.unwrap_or(most).clamp(1, most.max(1)));
        by.entry((key.0, Some(strand), octave, held)).or_default().extend(moved);
    }
}

/// What it costs to break up a section that plays for a strand that hardly sounds.
const BREAKS_UP: f64 = 1.0;

/// Inside a section the tune goes to the first chairs and the higher task to the higher ones, so that nobody has to cross: among players of one instrument, and of those who play.
fn in_order(sketch: &Sketch, lineup: &Lineup, phrase: &PhrasePlan, by: &mut Gathered) {
    let span = Plan::span(sketch, &phrase.bars);
    let height = |key: &Doing| {
        key.1.map_or(f64::NEG_INFINITY, |strand| mean(sketch.strands[strand].between(span.0, span.1)) + 12.0 * f64::from(key.2))
    };
    // The tune is for the first chairs, whatever lies above it.
    let below = |key: &Doing| key.1.is_none_or(|strand| sketch.strands[strand].role != Role::Melody);
    for (section, found) in lineup.sections.iter().enumerate() {
        // Who takes up another instrument is the one who has it.
        let seats = |key: &&Doing| key.0 == section && key.1.is_some() && key.3 == 0;
        let mut keys: Vec<Doing> = by.keys().filter(seats).copied().collect();
        if keys.len() < 2 {
            continue;
        }
        keys.sort_by(|a, b| below(a).cmp(&below(b)).then(height(b).total_cmp(&height(a))).then(a.cmp(b)));
        let mut instruments: Vec<&str> = found.chairs.iter().map(|chair| chair.instrument.id.as_str()).collect();
        instruments.sort_unstable();
        instruments.dedup();
        let mut placed: Gathered = BTreeMap::new();
        for instrument in instruments {
            let own = |key: &Doing| -> Vec<usize> {
                by[key].iter().copied().filter(|&chair| found.chairs[chair].instrument.id == instrument).collect()
            };
            let all: Vec<usize> = keys.iter().flat_map(own).collect();
            let mut order = crate::realise::from_the_top(&found.chairs, found.kind, &all).into_iter();
            for key in &keys {
                placed.entry(*key).or_default().extend(order.by_ref().take(own(key).len()));
            }
        }
        by.extend(placed);
    }
}

/// The same of a phrase's tasks from `own` on, after some of them have changed: the tune with the top of those who play, chords below it. Returns whether anybody changes places.
pub(crate) fn seated_by_height(sketch: &Sketch, lineup: &Lineup, phrase: &mut PhrasePlan, own: usize) -> bool {
    let mut by: Gathered = BTreeMap::new();
    for task in phrase.tasks.iter().skip(own) {
        by.entry(doing(task)).or_default().extend(&task.chairs);
    }
    in_order(sketch, lineup, phrase, &mut by);
    let mut changed = false;
    for task in phrase.tasks.iter_mut().skip(own) {
        let Some(seated) = by.get_mut(&doing(task)) else { continue };
        let mut chairs: Vec<usize> = seated.drain(..task.chairs.len().min(seated.len())).collect();
        chairs.sort_unstable();
        changed |= chairs != task.chairs;
        task.chairs = chairs;
    }
    changed
}
