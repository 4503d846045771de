//! `ripieno study`

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ripieno_formats::{Limits, Severity};
use ripieno_library::{FEWEST_WORKS, Reader};
use ripieno_study::{Cancel, Study, read_all};

use crate::library::said;

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
    let usual = |except: Option<&Path>| match &arguments.library {
        Some(library) => Reader::open(library).and_then(|reader| reader.usual(except)).map(Some),
        None => Ok(None),
    };
    if usual(None).map_err(said)?.is_some_and(|usual| usual.works() < FEWEST_WORKS) {
        eprintln!(
            "The library has fewer than {FEWEST_WORKS} works: too few to tell what is unusual, so the findings keep their order."
        );
    }
    let mut unread = 0usize;
    let mut failures = Vec::new();
    read_all(
        files,
        &Limits::default(),
        &Cancel::default(),
        |progress| {
            if let Err(error) = progress.outcome {
                unread += 1;
                eprintln!("{error}");
            } else if progress.total > 1 {
                eprintln!("{} of {}: {}", progress.done, progress.total, progress.path.display());
            }
        },
        |index, mut study| {
            match usual(Some(&files[index])) {
                Ok(Some(usual)) => study.stand_among(|key, value| {
                    let standing = usual.unusual(key, value).filter(|standing| standing.is_enough())?;
                    Some((standing.below, standing.works))
                }),
                Ok(None) => {}
                Err(error) => failures.push(said(error)),
            }
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
