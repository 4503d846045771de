//! Measures casting. Run with `cargo run --release -p ripieno-casting --example measure -- WHAT ...`:
//!
//! - `cast SKETCH LINEUP OUT [PLAN]` casts one sketch and prints who does what;
//! - `chorales FOLDER LINEUP OUT_FOLDER` casts every sketch of a folder, for `reference/casting_agree.py`;
//! - `masters PROFILE FOLDER COUNT FOLDS [SETTING]` reduces passages of scores, to sketches of the leading lines, of these in octaves and of every line, and casts them for the
//!   original line-up, by a practice and a model (FOLDS/WORK.model, `model/casting`) learned without the work; with other weights on request (`known=2,steady=0`);
//! - `weights PROFILE FOLDER FOLDS SETTING ...` compares such settings on other passages of the same scores, which overlap none of those;
//! - `phrases FOLDER` compares the phrases found in chorales (made by `reference/casting_agree.py sketches`) with their fermatas;
//! - `reduce SCORE FIRST LAST OUT` reduces bars, counted from 1, to a sketch;
//! - `windows FOLDER OUT` writes what every section does in every phrase of every score, beside what the sketch tells, for `model/casting`;
//! - `speed` times 160 bars for 18 brass players.
#![allow(clippy::print_stdout, clippy::print_stderr, clippy::cast_precision_loss)]

mod masters;
mod original;
mod phrases;
mod speed;
mod weights;
mod windows;

use std::path::{Path, PathBuf};

use ripieno_casting::{Habits, Lineup, Options, Plan, Sketch, cast, explain, reduce};
use ripieno_formats::{Limits, musicxml, read_file};
use ripieno_study::analyse_file;

type Answer = Result<(), String>;

fn main() -> Answer {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["cast", sketch, lineup, out, plan @ ..] => one(sketch, lineup, out, plan.first().copied()),
        ["chorales", folder, lineup, out] => chorales(folder, lineup, out),
        ["masters", profile, folder, count, folds, setting @ ..] => {
            let count = count.parse().map_err(|error| format!("{count}: {error}"))?;
            masters::masters(profile, folder, count, folds, setting.first().copied())
        }
        ["weights", profile, folder, folds, settings @ ..] => weights::weights(profile, folder, folds, settings),
        ["reduce", score, first, last, out] => reduced(score, first, last, out),
        ["windows", folder, out] => windows::windows(folder, out),
        ["phrases", folder] => phrases::phrases(folder),
        ["speed"] => speed::speed(),
        _ => Err("say cast, chorales, masters or speed; see the head of the file".to_owned()),
    }
}

/// The compressed scores of a folder, in order.
fn scores(folder: &str) -> Result<Vec<PathBuf>, String> {
    let all = std::fs::read_dir(folder).map_err(|error| format!("{folder}: {error}"))?;
    let mut files: Vec<PathBuf> = all.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "mxl"));
    files.sort();
    Ok(files)
}

fn sketch_of(file: &Path) -> Result<Sketch, String> {
    let reading = read_file(file, &Limits::default()).map_err(|error| error.to_string())?;
    Sketch::by_names(reading.score).ok_or_else(|| format!("{}: no staff is named by a role", file.display()))
}

fn lineup_of(file: &str) -> Result<Lineup, String> {
    let text = std::fs::read_to_string(file).map_err(|error| format!("{file}: {error}"))?;
    Lineup::from_toml(file, &text).map_err(|error| error.to_string())
}

fn one(sketch: &str, lineup: &str, out: &str, plan: Option<&str>) -> Answer {
    let sketch = sketch_of(Path::new(sketch))?;
    let lineup = lineup_of(lineup)?;
    let plan = match plan {
        None => Plan::default(),
        Some(file) => {
            let text = std::fs::read_to_string(file).map_err(|error| format!("{file}: {error}"))?;
            Plan::from_toml(file, &text, &sketch, &lineup).map_err(|error| error.to_string())?
        }
    };
    let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
    std::fs::write(out, musicxml::write(&done.score(&sketch, &lineup))).map_err(|error| error.to_string())?;
    print!("{}", explain(&sketch, &lineup, &done));
    Ok(())
}

fn reduced(score: &str, first: &str, last: &str, out: &str) -> Answer {
    let study = analyse_file(Path::new(score), &Limits::default()).map_err(|error| error.to_string())?;
    let number = |text: &str| text.parse::<usize>().map_err(|error| format!("{text}: {error}"));
    let bars = number(first)?.saturating_sub(1)..number(last)?;
    let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars);
    std::fs::write(out, musicxml::write(&sketch.score)).map_err(|error| error.to_string())
}

fn chorales(folder: &str, lineup: &str, out: &str) -> Answer {
    let lineup = lineup_of(lineup)?;
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).map_err(|error| error.to_string())?.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.sort();
    std::fs::create_dir_all(out).map_err(|error| error.to_string())?;
    // Who has which line when, for the referee: file, player, onset, duration, key, strand, voice.
    let mut table = "file,section,chair,onset,duration,key,low,high,comfort_low,comfort_high,strand,voice\n".to_owned();
    for file in files.iter().filter(|file| file.extension().is_some_and(|ending| ending == "musicxml")) {
        let sketch = sketch_of(file)?;
        let name = file.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let done = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
        std::fs::write(Path::new(out).join(&name), musicxml::write(&done.score(&sketch, &lineup)))
            .map_err(|error| error.to_string())?;
        for (section, found) in lineup.sections.iter().enumerate() {
            for (chair, seat) in found.chairs.iter().enumerate() {
                for note in done.notes_of((section, chair)) {
                    let (possible, comfortable) = (seat.reach.possible, seat.reach.comfortable);
                    table += &format!(
                        "{name},{section},{chair},{},{},{},{},{},{},{},{},{}\n",
                        note.onset,
                        note.duration,
                        note.key(),
                        possible.low(),
                        possible.high(),
                        comfortable.low(),
                        comfortable.high(),
                        sketch.strands[note.line.strand].name,
                        note.line.voice
                    );
                }
            }
        }
        for remark in &done.remarks {
            eprintln!("{name}: {remark}");
        }
    }
    std::fs::write(Path::new(out).join("notes.csv"), table).map_err(|error| error.to_string())
}
