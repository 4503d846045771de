//! Who leads in every bar when the program reads leads that another network gave:
//! `cargo run --release -p ripieno-texture --example melody_told -- LEADS.csv SCORE... > TOLD.csv`
//!
//! Both tables have the columns piece, part, onset, offset (crotchets), melody: in LEADS natural logarithms of shares of the lead, in TOLD
//! strengths after the reading of `read_roles`, to be compared within a bar. `model/roles/melody.py grid` calls it.
#![allow(clippy::print_stdout)] // a table is what it is for

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;

use ripieno_formats::{Limits, read};
use ripieno_score::{Crotchets, Sounding, Unroll};
use ripieno_texture::{FigureProbabilities, Lines, RoleProbabilities, read_roles};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let leads = std::fs::read_to_string(args.next().ok_or("melody_told LEADS.csv SCORE...")?)?;
    // By piece, part and onset in 48ths of a crotchet.
    let mut given: BTreeMap<(&str, usize, i64), f32> = BTreeMap::new();
    for line in leads.lines().skip(1) {
        let columns: Vec<&str> = line.split(',').collect();
        let [piece, part, onset, _, lead] = columns[..] else { return Err(format!("not five columns: {line}").into()) };
        given.insert((piece, part.parse()?, slot(onset.parse()?)), lead.parse()?);
    }
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    writeln!(out, "piece,part,onset,offset,melody")?;
    for path in args {
        let piece = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &std::fs::read(&path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let (parts, bars) = (score.parts.len(), &sounding.bars);
        // The labels say nothing, so that nothing but the leads of the other network is read.
        let even = vec![vec![0.5; bars.len()]; parts];
        let lead = |part: usize, start: Crotchets| given.get(&(piece.as_str(), part, slot(start.to_f64())));
        let learned = RoleProbabilities {
            lead: (0..parts)
                .map(|p| bars.iter().map(|bar| lead(p, bar.start).map_or(0.0, |lead| lead.exp())).collect())
                .collect(),
            melody: even.clone(),
            rhythm: even.clone(),
            harmony: even,
            figures: vec![vec![FigureProbabilities::default(); bars.len()]; parts],
            ..RoleProbabilities::default()
        };
        let told = read_roles(&score, &sounding, &Lines::new(&score, &sounding), &learned).leads;
        for (part, strengths) in told.iter().enumerate() {
            for (bar, strength) in bars.iter().zip(strengths).filter(|(_, strength)| **strength > 0.0) {
                let (from, to) = (bar.start.to_f64(), (bar.start + bar.length).to_f64());
                writeln!(out, "{piece},{part},{from:.6},{to:.6},{strength:.6}")?;
            }
        }
    }
    Ok(())
}

#[allow(clippy::cast_possible_truncation)] // bars of a score
fn slot(crotchets: f64) -> i64 {
    (crotchets * 48.0).round() as i64
}
