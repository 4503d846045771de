//! Measures raw sounds for `reference/loudness_agree.py`.
//!
//!     measure_raw FILE... : raw 32-bit floats, little-endian, mono, 48 kHz, in pascals
//!     measure_raw --programme CHANNELS RATE FILE... : the same interleaved, full scale 1
//!     measure_raw --contours : levels of the contours of ISO 226:2003
//!
//! One line of figures a file, separated by spaces.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a tool for people who work on Ripieno

use ripieno_loudness::contours::{self, Edition, FREQUENCIES};
use ripieno_loudness::zwicker::{RATE, stationary, varying};
use ripieno_loudness::{Field, Phons, programme};

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.first().map(String::as_str) {
        Some("--contours") => {
            for hertz in FREQUENCIES {
                let levels = [20.0, 40.0, 60.0, 80.0].map(|phon| contours::level(Edition::Iso2003, Phons(phon), hertz).unwrap());
                println!("{hertz} {levels:?}");
            }
        }
        Some("--programme") => {
            let (channels, rate) = (arguments[1].parse::<usize>().unwrap(), arguments[2].parse().unwrap());
            for file in &arguments[3..] {
                let samples = read(file);
                let split: Vec<Vec<f32>> =
                    (0..channels).map(|channel| samples.iter().skip(channel).step_by(channels).copied().collect()).collect();
                let slices: Vec<&[f32]> = split.iter().map(Vec::as_slice).collect();
                let found = programme::measure(&slices, rate).unwrap();
                println!("{} {} {} {}", found.integrated, found.short_term, found.range, found.true_peak);
            }
        }
        _ => {
            for file in &arguments {
                let pascals: Vec<f64> = read(file).into_iter().map(f64::from).collect();
                let [free, diffuse] =
                    [Field::Free, Field::Diffuse].map(|field| stationary(&pascals, RATE, 0, field).unwrap().total.0);
                let course = varying(&pascals, RATE, Field::Free).unwrap();
                println!("{free} {diffuse} {} {} {}", course.n5().0, course.n10().0, course.greatest().0);
            }
        }
    }
}

fn read(file: &str) -> Vec<f32> {
    let bytes = std::fs::read(file).unwrap();
    bytes.as_chunks::<4>().0.iter().map(|word| f32::from_le_bytes(*word)).collect()
}
