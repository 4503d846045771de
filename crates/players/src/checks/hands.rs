//! Hands and feet: chords at the keyboard and the harp, and the harp's pedals.

use std::collections::BTreeMap;

use ripieno_instruments::{Family, Section};
use ripieno_score::{Articulations, Crotchets, Step};

use super::Found;
use crate::kind::{Kind, Severity};
use crate::view::{Manner, PartView, View};

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    // A figured bass is several people's.
    if part.manner != Manner::Hands || part.instrument.section == Section::Continuo {
        return;
    }
    let harp = part.instrument.section == Section::Harps;
    let hands = if part.part.staves >= 2 { 1 } else { 2 } * usize::from(part.part.players.most.max(1));
    let fingers = if harp { 4 } else { 5 } * hands;
    // Notes struck on all staves of the part at a moment, and how long staves sound on: on one staff alone both hands are free for it.
    let notes = &view.sounding.notes;
    let mut struck: BTreeMap<Crotchets, usize> = BTreeMap::new();
    for event in part.strands.iter().flat_map(|strand| &strand.events).filter(|event| !view.is_grace(event.row)) {
        *struck.entry(notes.onset[event.row]).or_default() += 1 + event.chord.len();
    }
    let held = Held::of(view, part);
    for strand in &part.strands {
        for event in strand.events.iter().filter(|event| !view.is_grace(event.row)) {
            let mut keys: Vec<u8> = event.rows().filter_map(|row| view.key(row)).collect();
            keys.sort_unstable();
            keys.dedup();
            let (Some(low), Some(high)) = (keys.first(), keys.last()) else { continue };
            let rows: Vec<usize> = event.rows().collect();
            let broken =
                rows.iter().any(|row| view.note(*row).is_some_and(|note| note.articulations.contains(Articulations::ARPEGGIO)));
            let alone = struck.get(&notes.onset[event.row]) == Some(&rows.len())
                && !held.beside(staff(view, event.row), notes.onset[event.row]);
            if hands == 1 && alone && fit_two_hands(&keys, fingers) {
                continue;
            }
            if keys.len() > fingers {
                let reason = format!("{} notes at once for {fingers} fingers", keys.len());
                found.rows(
                    (Kind::Hands, Severity::Caution),
                    part,
                    None,
                    &rows,
                    reason,
                    "Leave notes out, or share them between the hands",
                );
            } else if hands == 1 && high - low > WIDEST && !broken && part.instrument.family != Family::Electronic {
                let reason = format!("a stretch of {} semitones in one hand", high - low);
                found.rows(
                    (Kind::Hands, Severity::Caution),
                    part,
                    None,
                    &rows,
                    reason,
                    "Write an arpeggio, or share the notes between the hands",
                );
            }
        }
    }
    if harp {
        pedals(view, part, found);
    }
}

fn staff(view: &View<'_>, row: usize) -> u8 {
    view.note(row).map_or(1, |note| note.staff)
}

/// By staff, in order of time: when notes begin, and the latest end of those begun by then.
struct Held(BTreeMap<u8, Vec<(Crotchets, Crotchets)>>);

impl Held {
    fn of(view: &View<'_>, part: &PartView<'_>) -> Self {
        let notes = &view.sounding.notes;
        let mut of: BTreeMap<u8, Vec<(Crotchets, Crotchets)>> = BTreeMap::new();
        for row in part.rows().filter(|row| !view.is_grace(*row)) {
            of.entry(staff(view, row)).or_default().push((notes.onset[row], notes.onset[row] + notes.duration[row]));
        }
        for spans in of.values_mut() {
            spans.sort_unstable();
            let mut latest = Crotchets::ZERO;
            for (_, end) in spans {
                latest = latest.max(*end);
                *end = latest;
            }
        }
        Self(of)
    }

    /// Whether a note on another staff was struck before this moment and sounds on.
    fn beside(&self, staff: u8, at: Crotchets) -> bool {
        let sounds = |spans: &Vec<(Crotchets, Crotchets)>| {
            let before = spans.partition_point(|span| span.0 < at);
            before.checked_sub(1).is_some_and(|last| spans[last].1 > at)
        };
        self.0.iter().any(|(other, spans)| *other != staff && sounds(spans))
    }
}

/// The widest stretch of a hand, a tenth, in semitones.
const WIDEST: u8 = 16;

/// Whether two hands hold these keys, in ascending order, between them.
fn fit_two_hands(keys: &[u8], fingers: usize) -> bool {
    let fits =
        |hand: &[u8]| hand.len() <= fingers && hand.first().zip(hand.last()).is_none_or(|(low, high)| high - low <= WIDEST);
    (0..=keys.len()).any(|at| fits(&keys[..at]) && fits(&keys[at..]))
}

/// What a letter's pedal has been doing.
#[derive(Clone, Copy)]
struct Pedal {
    alter: i8,
    /// When a note of this letter last began.
    used: f64,
}

/// A foot moves a pedal in this time, at least and comfortably, in seconds.
const MOVE: (f64, f64) = (0.25, 0.5);

fn pedals(view: &View<'_>, part: &PartView<'_>, found: &mut Found<'_, '_>) {
    let notes = &view.sounding.notes;
    let rows: Vec<usize> = part.rows().collect();
    let mut pedals: [Option<Pedal>; 7] = [None; 7];
    // When each foot is free: left D C B, right E F G A.
    let mut free = [[f64::NEG_INFINITY; 2]; 2];
    for moment in rows.chunk_by(|a, b| notes.onset[*a] == notes.onset[*b]) {
        let at = view.seconds[moment[0]].0;
        for (i, row) in moment.iter().enumerate() {
            let pitch = notes.pitch[*row];
            let clash = moment[..i]
                .iter()
                .find(|other| notes.pitch[**other].step == pitch.step && notes.pitch[**other].alter != pitch.alter);
            if let Some(other) = clash {
                let reason = format!("{} and {} at once are one pedal in two positions", view.name(*other), view.name(*row));
                found.rows(
                    (Kind::HarpCluster, Severity::Fault),
                    part,
                    None,
                    &[*other, *row],
                    reason,
                    "Respell one of them on the neighbouring string, or leave it out",
                );
                continue;
            }
            let letter = usize::try_from(pitch.step.index()).unwrap_or(0).min(6);
            let foot = usize::from(!matches!(pitch.step, Step::D | Step::C | Step::B));
            if let Some(pedal) = pedals[letter]
                && pedal.alter != pitch.alter
                && at > pedal.used
            {
                // The same moves at the least and at a comfortable speed.
                let late: Vec<bool> = [MOVE.0, MOVE.1]
                    .iter()
                    .enumerate()
                    .map(|(pace, seconds)| {
                        let done = free[foot][pace].max(pedal.used) + seconds * view.level.slowness();
                        free[foot][pace] = done.min(at);
                        done > at + 0.02
                    })
                    .collect();
                if late[1] {
                    let severity = if late[0] { Severity::Fault } else { Severity::Caution };
                    let side = if foot == 0 { "left" } else { "right" };
                    let reason = format!(
                        "pedal for {} in {:.1} s, and the {side} foot has others to move",
                        view.name(*row),
                        at - pedal.used
                    );
                    found.rows(
                        (Kind::HarpPedals, severity),
                        part,
                        None,
                        &[*row],
                        reason,
                        "Respell notes to spare pedals, leave notes out, or use a second harp",
                    );
                }
            }
            pedals[letter] = Some(Pedal { alter: pitch.alter, used: at });
        }
    }
}
