//! Clefs, and a keyboard's single track on two staves.

use ripieno_instruments::catalogue::Clef as Known;
use ripieno_instruments::family::{Family, Section};
use ripieno_score::{Clef, ClefSign};

use super::events::{Strike, StrikeKind, Tracks};
use super::lines::Line;

/// Middle C divides the staves.
const MIDDLE: u32 = 60;
/// Share of the notes either hand must have, in percent, for two staves.
const FEW: usize = 10;

/// Puts keyboards and harps that come in one track on two staves.
pub(super) fn divide(all: &mut Tracks<'_>, line: &mut Line) {
    let two_handed = line.identity.as_ref().is_some_and(|identity| {
        let instrument = identity.instrument();
        matches!(instrument.family, Family::Keyboard) || instrument.section == Section::Harps
    });
    let [staff] = line.staves.as_slice() else { return };
    if !two_handed || line.percussion {
        return;
    }
    let strikes = all.notes.get(staff.clone()).unwrap_or_default();
    let (mut upper, mut lower) = (Vec::new(), Vec::new());
    for together in strikes.chunk_by(|a, b| a.on == b.on) {
        let border = border(together);
        for strike in together {
            if u32::from(strike.key) >= border { upper.push(*strike) } else { lower.push(*strike) }
        }
    }
    let total = strikes.len();
    if upper.len() * 100 < total * FEW || lower.len() * 100 < total * FEW {
        return;
    }
    let (first, second) = (all.notes.len(), all.notes.len() + upper.len());
    all.notes.extend(upper);
    all.notes.extend(lower);
    line.staves = vec![first..second, second..all.notes.len()];
}

/// The lowest key the right hand takes of notes struck together: above the widest gap where they span more than an
/// octave, else all to the hand whose half of the keyboard they lie in.
fn border(together: &[Strike]) -> u32 {
    let mut keys: Vec<u32> = together.iter().filter(|s| s.kind != StrikeKind::Hidden).map(|s| u32::from(s.key)).collect();
    keys.sort_unstable();
    let (Some(&low), Some(&high)) = (keys.first(), keys.last()) else { return MIDDLE };
    if high - low <= 12 {
        let sum: u32 = keys.iter().sum();
        let count = u32::try_from(keys.len()).unwrap_or(1);
        return if sum >= MIDDLE * count { 0 } else { u32::MAX };
    }
    let gap = |pair: &&[u32]| match pair {
        // Among equal gaps, the one nearest middle C.
        [a, b] => (b - a, u32::MAX - (a + b).abs_diff(2 * MIDDLE)),
        _ => (0, 0),
    };
    keys.windows(2).max_by_key(gap).and_then(|pair| pair.get(1)).copied().unwrap_or(MIDDLE)
}

/// The clef of a staff: the instrument's usual one, else by where its notes lie. Notes stand at sounding pitch, so
/// instruments that sound octaves away from what they read get the figure on the clef.
pub(super) fn clef(line: &Line, staff: usize, strikes: &[Strike]) -> Clef {
    if line.percussion {
        return Clef { sign: ClefSign::Percussion, line: 0, octaves: 0 };
    }
    let plain = |sign, line| Clef { sign, line, octaves: 0 };
    if line.staves.len() > 1 {
        return if staff == 0 { plain(ClefSign::G, 2) } else { plain(ClefSign::F, 4) };
    }
    if let Some(identity) = &line.identity {
        let instrument = identity.instrument();
        let by = instrument.default_transposition().semitones;
        if let Some(Known::Pitched { sign, line, octave }) = instrument.clefs.first() {
            let sign = match sign {
                'F' => ClefSign::F,
                'C' => ClefSign::C,
                _ => ClefSign::G,
            };
            let octaves = if by % 12 == 0 { octave.saturating_add(by / 12) } else { *octave };
            return Clef { sign, line: i8::try_from(*line).unwrap_or(2), octaves };
        }
    }
    let (sum, count) = strikes.iter().fold((0u64, 0u64), |(sum, count), s| (sum + u64::from(s.key), count + 1));
    if count > 0 && sum < count * 57 { plain(ClefSign::F, 4) } else { plain(ClefSign::G, 2) }
}
