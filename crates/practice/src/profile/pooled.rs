//! Values pooled by work: first inside each work, weighted by time, then between works.

use std::collections::BTreeMap;

use crate::profile::key::{Absent, Counted, Key, Kind, Whom, Within};
use crate::profile::{InScore, Profile, ScoreEntry};

/// One work's value.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkValue {
    /// Its value: the mean of its scores' values, weighted by time, or their extreme.
    pub value: f64,
    /// Its scores for which there is a value, indices into [`Profile::scores`].
    pub scores: Vec<usize>,
}

/// A key's values over a profile.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// The works for which there is a value, in the order of the profile.
    pub of_works: Vec<WorkValue>,
    /// Mean of the works.
    pub mean: f64,
    /// Median of the works.
    pub median: f64,
    /// Standard deviation between works (n − 1); `None` for one work.
    pub spread: Option<f64>,
    /// Least of the works.
    pub least: f64,
    /// Greatest of the works.
    pub most: f64,
    /// For one work, the standard error between stretches of it; `None` where it is not known or there are several works.
    pub error: Option<f64>,
}

impl Pooled {
    /// How many works.
    #[must_use]
    pub fn works(&self) -> usize {
        self.of_works.len()
    }

    /// How many scores.
    #[must_use]
    pub fn scores(&self) -> usize {
        self.of_works.iter().map(|work| work.scores.len()).sum()
    }

    /// Whether there are fewer works than can tell much of a practice: fewer than five.
    #[must_use]
    pub fn is_small(&self) -> bool {
        self.works() < 5
    }
}

/// Shares of one whole: measure, bodies, unit and which whole.
type Whole<'a> = (&'a str, &'a Whom, Option<&'a Whom>, Counted, &'static str);

/// A profile made ready for looking values up.
#[derive(Debug)]
pub struct Index<'a> {
    /// The profile.
    pub profile: &'a Profile,
    rows: BTreeMap<&'a Key, &'a [InScore]>,
    /// By body and score, the crotchets in which it sounds; 0 where it does not.
    sounds: BTreeMap<&'a Whom, Vec<f64>>,
    /// By whole and score, whether there is any share of it.
    wholes: BTreeMap<Whole<'a>, Vec<bool>>,
}

impl<'a> Index<'a> {
    /// Prepares a profile.
    #[must_use]
    pub fn new(profile: &'a Profile) -> Self {
        let scores = profile.scores.len();
        let mut index = Self { profile, rows: BTreeMap::new(), sounds: BTreeMap::new(), wholes: BTreeMap::new() };
        for row in &profile.rows {
            index.rows.insert(&row.key, &row.values);
            if row.key.measure == "presence" && row.key.unit == Counted::ShareOfTime {
                let sounds = index.sounds.entry(&row.key.of).or_insert_with(|| vec![0.0; scores]);
                row.values.iter().for_each(|value| sounds[value.score] = value.value * profile.scores[value.score].crotchets());
            }
            if let Some(whole) = row.key.whole() {
                let there = index.wholes.entry(whole_of(&row.key, whole)).or_insert_with(|| vec![false; scores]);
                row.values.iter().for_each(|value| there[value.score] = true);
            }
        }
        index
    }

    /// Every key of the profile, ascending.
    pub fn keys(&self) -> impl Iterator<Item = &'a Key> {
        self.rows.keys().copied()
    }

    /// Whether a body sounds in any of the scores.
    #[must_use]
    pub fn has(&self, whom: &Whom) -> bool {
        whom.kind == Kind::Score || self.sounds.get(whom).is_some_and(|sounds| sounds.iter().any(|&time| time > 0.0))
    }

    /// The values under a key as the scores have them, those left out because they are zero aside.
    #[must_use]
    pub fn stated(&self, key: &Key) -> &'a [InScore] {
        self.rows.get(key).copied().unwrap_or_default()
    }

    /// The bars behind a key in a score.
    #[must_use]
    pub fn bars(&self, key: &Key, score: usize) -> &'a [(u32, u32)] {
        self.in_score(key, score).map_or(&[], |value| &value.bars)
    }

    fn in_score(&self, key: &Key, score: usize) -> Option<&'a InScore> {
        let values = self.stated(key);
        values.binary_search_by_key(&score, |value| value.score).ok().map(|at| &values[at])
    }

    fn sounds(&self, whom: &Whom, score: usize) -> f64 {
        if whom.kind == Kind::Score {
            return self.profile.scores[score].crotchets();
        }
        self.sounds.get(whom).map_or(0.0, |sounds| sounds[score])
    }

    /// The value of one score and its error; a missing value that means zero is zero.
    #[must_use]
    pub fn value(&self, key: &Key, score: usize) -> Option<(f64, Option<f64>)> {
        if let Some(value) = self.in_score(key, score) {
            return Some((value.value, value.error));
        }
        let zero = match key.absent() {
            Absent::Unknown => false,
            Absent::ZeroWhereTheySound => {
                [Some(&key.of), key.with.as_ref()].into_iter().flatten().all(|whom| self.sounds(whom, score) > 0.0)
            }
            Absent::ZeroBesideOthers => {
                key.whole().and_then(|whole| self.wholes.get(&whole_of(key, whole))).is_some_and(|there| there[score])
            }
        };
        // Nothing in any stretch: it does not vary.
        zero.then_some((0.0, Some(0.0)))
    }

    /// With what a score's value counts inside its work.
    fn weight(&self, key: &Key, score: usize) -> f64 {
        let entry: &ScoreEntry = &self.profile.scores[score];
        match (key.unit, key.measure.as_str()) {
            (Counted::PerHundredBars, _) => f64::from(entry.bars),
            (Counted::ShareOfPiece | Counted::PerHundredCrotchets, _)
            | (_, "presence" | "entries" | "sharing" | "melody_support" | "stack") => entry.crotchets(),
            _ => {
                let bodies = [Some(&key.of), key.with.as_ref()];
                bodies.into_iter().flatten().map(|whom| self.sounds(whom, score)).fold(f64::INFINITY, f64::min)
            }
        }
    }

    /// The values under a key pooled by work; `None` where no score has one.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // works of a library
    pub fn pooled(&self, key: &Key) -> Option<Pooled> {
        let mut of_works: Vec<WorkValue> = Vec::new();
        let mut error = None;
        let mut from = 0;
        for work in self.profile.scores.chunk_by(|a, b| a.work == b.work) {
            let scores = from..from + work.len();
            from = scores.end;
            let found: Vec<(usize, f64, Option<f64>)> =
                scores.filter_map(|score| self.value(key, score).map(|(value, error)| (score, value, error))).collect();
            if found.is_empty() {
                continue;
            }
            let values = found.iter().map(|found| found.1);
            let value = match key.within_work() {
                Within::Least => values.fold(f64::INFINITY, f64::min),
                Within::Most => values.fold(f64::NEG_INFINITY, f64::max),
                Within::Mean => {
                    let weights: Vec<f64> = found.iter().map(|found| self.weight(key, found.0)).collect();
                    let all: f64 = weights.iter().sum();
                    if all > 0.0 {
                        let errors = found.iter().zip(&weights).map(|(found, weight)| Some((found.2? * weight).powi(2)));
                        error = errors.sum::<Option<f64>>().map(|sum| sum.sqrt() / all);
                        values.zip(&weights).map(|(value, weight)| value * weight).sum::<f64>() / all
                    } else {
                        values.sum::<f64>() / found.len() as f64
                    }
                }
            };
            of_works.push(WorkValue { value, scores: found.iter().map(|found| found.0).collect() });
        }
        let n = of_works.len();
        let mut sorted: Vec<f64> = of_works.iter().map(|work| work.value).collect();
        sorted.sort_by(f64::total_cmp);
        let (&least, &most) = sorted.first().zip(sorted.last())?;
        let mean = sorted.iter().sum::<f64>() / n as f64;
        let spread = (n > 1).then(|| (sorted.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt());
        let median = f64::midpoint(sorted[(n - 1) / 2], sorted[n / 2]);
        Some(Pooled { of_works, mean, median, spread, least, most, error: error.filter(|_| n == 1) })
    }
}

fn whole_of<'a>(key: &'a Key, whole: &'static str) -> Whole<'a> {
    (&key.measure, &key.of, key.with.as_ref(), key.unit, whole)
}
