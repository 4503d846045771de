//! Moments and findings of scores as text, to be read against the notes.
//!
//! `cargo run -p ripieno-practice --example told -- SCORE...`
#![allow(clippy::print_stdout)] // it is a program

use std::path::Path;

use ripieno_formats::{Limits, read_file};
use ripieno_practice::{Groups, Material, bar_label, noteworthy, take_all};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{Doublings, Lines, harmony, predict, read_roles, themes, top_lines};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for path in std::env::args().skip(1) {
        let score = read_file(Path::new(&path), &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let groups = Groups::new(&score);
        let lines = Lines::new(&score, &sounding);
        let doublings = Doublings::new(&sounding, &lines);
        let roles = read_roles(&score, &sounding, &lines, &predict(&score, &sounding));
        let (chords, ideas) = (harmony(&sounding), themes(&top_lines(&sounding)));
        let material = Material::new(&score, &sounding, &groups, &lines, &doublings, &roles, &chords, &ideas);
        let at = std::time::Instant::now();
        let practice = take_all(&material);
        let measured = at.elapsed().as_secs_f64();
        let (moments, sentences) = noteworthy(&material, &practice);
        let told = at.elapsed().as_secs_f64() - measured;
        println!(
            "\n===== {path}: {} bars, {} parts; measures {measured:.2} s, told {told:.2} s",
            sounding.bars.len(),
            score.parts.len()
        );
        let label = |bar: u32| bar_label(&score, &sounding, bar);
        for moment in &moments {
            let bars = (label(moment.bars.start), label(moment.bars.end - 1));
            println!("M {:.2} [{}-{}] {}: {}", moment.weight, bars.0, bars.1, moment.kind, moment.reason);
        }
        for said in &sentences {
            let runs = said.bars.chunk_by(|a, b| a + 1 == *b).map(|run| match run {
                [one] => label(*one),
                run => format!("{}-{}", label(run[0]), label(run[run.len() - 1])),
            });
            let bars: String = runs.collect::<Vec<_>>().join(" ").chars().take(100).collect();
            println!("F {:.2} {} [{bars}]", said.weight, said.text);
        }
    }
    Ok(())
}
