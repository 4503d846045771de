//! What the network reads of one unit: blocks of twelve pitch classes, then facts about metre and fullness.

use super::units::{Classes, Units};

/// Blocks of twelve: what sounds, shares of all notes, lowest, below the treble, highest, beginning.
const BLOCKS: usize = 6;
/// Facts that do not turn with the key: first of the bar, on a crotchet, in the middle of the bar, silence, notes sounding, notes beginning.
const FACTS: usize = 6;
/// Numbers read of a unit.
pub(super) const INPUTS: usize = 12 * BLOCKS + FACTS;

/// Appends the [`INPUTS`] numbers of unit `unit`.
pub(super) fn row(units: &Units, unit: usize, row: &mut Vec<f32>) {
    let (sounding, begun) = (&units.weight[unit], &units.begun[unit]);
    row.extend(sounding.map(|weight| weight.min(1.0)));
    row.extend(share(sounding));
    row.extend(units.bass[unit]);
    row.extend(units.low[unit]);
    row.extend(units.top[unit]);
    row.extend(share(begun));
    let here = units.units[unit];
    row.extend([here.first, here.beat, here.middle, units.is_silent(unit)].map(|yes| f32::from(u8::from(yes))));
    row.extend([sounding, begun].map(|classes| classes.iter().sum::<f32>().ln_1p() / 3.0));
}

fn share(classes: &Classes) -> Classes {
    let sum: f32 = classes.iter().sum();
    if sum > 0.0 { classes.map(|class| class / sum) } else { *classes }
}
