//! Double stops, divided chords and string crossings.

use ripieno_instruments::Family;
use ripieno_score::{CountReason, DirectionKind, NoteFlags, PlayerMark};

use super::{Found, passages};
use crate::data::{Strung, data};
use crate::kind::{Kind, Severity};
use crate::view::{Event, Manner, PartView, View};

/// How well one player holds notes together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Hold {
    Easy,
    Wide,
    Not,
}

/// Notes on adjacent strings, each on or above its open string, under one hand; keys in ascending order.
fn hold(strung: &Strung, keys: &[u8]) -> Hold {
    let mut best = Hold::Not;
    for strings in strung.open.windows(keys.len()) {
        if keys.len() > strung.open.len() || strings.iter().zip(keys).any(|(open, key)| key < open) {
            continue;
        }
        let stopped: Vec<u8> = strings.iter().zip(keys).map(|(open, key)| key - open).filter(|above| *above > 0).collect();
        let (low, high) = (stopped.iter().min().copied().unwrap_or(0), stopped.iter().max().copied().unwrap_or(0));
        // High up the string the same interval needs less room.
        let span = f64::from(high - low) * 0.5f64.powf(f64::from(low.saturating_sub(2)) / 12.0);
        if high > 28 || span > f64::from(strung.widest) {
            continue;
        }
        best = best.min(if span > f64::from(strung.easy) { Hold::Wide } else { Hold::Easy });
    }
    best
}

/// Whether one player can hold the notes, in ascending order.
pub(super) fn held(strung: &Strung, keys: &[u8]) -> bool {
    hold(strung, keys) != Hold::Not
}

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    if part.manner != Manner::Body || part.instrument.family != Family::Strings {
        return;
    }
    let Some((strung, _)) = data().strings.get(&part.instrument.id) else { return };
    let alone = !part.part.is_body && part.part.players.most == 1;
    for strand in &part.strands {
        for event in strand.events.iter().filter(|event| !event.chord.is_empty() && !view.is_grace(event.row)) {
            chord(view, part, event, strung, alone, found);
        }
        let events: Vec<&Event> = strand.events.iter().filter(|event| !view.is_grace(event.row)).collect();
        crossings(view, part, &events, found);
    }
    if part.part.is_body {
        solo(part, found);
    }
}

fn chord(view: &View<'_>, part: &PartView<'_>, event: &Event, strung: &Strung, alone: bool, found: &mut Found<'_, '_>) {
    let special = |row: usize| {
        let flags = NoteFlags::HARMONIC | NoteFlags::TREMOLO_START | NoteFlags::TREMOLO_STOP | NoteFlags::SLASH;
        view.note(row).is_some_and(|note| note.flags.intersects(flags))
    };
    if event.rows().any(special) {
        return;
    }
    let mut keys: Vec<u8> = event.rows().filter_map(|row| view.key(row)).collect();
    keys.sort_unstable();
    keys.dedup();
    if keys.len() < 2 {
        return;
    }
    let held = hold(strung, &keys);
    let rows: Vec<usize> = event.rows().collect();
    let mut low_first = rows.clone();
    low_first.sort_by_key(|row| view.key(*row));
    let names = low_first.iter().map(|row| view.name(*row)).collect::<Vec<_>>().join(" ");
    let reason = view.sounding.notes.players_reason[event.row];
    let one = alone || (reason == CountReason::Mark && view.sounding.notes.players[event.row].most == 1);
    match (one, held) {
        (true, Hold::Not) => {
            let reason = format!("{names} cannot be held by one {} player", part.instrument.name());
            found.rows(
                (Kind::DoubleStop, Severity::Fault),
                part,
                None,
                &rows,
                reason,
                "Leave a note out, write it in another position or for two players",
            );
        }
        (true, Hold::Wide) => {
            let reason = format!("{names} is a wide stretch on the {}", part.instrument.name());
            found.rows((Kind::DoubleStop, Severity::Caution), part, None, &rows, reason, "Ask the player, or leave a note out");
        }
        (true, Hold::Easy) => {}
        (false, _) if reason == CountReason::Divided => {}
        (false, Hold::Not) => {
            let reason = format!("{names} cannot be held by one player, and nothing says “div.”");
            found.rows((Kind::Divisi, Severity::Caution), part, None, &rows, reason, "Write “div.”, or leave a note out");
        }
        (false, Hold::Wide) => {
            let reason = format!("{names} is a wide stretch for one player, and nothing says “div.” or “non div.”");
            found.rows((Kind::Divisi, Severity::Note), part, None, &rows, reason, "Say which is meant");
        }
        // Three notes and more are a chord of each player; two may be either.
        (false, Hold::Easy) if keys.len() > 2 => {}
        (false, Hold::Easy) => {
            let reason = format!("{names}: one player can hold it; the page does not say “div.” or “non div.”");
            found.rows((Kind::Divisi, Severity::Note), part, None, &rows, reason, "Say which is meant");
        }
    }
}

/// A leap over more than one string in one position, in semitones, and how fast it is quick, in notes a second.
const OVER: u8 = 15;
const QUICK: f64 = 6.0;

fn crossings(view: &View<'_>, part: &PartView<'_>, events: &[&Event], found: &mut Found<'_, '_>) {
    let crosses = |at: usize| {
        let (a, b) = (events[at - 1].row, events[at].row);
        let (Some(from), Some(to)) = (view.key(a), view.key(b)) else { return false };
        let since = view.seconds[b].0 - view.seconds[a].0;
        from.abs_diff(to) > OVER && since > 0.0 && since < 1.0 / (QUICK * view.level.speed())
    };
    for (first, last) in passages((1..events.len()).filter(|at| crosses(*at)).map(|at| (at, at))) {
        if last - first + 1 >= 6 {
            let rows: Vec<usize> = events[first - 1..=last].iter().map(|event| event.row).collect();
            let reason = format!("{} quick leaps in a row over more than one string", last - first + 1);
            found.rows(
                (Kind::Crossing, Severity::Caution),
                part,
                None,
                &rows,
                reason,
                "Divide the notes between two desks, or bring them closer together",
            );
        }
    }
}

/// "Solo" that nothing takes back.
fn solo(part: &PartView<'_>, found: &mut Found<'_, '_>) {
    let mut open = None;
    for direction in &part.part.directions {
        let DirectionKind::Words(text) = &direction.kind else { continue };
        let lower = text.to_lowercase();
        match PlayerMark::parse(text) {
            Some(PlayerMark::Only(_)) if lower.contains("sol") => open = open.or(Some((direction.bar, direction.at))),
            // "I." and "II." name the halves of a divided section.
            Some(PlayerMark::Only(_)) => {}
            Some(_) => open = None,
            // "Gli altri", "tutti gli altri": the others come back.
            None if lower.contains("altri") || lower.contains("tutti") => open = None,
            None => {}
        }
    }
    if let Some(place) = open
        && part.part.notes.iter().any(|note| (note.bar, note.at) > place)
    {
        found.place(
            (Kind::SoloOpen, Severity::Caution),
            part,
            place,
            "“solo” and no “tutti” after it",
            "Write “tutti” where the section comes back, or give the solo a staff of its own",
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(id: &str, keys: &[u8]) -> Hold {
        hold(&data().strings[id].0, keys)
    }

    /// Common practice (Adler and Piston agree; from memory): adjacent strings, each note on or above its string.
    #[test]
    fn double_stops_of_the_handbooks() {
        for (id, keys, expected) in [
            ("violin", vec![55u8, 62], Hold::Easy),       // two open strings
            ("violin", vec![57, 60], Hold::Not),          // both on the G string only
            ("violin", vec![64, 72], Hold::Easy),         // a sixth
            ("violin", vec![69, 81], Hold::Easy),         // an octave over open A
            ("violin", vec![55, 62, 71, 79], Hold::Easy), // G major on four strings
            ("violin", vec![56, 76], Hold::Not),          // first position and tenth at once
            ("viola", vec![48, 55, 64, 72], Hold::Easy),  // C major
            ("cello", vec![36, 43, 52, 57], Hold::Easy),  // C G E A: open strings and one finger
            ("double-bass", vec![29, 41], Hold::Not),     // an octave, both stopped
            ("double-bass", vec![33, 38], Hold::Easy),    // two open strings
        ] {
            assert_eq!(of(id, &keys), expected, "{id} {keys:?}");
        }
    }
}
