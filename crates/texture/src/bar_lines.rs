//! What one part does in one bar, as plain facts.

use ripieno_score::{Crotchets, Sounding};

/// The notes of one part in one played bar, summed up. A note held over from the bar before counts as sounding.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BarLine {
    /// Attacks: onset within the bar and the highest key begun there (`None` without pitch), in order.
    pub attacks: Vec<(Crotchets, Option<u8>)>,
    /// Time within the bar in which something sounds.
    pub sounding: Crotchets,
    /// Mean of the highest sounding key over that time; `None` without pitched notes.
    pub top: Option<f64>,
    /// Mean of the lowest sounding key over that time.
    pub bottom: Option<f64>,
    /// Keys of pitched notes that sound, ascending, each once.
    pub keys: Vec<u8>,
}

impl BarLine {
    /// Whether anything sounds.
    #[must_use]
    pub const fn is_silent(&self) -> bool {
        self.sounding.is_zero() && self.attacks.is_empty()
    }

    /// Whether only percussion without pitch sounds.
    #[must_use]
    pub fn is_unpitched(&self) -> bool {
        !self.is_silent() && self.keys.is_empty()
    }
}

/// The bars of every part: `[part][played bar]`. Cost grows with notes and the bars they last.
#[must_use]
pub fn bar_lines(sounding: &Sounding) -> Vec<Vec<BarLine>> {
    sounding
        .notes
        .of_part
        .iter()
        .map(|rows| {
            let mut bars = vec![BarLine::default(); sounding.bars.len()];
            let mut pieces: Vec<Vec<(Crotchets, Crotchets, Option<u8>)>> = vec![Vec::new(); bars.len()];
            for index in rows.clone() {
                let row = sounding.notes.row(index);
                let key = row.key.map(ripieno_score::MidiKey::number);
                let end = row.onset + row.duration;
                let first = row.bar as usize;
                push_attack(&mut bars[first], row.onset - sounding.bars[first].start, key);
                for (offset, bar) in sounding.bars[first..].iter().enumerate().take_while(|(_, bar)| bar.start < end) {
                    let (from, to) = (row.onset.max(bar.start), end.min(bar.start + bar.length));
                    if from < to {
                        pieces[first + offset].push((from, to, key));
                    }
                }
            }
            for (bar, pieces) in bars.iter_mut().zip(pieces) {
                sum_up(bar, &pieces);
            }
            bars
        })
        .collect()
}

fn push_attack(bar: &mut BarLine, at: Crotchets, key: Option<u8>) {
    match bar.attacks.last_mut() {
        Some(last) if last.0 == at => last.1 = last.1.max(key),
        _ => bar.attacks.push((at, key)),
    }
}

/// Fills in times and registers from the pieces of notes inside the bar.
fn sum_up(bar: &mut BarLine, pieces: &[(Crotchets, Crotchets, Option<u8>)]) {
    let mut points: Vec<Crotchets> = pieces.iter().flat_map(|piece| [piece.0, piece.1]).collect();
    points.sort_unstable();
    points.dedup();
    let (mut pitched_time, mut top, mut bottom) = (0.0, 0.0, 0.0);
    for pair in points.windows(2) {
        let length = pair[1] - pair[0];
        let here = pieces.iter().filter(|piece| piece.0 <= pair[0] && piece.1 >= pair[1]);
        let mut any = false;
        let (mut high, mut low) = (None::<u8>, None::<u8>);
        for piece in here {
            any = true;
            high = high.max(piece.2);
            low = match (low, piece.2) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            };
        }
        if any {
            bar.sounding += length;
        }
        if let (Some(high), Some(low)) = (high, low) {
            let seconds = length.to_f64();
            pitched_time += seconds;
            top += f64::from(high) * seconds;
            bottom += f64::from(low) * seconds;
        }
    }
    if pitched_time > 0.0 {
        bar.top = Some(top / pitched_time);
        bar.bottom = Some(bottom / pitched_time);
    }
    bar.keys = pieces.iter().filter_map(|piece| piece.2).collect();
    bar.keys.sort_unstable();
    bar.keys.dedup();
}
