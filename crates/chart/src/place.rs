//! Places in a chart: "35", "35-45", "35:2-45:7/2", "#34".

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
    pub fn settle(&self, score: &Score) -> Result<(Crotchets, Crotchets), String> {
        let (first, last) = (find(score, &self.from)?, find(score, &self.to)?);
        let from = score.bars[first].start + self.from.at.unwrap_or(Crotchets::ZERO);
        let to = score.bars[last].start + self.to.at.unwrap_or(score.bars[last].length);
        if to > from {
            return Ok((from, to));
        }
        Err(format!("“{self}” ends before it begins; give the earlier bar first"))
    }
}

fn find(score: &Score, edge: &Edge) -> Result<usize, String> {
    let mut numbered = (0..score.bars.len()).filter(|&at| *score.bars[at].number == *edge.bar);
    let at = match edge.bar.strip_prefix('#').map(str::parse::<usize>) {
        Some(place) => place.ok().filter(|&at| at < score.bars.len()),
        None => numbered.next(),
    };
    let Some(at) = at else {
        let number = |at: usize| score.bars.get(at).map_or("", |bar| &bar.number);
        let (first, last) = (number(0), number(score.bars.len().saturating_sub(1)));
        return Err(format!("there is no bar {}; the bars are {first} to {last}", edge.bar));
    };
    if let Some(other) = numbered.next() {
        return Err(format!("the number {} is printed twice; say #{at} or #{other}, the place counted from 0", edge.bar));
    }
    match edge.at.filter(|place| *place > score.bars[at].length) {
        Some(place) => Err(format!("bar {} has {} crotchets, so {place} lies beyond it", edge.bar, score.bars[at].length)),
        None => Ok(at),
    }
}

impl Span {
    /// What a chart calls a time of the score, each bar once in the order of the page. Moments beyond the end are its end.
    #[must_use]
    pub fn between(score: &Score, from: Crotchets, to: Crotchets) -> Self {
        let to = to.min(score.length());
        let first = score.bars.partition_point(|bar| bar.start <= from).saturating_sub(1);
        let last = score.bars.partition_point(|bar| bar.start < to).saturating_sub(1).max(first);
        let edge = |at: usize, position: Option<Crotchets>| Edge { bar: word(score, at), at: position };
        let start = |at: usize| score.bars.get(at).map_or(Crotchets::ZERO, |bar| bar.start);
        let (begins, ends) = (from - start(first), to - start(last));
        let whole = score.bars.get(last).is_none_or(|bar| ends >= bar.length);
        Self { from: edge(first, begins.is_positive().then_some(begins)), to: edge(last, (!whole).then_some(ends)) }
    }
}

/// A bar's printed number where that names it and nothing else, else its place.
fn word(score: &Score, at: usize) -> String {
    let number = score.bars.get(at).map_or("", |bar| &bar.number);
    let plain = !number.is_empty() && number.chars().all(char::is_alphanumeric);
    let once = || score.bars.iter().filter(|other| *other.number == *number).count() == 1;
    if plain && once() { number.to_owned() } else { format!("#{at}") }
}
