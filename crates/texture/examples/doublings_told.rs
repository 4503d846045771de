//! Writes who doubles whom, for scoring against annotated relations between parts.
//!
//! `cargo run --release -p ripieno-texture --example doublings_told -- FILE...` prints `piece,a,b,onset,end,interval,shared`: parts from 0,
//! crotchets with repeats played out, semitones from a up to b, shared notes.

use std::fs;
use std::path::Path;

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{Doublings, Lines};

#[allow(clippy::print_stdout)] // it is a program
fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("piece,a,b,onset,end,interval,shared");
    for path in std::env::args().skip(1) {
        let stem = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &fs::read(&path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsPlayed);
        let lines = Lines::new(&score, &sounding);
        for doubling in &Doublings::new(&sounding, &lines).all {
            let (a, b) = (lines.lines[doubling.a].part, lines.lines[doubling.b].part);
            if a != b {
                let (from, to) = (doubling.from.to_f64(), doubling.to.to_f64());
                println!("{stem},{a},{b},{from},{to},{},{}", doubling.interval, doubling.shared);
            }
        }
    }
    Ok(())
}
