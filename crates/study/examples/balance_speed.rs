//! What the balance of a score costs beside its study: `cargo run --release -p ripieno-study --example balance_speed -- FILE...`
//!
//! For each file: notes, bars, parts, seconds of reading and studying, seconds of the balance, and their ratio, in one process and on one core.
#![allow(clippy::print_stdout)] // it is a program

use std::path::Path;
use std::time::Instant;

use ripieno_formats::Limits;
use ripieno_study::acoustics::{Grade, Situation};
use ripieno_study::analyse_file;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for file in std::env::args().skip(1) {
        let start = Instant::now();
        let study = analyse_file(Path::new(&file), &Limits::default())?;
        let studied = start.elapsed().as_secs_f64();
        let start = Instant::now();
        let balance = study.balance(Situation::hall())?;
        let weighed = start.elapsed().as_secs_f64();
        println!(
            "{}: {} notes, {} bars, {} parts; study {studied:.2} s, balance {weighed:.2} s, ratio {:.2}; melody covered in {} bars, hard to hear in {}; {} spots, {} chords",
            study.file,
            study.sounding.notes.len(),
            study.sounding.bars.len(),
            study.score.parts.len(),
            weighed / studied,
            balance.bars_graded(|grade| grade == Grade::Covered).len(),
            balance.bars_graded(|grade| grade == Grade::Hard).len(),
            balance.spots.len(),
            balance.chords.len()
        );
        for finding in balance.sentences(&study) {
            println!("  {} [{}]", finding.text, study.cite(&finding.bars));
        }
    }
    Ok(())
}
