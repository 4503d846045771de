//! Writes what the role model reads and answers, for training and for checks against other programs.
//!
//! `cargo run --release -p ripieno-texture --example role_features -- OUT FILE...` writes for each score:
//! `OUT/STEM.f32`: a line `parts bars features names...`, then little-endian `f32[part][bar][feature]` (NaN undefined);
//! `OUT/STEM.logits.csv`: part, bar and the network's twenty raw answers;
//! and once for all `OUT/groups.csv` (piece, part, bar, melody, rhythm, harmony as 0 or 1) and `OUT/lead.csv` (piece, part index, onset and
//! offset in crotchets, strength), bars in written order. Seconds for each prediction go to standard output.

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{feature_table, predict, role_features, role_logits};

#[allow(clippy::print_stdout)] // it is a program
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let out = args.next().ok_or("role_features OUT FILE...")?;
    let out = Path::new(&out);
    fs::create_dir_all(out)?;
    let mut groups = fs::File::create(out.join("groups.csv")).map(std::io::BufWriter::new)?;
    let mut lead = fs::File::create(out.join("lead.csv")).map(std::io::BufWriter::new)?;
    writeln!(groups, "piece,part,bar,mel,rhythm,harm")?;
    writeln!(lead, "piece,part,onset,offset,melody")?;
    for path in args {
        let stem = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &fs::read(&path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let start = Instant::now();
        let roles = predict(&score, &sounding);
        println!("{stem}\t{} parts\t{} bars\t{:.3} s", score.parts.len(), sounding.bars.len(), start.elapsed().as_secs_f64());
        let names: Vec<&str> = feature_table().iter().map(|row| row.0).collect();
        let mut file = fs::File::create(out.join(format!("{stem}.f32"))).map(std::io::BufWriter::new)?;
        writeln!(file, "{} {} {} {}", score.parts.len(), sounding.bars.len(), names.len(), names.join(" "))?;
        for row in role_features(&score, &sounding).iter().flatten() {
            for feature in 0..names.len() {
                file.write_all(&row.get(feature).copied().unwrap_or(f32::NAN).to_le_bytes())?;
            }
        }
        let mut file = fs::File::create(out.join(format!("{stem}.logits.csv"))).map(std::io::BufWriter::new)?;
        for (part, bar, logits) in role_logits(&score, &sounding) {
            let logits: Vec<String> = logits.iter().map(ToString::to_string).collect();
            writeln!(file, "{part},{bar},{}", logits.join(","))?;
        }
        for (index, part) in score.parts.iter().enumerate() {
            for (bar, played) in sounding.bars.iter().enumerate() {
                let [m, r, h] = roles.groups(index, bar).map(u8::from);
                if m + r + h > 0 {
                    writeln!(groups, "{stem},{},{},{m},{r},{h}", part.name, bar + 1)?;
                }
                if roles.lead[index][bar] > 0.0 {
                    let (from, to) = (played.start.to_f64(), (played.start + played.length).to_f64());
                    writeln!(lead, "{stem},{index},{from},{to},{}", roles.lead[index][bar])?;
                }
            }
        }
    }
    Ok(())
}
