//! Draws a sample of objections for a judge who sees the score and not the program.
//!
//! `cargo run --release -p ripieno-players --example sample -- [--all | --by-kind] [--count 100] [--seed 1] [--level professional] SCORE...`
//! prints a table: file, part, player, bar, beat, kind, severity, reason, remedy, and an empty column for the verdict. Drawn are faults and
//! cautions, repeats within a part put together first, each group as likely as another; with `--by-kind` one of each
//! kind and weight in turn, as long as there are any; `--all` prints every objection instead.
#![allow(clippy::print_stdout, clippy::print_stderr)] // printing is what a command does

use std::collections::BTreeMap;
use std::path::Path;
use std::process::ExitCode;

use ripieno_formats::{Limits, read_file};
use ripieno_players::{Level, Objection, Options, Severity, check, grouped, who};
use ripieno_score::{Score, Sounding, Unroll};

/// A generator of 64 bits (splitmix64, S. Vigna, public domain): the sample is the same on every machine.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
}

fn row(file: &str, score: &Score, one: &Objection, repeats: usize) -> [String; 10] {
    let number = |bar: ripieno_score::BarIndex| score.bars.get(bar.at()).map_or(String::new(), |bar| bar.number.to_string());
    let bars = if one.bar == one.last { number(one.bar) } else { format!("{}-{}", number(one.bar), number(one.last)) };
    let at = format!("{:.3}", one.at.to_f64());
    let player = one.player.map_or(String::new(), |player| player.to_string());
    let part = who(score, &Objection { player: None, ..one.clone() });
    [
        file.into(),
        part,
        player,
        bars,
        at,
        one.kind.id().into(),
        one.severity.name().into(),
        one.reason.clone(),
        one.remedy.clone(),
        repeats.to_string(),
    ]
}

fn main() -> ExitCode {
    let (mut all, mut by_kind, mut count, mut seed, mut level, mut files) =
        (false, false, 100usize, 1u64, Level::Professional, Vec::new());
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        let mut value = || arguments.next().unwrap_or_default();
        match argument.as_str() {
            "--all" => all = true,
            "--by-kind" => by_kind = true,
            "--count" => count = value().parse().unwrap_or(count),
            "--seed" => seed = value().parse().unwrap_or(seed),
            "--level" => level = value().parse().unwrap_or(level),
            _ => files.push(argument),
        }
    }
    let mut rows = Vec::new();
    for file in &files {
        let reading = match read_file(Path::new(file), &Limits::default()) {
            Ok(reading) => reading,
            Err(error) => {
                eprintln!("{error}");
                return ExitCode::FAILURE;
            }
        };
        let sounding = Sounding::new(&reading.score, Unroll::AsWritten);
        let found = check(&reading.score, &sounding, &Options { level, only: Vec::new() });
        let name = Path::new(file).file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
        if all {
            rows.extend(found.iter().map(|one| row(&name, &reading.score, one, 1)));
        } else {
            let groups = grouped(&found).into_iter().filter(|group| group.first.severity != Severity::Note);
            rows.extend(groups.map(|group| row(&name, &reading.score, &group.first, group.count)));
        }
    }
    let mut draw = Draw(seed);
    if !all {
        let mut drawn: Vec<(u64, [String; 10])> = rows.into_iter().map(|row| (draw.next(), row)).collect();
        drawn.sort();
        if by_kind {
            // The first of each kind and weight, then the second of each.
            let mut rounds: BTreeMap<(String, String), usize> = BTreeMap::new();
            let mut round = |row: &[String; 10]| {
                let seen = rounds.entry((row[5].clone(), row[6].clone())).or_default();
                *seen += 1;
                *seen
            };
            let mut ranked: Vec<(usize, (u64, [String; 10]))> = drawn.into_iter().map(|one| (round(&one.1), one)).collect();
            ranked.sort();
            drawn = ranked.into_iter().map(|one| one.1).collect();
        }
        rows = drawn.into_iter().take(count).map(|(_, row)| row).collect();
        rows.sort();
    }
    let mut table = csv::Writer::from_writer(std::io::stdout().lock());
    let header = ["file", "part", "player", "bars", "at", "kind", "severity", "reason", "remedy", "repeats", "agrees"];
    let written = table
        .write_record(header)
        .and_then(|()| rows.iter().try_for_each(|row| table.write_record(row.iter().map(String::as_str).chain([""]))))
        .and_then(|()| table.flush().map_err(Into::into));
    if written.is_err() { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
