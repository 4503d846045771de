//! Times recognition on names given on standard input, one a line.
//! `cargo run --release -p ripieno-instruments --example speed < names.txt`
#![allow(clippy::print_stdout)]

use std::io::BufRead;
use std::time::Instant;

use ripieno_instruments::{Clues, recognise};

fn main() -> std::io::Result<()> {
    let names: Vec<String> = std::io::stdin().lock().lines().collect::<Result<_, _>>()?;
    // The first call reads the catalogue and builds the index.
    let start = Instant::now();
    let mut sum = recognise(&Clues::default()).confidence;
    let first = start.elapsed();
    let rounds = 50_u32;
    let mut slowest = std::time::Duration::ZERO;
    let start = Instant::now();
    for _ in 0..rounds {
        for name in &names {
            let one = Instant::now();
            sum += recognise(&Clues { name, ..Clues::default() }).confidence;
            slowest = slowest.max(one.elapsed());
        }
    }
    let each = start.elapsed() / (rounds * u32::try_from(names.len().max(1)).unwrap_or(u32::MAX));
    println!("first call {first:?}; {} names: {each:?} each, slowest {slowest:?} (sum {sum})", names.len());
    Ok(())
}
