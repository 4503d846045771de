//! How long a bar truly is, when metre and parts may disagree.

use ripieno_score::{Bar, Crotchets};

use super::context::{At, Context};
use super::part_reader::{BarRead, PartReader};

/// How far the parts reach in one bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Extent {
    /// The metre in force; `None` in free time and before any signature.
    pub metre: Option<Crotchets>,
    /// Where the last note of any part ends.
    pub sounded: Crotchets,
    /// Where the parts that have notes end, rests included.
    pub reached: Crotchets,
    /// Whether those parts all end there.
    pub agreed: bool,
    /// Where the parts end that have nothing but rests.
    pub rested: Crotchets,
    /// Whether those parts all end there.
    pub rests_agree: bool,
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
    let none = Crotchets::ZERO;
    let mut extent = Extent { metre, sounded: none, reached: none, agreed: true, rested: none, rests_agree: true };
    for bar in parts.iter().filter_map(|part| part.bars.get(index)).filter(|bar| bar.reached.is_positive()) {
        if bar.sounded.is_positive() {
            extent.agreed &= extent.reached.is_zero() || bar.reached == extent.reached;
            extent.sounded = extent.sounded.max(bar.sounded);
            extent.reached = extent.reached.max(bar.reached);
        } else {
            extent.rests_agree &= extent.rested.is_zero() || bar.reached == extent.rested;
            extent.rested = extent.rested.max(bar.reached);
        }
    }
    extent
}

/// The length of a bar. `uncounted`: the file says that it does not count in the numbering.
///
/// Where all parts with notes agree, they are right, whatever the metre. Where they do not, the bar lasts as long as its last note
/// needs, and as long as its metre if some part reaches that: a second whole-bar rest in one part lengthens nothing, and a rest
/// forgotten in another shortens nothing. Parts that only rest follow the others (a rest for the whole bar stands for a bar of any length;
/// common practice), unless those leave an ordinary bar short.
pub(super) fn decide(extent: &Extent, around: &Around<'_>, uncounted: bool) -> Crotchets {
    const UNKNOWN: Crotchets = Crotchets::whole(4);
    let Extent { metre, sounded, reached, agreed, rested, rests_agree } = *extent;
    let up_to_metre = |reach: Crotchets| metre.map_or(reach, |metre| reach.min(metre));
    if reached.is_zero() {
        return match metre {
            _ if rested.is_positive() => {
                if rests_agree {
                    rested
                } else {
                    up_to_metre(rested)
                }
            }
            Some(metre) => metre,
            None => around.before.unwrap_or(UNKNOWN),
        };
    }
    let playing = if agreed { reached } else { sounded.max(up_to_metre(reached)) };
    if rested <= playing || uncounted || around.first || is_part_of_bar(playing, extent, around) {
        return playing;
    }
    // Some part rests longer, and those that play stop before the end of the bar.
    playing.max(up_to_metre(rested))
}

/// Whether a bar of this length and a neighbour make up a full one: a bar divided by a double bar or repeat sign.
fn is_part_of_bar(length: Crotchets, extent: &Extent, around: &Around<'_>) -> bool {
    let Some(metre) = extent.metre else { return false };
    let completes = |other: Crotchets| length + other == metre;
    around.before.is_some_and(completes) || around.after.is_some_and(|after| completes(after.reached))
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
    let fits = |reach: Crotchets, agree: bool| reach.is_zero() || agree && reach == length;
    if fits(extent.reached, extent.agreed) && fits(extent.rested, extent.rests_agree) {
        report_irregular(bar, extent, around, context);
        return;
    }
    for part in parts {
        // A rest for the whole bar may have any length.
        let Some(read) = part.bars.get(index).filter(|read| read.counted || read.sounded.is_positive()) else { continue };
        let at = At { part: part.label(), bar: &bar.number };
        let due = extent.metre.map_or(length, |metre| length.min(metre));
        if read.reached < due {
            let what = format!("the part is {} too short for its bar", lasting(due - read.reached));
            context.warn(at, "voice-too-short", what, "Silence was put there; is a note or rest missing?");
        } else if read.reached > length {
            let what = format!("{} is {} too long for its bar", filler(read), lasting(read.reached - length));
            context.warn(at, "voice-too-long", what, "The rest was cut at the barline; is it counted twice?");
        } else if extent.metre.is_some_and(|metre| read.reached > metre) {
            let over = read.reached - extent.metre.unwrap_or_default();
            let what = format!("{} is {} too long for its bar", filler(read), lasting(over));
            context.warn(at, "voice-too-long", what, "The bar was lengthened in every part so that no note is cut");
        }
    }
}

/// What fills the bar furthest, in words.
fn filler(read: &BarRead<'_>) -> String {
    if read.longest_voice == 0 { "a gap between notes".to_owned() } else { format!("voice {}", read.longest_voice) }
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

    fn extent(metre: i64, sounded: i64, reached: i64, rested: i64) -> Extent {
        let whole = Crotchets::whole;
        Extent {
            metre: Some(whole(metre)),
            sounded: whole(sounded),
            reached: whole(reached),
            agreed: true,
            rested: whole(rested),
            rests_agree: true,
        }
    }

    const INSIDE: Around<'static> = Around { before: None, after: None, first: false, last: false };

    #[test]
    fn parts_that_agree_are_right() {
        assert_eq!(decide(&extent(4, 4, 4, 4), &INSIDE, false), Crotchets::whole(4));
        assert_eq!(decide(&extent(4, 5, 5, 4), &INSIDE, false), Crotchets::whole(5));
        assert_eq!(decide(&extent(4, 3, 3, 0), &INSIDE, false), Crotchets::whole(3));
    }

    #[test]
    fn rests_too_many_lengthen_nothing_but_no_note_is_cut() {
        let apart = |sounded, reached| Extent { agreed: false, ..extent(4, sounded, reached, 0) };
        assert_eq!(decide(&apart(4, 8), &INSIDE, false), Crotchets::whole(4));
        assert_eq!(decide(&apart(3, 8), &INSIDE, false), Crotchets::whole(4));
        assert_eq!(decide(&apart(5, 8), &INSIDE, false), Crotchets::whole(5));
    }

    #[test]
    fn a_whole_bar_rest_does_not_lengthen_a_pickup() {
        let first = Around { first: true, ..INSIDE };
        assert_eq!(decide(&extent(4, 1, 1, 4), &first, false), Crotchets::ONE);
        assert_eq!(decide(&extent(4, 1, 1, 4), &INSIDE, true), Crotchets::ONE);
    }

    #[test]
    fn a_whole_bar_rest_shows_that_an_ordinary_bar_was_left_short() {
        assert_eq!(decide(&extent(4, 3, 3, 4), &INSIDE, false), Crotchets::whole(4));
    }

    #[test]
    fn a_divided_bar_stays_short() {
        let rest = extent(4, 1, 1, 4);
        let around = Around { after: Some(&rest), ..INSIDE };
        assert_eq!(decide(&extent(4, 3, 3, 4), &around, false), Crotchets::whole(3));
    }

    #[test]
    fn an_empty_bar_follows_the_metre() {
        assert_eq!(decide(&extent(3, 0, 0, 0), &INSIDE, false), Crotchets::whole(3));
        let free = Extent { metre: None, ..extent(4, 0, 0, 0) };
        assert_eq!(decide(&free, &INSIDE, false), Crotchets::whole(4));
    }
}
