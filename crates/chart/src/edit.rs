//! Charting on a grid: one statement laid over the others.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::Crotchets;

use crate::called::People;
use crate::model::{Chart, Row};
use crate::place::{Places, Span};
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
        let mut people = People::of(&settled.score);
        let mut held = Held::default();
        for (index, row) in self.rows.iter().enumerate() {
            if row.roles.is_empty() {
                held.rows.push((row.clone(), None));
                continue;
            }
            // Parts that keep the same times stay together.
            let mut groups: BTreeMap<Times, Vec<usize>> = BTreeMap::new();
            for (part, times) in of_row.remove(&index).unwrap_or_default() {
                groups.entry(joined(times)).or_default().push(part);
            }
            let whole = groups.len() == 1;
            let mut groups: Vec<(Times, Vec<usize>)> = groups.into_iter().collect();
            groups.sort_by_key(|(_, parts)| parts.first().copied());
            for (times, parts) in groups {
                let named = parts.iter().map(|&part| settled.score.parts[part].name.clone()).collect();
                // As a person called them, as long as those are meant.
                let who = if whole && row_means(row, &parts, &mut people) { row.who.clone() } else { named };
                held.add(without_bars(row, who), times);
            }
        }
        held.rows(&Places::of(&settled.score))
    }
}

/// Whether the parts that are left of a row are all it names.
fn row_means(row: &Row, parts: &[usize], people: &mut People<'_>) -> bool {
    let mut meant: BTreeSet<usize> = BTreeSet::new();
    for who in &row.who {
        meant.extend(people.called(who).unwrap_or_default());
    }
    meant.iter().eq(parts)
}

/// What a row says, but for when.
fn without_bars(row: &Row, who: Vec<String>) -> Row {
    let Row { line, lead, manner, dynamic, players, confidence, .. } = *row;
    Row {
        who,
        line,
        bars: Vec::new(),
        roles: row.roles.clone(),
        lead,
        manner,
        layer: row.layer.clone(),
        dynamic,
        players,
        doubles: row.doubles.clone(),
        register: row.register.clone(),
        confidence,
        remark: row.remark.clone(),
        comments: row.comments.clone(),
    }
}

/// Rows with their times; those without keep their bars.
#[derive(Default)]
struct Held {
    rows: Vec<(Row, Option<Times>)>,
    /// Where the row is that says something, by what it says.
    saying: BTreeMap<String, usize>,
}

impl Held {
    /// Adds a row, or its times to one that says the same.
    fn add(&mut self, row: Row, times: Times) {
        let at = *self.saying.entry(format!("{row:?}")).or_insert(self.rows.len());
        match self.rows.get_mut(at) {
            Some((_, Some(others))) => others.extend(times),
            _ => self.rows.push((row, Some(times))),
        }
    }

    fn rows(self, places: &Places<'_>) -> Vec<Row> {
        let span = |(from, to)| Span::between(places, from, to);
        let settled = |(row, times): (Row, Option<Times>)| match times {
            Some(times) => Row { bars: joined(times).into_iter().map(span).collect(), ..row },
            None => row,
        };
        self.rows.into_iter().map(settled).collect()
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
