//! What a plan leaves open, filled in phrase after phrase by habits, and what is remembered of it.

use ripieno_texture::Role;

use crate::assign::{
    Choice, Memory, Problem, Rests, Solved, Unit, each_alone, filled, grounded, is_single, problem, separate, solve, tasks,
    thinned, units,
};
use crate::cast::Options;
use crate::habits::Habits;
use crate::lineup::Lineup;
use crate::numbers::number;
use crate::plan::PhrasePlan;
use crate::sketch::Sketch;

/// What an earlier proposal has chosen: phrase by phrase each group's choice, and which groups have the tune.
pub(crate) type Taken = (Vec<Vec<usize>>, Vec<Vec<bool>>);

/// Fills in what a plan leaves open, phrase after phrase, and remembers what everybody had.
pub(crate) struct Filling<'a> {
    pub sketch: &'a Sketch,
    pub lineup: &'a Lineup,
    pub habits: &'a Habits,
    pub options: &'a Options,
    /// What earlier proposals have chosen.
    taken: &'a [Taken],
    pub units: Vec<Unit>,
    pub memory: Memory,
    /// Who rests in the phrase just filled in, and why.
    pub rests: Rests,
    /// How many of a band have to play in it.
    pub least: usize,
    /// The phrase before, as it was played.
    pub before: Option<PhrasePlan>,
    /// The choices made, phrase by phrase, for proposals that must differ, and which groups have the tune.
    pub picked: Vec<Vec<usize>>,
    pub tunes: Vec<Vec<bool>>,
    /// As [`crate::Optimality::unsettled`].
    pub unsettled: (usize, f64),
}

impl<'a> Filling<'a> {
    pub fn new(sketch: &'a Sketch, lineup: &'a Lineup, habits: &'a Habits, options: &'a Options, taken: &'a [Taken]) -> Self {
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
    pub fn fill(&mut self, at: usize, phrase: &mut PhrasePlan) -> usize {
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
            let price = taste.other_colour * taste.known_of(is_single(lineup)).max(1.0) * number(had);
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
