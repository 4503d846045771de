//! How two parts stand to each other in a bar, from a roll of 48 slots: nine numbers that lean the network's attention.

use super::piece::Piece;

/// Slots to a bar, whatever its length.
const SLOTS: usize = 48;
/// A note before this many slots ago leads nowhere.
const REACH: usize = 2 * SLOTS;
/// Numbers to a pair.
pub(super) const RELATIONS: usize = 9;

/// One part in one bar.
#[derive(Debug, Clone, Copy)]
struct Roll {
    /// Highest key in each slot, 0 while silent.
    top: [u8; SLOTS],
    /// Whether a note begins in the slot.
    on: [bool; SLOTS],
    /// Direction from the attack before, `None` where there is none near.
    way: [Option<i8>; SLOTS],
}

const SILENT: Roll = Roll { top: [0; SLOTS], on: [false; SLOTS], way: [None; SLOTS] };

/// The rolls of all parts in all bars.
pub(super) struct Rolls {
    rolls: Vec<Roll>,
    bars: usize,
}

impl Rolls {
    pub fn new(piece: &Piece) -> Self {
        let bars = piece.bars();
        let mut rolls = vec![SILENT; piece.parts() * bars];
        for (bar, notes) in piece.in_bar.iter().enumerate() {
            let (start, end, width) = (piece.starts[bar], piece.starts[bar + 1], piece.length(bar) as f64 / SLOTS as f64);
            for note in notes.iter().map(|&index| piece.notes[index as usize]) {
                let begins = note.on >= start;
                let slot = |at: i64| ((at - start) as f64 / width + 0.5) as usize;
                let from = if begins { slot(note.on).min(SLOTS - 1) } else { 0 };
                let to = slot(note.off.min(end)).max(from + 1).min(SLOTS);
                let roll = &mut rolls[note.part * bars + bar];
                let key = u8::try_from(note.key).unwrap_or(0);
                roll.top[from..to].iter_mut().for_each(|top| *top = (*top).max(key));
                roll.on[from] |= begins;
            }
        }
        for part in 0..piece.parts() {
            let mut before: Option<(usize, u8)> = None;
            for bar in 0..bars {
                let roll = &mut rolls[part * bars + bar];
                for slot in (0..SLOTS).filter(|&slot| roll.on[slot]).collect::<Vec<_>>() {
                    let (at, key) = (bar * SLOTS + slot, roll.top[slot]);
                    roll.way[slot] = before
                        .filter(|&(last, before)| at - last <= REACH && before > 0)
                        .map(|(_, before)| (i16::from(key) - i16::from(before)).signum() as i8);
                    before = Some((at, key));
                }
            }
        }
        Self { rolls, bars }
    }

    /// Whether anything with pitch sounds.
    pub fn sounds(&self, part: usize, bar: usize) -> bool {
        self.rolls[part * self.bars + bar].top.iter().any(|&key| key > 0)
    }

    /// `out[i * parts.len() + j]` tells how `parts[i]` stands to `parts[j]`.
    pub fn relations(&self, bar: usize, parts: &[usize], same_family: impl Fn(usize, usize) -> bool) -> Vec<[f32; RELATIONS]> {
        let mut out = Vec::with_capacity(parts.len() * parts.len());
        for &a in parts {
            for &b in parts {
                let (x, y) = (&self.rolls[a * self.bars + bar], &self.rolls[b * self.bars + bar]);
                out.push(relation(x, y, same_family(a, b), a == b));
            }
        }
        out
    }
}

fn relation(a: &Roll, b: &Roll, family: bool, same: bool) -> [f32; RELATIONS] {
    let (mut sounding, mut both, mut octave, mut unison, mut above) = (0, 0, 0, 0, 0);
    let (mut on_a, mut on_b, mut on_both, mut lead, mut together) = (0, 0, 0, 0, 0);
    for slot in 0..SLOTS {
        let (x, y) = (a.top[slot], b.top[slot]);
        sounding += u32::from(x > 0);
        if x > 0 && y > 0 {
            both += 1;
            octave += u32::from(x.abs_diff(y) % 12 == 0);
            unison += u32::from(x == y);
            above += u32::from(x > y);
        }
        on_a += u32::from(a.on[slot]);
        on_b += u32::from(b.on[slot]);
        if a.on[slot] && b.on[slot] {
            on_both += 1;
            if let (Some(x), Some(y)) = (a.way[slot], b.way[slot]) {
                lead += 1;
                together += u32::from(x == y);
            }
        }
    }
    let share = |part: u32, whole: u32| part as f32 / whole.max(1) as f32;
    let flag = |is: bool| f32::from(u8::from(is));
    [
        share(both, sounding),
        share(on_both, on_a),
        share(on_both, on_b),
        share(octave, both),
        share(unison, both),
        share(together, lead),
        share(above, both) - if both > 0 { 0.5 } else { 0.0 },
        flag(family),
        flag(same),
    ]
}
