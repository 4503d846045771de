//! Chords, local keys, and which chord tone each note is.
//!
//! [`harmony`] reads the sounding view on a grid of half crotchets. Small recurrent networks, trained on annotated symphonies, read the pitch
//! classes of the units in both directions, the lowest, the highest and the beginning ones apart, and say how likely each chord and each key is; a decoder then finds the
//! most likely course of both together, for a chord means something only in a key and a key shows itself only in chords. Figures, confusions and what limits
//! them: `docs/harmony.md`.
//!
//! Boundaries are exact and fall on the grid. Pitch without spelling (MIDI) is enough; where parts are spelled, names follow them.
//! Not told: figured detail beyond sevenths, suspensions and other notes foreign to the chord by name, and functions
//! (a cadential six-four is told as the chord it is made of).

mod chord;
mod decode;
mod features;
mod model;
mod network;
mod spans;
mod spelling;
mod units;

use std::sync::OnceLock;

use ripieno_score::{Crotchets, Sounding};

pub use chord::{Mode, NoteName, Quality};
use decode::Evidence;
pub use model::HarmonyModel;
pub use spans::{ChordSpan, ChordTone, Harmony, KeySpan};
use units::Units;

/// Chords and keys of a piece, by the model that comes with the program. Cost grows with notes and bars; an empty piece gives empty lists.
#[must_use]
pub fn harmony(sounding: &Sounding) -> Harmony {
    static MODEL: OnceLock<Option<HarmonyModel>> = OnceLock::new();
    let model = MODEL.get_or_init(|| HarmonyModel::parse(include_bytes!("../../data/harmony.model")));
    // The file is compiled in and a test parses it.
    model.as_ref().map_or_else(Harmony::default, |model| harmony_by(model, sounding))
}

/// [`harmony`] by another model, for cross-validation.
#[must_use]
pub fn harmony_by(model: &HarmonyModel, sounding: &Sounding) -> Harmony {
    let units = Units::new(sounding);
    let evidence = evidence(model, &units);
    let path = decode::decode(model, &units, &evidence);
    spans::spans(model, sounding, &units, &evidence, &path)
}

/// What the harmony network reads of one unit of the grid, for training.
#[derive(Debug, Clone, PartialEq)]
pub struct HarmonyFeatures {
    /// When the unit begins.
    pub onset: Crotchets,
    /// When it ends.
    pub end: Crotchets,
    /// Six blocks of twelve pitch classes from C, then six facts about metre and fullness (`harmony/features.rs`).
    pub row: Vec<f32>,
}

/// The rows the harmony network reads, in order of time.
#[must_use]
pub fn harmony_features(sounding: &Sounding) -> Vec<HarmonyFeatures> {
    let units = Units::new(sounding);
    let row = |unit: usize| {
        let mut row = Vec::with_capacity(features::INPUTS);
        features::row(&units, unit, &mut row);
        HarmonyFeatures { onset: units.units[unit].onset, end: units.units[unit].end, row }
    };
    (0..units.len()).map(row).collect()
}

fn evidence(model: &HarmonyModel, units: &Units) -> Evidence {
    let mut rows = Vec::with_capacity(units.len() * features::INPUTS);
    (0..units.len()).for_each(|unit| features::row(units, unit, &mut rows));
    let (chords, keys) = network::answer(&model.networks, &rows);
    Evidence { chords, keys }
}
