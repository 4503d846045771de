//! Is a line heard? Margin above what masks it, bar by bar, in decibels and in plain words.

mod able;
mod colour;
mod masking;
mod remedy;
mod second;
mod trial;

use std::fmt;
use std::ops::Range;

use crate::ear::{Ear, Excitation, Excited};
use crate::scene::{Line, Moment, Scene};

pub use able::{Able, Asked};
pub use colour::{Kinship, kinship};
pub use masking::{Masked, masked};
pub use remedy::{Explanation, Masker, Remedy, RemedyKind, explain};
pub(crate) use second::components;
pub use second::{SecondOpinion, second_opinion};

/// Uncertainty of what a line is heard against, one standard deviation in dB: as that of one instrument.
const REST_SPREAD: f64 = 3.0;
/// Where one grade ends and the next begins, in dB.
const BOUNDS: [(f64, Grade, Grade); 4] = [
    (3.0, Grade::Covered, Grade::Hard),
    (9.0, Grade::Hard, Grade::Among),
    (15.0, Grade::Among, Grade::Clear),
    (21.0, Grade::Clear, Grade::Prominent),
];
/// At this share of a standard deviation from a bound a third of a normal distribution lies beyond it.
const DOUBTFUL: f64 = 0.43;
/// Beyond these, more or less makes no difference to a mean over a bar.
const LEAST_MARGIN: f64 = -30.0;
const MOST_MARGIN: f64 = 40.0;

/// How well a line is heard, in plain words. The bounds are ours: a voice beside an equal one of another register has about 12 dB.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// Less than 3 dB above what masks it.
    Covered,
    /// 3 to 9 dB.
    Hard,
    /// 9 to 15 dB.
    Among,
    /// 15 to 21 dB.
    Clear,
    /// More.
    Prominent,
}

impl Grade {
    /// The grade of a margin in dB.
    #[must_use]
    pub fn of(margin_db: f64) -> Self {
        BOUNDS.iter().find(|(bound, _, _)| margin_db < *bound).map_or(Self::Prominent, |(_, below, _)| *below)
    }
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Covered => "covered",
            Self::Hard => "hard to hear",
            Self::Among => "heard among others",
            Self::Clear => "clear",
            Self::Prominent => "prominent",
        })
    }
}

/// A line in one bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Audible {
    /// By how many dB it could be weaker until it is no longer heard: mean over the time it sounds in the bar.
    pub margin_db: f64,
    /// Uncertainty of that, one standard deviation in dB.
    pub spread_db: f64,
    /// Share of that time in which it is covered.
    pub covered: f64,
    /// Seconds it sounds in the bar.
    pub seconds: f64,
}

impl Audible {
    /// The grade next to its own that it could as well have: the nearer one, where the uncertainty puts at least a third of the chances on it and what lies beyond. Grades are
    /// 6 dB wide and a margin is seldom known to better than 4.
    #[must_use]
    pub fn or(&self) -> Option<Grade> {
        let (own, shown) = (self.grade(), (self.margin_db * 10.0).round() / 10.0);
        let away = |bound: &&(f64, Grade, Grade)| (shown - bound.0).abs();
        let (bound, below, above) = BOUNDS.iter().min_by(|a, b| away(a).total_cmp(&away(b)))?;
        ((shown - bound).abs() <= DOUBTFUL * self.spread_db).then_some(if own == *below { *above } else { *below })
    }

    /// In words, with the grade it could as well have: "covered or hard to hear".
    #[must_use]
    pub fn told(&self) -> String {
        self.or().map_or_else(|| self.grade().to_string(), |or| format!("{} or {or}", self.grade()))
    }

    /// In plain words: the grade of the margin as it is shown, to a tenth of a dB, so that number and word agree wherever both stand.
    #[must_use]
    pub fn grade(&self) -> Grade {
        Grade::of((self.margin_db * 10.0).round() / 10.0)
    }
}

/// Every line in every bar in which it sounds.
#[derive(Debug, Clone, PartialEq)]
pub struct Audibility {
    /// By line, then by bar of [`ripieno_score::Sounding::bars`], ascending.
    of_line: Vec<Vec<(usize, Audible)>>,
}

impl Audibility {
    /// A line in a bar; `None` where it is silent or there is no such line.
    #[must_use]
    pub fn at(&self, line: usize, bar: usize) -> Option<Audible> {
        let bars = self.of_line(line);
        bars.binary_search_by_key(&bar, |(bar, _)| *bar).ok().map(|at| bars[at].1)
    }

    /// A line in the bars in which it sounds, ascending.
    #[must_use]
    pub fn of_line(&self, line: usize) -> &[(usize, Audible)] {
        self.of_line.get(line).map_or(&[], Vec::as_slice)
    }

    /// Stretches of bars in which a line sounds and is graded `worst` or worse, as ranges of bars; bars in which it rests do not end a stretch
    /// that goes on after them, and do not lengthen it.
    #[must_use]
    pub fn stretches(&self, line: usize, worst: Grade) -> Vec<Range<usize>> {
        let mut found: Vec<Range<usize>> = Vec::new();
        let mut open = false;
        for (bar, heard) in self.of_line(line).iter().copied() {
            let bad = heard.grade() <= worst;
            match found.last_mut() {
                Some(last) if bad && open => last.end = bar + 1,
                _ if bad => found.push(bar..bar + 1),
                _ => {}
            }
            open = bad;
        }
        found
    }
}

/// Sums over a bar.
#[derive(Debug, Clone, Copy, Default)]
struct Gathered {
    seconds: f64,
    margin: f64,
    covered: f64,
    spread: f64,
}

impl Gathered {
    fn add(&mut self, margin: f64, spread: f64, seconds: f64) {
        self.seconds += seconds;
        self.margin += seconds * margin.clamp(LEAST_MARGIN, MOST_MARGIN);
        self.spread += seconds * spread;
        self.covered += if margin < 3.0 { seconds } else { 0.0 };
    }

    fn told(&self) -> Option<Audible> {
        (self.seconds > 0.0).then(|| Audible {
            margin_db: self.margin / self.seconds,
            spread_db: (self.spread / self.seconds).hypot(REST_SPREAD),
            covered: self.covered / self.seconds,
            seconds: self.seconds,
        })
    }
}

/// How well each line is heard in each bar, beside all else that sounds. The time grows with the number of notes and moments.
#[must_use]
pub fn audibility(scene: &Scene<'_>, lines: &[Line]) -> Audibility {
    audibility_by(scene, lines, &Excited)
}

/// The same by another ear.
#[must_use]
pub fn audibility_by(scene: &Scene<'_>, lines: &[Line], ear: &dyn Ear) -> Audibility {
    let bars = scene.sounding.bars.len();
    let line_of = scene.line_of(lines);
    let mut gathered: Vec<Vec<(usize, Gathered)>> = vec![Vec::new(); lines.len()];
    let mut walk = Walk::new(lines.len());
    scene.moments(0..bars, |moment| {
        scene.sum_lines(moment, &line_of, &mut walk.sums);
        walk.spreads(scene, moment, &line_of);
        walk.margins(ear, |line, margin, spread| in_bar(&mut gathered[line], moment.bar).add(margin, spread, moment.seconds));
    });
    told(&gathered)
}

/// The same where lines of one group do not count as masking each other, as parts that play one melody in octaves. `group_of` names the group of
/// a line in a bar by one of its lines.
#[must_use]
pub fn audibility_beside(scene: &Scene<'_>, lines: &[Line], group_of: impl Fn(usize, usize) -> usize) -> Audibility {
    let line_of = scene.line_of(lines);
    let mut gathered: Vec<Vec<(usize, Gathered)>> = vec![Vec::new(); lines.len()];
    let (mut walk, mut groups) = (Walk::new(lines.len()), Walk::new(lines.len()));
    scene.moments(0..scene.sounding.bars.len(), |moment| {
        scene.sum_lines(moment, &line_of, &mut walk.sums);
        walk.spreads(scene, moment, &line_of);
        groups.sums.iter_mut().for_each(Excitation::clear);
        let group = |line: usize| if line < lines.len() { group_of(moment.bar, line).min(lines.len()) } else { line };
        for (line, sum) in walk.sums.iter().enumerate() {
            groups.sums[group(line)].add(sum, 1.0);
        }
        groups.rests();
        for (line, (weight, spread)) in walk.spread.iter().enumerate().take(lines.len()).filter(|(_, (weight, _))| *weight > 0.0)
        {
            let rest = if group(line) < lines.len() { &groups.before[group(line)] } else { &groups.after };
            in_bar(&mut gathered[line], moment.bar).add(Excited.margin(&walk.sums[line], rest), spread / weight, moment.seconds);
        }
    });
    told(&gathered)
}

fn told(gathered: &[Vec<(usize, Gathered)>]) -> Audibility {
    let told = |bars: &Vec<(usize, Gathered)>| bars.iter().filter_map(|(bar, gathered)| Some((*bar, gathered.told()?))).collect();
    Audibility { of_line: gathered.iter().map(told).collect() }
}

/// The sums of a bar, which is the last one or comes after it.
fn in_bar(bars: &mut Vec<(usize, Gathered)>, bar: usize) -> &mut Gathered {
    if bars.last().is_none_or(|(last, _)| *last != bar) {
        bars.push((bar, Gathered::default()));
    }
    let last = bars.len() - 1;
    &mut bars[last].1
}

/// Room to work in, used again at every moment.
struct Walk {
    sums: Vec<Excitation>,
    /// What lies before and after each line in their order; so no line is ever taken away from a sum that it dominates.
    before: Vec<Excitation>,
    after: Excitation,
    spread: Vec<(f64, f64)>,
}

impl Walk {
    fn new(lines: usize) -> Self {
        let many = || vec![Excitation::default(); lines + 1];
        Self { sums: many(), before: many(), after: Excitation::default(), spread: vec![(0.0, 0.0); lines + 1] }
    }

    /// Uncertainty of each line: that of its tones and of their players, by their power.
    fn spreads(&mut self, scene: &Scene<'_>, moment: &Moment<'_>, line_of: &[u16]) {
        self.spread.fill((0.0, 0.0));
        for (row, gain) in moment.active {
            let note = &scene.notes[*row];
            let heard = &scene.heard[note.heard];
            let at = usize::from(line_of[*row]).min(self.spread.len() - 1);
            let weight = gain * crate::level::power_of(heard.power_db);
            self.spread[at].0 += weight;
            self.spread[at].1 += weight * heard.spread.hypot(note.players_spread);
        }
    }

    /// Fills `before` with what sounds beside each line.
    fn rests(&mut self) {
        let count = self.sums.len();
        self.before[0].clear();
        for line in 1..count {
            let (done, rest) = self.before.split_at_mut(line);
            rest[0].clone_from(&done[line - 1]);
            rest[0].add(&self.sums[line - 1], 1.0);
        }
        self.after.clear();
        self.after.add(&self.sums[count - 1], 1.0);
        for line in (0..count - 1).rev() {
            self.before[line].add(&self.after, 1.0);
            self.after.add(&self.sums[line], 1.0);
        }
    }

    fn margins(&mut self, ear: &dyn Ear, mut tell: impl FnMut(usize, f64, f64)) {
        self.rests();
        for (line, (weight, spread)) in self.spread.iter().enumerate().take(self.sums.len() - 1) {
            if *weight > 0.0 {
                tell(line, ear.margin(&self.sums[line], &self.before[line]), spread / weight);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grade_that_could_be_the_next_says_so() {
        let heard = |margin_db, spread_db| Audible { margin_db, spread_db, covered: 0.0, seconds: 1.0 };
        assert_eq!(heard(2.0, 4.0).told(), "covered or hard to hear");
        assert_eq!(heard(3.5, 4.0).told(), "hard to hear or covered");
        assert_eq!(heard(6.0, 4.0).told(), "hard to hear");
        assert_eq!(heard(-4.0, 4.0).or(), None);
        assert_eq!(heard(20.0, 6.0).or(), Some(Grade::Prominent));
        assert_eq!(heard(30.0, 6.0).or(), None);
        assert_eq!(
            [2.9, 3.0, 9.0, 15.0, 21.0].map(Grade::of),
            [Grade::Covered, Grade::Hard, Grade::Among, Grade::Clear, Grade::Prominent]
        );
    }
}
