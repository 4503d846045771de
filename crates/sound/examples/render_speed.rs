//! How fast: `cargo run --release -p ripieno-sound --example render_speed [SCORE FIRST_BAR LAST_BAR [SOUNDFONT]]`.
//!
//! Without a score a full tutti of 60 players is written and rendered: 30 strings and 30 winds and drums, fortissimo, in crotchets
//! and quavers, every section a stem, in the hall. Time is this thread's alone, wall clock, on one core.
#![allow(clippy::print_stdout, clippy::print_stderr, clippy::unwrap_used, clippy::expect_used)] // an example prints and may stop

use std::collections::BTreeSet;
use std::time::Instant;

use ripieno_formats::{Limits, read, read_file};
use ripieno_score::{Score, Sounding, Unroll};
use ripieno_sound::groups::{Gather, gather};
use ripieno_sound::{Chunk, Font, FontRenderer, Options, Passage, Renderer, Selection};

/// (name, players' words, octave)
const TUTTI: [(&str, &str, i32); 16] = [
    ("2 Flutes", "a 2", 6),
    ("2 Oboes", "a 2", 5),
    ("2 Clarinets in C", "a 2", 5),
    ("2 Bassoons", "a 2", 3),
    ("4 Horns in C", "a 4", 4),
    ("4 Horns in C", "a 4", 3),
    ("3 Trumpets in C", "a 3", 5),
    ("3 Trombones", "a 3", 3),
    ("Tuba", "solo", 2),
    ("Timpani", "solo", 3),
    ("6 Clarinets in C", "a 6", 4),
    ("Violin I", "a 10", 5),
    ("Violin II", "a 8", 5),
    ("Viola", "a 6", 4),
    ("Violoncello", "a 4", 3),
    ("Double bass", "a 2", 2),
];

fn tutti() -> Score {
    let list = |(i, (name, ..)): (usize, &(&str, &str, i32))| {
        format!("<score-part id=\"P{i}\"><part-name>{name}</part-name></score-part>")
    };
    let body = |(i, (_, words, octave)): (usize, &(&str, &str, i32))| {
        let mut text = format!(
            "<part id=\"P{i}\"><measure number=\"1\"><attributes><divisions>2</divisions></attributes><sound tempo=\"120\"/>\
             <direction><direction-type><dynamics><ff/></dynamics></direction-type></direction>\
             <direction><direction-type><words>{words}</words></direction-type></direction>"
        );
        for bar in 1..=15 {
            if bar > 1 {
                text += &format!("<measure number=\"{bar}\">");
            }
            for (step, length) in [('C', 2), ('E', 1), ('G', 1), ('A', 2), ('F', 1), ('D', 1)] {
                let step = if i % 3 == 1 { (((step as u8 - b'A' + 2) % 7) + b'A') as char } else { step };
                text += &format!(
                    "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{length}</duration></note>"
                );
            }
            text += "</measure>";
        }
        text + "</part>"
    };
    let list: String = TUTTI.iter().enumerate().map(list).collect();
    let body: String = TUTTI.iter().enumerate().map(body).collect();
    let text =
        format!("<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list>{list}</part-list>{body}</score-partwise>");
    read("tutti.musicxml", text.as_bytes(), &Limits::default()).expect("our own score").score
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let score = arguments.first().map_or_else(tutti, |path| read_file(path.as_ref(), &Limits::default()).expect("a score").score);
    let sounding = Sounding::new(&score, Unroll::AsPlayed);
    let passage = Passage::new(&score, &sounding, &ripieno_texture::techniques(&score, &sounding));
    let (from, to) = match &arguments[..] {
        [_, first, last, ..] => passage.between(first, last).expect("bars of the score"),
        _ => (0.0, passage.seconds()),
    };
    let groups = gather(&score, &(0..score.parts.len()).collect::<BTreeSet<_>>(), Gather::Sections);
    let selection = Selection { from, to, groups };
    let options = Options::default();
    println!("{:.1} s of music, {} groups", to - from, selection.groups.len());
    for run in 1..=3 {
        let begun = Instant::now();
        let renderer = Renderer::new(&passage, &selection, &options).expect("a selection");
        time(&format!("built-in, run {run}"), begun, renderer);
    }
    if let Some(path) = arguments.get(3) {
        let font = Font::read(std::fs::File::open(path).expect("a SoundFont")).expect("a SoundFont");
        let begun = Instant::now();
        time("SoundFont", begun, FontRenderer::new(&passage, &font, &selection, &options).expect("a selection"));
    }
}

fn time(name: &str, begun: Instant, chunks: impl Iterator<Item = Chunk>) {
    let (mut first, mut frames) = (None, 0);
    for chunk in chunks {
        first.get_or_insert_with(|| begun.elapsed());
        frames += chunk.stems.first().map_or(0, |stem| stem.left.len());
    }
    let (took, sound) = (begun.elapsed().as_secs_f64(), frames as f64 / 44_100.0);
    println!(
        "{name}: {sound:.1} s of sound in {took:.2} s, {:.0} times real time; first chunk after {:.0} ms",
        sound / took,
        first.unwrap_or_default().as_secs_f64() * 1000.0
    );
}
