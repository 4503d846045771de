//! The score taken apart.

use ripieno_formats::excerpt::{Cut, CutError, NoteOrigin, Parts, cut};
use ripieno_formats::musicxml::{MultipleRest, Printing};
use ripieno_score::{BarIndex, Score};

use crate::changes;
use crate::course;
use crate::cues::{self, Cue};
use crate::headings;
use crate::rests;
use crate::split;
use crate::unseen;

/// How parts are made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BookOptions {
    /// Rests of at least this many bars get a cue before the entry; 0 for no cues.
    pub cue_after: u32,
    /// Bars of a cue.
    pub cue_bars: u32,
    /// Whether players who share a staff of the score get parts of their own.
    pub splits: bool,
    /// For each bar of the score the part that leads, where known: cues are taken from it first.
    pub leaders: Vec<Option<usize>>,
}

impl Default for BookOptions {
    /// Two bars of cue after eight of rest, a part for each player of wind and brass (common practice).
    fn default() -> Self {
        Self { cue_after: 8, cue_bars: 2, splits: true, leaders: Vec::new() }
    }
}

/// What one stand reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Book {
    /// The part of the full score it is made from, index into its parts.
    pub part: usize,
    /// Name on its title page.
    pub name: String,
    /// The part as a score of its own, as its players read it, all bars.
    pub score: Score,
    /// For each of its notes that is no cue, in order, the note of the full score; notes that no page shows are left out.
    pub origin: Vec<NoteOrigin>,
    /// Long rests shown under one number.
    pub rests: Vec<MultipleRest>,
    /// Cues, in order.
    pub cues: Vec<Cue>,
    /// Bars in which the page does not say who of several players plays; all of them were given the notes.
    pub unsettled: Vec<BarIndex>,
}

impl Book {
    /// How its pages are printed, apart from line breaks.
    #[must_use]
    pub fn printing(&self) -> Printing {
        Printing { multiple_rests: vec![self.rests.clone()], ..Printing::default() }
    }

    /// Whether its players have nothing to play.
    #[must_use]
    pub fn is_tacet(&self) -> bool {
        !self.score.parts.iter().any(|part| part.notes.iter().any(ripieno_score::Note::plays))
    }

    fn finished(mut self, full: &Score, options: &BookOptions) -> Self {
        if let Some(own) = self.score.parts.first_mut() {
            changes::announce(own, &self.score.bars);
            changes::announce_mutes(own, &self.score.bars);
        }
        if let Some(own) = self.score.parts.first_mut().filter(|_| options.cue_after > 0) {
            let request = cues::Request { after: options.cue_after, bars: options.cue_bars, leaders: &options.leaders };
            self.cues = cues::add(full, self.part, own, &request);
        }
        self.score.finish();
        self.rests = self.score.parts.first().map_or_else(Vec::new, |own| rests::gathered(own, &self.score.bars));
        self
    }
}

/// Takes a score apart into books, in the order of its parts.
///
/// # Errors
/// When the score has no bars.
pub fn books(score: &Score, options: &BookOptions) -> Result<Vec<Book>, CutError> {
    let last = BarIndex(u32::try_from(score.bars.len().saturating_sub(1)).unwrap_or(u32::MAX));
    let for_all = course::words(score);
    let mut books = Vec::new();
    for part in 0..score.parts.len() {
        let whole = Cut { parts: Parts::These(vec![part]), ..Cut::bars(BarIndex(0), last) };
        let mut excerpt = cut(score, &whole)?;
        let mut origin = excerpt.origin.pop().unwrap_or_default();
        let mut own = excerpt.score;
        if let Some(one) = own.parts.first_mut() {
            let mut seen = unseen::leave_out(one).into_iter();
            origin.retain(|_| seen.next() != Some(false));
        }
        for one in &mut own.parts {
            course::add(one, &for_all);
            headings::leave_brackets_out(one);
        }
        let shares = own.parts.first().filter(|_| options.splits).and_then(|one| split::split(one, &own.bars, &origin));
        let book = |name: String, own: Score, origin: Vec<NoteOrigin>, unsettled: Vec<BarIndex>| Book {
            part,
            name,
            score: own,
            origin,
            rests: Vec::new(),
            cues: Vec::new(),
            unsettled,
        };
        match shares {
            None => books.push(book(score.parts[part].name.clone(), own, origin, Vec::new())),
            Some(shares) => {
                for share in shares.shares {
                    let alone = Score { parts: vec![share.part], ..own.clone() };
                    books.push(book(share.name, alone, share.origin, shares.unsettled.clone()));
                }
            }
        }
    }
    Ok(books.into_iter().map(|book| book.finished(score, options)).collect())
}
