//! A quick figure is taken by turns: nobody who needs lips and breath for it goes on for more than two bars.
//!
//! Who has it together divides into two halves that take two bars each, the one ending on the note with which the other begins; who has it alone changes places for two bars with one of his section who has chords
//! or rhythm, or leaves out the last beat of a turn but for its first note: where others have it too, or where a breath does not last longer; this is told with its bars (common practice of writing for winds, from memory; the speed is an orchestrator's who read our drafts).

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::Family;
use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::breath::a_breath_lasts;
use crate::notate::bar_of;
use crate::plan::{PhrasePlan, Plan};
use crate::realise::{CastNote, PhraseCast, Seat, Setting, beat_of};

/// Notes a second from which on a figure is quick.
const QUICK: f64 = 6.0;
/// Bars of a turn.
const TURN: usize = 2;

/// Shares out the quick figures of a phrase, of tasks that casting has filled in; `before` are the phrases before it.
pub(crate) fn by_turns(setting: &Setting<'_>, planned: &mut PhrasePlan, before: &[PhraseCast], cast: &mut PhraseCast) {
    let sketch = setting.sketch;
    let span = Plan::span(sketch, &planned.bars);
    let mut players: BTreeMap<usize, Vec<Seat>> = BTreeMap::new();
    for task in &planned.tasks {
        let section = &setting.lineup.sections[task.section];
        let winds = matches!(section.chairs[0].instrument.family, Family::Brass | Family::Woodwind) && !section.is_body;
        let Some(strand) =
            task.strand.filter(|&strand| winds && task.by_casting && sketch.strands[strand].role == Role::Figuration)
        else {
            continue;
        };
        let seats = task.chairs.iter().map(|&chair| (task.section, chair));
        let quick = seats.filter(|&seat| !setting.sets(seat, span) && is_quick(setting, cast, seat, strand));
        players.entry(strand).or_default().extend(quick);
    }
    for (strand, seats) in players {
        match seats.as_slice() {
            [] => {}
            [alone] => {
                if let Some(other) = partner(setting, planned, cast, *alone, strand) {
                    swapped(setting, planned, cast, *alone, other);
                    told(planned, &[*alone], &format!("; by turns of two bars with {}", who(setting, other)));
                    continue;
                }
                let out = broken(setting, planned, before, cast, *alone, strand);
                let named = |of: &dyn Fn(&&LeftOut) -> bool| -> Option<String> {
                    let bars: Vec<String> = out.iter().filter(of).map(|one| sketch.bar_name(one.bar)).collect();
                    (!bars.is_empty()).then(|| format!("{} {}", if bars.len() == 1 { "bar" } else { "bars" }, bars.join(", ")))
                };
                if let Some(bars) = named(&|_| true) {
                    told(planned, &[*alone], &format!("; the end of {bars} is left out for breath"));
                }
                if let Some(bars) = named(&|one| one.alone) {
                    let who = who(setting, *alone);
                    cast.remarks
                        .push(format!("{bars}: for breath {who} leaves out the end of the figure, which nobody else has"));
                }
            }
            several => {
                halves(setting, planned, cast, several);
                told(planned, several, "; by turns, two bars each");
            }
        }
    }
}

/// A player by section and number.
fn who(setting: &Setting<'_>, seat: Seat) -> String {
    format!("{} {}", setting.lineup.label(seat.0), setting.lineup.sections[seat.0].chairs[seat.1].number)
}

/// Adds to what is said of the tasks of players.
fn told(planned: &mut PhrasePlan, seats: &[Seat], what: &str) {
    for task in &mut planned.tasks {
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

/// Where a player's notes of a strand follow each other quickly without a rest: a mark for breath makes none between notes so short.
fn runs<'a>(setting: &Setting<'_>, notes: impl Iterator<Item = &'a CastNote>, strand: usize) -> Vec<(Crotchets, Crotchets)> {
    let tempo = &setting.sketch.sounding.tempo;
    let mut found: Vec<(Crotchets, Crotchets)> = Vec::new();
    let quick = |note: &&CastNote| (tempo.seconds(note.end()) - tempo.seconds(note.onset)) * QUICK <= 1.0 + 1e-6;
    for note in notes.filter(|note| note.duration.is_positive() && note.line.strand == strand).filter(quick) {
        match found.last_mut() {
            Some(run) if run.1 == note.onset => run.1 = note.end(),
            _ => found.push((note.onset, note.end())),
        }
    }
    found
}

/// Whether a player has the figure quickly for more than a bar on end.
fn is_quick(setting: &Setting<'_>, cast: &PhraseCast, seat: Seat, strand: usize) -> bool {
    let bars = &setting.sketch.score.bars;
    let long = |&(from, to): &(Crotchets, Crotchets)| to - from > bars[bar_of(bars, from)].length;
    runs(setting, cast.notes.get(&seat).into_iter().flatten(), strand).iter().any(long)
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
fn partner(setting: &Setting<'_>, planned: &PhrasePlan, cast: &PhraseCast, alone: Seat, strand: usize) -> Option<Seat> {
    let section = &setting.lineup.sections[alone.0];
    let chordal = |task: &&crate::plan::Task| {
        task.section == alone.0
            && task.held == 0
            && task.by_casting
            && task.strand.is_some_and(|other| setting.sketch.strands[other].is_chordal() && other != strand)
    };
    let others = planned.tasks.iter().filter(chordal).flat_map(|task| task.chairs.iter().map(|&chair| (alone.0, chair)));
    let spans = turns(setting, planned);
    let fits = |seat: Seat, notes: Seat| {
        let reach = section.chairs[seat.1].reach;
        cast.notes.get(&notes).is_some_and(|notes| {
            notes.iter().all(|note| reach.allows(note.key()) && reach.strain(note.key()) <= 1)
                && spans.iter().all(|(_, span)| notes.iter().all(|note| note.onset >= span.0 || note.end() <= span.0))
        })
    };
    let phrase = Plan::span(setting.sketch, &planned.bars);
    let free = |seat: &Seat| !setting.sets(*seat, phrase);
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

/// A beat of a figure that is left out for breath but for its first note: in which bar, and whether nobody else has those notes.
struct LeftOut {
    bar: usize,
    alone: bool,
}

/// Leaves out the end of turns: two bars of the quick run, counted from where it begins, in the phrases `before` it may be, and only where the figure goes on after them. What others have too is left out at the end
/// of every turn; what nobody else has, only where a breath would not last to the end of the next.
fn broken(
    setting: &Setting<'_>,
    planned: &PhrasePlan,
    before: &[PhraseCast],
    cast: &mut PhraseCast,
    seat: Seat,
    strand: usize,
) -> Vec<LeftOut> {
    let sketch = setting.sketch;
    let (bars, tempo) = (&sketch.score.bars, &sketch.sounding.tempo);
    let (start, close) = (sketch.bar_start(planned.bars.start), sketch.bar_start(planned.bars.end));
    let Some(notes) = cast.notes.get(&seat).cloned() else { return Vec::new() };
    let breath = a_breath_lasts(setting, planned, seat, &notes);
    let earlier = before.iter().filter_map(|before| before.notes.get(&seat)).flatten().filter(|note| note.onset < start);
    let written = &sketch.strands[strand].notes;
    let goes_on = |at: Crotchets| {
        let next = written.partition_point(|note| note.onset < at);
        written.get(next).is_some_and(|note| note.onset == at)
    };
    let shared = |note: &CastNote| {
        let same = |other: &CastNote| (other.onset, other.line.strand) == (note.onset, strand);
        cast.notes.iter().any(|(other, own)| *other != seat && own.iter().any(same))
    };
    let mut found = Vec::new();
    let mut out: BTreeSet<Crotchets> = BTreeSet::new();
    for (from, to) in runs(setting, earlier.chain(&notes), strand) {
        let first = bar_of(bars, from);
        let first = first + usize::from(sketch.bar_start(first) < from);
        let mut since = from;
        for bar in (first + TURN..=planned.bars.end).step_by(TURN) {
            let end = sketch.bar_start(bar);
            if end <= start || to < end || !goes_on(end) {
                continue;
            }
            let inside = || notes.iter().filter(|note| from <= note.onset && note.onset < end && note.line.strand == strand);
            let Some(beat) = inside().next_back().map(|note| beat_of(setting, note.onset)) else { continue };
            let last: Vec<&CastNote> = inside().filter(|note| beat_of(setting, note.onset) == beat).skip(1).collect();
            let alone = !last.iter().all(|note| shared(note));
            let next = sketch.bar_start((bar + TURN).min(bars.len()));
            let until = if to < close { next.min(to) } else { next };
            if last.is_empty() || alone && tempo.seconds(until) - tempo.seconds(since) <= breath {
                continue;
            }
            out.extend(last.iter().map(|note| note.onset));
            since = end;
            found.push(LeftOut { bar: bar - 1, alone });
        }
    }
    if let Some(notes) = cast.notes.get_mut(&seat) {
        notes.retain(|note| note.line.strand != strand || !out.contains(&note.onset));
    }
    found
}
