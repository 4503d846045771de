//! The register of measures. Each lives in a file of its own.

mod brass_weight;
mod chord_voicing;
mod cohesion;
mod density;
mod doubled_sections;
mod dynamics;
mod entries;
mod hand_offs;
mod melody_support;
mod moments;
mod overlap;
mod presence;
mod register;
mod reserve;
mod role_shares;
mod separation;
mod shared_notes;
mod sharing;
mod stack;
mod tessitura;
mod thickened_lines;
mod tutti;

pub(crate) use cohesion::{RHYTHMS, SEVERAL};
pub use dynamics::printed_levels;
pub(crate) use melody_support::NOTES;
pub use moments::each_doubled;
pub(crate) use moments::octaves;
pub use presence::{Presence, presence};
pub use register::{Extreme, RegisterUse, register};
pub(crate) use tutti::Standing;
pub use tutti::{bars_with_all, full_bars, standing_families, tuttis};

use crate::material::Material;
use crate::measure::{Measure, OnChart, Taken};

/// All measures, in the order reports show them.
pub static MEASURES: &[Measure] = &[
    presence::MEASURE,
    role_shares::MEASURE,
    separation::MEASURE,
    cohesion::MEASURE,
    stack::MEASURE,
    reserve::MEASURE,
    tessitura::MEASURE,
    dynamics::MEASURE,
    density::MEASURE,
    entries::MEASURE,
    sharing::MEASURE,
    doubled_sections::MEASURE,
    thickened_lines::MEASURE,
    chord_voicing::MEASURE,
    brass_weight::MEASURE,
    hand_offs::MEASURE,
    melody_support::MEASURE,
];

/// Takes every measure; of a chart, every one that can do without notes.
#[must_use]
pub fn take_all(material: &Material<'_>) -> Vec<Taken> {
    let charted = |measure: &&Measure| !material.charted || measure.on_chart != OnChart::Not;
    MEASURES.iter().filter(charted).map(|measure| Taken { measure, values: (measure.take)(material) }).collect()
}
