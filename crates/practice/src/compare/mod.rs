//! Two practices side by side: what differs, by how much beside the spread there is, and where to look on both sides.
//!
//! [`compare`] pools both profiles by work and lays every value beside its counterpart, largest difference first. What lies
//! within noise is listed and not claimed; what only one side has is listed as such. [`Comparison::leading`] picks a first page on which no body
//! and no measure crowds out the others.

mod effect;

use std::collections::{BTreeMap, BTreeSet};

pub use effect::{Effect, Scale, Standing, own_scale};

use crate::profile::{Index, Key, Kind, Pooled, Profile, Whom};

/// A score's value with its bars.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Index into [`Profile::scores`] of its side.
    pub score: usize,
    /// Its value.
    pub value: f64,
    /// The played bars behind it, first and last of each span; none where the value is zero because nothing is there.
    pub bars: Vec<(u32, u32)>,
}

/// One side of a row.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// Its values, pooled by work.
    pub pooled: Pooled,
    /// Its scores, the one that shows the difference most plainly first.
    pub evidence: Vec<Evidence>,
}

/// A value on both sides.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// What is compared.
    pub key: Key,
    /// The one side.
    pub a: Side,
    /// The other.
    pub b: Side,
    /// How much of the music it rests on, 0 to 1: bars behind it, of all bars of the scores. Of the two sides the greater for a share, which may be
    /// small on one side because little is there; the lesser for anything else.
    pub breadth: f64,
    /// B less A, in the unit of the key, of the means of works.
    pub difference: f64,
    /// How large that is.
    pub effect: Effect,
}

/// A value that only one side has.
#[derive(Debug, Clone, PartialEq)]
pub struct Lone {
    /// What it is.
    pub key: Key,
    /// The side that has it.
    pub side: Side,
}

/// What is compared and how.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Families, sections or instruments to which the comparison is confined; all where empty.
    pub groups: Vec<String>,
    /// The two are versions of one piece: every difference is one of the music.
    pub same_piece: bool,
}

/// Two practices side by side.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// What both have: clear differences first, the largest of them first.
    pub rows: Vec<Difference>,
    /// What only the first has, by key.
    pub only_a: Vec<Lone>,
    /// What only the second has, by key.
    pub only_b: Vec<Lone>,
    /// Bodies that sound only in the first.
    pub bodies_only_a: Vec<Whom>,
    /// Bodies that sound only in the second.
    pub bodies_only_b: Vec<Whom>,
}

/// Lays two practices side by side.
#[must_use]
pub fn compare(a: &Profile, b: &Profile, options: &Options) -> Comparison {
    let (one, other) = (Index::new(a), Index::new(b));
    let wanted = |whom: &Whom| options.groups.is_empty() || options.groups.iter().any(|group| whom.belongs_to(group));
    let keys: BTreeSet<&Key> =
        one.keys().chain(other.keys()).filter(|key| wanted(&key.of) || key.with.as_ref().is_some_and(wanted)).collect();
    let mut found = Comparison {
        rows: Vec::new(),
        only_a: Vec::new(),
        only_b: Vec::new(),
        bodies_only_a: bodies(&one, &other, wanted),
        bodies_only_b: bodies(&other, &one, wanted),
    };
    for key in keys {
        match (one.pooled(key), other.pooled(key)) {
            (Some(a), Some(b)) => {
                let effect = effect::effect(key, &a, &b, options.same_piece);
                let difference = if effect.standing == Standing::Same { 0.0 } else { b.mean - a.mean };
                let (a, b) = (side(&one, key, a, difference < 0.0), side(&other, key, b, difference > 0.0));
                let (x, y) = (breadth(&one, &a), breadth(&other, &b));
                let breadth = if key.unit.is_share() { x.max(y) } else { x.min(y) };
                found.rows.push(Difference { key: key.clone(), a, b, breadth, difference, effect });
            }
            (Some(a), None) => found.only_a.push(Lone { key: key.clone(), side: side(&one, key, a, true) }),
            (None, Some(b)) => found.only_b.push(Lone { key: key.clone(), side: side(&other, key, b, true) }),
            (None, None) => {}
        }
    }
    leave_out_repeated(&mut found.rows);
    found.rows.sort_by(|x, y| x.place().cmp(&y.place()).then(y.weight().total_cmp(&x.weight())).then(x.key.cmp(&y.key)));
    found
}

fn bodies(of: &Index<'_>, other: &Index<'_>, wanted: impl Fn(&Whom) -> bool) -> Vec<Whom> {
    let all: BTreeSet<&Whom> = of.keys().map(|key| &key.of).collect();
    all.into_iter().filter(|whom| wanted(whom) && of.has(whom) && !other.has(whom)).cloned().collect()
}

fn side(index: &Index<'_>, key: &Key, pooled: Pooled, highest_first: bool) -> Side {
    let scores = pooled.of_works.iter().flat_map(|work| &work.scores);
    let of_score = |&score: &usize| {
        let (value, _) = index.value(key, score)?;
        Some(Evidence { score, value, bars: index.bars(key, score).to_vec() })
    };
    let mut evidence: Vec<Evidence> = scores.filter_map(of_score).collect();
    evidence.sort_by(|x, y| {
        let order = x.value.total_cmp(&y.value);
        (if highest_first { order.reverse() } else { order }).then(x.score.cmp(&y.score))
    });
    Side { pooled, evidence }
}

/// Bars behind a side, of all bars of its scores.
fn breadth(index: &Index<'_>, side: &Side) -> f64 {
    let behind = side.evidence.iter().flat_map(|evidence| &evidence.bars).map(|span| span.1 - span.0 + 1);
    let all = side.evidence.iter().map(|evidence| index.profile.scores[evidence.score].bars);
    f64::from(behind.sum::<u32>()) / f64::from(all.sum::<u32>().max(1))
}

/// A section that is the only one of its family, or an instrument that is the only one of its section, is said once: as the section.
fn leave_out_repeated(rows: &mut Vec<Difference>) {
    type Bare<'a> = (&'a str, &'a str, crate::Counted, Option<&'a str>);
    fn bare(row: &Difference) -> Bare<'_> {
        let with = row
            .key
            .with
            .as_ref()
            .map(|with| if with.kind == Kind::Instrument { with.section.as_str() } else { with.name.as_str() });
        (&row.key.measure, &row.key.aspect, row.key.unit, with)
    }
    let mut of_sections: BTreeMap<Bare<'_>, Vec<usize>> = BTreeMap::new();
    for (at, row) in rows.iter().enumerate().filter(|(_, row)| row.key.of.kind == Kind::Section) {
        of_sections.entry(bare(row)).or_default().push(at);
    }
    let alike = |x: f64, y: f64| (x - y).abs() < 1e-9;
    let repeats = |row: &Difference| {
        let whom = &row.key.of;
        let same = |at: &usize| {
            let other = &rows[*at];
            let within = match whom.kind {
                Kind::Family => other.key.of.family == whom.name,
                Kind::Instrument => other.key.of.name == whom.section,
                Kind::Score | Kind::Section | Kind::Group => false,
            };
            within && alike(row.a.pooled.mean, other.a.pooled.mean) && alike(row.b.pooled.mean, other.b.pooled.mean)
        };
        row.effect.standing != Standing::Same && of_sections.get(&bare(row)).is_some_and(|sections| sections.iter().any(same))
    };
    let keep: Vec<bool> = rows.iter().map(|row| !repeats(row)).collect();
    let mut keep = keep.into_iter();
    rows.retain(|_| keep.next().unwrap_or(true));
}

impl Difference {
    /// Clear ones first, extremes after what holds over the whole piece, then what is not claimed.
    fn place(&self) -> (Standing, bool) {
        (self.effect.standing, self.key.is_extreme())
    }

    /// By what differences are ordered: the effect, up to four; little of it where the difference is little on the unit's own scale, however
    /// steady it is (98 % against 99 % of the bars is nothing to learn from), or rests on few bars (by the root of [`Self::breadth`]); half of it where
    /// another value says the same more plainly ([`Key::is_secondary`]), and for single instruments beside sections; and less of what tells less of
    /// scoring ([`Key::interest`]).
    #[must_use]
    pub fn weight(&self) -> f64 {
        let own = own_scale(self.key.unit, self.a.pooled.mean, self.b.pooled.mean).abs();
        let half = |yes: bool| if yes { 0.5 } else { 1.0 };
        let plain = half(self.key.is_secondary()) * half(self.key.of.kind == Kind::Instrument) * self.key.interest();
        self.effect.size.abs().min(4.0) * own / (own + 0.2) * self.breadth.sqrt() * plain
    }

    /// A plain word on what the row rests on.
    #[must_use]
    pub fn sample(&self) -> String {
        let (a, b) = (&self.a.pooled, &self.b.pooled);
        match (a.works(), b.works()) {
            (1, 1) => "one work each".to_owned(),
            (x, y) if a.is_small() || b.is_small() => format!("few works: {x} and {y}"),
            (x, y) => format!("{x} and {y} works"),
        }
    }
}

/// What is little on the unit's own scale is not shown first, however steady it is.
const LITTLE: f64 = 0.2;
/// Nor is what tells little of scoring.
const WORTH: f64 = 0.3;

impl Comparison {
    /// How many rows stand clear of noise.
    #[must_use]
    pub fn clear(&self) -> usize {
        self.rows.iter().filter(|row| row.effect.standing == Standing::Clear).count()
    }

    /// How many rows could be judged: they differ, and their noise is known.
    #[must_use]
    pub fn judged(&self) -> usize {
        self.rows.iter().filter(|row| row.effect.error.is_some()).count()
    }

    /// The first page: the largest clear differences, of those that say the same thing the largest, no more than two of one body and
    /// of one measure and kind of body, no single extremes and nothing little.
    #[must_use]
    pub fn leading(&self, most: usize) -> Vec<&Difference> {
        self.leading_of(most, |_| true)
    }

    /// [`Self::leading`] of the keys that are wanted.
    #[must_use]
    pub fn leading_of(&self, most: usize, wanted: impl Fn(&Key) -> bool) -> Vec<&Difference> {
        let mut told: BTreeSet<(&str, &Whom, Option<&Whom>)> = BTreeSet::new();
        let mut of_body: BTreeMap<&Whom, usize> = BTreeMap::new();
        let mut of_measure: BTreeMap<(&str, Kind), usize> = BTreeMap::new();
        let mut page = Vec::new();
        for row in self.rows.iter().filter(|row| row.effect.standing == Standing::Clear && !row.key.is_extreme()) {
            let key = &row.key;
            let little = own_scale(key.unit, row.a.pooled.mean, row.b.pooled.mean).abs() < LITTLE;
            if little || !wanted(key) || key.interest() < WORTH {
                continue;
            }
            if page.len() == most {
                break;
            }
            let bodies = || [Some(&key.of), key.with.as_ref()].into_iter().flatten();
            let measure = (key.measure.as_str(), key.of.kind);
            let crowded = bodies().any(|whom| of_body.get(whom).is_some_and(|&count| count >= 2))
                || of_measure.get(&measure).is_some_and(|&count| count >= 2);
            // How much a section is used beside its family says again how much it is there.
            let topic = if key.aspect == "use" { "presence" } else { key.measure.as_str() };
            if !crowded && told.insert((topic, &key.of, key.with.as_ref())) {
                bodies().for_each(|whom| *of_body.entry(whom).or_default() += 1);
                *of_measure.entry(measure).or_default() += 1;
                page.push(row);
            }
        }
        page
    }
}
