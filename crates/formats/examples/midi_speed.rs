//! How long MIDI files take to read, beside midly's own parse of the same bytes.
//!
//! `cargo run --release -p ripieno-formats --example midi_speed -- FILE...` prints, for each file, the best of 40 runs
//! in milliseconds: midly's `Smf::parse`; [`midi::note_table`] (decoding and pairing of notes); [`midi::read`] (the whole score: voices, bars, ties, rests,
//! local keys, spelling); and `read` with the sounding view. One thread.

use std::time::Instant;

use ripieno_formats::{Limits, midi};
use ripieno_score::{Sounding, Unroll};

const RUNS: usize = 40;

/// Best time of [`RUNS`], in milliseconds.
fn best<T>(mut work: impl FnMut() -> T) -> f64 {
    let once = |_| {
        let start = Instant::now();
        let made = work();
        let took = start.elapsed().as_secs_f64() * 1000.0;
        drop(made);
        took
    };
    (0..RUNS).map(once).fold(f64::INFINITY, f64::min)
}

#[allow(clippy::print_stdout)] // it is a program
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let limits = Limits::default();
    println!("file\tbytes\tnotes\tmidly_ms\ttable_ms\tread_ms\tsounding_ms\ttable/midly\tread/midly");
    for path in std::env::args().skip(1) {
        let bytes = std::fs::read(&path)?;
        let notes = midi::note_table(&path, &bytes)?.len();
        let midly = best(|| midly::Smf::parse(&bytes).is_ok());
        let table = best(|| midi::note_table(&path, &bytes));
        let read = best(|| midi::read(&path, &bytes, &limits));
        let reading = midi::read(&path, &bytes, &limits)?;
        let sounding = best(|| Sounding::new(&reading.score, Unroll::AsWritten));
        let (a, b) = (table / midly, read / midly);
        println!("{path}\t{}\t{notes}\t{midly:.3}\t{table:.3}\t{read:.3}\t{sounding:.3}\t{a:.2}\t{b:.2}", bytes.len());
    }
    Ok(())
}
