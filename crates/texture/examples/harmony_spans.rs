//! Writes chords and keys of scores, for scoring against labels.
//!
//! `cargo run --release -p ripieno-texture --example harmony_spans -- MODEL|- FILE...` prints `piece,onset,offset,root,quality,inversion,key,mode,confidence`
//! (pitch classes, crotchets, mode 1 for minor), one line for each stretch with one chord in one key. `-` takes the built-in model.
//! Seconds go to standard error.

use std::fs;
use std::path::Path;
use std::time::Instant;

use ripieno_formats::{Limits, read};
use ripieno_score::{Crotchets, Sounding, Unroll};
use ripieno_texture::{HarmonyModel, Mode, harmony, harmony_by};

#[allow(clippy::print_stdout, clippy::print_stderr)] // it is a program
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let model = args.next().ok_or("harmony_spans MODEL|- FILE...")?;
    let model = match model.as_str() {
        "-" => None,
        path => Some(HarmonyModel::parse(&fs::read(path)?).ok_or("not a harmony model")?),
    };
    println!("piece,onset,offset,root,quality,inversion,key,mode,confidence");
    for path in args {
        let stem = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &fs::read(&path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let start = Instant::now();
        let read = model.as_ref().map_or_else(|| harmony(&sounding), |model| harmony_by(model, &sounding));
        eprintln!("{stem}\t{} notes\t{} bars\t{:.3} s", sounding.notes.len(), sounding.bars.len(), start.elapsed().as_secs_f64());
        for chord in &read.chords {
            let mut onset: Crotchets = chord.onset;
            while onset < chord.end {
                let Some(key) = read.key_at(onset) else { break };
                let end = chord.end.min(key.end);
                let inversion = chord.inversion.map(|i| i.to_string()).unwrap_or_default();
                println!(
                    "{stem},{},{},{},{},{inversion},{},{},{:.4}",
                    onset.to_f64(),
                    end.to_f64(),
                    chord.root.class(),
                    chord.quality.short(),
                    key.tonic.class(),
                    u8::from(key.mode == Mode::Minor),
                    chord.confidence
                );
                onset = end;
            }
        }
    }
    Ok(())
}
