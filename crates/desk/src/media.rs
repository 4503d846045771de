//! What is made from a study when it is asked for, and kept for a while: sound prepared, pages engraved.

use std::collections::VecDeque;
use std::fs::File;
use std::io::BufReader;
use std::path::Path;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use ripieno_engraving::{EngraveError, Engraver, engraver};
use ripieno_sound::Font;
use tokio::sync::Semaphore;

use crate::desk::Open;
use crate::excerpt::{Engraved, Wish};
use crate::listen::Prepared;

/// Studies for which something is kept.
const STUDIES: usize = 4;
/// Engraved excerpts kept, and their bytes together.
const EXCERPTS: usize = 12;
const MOST_BYTES: usize = 64 << 20;
/// Passages streamed at one time: one that plays or waits to be played in each window, one that is made ready for a loop, proposals beside each other.
pub(crate) const STREAMS: usize = 12;

/// What belongs to one revision of a score.
#[derive(Debug, Default)]
pub(crate) struct OfStudy {
    pub sound: OnceLock<Prepared>,
}

/// Score and revision.
type Revision = (i64, u64);
/// Score, revision, wish.
type Key = (i64, u64, Wish);

/// All of it.
pub(crate) struct Media {
    font: OnceLock<Font>,
    studies: Mutex<VecDeque<(Revision, Arc<OfStudy>)>>,
    engraver: Mutex<Option<Arc<dyn Engraver>>>,
    pages: Mutex<VecDeque<(Key, Arc<Engraved>)>>,
    /// One engraves at a time; who has gone meanwhile is left out.
    pub(crate) engraving: Arc<Semaphore>,
    /// One sound file is made at a time.
    pub(crate) recording: Arc<Semaphore>,
    pub(crate) streams: Arc<Semaphore>,
}

impl std::fmt::Debug for Media {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Media").field("font", &self.font).finish_non_exhaustive()
    }
}

impl Default for Media {
    fn default() -> Self {
        Self {
            font: OnceLock::new(),
            studies: Mutex::default(),
            engraver: Mutex::default(),
            pages: Mutex::default(),
            engraving: Arc::new(Semaphore::new(1)),
            recording: Arc::new(Semaphore::new(1)),
            streams: Arc::new(Semaphore::new(STREAMS)),
        }
    }
}

impl Media {
    pub(crate) fn set_font(&self, path: &Path) -> Result<(), String> {
        let file = File::open(path).map_err(|error| format!("{}: cannot be read ({error})", path.display()))?;
        let font = Font::read(BufReader::new(file)).map_err(|error| format!("{}: {error}", path.display()))?;
        let _ = self.font.set(font);
        Ok(())
    }

    pub(crate) fn font(&self) -> Option<&Font> {
        self.font.get()
    }

    pub(crate) fn of(&self, open: &Open) -> Arc<OfStudy> {
        let key = (open.score, open.revision);
        let mut studies = self.studies.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, found)) = studies.iter().find(|(known, _)| *known == key) {
            return Arc::clone(found);
        }
        // An older revision is not asked for again.
        studies.retain(|((score, _), _)| *score != open.score);
        studies.push_back((key, Arc::default()));
        while studies.len() > STUDIES {
            studies.pop_front();
        }
        studies.back().map(|(_, made)| Arc::clone(made)).unwrap_or_default()
    }

    /// The engraver, started when it is first needed.
    pub(crate) fn engraver(&self) -> Result<Arc<dyn Engraver>, EngraveError> {
        let mut kept = self.engraver.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(started) = &*kept {
            return Ok(Arc::clone(started));
        }
        let started: Arc<dyn Engraver> = Arc::from(engraver()?);
        *kept = Some(Arc::clone(&started));
        Ok(started)
    }

    pub(crate) fn engraved(&self, key: &Key) -> Option<Arc<Engraved>> {
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        let place = pages.iter().position(|(known, _)| known == key)?;
        let found = pages.remove(place)?;
        let engraved = Arc::clone(&found.1);
        pages.push_back(found);
        Some(engraved)
    }

    pub(crate) fn keep(&self, key: Key, engraved: Engraved) -> Arc<Engraved> {
        let engraved = Arc::new(engraved);
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        pages.retain(|(known, _)| *known != key);
        pages.push_back((key, Arc::clone(&engraved)));
        while pages.len() > EXCERPTS
            || (pages.len() > 1 && pages.iter().map(|(_, kept)| kept.bytes()).sum::<usize>() > MOST_BYTES)
        {
            pages.pop_front();
        }
        engraved
    }
}

/// A desk with the demonstration score open as number 1, for tests.
#[cfg(test)]
#[allow(clippy::expect_used)] // a test may stop at the first surprise
pub(crate) mod trial {
    use std::path::Path;
    use std::sync::LazyLock;

    use ripieno_formats::{Limits, read};
    use ripieno_study::analyse;

    use crate::desk::Desk;

    pub(crate) static DEMO: LazyLock<Desk> = LazyLock::new(|| {
        let folder = std::env::temp_dir().join(format!("ripieno-desk-media-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        let desk = Desk::on(&folder.join("library.db")).expect("a library");
        let name = "lifeboat_overture.musicxml";
        let bytes = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(name)).expect("the demo");
        let reading = read(name, &bytes, &Limits::default()).expect("a score");
        desk.hold(1, analyse(name.to_owned(), reading));
        drop(std::fs::remove_dir_all(folder));
        desk
    });
}
