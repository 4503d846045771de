//! Engraves bars of a score and says how long it took.
//!
//!     cargo run --release -p ripieno-engraving --example engrave -- SCORE FIRST LAST written|concert|layers OUT.svg|png|pdf [WIDTH]

#![allow(clippy::unwrap_used, clippy::print_stdout)] // a tool for those who work on Ripieno

use std::path::Path;
use std::time::Instant;

use ripieno_engraving::{Layout, engrave_score, engraver, pdf, png};
use ripieno_formats::excerpt::{Cut, Parts, PitchShown, bars_named, condense, cut};
use ripieno_formats::{Limits, read_file};

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [file, first, last, kind, out, rest @ ..] = &arguments[..] else { return println!("usage: see the file") };
    let score = read_file(Path::new(file), &Limits::default()).unwrap().score;
    let (first, last) = (bars_named(&score, first).unwrap().0, bars_named(&score, last).unwrap().1);
    let begun = Instant::now();
    let excerpt = if kind == "layers" {
        let names = ["upper half of the page".to_owned(), "lower half of the page".to_owned()];
        let half = score.parts.len() / 2;
        let of = score.parts.iter().enumerate().map(|(part, all)| vec![Some(usize::from(part >= half)); all.notes.len()]);
        condense(&score, (first, last), &names, &of.collect::<Vec<_>>()).unwrap()
    } else {
        let pitch = if kind == "concert" { PitchShown::Concert } else { PitchShown::Written };
        let parts = if kind == "all" { Parts::All } else { Parts::Sounding };
        cut(&score, &Cut { parts, pitch, ..Cut::bars(first, last) }).unwrap()
    };
    println!("cut in {:.3} s", begun.elapsed().as_secs_f64());
    let begun = Instant::now();
    let engraver = engraver().unwrap();
    println!("engine ready in {:.3} s", begun.elapsed().as_secs_f64());
    let width = rest.first().map_or(1440, |width| width.parse().unwrap());
    let layout = Layout { width, ..Layout::default() };
    for _ in 0..3 {
        let begun = Instant::now();
        let pages = engrave_score(&*engraver, &excerpt.score, &layout, None, &excerpt.held_over).unwrap();
        println!("{} parts, {} pages in {:.3} s", excerpt.score.parts.len(), pages.len(), begun.elapsed().as_secs_f64());
        let begun = Instant::now();
        let bytes = match Path::new(out).extension().and_then(|ending| ending.to_str()) {
            Some("png") => png(&pages[0], width).unwrap(),
            Some("pdf") => pdf(&pages).unwrap(),
            _ => pages[0].svg.clone().into_bytes(),
        };
        println!("written in {:.3} s", begun.elapsed().as_secs_f64());
        std::fs::write(out, bytes).unwrap();
    }
}
