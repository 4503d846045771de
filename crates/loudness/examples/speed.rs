//! How fast loudness is: `cargo run --release -p ripieno-loudness --example speed`. Best of several runs on one core.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a tool for people who work on Ripieno

use std::hint::black_box;
use std::time::Instant;

use ripieno_loudness::Field;
use ripieno_loudness::ear::{Excitation, Tone, audibility_margin, excitation, partial_loudness, third_octaves};
use ripieno_loudness::zwicker::{RATE, from_levels, stationary, varying};

fn main() {
    let signal: Vec<f64> = (0..10 * RATE)
        .map(|index| {
            let time = f64::from(index) / f64::from(RATE);
            (1..20).map(|partial| 0.02 * (std::f64::consts::TAU * 220.0 * f64::from(partial) * time).sin()).sum()
        })
        .collect();
    let levels: [f64; 28] = std::array::from_fn(|band| 75.0 - band as f64);
    let tones: Vec<Tone> =
        (1..=40).map(|partial| Tone { hertz: 110.0 * f64::from(partial), level: 70.0 - f64::from(partial) }).collect();
    let masker = excitation(&third_octaves(&levels), Field::Free);
    let target = excitation(&tones, Field::Free);
    time("time-varying loudness of 10 s", 3, || varying(black_box(&signal), RATE, Field::Free).unwrap().n5().0);
    time("stationary loudness of 10 s", 3, || stationary(black_box(&signal), RATE, 0, Field::Free).unwrap().total.0);
    time("stationary loudness of 28 levels", 2000, || from_levels(black_box(&levels), Field::Free).unwrap().total.0);
    time("excitation of 40 tones", 200, || excitation(black_box(&tones), Field::Free).powers[40]);
    time("excitation of 28 bands", 100, || excitation(&third_octaves(black_box(&levels)), Field::Free).powers[40]);
    time("partial loudness of two excitations", 1000, || partial_loudness(black_box(&target), &masker).0);
    time("audibility margin of 40 tones", 50, || audibility_margin(black_box(&tones), &masker, Field::Free).unwrap());
    black_box(Excitation::SILENCE);
}

fn time(what: &str, runs: usize, work: impl Fn() -> f64) {
    let mut best = f64::MAX;
    for _ in 0..runs {
        let start = Instant::now();
        black_box(work());
        best = best.min(start.elapsed().as_secs_f64());
    }
    println!("{what}: {:.1} µs", best * 1e6);
}
