//! Whom a word of a chart means: each word is looked up once, however many rows say it.

use std::collections::BTreeMap;

use ripieno_instruments::called::{Chair, called};
use ripieno_score::Score;

/// Most different words for players.
const MOST_WORDS: usize = 10_000;
/// Longest name, in characters.
pub(crate) const LONGEST: usize = 200;

/// The parts of a score by what they are called.
pub(crate) struct People<'a> {
    chairs: Vec<Chair<'a>>,
    known: BTreeMap<String, Result<Vec<usize>, String>>,
}

impl<'a> People<'a> {
    pub fn of(score: &'a Score) -> Self {
        Self { chairs: score.parts.iter().map(Chair::from).collect(), known: BTreeMap::new() }
    }

    /// The parts a word means.
    ///
    /// # Errors
    /// A sentence.
    pub fn called(&mut self, who: &str) -> Result<&[usize], String> {
        if !self.known.contains_key(who) {
            if self.known.len() >= MOST_WORDS {
                return Err(format!(
                    "the chart has more than {MOST_WORDS} different words for players; call the same always the same"
                ));
            }
            let found = if who.chars().nth(LONGEST).is_some() {
                Err(format!("a name of players has at most {LONGEST} characters"))
            } else {
                called(&self.chairs, who).map_err(|nobody| nobody.to_string())
            };
            self.known.insert(who.to_owned(), found);
        }
        match self.known.get(who) {
            Some(Ok(parts)) => Ok(parts),
            Some(Err(what)) => Err(what.clone()),
            None => Ok(&[]),
        }
    }
}
