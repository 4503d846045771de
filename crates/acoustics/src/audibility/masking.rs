//! What masks one line, bar by bar, in one walk through the score.

use super::{Audible, Gathered, LEAST_MARGIN, MOST_MARGIN, Masker, Walk};
use crate::ear::{Ear, Excitation, Excited};
use crate::scene::{Line, Scene};

/// Gains smaller than this are no masking, in dB.
const NOTHING: f64 = 0.05;

/// One line in a bar in which it sounds.
#[derive(Debug, Clone, PartialEq)]
pub struct Masked {
    /// The bar of [`ripieno_score::Sounding::bars`].
    pub bar: usize,
    /// How it is heard.
    pub audible: Audible,
    /// What masks it, most first: what it would gain if that line alone were silent, as [`super::explain`] answers.
    pub maskers: Vec<Masker>,
}

/// How one line is heard in every bar in which it sounds, and which other lines mask it. The time grows with moments times lines.
#[must_use]
pub fn masked(scene: &Scene<'_>, lines: &[Line], line: usize) -> Vec<Masked> {
    let line_of = scene.line_of(lines);
    let mut walk = Walk::new(lines.len());
    let mut others = Others::default();
    let mut found: Vec<Masked> = Vec::new();
    let mut bar = Bar::new(0, lines.len() + 1);
    scene.moments(0..scene.sounding.bars.len(), |moment| {
        if moment.bar != bar.bar {
            found.extend(bar.told());
            bar = Bar::new(moment.bar, lines.len() + 1);
        }
        if !moment.active.iter().any(|(row, _)| usize::from(line_of[*row]) == line) {
            return;
        }
        scene.sum_lines(moment, &line_of, &mut walk.sums);
        walk.spreads(scene, moment, &line_of);
        let (weight, spread) = walk.spread[line];
        let own = &walk.sums[line];
        others.sum(&walk.sums, line);
        let margin = Excited.margin(own, &others.all);
        bar.gathered.add(margin, if weight > 0.0 { spread / weight } else { 0.0 }, moment.seconds);
        let bounded = |margin: f64| margin.clamp(LEAST_MARGIN, MOST_MARGIN);
        for (other, rest) in &others.without {
            bar.gains[*other] += moment.seconds * (bounded(Excited.margin(own, rest)) - bounded(margin));
        }
    });
    found.extend(bar.told());
    found
}

/// What is gathered in a bar.
struct Bar {
    bar: usize,
    gathered: Gathered,
    /// By line, the last for notes of none.
    gains: Vec<f64>,
}

impl Bar {
    fn new(bar: usize, lines: usize) -> Self {
        Self { bar, gathered: Gathered::default(), gains: vec![0.0; lines] }
    }

    fn told(&self) -> Option<Masked> {
        let audible = self.gathered.told()?;
        let last = self.gains.len() - 1;
        let gains = self.gains.iter().enumerate().map(|(line, gain)| (line, gain / audible.seconds));
        let mut maskers: Vec<Masker> = gains
            .filter(|(_, gain)| *gain > NOTHING)
            .map(|(line, gain_db)| Masker { line: (line < last).then_some(line), gain_db })
            .collect();
        maskers.sort_by(|a, b| b.gain_db.total_cmp(&a.gain_db));
        Some(Masked { bar: self.bar, audible, maskers })
    }
}

/// Sums of all others, and of all others but one: put together from both ends, since taking a line away from a sum that it dominates leaves noise.
#[derive(Default)]
struct Others {
    all: Excitation,
    /// Lines that sound, each with what all others but it amount to.
    without: Vec<(usize, Excitation)>,
}

impl Others {
    fn sum(&mut self, sums: &[Excitation], line: usize) {
        self.without.clear();
        self.all.clear();
        for (other, sum) in sums.iter().enumerate().filter(|(other, sum)| *other != line && !sum.is_silent()) {
            self.without.push((other, self.all.clone()));
            self.all.add(sum, 1.0);
        }
        let mut after = Excitation::default();
        for (other, rest) in self.without.iter_mut().rev() {
            rest.add(&after, 1.0);
            after.add(&sums[*other], 1.0);
        }
    }
}
