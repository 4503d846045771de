//! What the small networks of this program are made of: linear maps, norms, attention, and the numbers of their files.
//!
//! Sums are taken in one order on every machine (`wide.rs`). For crates that bring a network of their own.

pub use crate::learned::Forest;
use crate::model::halves;
pub use crate::model::text_and_numbers;
use crate::wide;

/// Half-precision numbers of a model file, taken in order; matrices are stored output by output.
#[derive(Debug)]
pub struct Numbers<'a>(pub &'a [u8]);

impl Numbers<'_> {
    /// The next `count` numbers; `None` when there are fewer or one is not finite.
    pub fn take(&mut self, count: usize) -> Option<Vec<f32>> {
        halves(&mut self.0, count)
    }

    /// The next linear map: weights, then bias.
    pub fn linear(&mut self, outputs: usize, inputs: usize) -> Option<Linear> {
        let rows = self.take(outputs.checked_mul(inputs)?)?;
        let weights = (0..inputs * outputs).map(|at| rows[at % outputs * inputs + at / outputs]).collect();
        Some(Linear { outputs, weights, bias: self.take(outputs)? })
    }

    /// The next norm of so many values: scale, then shift.
    pub fn norm(&mut self, width: usize) -> Option<Norm> {
        Some(Norm { scale: self.take(width)?, shift: self.take(width)? })
    }
}

/// A linear map; `weights[input * outputs + output]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Linear {
    /// Numbers it gives for a row.
    pub outputs: usize,
    /// One for each input and output.
    pub weights: Vec<f32>,
    /// One for each output.
    pub bias: Vec<f32>,
}

impl Linear {
    /// Rows of `inputs` to rows of `outputs`.
    #[must_use]
    pub fn apply(&self, x: &[f32]) -> Vec<f32> {
        wide::one_by_one(x, &self.weights, &self.bias)
    }
}

/// Scale and shift after normalising.
#[derive(Debug, Clone, PartialEq)]
pub struct Norm {
    /// One for each value of a row.
    pub scale: Vec<f32>,
    /// One for each value of a row.
    pub shift: Vec<f32>,
}

impl Norm {
    /// Each row less its mean, by its deviation, scaled and shifted.
    #[must_use]
    pub fn apply(&self, x: &[f32]) -> Vec<f32> {
        let mut out = x.to_vec();
        let width = self.scale.len().max(1);
        for row in out.chunks_exact_mut(width) {
            let mean = row.iter().sum::<f32>() / width as f32;
            let variance = row.iter().map(|value| (value - mean) * (value - mean)).sum::<f32>() / width as f32;
            let scale = 1.0 / (variance + 1e-5).sqrt();
            for (value, (by, to)) in row.iter_mut().zip(self.scale.iter().zip(&self.shift)) {
                *value = (*value - mean) * scale * by + to;
            }
        }
        out
    }
}

/// Attention among the tokens of one company. `qkv`: for each token queries, keys and values of all heads, one after the other; `lean[(asked * tokens + other) * heads + head]`
/// is added before the softmax. Gives what each token heard, heads one after the other.
#[must_use]
pub fn attend(qkv: &[f32], heads: usize, lean: &[f32]) -> Vec<f32> {
    let tokens = (lean.len() / heads.max(1)).isqrt();
    let width = qkv.len() / (3 * tokens.max(1));
    let head_width = width / heads.max(1);
    let mut out = vec![0.0; tokens * width];
    let mut logits: Vec<f32> = Vec::new();
    for asked in 0..tokens {
        let row = |token: usize, which: usize, head: usize| {
            let at = token * 3 * width + which * width + head * head_width;
            &qkv[at..at + head_width]
        };
        for head in 0..heads {
            logits.clear();
            let query = row(asked, 0, head);
            logits.extend((0..tokens).map(|other| {
                let product: f32 = query.iter().zip(row(other, 1, head)).map(|(q, k)| q * k).sum();
                product / (head_width as f32).sqrt() + lean[(asked * tokens + other) * heads + head]
            }));
            softmax(&mut logits);
            let at = asked * width + head * head_width;
            for (other, weight) in logits.iter().enumerate() {
                let value = row(other, 2, head);
                out[at..at + head_width].iter_mut().zip(value).for_each(|(sum, v)| *sum += weight * v);
            }
        }
    }
    out
}

/// Adds `y` to `x`, value by value.
pub fn add(x: &mut [f32], y: &[f32]) {
    x.iter_mut().zip(y).for_each(|(x, y)| *x += y);
}

/// Turns logits into shares that sum to 1.
pub fn softmax(values: &mut [f32]) {
    let most = values.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    values.iter_mut().for_each(|value| *value = (*value - most).exp());
    let sum: f32 = values.iter().sum();
    values.iter_mut().for_each(|value| *value /= sum);
}

/// Gaussian error linear unit; the error function by Abramowitz and Stegun 7.1.26, good to 1.5e-7.
#[must_use]
pub fn gelu(x: f32) -> f32 {
    let z = (x * std::f32::consts::FRAC_1_SQRT_2).abs();
    let t = 1.0 / (1.0 + 0.327_591_1 * z);
    let sum = t * (0.254_829_6 + t * (-0.284_496_74 + t * (1.421_413_7 + t * (-1.453_152 + t * 1.061_405_4))));
    let erf = (1.0 - sum * (-z * z).exp()).copysign(x);
    0.5 * x * (1.0 + erf)
}
