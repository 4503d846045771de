//! The notes of a file and nothing more, for those who need no score.

use super::{container, decode};
use crate::ReadError;

/// A note as the file has it: ticks and keys, nothing inferred.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TableNote {
    /// Track, counted from 0.
    pub track: u16,
    /// Channel, 1 to 16.
    pub channel: u8,
    /// Key, 0 to 127.
    pub key: u8,
    /// Velocity, 1 to 127.
    pub velocity: u8,
    /// Beginning, in ticks from the start of the file.
    pub onset: u32,
    /// Length in ticks; 0 where the file ends a note the moment it begins.
    pub duration: u32,
}

/// Reads the notes of a Standard MIDI File, track by track, in order of onset, then end, then key. A key struck again while
/// held is released in the order struck; a note without an end lasts until its track's next note.
///
/// # Errors
/// As [`super::read`], except for limits on parts: there are none here.
pub fn note_table(file: &str, bytes: &[u8]) -> Result<Vec<TableNote>, ReadError> {
    let all = decode::decode(&container::open(file, bytes)?.tracks);
    let mut table = Vec::with_capacity(all.notes.len());
    for (number, track) in all.tracks.iter().enumerate() {
        let number = u16::try_from(number).unwrap_or(u16::MAX);
        table.extend(all.notes_of(track).iter().map(|strike| TableNote {
            track: number,
            channel: strike.channel + 1,
            key: strike.key,
            velocity: strike.velocity,
            onset: strike.on,
            duration: strike.off - strike.on,
        }));
    }
    Ok(table)
}
