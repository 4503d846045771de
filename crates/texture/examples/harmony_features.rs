//! Writes what the harmony network reads, for training.
//!
//! `cargo run --release -p ripieno-texture --example harmony_features -- OUT FILE...` writes `OUT/STEM.harmony`: a line `units numbers` with the
//! counts, then little-endian `f32` rows: onset, end (crotchets), the numbers.

use std::fs;
use std::io::Write as _;
use std::path::Path;

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::harmony_features;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let out = args.next().ok_or("harmony_features OUT FILE...")?;
    fs::create_dir_all(&out)?;
    for path in args {
        let stem = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &fs::read(&path)?, &Limits::default())?.score;
        let rows = harmony_features(&Sounding::new(&score, Unroll::AsWritten));
        let mut file = fs::File::create(Path::new(&out).join(format!("{stem}.harmony"))).map(std::io::BufWriter::new)?;
        writeln!(file, "{} {}", rows.len(), rows.first().map_or(0, |row| row.row.len()))?;
        for row in &rows {
            let times = [row.onset.to_f64() as f32, row.end.to_f64() as f32];
            for value in times.iter().chain(&row.row) {
                file.write_all(&value.to_le_bytes())?;
            }
        }
    }
    Ok(())
}
