//! What the players of a score can do, for remedies: professionals, with ease.

use std::cell::RefCell;
use std::collections::BTreeMap;

use ripieno_acoustics::{Able, Asked};
use ripieno_instruments::catalogue;
use ripieno_players::{Change, Level, Limits, change_time};
use ripieno_score::{ChangeKind, DynamicLevel, Score};

/// At and below p, at and above f not every register is to be had.
const SOFT: f32 = 3.0;
const LOUD: f32 = 6.0;
/// A gap this much shorter than the fastest is still played: sums of seconds are not exact.
const SLACK: f64 = 0.98;

/// The players of a score.
pub(super) struct Chairs<'a> {
    score: &'a Score,
    known: RefCell<BTreeMap<(usize, String), Option<Limits>>>,
}

impl<'a> Chairs<'a> {
    pub(super) fn of(score: &'a Score) -> Self {
        Self { score, known: RefCell::default() }
    }

    fn ask<T>(&self, part: usize, instrument: &str, answer: impl FnOnce(&Limits) -> T) -> Option<T> {
        let mut known = self.known.borrow_mut();
        let limits = known.entry((part, instrument.to_owned())).or_insert_with(|| {
            let changes = self.score.parts.get(part).map_or(&[][..], |part| &part.changes);
            let by = changes.iter().find_map(|change| match change.kind {
                ChangeKind::Transposition(by) => Some(by.total_chromatic()),
                _ => None,
            });
            Limits::of(catalogue().by_id(instrument)?, by, Level::Professional)
        });
        limits.as_ref().map(answer)
    }
}

impl Able for Chairs<'_> {
    fn plays(&self, part: usize, instrument: &str, notes: &[Asked]) -> bool {
        let easy = |limits: &Limits| {
            let reached = notes.iter().all(|note| {
                let range = limits.at(Some(note.dynamic));
                (range.low()..=range.high()).contains(&note.key)
            });
            // From note to note: fingers for another pitch, tongue for the same one.
            let (fingers, tongue) = (limits.pitches_a_second(), limits.tonguing().map(|tonguing| tonguing.single.1));
            let slow = notes.windows(2).all(|pair| {
                let most = if pair[0].key == pair[1].key { tongue } else { fingers };
                let gap = pair[1].from - pair[0].from;
                gap <= 0.0 || most.is_none_or(|most| gap * most >= SLACK)
            });
            reached && slow
        };
        self.ask(part, instrument, easy).unwrap_or(false)
    }

    fn has(&self, part: usize, instrument: &str, key: u8, dynamic: DynamicLevel) -> bool {
        let within = |limits: &Limits| {
            let range = match dynamic.0 {
                level if level <= SOFT => limits.soft,
                level if level >= LOUD => limits.loud,
                _ => return true,
            };
            (range.low()..=range.high()).contains(&key)
        };
        // Who has no compass, as drums, is as soft or loud anywhere.
        self.ask(part, instrument, within).unwrap_or(true)
    }

    fn mutes(&self, instrument: &str) -> Option<f64> {
        let item = catalogue().by_id(instrument)?;
        let time = |change| Some(change_time(item, change, Level::Professional)?.comfortable);
        Some(time(Change::MuteIn)?.max(time(Change::MuteOut)?))
    }
}
