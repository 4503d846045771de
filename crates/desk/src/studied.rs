//! Opening scores: read, outlined, studied, kept.

use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError};
use std::time::SystemTime;

use ripieno_formats::{Format, Limits, Reading, load, read};
use ripieno_library::Labels;
use ripieno_questions::MomentRow;
use ripieno_study::corrections::{Corrections, sidecar_path};
use ripieno_study::{Study, analyse_file, analyse_file_telling, analyse_telling};

use crate::anchors;
use crate::corrections::said;
use crate::desk::{Desk, Open};
use crate::failure::{Failure, Outcome};
use crate::jobs::{Job, Stage};
use crate::view::View;

/// Limits on what is dropped on the page: a tenth of a gigabyte holds any score.
pub(crate) const MOST_BYTES: usize = 96 << 20;

pub(crate) fn limits() -> Limits {
    Limits { file_bytes: MOST_BYTES as u64, inflated_bytes: 384 << 20, ..Limits::default() }
}

/// Begins to open the score at `path`; `score` is its number when it is kept already.
pub(crate) fn begin(desk: &Desk, path: PathBuf, score: Option<i64>) -> Arc<Job> {
    let name = last_name(&path);
    let job = desk.jobs.begin(format!("{name} waits for its turn"), score);
    let (desk, working) = (desk.clone(), Arc::clone(&job));
    tokio::spawn(async move {
        let Ok(_turn) = Arc::clone(&desk.turns).acquire_owned().await else { return };
        let job = Arc::clone(&working);
        let done = tokio::task::spawn_blocking(move || work(&desk, &path, score, &working)).await;
        match done {
            Ok(Ok(())) => {}
            Ok(Err(failure)) => {
                job.go(Stage::Failed, failure.message, None);
            }
            Err(_) => {
                job.go(Stage::Failed, format!("{name}: the analysis broke down. Please report the score"), None);
            }
        }
    });
    job
}

fn work(desk: &Desk, path: &Path, score: Option<i64>, job: &Job) -> Outcome<()> {
    let name = last_name(path);
    if job.is_cancelled() || !job.go(Stage::Reading, format!("reading {name}"), score) {
        return Ok(());
    }
    for _ in 0..TRIES {
        let before = stamps(path);
        let (_, bytes) = load(path, &limits()).map_err(|error| Failure::refused(error.to_string()))?;
        // A chart is small and has nothing to show before it is studied.
        let reading = if Format::of(&bytes) == Some(Format::Chart) {
            None
        } else {
            let reading = read(&name, &bytes, &limits()).map_err(|error| Failure::refused(error.to_string()))?;
            // One that is on the shelf stays there, whatever has become of its file.
            if score.is_none() && reading.score.parts.iter().all(|part| part.notes.is_empty()) {
                return Err(Failure::refused(without_notes(&name, &reading)));
            }
            job.set_outline(View::outline(&name, &reading, score.unwrap_or(0)));
            Some(reading)
        };
        drop(bytes);
        if !job.go(Stage::Studying, format!("{name}: finding out who does what"), score) {
            return Ok(());
        }
        // Without corrections what has been read need not be read again.
        let study = match reading.filter(|_| !sidecar_path(path).exists()) {
            Some(reading) => analyse_telling(name.clone(), reading, &|step| job.at(&name, step)),
            None => analyse_file_telling(path, &limits(), &|step| job.at(&name, step))
                .map_err(|error| Failure::refused(error.to_string()))?,
        };
        // The library keeps a study under the content the files have then: old findings must not pass for those of a score or of
        // corrections saved meanwhile.
        let _no_correction = desk.correcting.lock().unwrap_or_else(PoisonError::into_inner);
        if job.is_cancelled() {
            return Ok(());
        }
        if stamps(path) == before {
            let open = keep(desk, path, study)?;
            job.go(Stage::Done, "done", Some(open.score));
            return Ok(());
        }
    }
    Err(Failure::refused(format!("{name} is saved again and again while it is studied; open it when it is finished")))
}

/// Why a file in which nothing sounds is not put on the shelf.
fn without_notes(name: &str, reading: &Reading) -> String {
    let noticed: Vec<String> = reading.findings.iter().map(|finding| finding.what.trim_end_matches('.').to_owned()).collect();
    let more = match noticed.len() {
        0 => String::new(),
        all => {
            let first = noticed.iter().take(NOTICED).cloned().collect::<Vec<_>>().join("; ");
            let rest = if all > NOTICED { format!("; and {} more", all - NOTICED) } else { String::new() };
            format!(" Noticed in it: {first}{rest}.")
        }
    };
    format!("No note could be read in {name}, so it is not put on the shelf.{more}")
}

/// Remarks of the reader that are told of such a file.
const NOTICED: usize = 4;

/// How often a score is studied anew because it was saved meanwhile.
const TRIES: usize = 3;

/// Length and time of saving of a score and of the corrections beside it; `None` where there is no such file.
fn stamps(path: &Path) -> [Option<(u64, SystemTime)>; 2] {
    [path, &sidecar_path(path)].map(|path| {
        let about = std::fs::metadata(path).ok()?;
        Some((about.len(), about.modified().ok()?))
    })
}

/// Keeps a study in the library; the score's number.
fn shelve(desk: &Desk, path: &Path, study: &Study) -> Outcome<i64> {
    use ripieno_library::Outcome::{Added, Renewed, Unchanged, Unread};
    match desk.library()?.add(path, study, &MomentRow::of(study), &Labels::default())? {
        Added(score) | Renewed(score) | Unchanged(score) => {
            anchors::follow(desk, score, study)?;
            Ok(score)
        }
        Unread(why) => Err(Failure::refused(why)),
    }
}

/// Keeps a study in the library and holds it open.
pub(crate) fn keep(desk: &Desk, path: &Path, study: Study) -> Outcome<Arc<Open>> {
    let score = shelve(desk, path, &study)?;
    Ok(desk.hold(score, study))
}

/// Studies a kept score again, after its corrections have changed.
pub(crate) fn again(desk: &Desk, path: &Path) -> Outcome<Arc<Open>> {
    let study = analyse_file(path, &limits()).map_err(|error| Failure::refused(error.to_string()))?;
    keep(desk, path, study)
}

/// A score as it was before its corrections were changed: the corrections, and its study.
pub(crate) struct Before {
    path: PathBuf,
    corrections: Corrections,
    open: Arc<Open>,
}

impl Before {
    pub(crate) fn of(desk: &Desk, score: i64) -> Outcome<Self> {
        let path = PathBuf::from(desk.kept(score)?.path);
        let open = desk.opened(score)?;
        let corrections = Corrections::beside(&path).map_err(said)?;
        Ok(Self { path, corrections, open })
    }

    /// Takes back a change that has `left` these corrections: the file, what the library knows, and the study that is open, with its revision. What
    /// somebody else has corrected meanwhile, on the command line say, stays, and the score is studied with it.
    pub(crate) fn put_back(&self, desk: &Desk, left: &Corrections) -> Outcome<()> {
        let _no_correction = desk.correcting.lock().unwrap_or_else(PoisonError::into_inner);
        if left.put_back(&self.corrections).map_err(said)? {
            // First what the page may ask for at any moment.
            desk.hold_again(&self.open);
            shelve(desk, &self.path, &self.open.study)?;
        } else {
            again(desk, &self.path)?;
        }
        Ok(())
    }
}

fn last_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}
