//! What the desk holds.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use axum::body::Bytes;
use axum::http::StatusCode;
use ripieno_library::{Kept, Library, Reader};
use ripieno_study::Study;
use ripieno_study::corrections::Request;
use tokio::sync::Semaphore;

use crate::compare::Profiles;
use crate::failure::{Failure, Outcome};
use crate::jobs::Jobs;
use crate::media::Media;
use crate::profiles::SavedProfiles;
use crate::shelf::SmallMaps;
use crate::weigher::Weighers;
use crate::write::Drafts;

/// Studies kept in memory; a large score takes some tens of megabytes.
const OPEN: usize = 4;

/// A study with what belongs to it while the desk is open.
#[derive(Debug)]
pub(crate) struct Open {
    pub score: i64,
    /// Goes up with every change.
    pub revision: u64,
    pub study: Study,
    /// The study as the page draws it, written once: JSON.
    pub view: OnceLock<Bytes>,
}

#[derive(Debug, Default)]
struct Held {
    /// The one used last comes last.
    open: VecDeque<Arc<Open>>,
    /// Corrections taken back, the latest last, by score.
    undone: Vec<(i64, Request)>,
    revision: u64,
}

/// A library, the studies opened last, and what is being done.
#[derive(Debug, Clone)]
pub struct Desk(Arc<Inner>);

/// What a [`Desk`] shares among its requests.
#[derive(Debug)]
pub struct Inner {
    library: PathBuf,
    /// Where scores dropped on the page are kept: beside the library.
    folder: PathBuf,
    held: Mutex<Held>,
    /// One at a time changes the corrections.
    pub(crate) correcting: Mutex<()>,
    /// One at a time asks for a change of corrections: whoever breaks off finds all as it was.
    pub(crate) changing: Mutex<()>,
    /// One at a time changes what notes of one's own are tied to.
    pub(crate) noting: Mutex<crate::anchors::Lost>,
    pub(crate) jobs: Jobs,
    pub(crate) maps: SmallMaps,
    pub(crate) profiles: Profiles,
    /// Profiles saved as files.
    pub(crate) saved_profiles: SavedProfiles,
    /// Analyses at one time: each takes a core.
    pub(crate) turns: Arc<Semaphore>,
    /// Prepared sound and engraved pages.
    pub(crate) media: Media,
    /// What is being written.
    pub(crate) drafts: Drafts,
    /// Balance in the situations looked at.
    pub(crate) weighers: Weighers,
}

impl std::ops::Deref for Desk {
    type Target = Inner;

    fn deref(&self) -> &Inner {
        &self.0
    }
}

impl Desk {
    /// A desk on the library at `path`, which is begun when there is none.
    ///
    /// # Errors
    /// When the library cannot be opened: one sentence.
    pub fn on(path: &Path) -> Result<Self, String> {
        let library = std::path::absolute(path).map_err(|error| format!("{}: {error}", path.display()))?;
        Library::open_or_create(&library).map_err(|error| error.to_string())?;
        let folder = library.with_file_name(format!(
            "{}-scores",
            library.file_stem().map_or_else(|| "library".into(), |stem| stem.to_string_lossy())
        ));
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        Ok(Self(Arc::new(Inner {
            drafts: Drafts::beside(&library),
            saved_profiles: SavedProfiles::beside(&library),
            library,
            folder,
            held: Mutex::default(),
            correcting: Mutex::default(),
            changing: Mutex::default(),
            noting: Mutex::default(),
            jobs: Jobs::default(),
            maps: SmallMaps::default(),
            profiles: Profiles::default(),
            // A core stays free to answer.
            turns: Arc::new(Semaphore::new(cores.saturating_sub(1).max(1))),
            media: Media::default(),
            weighers: Weighers::default(),
        })))
    }

    /// The same desk, playing from a SoundFont 2 file instead of the built-in instruments.
    ///
    /// # Errors
    /// When the file cannot be read or is no SoundFont: one sentence.
    pub fn playing_from(self, soundfont: &Path) -> Result<Self, String> {
        self.media.set_font(soundfont)?;
        Ok(self)
    }
}

impl Inner {
    pub(crate) fn path(&self) -> &Path {
        &self.library
    }

    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    /// The library, to change it: waits for others who do.
    pub(crate) fn library(&self) -> Outcome<Library> {
        Ok(Library::open_or_create(&self.library)?)
    }

    /// The library, to read it: waits for nobody.
    pub(crate) fn reader(&self) -> Outcome<Reader> {
        Ok(Reader::open(&self.library)?)
    }

    /// A kept score by number.
    pub(crate) fn kept(&self, score: i64) -> Outcome<Kept> {
        self.reader()?.kept(score)?.ok_or_else(|| no_score(score))
    }

    /// A number no study has had yet.
    pub(crate) fn next_revision(&self) -> u64 {
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        held.revision += 1;
        held.revision
    }

    /// The study of a score, when it is open; below zero are those of drafts.
    pub(crate) fn open(&self, score: i64) -> Option<Arc<Open>> {
        if score < 0 {
            return self.drafts.open(score);
        }
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        let place = held.open.iter().position(|open| open.score == score)?;
        let open = held.open.remove(place)?;
        held.open.push_back(Arc::clone(&open));
        Some(open)
    }

    /// As [`Self::open`], for requests that need it.
    pub(crate) fn opened(&self, score: i64) -> Outcome<Arc<Open>> {
        self.open(score).ok_or_else(|| Failure::new(StatusCode::CONFLICT, "the score is not open; open it first"))
    }

    pub(crate) fn hold(&self, score: i64, study: Study) -> Arc<Open> {
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        held.revision += 1;
        let open = Arc::new(Open { score, revision: held.revision, study, view: OnceLock::new() });
        held.open.retain(|other| other.score != score);
        held.open.push_back(Arc::clone(&open));
        while held.open.len() > OPEN {
            held.open.pop_front();
        }
        open
    }

    /// Holds a study again as it was, in place of any that has come of it since.
    pub(crate) fn hold_again(&self, open: &Arc<Open>) {
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        held.open.retain(|other| other.score != open.score);
        held.open.push_back(Arc::clone(open));
    }

    /// Corrections of a score that were taken back, to be put back as they were.
    pub(crate) fn all_undone(&self) -> Vec<(i64, Request)> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner).undone.clone()
    }

    pub(crate) fn set_undone(&self, undone: Vec<(i64, Request)>) {
        self.held.lock().unwrap_or_else(PoisonError::into_inner).undone = undone;
    }

    pub(crate) fn let_go(&self, score: i64) {
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        held.open.retain(|open| open.score != score);
        held.undone.retain(|(of, _)| *of != score);
        drop(held);
        self.weighers.let_go(score);
    }

    pub(crate) fn can_redo(&self, score: i64) -> bool {
        self.held.lock().unwrap_or_else(PoisonError::into_inner).undone.iter().any(|(of, _)| *of == score)
    }

    pub(crate) fn undone(&self, score: i64, request: Request) {
        self.held.lock().unwrap_or_else(PoisonError::into_inner).undone.push((score, request));
    }

    pub(crate) fn last_undone(&self, score: i64) -> Option<Request> {
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        let place = held.undone.iter().rposition(|(of, _)| *of == score)?;
        Some(held.undone.remove(place).1)
    }

    pub(crate) fn forget_undone(&self, score: i64) {
        self.held.lock().unwrap_or_else(PoisonError::into_inner).undone.retain(|(of, _)| *of != score);
    }
}

pub(crate) fn no_score(score: i64) -> Failure {
    Failure::not_there(format!("the library has no score {score}"))
}
