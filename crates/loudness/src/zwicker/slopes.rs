//! Specific loudness over the critical-band rate, with the slopes by which a band covers higher ones (ISO 532-1, A.5).

use super::tables::{RANGES, STEEPNESS, UPPER};

/// Bands end a hair above their printed limits, so that the last tenth of a Bark belongs to them.
const HAIR: f64 = 1e-4;

/// Total loudness in sone of main loudnesses; fills in specific loudness in sone per Bark at 0.1, 0.2 ... 24.0 Bark when wanted.
pub(super) fn pattern(main: &[f64; 21], mut specific: Option<&mut [f64; 240]>) -> f64 {
    let (mut total, mut from, mut height, mut range, mut bin) = (0.0, 0.0, 0.0, 0, 0);
    for (band, (&next, &limit)) in main.iter().zip(&UPPER).enumerate() {
        let limit = limit + HAIR;
        let column = band.saturating_sub(1).min(7);
        while from < limit {
            let (start, top) = (from, height);
            let steepness = if top <= next {
                // The band rises above what reaches it from below: flat to its end.
                if top < next {
                    range = RANGES.iter().position(|&floor| floor <= next).unwrap_or(17);
                }
                (from, height) = (limit, next);
                total += next * (limit - start);
                0.0
            } else {
                // What lies below reaches over it: down the slope, to the next range, the band's own loudness or its end.
                let steepness = STEEPNESS[range][column];
                height = RANGES[range].max(next);
                from = start + (top - height) / steepness;
                if from > limit {
                    from = limit;
                    height = top - (limit - start) * steepness;
                }
                total += (from - start) * (top + height) / 2.0;
                steepness
            };
            if let Some(specific) = specific.as_deref_mut() {
                while bin < 240 && place(bin) <= from {
                    specific[bin] = if steepness == 0.0 { next } else { top - (place(bin) - start) * steepness };
                    bin += 1;
                }
            }
            while range < 17 && height <= RANGES[range] {
                range += 1;
            }
        }
    }
    total.max(0.0)
}

/// Critical-band rate of a bin in Bark.
#[allow(clippy::cast_precision_loss)] // up to 240
fn place(bin: usize) -> f64 {
    (bin + 1) as f64 / 10.0
}
