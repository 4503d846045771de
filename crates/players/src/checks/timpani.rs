//! Which drum plays which note, and whether it can be tuned in time.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::{Range, Section};

use super::Found;
use crate::data::data;
use crate::kind::{Kind, Severity};
use crate::limits::{Change, change_time};
use crate::view::{PartView, View};

struct Drum {
    compass: Range,
    tuned: Option<u8>,
    /// When its last note ended.
    free: f64,
}

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    if part.instrument.section != Section::Timpani {
        return;
    }
    let Some(time) = change_time(part.instrument, Change::Retune, view.level) else { return };
    let events: Vec<_> = part.strands.iter().flat_map(|strand| &strand.events).collect();
    // When each note is wanted next: the drum wanted last is retuned first.
    let mut wanted: BTreeMap<u8, BTreeSet<usize>> = BTreeMap::new();
    for (at, event) in events.iter().enumerate() {
        for key in event.rows().filter_map(|row| view.key(row)) {
            wanted.entry(key).or_default().insert(at);
        }
    }
    let next = |key: u8, at: usize| wanted.get(&key).and_then(|all| all.range(at..).next().copied()).unwrap_or(usize::MAX);
    let highest = wanted.keys().max().copied().unwrap_or(0);
    let mut drums: Vec<Drum> = data()
        .drums
        .iter()
        // The smallest drum is brought in only where it is needed.
        .filter(|drum| drum.level >= view.level && (drum.compass.high() < 60 || highest > 57))
        .map(|drum| Drum { compass: drum.compass, tuned: None, free: f64::NEG_INFINITY })
        .collect();
    for (at, event) in events.iter().enumerate() {
        let keys: BTreeSet<u8> = event.rows().filter_map(|row| view.key(row)).collect();
        if keys.len() > usize::from(part.part.players.most.max(1)) * 2 {
            let rows: Vec<usize> = event.rows().collect();
            let reason = format!("{} drums at once", keys.len());
            found.rows(
                (Kind::DrumCount, Severity::Fault),
                part,
                None,
                &rows,
                reason,
                "Two sticks play two drums; ask for a second timpanist",
            );
        }
        let (start, end) = view.seconds[event.row];
        let mut busy = Vec::new();
        for key in keys {
            let ready = drums.iter().enumerate().position(|(i, drum)| drum.tuned == Some(key) && !busy.contains(&i));
            let i = if let Some(i) = ready {
                i
            } else {
                let able = || drums.iter().enumerate().filter(|(i, drum)| drum.compass.contains(key) && !busy.contains(i));
                // An unused drum whose middle is nearest, else of those with time the one wanted last, else the one longest free.
                let fresh = able().filter(|(_, drum)| drum.tuned.is_none());
                let middle =
                    |drum: &Drum| (u16::from(drum.compass.low()) + u16::from(drum.compass.high())).abs_diff(2 * u16::from(key));
                let chosen = fresh.min_by_key(|(_, drum)| middle(drum)).or_else(|| {
                    let timely = |seconds: f64| {
                        able()
                            .filter(move |(_, drum)| start - drum.free >= seconds)
                            .max_by_key(|(_, drum)| drum.tuned.map(|key| next(key, at)))
                    };
                    timely(time.comfortable)
                        .or_else(|| timely(time.least))
                        .or_else(|| able().min_by(|a, b| a.1.free.total_cmp(&b.1.free)))
                });
                let Some((i, drum)) = chosen else {
                    if part.limits(event.row).is_some_and(|limits| limits.possible.contains(key)) {
                        let reason = format!("no drum is left for {}", name(key));
                        found.rows(
                            (Kind::DrumCount, Severity::Fault),
                            part,
                            None,
                            &[event.row],
                            reason,
                            "Change the note, or ask for another drum or player",
                        );
                    }
                    continue;
                };
                if drum.tuned.is_some()
                    && let Some(severity) = super::short_of(start - drum.free, time.least, time.comfortable)
                {
                    let old = drum.tuned.map(name).unwrap_or_default();
                    let reason = format!(
                        "{:.1} s to tune a drum from {old} to {}, which takes {:.0} to {:.0} s",
                        (start - drum.free).max(0.0),
                        name(key),
                        time.least,
                        time.comfortable
                    );
                    found.rows(
                        (Kind::DrumTuning, severity),
                        part,
                        None,
                        &[event.row],
                        reason,
                        "Leave a note out, keep the old one, or ask for another drum",
                    );
                }
                i
            };
            drums[i].tuned = Some(key);
            drums[i].free = end.max(drums[i].free);
            busy.push(i);
        }
    }
}

fn name(key: u8) -> String {
    ripieno_score::MidiKey::try_from(i32::from(key)).map_or_else(|_| String::new(), |key| key.pitch().to_string())
}
