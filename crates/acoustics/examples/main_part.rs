//! Holds audibility against annotated main parts (Hauptstimme), which the model never saw.
//!
//! `cargo run --release -p ripieno-acoustics --example main_part [-- FOLDER]` reads FOLDER (by default `../shared/data/scores`):
//! scores and beside each `NAME_annotations.csv` with the columns qstamp, part_num. In every bar where the part annotated as main for most of
//! the bar sounds beside others, it is asked whether its margin exceeds that of another sounding part; a random one is drawn by averaging over all.
//! Chance is 0.5. Two forms: the part alone, and the line: the part together with whoever doubles it in the bar (unison or octaves), as one.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

use ripieno_acoustics::{Line, Scene, Situation, audibility};
use ripieno_formats::{Limits, read};
use ripieno_score::{Crotchets, Score, Sounding, Unroll};

#[derive(Default, Clone, Copy)]
struct Tally {
    bars: usize,
    alone: f64,
    line: f64,
    line_bars: usize,
    higher: f64,
    louder: f64,
    most: usize,
}

impl Tally {
    fn add(&mut self, other: &Self) {
        self.bars += other.bars;
        self.alone += other.alone;
        self.line += other.line;
        self.line_bars += other.line_bars;
        self.higher += other.higher;
        self.louder += other.louder;
        self.most += other.most;
    }

    #[allow(clippy::cast_precision_loss)] // counts of bars
    fn told(&self) -> String {
        let (bars, line) = (self.bars.max(1) as f64, self.line_bars.max(1) as f64);
        format!(
            "{:6} bars   alone {:.3}   line {:.3}   by height {:.3}   by marked level and players {:.3}   first of all {:.3}",
            self.bars,
            self.alone / bars,
            self.line / line,
            self.higher / bars,
            self.louder / bars,
            self.most as f64 / bars
        )
    }
}

/// Main part of each bar: the one annotated for most of it.
fn main_parts(path: &Path, sounding: &Sounding) -> Result<Vec<Option<usize>>, Box<dyn std::error::Error>> {
    let mut reader = csv::Reader::from_path(path)?;
    let names = reader.headers()?.clone();
    let column = |name: &str| names.iter().position(|known| known == name).ok_or_else(|| format!("no column {name}"));
    let (at, part) = (column("qstamp")?, column("part_num")?);
    let mut marks: Vec<(f64, usize)> = Vec::new();
    for record in reader.records() {
        let record = record?;
        if let (Ok(at), Ok(part)) = (record[at].parse(), record[part].parse()) {
            marks.push((at, part));
        }
    }
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut mains = Vec::new();
    for bar in &sounding.bars {
        let (from, to) = (bar.start.to_f64(), (bar.start + bar.length).to_f64());
        let mut time: BTreeMap<usize, f64> = BTreeMap::new();
        for (index, (at, part)) in marks.iter().enumerate() {
            let until = marks.get(index + 1).map_or(f64::INFINITY, |next| next.0);
            *time.entry(*part).or_default() += (until.min(to) - at.max(from)).max(0.0);
        }
        let main = time.into_iter().filter(|(_, time)| *time > 0.0).max_by(|a, b| a.1.total_cmp(&b.1));
        mains.push(main.map(|(part, _)| part));
    }
    Ok(mains)
}

/// The notes of a part in a bar: (onset, pitch class).
fn notes_in(sounding: &Sounding, part: usize, bar: usize) -> Vec<(Crotchets, u8)> {
    let rows = sounding.notes.of_part[part].clone();
    let mut notes: Vec<_> = rows
        .filter(|row| sounding.notes.bar[*row] as usize == bar)
        .filter_map(|row| Some((sounding.notes.onset[row], sounding.notes.key[row]?.number() % 12)))
        .collect();
    notes.sort_unstable();
    notes.dedup();
    notes
}

#[allow(clippy::print_stdout, clippy::cast_precision_loss)] // it is a program; counts of notes
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "../shared/data/scores".into());
    let Ok(entries) = fs::read_dir(&folder) else {
        println!("{folder} is not there: nothing to check (the annotations are published as Hauptstimme)");
        return Ok(());
    };
    let mut files: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "mxl"))
        .collect();
    files.sort();
    let (mut all, mut by_instrument) = (Tally::default(), BTreeMap::<String, Tally>::new());
    let mut seconds = 0.0;
    let mut of_piece: Vec<f64> = Vec::new();
    for path in &files {
        let stem = path.file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let annotations = path.with_file_name(format!("{stem}_annotations.csv"));
        if !annotations.exists() {
            continue;
        }
        let score = read(&path.to_string_lossy(), &fs::read(path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let start = Instant::now();
        let scene = Scene::new(&score, &sounding, &[], Situation::hall())?;
        let lines = Line::of_parts(&score, &sounding);
        let heard = audibility(&scene, &lines);
        let took = start.elapsed().as_secs_f64();
        seconds += took;
        let mains = main_parts(&annotations, &sounding)?;
        let together = audibility(&scene, &with_doublings(&score, &sounding, &mains));
        let mut piece = Tally::default();
        for (bar, main) in mains.iter().enumerate() {
            let Some(main) = main.filter(|main| *main < score.parts.len()) else { continue };
            if let Some(mut told) = compare(&score, &sounding, &heard.of_line, main, bar) {
                if let Some(share) = line_wins(&together.of_line, bar) {
                    (told.line, told.line_bars) = (share, 1);
                }
                piece.add(&told);
                by_instrument.entry(score.parts[main].instrument_id.clone()).or_default().add(&told);
            }
        }
        println!("{stem:28} {:5} notes {took:6.2} s {}", sounding.notes.len(), piece.told());
        if piece.bars > 0 {
            of_piece.push(piece.alone / piece.bars as f64);
        }
        all.add(&piece);
    }
    println!();
    for (instrument, tally) in &by_instrument {
        println!("{instrument:28} {}", tally.told());
    }
    println!("\nall {}", all.told());
    println!("mean over movements, alone: {:.3}", of_piece.iter().sum::<f64>() / of_piece.len().max(1) as f64);
    println!("model {seconds:.1} s in all");
    Ok(())
}

/// Every part as a line, but in each bar the main part and its doublers make the last line.
fn with_doublings(score: &Score, sounding: &Sounding, mains: &[Option<usize>]) -> Vec<Line> {
    let mut lines: Vec<Line> = score.parts.iter().map(|part| Line { name: part.name.clone(), rows: Vec::new() }).collect();
    lines.push(Line { name: "main line".into(), rows: Vec::new() });
    let last = score.parts.len();
    for (bar, main) in mains.iter().enumerate() {
        let melody = main.filter(|main| *main < last).map_or_else(Vec::new, |main| notes_in(sounding, main, bar));
        for part in 0..last {
            let notes = notes_in(sounding, part, bar);
            let common = melody.iter().filter(|note| notes.binary_search(note).is_ok()).count();
            let joins = *main == Some(part) || !melody.is_empty() && common * 5 >= melody.len() * 4;
            let rows = sounding.notes.of_part[part].clone().filter(|row| sounding.notes.bar[*row] as usize == bar);
            lines[if joins { last } else { part }].rows.extend(rows);
        }
    }
    lines
}

/// Share of the other lines of a bar whose margin the last line exceeds; `None` where it is silent or alone.
#[allow(clippy::cast_precision_loss)] // counts of lines
fn line_wins(heard: &Table, bar: usize) -> Option<f64> {
    let (line, others) = heard.split_last()?;
    let mine = line[bar]?.margin_db;
    let others: Vec<f64> = others.iter().filter_map(|line| Some(line[bar]?.margin_db)).collect();
    (!others.is_empty()).then(|| others.iter().filter(|other| mine > **other).count() as f64 / others.len() as f64)
}

type Table = [Vec<Option<ripieno_acoustics::Audible>>];

#[allow(clippy::cast_precision_loss)] // counts of parts
fn compare(score: &Score, sounding: &Sounding, heard: &Table, main: usize, bar: usize) -> Option<Tally> {
    let mine = heard[main][bar]?.margin_db;
    let others: Vec<usize> = (0..score.parts.len()).filter(|part| *part != main && heard[*part][bar].is_some()).collect();
    if others.is_empty() {
        return None;
    }
    let win = |mine: f64, other: f64| if mine > other { 1.0 } else { f64::from(u8::from((mine - other).abs() < 1e-9)) * 0.5 };
    let share = |of: &dyn Fn(usize) -> f64, mine: f64, among: &[usize]| {
        among.iter().map(|part| win(mine, of(*part))).sum::<f64>() / among.len().max(1) as f64
    };
    let margin = |part: usize| heard[part][bar].map_or(f64::NEG_INFINITY, |heard| heard.margin_db);
    let rows = |part: usize| sounding.notes.of_part[part].clone().filter(move |row| sounding.notes.bar[*row] as usize == bar);
    let height = |part: usize| {
        rows(part).filter_map(|row| sounding.notes.key[row]).map(|key| f64::from(key.number())).fold(f64::NEG_INFINITY, f64::max)
    };
    let level = |part: usize| {
        let of = |row: usize| {
            f64::from(sounding.notes.level[row].map_or(5.0, |level| level.0)) + f64::from(sounding.notes.players[row].most).log2()
        };
        rows(part).map(of).fold(f64::NEG_INFINITY, f64::max)
    };
    Some(Tally {
        bars: 1,
        alone: share(&margin, mine, &others),
        line: 0.0,
        line_bars: 0,
        higher: share(&height, height(main), &others),
        louder: share(&level, level(main), &others),
        most: usize::from(others.iter().all(|part| margin(*part) < mine)),
    })
}
