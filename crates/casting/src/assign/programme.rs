//! The programme itself: every group takes one choice, every strand is carried, at the greatest worth.
//!
//! Small enough questions are solved to the optimum by branch and bound over linear programmes. How far the search goes is bounded by the
//! number of choices and of branches, never by the clock, so that the same question has the same answer; what stopped early says so and by how
//! much the best may lie above it.

use microlp::{ComparisonOp, LinearExpr, OptimizationDirection, Problem as Linear, SolveOptions, Variable};

use crate::numbers::number;

/// One thing a group may do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choice {
    /// The strand, or `None` for silence.
    pub strand: Option<usize>,
    /// Octaves a line is moved by.
    pub octave: i32,
    /// Which of the player's instruments, as in [`crate::Task::held`].
    pub held: usize,
    /// What it is worth.
    pub worth: f64,
}

impl Choice {
    /// To rest.
    #[must_use]
    pub const fn silence(worth: f64) -> Self {
        Self { strand: None, octave: 0, held: 0, worth }
    }
}

/// A strand that has to be carried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Need {
    /// The strand.
    pub strand: usize,
    /// Whether at its own octave.
    pub own_octave: bool,
    /// Players needed at least.
    pub players: usize,
    /// What each of them costs that is lacking.
    pub price: f64,
}

/// Two choices, each a group and one of its choices, that are worth something together, or cost something (negative).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// The choices, of different groups.
    pub both: [(usize, usize); 2],
    /// What they are worth together.
    pub worth: f64,
}

/// A strand that one of some groups is to lead.
#[derive(Debug, Clone, PartialEq)]
pub struct Led {
    /// The strand.
    pub strand: usize,
    /// The lowest octave at which it is led.
    pub lowest: i32,
    /// The groups.
    pub by: Vec<usize>,
    /// What it costs where none of them has it.
    pub price: f64,
}

/// What is asked of one phrase's assignment.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Problem {
    /// The choices of each group.
    pub choices: Vec<Vec<Choice>>,
    /// Players of each group.
    pub players: Vec<usize>,
    /// Strands that have to be carried.
    pub needs: Vec<Need>,
    /// Strands that only so many groups are to have: strand, groups at most, and what each further one costs.
    pub limits: Vec<(usize, usize, f64)>,
    /// Choices that are worth something together.
    pub pairs: Vec<Pair>,
    /// What groups could do of strands that hardly sound, for whom a few players are found afterwards.
    pub sparse: Vec<Vec<Choice>>,
    /// Assignments not to be given again, with how many groups have to differ.
    pub not_again: Vec<(Vec<usize>, usize)>,
    /// Octaves in which a line is to sound too: strand, octave, and what it costs where nobody has it there.
    pub wishes: Vec<(usize, i32, f64)>,
    /// Strands that one of some groups is to lead.
    pub led: Vec<Led>,
    /// Pairs of choices, each a group and one of its choices, that exclude each other: players of one section who would have to cross.
    pub apart: Vec<[(usize, usize); 2]>,
}

/// Most choices of all groups together that are weighed at once; beyond it each group keeps its better ones.
const MOST_CHOICES: usize = 1_500;
/// Most branches of the search.
const MOST_BRANCHES: u64 = 600;
/// Most rounds in which one group after another tries something else.
const MOST_ROUNDS: usize = 12;

/// An assignment.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Solved {
    /// The index of each group's choice.
    pub picked: Vec<usize>,
    /// What it is worth.
    pub worth: f64,
    /// Nothing is worth more.
    pub bound: f64,
}

impl Solved {
    /// Whether no assignment is worth more.
    #[must_use]
    pub fn is_best(&self) -> bool {
        self.bound - self.worth < 1e-6
    }
}

/// Solves a problem: to the optimum, or as far as the bounds of the search let it. `None` where what must differ cannot.
#[must_use]
pub fn solve(problem: &Problem) -> Option<Solved> {
    solve_within(problem, MOST_CHOICES, MOST_BRANCHES)
}

fn solve_within(problem: &Problem, most_choices: usize, most_branches: u64) -> Option<Solved> {
    let all: usize = problem.choices.iter().map(Vec::len).sum();
    if all > most_choices {
        // The better choices alone; what the others could have added at most is what each group could have by itself.
        let (smaller, kept) = thinned(problem, most_choices);
        let found = solve_within(&smaller, usize::MAX, most_branches)?;
        let picked: Vec<usize> = found.picked.iter().zip(&kept).map(|(&at, kept)| kept.get(at).copied().unwrap_or(0)).collect();
        return Some(Solved { worth: worth(problem, &picked)?, picked, bound: each_alone(problem).max(found.worth) });
    }
    let known = greedy(problem);
    let (linear, x, slack) = linear(problem);
    let mut options = SolveOptions::default();
    options.node_limit = Some(most_branches);
    options.warm_start = known.as_ref().map(|picked| hint(problem, picked, &x, &slack));
    let fallback = || {
        let picked = known.clone()?;
        Some(Solved { worth: worth(problem, &picked)?, picked, bound: each_alone(problem) })
    };
    let Ok(outcome) = linear.solve_with(options) else { return fallback() };
    let proven = outcome.is_optimal();
    let bound = outcome.stats().best_bound;
    let Ok(solution) = outcome.into_solution() else { return fallback() };
    let picked: Vec<usize> = x
        .iter()
        .map(|row| {
            let value = |&at: &usize| solution.var_value_raw(row[at]);
            (0..row.len()).max_by(|a, b| value(a).total_cmp(&value(b)).then(b.cmp(a))).unwrap_or(0)
        })
        .collect();
    let Some(worth) = worth(problem, &picked) else { return fallback() };
    let bound = if proven { worth } else { bound.unwrap_or(f64::INFINITY).max(worth) };
    Some(Solved { picked, worth, bound })
}

/// What every group's best choice would be worth if no other were there: nothing is worth more.
pub(crate) fn each_alone(problem: &Problem) -> f64 {
    let best = |choices: &Vec<Choice>| choices.iter().map(|choice| choice.worth).fold(f64::NEG_INFINITY, f64::max);
    let alone: f64 = problem.choices.iter().map(best).filter(|best| best.is_finite()).sum();
    alone + problem.pairs.iter().map(|pair| pair.worth.max(0.0)).sum::<f64>()
}

/// The problem as a linear programme, with a variable for each choice and one for what is lacking of each need and wish.
fn linear(problem: &Problem) -> (Linear, Vec<Vec<Variable>>, Vec<Variable>) {
    let mut linear = Linear::new(OptimizationDirection::Maximize);
    let x: Vec<Vec<Variable>> = problem
        .choices
        .iter()
        .map(|choices| choices.iter().map(|choice| linear.add_binary_var(choice.worth)).collect())
        .collect();
    for row in x.iter().filter(|row| !row.is_empty()) {
        linear.add_constraint(row.iter().map(|&var| (var, 1.0)).collect::<LinearExpr>(), ComparisonOp::Eq, 1.0);
    }
    let mut slack = Vec::new();
    for need in &problem.needs {
        let lacking = linear.add_var(-need.price, (0.0, number(need.players)));
        let mut sum = LinearExpr::empty();
        sum.add(lacking, 1.0);
        for ((choices, row), &players) in problem.choices.iter().zip(&x).zip(&problem.players) {
            for (_, &var) in choices.iter().zip(row).filter(|(choice, _)| players > 0 && meets(choice, need)) {
                sum.add(var, number(players));
            }
        }
        linear.add_constraint(sum, ComparisonOp::Ge, number(need.players));
        slack.push(lacking);
    }
    for limit in &problem.limits {
        let beyond = linear.add_var(-limit.2, (0.0, number(problem.choices.len())));
        let mut sum = LinearExpr::empty();
        sum.add(beyond, -1.0);
        for (choices, row) in problem.choices.iter().zip(&x) {
            for (_, &var) in choices.iter().zip(row).filter(|(choice, _)| choice.strand == Some(limit.0)) {
                sum.add(var, 1.0);
            }
        }
        linear.add_constraint(sum, ComparisonOp::Le, number(limit.1));
        slack.push(beyond);
    }
    for pair in &problem.pairs {
        let [Some(a), Some(b)] = pair.both.map(|(unit, choice)| x.get(unit).and_then(|row| row.get(choice)).copied()) else {
            continue;
        };
        let together = linear.add_var(pair.worth, (0.0, 1.0));
        if pair.worth > 0.0 {
            linear.add_constraint([(together, 1.0), (a, -1.0)], ComparisonOp::Le, 0.0);
            linear.add_constraint([(together, 1.0), (b, -1.0)], ComparisonOp::Le, 0.0);
        } else {
            linear.add_constraint([(a, 1.0), (b, 1.0), (together, -1.0)], ComparisonOp::Le, 1.0);
        }
        slack.push(together);
    }
    for wish in &problem.wishes {
        let unheard = linear.add_var(-wish.2, (0.0, 1.0));
        let mut sum = LinearExpr::empty();
        sum.add(unheard, 1.0);
        for (choices, row) in problem.choices.iter().zip(&x) {
            for (_, &var) in choices.iter().zip(row).filter(|(choice, _)| grants(choice, wish)) {
                sum.add(var, 1.0);
            }
        }
        linear.add_constraint(sum, ComparisonOp::Ge, 1.0);
        slack.push(unheard);
    }
    for led in &problem.led {
        let others = linear.add_var(-led.price, (0.0, 1.0));
        let mut sum = LinearExpr::empty();
        sum.add(others, 1.0);
        for (choices, row) in led.by.iter().filter_map(|&unit| Some((problem.choices.get(unit)?, x.get(unit)?))) {
            for (_, &var) in choices.iter().zip(row).filter(|(choice, _)| leads(choice, led)) {
                sum.add(var, 1.0);
            }
        }
        linear.add_constraint(sum, ComparisonOp::Ge, 1.0);
        slack.push(others);
    }
    for (before, differ) in &problem.not_again {
        let same = before.iter().zip(&x).filter_map(|(&choice, row)| row.get(choice).copied());
        let most = before.len().saturating_sub(*differ);
        linear.add_constraint(same.map(|var| (var, 1.0)).collect::<LinearExpr>(), ComparisonOp::Le, number(most));
    }
    for [a, b] in &problem.apart {
        if let (Some(&a), Some(&b)) = (x.get(a.0).and_then(|row| row.get(a.1)), x.get(b.0).and_then(|row| row.get(b.1))) {
            linear.add_constraint([(a, 1.0), (b, 1.0)], ComparisonOp::Le, 1.0);
        }
    }
    (linear, x, slack)
}

/// An assignment as values of all variables, from which the search starts.
fn hint(problem: &Problem, picked: &[usize], x: &[Vec<Variable>], slack: &[Variable]) -> Vec<(Variable, f64)> {
    let mut values: Vec<(Variable, f64)> = Vec::new();
    for (row, &at) in x.iter().zip(picked) {
        values.extend(row.iter().enumerate().map(|(n, &var)| (var, f64::from(u8::from(n == at)))));
    }
    let lacking = problem.needs.iter().map(|need| number(lacking(problem, picked, need)));
    let beyond = problem.limits.iter().map(|limit| number(beyond(problem, picked, limit)));
    let there = |pair: &&Pair| pair.both.iter().all(|&(unit, choice)| x.get(unit).is_some_and(|row| choice < row.len()));
    let together = problem.pairs.iter().filter(there).map(|pair| f64::from(u8::from(has_both(picked, pair))));
    let unheard = problem.wishes.iter().map(|wish| f64::from(u8::from(!heard(problem, picked, wish))));
    let others = problem.led.iter().map(|led| f64::from(u8::from(!is_led(problem, picked, led))));
    values.extend(slack.iter().copied().zip(lacking.chain(beyond).chain(together).chain(unheard).chain(others)));
    values
}

/// Each group keeps its silence, its choices of an earlier proposal, those that exclude others, and of each strand the best, as far as there is room.
fn thinned(problem: &Problem, most: usize) -> (Problem, Vec<Vec<usize>>) {
    let room = (most / problem.choices.len().max(1)).max(2);
    let kept: Vec<Vec<usize>> = problem
        .choices
        .iter()
        .enumerate()
        .map(|(unit, choices)| {
            let held = |at: usize| {
                choices[at].strand.is_none() || problem.not_again.iter().any(|(before, _)| before.get(unit) == Some(&at))
            };
            let best_of_strand = |at: usize| {
                let same = choices.iter().filter(|other| other.strand == choices[at].strand);
                same.map(|other| other.worth).fold(f64::NEG_INFINITY, f64::max) <= choices[at].worth
            };
            let mut order: Vec<usize> = (0..choices.len()).collect();
            let rank = |at: usize| (!held(at), !best_of_strand(at));
            order.sort_by(|&a, &b| rank(a).cmp(&rank(b)).then(choices[b].worth.total_cmp(&choices[a].worth)).then(a.cmp(&b)));
            order.truncate(room);
            order.sort_unstable();
            order
        })
        .collect();
    let place = |(unit, at): (usize, usize)| kept.get(unit)?.iter().position(|&kept| kept == at).map(|at| (unit, at));
    let smaller = Problem {
        choices: kept
            .iter()
            .zip(&problem.choices)
            .map(|(kept, choices)| kept.iter().filter_map(|&at| choices.get(at).copied()).collect())
            .collect(),
        not_again: problem
            .not_again
            .iter()
            .map(|(before, differ)| {
                let moved = before.iter().enumerate().map(|(unit, &at)| place((unit, at)).map_or(usize::MAX, |place| place.1));
                (moved.collect(), *differ)
            })
            .collect(),
        apart: problem.apart.iter().filter_map(|[a, b]| Some([place(*a)?, place(*b)?])).collect(),
        pairs: problem
            .pairs
            .iter()
            .filter_map(|pair| Some(Pair { both: [place(pair.both[0])?, place(pair.both[1])?], ..*pair }))
            .collect(),
        ..problem.clone()
    };
    (smaller, kept)
}

/// An assignment that a change of one group hardly betters, each tried in turn for a few rounds: where the search starts.
fn greedy(problem: &Problem) -> Option<Vec<usize>> {
    let best = |choices: &Vec<Choice>| {
        (0..choices.len()).max_by(|&a, &b| choices[a].worth.total_cmp(&choices[b].worth).then(b.cmp(&a))).unwrap_or(0)
    };
    let mut picked: Vec<usize> = problem.choices.iter().map(best).collect();
    // What two may not do together, and what must differ from before, is put right first.
    for [a, b] in &problem.apart {
        if picked.get(a.0) == Some(&a.1) && picked.get(b.0) == Some(&b.1) {
            let other = |&at: &usize| at != b.1 && problem.apart.iter().all(|[x, y]| ![*x, *y].contains(&(b.0, at)));
            picked[b.0] = (0..problem.choices[b.0].len()).find(other)?;
        }
    }
    for (before, differ) in &problem.not_again {
        for unit in 0..picked.len() {
            let differing = before.iter().zip(&picked).filter(|(a, b)| a != b).count();
            if differing >= *differ {
                break;
            }
            if before.get(unit) == Some(&picked[unit]) && problem.choices[unit].len() > 1 {
                picked[unit] = if picked[unit] == 0 { 1 } else { 0 };
            }
        }
    }
    let mut now = worth(problem, &picked)?;
    for _ in 0..MOST_ROUNDS {
        let before = now;
        for unit in 0..picked.len() {
            for at in 0..problem.choices[unit].len() {
                let kept = std::mem::replace(&mut picked[unit], at);
                match worth(problem, &picked) {
                    Some(found) if found > now + 1e-9 => now = found,
                    _ => picked[unit] = kept,
                }
            }
        }
        if now - before < 1e-9 {
            break;
        }
    }
    Some(picked)
}

/// Players that a need still wants.
fn lacking(problem: &Problem, picked: &[usize], need: &Need) -> usize {
    let have: usize = problem
        .choices
        .iter()
        .zip(picked)
        .zip(&problem.players)
        .filter(|((choices, at), _)| choices.get(**at).is_some_and(|choice| meets(choice, need)))
        .map(|(_, players)| *players)
        .sum();
    need.players.saturating_sub(have)
}

/// Groups that have a strand beyond those it is limited to.
fn beyond(problem: &Problem, picked: &[usize], limit: &(usize, usize, f64)) -> usize {
    let has = |(choices, at): &(&Vec<Choice>, &usize)| choices.get(**at).is_some_and(|choice| choice.strand == Some(limit.0));
    problem.choices.iter().zip(picked).filter(has).count().saturating_sub(limit.1)
}

fn has_both(picked: &[usize], pair: &Pair) -> bool {
    pair.both.iter().all(|(unit, choice)| picked.get(*unit) == Some(choice))
}

/// Whether anybody plays a line in the octave wished for.
fn heard(problem: &Problem, picked: &[usize], wish: &(usize, i32, f64)) -> bool {
    problem.choices.iter().zip(picked).any(|(choices, &at)| choices.get(at).is_some_and(|choice| grants(choice, wish)))
}

fn grants(choice: &Choice, wish: &(usize, i32, f64)) -> bool {
    choice.strand == Some(wish.0) && choice.octave == wish.1
}

fn leads(choice: &Choice, led: &Led) -> bool {
    choice.strand == Some(led.strand) && choice.octave >= led.lowest
}

/// Whether one of the groups leads.
fn is_led(problem: &Problem, picked: &[usize], led: &Led) -> bool {
    let choice = |unit: usize| problem.choices.get(unit)?.get(*picked.get(unit)?);
    led.by.iter().filter_map(|&unit| choice(unit)).any(|choice| leads(choice, led))
}

fn meets(choice: &Choice, need: &Need) -> bool {
    choice.strand == Some(need.strand) && (!need.own_octave || choice.octave == 0)
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
    sum -= problem.needs.iter().map(|need| need.price * number(lacking(problem, picked, need))).sum::<f64>();
    sum -= problem.limits.iter().map(|limit| limit.2 * number(beyond(problem, picked, limit))).sum::<f64>();
    sum += problem.pairs.iter().filter(|pair| has_both(picked, pair)).map(|pair| pair.worth).sum::<f64>();
    sum -= problem.wishes.iter().filter(|wish| !heard(problem, picked, wish)).map(|wish| wish.2).sum::<f64>();
    sum -= problem.led.iter().filter(|led| !is_led(problem, picked, led)).map(|led| led.price).sum::<f64>();
    Some(sum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assign::noise;

    fn need(strand: usize, own_octave: bool, players: usize) -> Need {
        Need { strand, own_octave, players, price: 100.0 }
    }

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
                    let mut list = vec![Choice { strand: None, octave: 0, held: 0, worth: noise(seed, unit, 9, 0, 0) }];
                    for strand in 0..3 {
                        for octave in -1..=0 {
                            list.push(Choice {
                                strand: Some(strand),
                                octave,
                                held: 0,
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
                needs: vec![need(0, true, 1), need(1, false, 3), need(2, false, 1)],
                limits: vec![(0, 1, 0.8)],
                pairs: [((0, 1), (3, 2), 0.9), ((1, 2), (2, 4), -1.1), ((2, 1), (4, 3), 0.6)]
                    .map(|(a, b, worth)| Pair { both: [a, b], worth })
                    .to_vec(),
                not_again: Vec::new(),
                sparse: Vec::new(),
                wishes: vec![(1, -1, 0.7), (2, 0, 2.0)],
                led: vec![Led { strand: 1, lowest: 0, by: vec![0, 3], price: 1.3 }],
                apart: vec![[(0, 1), (1, 3)], [(2, 2), (3, 2)]],
            };
            let found = solve(&problem).expect("the solver answers");
            assert!((found.worth - all(&problem)).abs() < 1e-6 && found.is_best(), "seed {seed}");
            // A search that may not branch, or not see every choice, says by how much the best may lie above it.
            for (choices, branches) in [(usize::MAX, 0), (15, 600)] {
                let bounded = solve_within(&problem, choices, branches).expect("the bounded search answers");
                assert!(bounded.worth <= found.worth + 1e-6 && found.worth <= bounded.bound + 1e-6, "seed {seed}, bounded");
            }
            // And with the best one forbidden.
            problem.not_again.push((found.picked.clone(), 2));
            let second = solve(&problem).expect("the solver answers");
            assert!((second.worth - all(&problem)).abs() < 1e-6, "seed {seed}, second");
            assert!(second.worth <= found.worth);
        }
    }

    #[test]
    fn a_large_question_is_answered_within_its_bounds() {
        // 120 groups with 61 choices each, of which nearly all are worth alike: a search without bounds would not come back.
        let choices: Vec<Vec<Choice>> = (0..120)
            .map(|unit| {
                let line = |strand: usize, octave: i32| Choice {
                    strand: Some(strand),
                    octave,
                    held: 0,
                    worth: 0.01 * noise(9, unit, strand, octave, 2),
                };
                let lines = (0..12).flat_map(|strand| (-2..=2).map(move |octave| (strand, octave)));
                std::iter::once(Choice { strand: None, octave: 0, held: 0, worth: 0.0 })
                    .chain(lines.map(|(strand, octave)| line(strand, octave)))
                    .collect()
            })
            .collect();
        let needs = (0..12).map(|strand| need(strand, true, 11)).collect();
        let problem = Problem { players: (0..120).map(|unit| 1 + unit % 3).collect(), choices, needs, ..Problem::default() };
        let found = solve(&problem).expect("an answer");
        assert!(found.worth.is_finite() && found.worth <= found.bound + 1e-6);
        assert_eq!(solve(&problem).map(|again| again.picked), Some(found.picked));
    }
}
