//! Charting on a grid: one statement laid over the others.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Score};

use crate::model::{Chart, Row};
use crate::place::Span;
use crate::settle::{Fault, Settled};

/// Times.
type Times = Vec<(Crotchets, Crotchets)>;

impl Chart {
    /// Lays a row over the chart: it takes the time it speaks of from the rows before it, of which only what still holds stays. A row of
    /// silence leaves nothing behind but silence. Rows that say the same become one.
    ///
    /// # Errors
    /// As [`Chart::settle`]; the chart is then as it was.
    pub fn lay(&mut self, row: Row) -> Result<(), Vec<Fault>> {
        let mut next = self.clone();
        next.rows.push(row);
        let settled = next.settle()?;
        next.rows = next.what_holds(&settled);
        *self = next;
        Ok(())
    }

    /// The rows with only those times that none takes from them.
    fn what_holds(&self, settled: &Settled) -> Vec<Row> {
        let mut of_row: BTreeMap<usize, BTreeMap<usize, Times>> = BTreeMap::new();
        let notes = &settled.sounding.notes;
        for (at, &row) in settled.said.iter().enumerate() {
            let time = (notes.onset[at], notes.onset[at] + notes.duration[at]);
            of_row.entry(row).or_default().entry(usize::from(notes.part[at])).or_default().push(time);
        }
        let mut rows: Vec<Row> = Vec::new();
        for (index, row) in self.rows.iter().enumerate() {
            if row.roles.is_empty() {
                rows.push(row.clone());
                continue;
            }
            // Parts that keep the same times stay together.
            let mut groups: Vec<(Times, Vec<usize>)> = Vec::new();
            for (part, times) in of_row.remove(&index).unwrap_or_default() {
                let times = joined(times);
                match groups.iter_mut().find(|(others, _)| *others == times) {
                    Some((_, parts)) => parts.push(part),
                    None => groups.push((times, vec![part])),
                }
            }
            let whole = groups.len() == 1;
            for (times, parts) in groups {
                let named = parts.iter().map(|&part| settled.score.parts[part].name.clone()).collect();
                // As a person called them, as long as those are meant.
                let who = if whole && row_means(row, &parts, settled) { row.who.clone() } else { named };
                add(&mut rows, Row { who, bars: Vec::new(), ..row.clone() }, times, &settled.score);
            }
        }
        rows
    }
}

/// Whether the parts that are left of a row are all it names.
fn row_means(row: &Row, parts: &[usize], settled: &Settled) -> bool {
    let chairs: Vec<_> = settled.score.parts.iter().map(ripieno_instruments::called::Chair::from).collect();
    let mut meant: Vec<usize> =
        row.who.iter().filter_map(|who| ripieno_instruments::called::called(&chairs, who).ok()).flatten().collect();
    meant.sort_unstable();
    meant.dedup();
    meant == parts
}

/// Adds a row, or its times to one that says the same.
fn add(rows: &mut Vec<Row>, row: Row, mut times: Times, score: &Score) {
    let same = |other: &&mut Row| !other.roles.is_empty() && Row { bars: Vec::new(), ..(**other).clone() } == row;
    let earlier = rows.iter_mut().find(same);
    if let Some(other) = &earlier {
        times.extend(other.bars.iter().filter_map(|span| span.settle(score).ok()));
    }
    let bars = joined(times).into_iter().map(|(from, to)| Span::between(score, from, to)).collect();
    match earlier {
        Some(other) => other.bars = bars,
        None => rows.push(Row { bars, ..row }),
    }
}

/// In order, those that touch as one.
fn joined(mut times: Times) -> Times {
    times.sort_unstable();
    let mut joined: Times = Vec::new();
    for (from, to) in times {
        match joined.last_mut().filter(|last| last.1 >= from) {
            Some(last) => last.1 = last.1.max(to),
            None => joined.push((from, to)),
        }
    }
    joined
}
