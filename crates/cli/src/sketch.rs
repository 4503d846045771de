//! `ripieno sketch`: bars of a score reduced to a sketch by role.

use std::path::PathBuf;

use ripieno_casting::{reduce, reduce_every_line, reduce_in_octaves};
use ripieno_formats::excerpt::bars_named;

use crate::cast::studied;
use crate::chart::needs_notes;
use crate::library::print;
use crate::save::{is_musicxml, save_score, spare};

/// Arguments of `ripieno sketch`.
#[derive(clap::Args)]
pub struct SketchArguments {
    /// The score to read
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Bars by their printed numbers: 40 or 40-56; with # counted from the first bar: #1-#8. All without
    #[arg(long, value_name = "BARS")]
    bars: Option<String>,
    /// Write of each role but the line that leads. Without it every line is written, as in a short score: further lines of a role ("Answer 2", "Melody 2" in thirds) on staves of their own, all in
    /// the octaves in which they sound
    #[arg(long)]
    lead: bool,
    /// Write of each role but the line that leads, in all octaves in which it sounds
    #[arg(long, conflicts_with = "lead")]
    octaves: bool,
    /// The sketch to write, as MusicXML: a staff for each role, at concert pitch
    #[arg(long, value_name = "NEW_FILE")]
    out: PathBuf,
}

/// Reduces and writes.
pub fn run(arguments: &SketchArguments) -> Result<(), String> {
    is_musicxml(&arguments.out, "sketches")?;
    spare(&arguments.out, &[&arguments.file])?;
    let study = needs_notes(studied(&arguments.file)?)?;
    let bars = match &arguments.bars {
        None => 0..study.score.bars.len(),
        Some(text) => {
            let (first, last) = bars_named(&study.score, text).map_err(|error| error.to_string())?;
            first.at()..last.at() + 1
        }
    };
    let reduction = match arguments {
        SketchArguments { lead: true, .. } => reduce,
        SketchArguments { octaves: true, .. } => reduce_in_octaves,
        _ => reduce_every_line,
    };
    let sketch = reduction(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars);
    if sketch.strands.is_empty() {
        return Err(format!("{}: nothing with a definite pitch sounds in these bars", arguments.file.display()));
    }
    save_score(&arguments.out, &sketch.score)?;
    let strands: Vec<String> =
        sketch.strands.iter().map(|strand| format!("{} ({} notes)", strand.name, strand.notes.len())).collect();
    let remarks: String = sketch.remarks.iter().map(|remark| format!("{remark}\n")).collect();
    print(&format!("{}: {}\n{remarks}", arguments.out.display(), strands.join(", ")))
}
