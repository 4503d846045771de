//! How long each step of the analysis takes, and how it grows with the length of the music.
//!
//! `cargo run --release -p ripieno-study --example analysis_speed -- SCORE...` analyses each score as it is and written out 2, 4 and 8
//! times in a row; seconds are the best of three on one core, reading left out.
#![allow(clippy::print_stdout)] // it is a program

use std::path::Path;
use std::time::Instant;

use ripieno_formats::{Limits, read_file};
use ripieno_practice::{Groups, Material, take_all};
use ripieno_score::{BarIndex, Score, Sounding, Unroll};
use ripieno_texture::{Doublings, Lines, harmony, predict, read_roles, themes, top_lines};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("score\ttimes\tbars\tparts\tnotes\tsounding\tlearned\troles\tharmony\tthemes\tpractice\tall\tmicroseconds a note");
    for path in std::env::args().skip(1) {
        let score = read_file(Path::new(&path), &Limits::default())?.score;
        for times in [1, 2, 4, 8] {
            let long = in_a_row(&score, times);
            let mut best = [f64::INFINITY; 6];
            let mut notes = 0;
            for _ in 0..3 {
                let mut seconds = [0.0; 6];
                let mut at = Instant::now();
                let mut lap = |step: usize| {
                    seconds[step] = at.elapsed().as_secs_f64();
                    at = Instant::now();
                };
                let sounding = Sounding::new(&long, Unroll::AsWritten);
                lap(0);
                let learned = predict(&long, &sounding);
                lap(1);
                let lines = Lines::new(&long, &sounding);
                let roles = read_roles(&long, &sounding, &lines, &learned);
                let doublings = Doublings::new(&sounding, &lines);
                lap(2);
                let chords = harmony(&sounding);
                lap(3);
                let ideas = themes(&top_lines(&sounding));
                lap(4);
                let groups = Groups::new(&long);
                let material = Material::new(&long, &sounding, &groups, &lines, &doublings, &roles, &chords, &ideas);
                std::hint::black_box(take_all(&material));
                lap(5);
                notes = sounding.notes.len();
                best.iter_mut().zip(seconds).for_each(|(best, new)| *best = best.min(new));
            }
            let all: f64 = best.iter().sum();
            let laps: Vec<String> = best.iter().map(|seconds| format!("{seconds:.3}")).collect();
            let name = Path::new(&path).file_stem().unwrap_or_default().to_string_lossy().into_owned();
            #[allow(clippy::cast_precision_loss)] // counts of notes
            let each = all * 1e6 / notes.max(1) as f64;
            println!(
                "{name}\t{times}\t{}\t{}\t{notes}\t{}\t{all:.3}\t{each:.1}",
                long.bars.len(),
                long.parts.len(),
                laps.join("\t")
            );
        }
    }
    Ok(())
}

/// The score several times in a row, repeats left as they stand.
fn in_a_row(score: &Score, times: u32) -> Score {
    let bars = u32::try_from(score.bars.len()).unwrap_or(u32::MAX);
    let mut long = score.clone();
    for round in 1..times {
        let later = |bar: BarIndex| BarIndex(bar.0 + round * bars);
        long.bars.extend(score.bars.iter().cloned());
        for (part, once) in long.parts.iter_mut().zip(&score.parts) {
            let first = u32::try_from(part.notes.len()).unwrap_or(u32::MAX);
            part.notes.extend(once.notes.iter().cloned().map(|mut note| {
                note.bar = later(note.bar);
                note
            }));
            part.rests.extend(once.rests.iter().cloned().map(|mut rest| {
                rest.bar = later(rest.bar);
                rest
            }));
            part.marks.extend(once.marks.iter().cloned().map(|(note, mark)| (note + first, mark)));
            part.directions.extend(once.directions.iter().cloned().map(|mut direction| {
                direction.bar = later(direction.bar);
                direction
            }));
            part.changes.extend(once.changes.iter().cloned().map(|mut change| {
                change.bar = later(change.bar);
                change
            }));
        }
    }
    long.finish();
    long
}
