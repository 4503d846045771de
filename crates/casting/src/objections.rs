//! What the players of a line-up object to in a score cast for them, each at the level the line-up gives.

use ripieno_players::{Level, Objection, Options, check};
use ripieno_score::{Score, Sounding, Unroll};

use crate::lineup::Lineup;

/// Everything players, conductor and copyist would object to in a score made by [`crate::Cast::score`] for this line-up, in the order of bars, then of parts. Every part is
/// judged at the level of its section. In a score with other parts than that, everybody is judged at the least of the levels.
#[must_use]
pub fn objections(score: &Score, lineup: &Lineup) -> Vec<Objection> {
    let of_part = of_parts(lineup);
    let sounding = Sounding::new(score, Unroll::AsPlayed);
    let mut levels: Vec<Level> = of_part.clone();
    levels.sort_unstable();
    levels.dedup();
    if of_part.len() != score.parts.len() {
        let least = levels.last().copied().unwrap_or_default();
        return check(score, &sounding, &Options { level: least, only: Vec::new() });
    }
    let at = |level: Level| {
        let all = check(score, &sounding, &Options { level, only: Vec::new() });
        let of_part = &of_part;
        all.into_iter().filter(move |one| of_part.get(one.part) == Some(&level))
    };
    let mut found: Vec<Objection> = levels.into_iter().flat_map(at).collect();
    // Each level's are in order already; this brings them together.
    found.sort_by_key(|one| (one.bar, one.at, one.part));
    found
}

/// The level of each part of a score cast for a line-up: one part for a body, one for each player elsewhere.
fn of_parts(lineup: &Lineup) -> Vec<Level> {
    let parts = |section: &crate::lineup::LineupSection| {
        std::iter::repeat_n(section.level, if section.is_body { 1 } else { section.chairs.len() })
    };
    lineup.sections.iter().flat_map(parts).collect()
}
