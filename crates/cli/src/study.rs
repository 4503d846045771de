//! `ripieno study`

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, Severity};
use ripieno_library::{FEWEST_WORKS, Reader};
use ripieno_study::{Cancel, Study, read_all};

use crate::library::said;
use crate::open::is_read;

/// Arguments of `ripieno study`.
#[derive(clap::Args)]
pub struct StudyArguments {
    #[command(flatten)]
    reading: crate::Reading,
    /// Folder for the reports; without it each lies beside its score, in NAME.ripieno
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// A library of other works: what is unusual among them comes first among the findings
    #[arg(long, value_name = "LIBRARY")]
    library: Option<PathBuf>,
}

/// Reads, analyses and reports each file, telling how far it has come.
pub fn run(arguments: &StudyArguments) -> Result<(), String> {
    let files = &arguments.reading.files;
    let folders = folders(files, arguments.out.as_deref());
    // One that cannot be opened is said before the long work, not after.
    arguments.library.as_deref().map(Reader::open).transpose().map_err(said)?;
    let mut unread = 0usize;
    let mut failures = Vec::new();
    read_all(
        files,
        &Limits::default(),
        &Cancel::default(),
        |progress| unread += usize::from(!is_read(progress)),
        |index, mut study| {
            let ordered = arguments.library.as_deref().map(|library| order_findings(&mut study, library, &files[index]));
            failures.extend(ordered.and_then(Result::err));
            if let Err(failure) = report(&study, &folders[index], arguments.reading.strict) {
                failures.push(failure);
            }
        },
    );
    if unread > 0 {
        failures.push(format!("{unread} of {} files could not be read", files.len()));
    }
    if failures.is_empty() { Ok(()) } else { Err(failures.join("\n")) }
}

/// Puts what is unusual among the other works of a library first among the findings.
fn order_findings(study: &mut Study, library: &Path, file: &Path) -> Result<(), String> {
    let usual = Reader::open(library).and_then(|reader| reader.usual(Some(file))).map_err(said)?;
    if usual.works() < FEWEST_WORKS {
        eprintln!(
            "{}: the library has fewer than {FEWEST_WORKS} other works: too few to tell what is unusual, so the findings keep their order.",
            file.display()
        );
        return Ok(());
    }
    study.stand_among(|key, value| {
        let standing = usual.unusual(key, value).filter(|standing| standing.is_enough())?;
        Some((standing.below, standing.works))
    });
    Ok(())
}

/// Where each report goes: files of one name in different folders do not overwrite each other.
fn folders(files: &[PathBuf], out: Option<&Path>) -> Vec<PathBuf> {
    let mut taken: BTreeMap<PathBuf, usize> = BTreeMap::new();
    files
        .iter()
        .map(|file| {
            let stem = file.file_stem().map_or_else(|| "score".into(), |stem| stem.to_string_lossy().into_owned());
            let folder = match out {
                Some(out) if files.len() == 1 => out.to_owned(),
                Some(out) => out.join(&stem),
                None => file.with_file_name(format!("{stem}.ripieno")),
            };
            let count = taken.entry(folder.clone()).or_default();
            *count += 1;
            if *count == 1 { folder } else { folder.with_file_name(format!("{stem}.{count}")) }
        })
        .collect()
}

fn report(study: &Study, folder: &Path, strict: bool) -> Result<(), String> {
    let loud = study.findings.iter().filter(|finding| finding.severity >= Severity::Warning).count();
    if strict && loud > 0 {
        study.findings.iter().filter(|finding| finding.severity >= Severity::Warning).for_each(|finding| eprintln!("{finding}"));
        return Err(format!("{}: no report, because of --strict and the findings above", study.file));
    }
    ripieno_report::write(study, folder)
        .map_err(|error| format!("{}: the report cannot be written ({error})", folder.display()))?;
    println!("{}", folder.join("report.html").display());
    if loud > 0 {
        eprintln!("{}: {loud} findings of the reader are listed at the end of the report", study.file);
    }
    Ok(())
}
