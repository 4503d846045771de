//! Holds audibility against annotated main parts (Hauptstimme), which the model never saw.
//!
//! `cargo run --release -p ripieno-acoustics --example main_part [-- FOLDER]` reads FOLDER (by default `../shared/data/scores`):
//! scores and beside each `NAME_annotations.csv` with the columns qstamp, part_num. In every bar where the part annotated as main for most of
//! the bar sounds beside others, it is asked whether its margin exceeds that of another sounding part; a random one is drawn by averaging over all.
//! Chance is 0.5. Three forms: the part alone; the line, that is the part together with whoever doubles it in the
//! bar (unison or octaves), against the other parts; and the line against the lines of other parts, each with its own doublings.

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
    lines: f64,
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
        self.lines += other.lines;
        self.line_bars += other.line_bars;
        self.higher += other.higher;
        self.louder += other.louder;
        self.most += other.most;
    }

    #[allow(clippy::cast_precision_loss)] // counts of bars
    fn told(&self) -> String {
        let (bars, line) = (self.bars.max(1) as f64, self.line_bars.max(1) as f64);
        format!(
            "{:6} bars   alone {:.3}   line {:.3}   against lines {:.3}   by height {:.3}   by marked level and players {:.3}   first of all {:.3}",
            self.bars,
            self.alone / bars,
            self.line / line,
            self.lines / line,
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
        let (one, all_lines) = (Grouped::new(&score, &sounding, &mains, false), Grouped::new(&score, &sounding, &mains, true));
        let (line, against_lines) = (audibility(&scene, &one.lines), audibility(&scene, &all_lines.lines));
        let mut piece = Tally::default();
        for (bar, main) in mains.iter().enumerate() {
            let Some(main) = main.filter(|main| *main < score.parts.len()) else { continue };
            if let Some(mut told) = compare(&score, &sounding, &heard.of_line, main, bar) {
                let wins = (one.wins(&line.of_line, main, bar), all_lines.wins(&against_lines.of_line, main, bar));
                if let (Some(parts), Some(lines)) = wins {
                    (told.line, told.lines, told.line_bars) = (parts, lines, 1);
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

/// Parts joined bar by bar with those that double them.
struct Grouped {
    lines: Vec<Line>,
    /// By bar and part, the line it belongs to.
    of: Vec<Vec<usize>>,
}

impl Grouped {
    /// Joins the main part with its doublers, and the others with theirs where `all`.
    fn new(score: &Score, sounding: &Sounding, mains: &[Option<usize>], all: bool) -> Self {
        let count = score.parts.len();
        let mut lines: Vec<Line> = score.parts.iter().map(|part| Line { name: part.name.clone(), rows: Vec::new() }).collect();
        let mut of = Vec::new();
        for (bar, main) in mains.iter().enumerate() {
            let notes: Vec<_> = (0..count).map(|part| notes_in(sounding, part, bar)).collect();
            let mut leader: Vec<Option<usize>> = vec![None; count];
            for first in main.iter().copied().filter(|main| *main < count).chain(0..count) {
                if leader[first].is_none() {
                    leader[first] = Some(first);
                    let lead = &notes[first];
                    for part in (0..count).filter(|_| all || *main == Some(first)) {
                        let common = lead.iter().filter(|note| notes[part].binary_search(note).is_ok()).count();
                        if leader[part].is_none() && !lead.is_empty() && common * 5 >= lead.len() * 4 {
                            leader[part] = Some(first);
                        }
                    }
                }
            }
            let leader: Vec<usize> = leader.into_iter().enumerate().map(|(part, leader)| leader.unwrap_or(part)).collect();
            for (part, leader) in leader.iter().enumerate() {
                let rows = sounding.notes.of_part[part].clone().filter(|row| sounding.notes.bar[*row] as usize == bar);
                lines[*leader].rows.extend(rows);
            }
            of.push(leader);
        }
        Self { lines, of }
    }

    /// Share of the other sounding parts of a bar whose line's margin the main line exceeds; `None` where it is silent or alone.
    #[allow(clippy::cast_precision_loss)] // counts of parts
    fn wins(&self, heard: &Table, main: usize, bar: usize) -> Option<f64> {
        let mine = heard[main][bar]?.margin_db;
        let others = self.of[bar].iter().filter(|line| **line != main).filter_map(|line| Some(heard[*line][bar]?.margin_db));
        let others: Vec<f64> = others.collect();
        (!others.is_empty()).then(|| others.iter().filter(|other| mine > **other).count() as f64 / others.len() as f64)
    }
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
        lines: 0.0,
        line_bars: 0,
        higher: share(&height, height(main), &others),
        louder: share(&level, level(main), &others),
        most: usize::from(others.iter().all(|part| margin(*part) < mine)),
    })
}
