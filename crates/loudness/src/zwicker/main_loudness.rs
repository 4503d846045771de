//! Main loudness of the twenty critical bands (ISO 532-1, A.3 to A.4).

use super::tables::{CRITICAL, DIFFUSE, LOW_RANGES, LOW_WEIGHTS, THRESHOLD, TRANSMISSION};
use crate::Field;

/// Main loudness in sone per Bark from third-octave levels in dB. The last entry closes the pattern and is 0.
pub(super) fn of(levels: &[f64; 28], field: Field) -> [f64; 21] {
    let mut main = [0.0; 21];
    let low = low_bands(levels);
    for band in 0..20 {
        let mut level = if band < 3 { low[band] } else { levels[band + 8] } - TRANSMISSION[band];
        if field == Field::Diffuse {
            level += DIFFUSE[band];
        }
        if level > THRESHOLD[band] {
            level -= CRITICAL[band];
            let grown = (0.75 + 0.25 * 10f64.powf(0.1 * (level - THRESHOLD[band]))).sqrt().sqrt() - 1.0;
            main[band] = (0.0635 * 10f64.powf(0.025 * THRESHOLD[band]) * grown).max(0.0);
        }
    }
    // The threshold varies within the lowest critical band.
    main[0] *= (0.4 + 0.32 * main[0].powf(0.2)).min(1.0);
    main
}

/// Levels in dB of the three lowest critical bands: eleven third octaves, weighted by equal loudness and added in power.
fn low_bands(levels: &[f64; 28]) -> [f64; 3] {
    let mut powers = [0.0; 3];
    for band in 0..11 {
        let range = (0..7).find(|&range| levels[band] <= LOW_RANGES[range] - LOW_WEIGHTS[range][band]).unwrap_or(7);
        let sum = match band {
            0..6 => 0,
            6..9 => 1,
            _ => 2,
        };
        powers[sum] += 10f64.powf(0.1 * (levels[band] + LOW_WEIGHTS[range][band]));
    }
    powers.map(|power| if power > 0.0 { 10.0 * power.log10() } else { 0.0 })
}
