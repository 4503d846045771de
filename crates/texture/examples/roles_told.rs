//! Roles of every part in every bar when the program reads probabilities of models that never saw the work:
//! `cargo run --release -p ripieno-texture --example roles_told -- LEARNED.csv SCORE... > TOLD.csv`
//!
//! LEARNED has the columns piece, part (name), bar (from 1), melody, rhythm, harmony, lead; what it lacks is what the shipped model says.
//! TOLD has piece, part, bar, roles, a row a line, the first role first. `model/roles/told.py` writes the one and judges the other.
#![allow(clippy::print_stdout)] // a table is what it is for

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{Lines, predict, read_roles};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let table = std::fs::read_to_string(args.next().ok_or("roles_told LEARNED.csv SCORE...")?)?;
    let mut given: BTreeMap<(&str, &str, usize), [f32; 4]> = BTreeMap::new();
    for line in table.lines().skip(1) {
        let columns: Vec<&str> = line.split(',').collect();
        let [piece, part, bar, melody, rhythm, harmony, lead] = columns[..] else {
            return Err(format!("not seven columns: {line}").into());
        };
        given.insert((piece, part, bar.parse()?), [melody.parse()?, rhythm.parse()?, harmony.parse()?, lead.parse()?]);
    }
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    writeln!(out, "piece,part,bar,roles")?;
    for path in args {
        let piece = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &std::fs::read(&path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let mut learned = predict(&score, &sounding);
        for (at, part) in score.parts.iter().enumerate() {
            for bar in 0..sounding.bars.len() {
                if let Some(&[melody, rhythm, harmony, lead]) = given.get(&(piece.as_str(), part.name.as_ref(), bar + 1)) {
                    learned.melody[at][bar] = melody;
                    learned.rhythm[at][bar] = rhythm;
                    learned.harmony[at][bar] = harmony;
                    learned.lead[at][bar] = lead;
                }
            }
        }
        for span in read_roles(&score, &sounding, &Lines::new(&score, &sounding), &learned).spans {
            let roles: Vec<String> = span.roles.iter().map(|held| held.role.to_string()).collect();
            for bar in span.bars {
                writeln!(out, "{piece},{},{},{}", score.parts[span.part].name, bar + 1, roles.join(";"))?;
            }
        }
    }
    Ok(())
}
