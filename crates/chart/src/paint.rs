//! Rows laid over each other: a later one wins.

use std::collections::BTreeMap;

use ripieno_score::Crotchets;

/// What a line does for a while.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Stretch {
    pub from: Crotchets,
    pub to: Crotchets,
    /// The row, index into [`crate::Chart::rows`].
    pub row: usize,
}

/// One line on its way.
#[derive(Debug, Clone, Default)]
pub(crate) struct Painted(BTreeMap<Crotchets, (Crotchets, usize)>);

impl Painted {
    /// Takes a time away from whoever had it, and gives it to a row; `None` leaves it silent. Answers one of the rows that lost some.
    pub fn lay(&mut self, from: Crotchets, to: Crotchets, row: Option<usize>) -> Option<usize> {
        let mut lost = None;
        let before = self.0.range(..from).next_back().map(|(&start, &(end, row))| (start, end, row));
        if let Some((start, end, other)) = before.filter(|before| before.1 > from) {
            lost = Some(other);
            self.0.insert(start, (from, other));
            if end > to {
                self.0.insert(to, (end, other));
            }
        }
        while let Some((&start, &(end, other))) = self.0.range(from..to).next() {
            lost = Some(other);
            self.0.remove(&start);
            if end > to {
                self.0.insert(to, (end, other));
            }
        }
        if let Some(row) = row {
            self.0.insert(from, (to, row));
        }
        lost
    }

    /// By time, none overlapping.
    pub fn stretches(&self) -> impl Iterator<Item = Stretch> + '_ {
        self.0.iter().map(|(&from, &(to, row))| Stretch { from, to, row })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laid(rows: &[(i64, i64, Option<usize>)]) -> Vec<(i64, i64, usize)> {
        let mut painted = Painted::default();
        for &(from, to, row) in rows {
            painted.lay(Crotchets::whole(from), Crotchets::whole(to), row);
        }
        painted.stretches().map(|one| (one.from.numerator(), one.to.numerator(), one.row)).collect()
    }

    #[test]
    fn a_later_row_wins() {
        assert_eq!(laid(&[(0, 8, Some(0)), (2, 4, Some(1))]), [(0, 2, 0), (2, 4, 1), (4, 8, 0)]);
        assert_eq!(laid(&[(0, 4, Some(0)), (4, 8, Some(1)), (2, 6, None)]), [(0, 2, 0), (6, 8, 1)]);
        assert_eq!(laid(&[(2, 3, Some(0)), (4, 5, Some(1)), (0, 9, Some(2))]), [(0, 9, 2)]);
        assert_eq!(laid(&[(0, 4, Some(0)), (0, 2, Some(1))]), [(0, 2, 1), (2, 4, 0)]);
    }
}
