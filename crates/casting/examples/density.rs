//! How many play: of all sections by loudness, and of the players of a section by loudness and by what they have. What `src/assign/desks.rs` and `src/assign/mod.rs` rest on.
//!
//! `cargo run --release -p ripieno-casting --example density -- ../shared/data/scores`
#![allow(clippy::print_stdout, clippy::print_stderr, clippy::cast_precision_loss)]

use std::collections::BTreeMap;
use std::path::PathBuf;

use ripieno_casting::Lineup;
use ripieno_formats::Limits;
use ripieno_score::Crotchets;
use ripieno_study::{Study, analyse_file};
use ripieno_texture::Role;

/// Names of the classes of loudness: up to mp, mf, f, ff and more.
const CLASSES: [&str; 4] = ["up to mp", "mf", "f", "ff"];

fn class(level: f32) -> usize {
    [4.5, 5.5, 6.5].iter().filter(|&&limit| level >= limit).count()
}

/// Sums for means: value, weight.
type Sums<K> = BTreeMap<K, (f64, f64)>;

fn main() -> Result<(), String> {
    let folder = std::env::args().nth(1).ok_or("give a folder of scores")?;
    let all = std::fs::read_dir(&folder).map_err(|error| format!("{folder}: {error}"))?;
    let mut files: Vec<PathBuf> = all.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "mxl"));
    files.sort();
    let mut sections: Sums<(usize, usize)> = Sums::default();
    let mut players: Sums<(&str, usize, usize)> = Sums::default();
    for file in &files {
        let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
        sections_of(&study, &mut sections);
        players_of(&study, &mut players);
        eprintln!("{}", file.display());
    }
    println!("share of sections that play, by loudness and number of roles told in four bars");
    for ((level, roles), (sum, weight)) in &sections {
        println!("{}, {roles} roles: {:.2} of {weight} windows", CLASSES[*level], sum / weight);
    }
    println!("players on a note, of a wind section of so many players");
    for ((what, size, level), (sum, weight)) in &players {
        println!("{what}, section of {size}, {}: {:.2} of {weight:.0} s", CLASSES[*level], sum / weight);
    }
    Ok(())
}

/// Four bars by four: which share of the sections with pitch sounds in at least one bar of them, by the loudest mark in force.
fn sections_of(study: &Study, sums: &mut Sums<(usize, usize)>) {
    let (lineup, of_part) = Lineup::of_score(&study.score);
    let notes = &study.sounding.notes;
    for start in (0..study.score.bars.len().saturating_sub(3)).step_by(4) {
        let mut plays = vec![false; lineup.sections.len()];
        let mut loudest: Option<f32> = None;
        for (part, section) in of_part.iter().enumerate() {
            let Some(section) = section else { continue };
            for row in notes.of_part[part].clone().filter(|&row| (start..start + 4).contains(&(notes.bar[row] as usize))) {
                plays[*section] = true;
                let level = notes.level[row].map(|level| level.0);
                loudest = level.map_or(loudest, |level| Some(loudest.map_or(level, |most| most.max(level))));
            }
        }
        let at = u32::try_from(start).unwrap_or(0);
        let mut roles: Vec<Role> = study
            .roles
            .roles
            .spans
            .iter()
            .filter(|span| span.bars.start < at + 4 && at < span.bars.end)
            .map(|span| span.role())
            .collect();
        roles.sort_unstable();
        roles.dedup();
        let (Some(level), true) = (loudest, plays.contains(&true)) else { continue };
        let sum = sums.entry((class(level), roles.len().min(6))).or_default();
        sum.0 += plays.iter().filter(|plays| **plays).count() as f64 / plays.len() as f64;
        sum.1 += 1.0;
    }
}

/// Second by second: players of a wind section who sound one key of a line, and players who sound anything of a chord.
fn players_of(study: &Study, sums: &mut Sums<(&'static str, usize, usize)>) {
    let (lineup, of_part) = Lineup::of_score(&study.score);
    let notes = &study.sounding.notes;
    for (at, section) in lineup.sections.iter().enumerate() {
        let family = section.chairs[0].instrument.family;
        let wind = matches!(family, ripieno_instruments::Family::Woodwind | ripieno_instruments::Family::Brass);
        if !wind || section.chairs.len() < 2 {
            continue;
        }
        // Of each moment: for each kind of task the players, the keys, and how long.
        let mut here: BTreeMap<(Crotchets, &str), (f64, usize, f64)> = BTreeMap::new();
        for part in (0..of_part.len()).filter(|&part| of_part[part] == Some(at)) {
            for row in notes.of_part[part].clone() {
                let (Some(level), line) = (notes.level[row], study.lines.of_row[row] as usize) else { continue };
                let span = study.roles.roles.spans.iter().find(|span| span.line == line && span.bars.contains(&notes.bar[row]));
                let what = match span.map(|span| span.role()) {
                    Some(Role::Melody | Role::Countermelody) => "tune",
                    Some(Role::Bass | Role::Pedal) => "bass",
                    Some(Role::Figuration) => "figure",
                    Some(Role::Harmony | Role::Rhythm | Role::Punctuation) => "chords",
                    _ => continue,
                };
                let count = &notes.players[row];
                let players = f64::from(count.least + count.most) / 2.0;
                let sum = here.entry((notes.onset[row], what)).or_default();
                sum.0 += players;
                sum.1 = sum.1.max(class(level.0));
                sum.2 = f64::max(sum.2, notes.duration[row].to_f64());
            }
        }
        let size = section.chairs.len().min(8);
        for ((_, what), (players, level, time)) in here {
            let sum = sums.entry((what, size, level)).or_default();
            sum.0 += players.min(section.chairs.len() as f64) * time;
            sum.1 += time;
        }
    }
}
