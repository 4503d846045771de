//! Prints what names given on standard input, one a line, are recognised as: a bench for the word lists.
//! `cargo run -p ripieno-instruments --example recognise < names.txt`
#![allow(clippy::print_stdout)]

use std::io::BufRead;

use ripieno_instruments::{Clues, recognise};

fn main() -> std::io::Result<()> {
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let name = line.replace("\\n", "\n");
        let found = recognise(&Clues { name: &name, ..Clues::default() });
        let numbers: Vec<String> = found.numbers.iter().map(ToString::to_string).collect();
        let keys: Vec<String> = found.keys.iter().map(ToString::to_string).collect();
        let also: Vec<&str> = found.also.iter().map(|also| also.instrument.id.as_str()).collect();
        let reasons: Vec<String> = found.reasons.iter().map(ToString::to_string).collect();
        println!(
            "{line}\t{}\t{:.2}\t{}\t{}\t{}\t{}\t{}\t{}",
            found.instrument.id,
            found.confidence,
            keys.join(" "),
            numbers.join(" "),
            found.count.map(|n| n.to_string()).unwrap_or_default(),
            found.division.map(|d| d.to_string()).unwrap_or_default(),
            also.join(" "),
            reasons.join(" ")
        );
    }
    Ok(())
}
