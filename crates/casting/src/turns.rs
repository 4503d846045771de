//! A quick figure is taken by turns: nobody who needs lips and breath for it goes on for more than two bars.
//!
//! Who has it together divides into two halves that take two bars each, the one ending on the note with which the other begins; who has it alone changes places for two bars with one of his section who has chords
//! or rhythm, or leaves out the end of every second bar (common practice of writing for winds, from memory; the speed is an orchestrator's who read our drafts).

use std::collections::BTreeMap;

use ripieno_instruments::Family;
use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::plan::PhrasePlan;
use crate::realise::{CastNote, PhraseCast, Seat, Setting};

/// Notes a second from which on a figure is quick.
const QUICK: f64 = 6.0;
/// Bars of a turn.
const TURN: usize = 2;

/// Shares out the quick figures of a phrase, of the tasks from `own` on.
pub(crate) fn by_turns(setting: &Setting<'_>, planned: &mut PhrasePlan, own: usize, cast: &mut PhraseCast) {
    let sketch = setting.sketch;
    let mut players: BTreeMap<usize, Vec<Seat>> = BTreeMap::new();
    for task in planned.tasks.iter().skip(own) {
        let section = &setting.lineup.sections[task.section];
        let winds = matches!(section.chairs[0].instrument.family, Family::Brass | Family::Woodwind) && !section.is_body;
        let Some(strand) = task.strand.filter(|&strand| winds && sketch.strands[strand].role == Role::Figuration) else {
            continue;
        };
        let quick = task.chairs.iter().map(|&chair| (task.section, chair)).filter(|seat| is_quick(setting, cast, *seat, strand));
        players.entry(strand).or_default().extend(quick);
    }
    for (strand, seats) in players {
        match seats.as_slice() {
            [] => {}
            [alone] => {
                if let Some(other) = partner(setting, planned, own, cast, *alone, strand) {
                    swapped(setting, planned, cast, *alone, other);
                    let name = format!(
                        "; by turns of two bars with {} {}",
                        setting.lineup.label(other.0),
                        setting.lineup.sections[other.0].chairs[other.1].number
                    );
                    told(planned, own, &[*alone], &name);
                } else if broken(setting, planned, cast, *alone) {
                    told(planned, own, &[*alone], "; the end of every second bar is left out for breath");
                }
            }
            several => {
                halves(setting, planned, cast, several);
                told(planned, own, several, "; by turns, two bars each");
            }
        }
    }
}

/// Adds to what is said of the tasks of players.
fn told(planned: &mut PhrasePlan, own: usize, seats: &[Seat], what: &str) {
    for task in planned.tasks.iter_mut().skip(own) {
        if seats.iter().any(|seat| seat.0 == task.section && task.chairs.contains(&seat.1)) {
            task.why += what;
        }
    }
}

/// The turns of a phrase: their number, counted from the beginning of the sketch so that they go on from phrase to phrase, and their moments.
fn turns(setting: &Setting<'_>, planned: &PhrasePlan) -> Vec<(usize, (Crotchets, Crotchets))> {
    let (start, end) = (planned.bars.start, planned.bars.end);
    let of = |turn: usize| {
        let (from, to) = ((turn * TURN).max(start), ((turn + 1) * TURN).min(end));
        (turn, (setting.sketch.bar_start(from), setting.sketch.bar_start(to)))
    };
    (start / TURN..end.div_ceil(TURN)).map(of).collect()
}

fn within(note: &CastNote, span: (Crotchets, Crotchets)) -> bool {
    span.0 <= note.onset && note.onset < span.1
}

/// Whether a player has the figure quickly for more than a bar on end, and no note of it is set by a person.
fn is_quick(setting: &Setting<'_>, cast: &PhraseCast, seat: Seat, strand: usize) -> bool {
    let tempo = &setting.sketch.sounding.tempo;
    let Some(notes) = cast.notes.get(&seat).filter(|_| setting.locks.iter().all(|lock| lock.seat != seat)) else { return false };
    let mut run: Option<(Crotchets, Crotchets)> = None;
    for note in notes.iter().filter(|note| note.duration.is_positive() && note.line.strand == strand) {
        if (tempo.seconds(note.end()) - tempo.seconds(note.onset)) * QUICK > 1.0 + 1e-6 {
            run = None;
            continue;
        }
        let begun = run.filter(|run| run.1 == note.onset).map_or(note.onset, |run| run.0);
        run = Some((begun, note.end()));
        let bar = crate::notate::bar_of(&setting.sketch.score.bars, begun);
        if note.end() - begun > setting.sketch.score.bars[bar].length {
            return true;
        }
    }
    false
}

/// One half of the players has every second turn, the other half the others; each ends on the first note of the other's turn.
fn halves(setting: &Setting<'_>, planned: &PhrasePlan, cast: &mut PhraseCast, seats: &[Seat]) {
    let turns = turns(setting, planned);
    for (place, seat) in seats.iter().enumerate() {
        let Some(notes) = cast.notes.get_mut(seat) else { continue };
        for (turn, span) in &turns {
            if turn % 2 != place % 2 {
                let ends = notes.iter().any(|note| note.end() == span.0);
                notes.retain(|note| !within(note, *span) || ends && note.onset == span.0);
            }
        }
    }
}

/// Somebody of the section with chords or rhythm, who can have the figure for two bars while its player has his notes.
fn partner(
    setting: &Setting<'_>,
    planned: &PhrasePlan,
    own: usize,
    cast: &PhraseCast,
    alone: Seat,
    strand: usize,
) -> Option<Seat> {
    let section = &setting.lineup.sections[alone.0];
    let chordal = |task: &&crate::plan::Task| {
        task.section == alone.0
            && task.held == 0
            && task.strand.is_some_and(|other| setting.sketch.strands[other].is_chordal() && other != strand)
    };
    let others =
        planned.tasks.iter().skip(own).filter(chordal).flat_map(|task| task.chairs.iter().map(|&chair| (alone.0, chair)));
    let spans = turns(setting, planned);
    let fits = |seat: Seat, notes: Seat| {
        let reach = section.chairs[seat.1].reach;
        cast.notes.get(&notes).is_some_and(|notes| {
            notes.iter().all(|note| reach.allows(note.key()) && reach.strain(note.key()) <= 1)
                && spans.iter().all(|(_, span)| notes.iter().all(|note| note.onset >= span.0 || note.end() <= span.0))
        })
    };
    let free = |seat: &Seat| setting.locks.iter().all(|lock| lock.seat != *seat);
    let same = |seat: &Seat| section.chairs[seat.1].instrument.id == section.chairs[alone.1].instrument.id;
    others.filter(free).filter(same).find(|&other| fits(other, alone) && fits(alone, other))
}

/// Two players change places in every second turn.
fn swapped(setting: &Setting<'_>, planned: &PhrasePlan, cast: &mut PhraseCast, one: Seat, other: Seat) {
    for (_, span) in turns(setting, planned).into_iter().filter(|(turn, _)| turn % 2 == 1) {
        let mut taken = |seat: Seat| -> Vec<CastNote> {
            let Some(notes) = cast.notes.get_mut(&seat) else { return Vec::new() };
            let (out, kept) = notes.iter().copied().partition(|note| within(note, span));
            *notes = kept;
            out
        };
        let (first, second) = (taken(one), taken(other));
        for (seat, notes) in [(other, first), (one, second)] {
            let own = cast.notes.entry(seat).or_default();
            own.extend(notes);
            own.sort_by_key(|note| (note.onset, note.duration.is_positive()));
        }
    }
}

/// Of the last beat of each turn only the first note is left. Returns whether anything was left out.
fn broken(setting: &Setting<'_>, planned: &PhrasePlan, cast: &mut PhraseCast, seat: Seat) -> bool {
    let Some(notes) = cast.notes.get_mut(&seat) else { return false };
    let before = notes.len();
    for (_, span) in turns(setting, planned) {
        let beat = span.1 - Crotchets::ONE;
        notes.retain(|note| note.onset <= beat || note.onset >= span.1);
    }
    notes.len() < before
}
