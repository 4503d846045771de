//! How sections go together in a practice, as targets: who doubles whom and in which octave, who hands the tune to whom, who is kept for the loud bars, who holds together, and how
//! far bands of chords lie apart. Each is a term of its own; usual practice has none but its doublings.
//!
//! The measures are those of `docs/practice.md`; the weights are ours.

use super::{Pair, Problem, Question, Unit};
use crate::habits::{Habits, Together};
use crate::lineup::Lineup;
use crate::plan::Task;
use crate::sketch::Sketch;

/// What a doubling is worth that a section has all of its time in the practice.
const DOUBLING: f64 = 2.0;
/// A share of time from which on a doubling is a habit: of a practice, and of usual practice, where only the firmest count.
const USUAL_DOUBLING: f64 = 0.1;
const FIRM_DOUBLING: f64 = 0.4;
/// What it is worth that two groups of one section have the same strand, where the practice always holds the section together.
const COHESION: f64 = 1.6;
/// What it is worth to take the tune over from whom the practice lets hand it on most.
const HAND_OFF: f64 = 1.5;
/// By how much, as odds, a section plays more in loud phrases and less in others if it is kept wholly for them.
const RESERVE: f64 = 3.0;
/// Pairs of choices weighed at most, the heaviest first, so that the search stays short.
const MOST_PAIRS: usize = 64;
/// Choices so far below a group's best are not taken up for the sake of a pair.
const FAR_OFF: f64 = 4.0;

/// The worth of choices together: doublings between sections, and groups of one section that hold together.
pub(super) fn pairs(question: &Question<'_>, problem: &mut Problem) {
    let together = &question.habits.together;
    let learned = !together.figures.is_empty();
    let kind = |unit: &Unit| question.lineup.sections[unit.section].kind;
    let close: Vec<f64> = problem
        .choices
        .iter()
        .map(|choices| {
            choices.iter().map(|choice| choice.worth).fold(f64::NEG_INFINITY, f64::max)
                - FAR_OFF * if learned { question.known.max(1.0) } else { 1.0 }
        })
        .collect();
    let mut found: Vec<Pair> = Vec::new();
    for (a, one) in question.units.iter().enumerate() {
        for (b, other) in question.units.iter().enumerate().skip(a + 1) {
            let same = one.section == other.section;
            let holds = together.of("cohesion", kind(one)).filter(|_| same);
            for (i, x) in problem.choices[a].iter().enumerate().filter(|(_, x)| x.worth >= close[a]) {
                for (j, y) in problem.choices[b].iter().enumerate().filter(|(_, y)| y.worth >= close[b] && y.strand == x.strand) {
                    let Some(strand) = x.strand else { continue };
                    let line = !question.sketch.strands[strand].is_chordal();
                    let worth = match holds {
                        Some(share) if x.octave == y.octave => {
                            let usual = question.usual().of("cohesion", kind(one));
                            COHESION * question.as_asked(share - 0.5, usual.map(|share| share - 0.5))
                        }
                        Some(_) => 0.0,
                        None if !same && line => doubling(question, kind(one), kind(other), x.octave - y.octave),
                        None => 0.0,
                    };
                    if worth.abs() > 0.05 {
                        found.push(Pair { both: [(a, i), (b, j)], worth });
                    }
                }
            }
        }
    }
    // Of pairs worth alike those of the likelier choices.
    let likely = |pair: &Pair| -> f64 { pair.both.iter().map(|&(unit, at)| problem.choices[unit][at].worth - close[unit]).sum() };
    found.sort_by(|a, b| {
        let order = b.worth.abs().total_cmp(&a.worth.abs()).then(likely(b).total_cmp(&likely(a)));
        order.then(a.both.cmp(&b.both))
    });
    found.truncate(MOST_PAIRS);
    problem.pairs = found;
}

/// What it is worth that one section doubles another, `apart` octaves from it.
fn doubling(question: &Question<'_>, one: &str, other: &str, apart: i32) -> f64 {
    let habits = question.habits;
    if habits.together.figures.is_empty() {
        let firm = habits.section(one).and_then(|habit| habit.doubled.get(other)).copied().unwrap_or(0.0);
        return if firm >= FIRM_DOUBLING && apart.abs() <= 1 { DOUBLING * firm } else { 0.0 };
    }
    let what = match apart.abs() {
        0 => "unison",
        1 => "octave",
        _ => return 0.0,
    };
    let share = |together: &Together| {
        let both = together.with(what, one, other).into_iter().chain(together.with(what, other, one));
        both.fold(0.0, f64::max)
    };
    let (asked, usual) = (share(&habits.together), share(question.usual()));
    if asked >= USUAL_DOUBLING { DOUBLING * question.as_asked(asked, Some(usual)) } else { 0.0 }
}

impl Question<'_> {
    /// How sections go together in the scores that what is learned was learned from.
    fn usual(&self) -> &Together {
        &self.taste.learned.habits().together
    }

    /// What a practice asked for has and the usual one has not counts as much as what is learned; what both have counts once.
    fn as_asked(&self, asked: f64, usual: Option<f64>) -> f64 {
        let usual = usual.unwrap_or(0.0);
        usual + self.known.max(1.0) * (asked - usual)
    }
}

/// What it is worth that a section takes the tune over from those who had it, by whom the practice lets hand it on to whom; 0 to [`HAND_OFF`].
pub(super) fn taking_over(question: &Question<'_>, at: usize, strand: usize) -> f64 {
    let kind = |unit: usize| question.lineup.sections[question.units[unit].section].kind;
    let had = |unit: &usize| question.memory.last.get(*unit).copied().flatten().is_some_and(|(last, _)| last == strand);
    let carriers: Vec<usize> = (0..question.units.len()).filter(had).collect();
    if carriers.is_empty() || carriers.iter().any(|&unit| question.units[unit].section == question.units[at].section) {
        return 0.0;
    }
    let best = |together: &Together, from: usize| {
        let prefix = format!("hands {}/", kind(from));
        let most =
            together.figures.iter().filter(|(what, _)| what.starts_with(&prefix)).map(|(_, rate)| *rate).fold(0.0, f64::max);
        let own = together.with("hands", kind(from), kind(at)).unwrap_or(0.0);
        if most > 0.0 { own / most } else { 0.0 }
    };
    let of = |together: &Together| carriers.iter().map(|&from| best(together, from)).fold(0.0, f64::max);
    HAND_OFF * question.as_asked(of(&question.habits.together), Some(of(question.usual())))
}

/// How much of what it is worth to stay with the tune is left in a practice that hands it on often: by the share of four-bar phrases that begin with a hand-off.
pub(super) fn staying(habits: &Habits) -> f64 {
    let rate = habits.together.figures.get("hands").copied().unwrap_or(0.0);
    (1.0 - rate * 4.0 / 100.0).clamp(0.0, 1.0)
}

/// By how much, as odds, a section is kept from a phrase, or led into it where it is loud, by the share of its bars that are loud ones beside its family's.
pub(super) fn reserve(habits: &Habits, lineup: &Lineup, section: usize, loud: bool) -> f64 {
    let found = &lineup.sections[section];
    let family = found.chairs[0].instrument.family.name();
    let Some(own) = habits.together.of("loud", found.kind) else { return 0.0 };
    let all = habits.together.of("loud of", family).unwrap_or(0.5);
    let kept = RESERVE * (own - all).max(0.0);
    if loud { kept } else { -kept }
}

/// How much a practice minds that a section is broken up: 1 where nothing is known.
pub(super) fn breaking_up(habits: &Habits, kind: &str) -> f64 {
    habits.together.of("cohesion", kind).map_or(1.0, |share| 2.0 * share)
}

/// Registers of chord tasks that bring the bands of two sections as far apart as the practice has them: `apart` semitones between the lowest of the upper and the highest of the lower.
pub(crate) fn separate(sketch: &Sketch, lineup: &Lineup, habits: &Habits, tasks: &mut [Task]) {
    let middle = |task: &Task| {
        let chairs = &lineup.sections[task.section].chairs;
        let sum: i32 = task.chairs.iter().map(|&chair| chairs[chair].reach.middle()).sum();
        sum / i32::try_from(task.chairs.len()).unwrap_or(1).max(1)
    };
    let chordal: Vec<usize> = (0..tasks.len())
        .filter(|&at| tasks[at].register.is_none() && tasks[at].strand.is_some_and(|strand| sketch.strands[strand].is_chordal()))
        .collect();
    for (n, &a) in chordal.iter().enumerate() {
        for &b in &chordal[n + 1..] {
            let (upper, lower) = if middle(&tasks[a]) >= middle(&tasks[b]) { (a, b) } else { (b, a) };
            let kind = |at: usize| lineup.sections[tasks[at].section].kind;
            let known = habits.together.with("apart", kind(upper), kind(lower));
            let Some(apart) = known.or_else(|| habits.together.with("apart", kind(lower), kind(upper))) else { continue };
            if tasks[upper].register.is_some() || tasks[lower].register.is_some() || tasks[a].section == tasks[b].section {
                continue;
            }
            let between = i32::midpoint(middle(&tasks[upper]), middle(&tasks[lower]));
            #[allow(clippy::cast_possible_truncation)] // semitones
            let half = (apart / 2.0).round() as i32;
            let band = |task: &Task, centre: i32| {
                let chairs = &lineup.sections[task.section].chairs;
                let reach = chairs[task.chairs[0]].reach.comfortable;
                let centre = centre
                    .clamp(i32::from(reach.low()) + BAND, (i32::from(reach.high()) - BAND).max(i32::from(reach.low()) + BAND));
                Some((centre - BAND, centre + BAND))
            };
            let told = format!("; their bands lie as far apart as in {}", habits.name);
            tasks[upper].register = band(&tasks[upper], between + half + BAND);
            tasks[lower].register = band(&tasks[lower], between - half - BAND);
            tasks[upper].why += &told;
            tasks[lower].why += &told;
        }
    }
}

/// Half of the band in which a section has chords, in semitones (ours).
const BAND: i32 = 5;
