//! Pedals: one tone, held or repeated, through changing harmony.

use ripieno_score::Sounding;

use super::cell::Cell;
use super::figure::ramp;

/// Harmony has changed from one bar to the next when the pitch classes around the tone, weighed by time, agree less than this
/// (cosine of the two vectors).
const CHANGED: f32 = 0.75;

/// How surely each cell is part of a pedal, 0 to 1: the tone lasts (from five crotchets on, surely from ten), sounds most of that
/// time, and the harmony without it changes at least once, surely twice.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // times and counts of bars in single precision
pub(crate) fn pedals(sounding: &Sounding, cells: &[Cell]) -> Vec<f32> {
    let notes = &sounding.notes;
    let mut classes = vec![[0.0f32; 12]; sounding.bars.len()];
    for cell in cells {
        let (start, end) = (sounding.bars[cell.bar].start, sounding.bars[cell.bar].start + sounding.bars[cell.bar].length);
        for &row in &cell.rows {
            let row = row as usize;
            let Some(key) = notes.key[row] else { continue };
            let time = (notes.onset[row] + notes.duration[row]).min(end) - notes.onset[row].max(start);
            classes[cell.bar][usize::from(key.number() % 12)] += time.to_f64().max(0.0) as f32;
        }
    }
    let mut found = vec![0.0; cells.len()];
    let mut first = 0;
    while first < cells.len() {
        let Some(class) = cells[first].single_class() else {
            first += 1;
            continue;
        };
        let goes_on = |pair: &[Cell]| {
            pair[1].line == pair[0].line && pair[1].bar == pair[0].bar + 1 && pair[1].single_class() == Some(class)
        };
        let stretch = 1 + cells[first..].windows(2).take_while(|pair| goes_on(pair)).count();
        let run = &cells[first..first + stretch];
        let changes = run.windows(2).filter(|pair| alike(&classes[pair[0].bar], &classes[pair[1].bar], class) < CHANGED).count();
        let time: f32 = run.iter().map(|cell| cell.length * cell.sounding).sum();
        let cover = run.iter().map(|cell| cell.sounding).sum::<f32>() / stretch as f32;
        found[first..first + stretch].fill(ramp(5.0, 10.0, time) * ramp(0.0, 1.5, changes as f32) * ramp(0.4, 0.8, cover));
        first += stretch;
    }
    found
}

/// Agreement of two bars' pitch classes without `class`; 1 when one of them has no other.
fn alike(a: &[f32; 12], b: &[f32; 12], class: u8) -> f32 {
    let (mut dot, mut of_a, mut of_b) = (0.0, 0.0, 0.0);
    for (_, (x, y)) in (0u8..).zip(a.iter().zip(b)).filter(|(other, _)| *other != class) {
        dot += x * y;
        of_a += x * x;
        of_b += y * y;
    }
    if of_a * of_b > 0.0 { dot / (of_a * of_b).sqrt() } else { 1.0 }
}
