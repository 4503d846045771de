//! Rows of numbers times a matrix of weights, with the widest vectors the processor has.
//!
//! Which instructions those are is found out when the program runs. Each sum is taken in one order whatever they are and products are rounded
//! before they are added, so that every machine gives the same bytes.
//!
//! A matrix holds `weights[input * outputs + output]`; there are as many outputs as `bias` is long.

use pulp::{Arch, Simd, WithSimd};

/// Outputs summed at a time: for four rows two vectors of eight each, as many as stay in registers.
const COLUMNS: usize = 16;

/// For each row of inputs in `x`, bias plus each input times its weights, one input after the other.
pub(crate) fn one_by_one(x: &[f32], weights: &[f32], bias: &[f32]) -> Vec<f32> {
    let mut out = repeated(bias, x, weights);
    if !out.is_empty() {
        Arch::new().dispatch(OneByOne { out: &mut out, x, weights, outputs: bias.len() });
    }
    out
}

/// The same, four inputs being summed before they are added.
pub(crate) fn by_fours(x: &[f32], weights: &[f32], bias: &[f32]) -> Vec<f32> {
    let mut out = repeated(bias, x, weights);
    if !out.is_empty() {
        Arch::new().dispatch(ByFours { out: &mut out, x, weights, outputs: bias.len() });
    }
    out
}

/// Adds to `out` each value of one row `x` times its weights, four values being summed before they are added and four zeros passed over.
pub(crate) fn add_by_fours(out: &mut [f32], x: &[f32], weights: &[f32]) {
    let outputs = out.len();
    if outputs > 0 && !x.is_empty() {
        Arch::new().dispatch(ByFours { out, x, weights: &weights[..x.len() * outputs], outputs });
    }
}

/// The bias, once for each row.
fn repeated(bias: &[f32], x: &[f32], weights: &[f32]) -> Vec<f32> {
    let inputs = weights.len() / bias.len().max(1);
    bias.iter().copied().cycle().take(x.len() / inputs.max(1) * bias.len()).collect()
}

struct OneByOne<'a> {
    out: &'a mut [f32],
    x: &'a [f32],
    weights: &'a [f32],
    outputs: usize,
}

impl WithSimd for OneByOne<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Self { out, x, weights, outputs } = self;
        let inputs = weights.len() / outputs;
        let (mut fours, mut x_fours) = (out.chunks_exact_mut(4 * outputs), x.chunks_exact(4 * inputs));
        for (out, x) in fours.by_ref().zip(x_fours.by_ref()) {
            four_rows(out, x, weights, outputs);
        }
        let rest = fours.into_remainder().chunks_exact_mut(outputs);
        for (out, x) in rest.zip(x_fours.remainder().chunks_exact(inputs)) {
            one_row(out, x, weights, outputs, 0);
        }
    }
}

/// Adds to the outputs of one row, from the one counted `from`, each value times its weights.
#[inline(always)]
fn one_row(out: &mut [f32], x: &[f32], weights: &[f32], outputs: usize, from: usize) {
    for (&value, weights) in x.iter().zip(weights.chunks_exact(outputs)) {
        out[from..].iter_mut().zip(&weights[from..]).for_each(|(out, weight)| *out += value * weight);
    }
}

/// Four rows at a time, so that each weight is fetched once for them; their sums stay in registers from the first input to the last.
#[inline(always)]
fn four_rows(out: &mut [f32], x: &[f32], weights: &[f32], outputs: usize) {
    let inputs = x.len() / 4;
    let (x0, x1, x2, x3) = quarters(x);
    let (y0, rest) = out.split_at_mut(outputs);
    let (y1, rest) = rest.split_at_mut(outputs);
    let (y2, y3) = rest.split_at_mut(outputs);
    let rows = y0.chunks_exact_mut(COLUMNS).zip(y1.chunks_exact_mut(COLUMNS));
    let rows = rows.zip(y2.chunks_exact_mut(COLUMNS).zip(y3.chunks_exact_mut(COLUMNS)));
    for (tile, ((y0, y1), (y2, y3))) in rows.enumerate() {
        let [mut s0, mut s1, mut s2, mut s3] = [[0f32; COLUMNS]; 4];
        s0.copy_from_slice(y0);
        s1.copy_from_slice(y1);
        s2.copy_from_slice(y2);
        s3.copy_from_slice(y3);
        let values = x0.iter().zip(x1).zip(x2.iter().zip(x3));
        for (((a, b), (c, d)), weights) in values.zip(weights.chunks_exact(outputs)) {
            let weights = &weights[tile * COLUMNS..(tile + 1) * COLUMNS];
            s0.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += a * weight);
            s1.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += b * weight);
            s2.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += c * weight);
            s3.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += d * weight);
        }
        y0.copy_from_slice(&s0);
        y1.copy_from_slice(&s1);
        y2.copy_from_slice(&s2);
        y3.copy_from_slice(&s3);
    }
    let whole = outputs - outputs % COLUMNS;
    if whole < outputs {
        for (out, x) in out.chunks_exact_mut(outputs).zip(x.chunks_exact(inputs)) {
            one_row(out, x, weights, outputs, whole);
        }
    }
}

#[inline(always)]
fn quarters(x: &[f32]) -> (&[f32], &[f32], &[f32], &[f32]) {
    let (first, second) = x.split_at(x.len() / 2);
    let ((a, b), (c, d)) = (first.split_at(first.len() / 2), second.split_at(second.len() / 2));
    (a, b, c, d)
}

struct ByFours<'a> {
    out: &'a mut [f32],
    x: &'a [f32],
    weights: &'a [f32],
    outputs: usize,
}

impl WithSimd for ByFours<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Self { out, x, weights, outputs } = self;
        let inputs = weights.len() / outputs;
        for (out, x) in out.chunks_exact_mut(outputs).zip(x.chunks_exact(inputs)) {
            let mut rows = weights.chunks_exact(outputs);
            for four in x.chunks(4) {
                if four.iter().all(|&value| value == 0.0) {
                    rows.by_ref().take(four.len()).for_each(drop);
                } else if let [a, b, c, d] = *four
                    && let (Some(p), Some(q), Some(r), Some(s)) = (rows.next(), rows.next(), rows.next(), rows.next())
                {
                    let weights = p.iter().zip(q).zip(r.iter().zip(s));
                    for (out, ((p, q), (r, s))) in out.iter_mut().zip(weights) {
                        *out += a * p + b * q + (c * r + d * s);
                    }
                } else {
                    for (&value, row) in four.iter().zip(rows.by_ref()) {
                        out.iter_mut().zip(row).for_each(|(out, weight)| *out += value * weight);
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Some numbers that are not round.
    fn numbers(count: usize, seed: usize) -> Vec<f32> {
        (0..count).map(|i| ((i * 7919 + seed * 104_729) % 1009) as f32 / 331.0 - 1.5).collect()
    }

    #[test]
    fn every_sum_is_taken_in_the_order_told() {
        for (rows, inputs, outputs) in [(1, 1, 1), (3, 5, 17), (4, 8, 16), (9, 78, 31), (6, 19, 96), (0, 4, 4)] {
            let (x, weights, bias) = (numbers(rows * inputs, 1), numbers(inputs * outputs, 2), numbers(outputs, 3));
            let single = one_by_one(&x, &weights, &bias);
            let fours = by_fours(&x, &weights, &bias);
            for row in 0..rows {
                let x = &x[row * inputs..(row + 1) * inputs];
                let mut added = bias.clone();
                add_by_fours(&mut added, x, &weights);
                for output in 0..outputs {
                    let product = |input: usize| x[input] * weights[input * outputs + output];
                    let (mut one, mut four) = (bias[output], bias[output]);
                    (0..inputs).for_each(|input| one += product(input));
                    for from in (0..inputs).step_by(4) {
                        if from + 4 <= inputs {
                            four += product(from) + product(from + 1) + (product(from + 2) + product(from + 3));
                        } else {
                            (from..inputs).for_each(|input| four += product(input));
                        }
                    }
                    let at = row * outputs + output;
                    assert_eq!([single[at], fours[at], added[output]].map(f32::to_bits), [one, four, four].map(f32::to_bits));
                }
            }
        }
    }
}
