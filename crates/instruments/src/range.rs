//! Compasses as MIDI keys.

use std::fmt;
use std::str::FromStr;

use ripieno_score::{MidiKey, Pitch};

use crate::key::KeyName;

/// A compass from a lowest to a highest MIDI key, both included; 60 is middle C (C4).
///
/// Invariant: `low <= high <= 127`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Range {
    low: u8,
    high: u8,
}

impl Range {
    /// A compass; `None` when the ends are the wrong way round or above 127.
    #[must_use]
    pub const fn new(low: u8, high: u8) -> Option<Self> {
        if low <= high && high <= 127 { Some(Self { low, high }) } else { None }
    }

    /// The lowest MIDI key.
    #[must_use]
    pub const fn low(self) -> u8 {
        self.low
    }

    /// The highest MIDI key.
    #[must_use]
    pub const fn high(self) -> u8 {
        self.high
    }

    /// Whether a MIDI key lies within.
    #[must_use]
    pub const fn contains(self, key: u8) -> bool {
        self.low <= key && key <= self.high
    }

    /// Whether another compass lies wholly within.
    #[must_use]
    pub const fn covers(self, other: Self) -> bool {
        self.low <= other.low && other.high <= self.high
    }

    /// The compass moved by semitones; ends that would leave 0 to 127 stop there.
    #[must_use]
    pub fn shifted(self, semitones: i16) -> Self {
        let shift = |key: u8| u8::try_from((i16::from(key) + semitones).clamp(0, 127)).unwrap_or(127);
        Self { low: shift(self.low), high: shift(self.high) }
    }
}

/// The name of a MIDI key as keyboards label it, C4 = 60.
fn note_name(key: u8) -> String {
    MidiKey::try_from(i32::from(key)).map_or_else(|error| error.to_string(), |key| key.pitch().to_string())
}

impl fmt::Display for Range {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}–{}", note_name(self.low), note_name(self.high))
    }
}

fn midi_key(text: &str) -> Option<u8> {
    let split = text.find(|c: char| c.is_ascii_digit() || c == '-')?;
    let name: KeyName = text[..split].parse().ok()?;
    let octave: i8 = text[split..].parse().ok()?;
    Pitch::new(name.step, name.alter, octave).key().ok().map(MidiKey::number)
}

impl FromStr for Range {
    type Err = String;

    /// Reads `E3..Bb5`, as the data files write it.
    fn from_str(text: &str) -> Result<Self, String> {
        text.split_once("..")
            .and_then(|(low, high)| Self::new(midi_key(low)?, midi_key(high)?))
            .ok_or_else(|| format!("“{text}” is not a compass such as E3..Bb5"))
    }
}

/// The compass of an instrument at three levels, each within the one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Ranges {
    /// The outer limit: soloists, pedals, extensions.
    pub extreme: Range,
    /// What a handbook gives and an orchestral player is expected to have.
    pub usual: Range,
    /// Where the instrument speaks easily at every dynamic.
    pub comfortable: Range,
}

impl Ranges {
    /// All three moved by semitones.
    #[must_use]
    pub fn shifted(self, semitones: i16) -> Self {
        Self {
            extreme: self.extreme.shifted(semitones),
            usual: self.usual.shifted(semitones),
            comfortable: self.comfortable.shifted(semitones),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_the_notation_of_the_data_files() {
        // 60 is C4 in the MIDI convention this project uses throughout.
        assert_eq!("C4..Bb5".parse(), Ok(Range { low: 60, high: 82 }));
        assert_eq!("A0..C8".parse(), Ok(Range { low: 21, high: 108 }));
        assert!("C5..C4".parse::<Range>().is_err());
        assert!("C4".parse::<Range>().is_err());
    }

    #[test]
    fn shifting_stops_at_the_ends() {
        let range = Range { low: 20, high: 120 };
        assert_eq!(range.shifted(24), Range { low: 44, high: 127 });
        assert_eq!(range.shifted(-24), Range { low: 0, high: 96 });
    }
}
