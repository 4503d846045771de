//! Single notes a person has set: the player has that note at that time in whatever is cast from now on.

use std::collections::BTreeMap;

use ripieno_casting::{Cast, Lineup, LockedNote, Plan, Seat, Sketch, Unit};
use ripieno_instruments::printed;
use ripieno_score::{Crotchets, Score, Sounding};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::plan::PhraseRow;
use super::shown::group_shown;
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
    /// Its revision when the note was picked: of other notes than those it is refused.
    pub revision: u64,
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
}

/// Locks as the page shows them: a note that several of a body have is one.
pub(crate) fn shown(rows: &[LockRow], sketch: &Sketch, lineup: &Lineup) -> Vec<LockShown> {
    let mut all: Vec<(&LockRow, Unit)> = Vec::new();
    let mut of_body = BTreeMap::new();
    for row in rows {
        let Some((section, chair)) = row.seat(lineup) else { continue };
        if lineup.sections[section].is_body {
            let at = *of_body.entry((section, &row.from, &row.to, row.key)).or_insert(all.len());
            if let Some((_, unit)) = all.get_mut(at) {
                unit.chairs.push(chair);
                continue;
            }
        }
        all.push((row, Unit { section, chairs: vec![chair] }));
    }
    let one = |(row, unit): &(&LockRow, Unit)| {
        let (from, _) = row.span()?;
        let bar = sketch.score.bars.partition_point(|bar| bar.start <= from).saturating_sub(1);
        Some(LockShown {
            label: group_shown(lineup, unit).label,
            bar: u32::try_from(bar).unwrap_or(u32::MAX),
            note: named(row.key),
        })
    };
    all.iter().filter_map(one).collect()
}

/// A key as it is called: "D5".
fn named(key: u8) -> String {
    let key = ripieno_score::MidiKey::try_from(i32::from(key));
    key.map_or_else(|_| String::new(), |key| printed(&key.pitch().to_string()))
}

/// Locks as casting takes them.
pub(crate) fn locked(rows: &[LockRow], lineup: &Lineup) -> Vec<LockedNote> {
    rows.iter().filter_map(|row| row.locked(lineup)).collect()
}

/// Locks with the time at which each begins, in that order.
pub(crate) fn by_time(rows: &[LockRow]) -> Vec<(Crotchets, &LockRow)> {
    let mut all: Vec<_> = rows.iter().filter_map(|row| Some((row.span()?.0, row))).collect();
    all.sort_unstable();
    all
}

/// Of locks in the order of time those that begin within a phrase.
pub(crate) fn within<'a, 'b>(
    rows: &'a [(Crotchets, &'b LockRow)],
    sketch: &Sketch,
    phrase: &PhraseRow,
) -> &'a [(Crotchets, &'b LockRow)] {
    let (from, to) = Plan::span(sketch, &(phrase.first as usize..phrase.last as usize + 1));
    let before = |time: Crotchets| rows.partition_point(|&(at, _)| at < time);
    &rows[before(from)..before(to).max(before(from))]
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
    let seats = match found.seats[..] {
        [one] => vec![one],
        _ => {
            // Of a body all those are meant who have it: both halves where they play in unison.
            let cast = cast()?;
            let has = |seat: &Seat| {
                cast.notes_of(*seat).iter().any(|note| note.onset == found.from && note.key() == i32::from(found.key))
            };
            found.seats.iter().copied().filter(has).collect()
        }
    };
    let section = seats.first().ok_or_else(none)?.0;
    let unit = Unit { section, chairs: seats.iter().map(|seat| seat.1).collect() };
    let chairs = &lineup.sections[section].chairs;
    let beyond = || Failure::refused("that note lies beyond the player's reach");
    let key = i32::from(found.key).checked_add(wanted.by).ok_or_else(beyond)?;
    if !wanted.free && !unit.chairs.iter().all(|&chair| chairs[chair].reach.allows(key)) {
        return Err(beyond());
    }
    let name = &lineup.sections[section].name;
    let overlaps = |row: &LockRow| {
        row.seat(lineup).is_some_and(|seat| seats.contains(&seat))
            && row.span().is_some_and(|(from, to)| from < found.to && found.from < to)
    };
    let mut now: Vec<LockRow> = rows.iter().filter(|row| !overlaps(row)).cloned().collect();
    if wanted.free {
        let said = if now.len() < rows.len() { "the note is casting's to decide again" } else { "the note was not set" };
        return Ok((now, said.to_owned()));
    }
    let key = u8::try_from(key).map_err(|_| beyond())?;
    if now.len() + seats.len() > MOST_LOCKS {
        return Err(Failure::refused(format!("{MOST_LOCKS} notes are set already")));
    }
    let row = |&chair: &usize| {
        let player = u8::try_from(chair + 1).ok()?;
        Some(LockRow { section: name.clone(), player, from: found.from.to_string(), to: found.to.to_string(), key })
    };
    now.extend(unit.chairs.iter().filter_map(row));
    now.sort();
    Ok((now, format!("{}: {} is set there", group_shown(lineup, &unit).label, named(key))))
}

/// The written notes of a proposal's score that are set: part and note.
pub(crate) fn heads(rows: &[LockRow], score: &Score, sounding: &Sounding, lineup: &Lineup) -> Vec<[u32; 2]> {
    let parts = seats_of(lineup);
    let notes = &sounding.notes;
    let mut found = Vec::new();
    for lock in locked(rows, lineup) {
        let Some(part) = parts.iter().position(|seats| seats.contains(&lock.seat)) else { continue };
        // Rows of a part are in the order of their onsets.
        let rows = notes.of_part.get(part).cloned().unwrap_or_default();
        let from = rows.start + notes.onset[rows.clone()].partition_point(|&onset| onset < lock.from);
        let row = (from..rows.end)
            .take_while(|&row| notes.onset[row] == lock.from)
            .find(|&row| notes.key[row].is_some_and(|key| i32::from(key.number()) == lock.key));
        if let (Some(row), Ok(part)) = (row.filter(|_| part < score.parts.len()), u32::try_from(part)) {
            found.push([part, notes.written[row]]);
        }
    }
    found
}
