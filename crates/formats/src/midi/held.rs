//! Which keys are down while a track is decoded.

use super::events::{Fault, Strike, StrikeKind};

/// Keys held down. A key struck again before it is released is released in the order struck (as other readers do).
pub(super) struct Held {
    /// Oldest and newest held strike by channel and key, as index + 1 into the notes; 0 for none. Between them each
    /// strike's `off` leads to the next one.
    oldest: Box<[u32; 2048]>,
    newest: Box<[u32; 2048]>,
    /// Strikes not yet released.
    count: usize,
}

impl Held {
    /// Ends the chain of strikes of one key.
    pub(super) const LAST: u32 = u32::MAX;

    pub(super) fn new() -> Self {
        Self { oldest: Box::new([0; 2048]), newest: Box::new([0; 2048]), count: 0 }
    }

    const fn slot(channel: u8, key: u8) -> usize {
        ((channel as usize & 15) << 7) | (key as usize & 127)
    }

    /// Notes a strike; whether its key was still held.
    #[inline]
    pub(super) fn press(&mut self, notes: &mut Vec<Strike>, strike: Strike) -> bool {
        let slot = Self::slot(strike.channel, strike.key);
        notes.push(strike);
        let place = u32::try_from(notes.len()).unwrap_or(u32::MAX);
        let overlaps = self.oldest[slot] != 0;
        if overlaps {
            if let Some(before) = notes.get_mut((self.newest[slot] as usize).saturating_sub(1)) {
                before.off = place - 1;
            }
        } else {
            self.oldest[slot] = place;
        }
        self.newest[slot] = place;
        self.count += 1;
        overlaps
    }

    /// Ends the oldest strike of a key: whether it had any length; `None` when the key is not held.
    #[inline]
    pub(super) fn release(&mut self, notes: &mut [Strike], channel: u8, key: u8, now: u32) -> Option<bool> {
        let slot = Self::slot(channel, key);
        let place = self.oldest[slot].checked_sub(1)?;
        let strike = notes.get_mut(place as usize)?;
        self.oldest[slot] = if strike.off == Self::LAST { 0 } else { strike.off + 1 };
        strike.off = now;
        self.count -= 1;
        let sounds = now > strike.on;
        if !sounds {
            strike.kind = StrikeKind::Grace;
        }
        Some(sounds)
    }

    /// Ends what is still held at the end of a track: where the track's next note begins, or at its end.
    pub(super) fn let_go(&mut self, notes: &mut [Strike], first: usize, end: u32, hanging: &mut Fault) {
        if self.count == 0 {
            return;
        }
        self.count = 0;
        let mut open: Vec<usize> = Vec::new();
        for (oldest, newest) in self.oldest.iter_mut().zip(self.newest.iter_mut()) {
            let mut place = std::mem::take(oldest);
            *newest = 0;
            while let Some(index) = place.checked_sub(1) {
                let Some(local) = (index as usize).checked_sub(first) else { break };
                let Some(strike) = notes.get(local) else { break };
                open.push(local);
                place = if strike.off == Self::LAST { 0 } else { strike.off + 1 };
            }
        }
        open.sort_unstable();
        for &local in &open {
            hanging.at(notes.get(local).map_or(0, |strike| strike.on));
        }
        // One pass from the end, knowing where the next later note begins.
        let (mut next, mut last) = (end, None);
        for index in (open.first().copied().unwrap_or(notes.len())..notes.len()).rev() {
            let Some(strike) = notes.get_mut(index) else { break };
            if let Some(later) = last.filter(|&later| later > strike.on) {
                next = later;
            }
            last = Some(strike.on);
            if open.last() == Some(&index) {
                open.pop();
                strike.off = next.max(strike.on.saturating_add(1));
            }
        }
    }
}
