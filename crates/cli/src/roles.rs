//! `ripieno roles`

use std::io::{self, Write};

use ripieno_score::{Crotchets, Score, Sounding, Unroll};
use ripieno_texture::{RoleProbabilities, predict};

use crate::open::open;

/// Arguments of `ripieno roles`.
#[derive(clap::Args)]
pub struct RolesArguments {
    #[command(flatten)]
    reading: crate::Reading,
    /// For each sounding part and bar the published groups it belongs to: mel, rhythm, harm as 0 or 1 (the default)
    #[arg(long, conflicts_with = "melody")]
    groups: bool,
    /// For each sounding part and bar how strongly it carries the main melody, with onset and offset in crotchets
    #[arg(long)]
    melody: bool,
}

/// Prints one table for all files.
pub fn run(arguments: &RolesArguments) -> Result<(), String> {
    let mut out = csv::Writer::from_writer(Vec::new());
    let header: &[&str] = if arguments.melody {
        &["piece", "part", "onset", "offset", "melody"]
    } else {
        &["piece", "part", "bar", "mel", "rhythm", "harm"]
    };
    // Into memory first, so that a reader that stops listening (`| head`) is no error of the table's.
    let failed = |error: &dyn std::fmt::Display| format!("the table cannot be written: {error}");
    out.write_record(header).map_err(|error| failed(&error))?;
    let mut unread = 0;
    for path in &arguments.reading.files {
        let Some(reading) = open(path, arguments.reading.strict) else {
            unread += 1;
            continue;
        };
        let piece = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
        let sounding = Sounding::new(&reading.score, Unroll::AsWritten);
        let roles = predict(&reading.score, &sounding);
        let table = Table { piece: &piece, score: &reading.score, sounding: &sounding, roles: &roles };
        table.write(&mut out, arguments.melody).map_err(|error| failed(&error))?;
    }
    let bytes = out.into_inner().map_err(|error| failed(&error))?;
    match io::stdout().lock().write_all(&bytes) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => return Err(failed(&error)),
        _ => {}
    }
    if unread == 0 { Ok(()) } else { Err(format!("{unread} of {} files could not be read", arguments.reading.files.len())) }
}

/// What a table is made from.
struct Table<'a> {
    piece: &'a str,
    score: &'a Score,
    sounding: &'a Sounding,
    roles: &'a RoleProbabilities,
}

impl Table<'_> {
    fn write<W: Write>(&self, out: &mut csv::Writer<W>, melody: bool) -> csv::Result<()> {
        for (index, part) in self.score.parts.iter().enumerate() {
            for (bar, played) in self.sounding.bars.iter().enumerate() {
                if self.is_silent(index, bar) {
                    continue;
                }
                if melody {
                    let end = played.start + played.length;
                    let lead = format!("{:.4}", self.roles.lead[index][bar]);
                    out.write_record([self.piece, &index.to_string(), &decimal(played.start), &decimal(end), &lead])?;
                } else {
                    let bits = self.roles.groups(index, bar).map(|yes| if yes { "1" } else { "0" });
                    out.write_record([self.piece, &part.name, &(bar + 1).to_string(), bits[0], bits[1], bits[2]])?;
                }
            }
        }
        Ok(())
    }

    /// A part that sounds has some role, so all three at zero means silence.
    fn is_silent(&self, part: usize, bar: usize) -> bool {
        [&self.roles.melody, &self.roles.rhythm, &self.roles.harmony].iter().all(|grid| grid[part][bar] <= 0.0)
    }
}

/// A moment as a decimal number, for programs that know no fractions.
fn decimal(at: Crotchets) -> String {
    format!("{:.6}", at.to_f64())
}
