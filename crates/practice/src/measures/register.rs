//! Register use: how high and how low, and where most of the playing lies. Percussion without pitch has none.

use ripieno_score::{MidiKey, Sounding};

/// An extreme note and the bar where it first sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Extreme {
    /// Sounding key.
    pub key: MidiKey,
    /// Played bar.
    pub bar: u32,
}

/// Register of a part or group, in sounding pitch.
#[derive(Debug, Clone, PartialEq)]
pub struct RegisterUse {
    /// Lowest note.
    pub lowest: Extreme,
    /// Highest note.
    pub highest: Extreme,
    /// Half of the sounding time lies between these keys (quartiles by time).
    pub middle: (MidiKey, MidiKey),
    /// The key below and above which equal time is spent.
    pub median: MidiKey,
}

/// Measures the register of `parts`; `None` when they play nothing with pitch.
#[must_use]
pub fn register(sounding: &Sounding, parts: &[usize]) -> Option<RegisterUse> {
    let notes = &sounding.notes;
    let mut by_key = [0.0f64; 128];
    let mut lowest: Option<Extreme> = None;
    let mut highest: Option<Extreme> = None;
    for row in parts.iter().filter_map(|&part| notes.of_part.get(part)).flat_map(Clone::clone) {
        let Some(key) = notes.key[row] else { continue };
        let here = Extreme { key, bar: notes.bar[row] };
        // The earlier bar wins among equals, whatever the order of parts.
        if lowest.is_none_or(|low| (key, here.bar) < (low.key, low.bar)) {
            lowest = Some(here);
        }
        if highest.is_none_or(|high| key > high.key || (key == high.key && here.bar < high.bar)) {
            highest = Some(here);
        }
        // Grace notes take no time of their own but are played: a small weight keeps them from vanishing.
        by_key[usize::from(key.number())] += notes.duration[row].to_f64().max(1.0 / 64.0);
    }
    let (lowest, highest) = (lowest?, highest?);
    let total: f64 = by_key.iter().sum();
    let at = |share: f64| {
        let mut sum = 0.0;
        let index = by_key.iter().position(|time| {
            sum += time;
            sum >= total * share
        });
        let key = index.and_then(|index| i32::try_from(index).ok()).and_then(|key| MidiKey::try_from(key).ok());
        key.unwrap_or(highest.key)
    };
    Some(RegisterUse { lowest, highest, middle: (at(0.25), at(0.75)), median: at(0.5) })
}
