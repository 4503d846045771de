//! Reads each file given, writes it as MusicXML, reads that, and compares what is heard note by note.
//!
//! `cargo run --release --example round_trip -- [--keep DIR] FILE...` prints the files that differ and exits with 1 if any do;
//! `--keep` leaves what was written in a folder, for schemas and other readers to look at.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a command for developers

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use ripieno_formats::{Limits, musicxml, read, read_file};
use ripieno_score::{NoteRow, Score, Sounding, Unroll};

fn main() -> ExitCode {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let keep = arguments.iter().position(|argument| argument == "--keep").map(|at| {
        arguments.remove(at);
        PathBuf::from(arguments.remove(at))
    });
    let (mut same, mut different, mut unread) = (0, 0, 0);
    for (index, file) in arguments.iter().enumerate() {
        let limits = Limits::default();
        let Ok(reading) = read_file(Path::new(file), &limits) else {
            unread += 1;
            continue;
        };
        let written = musicxml::write(&reading.score);
        if let Some(folder) = &keep {
            let stem = Path::new(file).file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
            if let Err(error) = std::fs::write(folder.join(format!("{index:04}-{stem}.musicxml")), &written) {
                eprintln!("{}: {error}", folder.display());
                return ExitCode::FAILURE;
            }
        }
        match read("written.musicxml", written.as_bytes(), &limits) {
            Err(error) => {
                different += 1;
                println!("{file}: what was written cannot be read: {error}");
            }
            Ok(again) => match difference(&reading.score, &again.score) {
                None => same += 1,
                Some(what) => {
                    different += 1;
                    println!("{file}: {what}");
                }
            },
        }
    }
    println!("{same} the same, {different} different, {unread} could not be read in the first place");
    if different == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// The first difference between what is heard of two scores, in either playing order.
fn difference(one: &Score, two: &Score) -> Option<String> {
    [Unroll::AsWritten, Unroll::AsPlayed].into_iter().find_map(|unroll| {
        let (a, b) = (Sounding::new(one, unroll), Sounding::new(two, unroll));
        if a.bars != b.bars {
            let at = a.bars.iter().zip(&b.bars).position(|(x, y)| x != y).unwrap_or(a.bars.len().min(b.bars.len()));
            return Some(format!("{unroll:?}: bars differ from {at} on: {:?} became {:?}", a.bars.get(at), b.bars.get(at)));
        }
        let heard = |row: NoteRow| NoteRow { written: 0, ..row };
        let at = a.notes.rows().zip(b.notes.rows()).position(|(x, y)| heard(x) != heard(y));
        if let Some(at) = at.or_else(|| (a.notes.len() != b.notes.len()).then(|| a.notes.len().min(b.notes.len()))) {
            let row = |view: &Sounding| (at < view.notes.len()).then(|| view.notes.row(at));
            let part = row(&a).or_else(|| row(&b)).map_or(0, |row| row.part);
            let name = one.parts.get(usize::from(part)).map_or("", |part| &part.name);
            return Some(format!("{unroll:?}: {name}, note {at}: {:?}\n    became {:?}", row(&a), row(&b)));
        }
        let tempi = |view: &Sounding| view.tempo.changes().collect::<Vec<_>>();
        (tempi(&a) != tempi(&b)).then(|| format!("{unroll:?}: tempo {:?} became {:?}", tempi(&a), tempi(&b)))
    })
}
