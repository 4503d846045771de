//! The engine: one C++ toolkit on a thread of its own.
//!
//! The library keeps state of its own and cannot be interrupted, so it lives on one thread that takes jobs in turn. A job that takes too
//! long is given up: its thread is left behind and the next job gets a new one, as long as not too many are left behind. Its fonts must lie in files: they are laid out in
//! a temporary folder that goes when the engine goes.

use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::thread::JoinHandle;

use serde_json::json;
use tempfile::TempDir;
use verovio_data::DATA;
use verovio_sys::ffi;

use crate::page::{self, Page};
use crate::systems;
use crate::{EmptyStaves, EngraveError, Engraver, KeyChange, Layout, PATIENCE, admitted, endings, keys, long_rests, staves};

/// The music font, and the text metrics the engine reserves room by.
const FONT: &str = "Bravura";
/// Longest page the engine lays out, in its units.
const LONGEST_PAGE: f64 = 60_000.0;
/// Stack of the engine's thread: it recurses over the elements of a page.
const STACK: usize = 64 << 20;

struct Job {
    musicxml: String,
    options: String,
    keys: Vec<KeyChange>,
    /// Whether empty staves are left out of a system.
    hides: bool,
    answer: SyncSender<Result<Vec<String>, EngraveError>>,
}

struct Worker {
    jobs: SyncSender<Job>,
    thread: JoinHandle<()>,
}

/// Threads that may still be at work, each on a core of its own, when a new one is begun.
const MOST_LEFT: usize = 1;

/// The engine's threads.
struct Threads {
    worker: Option<Worker>,
    /// Given up, as far as they have not ended.
    left: Vec<JoinHandle<()>>,
}

/// The engine.
pub(crate) struct Engine {
    threads: Mutex<Threads>,
}

impl Engine {
    pub(crate) fn start() -> Result<Self, EngraveError> {
        Ok(Self { threads: Mutex::new(Threads { worker: Some(Worker::start()?), left: Vec::new() }) })
    }
}

impl Engraver for Engine {
    fn engrave_keyed(&self, musicxml: &[u8], layout: &Layout, keys: &[KeyChange]) -> Result<Vec<Page>, EngraveError> {
        self.answer(musicxml, options(layout, None, EmptyStaves::Shown, None), keys, EmptyStaves::Shown)
    }

    fn engrave_lines(
        &self,
        musicxml: &[u8],
        layout: &Layout,
        keys: &[KeyChange],
        empty: EmptyStaves,
        apart: Option<f64>,
    ) -> Result<Vec<Page>, EngraveError> {
        let breaks = match apart {
            Some(_) => Breaks::Given,
            None if musicxml.windows(NEW_LINE.len()).any(|text| text == NEW_LINE.as_bytes()) => Breaks::Wished,
            None => Breaks::Own,
        };
        self.answer(musicxml, options(layout, Some(breaks), empty, apart), keys, empty)
    }
}

impl Engine {
    fn answer(
        &self,
        musicxml: &[u8],
        options: String,
        keys: &[KeyChange],
        empty: EmptyStaves,
    ) -> Result<Vec<Page>, EngraveError> {
        let musicxml = staves::said(admitted(musicxml)?);
        let (answer, answered) = sync_channel(1);
        let mut threads = self.threads.lock().unwrap_or_else(PoisonError::into_inner);
        let running = threads.running()?;
        let gone = || EngraveError::NotStarted("its thread has ended".to_owned());
        let hides = empty != EmptyStaves::Shown;
        let job = Job { musicxml, options, keys: keys.to_vec(), hides, answer };
        running.jobs.send(job).map_err(|_| gone())?;
        match answered.recv_timeout(PATIENCE) {
            Ok(pages) => pages?.iter().map(|svg| page::tidied(svg)).collect(),
            Err(RecvTimeoutError::Timeout) => {
                // Nothing can stop it; it ends when it is done.
                threads.leave();
                Err(EngraveError::TooSlow)
            }
            Err(RecvTimeoutError::Disconnected) => {
                threads.leave();
                Err(gone())
            }
        }
    }
}

impl Threads {
    /// The thread that takes jobs, a new one where there is none.
    fn running(&mut self) -> Result<&Worker, EngraveError> {
        self.left.retain(|thread| !thread.is_finished());
        match self.worker.take() {
            Some(running) if !running.thread.is_finished() => Ok(self.worker.insert(running)),
            _ if self.left.len() > MOST_LEFT => Err(EngraveError::Busy),
            _ => Ok(self.worker.insert(Worker::start()?)),
        }
    }

    fn leave(&mut self) {
        self.left.extend(self.worker.take().map(|worker| worker.thread));
    }
}

impl Drop for Engine {
    fn drop(&mut self) {
        let worker = self.threads.get_mut().unwrap_or_else(PoisonError::into_inner).worker.take();
        if let Some(Worker { jobs, thread }) = worker {
            drop(jobs);
            // So that its folder is gone too.
            drop(thread.join());
        }
    }
}

impl Worker {
    fn start() -> Result<Self, EngraveError> {
        let not_started = |error: std::io::Error| EngraveError::NotStarted(error.to_string());
        let folder = fonts().map_err(not_started)?;
        let (jobs, waiting) = sync_channel::<Job>(1);
        let (ready, started) = sync_channel(1);
        let thread = std::thread::Builder::new()
            .name("engraver".to_owned())
            .stack_size(STACK)
            .spawn(move || work(&folder, &ready, &waiting))
            .map_err(not_started)?;
        match started.recv() {
            Ok(true) => Ok(Self { jobs, thread }),
            _ => Err(EngraveError::NotStarted("it does not take its fonts".to_owned())),
        }
    }
}

/// Lays the music font out in a temporary folder.
fn fonts() -> std::io::Result<TempDir> {
    let folder = tempfile::Builder::new().prefix("ripieno-engraver-").tempdir()?;
    let missing = || std::io::Error::other("a font is missing in this build");
    // The engine looks for the measurements of a second font before it can be told to do without.
    for file in [format!("{FONT}.xml"), format!("{FONT}.css"), "Leipzig.xml".to_owned()] {
        let data = DATA.get_file(&file).ok_or_else(missing)?;
        std::fs::write(folder.path().join(&file), data.contents())?;
    }
    for name in [FONT, "text"] {
        std::fs::create_dir(folder.path().join(name))?;
        for file in DATA.get_dir(name).ok_or_else(missing)?.files() {
            std::fs::write(folder.path().join(file.path()), file.contents())?;
        }
    }
    Ok(folder)
}

fn work(folder: &TempDir, ready: &SyncSender<bool>, waiting: &Receiver<Job>) {
    // Its complaints go to standard error, which is not its own.
    ffi::enable_log(0);
    let mut toolkit = ffi::new_toolkit(false);
    let path: &Path = folder.path();
    let taken = path.to_str().is_some_and(|path| ffi::set_resource_path(toolkit.pin_mut(), path));
    if ready.send(taken).is_err() || !taken {
        return;
    }
    for job in waiting {
        let pages = set(&mut toolkit, &job);
        // Whoever asked may have given up.
        drop(job.answer.send(pages));
    }
}

fn set(toolkit: &mut cxx::UniquePtr<ffi::Toolkit>, job: &Job) -> Result<Vec<String>, EngraveError> {
    ffi::reset_options(toolkit.pin_mut());
    if !ffi::set_options(toolkit.pin_mut(), &job.options) {
        return Err(EngraveError::NotStarted("it does not take its options".to_owned()));
    }
    // Ids of its own making come from here: the same for the same document.
    ffi::reset_xml_id_seed(toolkit.pin_mut(), 1);
    if !ffi::load_data(toolkit.pin_mut(), &job.musicxml) {
        return Err(EngraveError::NotTaken);
    }
    let endings = endings::hidden(&job.musicxml);
    let widens = long_rests::are_on_several_staves(&job.musicxml);
    if !job.keys.is_empty() || !endings.is_empty() || job.hides || widens {
        // It takes the key of one staff for that of all, long rests hide endings from it and it leaves
        // the lower staves of a part without them, and only with many brackets it leaves out empty
        // staves; in its own format all that can be told.
        let mei = ffi::get_mei(toolkit.pin_mut(), "{}");
        let own = if job.keys.is_empty() { mei } else { keys::with_keys(&mei, &job.keys) };
        let own = if endings.is_empty() { own } else { endings::with_numbers(&own, &endings) };
        let own = if widens { long_rests::on_all_staves(&own) } else { own };
        let own = if job.hides { own.replacen("<scoreDef", "<scoreDef optimize=\"true\"", 1) } else { own };
        if !ffi::load_data(toolkit.pin_mut(), &own) {
            return Err(EngraveError::NotTaken);
        }
    }
    // Asked to draw a document without pages it would end the program.
    let count = ffi::page_count(toolkit.pin_mut());
    if count < 1 {
        return Err(EngraveError::NotTaken);
    }
    (1..=count)
        .map(|number| {
            let svg = ffi::render_to_svg(toolkit.pin_mut(), number, false);
            if svg.is_empty() { Err(EngraveError::NoPage(format!("page {number} is empty"))) } else { Ok(svg) }
        })
        .collect()
}

/// The engine's least distance of staves, in half spaces of which a staff has eight, and its most.
const USUAL_APART: f64 = 12.0;
const MOST_APART: f64 = 48.0;

/// How a document says that a line begins.
const NEW_LINE: &str = "new-system=\"yes\"";
/// Share of a line that must be taken for a line to end where the document wishes it.
const LEAST_OF_LINE: f64 = 0.25;

/// Where lines end.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Breaks {
    /// Where they are full.
    Own,
    /// Where the document says so, otherwise where they are full.
    Wished,
    /// Where the document says so, and nowhere else.
    Given,
}

/// `lines`: where those of paper end, which are drawn out to the width of the page; none for pages on a screen. `apart`: so much farther do
/// staves stand from each other, in heights of one.
fn options(layout: &Layout, lines: Option<Breaks>, empty: EmptyStaves, apart: Option<f64>) -> String {
    let distance = (USUAL_APART + 8.0 * apart.unwrap_or(0.0)).clamp(USUAL_APART, MOST_APART);
    let scale = systems::scale(layout.staff.clamp(6.0, 144.0));
    let units = |pixels: u32| (f64::from(pixels) * 100.0 / scale).round();
    json!({
        "font": FONT,
        "fontFallback": FONT,
        "smuflTextFont": "embedded",
        "scale": scale,
        "pageWidth": units(layout.width).clamp(100.0, 100_000.0),
        "pageHeight": layout.height.map_or(LONGEST_PAGE, units).clamp(100.0, LONGEST_PAGE),
        "adjustPageHeight": true,
        "pageMarginLeft": systems::SIDE,
        "pageMarginRight": systems::SIDE,
        "pageMarginTop": 60,
        "pageMarginBottom": 130,
        "header": "none",
        "footer": "none",
        "breaks": match lines {
            Some(Breaks::Given) => "encoded",
            Some(Breaks::Wished) => "smart",
            _ => "auto",
        },
        "breaksSmartSb": LEAST_OF_LINE,
        "condense": if empty == EmptyStaves::Shown { "none" } else { "encoded" },
        "condenseFirstPage": empty == EmptyStaves::Hidden,
        "systemDivider": "none",
        // One kind of bar for all long rests, numbered; church rests are for scholars.
        "multiRestStyle": "block",
        "minLastJustification": 0.6,
        "adjustPageWidth": lines.is_none(),
        "spacingSystem": 12,
        "spacingStaff": distance,
        "spacingBracketGroup": distance,
        "svgFormatRaw": true,
        "xmlIdSeed": 1,
    })
    .to_string()
}
