//! Writes the statements of themes, for scoring against labels.
//!
//! `cargo run --release -p ripieno-texture --example themes_told -- FILE...` prints `piece,theme,part,onset,end,notes,transposition,scale,similarity`
//! (part from 0, crotchets, scale as a fraction); supporters of a statement follow as lines of the same form with their own part. Seconds go to standard error.

use std::fs;
use std::path::Path;
use std::time::Instant;

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{themes, top_lines};

#[allow(clippy::print_stdout, clippy::print_stderr)] // it is a program
fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("piece,theme,part,onset,end,notes,transposition,scale,similarity");
    for path in std::env::args().skip(1) {
        let stem = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &fs::read(&path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let start = Instant::now();
        let lines = top_lines(&sounding);
        let found = themes(&lines);
        eprintln!("{stem}\t{} notes\t{} themes\t{:.3} s", sounding.notes.len(), found.len(), start.elapsed().as_secs_f64());
        for theme in &found {
            for s in &theme.statements {
                for part in std::iter::once(s.part).chain(s.supporters.iter().map(|supporter| supporter.part)) {
                    let (onset, end) = (s.onset.to_f64(), s.end.to_f64());
                    let tail = format!("{},{},{},{:.2}", s.notes.len(), s.transposition, s.time_scale, s.similarity);
                    println!("{stem},{},{part},{onset},{end},{tail}", theme.id);
                }
            }
        }
    }
    Ok(())
}
