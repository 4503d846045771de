//! Numbers for hairpins.
//!
//! In the score a number pairs start and stop within a staff, and nested hairpins may share one; in MusicXML it must tell apart all
//! that are open in the part at a time, up to sixteen. So they are numbered anew, in the order they stand.
//! Dashes are written as dashes where the word they go on from stands before them in the bar; without it nobody could tell what they mean,
//! and they are drawn as the hairpin they stand for.

use std::collections::BTreeMap;

use ripieno_score::{Direction, DirectionKind, Part};

use super::super::directions::swell_in_words;

/// How each hairpin direction is written, by its place in [`Part::directions`].
#[derive(Default)]
pub(super) struct Hairpins(BTreeMap<usize, Drawn>);

/// How one end of a hairpin is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Drawn {
    /// 1 to 16.
    pub level: u8,
    pub dashes: bool,
}

/// Levels MusicXML has.
const LEVELS: std::ops::RangeInclusive<u8> = 1..=16;

impl Hairpins {
    pub(super) fn new(part: &Part) -> Self {
        let mut drawings = BTreeMap::new();
        let mut open: BTreeMap<(u8, u8), Vec<Drawn>> = BTreeMap::new();
        let mut taken = [0u32; 17];
        for (index, direction) in part.directions.iter().enumerate() {
            match direction.kind {
                DirectionKind::HairpinStart { number, dashes, .. } => {
                    let free = LEVELS.min_by_key(|&level| (taken[usize::from(level)], level)).unwrap_or(1);
                    taken[usize::from(free)] += 1;
                    let drawn = Drawn { level: free, dashes: dashes && follows_words(&part.directions[..index], direction) };
                    open.entry((direction.staff, number)).or_default().push(drawn);
                    drawings.insert(index, drawn);
                }
                DirectionKind::HairpinStop { number, dashes, .. } => {
                    // One that closes nothing must not seem to close another.
                    let own = open.get_mut(&(direction.staff, number)).and_then(Vec::pop);
                    let unused = || LEVELS.rev().min_by_key(|&level| taken[usize::from(level)]).unwrap_or(16);
                    let drawn = own.unwrap_or_else(|| Drawn { level: unused(), dashes });
                    if own.is_some() {
                        taken[usize::from(drawn.level)] -= 1;
                    }
                    drawings.insert(index, drawn);
                }
                _ => {}
            }
        }
        Self(drawings)
    }

    /// How the hairpin at this place is written; anything for anything else.
    pub(super) fn drawn(&self, index: usize) -> Drawn {
        self.0.get(&index).copied().unwrap_or(Drawn { level: 1, dashes: false })
    }
}

/// Whether the last words before these dashes in their bar, on whichever staff, swell: a reader can only take the nearest.
fn follows_words(before: &[Direction], dashes: &Direction) -> bool {
    let mut here = before.iter().rev().take_while(|direction| direction.bar == dashes.bar);
    let words = here.find_map(|direction| match &direction.kind {
        DirectionKind::Words(text) => Some(&**text),
        _ => None,
    });
    words.is_some_and(|text| swell_in_words(text).is_some())
}

#[cfg(test)]
mod tests {
    use ripieno_score::{BarIndex, Crotchets, Direction, Swell};

    use super::*;

    #[test]
    fn hairpins_open_together_have_levels_of_their_own() {
        let opens = |number| DirectionKind::HairpinStart { swell: Swell::Crescendo, number, niente: false, dashes: false };
        let closes = |number| DirectionKind::HairpinStop { number, niente: false, dashes: false };
        let direction =
            |(staff, kind)| Direction { bar: BarIndex(0), at: Crotchets::ZERO, staff, voice: None, above: None, kind };
        let kinds =
            [(1, opens(1)), (2, opens(1)), (2, closes(7)), (1, closes(1)), (1, opens(101)), (2, closes(1)), (1, closes(101))];
        let part = Part { directions: kinds.into_iter().map(direction).collect(), ..Part::default() };
        let hairpins = Hairpins::new(&part);
        let levels: Vec<u8> = (0..7).map(|index| hairpins.drawn(index).level).collect();
        assert_eq!(levels, [1, 2, 16, 1, 1, 2, 1]);
    }

    #[test]
    fn dashes_are_dashes_only_after_the_words_they_go_on_from() {
        let opens = DirectionKind::HairpinStart { swell: Swell::Crescendo, number: 101, niente: false, dashes: true };
        let words = |text: &str| DirectionKind::Words(text.into());
        let direction = |kind| Direction { bar: BarIndex(0), at: Crotchets::ZERO, staff: 1, voice: None, above: None, kind };
        for (before, dashed) in [
            (vec![words("cresc.")], true),
            (vec![words("dolce"), words("poco a poco cresc.")], true),
            (vec![words("poco a poco cresc."), words("dolce")], false),
            (vec![], false),
        ] {
            let directions: Vec<Direction> = before.into_iter().chain([opens.clone()]).map(direction).collect();
            let last = directions.len() - 1;
            let part = Part { directions, ..Part::default() };
            assert_eq!(Hairpins::new(&part).drawn(last).dashes, dashed);
        }
    }
}
