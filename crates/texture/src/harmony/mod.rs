//! Chords, local keys, and which chord tone each note is.
//!
//! [`harmony`] reads the sounding view on a grid of half crotchets. Two small networks, trained on annotated symphonies, say how likely each chord and each key is from
//! the pitch classes of a unit and of its surroundings, the lowest ones apart; a decoder then finds the most likely course of both
//! together, for a chord means something only in a key and a key shows itself only in chords. Figures, confusions and what limits
//! them: `model/harmony/README.md`.
//!
//! Boundaries are exact and fall on the grid. Pitch without spelling (MIDI) is enough; where parts are spelled, names follow them.
//! Not told: figured detail beyond sevenths, suspensions and other notes foreign to the chord by name, and functions
//! (a cadential six-four is told as the chord it is made of).

mod chord;
mod decode;
mod features;
mod model;
mod spans;
mod spelling;
mod units;

use std::sync::OnceLock;

use ripieno_score::{Crotchets, Sounding};

pub use chord::{Mode, NoteName, Quality};
use decode::Evidence;
use features::Windows;
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

/// What the harmony networks read for one unit of the grid, for training.
#[derive(Debug, Clone, PartialEq)]
pub struct HarmonyFeatures {
    /// When the unit begins.
    pub onset: Crotchets,
    /// When it ends.
    pub end: Crotchets,
    /// Blocks of twelve pitch classes from C, then four facts about the metre.
    pub chord: Vec<f32>,
    /// Blocks of twelve pitch classes from C.
    pub key: Vec<f32>,
}

/// The rows the harmony networks read, in order of time.
#[must_use]
pub fn harmony_features(sounding: &Sounding) -> Vec<HarmonyFeatures> {
    let units = Units::new(sounding);
    let windows = Windows::new(&units);
    (0..units.len())
        .map(|unit| {
            let (mut chord, mut key) = (Vec::new(), Vec::new());
            windows.chord(unit, &mut chord);
            windows.key(unit, &mut key);
            HarmonyFeatures { onset: units.units[unit].onset, end: units.units[unit].end, chord, key }
        })
        .collect()
}

fn evidence(model: &HarmonyModel, units: &Units) -> Evidence {
    let windows = Windows::new(units);
    let (mut row, mut sums, mut answer) = (Vec::new(), Vec::new(), Vec::new());
    let (mut chords, mut keys) = (Vec::new(), Vec::new());
    for unit in 0..units.len() {
        row.clear();
        windows.chord(unit, &mut row);
        model.chord.answer(&row, &mut sums, &mut answer);
        chords.extend(&answer);
        // Keys change slowly: every other unit is enough.
        if unit % 2 == 0 {
            row.clear();
            windows.key(unit, &mut row);
            model.key.answer(&row, &mut sums, &mut answer);
        } else {
            answer.clear();
            answer.extend_from_slice(&keys[(unit - 1) * model::KEYS..]);
        }
        keys.extend(&answer);
    }
    Evidence { chords, keys }
}
