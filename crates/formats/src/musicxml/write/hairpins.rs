//! Numbers for hairpins.
//!
//! In the score a number pairs start and stop within a staff, and nested hairpins may share one; in MusicXML it must tell apart all
//! that are open in the part at a time, up to sixteen. So they are numbered anew, in the order they stand.

use std::collections::BTreeMap;

use ripieno_score::{DirectionKind, Part};

/// The level of each hairpin direction, by its place in [`Part::directions`].
#[derive(Default)]
pub(super) struct Hairpins(BTreeMap<usize, u8>);

/// Levels MusicXML has.
const LEVELS: std::ops::RangeInclusive<u8> = 1..=16;

impl Hairpins {
    pub(super) fn new(part: &Part) -> Self {
        let mut levels = BTreeMap::new();
        let mut open: BTreeMap<(u8, u8), Vec<u8>> = BTreeMap::new();
        let mut taken = [0u32; 17];
        for (index, direction) in part.directions.iter().enumerate() {
            match direction.kind {
                DirectionKind::HairpinStart { number, .. } => {
                    let free = LEVELS.min_by_key(|&level| (taken[usize::from(level)], level)).unwrap_or(1);
                    taken[usize::from(free)] += 1;
                    open.entry((direction.staff, number)).or_default().push(free);
                    levels.insert(index, free);
                }
                DirectionKind::HairpinStop { number, .. } => {
                    // One that closes nothing must not seem to close another.
                    let own = open.get_mut(&(direction.staff, number)).and_then(Vec::pop);
                    let level = own.or_else(|| LEVELS.rev().min_by_key(|&level| taken[usize::from(level)])).unwrap_or(16);
                    if own.is_some() {
                        taken[usize::from(level)] -= 1;
                    }
                    levels.insert(index, level);
                }
                _ => {}
            }
        }
        Self(levels)
    }

    /// The level of the hairpin at this place; 1 for anything else.
    pub(super) fn level(&self, index: usize) -> u8 {
        self.0.get(&index).copied().unwrap_or(1)
    }
}

#[cfg(test)]
mod tests {
    use ripieno_score::{BarIndex, Crotchets, Direction, Swell};

    use super::*;

    #[test]
    fn hairpins_open_together_have_levels_of_their_own() {
        let opens = |number| DirectionKind::HairpinStart { swell: Swell::Crescendo, number, niente: false };
        let closes = |number| DirectionKind::HairpinStop { number, niente: false };
        let direction =
            |(staff, kind)| Direction { bar: BarIndex(0), at: Crotchets::ZERO, staff, voice: None, above: None, kind };
        let kinds =
            [(1, opens(1)), (2, opens(1)), (2, closes(7)), (1, closes(1)), (1, opens(101)), (2, closes(1)), (1, closes(101))];
        let part = Part { directions: kinds.into_iter().map(direction).collect(), ..Part::default() };
        let hairpins = Hairpins::new(&part);
        let levels: Vec<u8> = (0..7).map(|index| hairpins.level(index)).collect();
        assert_eq!(levels, [1, 2, 16, 1, 1, 2, 1]);
    }
}
