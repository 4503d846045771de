//! Keys that switch a sampler rather than sound.
//!
//! Sampled instruments are told how to play by keys outside their compass, struck just before or with the notes they
//! concern. Such keys are kept, hidden: nobody plays them.

use super::events::{Strike, StrikeKind};

/// Keys in which switches are found: the octaves below the second-lowest C of the keyboard's C1 (36) and above its C7.
const LOW_ZONE: u8 = 36;
const HIGH_ZONE: u8 = 96;
/// Semitones by which a switch lies outside the instrument's compass at least.
const OUTSIDE: u8 = 5;
/// Semitones between the switches and the notes, where the instrument is not known.
const GAP: u8 = 12;

/// Finds switches among the strikes of a line, ordered by onset, and hides them; answers how many, with the lowest and
/// highest of their keys. `compass` is the widest the instrument has, where known.
pub(super) fn hide(strikes: &mut [Strike], compass: Option<(u8, u8)>, per_crotchet: u32) -> Option<(u32, u8, u8)> {
    let (low, high) = bounds(strikes, compass)?;
    let is_suspect = |key: u8| key < low || key > high;
    let mut suspects = 0u32;
    let mut switching = 0u32;
    // Latest end of the notes so far, and onset of the next note.
    let mut sounding_until = 0;
    let mut next = vec![u32::MAX; strikes.len() + 1];
    for (index, strike) in strikes.iter().enumerate().rev() {
        let later = next.get(index + 1).copied().unwrap_or(u32::MAX);
        if let Some(slot) = next.get_mut(index) {
            *slot = if is_suspect(strike.key) { later } else { strike.on };
        }
    }
    for (index, strike) in strikes.iter().enumerate() {
        if !is_suspect(strike.key) {
            sounding_until = sounding_until.max(strike.off);
            continue;
        }
        suspects += 1;
        let next = next.get(index).copied().unwrap_or(u32::MAX);
        let with_a_note = sounding_until > strike.on || next < strike.off;
        let before_a_note = next.saturating_sub(strike.on) <= per_crotchet / 2 && strike.off - strike.on <= per_crotchet / 2;
        switching += u32::from(with_a_note || before_a_note);
    }
    // A single one is a slip of the pen unless it opens the line.
    let opens = compass.is_some() && strikes.first().is_some_and(|first| is_suspect(first.key));
    let enough = suspects >= 2 || opens;
    if !enough || u64::from(switching) * 5 < u64::from(suspects) * 4 {
        return None;
    }
    let (mut least, mut most) = (u8::MAX, 0);
    for strike in strikes.iter_mut().filter(|strike| is_suspect(strike.key)) {
        strike.kind = StrikeKind::Hidden;
        least = least.min(strike.key);
        most = most.max(strike.key);
    }
    Some((suspects, least, most))
}

/// Lowest and highest key of the notes, leaving out what may be switches; `None` when nothing may.
fn bounds(strikes: &[Strike], compass: Option<(u8, u8)>) -> Option<(u8, u8)> {
    let mut counts = [0u32; 128];
    for strike in strikes {
        if let Some(count) = counts.get_mut(usize::from(strike.key)) {
            *count += 1;
        }
    }
    let used: Vec<u8> = (0u8..128).zip(counts).filter(|(_, count)| *count > 0).map(|(key, _)| key).collect();
    let (&lowest, &highest) = (used.first()?, used.last()?);
    if lowest >= LOW_ZONE && highest <= HIGH_ZONE {
        return None;
    }
    let (low, high) = match compass {
        Some((low, high)) => (low.saturating_sub(OUTSIDE - 1).min(LOW_ZONE), high.saturating_add(OUTSIDE - 1).max(HIGH_ZONE)),
        None => {
            let gap = |pair: &&[u8]| matches!(pair, [a, b] if b - a >= GAP);
            let below = used.windows(2).filter(gap).filter_map(|pair| pair.get(1)).find(|&&key| key >= LOW_ZONE);
            let above = used.windows(2).rev().filter(gap).filter_map(|pair| pair.first()).find(|&&key| key <= HIGH_ZONE);
            let low = below.filter(|_| lowest < LOW_ZONE).filter(|&&low| used.iter().all(|&k| k >= low || k < LOW_ZONE));
            let high = above.filter(|_| highest > HIGH_ZONE).filter(|&&high| used.iter().all(|&k| k <= high || k > HIGH_ZONE));
            (low.copied().unwrap_or(0), high.copied().unwrap_or(127))
        }
    };
    let outside: u32 = (0u8..128).zip(counts).filter(|(key, _)| *key < low || *key > high).map(|(_, count)| count).sum();
    let total: u32 = counts.iter().sum();
    // What most of the line does is its music.
    (outside > 0 && outside * 2 <= total).then_some((low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strike(on: u32, off: u32, key: u8) -> Strike {
        Strike { on, off, key, velocity: 64, channel: 0, kind: StrikeKind::Played }
    }

    fn hidden(notes: &[(u32, u32, u8)], compass: Option<(u8, u8)>) -> Vec<u8> {
        let mut strikes: Vec<Strike> = notes.iter().map(|&(on, off, key)| strike(on, off, key)).collect();
        hide(&mut strikes, compass, 480);
        strikes.iter().filter(|s| s.kind == StrikeKind::Hidden).map(|s| s.key).collect()
    }

    const VIOLIN: Option<(u8, u8)> = Some((55, 103));

    #[test]
    fn switches_come_before_or_with_notes() {
        assert_eq!(hidden(&[(0, 60, 24), (10, 480, 69), (480, 960, 71), (940, 1500, 26), (960, 1440, 72)], VIOLIN), [24, 26]);
        assert_eq!(hidden(&[(0, 60, 24), (10, 480, 69), (470, 500, 25), (480, 960, 71)], None), [24, 25]);
    }

    #[test]
    fn notes_out_of_compass_that_take_their_own_time_are_music() {
        // A horn part with C1 written for C2: wrong, perhaps, but not a switch.
        assert!(hidden(&[(0, 960, 60), (960, 1920, 24), (1920, 2880, 60)], Some((35, 77))).is_empty());
        // A double bass.
        assert!(hidden(&[(0, 480, 28), (480, 960, 40), (960, 1440, 26)], Some((24, 67))).is_empty());
        assert!(hidden(&[(0, 480, 24), (480, 960, 30), (960, 1440, 35)], None).is_empty());
    }

    #[test]
    fn a_piano_keeps_its_lowest_notes() {
        assert!(hidden(&[(0, 480, 21), (0, 480, 60), (480, 960, 24), (480, 960, 64)], Some((21, 108))).is_empty());
    }
}
