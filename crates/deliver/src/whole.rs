//! A delivery from one end to the other, file by file: what `ripieno deliver` writes into a folder and the desk into an archive. What is also played
//! goes out between the two halves, since what could not be played stands on the proof list.

use std::fmt;
use std::ops::ControlFlow;

use ripieno_engraving::{Engraver, pdf};
use ripieno_players::Objection;
use ripieno_score::{Score, Sounding, TempoMap};

use crate::books::{Book, BookOptions, books};
use crate::files::{SCORE_PATH, part_paths, proof_list, texts};
use crate::lists::{Unresolved, one_list, unresolved};
use crate::paper::Paper;
use crate::setting::{Setting, set_book, set_score};
use crate::sheet::Title;

/// Path of the proof list in a delivery.
const PROOF_LIST: &str = "proof list.csv";

/// What is to be delivered.
pub struct Order<'a> {
    /// The score.
    pub score: &'a Score,
    /// The score with its repeats.
    pub played: &'a Sounding,
    /// Its tempi as written, each bar once.
    pub tempo: &'a TempoMap,
    /// How the score is taken apart.
    pub options: BookOptions,
    /// Pages too; MusicXML and lists only without.
    pub pages: Option<Pages<'a>>,
}

/// On what pages are set, and by whom.
pub struct Pages<'a> {
    /// Who engraves.
    pub engraver: &'a dyn Engraver,
    /// Paper of the parts.
    pub parts: Paper,
    /// Paper of the full score.
    pub score: Paper,
}

/// Who takes the files.
pub trait Receiver {
    /// Takes a file by its path inside the delivery.
    ///
    /// # Errors
    /// One sentence when it cannot be kept; that ends the delivery.
    fn file(&mut self, path: &str, bytes: &[u8]) -> Result<(), String>;

    /// Hears what is being done; `Break` ends the delivery.
    fn goes_on(&mut self, doing: &str) -> ControlFlow<()>;
}

/// Why a delivery has ended early.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ended {
    /// Whoever waits for it has broken it off.
    BrokenOff,
    /// It cannot be made: one sentence.
    Failed(String),
}

impl fmt::Display for Ended {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BrokenOff => f.write_str("broken off"),
            Self::Failed(why) => f.write_str(why),
        }
    }
}

impl std::error::Error for Ended {}

/// What has gone out, with what is open before players are asked.
#[derive(Debug)]
pub struct Delivered {
    /// The parts.
    pub books: Vec<Book>,
    /// Their pages, where they were set.
    pub settings: Vec<Option<Setting>>,
    /// What could not be done.
    points: Vec<Unresolved>,
}

impl Delivered {
    /// Pages of all parts together.
    #[must_use]
    pub fn pages(&self) -> usize {
        self.settings.iter().flatten().map(|setting| setting.pages.len()).sum()
    }
}

fn failed(error: &dyn fmt::Display) -> Ended {
    Ended::Failed(error.to_string())
}

fn told(to: &mut dyn Receiver, doing: &str) -> Result<(), Ended> {
    if to.goes_on(doing).is_break() { Err(Ended::BrokenOff) } else { Ok(()) }
}

/// Sends out parts and score as MusicXML, MIDI and pages, and the cover list.
///
/// # Errors
/// When the score cannot be taken apart, a part cannot be set, a file cannot be kept, or it is broken off. A full score that cannot be set is a point on
/// the proof list.
pub fn deliver(order: &Order<'_>, to: &mut dyn Receiver) -> Result<Delivered, Ended> {
    let score = order.score;
    told(to, "writing the parts")?;
    let books = books(score, &order.options).map_err(|error| failed(&error))?;
    for (path, bytes) in texts(score, order.played, &books).map_err(|error| failed(&error))? {
        to.file(&path, &bytes).map_err(Ended::Failed)?;
    }
    let mut points = Vec::new();
    let settings = match &order.pages {
        Some(pages) => set(order, pages, &books, &mut points, to)?,
        None => vec![None; books.len()],
    };
    Ok(Delivered { books, settings, points })
}

fn set(
    order: &Order<'_>,
    pages: &Pages<'_>,
    books: &[Book],
    points: &mut Vec<Unresolved>,
    to: &mut dyn Receiver,
) -> Result<Vec<Option<Setting>>, Ended> {
    let mut settings = Vec::new();
    for (place, (book, path)) in books.iter().zip(part_paths(books)).enumerate() {
        told(to, &format!("pages of part {} of {}, {}", place + 1, books.len(), book.name))?;
        let of_part = |error: &dyn fmt::Display| Ended::Failed(format!("{}: {error}", book.name));
        let setting = set_book(pages.engraver, book, order.tempo, &pages.parts, &Title::of(order.score, &book.name))
            .map_err(|error| of_part(&error))?;
        to.file(&format!("{path}.pdf"), &pdf(&setting.pages).map_err(|error| of_part(&error))?).map_err(Ended::Failed)?;
        settings.push(Some(setting));
    }
    let bars = order.score.bars.len();
    let mut is_broken_off = false;
    let mut seen = |done: usize| {
        let answer = to.goes_on(&format!("pages of the score, bar {done} of {bars}"));
        is_broken_off |= answer.is_break();
        answer
    };
    let setting = set_score(pages.engraver, order.score, &pages.score, &Title::of_score(order.score), &mut seen);
    if is_broken_off {
        return Err(Ended::BrokenOff);
    }
    let bytes =
        setting.map_err(|error| error.to_string()).and_then(|setting| pdf(&setting.pages).map_err(|error| error.to_string()));
    match bytes {
        Ok(bytes) => to.file(&format!("{SCORE_PATH}.pdf"), &bytes).map_err(Ended::Failed)?,
        Err(why) => points.push(Unresolved::of_all(
            "",
            format!("the full score has no pages: {why}"),
            "print it from its MusicXML, or on larger paper",
        )),
    }
    Ok(settings)
}

/// Sends out the proof list, and answers it: what was left open, what players object to, and what else there is to settle.
///
/// # Errors
/// When it cannot be kept.
pub fn prove(
    order: &Order<'_>,
    delivered: &Delivered,
    objections: Vec<Objection>,
    more: Vec<Unresolved>,
    to: &mut dyn Receiver,
) -> Result<Vec<Unresolved>, Ended> {
    let mut open = unresolved(order.score, &delivered.books, &delivered.settings, &objections);
    open.extend(delivered.points.iter().cloned());
    let mut open = one_list(order.score, open, objections);
    open.extend(more);
    to.file(PROOF_LIST, &proof_list(order.score, &open)).map_err(Ended::Failed)?;
    Ok(open)
}
