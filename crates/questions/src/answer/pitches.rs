//! What pitches sound at a moment: one for all, a pedal under the rest.

use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::language::{PedalNote, Quantity, Subject, note_name};
use crate::record::{Damaged, NOTHING, Texts};

use super::spans;
use super::stage::Stage;

/// A sounding note of a cast.
struct Sounding {
    from: Crotchets,
    to: Crotchets,
    key: i64,
    part: usize,
    row: usize,
}

/// The pitched notes of these players, grace notes left out, in order.
fn notes(stage: &Stage<'_>, subject: &Subject) -> Result<Vec<Sounding>, Damaged> {
    let cast = stage.cast_of(&subject.who);
    let table = stage.record.table("notes")?;
    let (parts, keys, bars) = (table.numbers("part_index")?, table.numbers("key")?, table.numbers("bar")?);
    let (onsets, durations) = (table.times("onset")?, table.times("duration")?);
    let mut found = Vec::new();
    for row in 0..table.rows {
        let (Some(&onset), Some(&duration)) = (onsets.get(row), durations.get(row)) else { return Err(Damaged) };
        if keys[row] != NOTHING && duration.is_positive() && cast.has_row(parts[row], bars[row]) {
            let part = usize::try_from(parts[row]).map_err(|_| Damaged)?;
            found.push(Sounding { from: onset, to: onset + duration, key: keys[row], part, row });
        }
    }
    found.sort_by_key(|note| note.from);
    Ok(found)
}

/// The bars that a stretch of time touches.
fn touched(starts: &[Crotchets], from: Crotchets, to: Crotchets) -> std::ops::Range<usize> {
    let first = starts.partition_point(|start| *start <= from).saturating_sub(1);
    first..starts.partition_point(|start| *start < to).max(first)
}

/// Whether at every moment of the bar all that they sound is one pitch, or one pitch and its octaves, two of their parts sounding in the bar at least.
pub(super) fn together(stage: &Stage<'_>, subject: &Subject, octaves: bool) -> Result<Vec<bool>, Damaged> {
    let starts = stage.record.table("bars")?.times("onset")?;
    let notes = notes(stage, subject)?;
    let mut one = vec![true; stage.bars];
    let mut there: Vec<Vec<usize>> = vec![Vec::new(); stage.bars];
    // Whoever sounds on when a note begins must have its pitch: every pair of overlapping notes is met once.
    let mut open: Vec<&Sounding> = Vec::new();
    for note in &notes {
        open.retain(|other| other.to > note.from);
        for other in &open {
            let same = if octaves { (note.key - other.key) % 12 == 0 } else { note.key == other.key };
            if !same {
                touched(starts, note.from, note.to.min(other.to)).for_each(|bar| one[bar] = false);
            }
        }
        // One of each pitch stands for all of them that end no later.
        if let Some(known) = open.iter_mut().find(|other| other.key == note.key) {
            if known.to < note.to {
                *known = note;
            }
        } else {
            open.push(note);
        }
        for bar in touched(starts, note.from, note.to) {
            if !there[bar].contains(&note.part) {
                there[bar].push(note.part);
            }
        }
    }
    let plain = |bar: usize| one[bar] && there[bar].len() > 1;
    // "all strings": every part of theirs that the score has.
    let everybody = stage.cast_of(&subject.who).parts().len();
    let holds = |bar: usize| match subject.quantity {
        Quantity::Only => plain(bar) && !stage.sounds(&stage.others(&stage.cast_of(&subject.who)), bar),
        Quantity::No => !plain(bar),
        Quantity::All if subject.who.len() > 1 => plain(bar) && there[bar].len() == everybody,
        Quantity::All | Quantity::Plain | Quantity::Any => plain(bar),
    };
    Ok((0..stage.bars).map(holds).collect())
}

/// Whether a note of theirs in the role of pedal is this one.
pub(super) fn pedal(stage: &Stage<'_>, subject: &Subject, wanted: PedalNote) -> Result<Vec<bool>, Damaged> {
    let starts = stage.record.table("bars")?.times("onset")?;
    let roles: &Texts = stage.record.table("notes")?.texts("role")?;
    let tonics = tonics(stage)?;
    let mut holds = vec![false; stage.bars];
    for note in notes(stage, subject)?.iter().filter(|note| roles.get(note.row) == Some(Role::Pedal.name())) {
        for bar in touched(starts, note.from, note.to) {
            let above = |degree: u8| {
                let tonics = tonics.get(bar).map_or(&[][..], Vec::as_slice);
                tonics.iter().any(|tonic| (note.key - i64::from(*tonic) - i64::from(degree)) % 12 == 0)
            };
            holds[bar] |= match wanted {
                PedalNote::Any => true,
                PedalNote::Degree(degree) => above(degree),
                PedalNote::Class(class) => note.key.rem_euclid(12) == i64::from(class),
            };
        }
    }
    if subject.quantity == Quantity::No {
        holds.iter_mut().for_each(|holds| *holds = !*holds);
    }
    Ok(holds)
}

/// Of each bar the tonics of the local keys in it; nothing where no question asks for them.
fn tonics(stage: &Stage<'_>) -> Result<Vec<Vec<u8>>, Damaged> {
    let mut tonics = vec![Vec::new(); stage.bars];
    let Some(table) = stage.newer_table("keys") else { return Ok(tonics) };
    let names = table.texts("tonic")?;
    for (row, (first, last)) in spans(table)?.enumerate() {
        let Some(tonic) = names.get(row).and_then(|name| note_name(&name.to_lowercase())) else { continue };
        stage.between(first, last).for_each(|bar| tonics[bar].push(tonic));
    }
    Ok(tonics)
}
