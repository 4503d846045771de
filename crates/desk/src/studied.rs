//! Opening scores: read, outlined, studied, kept.

use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError};
use std::time::SystemTime;

use ripieno_formats::{Format, Limits, load, read};
use ripieno_library::Labels;
use ripieno_questions::MomentRow;
use ripieno_study::corrections::sidecar_path;
use ripieno_study::{Study, analyse, analyse_file};

use crate::anchors;
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
            job.set_outline(View::outline(&name, &reading, score.unwrap_or(0)));
            Some(reading)
        };
        drop(bytes);
        if !job.go(Stage::Studying, "finding out who does what", score) {
            return Ok(());
        }
        // Without corrections what has been read need not be read again.
        let study = match reading.filter(|_| !sidecar_path(path).exists()) {
            Some(reading) => analyse(name.clone(), reading),
            None => analyse_file(path, &limits()).map_err(|error| Failure::refused(error.to_string()))?,
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

/// How often a score is studied anew because it was saved meanwhile.
const TRIES: usize = 3;

/// Length and time of saving of a score and of the corrections beside it; `None` where there is no such file.
fn stamps(path: &Path) -> [Option<(u64, SystemTime)>; 2] {
    [path, &sidecar_path(path)].map(|path| {
        let about = std::fs::metadata(path).ok()?;
        Some((about.len(), about.modified().ok()?))
    })
}

/// Keeps a study in the library and holds it open.
pub(crate) fn keep(desk: &Desk, path: &Path, study: Study) -> Outcome<Arc<Open>> {
    use ripieno_library::Outcome::{Added, Renewed, Unchanged, Unread};
    let moments = MomentRow::of(&study);
    match desk.library()?.add(path, &study, &moments, &Labels::default())? {
        Added(score) | Renewed(score) | Unchanged(score) => {
            anchors::follow(desk, score, &study)?;
            Ok(desk.hold(score, study))
        }
        Unread(why) => Err(Failure::refused(why)),
    }
}

/// Studies a kept score again, after its corrections have changed.
pub(crate) fn again(desk: &Desk, path: &Path) -> Outcome<Arc<Open>> {
    let study = analyse_file(path, &limits()).map_err(|error| Failure::refused(error.to_string()))?;
    keep(desk, path, study)
}

fn last_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}
