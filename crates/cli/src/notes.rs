//! `ripieno notes`

use std::io::{self, BufWriter};

use ripieno_formats::tables::NotesTable;
use ripieno_formats::trouble_findings;
use ripieno_score::{Sounding, Unroll};

use crate::open::open;

/// Arguments of `ripieno notes`.
#[derive(clap::Args)]
pub struct NotesArguments {
    #[command(flatten)]
    reading: crate::Reading,
    /// Print comma-separated values (the only form so far, and the default)
    #[arg(long)]
    csv: bool,
    /// Each bar once, in the order of the page, repeats not played out
    #[arg(long)]
    score_order: bool,
}

/// Prints the table.
pub fn run(arguments: &NotesArguments) -> Result<(), String> {
    let unroll = if arguments.score_order { Unroll::AsWritten } else { Unroll::AsPlayed };
    let failed = |error: io::Error| {
        // A reader that stops listening (`| head`) is no error.
        if error.kind() == io::ErrorKind::BrokenPipe { String::new() } else { format!("the table cannot be written: {error}") }
    };
    let mut table = NotesTable::new(BufWriter::new(io::stdout().lock())).map_err(failed)?;
    let mut unread = 0;
    for path in &arguments.reading.files {
        let Some(reading) = open(path, arguments.reading.strict) else {
            unread += 1;
            continue;
        };
        let sounding = Sounding::new(&reading.score, unroll);
        let name = path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
        let troubles = trouble_findings(&name, &reading.score, &sounding);
        troubles.iter().for_each(|finding| eprintln!("{finding}"));
        if arguments.reading.strict && !troubles.is_empty() {
            eprintln!("{}: not used, because of --strict and the findings above.", path.display());
            unread += 1;
            continue;
        }
        table.add(&path.display().to_string(), &reading.score, &sounding).map_err(failed)?;
    }
    table.finish().map_err(failed)?;
    if unread == 0 { Ok(()) } else { Err(format!("{unread} of {} files could not be read", arguments.reading.files.len())) }
}
