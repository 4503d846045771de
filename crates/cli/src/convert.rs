//! `ripieno convert`

use std::path::PathBuf;

use ripieno_formats::tables::NotesTable;
use ripieno_formats::{midi, musicxml, trouble_findings};
use ripieno_score::{Score, Sounding, Unroll};

use crate::open::open;
use crate::save::{save, spare};

/// Arguments of `ripieno convert`.
#[derive(clap::Args)]
pub struct ConvertArguments {
    /// The score to read
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The file to write; its ending tells the format
    #[arg(value_name = "NEW_FILE")]
    new_file: PathBuf,
    /// Refuse a file about which the reader has to warn, instead of mending it
    #[arg(long)]
    strict: bool,
}

/// Reads one file and writes the other.
pub fn run(arguments: &ConvertArguments) -> Result<(), String> {
    let ending = arguments.new_file.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    let write = writer(&ending).ok_or_else(|| {
        format!(
            "{}: scores are written as .musicxml, .mxl, .mid or .csv; give the new file one of these endings",
            arguments.new_file.display()
        )
    })?;
    spare(&arguments.new_file, &[&arguments.file])?;
    let Some(reading) = open(&arguments.file, arguments.strict) else { return Err(String::new()) };
    let name = arguments.file.display().to_string();
    let troubles = trouble_findings(&name, &reading.score, &Sounding::new(&reading.score, Unroll::AsWritten));
    troubles.iter().for_each(|finding| eprintln!("{finding}"));
    if arguments.strict && !troubles.is_empty() {
        return Err(format!("{name}: not converted, because of --strict and the findings above"));
    }
    let bytes = write(&name, &reading.score);
    save(&arguments.new_file, &bytes.map_err(|error| format!("{}: cannot be written ({error})", arguments.new_file.display()))?)
}

type Writer = fn(&str, &Score) -> std::io::Result<Vec<u8>>;

fn writer(ending: &str) -> Option<Writer> {
    Some(match ending {
        "musicxml" | "xml" => |_, score| Ok(musicxml::write(score).into_bytes()),
        "mxl" => |_, score| musicxml::write_compressed(score),
        "mid" | "midi" => |_, score| Ok(midi::write(score, Unroll::AsPlayed)),
        "csv" => |name, score| {
            let mut bytes = Vec::new();
            let mut table = NotesTable::new(&mut bytes)?;
            table.add(name, score, &Sounding::new(score, Unroll::AsPlayed))?;
            table.finish()?;
            Ok(bytes)
        },
        _ => return None,
    })
}
