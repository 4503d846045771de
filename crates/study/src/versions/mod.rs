//! Two versions of one piece: which bars and parts have changed.
//!
//! Parts and bars are found again by their music, as corrections are ([`crate::corrections`]): bars put in or taken out do not make all
//! that follow look changed, and a part that was renamed, moved on the page or transposed as a whole is still itself. Compared are
//! attacks, pitches, lengths and the level in force; signs that change none of these are not.

mod detail;
mod listed;
mod moved;

use ripieno_score::Crotchets;

use crate::Study;
use crate::corrections::align::align;
use crate::corrections::fingerprint::Fingerprint;
use crate::corrections::parts::{Pair, pair_parts, plain};
use detail::Details;
pub use listed::Listed;

/// What became of a part in a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Touch {
    /// It was silent and plays now.
    Enters,
    /// It played and is silent now.
    FallsSilent,
    /// Other notes are attacked, or at other moments.
    Notes,
    /// The same attacks with other lengths.
    Lengths,
    /// The same notes at another level.
    Level,
}

impl Touch {
    /// In words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Enters => "plays now",
            Self::FallsSilent => "is silent now",
            Self::Notes => "other notes",
            Self::Lengths => "other lengths",
            Self::Level => "other dynamics",
        }
    }
}

/// What became of a bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BarChange {
    /// A bar of the newer version that the older does not have.
    Added {
        /// The played bar of the newer.
        new: u32,
    },
    /// A bar of the older version that the newer does not have.
    Removed {
        /// The played bar of the older.
        old: u32,
    },
    /// A bar that stands elsewhere now, its notes unchanged.
    Moved {
        /// The played bar of the older.
        old: u32,
        /// The played bar of the newer.
        new: u32,
    },
    /// A bar in which something has changed.
    Changed {
        /// The played bar of the older.
        old: u32,
        /// The played bar of the newer.
        new: u32,
        /// Its length, when that has changed: before and now.
        length: Option<(Crotchets, Crotchets)>,
        /// Parts of the newer score that have changed in it, in page order.
        parts: Vec<(usize, Touch)>,
    },
}

impl BarChange {
    /// Its place in the newer version, for ordering: a bar that was taken out has none.
    const fn new_bar(&self) -> Option<u32> {
        match self {
            Self::Added { new } | Self::Moved { new, .. } | Self::Changed { new, .. } => Some(*new),
            Self::Removed { .. } => None,
        }
    }
}

/// What became of a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PartChange {
    /// A part that the older version does not have.
    Added {
        /// Part of the newer score.
        new: usize,
        /// Bars of the newer in which it sounds.
        bars: Vec<u32>,
    },
    /// A part that the newer version does not have.
    Removed {
        /// Part of the older score.
        old: usize,
        /// Bars of the older in which it sounded.
        bars: Vec<u32>,
    },
    /// A part under another name.
    Renamed {
        /// Part of the older score.
        old: usize,
        /// Part of the newer score.
        new: usize,
    },
    /// A part most of whose music lies higher or lower now. Bars that differ by this alone are not listed as changed.
    Transposed {
        /// Part of the older score.
        old: usize,
        /// Part of the newer score.
        new: usize,
        /// By so many semitones, upwards.
        semitones: i16,
    },
}

/// Two versions compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Versions {
    /// What became of parts, in page order, those taken out last.
    pub parts: Vec<PartChange>,
    /// What became of bars, by place in the newer version; bars taken out stand where they were.
    pub bars: Vec<BarChange>,
    /// Bars in which nothing has changed.
    pub unchanged: usize,
    /// How alike the two are, 0 to 1: likeness of the bars found again, of all bars of the longer.
    pub likeness: f32,
}

impl Versions {
    /// Whether the two are versions of one piece rather than two pieces: at least half of the music is found again.
    #[must_use]
    pub fn is_same_piece(&self) -> bool {
        self.likeness >= 0.5
    }
}

/// Finds what has changed from one version to the other; nothing where either is a chart, whose notes nobody knows.
#[must_use]
pub fn versions(old: &Study, new: &Study) -> Versions {
    // A chart has no music by which its bars could be found again.
    if old.is_chart() || new.is_chart() {
        return Versions { parts: Vec::new(), bars: Vec::new(), unchanged: 0, likeness: 0.0 };
    }
    let (before, after) = (Fingerprint::new(&old.score, &old.sounding), Fingerprint::new(&new.score, &new.sounding));
    let pairs = pair_parts(&before, &after);
    let aligned = align(&before, &after, &pairs).bars;
    let moved = moved::moved(&before, &after, &pairs, &aligned);
    let details = Details::new(old, new, &pairs);
    let mut of_new: Vec<Option<u32>> = vec![None; after.lengths.len()];
    let mut unchanged = 0;
    let mut bars: Vec<BarChange> = Vec::new();
    let mut taken_out: Vec<(u32, BarChange)> = Vec::new();
    // Where a bar taken out would stand: after the bar of the newer version that came last before it.
    let mut last = 0;
    for (old_bar, found) in (0u32..).zip(&aligned) {
        let Some((new_bar, _)) = *found else {
            if let Some(&(_, new)) = moved.iter().find(|pair| pair.0 == old_bar) {
                of_new[new as usize] = Some(old_bar);
                bars.push(BarChange::Moved { old: old_bar, new });
            } else {
                taken_out.push((last, BarChange::Removed { old: old_bar }));
            }
            continue;
        };
        of_new[new_bar] = Some(old_bar);
        let lengths = (before.lengths[old_bar as usize], after.lengths[new_bar]);
        let new_bar = u32::try_from(new_bar).unwrap_or(u32::MAX);
        last = new_bar + 1;
        let parts = details.changed(old_bar, new_bar);
        let length = (lengths.0 != lengths.1).then_some(lengths);
        if parts.is_empty() && length.is_none() {
            unchanged += 1;
        } else {
            bars.push(BarChange::Changed { old: old_bar, new: new_bar, length, parts });
        }
    }
    bars.extend((0u32..).zip(&of_new).filter(|(_, old)| old.is_none()).map(|(new, _)| BarChange::Added { new }));
    let mut placed: Vec<(u32, BarChange)> = bars.into_iter().map(|change| (change.new_bar().unwrap_or(0), change)).collect();
    // A bar taken out comes before the bar that now stands in its place.
    taken_out.append(&mut placed);
    taken_out.sort_by_key(|placed| placed.0);
    #[allow(clippy::cast_precision_loss)] // bars of a score
    let longer = before.lengths.len().max(after.lengths.len()).max(1) as f32;
    #[allow(clippy::cast_precision_loss)]
    let likeness = (aligned.iter().flatten().map(|found| found.1).sum::<f32>() + moved.len() as f32) / longer;
    let bars = taken_out.into_iter().map(|placed| placed.1).collect();
    Versions { parts: part_changes(old, new, &pairs), bars, unchanged, likeness }
}

fn part_changes(old: &Study, new: &Study, pairs: &[Pair]) -> Vec<PartChange> {
    let mut changes = Vec::new();
    for (at, part) in new.score.parts.iter().enumerate() {
        match pairs.iter().find(|pair| pair.new == at) {
            None => changes.push(PartChange::Added { new: at, bars: new.of_parts[at].presence.bars.clone() }),
            Some(pair) => {
                if plain(&old.score.parts[pair.old].name) != plain(&part.name) {
                    changes.push(PartChange::Renamed { old: pair.old, new: at });
                }
                if pair.shift != 0 {
                    changes.push(PartChange::Transposed { old: pair.old, new: at, semitones: pair.shift });
                }
            }
        }
    }
    for at in (0..old.score.parts.len()).filter(|&at| !pairs.iter().any(|pair| pair.old == at)) {
        changes.push(PartChange::Removed { old: at, bars: old.of_parts[at].presence.bars.clone() });
    }
    changes
}
