//! What the players of a line-up object to in a score cast for them, each at the level the line-up gives.

use ripieno_players::{Level, Objection, Options, check};
use ripieno_score::{Score, Sounding, Unroll};

use crate::build::part_names;
use crate::lineup::Lineup;

/// Everything players, conductor and copyist would object to in a score made by [`crate::Cast::score`] for this line-up, in the order of bars, then of parts. Every part is
/// judged at the level of its section, in a score with other parts than that at [`level_of_all`].
#[must_use]
pub fn objections(score: &Score, lineup: &Lineup) -> Vec<Objection> {
    let sounding = Sounding::new(score, Unroll::AsPlayed);
    if let Some(level) = level_of_all(score, lineup) {
        return check(score, &sounding, &Options { level, only: Vec::new() });
    }
    let of_part: Vec<Level> = of_parts(lineup).into_iter().map(|(_, level)| level).collect();
    let mut levels: Vec<Level> = of_part.clone();
    levels.sort_unstable();
    levels.dedup();
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

/// The least level of a line-up, at which everybody is judged in a score whose parts are not those of the line-up, by number, order and name: nobody
/// knows there who is who. `None` for a score that has them.
#[must_use]
pub fn level_of_all(score: &Score, lineup: &Lineup) -> Option<Level> {
    let of_part = of_parts(lineup);
    let words = |name: &str| name.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    let same = of_part.len() == score.parts.len()
        && of_part.iter().zip(&score.parts).all(|((name, _), part)| words(name) == words(&part.name));
    (!same).then(|| of_part.iter().map(|(_, level)| *level).max().unwrap_or_default())
}

/// Name and level of each part of a score cast for a line-up.
fn of_parts(lineup: &Lineup) -> Vec<(String, Level)> {
    let parts = |(section, names): (&crate::lineup::LineupSection, Vec<String>)| {
        let level = section.level;
        names.into_iter().map(move |name| (name, level))
    };
    lineup.sections.iter().zip(part_names(lineup)).flat_map(parts).collect()
}
