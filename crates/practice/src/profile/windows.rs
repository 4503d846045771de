//! How much a value changes within its piece: the piece is cut into stretches of bars and measured again without each of them.
//!
//! The delete-one-block jackknife (H. R. Künsch, "The jackknife and the bootstrap for general stationary observations", Annals of
//! Statistics 17, 1989; the formula as in B. Efron and R. J. Tibshirani, "An Introduction to the Bootstrap", 1993, chapter 11):
//! with k blocks, the standard error is the root of (k − 1)/k times the sum of squared distances of the k values from their mean.

use std::collections::BTreeMap;

use crate::material::Material;
use crate::measure::{Subject, Taken, Unit, Value};
use crate::measures::take_all;

/// Stretches a piece is cut into.
pub const BLOCKS: u32 = 8;

/// The material without the bars `from..to`: measures that go by moments no longer see them.
fn without<'a>(material: &Material<'a>, from: u32, to: u32) -> Material<'a> {
    let mut rest = material.clone();
    rest.slices.slices.retain(|slice| !(from..to).contains(&slice.bar));
    rest
}

/// By what a value of a measure is found again.
type Name<'a> = (Subject, Option<Subject>, Unit, &'a str);

fn name(value: &Value) -> Name<'_> {
    (value.of, value.with, value.unit, &value.aspect)
}

/// Standard error of each value, in the order of `practice`; all `None` for a piece of fewer than two bars a block.
pub(crate) fn errors(material: &Material<'_>, practice: &[Taken]) -> Vec<Vec<Option<f64>>> {
    let bars = u32::try_from(material.sounding.bars.len()).unwrap_or(u32::MAX);
    let unknown = || practice.iter().map(|taken| vec![None; taken.values.len()]).collect();
    if bars < 2 * BLOCKS {
        return unknown();
    }
    let edge = |block: u32| u32::try_from(u64::from(bars) * u64::from(block) / u64::from(BLOCKS)).unwrap_or(bars);
    let blocks: Vec<(u32, u32)> = (0..BLOCKS).map(|block| (edge(block), edge(block + 1))).collect();
    let left: Vec<Vec<Taken>> = blocks.iter().map(|&(from, to)| take_all(&without(material, from, to))).collect();
    let found: Vec<Vec<BTreeMap<Name<'_>, f64>>> = left
        .iter()
        .map(|block| {
            block.iter().map(|taken| taken.values.iter().rev().map(|value| (name(value), value.value)).collect()).collect()
        })
        .collect();
    // Shares of bars are counted from the score itself; the bars they are of are found among those the measure of presence names.
    let wholes: Vec<Vec<u32>> = practice
        .iter()
        .filter(|taken| taken.measure.name == "presence")
        .flat_map(|taken| taken.values.iter().filter(|value| value.unit == Unit::ShareOfBars).map(|value| value.bars.clone()))
        .chain([(0..bars).collect()])
        .collect();
    let of_value = |measure: usize, at: usize| -> Option<f64> {
        let value = &practice[measure].values[at];
        let shares = matches!(value.unit, Unit::ShareOfTime | Unit::ShareOfPlayerTime | Unit::ShareOfNotes);
        match value.unit {
            Unit::ShareOfBars => by_bars(&value.bars, value.value, &wholes, &blocks),
            // What adds up over a piece has no mean to lie around: its events are taken as they fall into the blocks.
            Unit::Crotchets | Unit::Count | Unit::Bars if practice[measure].measure.name != "density" => {
                by_events(&value.bars, value.value, bars, &blocks)
            }
            _ => {
                let again =
                    |block: &Vec<BTreeMap<Name<'_>, f64>>| block[measure].get(&name(value)).copied().or(shares.then_some(0.0));
                let values: Vec<f64> = found.iter().filter_map(again).collect();
                // A measure that does not go by moments has not changed at all, which tells nothing.
                let moved = values.iter().any(|other| (other - value.value).abs() > 1e-12);
                (moved && values.len() == left.len()).then(|| jackknife(&values))
            }
        }
    };
    practice
        .iter()
        .enumerate()
        .map(|(measure, taken)| (0..taken.values.len()).map(|at| of_value(measure, at)).collect())
        .collect()
}

/// Standard error by the values found without each block.
#[allow(clippy::cast_precision_loss)] // a handful
fn jackknife(values: &[f64]) -> f64 {
    let k = values.len() as f64;
    let mean = values.iter().sum::<f64>() / k;
    ((k - 1.0) / k * values.iter().map(|value| (value - mean).powi(2)).sum::<f64>()).sqrt()
}

#[allow(clippy::cast_precision_loss)] // bars of a score
fn by_bars(bars: &[u32], share: f64, wholes: &[Vec<u32>], blocks: &[(u32, u32)]) -> Option<f64> {
    let is_whole = |whole: &&Vec<u32>| {
        (whole.len() as f64 * share - bars.len() as f64).abs() < 1e-6 && bars.iter().all(|bar| whole.binary_search(bar).is_ok())
    };
    let whole = wholes.iter().find(is_whole)?;
    let outside = |bars: &[u32], block: &(u32, u32)| bars.iter().filter(|bar| !(block.0..block.1).contains(bar)).count() as f64;
    let values: Vec<f64> =
        blocks.iter().map(|block| outside(bars, block) / outside(whole, block)).filter(|value| value.is_finite()).collect();
    (values.len() > 1).then(|| jackknife(&values))
}

/// A sum that falls evenly on its bars, set against the length of what is left.
#[allow(clippy::cast_precision_loss)] // bars of a score
fn by_events(bars: &[u32], sum: f64, all: u32, blocks: &[(u32, u32)]) -> Option<f64> {
    if bars.is_empty() {
        return None;
    }
    let rate = |block: &(u32, u32)| {
        let outside = bars.iter().filter(|bar| !(block.0..block.1).contains(bar)).count() as f64;
        sum * outside / bars.len() as f64 * f64::from(all) / f64::from(all - (block.1 - block.0))
    };
    Some(jackknife(&blocks.iter().map(rate).collect::<Vec<_>>()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// For a mean the jackknife is the usual standard error, s over the root of n (Efron and Tibshirani 1993, 11.2).
    #[test]
    fn of_a_mean_it_is_the_usual_standard_error() {
        let data = [2.0, 4.0, 4.0, 5.0, 7.0, 9.0, 11.0, 14.0];
        let n = 8.0;
        let mean: f64 = data.iter().sum::<f64>() / n;
        let usual = (data.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0) / n).sqrt();
        let left: Vec<f64> = data.iter().map(|x| (mean * n - x) / (n - 1.0)).collect();
        assert!((jackknife(&left) - usual).abs() < 1e-12);
    }

    #[test]
    fn shares_of_bars_find_what_they_are_of() {
        let blocks = [(0, 2), (2, 4)];
        // 2 of the 4 bars, both in the first block: without it 0 of 2, without the second 2 of 2.
        assert!((by_bars(&[0, 1], 0.5, &[vec![0, 1, 2, 3]], &blocks).unwrap() - 0.5).abs() < 1e-12);
        assert_eq!(by_bars(&[0, 1], 0.4, &[vec![0, 1, 2, 3]], &blocks), None);
    }
}
