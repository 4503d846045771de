//! Single notes a person has set: the player has that note at that time in whatever is cast from now on.

use ripieno_casting::{Cast, Lineup, LockedNote, Plan, Seat, Sketch};
use ripieno_instruments::printed;
use ripieno_score::{Crotchets, Score, Sounding};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::plan::PhraseRow;
use crate::failure::{Failure, Outcome};

/// Notes set in one draft.
pub(crate) const MOST_LOCKS: usize = 2000;

/// A note that is set, as it is kept: times in crotchets from the start of the sketch, such as "7/2".
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) struct LockRow {
    /// Name of the section.
    pub section: String,
    /// The player's number, from 1.
    pub player: u8,
    pub from: String,
    pub to: String,
    /// Concert pitch, a MIDI key.
    pub key: u8,
}

/// A note that is set, as the page shows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub(crate) struct LockShown {
    /// Who: "Trumpet 1 in C".
    pub label: String,
    /// The bar of the sketch, from 0.
    pub bar: u32,
    /// "D5", concert pitch.
    pub note: String,
}

/// A note of a proposal that is to be set, moved or freed.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
pub(crate) struct LockWanted {
    /// The proposal, from 1.
    pub proposal: usize,
    /// Part and written note of its score, from 0, as the engraved page has them.
    pub part: usize,
    pub note: usize,
    /// Semitones by which it is moved; 0 keeps it as it is.
    #[serde(default)]
    pub by: i32,
    /// No longer set: casting decides again.
    #[serde(default)]
    pub free: bool,
}

impl LockRow {
    fn span(&self) -> Option<(Crotchets, Crotchets)> {
        Some((self.from.parse().ok()?, self.to.parse().ok()?))
    }

    fn seat(&self, lineup: &Lineup) -> Option<Seat> {
        let section = lineup.sections.iter().position(|section| section.name == self.section)?;
        let chair = usize::from(self.player).checked_sub(1)?;
        (chair < lineup.sections[section].chairs.len()).then_some((section, chair))
    }

    /// As casting takes it; none where the line-up has no such player.
    pub(crate) fn locked(&self, lineup: &Lineup) -> Option<LockedNote> {
        let (seat, (from, to)) = (self.seat(lineup)?, self.span()?);
        Some(LockedNote { seat, from, to, key: i32::from(self.key) })
    }

    pub(crate) fn shown(&self, sketch: &Sketch, lineup: &Lineup) -> Option<LockShown> {
        let (seat, (from, _)) = (self.seat(lineup)?, self.span()?);
        let bar = sketch.score.bars.partition_point(|bar| bar.start <= from).saturating_sub(1);
        let key = ripieno_score::MidiKey::try_from(i32::from(self.key)).ok()?;
        let chair = lineup.sections[seat.0].chairs.get(seat.1)?;
        Some(LockShown {
            label: if lineup.sections[seat.0].chairs.len() == 1 {
                self.section.clone()
            } else {
                format!("{} {}", self.section, chair.number)
            },
            bar: u32::try_from(bar).unwrap_or(u32::MAX),
            note: printed(&key.pitch().to_string()),
        })
    }
}

/// Locks as casting takes them.
pub(crate) fn locked(rows: &[LockRow], lineup: &Lineup) -> Vec<LockedNote> {
    rows.iter().filter_map(|row| row.locked(lineup)).collect()
}

/// The locks that begin within a phrase.
pub(crate) fn within<'a>(rows: &'a [LockRow], sketch: &Sketch, phrase: &PhraseRow) -> Vec<&'a LockRow> {
    let (from, to) = Plan::span(sketch, &(phrase.first as usize..phrase.last as usize + 1));
    rows.iter().filter(|row| row.span().is_some_and(|(at, _)| from <= at && at < to)).collect()
}

/// The players of each part of a score cast for a line-up, in score order: one, or all of a body.
fn seats_of(lineup: &Lineup) -> Vec<Vec<Seat>> {
    let mut parts = Vec::new();
    for (at, section) in lineup.sections.iter().enumerate() {
        let chairs = (0..section.chairs.len()).map(|chair| (at, chair));
        if section.is_body { parts.push(chairs.collect()) } else { parts.extend(chairs.map(|seat| vec![seat])) }
    }
    parts
}

/// A note that sounds: its part's players, when, and which.
struct Sounds {
    seats: Vec<Seat>,
    from: Crotchets,
    to: Crotchets,
    key: u8,
}

fn sounds(score: &Score, sounding: &Sounding, lineup: &Lineup, part: usize, note: usize) -> Option<Sounds> {
    let seats = seats_of(lineup).into_iter().nth(part)?;
    let written = score.parts.get(part)?.notes.get(note)?;
    let at = score.bars.get(written.bar.at())?.start + written.at;
    let notes = &sounding.notes;
    let rows = notes.of_part.get(part)?.clone();
    // A note tied to one before belongs to that one.
    let own = rows.clone().find(|&row| notes.written[row] as usize == note);
    let pitch = written.pitch()?;
    let held = || {
        rows.rev().find(|&row| {
            let begun = &score.parts[part].notes[notes.written[row] as usize];
            begun.pitch() == Some(pitch) && notes.onset[row] <= at && at < notes.onset[row] + notes.duration[row]
        })
    };
    let row = own.or_else(held)?;
    let (from, length) = (notes.onset[row], notes.duration[row]);
    length.is_positive().then_some(Sounds { seats, from, to: from + length, key: notes.key[row]?.number() })
}

/// The locks with a note of a proposal set, moved or freed, and what that is in words.
pub(crate) fn changed(
    rows: &[LockRow],
    wanted: LockWanted,
    (score, sounding): (&Score, &Sounding),
    lineup: &Lineup,
    cast: impl FnOnce() -> Outcome<std::sync::Arc<Cast>>,
) -> Outcome<(Vec<LockRow>, String)> {
    let none = || Failure::not_there("there is no such note in the proposal; look again");
    let found = sounds(score, sounding, lineup, wanted.part, wanted.note).ok_or_else(none)?;
    let seat = match found.seats[..] {
        [one] => one,
        _ => {
            // Of a body only those who have it are meant.
            let cast = cast()?;
            let has = |seat: &Seat| {
                cast.notes_of(*seat).iter().any(|note| note.onset == found.from && note.key() == i32::from(found.key))
            };
            found.seats.iter().copied().find(has).ok_or_else(none)?
        }
    };
    let key = i32::from(found.key) + wanted.by;
    let reach = lineup.sections[seat.0].chairs[seat.1].reach;
    if !wanted.free && !reach.allows(key) {
        return Err(Failure::refused("that note lies beyond the player's reach"));
    }
    let key = u8::try_from(key).map_err(|_| none())?;
    let player = u8::try_from(seat.1 + 1).map_err(|_| none())?;
    let section = &lineup.sections[seat.0].name;
    let overlaps = |row: &LockRow| {
        row.section == *section && row.player == player && row.span().is_some_and(|(from, to)| from < found.to && found.from < to)
    };
    let mut now: Vec<LockRow> = rows.iter().filter(|row| !overlaps(row)).cloned().collect();
    if wanted.free {
        let said = if now.len() < rows.len() { "the note is casting's to decide again" } else { "the note was not set" };
        return Ok((now, said.to_owned()));
    }
    if now.len() >= MOST_LOCKS {
        return Err(Failure::refused(format!("{MOST_LOCKS} notes are set already")));
    }
    let row = LockRow { section: section.clone(), player, from: found.from.to_string(), to: found.to.to_string(), key };
    let said = format!(
        "{} {player} keeps {} there",
        section,
        ripieno_score::MidiKey::try_from(i32::from(key))
            .map_or_else(|_| key.to_string(), |key| printed(&key.pitch().to_string()))
    );
    now.push(row);
    now.sort();
    Ok((now, said))
}

/// The written notes of a proposal's score that are set: part and note.
pub(crate) fn heads(rows: &[LockRow], score: &Score, sounding: &Sounding, lineup: &Lineup) -> Vec<[u32; 2]> {
    let parts = seats_of(lineup);
    let notes = &sounding.notes;
    let mut found = Vec::new();
    for lock in locked(rows, lineup) {
        let Some(part) = parts.iter().position(|seats| seats.contains(&lock.seat)) else { continue };
        let of_part = notes.of_part.get(part).cloned().unwrap_or_default();
        let row = of_part
            .into_iter()
            .find(|&row| notes.onset[row] == lock.from && notes.key[row].is_some_and(|key| i32::from(key.number()) == lock.key));
        if let (Some(row), Ok(part)) = (row.filter(|_| part < score.parts.len()), u32::try_from(part)) {
            found.push([part, notes.written[row]]);
        }
    }
    found
}
