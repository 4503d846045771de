//! Places in a chart: "35", "35-45", "35:2-45:7/2", "#34".

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use ripieno_score::{Crotchets, Score};

/// A bar, and where in it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Edge {
    /// The printed number, or `#` and the place counted from 0 where a number is printed twice.
    pub bar: String,
    /// Crotchets from the barline; `None` is the whole bar.
    pub at: Option<Crotchets>,
}

/// From one edge to another: whole bars, the last included, or up to a position, that itself not included.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Span {
    /// Where it begins.
    pub from: Edge,
    /// Where it ends.
    pub to: Edge,
}

impl fmt::Display for Edge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.bar)?;
        self.at.map_or(Ok(()), |at| write!(f, ":{at}"))
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // "35:2" alone goes on to the end of the bar, as a span from it to the whole bar does.
        if self.from.bar == self.to.bar && self.to.at.is_none() {
            self.from.fmt(f)
        } else {
            write!(f, "{}-{}", self.from, self.to)
        }
    }
}

impl FromStr for Edge {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (bar, at) = text.trim().split_once(':').map_or((text, None), |(bar, at)| (bar, Some(at)));
        let bar = bar.trim();
        if bar.is_empty() {
            return Err(format!("“{text}” names no bar; give a printed number, such as 35"));
        }
        let position = |at: &str| {
            let at: Option<Crotchets> = at.trim().parse().ok().filter(|at: &Crotchets| *at >= Crotchets::ZERO);
            at.ok_or_else(|| {
                format!("“{text}” has no position after the colon; give crotchets from the barline, such as 35:2 or 35:7/2")
            })
        };
        Ok(Self { bar: bar.to_owned(), at: at.map(position).transpose()? })
    }
}

impl FromStr for Span {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text.split_once(['-', '\u{2013}']) {
            None => {
                let from: Edge = text.parse()?;
                let to = Edge { at: None, ..from.clone() };
                Ok(Self { from, to })
            }
            Some((from, to)) => Ok(Self { from: from.parse()?, to: to.parse()? }),
        }
    }
}

impl Span {
    /// Several spans, as they stand in a row: "1-4, 9".
    ///
    /// # Errors
    /// A sentence about the one that cannot be understood.
    pub fn list(text: &str) -> Result<Vec<Self>, String> {
        text.split(',').map(str::trim).filter(|one| !one.is_empty()).map(str::parse).collect()
    }

    /// Moments from the start of the piece, in the order of the page.
    ///
    /// # Errors
    /// A sentence: a bar that is not there, a number that is printed twice, a position beyond the bar, an end before the beginning.
    pub fn settle(&self, places: &Places<'_>) -> Result<(Crotchets, Crotchets), String> {
        let (first, last) = (places.find(&self.from)?, places.find(&self.to)?);
        let bars = &places.score.bars;
        let from = bars[first].start + self.from.at.unwrap_or(Crotchets::ZERO);
        let to = bars[last].start + self.to.at.unwrap_or(bars[last].length);
        if to > from {
            return Ok((from, to));
        }
        Err(format!("“{self}” ends before it begins; give the earlier bar first"))
    }

    /// What a chart calls a time of the score, each bar once in the order of the page. Moments beyond the end are its end.
    #[must_use]
    pub fn between(places: &Places<'_>, from: Crotchets, to: Crotchets) -> Self {
        let score = places.score;
        let to = to.min(score.length());
        let first = score.bars.partition_point(|bar| bar.start <= from).saturating_sub(1);
        let last = score.bars.partition_point(|bar| bar.start < to).saturating_sub(1).max(first);
        let edge = |at: usize, position: Option<Crotchets>| Edge { bar: places.word(at), at: position };
        let start = |at: usize| score.bars.get(at).map_or(Crotchets::ZERO, |bar| bar.start);
        let (begins, ends) = (from - start(first), to - start(last));
        let whole = score.bars.get(last).is_none_or(|bar| ends >= bar.length);
        Self { from: edge(first, begins.is_positive().then_some(begins)), to: edge(last, (!whole).then_some(ends)) }
    }
}

/// The bars of a score by their printed numbers.
#[derive(Debug)]
pub struct Places<'a> {
    score: &'a Score,
    /// By number the first place that has it, and the second if there is one.
    numbered: BTreeMap<&'a str, (usize, Option<usize>)>,
}

impl<'a> Places<'a> {
    /// Of a score.
    #[must_use]
    pub fn of(score: &'a Score) -> Self {
        let mut numbered: BTreeMap<&str, (usize, Option<usize>)> = BTreeMap::new();
        for (at, bar) in score.bars.iter().enumerate() {
            numbered.entry(&*bar.number).and_modify(|places| places.1 = places.1.or(Some(at))).or_insert((at, None));
        }
        Self { score, numbered }
    }

    fn find(&self, edge: &Edge) -> Result<usize, String> {
        let bars = &self.score.bars;
        let (at, other) = match edge.bar.strip_prefix('#').map(str::parse::<usize>) {
            Some(place) => (place.ok().filter(|&at| at < bars.len()), None),
            None => self.numbered.get(&*edge.bar).map_or((None, None), |&(at, other)| (Some(at), other)),
        };
        let Some(at) = at else {
            let number = |at: usize| bars.get(at).map_or("", |bar| &bar.number);
            let (first, last) = (number(0), number(bars.len().saturating_sub(1)));
            return Err(format!("there is no bar {}; the bars are {first} to {last}", edge.bar));
        };
        if let Some(other) = other {
            return Err(format!("the number {} is printed twice; say #{at} or #{other}, the place counted from 0", edge.bar));
        }
        match edge.at.filter(|place| *place > bars[at].length) {
            Some(place) => Err(format!("bar {} has {} crotchets, so {place} lies beyond it", edge.bar, bars[at].length)),
            None => Ok(at),
        }
    }

    /// A bar's printed number where that names it and nothing else, else its place.
    fn word(&self, at: usize) -> String {
        let number = self.score.bars.get(at).map_or("", |bar| &bar.number);
        let plain = !number.is_empty() && number.chars().all(char::is_alphanumeric);
        let once = || self.numbered.get(number).is_some_and(|places| places.1.is_none());
        if plain && once() { number.to_owned() } else { format!("#{at}") }
    }
}
