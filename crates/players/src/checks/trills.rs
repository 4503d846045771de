//! Trills and tremolos between two notes.

use ripieno_instruments::{Family, Section};
use ripieno_score::NoteFlags;
use ripieno_texture::Techniques;

use super::Found;
use super::strings::held;
use crate::data::data;
use crate::kind::{Kind, Severity};
use crate::view::{Manner, PartView, View};

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    if !matches!(part.manner, Manner::Lines | Manner::Body) {
        return;
    }
    for row in part.rows() {
        let (Some(key), Some(limits)) = (view.key(row), part.limits(row)) else { continue };
        // A trill over a note of no length is an ornament of the next.
        if view.has(row, Techniques::TRILL)
            && !view.is_grace(row)
            && let Some(lowest) = limits.lowest_trill().filter(|lowest| key < *lowest)
        {
            let slides = part.instrument.section == Section::Trombones;
            let severity = if slides && key + 4 < lowest { Severity::Fault } else { Severity::Caution };
            let reason = if slides {
                format!("trill on {}: below about {} no two partials lie a tone apart", view.full_name(row), name(lowest))
            } else {
                format!("trill on {}, low for a {}", view.full_name(row), limits.instrument.name())
            };
            found.rows(
                (Kind::Trill, severity),
                part,
                None,
                &[row],
                reason,
                "Give the trill to another instrument, or ask the player",
            );
        }
    }
    tremolos(view, part, found);
}

fn name(key: u8) -> String {
    ripieno_score::MidiKey::try_from(i32::from(key)).map_or_else(|_| String::new(), |key| key.pitch().to_string())
}

fn tremolos(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    let Some(((widest, impossible), _)) = data().tremolos.get(part.instrument.section.name()) else { return };
    if part.instrument.family == Family::Voice {
        return;
    }
    for strand in &part.strands {
        for pair in strand.events.windows(2) {
            let (a, b) = (pair[0].row, pair[1].row);
            let begins = view.note(a).is_some_and(|note| note.flags.contains(NoteFlags::TREMOLO_START));
            let ends = view.note(b).is_some_and(|note| note.flags.contains(NoteFlags::TREMOLO_STOP));
            // Chords tremble between two hands' worth of notes: divided players.
            if !begins || !ends || !pair[0].chord.is_empty() || !pair[1].chord.is_empty() {
                continue;
            }
            let (Some(from), Some(to)) = (view.key(a), view.key(b)) else { continue };
            let wide = from.abs_diff(to);
            // Bowed instruments tremble over two strings as well as on one.
            let two_strings =
                || data().strings.get(&part.instrument.id).is_some_and(|(strung, _)| held(strung, &[from.min(to), from.max(to)]));
            if wide > *widest && !two_strings() {
                let severity = if wide >= *impossible { Severity::Fault } else { Severity::Caution };
                let reason = format!("tremolo {} to {}, {wide} semitones; up to {widest} lie well", view.name(a), view.name(b));
                let remedy = if part.instrument.family == Family::Strings {
                    "It will cross strings; divide the section, or narrow it"
                } else {
                    "Share it between two players, each repeating one note, or narrow it"
                };
                found.rows((Kind::Tremolo, severity), part, strand.player, &[a, b], reason, remedy);
            }
        }
    }
}
