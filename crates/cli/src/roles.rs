//! `ripieno roles`

use std::io::{self, Write};
use std::path::Path;

use ripieno_formats::{Limits, Severity};
use ripieno_report::{Table, melody, role_spans, roles_by_bar, tables_json};
use ripieno_score::Crotchets;
use ripieno_study::{Study, analyse_file};

/// Arguments of `ripieno roles`.
#[derive(clap::Args)]
pub struct RolesArguments {
    #[command(flatten)]
    reading: crate::Reading,
    /// How to print
    #[arg(long, value_enum, default_value_t = Form::Csv)]
    format: Form,
    /// A row for each part and bar instead of one for each line and span (JSON holds both)
    #[arg(long, conflicts_with_all = ["groups", "melody"])]
    by_bar: bool,
    /// For each sounding part and bar the published groups it belongs to: mel, rhythm, harm as 0 or 1
    #[arg(long, conflicts_with_all = ["melody", "format"])]
    groups: bool,
    /// For each sounding part and bar how strongly it carries the main melody, with onset and offset in crotchets
    #[arg(long, conflicts_with = "format")]
    melody: bool,
}

/// Forms of output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// Comma-separated values with a header
    Csv,
    /// One object for each file
    Json,
}

/// Prints one table for all files.
pub fn run(arguments: &RolesArguments) -> Result<(), String> {
    // Into memory first, so that a reader that stops listening (`| head`) is no error of the table's.
    let mut out = Output { bytes: Vec::new(), rows: csv::Writer::from_writer(Vec::new()), files: 0 };
    let mut unread = 0;
    for path in &arguments.reading.files {
        let Some(study) = open(path, arguments.reading.strict) else {
            unread += 1;
            continue;
        };
        out.add(path, &study, arguments).map_err(|error| format!("the table cannot be written: {error}"))?;
        out.files += 1;
    }
    let bytes = out.finish(arguments).map_err(|error| format!("the table cannot be written: {error}"))?;
    match io::stdout().lock().write_all(&bytes) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => return Err(format!("the table cannot be written: {error}")),
        _ => {}
    }
    if unread == 0 { Ok(()) } else { Err(format!("{unread} of {} files could not be read", arguments.reading.files.len())) }
}

/// Studies one file, telling what was found; `None` when it cannot be used (which has been said).
fn open(path: &Path, strict: bool) -> Option<Study> {
    let study = match analyse_file(path, &Limits::default()) {
        Ok(study) => study,
        Err(error) => {
            eprintln!("{error}");
            return None;
        }
    };
    let loud = study.findings.iter().filter(|finding| finding.severity >= Severity::Warning);
    let count = loud.inspect(|finding| eprintln!("{finding}")).count();
    if strict && count > 0 {
        eprintln!("{}: not used, because of --strict and the findings above.", path.display());
        return None;
    }
    Some(study)
}

struct Output {
    /// JSON so far.
    bytes: Vec<u8>,
    /// Rows so far.
    rows: csv::Writer<Vec<u8>>,
    files: usize,
}

impl Output {
    fn add(&mut self, path: &Path, study: &Study, arguments: &RolesArguments) -> io::Result<()> {
        let piece = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
        if arguments.groups || arguments.melody {
            return self.published(&piece, study, arguments.melody);
        }
        if arguments.format == Form::Json {
            let all = tables_json(&[role_spans(study), roles_by_bar(study), melody(study)]);
            let name = serde_json::to_string(&path.display().to_string()).unwrap_or_default();
            let comma = if self.files == 0 { "" } else { ",\n" };
            self.bytes.extend_from_slice(format!("{comma}{name}: {}", all.trim_end()).as_bytes());
            return Ok(());
        }
        let table = if arguments.by_bar { roles_by_bar(study) } else { role_spans(study) };
        self.append(&path.display().to_string(), &table)
    }

    /// The table's rows, each behind the file's name.
    fn append(&mut self, file: &str, table: &Table) -> io::Result<()> {
        if self.files == 0 {
            self.rows.write_record(["file"].iter().chain(table.columns))?;
        }
        for cells in table.texts() {
            self.rows.write_record([file.to_owned()].into_iter().chain(cells))?;
        }
        Ok(())
    }

    /// The columns the published annotations are scored in.
    fn published(&mut self, piece: &str, study: &Study, melody: bool) -> io::Result<()> {
        if self.files == 0 {
            let header: &[&str] = if melody {
                &["piece", "part", "onset", "offset", "melody"]
            } else {
                &["piece", "part", "bar", "mel", "rhythm", "harm"]
            };
            self.rows.write_record(header)?;
        }
        for (index, part) in study.score.parts.iter().enumerate() {
            for (bar, played) in study.sounding.bars.iter().enumerate() {
                if study.learned.is_silent(index, bar) {
                    continue;
                }
                if melody {
                    let end = played.start + played.length;
                    let lead = format!("{:.4}", study.roles.roles.leads[index][bar]);
                    self.rows.write_record([piece, &index.to_string(), &decimal(played.start), &decimal(end), &lead])?;
                } else {
                    let bits = study.learned.groups(index, bar).map(|yes| if yes { "1" } else { "0" });
                    self.rows.write_record([piece, &part.name, &(bar + 1).to_string(), bits[0], bits[1], bits[2]])?;
                }
            }
        }
        Ok(())
    }

    fn finish(self, arguments: &RolesArguments) -> io::Result<Vec<u8>> {
        if arguments.format == Form::Json {
            let text = String::from_utf8_lossy(&self.bytes).into_owned();
            return Ok(format!("{{\n{text}\n}}\n").into_bytes());
        }
        self.rows.into_inner().map_err(|error| io::Error::other(error.to_string()))
    }
}

/// A moment as a decimal number, for programs that know no fractions.
fn decimal(at: Crotchets) -> String {
    format!("{:.6}", at.to_f64())
}
