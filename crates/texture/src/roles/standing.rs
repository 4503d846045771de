//! Where a line stands among the others: for how much of its time in a bar it is the lowest or the highest that sounds.

use ripieno_score::{Crotchets, Sounding};

/// Shares of a line's sounding time in one bar.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Standing {
    /// Time in which the line sounds a pitch, in crotchets.
    pub time: f32,
    /// Share in which nothing sounds lower (lines on the same key share the place), 0 to 1.
    pub lowest: f32,
    /// Share in which nothing sounds higher, 0 to 1.
    pub highest: f32,
    /// Share in which some other line sounds as well, 0 to 1.
    pub accompanied: f32,
    /// Mean of the lowest key of the line by time.
    pub low: f32,
    /// Mean of the highest key of the line by time.
    pub high: f32,
}

/// `[line][bar]`; `line_of` tells the line of each row, in rows without pitch it is not asked. Cost grows with the notes
/// times the logarithm of their number and with how many sound at once.
pub(crate) fn standings(sounding: &Sounding, line_of: &[u32], lines: usize) -> Vec<Vec<Standing>> {
    let notes = &sounding.notes;
    let bars = sounding.bars.len();
    let mut found = vec![vec![Standing::default(); bars]; lines];
    // Moments at which a note begins or ends; ends come first so that abutting notes do not meet.
    let mut edges: Vec<(Crotchets, bool, u8, u32)> = Vec::with_capacity(notes.len() * 2);
    for (row, &line) in notes.rows().zip(line_of) {
        if let Some(key) = row.key.filter(|_| row.duration.is_positive()) {
            edges.push((row.onset, true, key.number(), line));
            edges.push((row.onset + row.duration, false, key.number(), line));
        }
    }
    edges.sort_unstable();
    // What sounds now, by key.
    let mut now: Vec<(u8, u32)> = Vec::new();
    let (mut at, mut bar) = (Crotchets::ZERO, 0usize);
    for (moment, begins, key, line) in edges {
        while at < moment && bar < bars {
            let end = sounding.bars[bar].start + sounding.bars[bar].length;
            let until = end.min(moment);
            if at < until {
                weigh(&mut found, &now, bar, (until - at).to_f64());
                at = until;
            }
            if at >= end {
                bar += 1;
            } else {
                break;
            }
        }
        at = at.max(moment);
        while bar < bars && sounding.bars[bar].start + sounding.bars[bar].length <= at {
            bar += 1;
        }
        let place = now.partition_point(|entry| *entry < (key, line));
        if begins {
            now.insert(place, (key, line));
        } else if now.get(place) == Some(&(key, line)) {
            now.remove(place);
        }
    }
    for row in &mut found {
        for cell in row.iter_mut().filter(|cell| cell.time > 0.0) {
            for share in [&mut cell.lowest, &mut cell.highest, &mut cell.accompanied, &mut cell.low, &mut cell.high] {
                *share /= cell.time;
            }
        }
    }
    found
}

/// Adds a stretch of `length` crotchets in which `now` sounds.
#[allow(clippy::cast_possible_truncation)] // single precision is plenty for shares
fn weigh(found: &mut [Vec<Standing>], now: &[(u8, u32)], bar: usize, length: f64) {
    let (Some(lowest), Some(highest)) = (now.first().map(|n| n.0), now.last().map(|n| n.0)) else { return };
    let length = length as f32;
    let alone = now.iter().all(|entry| entry.1 == now[0].1);
    // Each line once: its lowest and its highest key. Few sound at once, so a search among those seen is cheap.
    for (index, &(key, line)) in now.iter().enumerate() {
        if now[..index].iter().any(|earlier| earlier.1 == line) {
            continue;
        }
        let top = now[index..].iter().rev().find(|entry| entry.1 == line).map_or(key, |entry| entry.0);
        let cell = &mut found[line as usize][bar];
        cell.time += length;
        cell.low += f32::from(key) * length;
        cell.high += f32::from(top) * length;
        cell.lowest += if key == lowest { length } else { 0.0 };
        cell.highest += if top == highest { length } else { 0.0 };
        cell.accompanied += if alone { 0.0 } else { length };
    }
}
