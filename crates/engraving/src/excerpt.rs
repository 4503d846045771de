//! From a score to pages, roles and all.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_formats::musicxml::{note_id, write_with_ids};
use ripieno_score::{ChangeKind, Clef, ClefSign, Direction, DirectionKind, Part, Score};
use ripieno_texture::Role;

use crate::page::Page;
use crate::{EngraveError, Engraver, Layout, keys, numbers, tint};

/// The role of each note of a score, `[part][note]`; `None` for notes without one.
pub type NoteRoles = Vec<Vec<Option<Role>>>;

/// Engraves a score, usually an excerpt (`ripieno_formats::excerpt::cut`). `roles` tints its notes and writes the role's word where it
/// begins or changes; `held_over` are notes, by part and note, that are held from before the score begins and get the end of a tie.
///
/// # Errors
/// As [`Engraver::engrave`].
pub fn engrave_score(
    engraver: &dyn Engraver,
    score: &Score,
    layout: &Layout,
    roles: Option<&NoteRoles>,
    held_over: &[(usize, u32)],
) -> Result<Vec<Page>, EngraveError> {
    let mut shown = score.clone();
    for part in &mut shown.parts {
        without_key_on_drums(part);
    }
    let mut of_id = BTreeMap::new();
    if let Some(roles) = roles {
        of_id = ids(roles);
        say_roles(&mut shown, roles);
    }
    let mut pages = engraver.engrave_keyed(write_with_ids(&shown).as_bytes(), layout, &keys::changes(&shown))?;
    if !held_over.is_empty() {
        let ids: BTreeSet<String> = held_over.iter().map(|&(part, note)| note_id(part, note as usize)).collect();
        pages.iter_mut().for_each(|page| tint::held_over(page, &ids));
    }
    let mut labels: &[String] = &score.bars.iter().map(|bar| bar.number.to_string()).collect::<Vec<_>>();
    for page in &mut pages {
        let bars = numbers::number_bars(page, labels);
        labels = labels.get(bars..).unwrap_or_default();
    }
    if roles.is_some() {
        let legend: BTreeSet<Role> = of_id.values().copied().collect();
        pages = pages.iter().map(|page| tint::tinted(page, &of_id, &legend)).collect();
    }
    Ok(pages)
}

/// A staff for percussion without pitch shows no key, whatever the file says (common practice).
fn without_key_on_drums(part: &mut Part) {
    let pitched = part.notes.iter().any(|note| note.pitch().is_some());
    let percussion =
        part.changes.iter().any(|change| matches!(change.kind, ChangeKind::Clef(Clef { sign: ClefSign::Percussion, .. })));
    if percussion && !pitched {
        part.changes.retain(|change| !matches!(change.kind, ChangeKind::Key(_)));
    }
}

fn ids(roles: &NoteRoles) -> BTreeMap<String, Role> {
    let notes =
        roles.iter().enumerate().flat_map(|(part, notes)| notes.iter().enumerate().map(move |(note, role)| (part, note, role)));
    notes.filter_map(|(part, note, role)| Some((note_id(part, note), (*role)?))).collect()
}

/// Writes the word of a role above the staff where a voice takes it up: at its first note, and where it has another role than before.
fn say_roles(score: &mut Score, roles: &NoteRoles) {
    for (part, roles) in score.parts.iter_mut().zip(roles) {
        let mut words: Vec<Direction> = Vec::new();
        let mut said: BTreeMap<(u8, u16), BTreeSet<Role>> = BTreeMap::new();
        let mut notes = part.notes.iter().zip(roles).filter_map(|(note, role)| Some((note, (*role)?))).peekable();
        while let Some((note, _)) = notes.peek().copied() {
            let moment = (note.bar, note.at);
            let mut now: BTreeMap<(u8, u16), BTreeSet<Role>> = BTreeMap::new();
            while let Some((note, role)) = notes.next_if(|(other, _)| (other.bar, other.at) == moment) {
                now.entry((note.staff, note.voice)).or_default().insert(role);
            }
            let mut new: BTreeSet<(u8, Role)> = BTreeSet::new();
            for (line, now) in now {
                let before = said.entry(line).or_default();
                // A chord that loses a note and gains it again has not changed its roles.
                if !now.is_subset(before) {
                    new.extend(now.difference(before).map(|&role| (line.0, role)));
                    *before = now;
                }
            }
            for (staff, role) in new {
                let kind = DirectionKind::Words(tint::word(role).into());
                words.push(Direction { bar: moment.0, at: moment.1, staff, voice: None, above: Some(true), kind });
            }
        }
        part.directions.splice(0..0, words);
        part.directions.sort_by_key(|direction| (direction.bar, direction.at));
    }
}
