//! Writes what each part attacks, for finding out why a stated doubling is not told.
//!
//! `cargo run --release -p ripieno-texture --example attacks_played -- FILE...` prints `piece,part,line,onset,end,key`: parts and lines from 0,
//! crotchets with repeats played out, MIDI keys; of an instrument that plays chords the highest key. A line `piece,,BAR,START,END,` stands for each bar
//! played, named by its place among the bars as written, from 0.

use std::fs;
use std::path::Path;

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::Lines;

#[allow(clippy::print_stdout)] // it is a program
fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("piece,part,line,onset,end,key");
    for path in std::env::args().skip(1) {
        let stem = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &fs::read(&path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsPlayed);
        for (index, line) in Lines::new(&score, &sounding).lines.iter().enumerate() {
            for attack in &line.attacks {
                let Some(key) = attack.top else { continue };
                println!("{stem},{},{index},{},{},{key}", line.part, attack.onset.to_f64(), attack.end.to_f64());
            }
        }
        for bar in &sounding.bars {
            println!("{stem},,{},{},{},", bar.bar.at(), bar.start.to_f64(), (bar.start + bar.length).to_f64());
        }
    }
    Ok(())
}
