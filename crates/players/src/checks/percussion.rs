//! One percussionist, several instruments.

use std::collections::BTreeSet;

use ripieno_instruments::Section;

use super::Found;
use crate::kind::{Kind, Severity};
use crate::limits::{Change, change_time};
use crate::view::{Event, Manner, PartView, View};

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    let struck = part.manner == Manner::Struck && part.instrument.section != Section::Timpani && part.instrument.id != "drum-set";
    if !struck || part.part.players.most > 1 || part.instruments.len() < 2 {
        return;
    }
    let notes = &view.sounding.notes;
    let name = |row: usize| {
        let own = part.part.instruments.get(usize::from(notes.instrument[row])).map_or("", |own| own.name.as_str());
        if own.is_empty() { part.instrument_at(view.sounding, row).name().to_owned() } else { own.to_owned() }
    };
    let held = |event: &Event| event.rows().map(|row| notes.instrument[row]).collect::<BTreeSet<u8>>();
    let events: Vec<&Event> =
        part.strands.iter().flat_map(|strand| &strand.events).filter(|event| !view.is_grace(event.row)).collect();
    for event in &events {
        let count = held(event).len();
        if count > 2 {
            let rows: Vec<usize> = event.rows().collect();
            found.rows(
                (Kind::PercussionHands, Severity::Caution),
                part,
                None,
                &rows,
                format!("{count} instruments struck at once by one player"),
                "Share them among players",
            );
        }
    }
    for pair in events.windows(2) {
        let (a, b) = (pair[0].row, pair[1].row);
        let (before, after) = (held(pair[0]), held(pair[1]));
        let Some(time) = change_time(part.instrument_at(view.sounding, b), Change::Instrument, view.level) else { continue };
        let since = view.seconds[b].0 - view.seconds[a].0;
        if after.is_subset(&before) || since >= time.least {
            continue;
        }
        let severity = if since < time.least / 3.0 { Severity::Fault } else { Severity::Caution };
        let reason = format!("{since:.1} s from {} to {}", name(a), name(b));
        found.rows(
            (Kind::PercussionSwap, severity),
            part,
            None,
            &[a, b],
            reason,
            "Share the instruments among players, or mount them side by side and say so",
        );
    }
}
