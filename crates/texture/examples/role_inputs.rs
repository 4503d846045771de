//! Writes what training reads of scores: `cargo run --release -p ripieno-texture --example role_inputs -- OUT FILE...`
//!
//! For each score, into OUT: `STEM.txt` (first line: counts of parts, bars, rows, numbers a row, notes; then a line a part: family, chair,
//! name; then the starts of bars in ticks) and `STEM.bin`, little-endian: rows as `u32` part and bar; their numbers as `f32`; for each
//! bar the relations of its parts as `f32`; notes as `i64` part, onset, end, key. Once for all `names.txt`.

use std::fs;
use std::io::Write as _;
use std::path::Path;

use ripieno_formats::{Limits, read};
use ripieno_score::{Sounding, Unroll};
use ripieno_texture::{feature_table, shape_table, training_table};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let out = args.next().ok_or("role_inputs OUT FILE...")?;
    let out = Path::new(&out);
    fs::create_dir_all(out)?;
    let names: Vec<&str> = feature_table().iter().chain(shape_table()).map(|row| row.0).collect();
    fs::write(out.join("names.txt"), names.join("\n") + "\n")?;
    for path in args {
        let stem = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &fs::read(&path)?, &Limits::default())?.score;
        let table = training_table(&score, &Sounding::new(&score, Unroll::AsWritten));
        let mut text = fs::File::create(out.join(format!("{stem}.txt"))).map(std::io::BufWriter::new)?;
        let counts = [table.parts.len(), table.starts.len() - 1, table.tokens.len(), names.len(), table.notes.len()];
        writeln!(text, "{}", counts.map(|count| count.to_string()).join(" "))?;
        for ((family, chair), part) in table.parts.iter().zip(&score.parts) {
            writeln!(text, "{family} {chair} {}", part.name)?;
        }
        writeln!(text, "{}", table.starts.iter().map(i64::to_string).collect::<Vec<_>>().join(" "))?;
        let mut bytes = Vec::new();
        for (part, bar) in table.tokens {
            bytes.extend(u32::try_from(part)?.to_le_bytes());
            bytes.extend(u32::try_from(bar)?.to_le_bytes());
        }
        let numbers = table.values.iter().flatten().chain(table.relations.iter().flatten().flatten());
        numbers.for_each(|number| bytes.extend(number.to_le_bytes()));
        for (part, on, off, key) in table.notes {
            for number in [i64::try_from(part)?, on, off, i64::from(key)] {
                bytes.extend(number.to_le_bytes());
            }
        }
        fs::write(out.join(format!("{stem}.bin")), bytes)?;
    }
    Ok(())
}
