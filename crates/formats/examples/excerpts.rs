//! Cuts every window of a score into files, for `reference/validate_xsd.py`.
//!
//!     cargo run -p ripieno-formats --example excerpts -- SCORE FOLDER BARS STEP

#![allow(clippy::unwrap_used, clippy::print_stdout)] // a tool for those who work on Ripieno

use std::path::Path;

use ripieno_formats::excerpt::{Cut, Parts, PitchShown, cut};
use ripieno_formats::{Limits, musicxml, read_file};
use ripieno_score::BarIndex;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [file, folder, bars, step] = &arguments[..] else { return println!("usage: excerpts SCORE FOLDER BARS STEP") };
    let (length, step): (u32, usize) = (bars.parse().unwrap(), step.parse().unwrap());
    let score = read_file(Path::new(file), &Limits::default()).unwrap().score;
    std::fs::create_dir_all(folder).unwrap();
    let name = Path::new(file).file_stem().unwrap().to_string_lossy();
    let count = u32::try_from(score.bars.len()).unwrap();
    for first in (0..count).step_by(step) {
        let last = (first + length - 1).min(count - 1);
        for (kind, pitch) in [("written", PitchShown::Written), ("concert", PitchShown::Concert)] {
            let window = Cut { parts: Parts::Sounding, pitch, ..Cut::bars(BarIndex(first), BarIndex(last)) };
            if let Ok(excerpt) = cut(&score, &window) {
                let path = Path::new(folder).join(format!("{name}-{:03}-{kind}.musicxml", first + 1));
                std::fs::write(path, musicxml::write_with_ids(&excerpt.score)).unwrap();
            }
        }
    }
}
