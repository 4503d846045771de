//! Standard MIDI Files, types 0 and 1, plain or in a RIFF wrapper: notated exports and sequencer sessions alike.
//!
//! A MIDI file holds keys and ticks; a score holds pitches, bars, voices and values. What has to be inferred is, and
//! the findings say so. Times on a metrical grid are kept exactly as the file has them. docs/reading-midi.md tells
//! what becomes of what.

mod bars;
mod beats;
mod container;
mod decode;
mod events;
mod general_midi;
mod grid;
mod held;
mod lines;
mod loudness;
mod notate;
mod reader;
mod report;
mod sessions;
mod signs;
mod spelling;
mod staves;
mod switches;
mod table;
mod text;
mod timing;
mod values;
mod voices;
mod write;
mod write_part;

pub use reader::read;
pub use table::{TableNote, note_table};
pub use write::write;
