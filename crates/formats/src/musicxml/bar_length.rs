//! How long a bar truly is, when metre and parts may disagree.

use ripieno_score::{Bar, Crotchets};

use super::context::{At, Context};
use super::part_reader::PartReader;

/// How far the parts reach in one bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Extent {
    /// The metre in force; `None` in free time and before any signature.
    pub metre: Option<Crotchets>,
    /// Where the last note or ordinary rest of any part ends.
    pub filled: Crotchets,
    /// Where whole-bar rests and forwards end.
    pub reached: Crotchets,
    /// Whether all parts with notes or ordinary rests fill it equally.
    pub agreed: bool,
}

/// The bars beside it.
pub(super) struct Around<'e> {
    /// Length decided for the bar before.
    pub before: Option<Crotchets>,
    pub after: Option<&'e Extent>,
    pub first: bool,
    pub last: bool,
}

/// Gathers how far the parts reach in bar `index`.
pub(super) fn extent(index: usize, metre: Option<Crotchets>, parts: &[PartReader<'_>]) -> Extent {
    let mut extent = Extent { metre, filled: Crotchets::ZERO, reached: Crotchets::ZERO, agreed: true };
    for bar in parts.iter().filter_map(|part| part.bars.get(index)) {
        if bar.filled.is_positive() {
            let own = bar.filled.max(bar.reached);
            extent.agreed &= extent.filled.is_zero() || own == extent.filled;
            extent.filled = extent.filled.max(own);
        } else {
            extent.reached = extent.reached.max(bar.reached);
        }
    }
    extent
}

/// The length of a bar. `uncounted`: the file says that it does not count in the numbering.
///
/// Notes and ordinary rests decide. A whole-bar rest stands for a bar of any length (E. Gould, Behind Bars, "Bar rests"; common
/// practice), so its duration counts only where no part has anything else, or where the others leave an ordinary bar short.
pub(super) fn decide(extent: &Extent, around: &Around<'_>, uncounted: bool) -> Crotchets {
    const UNKNOWN: Crotchets = Crotchets::whole(4);
    if extent.filled.is_zero() {
        return match (extent.metre, extent.reached) {
            (Some(metre), reached) if reached.is_zero() => metre,
            (None, reached) if reached.is_zero() => around.before.unwrap_or(UNKNOWN),
            (_, reached) => reached,
        };
    }
    if extent.reached <= extent.filled || uncounted || around.first || is_part_of_bar(extent.filled, extent, around) {
        return extent.filled;
    }
    // Some part rests for the whole bar, and those that play stop before its end.
    extent.metre.map_or(extent.reached, |metre| if metre > extent.filled { metre.min(extent.reached) } else { extent.filled })
}

/// Whether a bar of this length and a neighbour make up a full one: a bar divided by a double bar or repeat sign.
fn is_part_of_bar(length: Crotchets, extent: &Extent, around: &Around<'_>) -> bool {
    let Some(metre) = extent.metre else { return false };
    let completes = |other: Crotchets| length + other == metre;
    around.before.is_some_and(completes) || around.after.is_some_and(|after| completes(after.filled))
}

/// Reports parts that do not fill the bar, and bars that do not fit their metre.
pub(super) fn report(
    index: usize,
    bar: &Bar,
    extent: &Extent,
    around: &Around<'_>,
    parts: &[PartReader<'_>],
    context: &mut Context<'_, '_>,
) {
    let length = bar.length;
    let agreed = extent.agreed && (extent.reached <= extent.filled || extent.filled.is_zero() || length == extent.filled);
    if agreed {
        report_irregular(bar, extent, around, context);
    }
    for part in parts {
        let Some(read) = part.bars.get(index) else { continue };
        let at = At { part: part.label(), bar: &bar.number };
        let own = read.filled.max(read.reached);
        if read.filled.is_zero() {
            continue;
        }
        if own < length {
            let what = format!("the part is {} too short for its bar", lasting(length - own));
            context.warn(at, "voice-too-short", what, "Rests were taken for granted; is a note or rest missing?");
        } else if !agreed && extent.metre.is_some_and(|metre| own > metre) {
            let over = own - extent.metre.unwrap_or_default();
            let what = format!("voice {} is {} too long for its bar", read.longest_voice, lasting(over));
            context.warn(at, "voice-too-long", what, "The bar was lengthened in every part; is a rest counted twice?");
        }
    }
}

fn report_irregular(bar: &Bar, extent: &Extent, around: &Around<'_>, context: &mut Context<'_, '_>) {
    let Some(metre) = extent.metre else { return };
    let usual = bar.length == metre
        || bar.length < metre && (around.first || around.last || bar.uncounted || is_part_of_bar(bar.length, extent, around));
    if !usual {
        let what = format!("the bar lasts {} in every part, though its metre asks for {}", lasting(bar.length), lasting(metre));
        context.note(At { part: "", bar: &bar.number }, "irregular-bar", what, "It was read as it stands");
    }
}

/// A length in words: "1/2 of a crotchet", "3 crotchets".
fn lasting(length: Crotchets) -> String {
    if length == Crotchets::ONE {
        "1 crotchet".to_owned()
    } else if length < Crotchets::ONE {
        format!("{length} of a crotchet")
    } else {
        format!("{length} crotchets")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn extent(metre: i64, filled: i64, reached: i64) -> Extent {
        let whole = Crotchets::whole;
        Extent { metre: Some(whole(metre)), filled: whole(filled), reached: whole(reached), agreed: true }
    }

    const INSIDE: Around<'static> = Around { before: None, after: None, first: false, last: false };

    #[test]
    fn notes_decide() {
        assert_eq!(decide(&extent(4, 4, 4), &INSIDE, false), Crotchets::whole(4));
        assert_eq!(decide(&extent(4, 5, 4), &INSIDE, false), Crotchets::whole(5));
        assert_eq!(decide(&extent(4, 3, 0), &INSIDE, false), Crotchets::whole(3));
    }

    #[test]
    fn a_whole_bar_rest_does_not_lengthen_a_pickup() {
        let first = Around { first: true, ..INSIDE };
        assert_eq!(decide(&extent(4, 1, 4), &first, false), Crotchets::ONE);
        assert_eq!(decide(&extent(4, 1, 4), &INSIDE, true), Crotchets::ONE);
    }

    #[test]
    fn a_whole_bar_rest_shows_that_an_ordinary_bar_was_left_short() {
        assert_eq!(decide(&extent(4, 3, 4), &INSIDE, false), Crotchets::whole(4));
    }

    #[test]
    fn a_divided_bar_stays_short() {
        let rest = extent(4, 1, 4);
        let around = Around { after: Some(&rest), ..INSIDE };
        assert_eq!(decide(&extent(4, 3, 4), &around, false), Crotchets::whole(3));
    }

    #[test]
    fn an_empty_bar_follows_the_metre() {
        assert_eq!(decide(&extent(3, 0, 0), &INSIDE, false), Crotchets::whole(3));
        let free = Extent { metre: None, ..extent(4, 0, 0) };
        assert_eq!(decide(&free, &INSIDE, false), Crotchets::whole(4));
    }
}
