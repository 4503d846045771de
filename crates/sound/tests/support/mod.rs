//! Tools to measure renderings with.
#![allow(dead_code)] // each test uses its share

use realfft::RealFftPlanner;
/// Mean square at each frequency, of a length-n transform under a Hann window, so that their sum is the mean square.
pub fn powers(samples: &[f32]) -> Vec<f64> {
    let n = samples.len();
    let window = |at: usize| 0.5 - 0.5 * (std::f64::consts::TAU * at as f64 / n as f64).cos();
    let windowed: Vec<f64> = samples.iter().enumerate().map(|(at, s)| f64::from(*s) * window(at)).collect();
    transformed(windowed).iter().map(|power| power / 0.375).collect()
}

/// The same without a window, for sounds that begin and end in silence.
pub fn transformed(mut input: Vec<f64>) -> Vec<f64> {
    let n = input.len();
    let mut planner = RealFftPlanner::<f64>::new();
    let transform = planner.plan_fft_forward(n);
    let mut output = transform.make_output_vec();
    transform.process(&mut input, &mut output).unwrap();
    output.iter().map(|value| 2.0 * value.norm_sqr() / (n as f64).powi(2)).collect()
}

/// The fundamental in hertz: the strongest frequency, between bins by a parabola.
pub fn strongest(samples: &[f32], rate: f64) -> f64 {
    let spectrum = powers(samples);
    let at = (1..spectrum.len() - 1).max_by(|a, b| spectrum[*a].total_cmp(&spectrum[*b])).unwrap();
    let [a, b, c] = [at - 1, at, at + 1].map(|i| spectrum[i].ln());
    (at as f64 + 0.5 * (a - c) / (a - 2.0 * b + c)) * rate / samples.len() as f64
}
