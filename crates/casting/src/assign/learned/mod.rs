//! Who does what, as learned from scores: how likely a section has each strand, given the whole sketch of a phrase and everybody who plays.
//!
//! What is read: [`casting_table`]. What was learned, from which scores, how well, and how to learn it again: `model/casting/README.md`.

mod network;
mod table;

use std::sync::{Arc, OnceLock};

use crate::habits::Habits;
use network::Model;
pub use table::{CastingTable, casting_table};

/// What was learned from scores, and what sections usually do in them.
#[derive(Debug, Clone)]
pub struct Learned {
    model: Arc<Model>,
    habits: Arc<Habits>,
}

impl PartialEq for Learned {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.model, &other.model) && self.habits == other.habits
    }
}

impl Learned {
    /// What comes with the program.
    #[must_use]
    pub fn usual() -> Self {
        static USUAL: OnceLock<Learned> = OnceLock::new();
        #[allow(clippy::expect_used)] // compiled in, and a test reads it
        let learned =
            || Self::read(include_bytes!("../../../data/roles.model"), Habits::usual()).expect("the model file fits the program");
        USUAL.get_or_init(learned).clone()
    }

    /// A model file, and the habits of the scores it was learned from; `None` where it is none.
    #[must_use]
    pub fn read(file: &[u8], habits: Habits) -> Option<Self> {
        Some(Self { model: Arc::new(Model::parse(file)?), habits: Arc::new(habits) })
    }

    /// What sections usually do in the scores it was learned from.
    #[must_use]
    pub fn habits(&self) -> &Habits {
        &self.habits
    }

    /// For each group and strand of a table, `[group * strands + strand]`, the logarithm of how likely the group has the strand if those of `company` play and nobody else.
    /// Of several strands of one role the likeliest counts as likely as the role, the others as much less as they are less likely than it.
    ///
    /// # Panics
    ///
    /// Where the rows of a table have another length than [`casting_table`] gives them.
    #[must_use]
    pub fn logs(&self, table: &CastingTable, company: &[bool]) -> Vec<f64> {
        self.model.answer(table, company)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against numpy (`model/casting/reference.py`), which reads the model file by itself, on a made-up phrase.
    #[test]
    fn the_answers_equal_the_reference() {
        let learned = Learned::usual();
        let [groups, strands, pairs] = learned.model.numbers();
        let made_up = |rows: usize, width: usize, salt: usize| -> Vec<Vec<f32>> {
            let number = |at: usize, column: usize| ((at * 37 + column * 101 + at * column + salt) % 641) as f32 / 256.0 - 1.25;
            (0..rows).map(|at| (0..width).map(|column| number(at, column)).collect()).collect()
        };
        let table = CastingTable {
            kinds: vec!["violins", "horns", "kazoos", "double basses"],
            groups: made_up(4, groups, 1),
            strands: made_up(4, strands, 2),
            pairs: made_up(16, pairs, 3),
        };
        let ours = learned.logs(&table, &[true; 4]);
        let theirs: Vec<f64> =
            include_str!("../../../tests/learned/logs.txt").split_whitespace().filter_map(|word| word.parse().ok()).collect();
        assert_eq!(ours.len(), theirs.len());
        for (ours, theirs) in ours.iter().zip(&theirs) {
            assert!((ours - theirs).abs() < 1e-3, "{ours} is not {theirs}");
        }
        // Whoever does not play has no part in it.
        let fewer = learned.logs(&table, &[true, true, true, false]);
        assert_eq!(fewer[12..], [0.0; 4]);
        let of_first: f64 = fewer[..4].iter().map(|log| log.exp()).sum();
        assert!((of_first - 1.0).abs() < 1e-9 && fewer[..12] != ours[..12]);
    }

    #[test]
    fn a_cut_or_longer_file_is_refused_and_one_of_other_tables() {
        let bytes = include_bytes!("../../../data/roles.model");
        let end = bytes.windows(2).position(|two| two == b"\n\n").expect("a head");
        let head = std::str::from_utf8(&bytes[..end]).expect("text").replacen("size 38 91 56", "size 38 90 56", 1);
        assert!(Learned::read(&[head.as_bytes(), &bytes[end..]].concat(), Habits::default()).is_none());
        let read = |bytes: &[u8]| Learned::read(bytes, Habits::default());
        assert!(read(bytes).is_some());
        assert!(read(&bytes[..bytes.len() - 1]).is_none());
        assert!(read(&[bytes.as_slice(), b"\0\0"].concat()).is_none());
        assert!(read(b"").is_none());
    }
}
