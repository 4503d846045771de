//! Leaps, exposed entries, quick runs and quick tonguing.

use std::collections::BTreeMap;

use ripieno_instruments::{Family, Section};
use ripieno_score::{Articulations, Crotchets, Edge, Mark, NoteFlags};

use super::{Found, passages};
use crate::kind::{Kind, Severity};
use crate::limits::{Limits, Tonguing};
use crate::view::{Event, Manner, PartView, Strand, View};

/// Which notes of a part are slurred to what follows.
pub(crate) struct Slurs {
    /// For each (staff, voice): spans from the first note's beginning to the last one's, in score time, without overlap.
    spans: BTreeMap<(u8, u16), Vec<(Crotchets, Crotchets)>>,
}

impl Slurs {
    pub fn new(view: &View<'_>, part: &PartView<'_>) -> Self {
        // Numbers may be used by two voices at once: a slur ends in the voice it began in, if one of that number is open there.
        let mut open: Vec<(u8, (u8, u16), Crotchets)> = Vec::new();
        let mut spans: BTreeMap<(u8, u16), Vec<(Crotchets, Crotchets)>> = BTreeMap::new();
        for (index, mark) in &part.part.marks {
            let (Mark::Slur { edge, number }, Some(note)) = (mark, part.part.notes.get(*index as usize)) else { continue };
            let at = view.score.bars[note.bar.at()].start + note.at;
            match edge {
                Edge::Start => {
                    let line = (note.staff, note.voice);
                    open.retain(|(other, of, _)| (*other, *of) != (*number, line));
                    open.push((*number, line, at));
                }
                Edge::Continue => {}
                Edge::Stop => {
                    let line = (note.staff, note.voice);
                    let own = open.iter().rposition(|(other, of, _)| (*other, *of) == (*number, line));
                    let place = own.or_else(|| open.iter().rposition(|(other, ..)| other == number));
                    if let Some((_, voice, start)) = place.map(|place| open.remove(place))
                        && start < at
                    {
                        spans.entry(voice).or_default().push((start, at));
                    }
                }
            }
        }
        for all in spans.values_mut() {
            all.sort_unstable();
            let mut merged: Vec<(Crotchets, Crotchets)> = Vec::new();
            for (start, end) in all.drain(..) {
                match merged.last_mut() {
                    // A slur that begins on the note where another ends goes on with it.
                    Some(last) if start < last.1 => last.1 = last.1.max(end),
                    _ => merged.push((start, end)),
                }
            }
            *all = merged;
        }
        Self { spans }
    }

    /// Whether the row goes over into what follows it under a slur.
    pub fn on(&self, view: &View<'_>, row: usize) -> bool {
        let Some(note) = view.note(row) else { return false };
        let Some(spans) = self.spans.get(&(note.staff, note.voice)) else { return false };
        let end = view.score.bars[note.bar.at()].start + note.at + view.sounding.notes.duration[row];
        // The last span that begins before the note ends.
        spans.partition_point(|span| span.0 < end).checked_sub(1).is_some_and(|at| spans[at].1 >= end)
    }
}

/// Notes in a row that make a run.
const RUN: usize = 8;

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, slurs: &Slurs, found: &mut Found<'_, '_>) {
    if !matches!(part.manner, Manner::Lines | Manner::Body) {
        return;
    }
    for strand in &part.strands {
        let events: Vec<&Event> = strand.events.iter().filter(|event| !view.is_grace(event.row)).collect();
        leaps(view, part, strand, &events, slurs, found);
        if part.manner == Manner::Lines {
            entries(view, part, strand, &events, found);
            tongue(view, part, strand, &events, slurs, found);
        }
        runs(view, part, strand, &events, found);
    }
}

/// Semitones below the end of the comfortable compass from which a note wants preparing.
const NEAR_THE_TOP: u8 = 2;
/// Seconds on the lower note of a slurred leap that are too few to prepare the upper one.
const QUICK: f64 = 0.3;

fn leaps(view: &View<'_>, part: &PartView<'_>, strand: &Strand, events: &[&Event], slurs: &Slurs, found: &mut Found<'_, '_>) {
    let family = part.instrument.family;
    if !matches!(family, Family::Brass | Family::Voice) {
        return;
    }
    for pair in events.windows(2) {
        let (a, b) = (pair[0].row, pair[1].row);
        let (Some(from), Some(to), Some(limits)) = (view.key(a), view.key(b), part.limits(b)) else { continue };
        let (gap, between) = (view.seconds[b].0 - view.seconds[a].1, view.seconds[b].0 - view.seconds[a].0);
        if gap > 0.12 {
            continue;
        }
        let wide = from.abs_diff(to);
        let slurred = slurs.on(view, a);
        let missed = match family {
            Family::Voice => wide >= 19,
            // In the middle register, with time, a player slurs a tenth without a thought.
            _ => {
                let hard = to.saturating_add(NEAR_THE_TOP) >= limits.high() || between < QUICK || wide >= 19;
                (slurred && to > from && wide >= 15 && hard) || (to > from && wide >= 19 && to > limits.high() && between < 1.0)
            }
        };
        if missed {
            let how = if slurred { "slurred " } else { "" };
            let reason = format!("{how}leap from {} to {}, {wide} semitones", view.name(a), view.full_name(b));
            found.rows(
                (Kind::Leap, Severity::Caution),
                part,
                strand.player,
                &[a, b],
                reason,
                "Give time before the high note, or take it by steps or in another octave",
            );
        }
    }
}

/// Rest before an entry that counts as cold, in seconds.
const COLD: f64 = 8.0;

fn entries(view: &View<'_>, part: &PartView<'_>, strand: &Strand, events: &[&Event], found: &mut Found<'_, '_>) {
    let exposed =
        part.instrument.family == Family::Brass || matches!(part.instrument.section, Section::Oboes | Section::Bassoons);
    if !exposed {
        return;
    }
    let mut silent_since = 0.0f64;
    for event in events {
        let (start, end) = view.seconds[event.row];
        let rest = start - silent_since;
        silent_since = silent_since.max(end);
        let (Some(key), Some(limits)) = (view.key(event.row), part.limits(event.row)) else { continue };
        let soft = view.level_of(event.row).is_some_and(|level| level.0 <= 3.0);
        if rest >= COLD && soft && key >= limits.high().saturating_add(4) {
            let reason = format!("{} enters softly after {rest:.0} s of rest", view.full_name(event.row));
            found.rows(
                (Kind::ExposedEntry, Severity::Caution),
                part,
                strand.player,
                &[event.row],
                reason,
                "Let the player warm up with a lower note, double the entry, or allow a louder one",
            );
        }
    }
}

/// Quick changes of pitch.
fn runs(view: &View<'_>, part: &PartView<'_>, strand: &Strand, events: &[&Event], found: &mut Found<'_, '_>) {
    let mut fast: Vec<(usize, usize, f64)> = Vec::new();
    let mut since = 0;
    for at in 0..events.len() {
        let row = events[at].row;
        // A run is of single notes that differ from one to the next.
        let broken = at > 0 && (view.key(row) == view.key(events[at - 1].row) || view.key(row).is_none());
        let trembles =
            view.note(row).is_some_and(|note| note.flags.intersects(NoteFlags::TREMOLO_START | NoteFlags::TREMOLO_STOP));
        if broken || trembles {
            since = at;
        }
        let Some(first) = (at + 1).checked_sub(RUN).filter(|first| *first >= since) else { continue };
        let Some(limit) = part.limits(row).and_then(Limits::pitches_a_second) else { continue };
        let seconds = view.seconds[row].0 - view.seconds[events[first].row].0;
        let rate = 7.0 / seconds.max(1e-3);
        if rate > limit * 1.05 {
            fast.push((first, at, rate / limit));
        }
    }
    for (first, last) in passages(fast.iter().map(|one| (one.0, one.1))) {
        let worst = fast.iter().filter(|one| first <= one.0 && one.1 <= last).map(|one| one.2).fold(0.0, f64::max);
        let Some(limit) = part.limits(events[first].row).and_then(Limits::pitches_a_second) else { continue };
        let rows: Vec<usize> = events[first..=last].iter().map(|event| event.row).collect();
        let severity = if worst > 1.5 { Severity::Fault } else { Severity::Caution };
        let reason = format!("{:.1} different notes a second, where about {limit:.0} are clean", worst * limit);
        found.rows(
            (Kind::Agility, severity),
            part,
            strand.player,
            &rows,
            reason,
            "Share the run among players, thin it out, or take a slower tempo",
        );
    }
}

/// One stretch of tongued notes at about one speed.
struct Tongued {
    first: usize,
    last: usize,
    /// Notes, strokes of a tremolo counted.
    count: f64,
    seconds: f64,
}

fn tongue(view: &View<'_>, part: &PartView<'_>, strand: &Strand, events: &[&Event], slurs: &Slurs, found: &mut Found<'_, '_>) {
    let mut now: Option<Tongued> = None;
    for at in 0..events.len() {
        let row = events[at].row;
        let (start, end) = view.seconds[row];
        let strokes = strokes(view, row);
        let apart = at > 0 && slurs.on(view, events[at - 1].row) && !has_dot(view, row);
        let mut length = end - start;
        // The time until the next note, unless a rest lies between.
        if let Some(next) = events.get(at + 1) {
            let until = view.seconds[next.row].0 - start;
            if until < length + 0.08 {
                length = until;
            }
        }
        let each = length / strokes;
        let goes_on = !apart
            && now.as_ref().is_some_and(|run| {
                let usual = run.seconds / run.count;
                each < usual * 1.25 && each > usual * 0.8 && start - view.seconds[events[run.last].row].1 < 0.1
            });
        if goes_on {
            if let Some(run) = &mut now {
                run.last = at;
                run.count += strokes;
                run.seconds += length;
            }
        } else {
            if let Some(run) = now.take() {
                judge(part, strand, events, &run, found);
            }
            now = (length > 0.0).then_some(Tongued { first: at, last: at, count: strokes, seconds: length });
        }
    }
    if let Some(run) = now {
        judge(part, strand, events, &run, found);
    }
}

/// Notes a sign of measured repetition stands for; 1 without. Three strokes are a flutter or a roll.
fn strokes(view: &View<'_>, row: usize) -> f64 {
    let Some(note) = view.note(row) else { return 1.0 };
    if !(1..=2).contains(&note.tremolo) || note.flags.intersects(NoteFlags::TREMOLO_START | NoteFlags::TREMOLO_STOP) {
        return 1.0;
    }
    // One stroke on a crotchet or longer means quavers; on a quaver semiquavers.
    let beams = note.value.map_or(0, |value| (value.halvings - 2).max(0));
    let each = 0.5f64.powi(i32::from(note.tremolo) + i32::from(beams));
    (view.sounding.notes.duration[row].to_f64() / each).max(1.0)
}

fn has_dot(view: &View<'_>, row: usize) -> bool {
    view.note(row).is_some_and(|note| note.articulations.intersects(Articulations::STACCATO | Articulations::STACCATISSIMO))
}

fn judge(part: &PartView<'_>, strand: &Strand, events: &[&Event], run: &Tongued, found: &mut Found<'_, '_>) {
    if run.count < 8.0 {
        return;
    }
    let Some(tonguing) = part.limits(events[run.first].row).and_then(Limits::tonguing) else { return };
    let rate = run.count / run.seconds.max(1e-3);
    let rows: Vec<usize> = events[run.first..=run.last].iter().map(|event| event.row).collect();
    let limit = tonguing.limit();
    let what = match (tonguing.double, tonguing.triple) {
        (_, Some(_)) => "double or triple tongue",
        (Some(_), None) => "double tongue",
        (None, None) => "tongue",
    };
    // Some reed players have a double tongue after all.
    let none = if tonguing.double.is_some() { 1.25 } else { 1.5 };
    if rate > limit * 1.25 || (rate > limit * NEAR && run.seconds >= LONG) {
        let severity = if rate > limit * none { Severity::Fault } else { Severity::Caution };
        let reason = format!("{:.0} tongued notes at {rate:.1} a second; a {what} reaches about {limit:.1}", run.count);
        found.rows(
            (Kind::Tonguing, severity),
            part,
            strand.player,
            &rows,
            reason,
            "Slur in pairs, share the notes between two players, or take a slower tempo",
        );
        found.sourced(tonguing.source);
    } else if is_awkward(&tonguing, rate) && run.count >= 16.0 {
        let reason = format!("{:.0} notes at {rate:.1} a second lie between an easy single and an easy double tongue", run.count);
        found.rows(
            (Kind::AwkwardTempo, Severity::Note),
            part,
            strand.player,
            &rows,
            reason,
            "A slightly slower or faster tempo, or slurs in pairs, will help",
        );
    }
}

/// So close to the limit and so short, in seconds, a run is still played.
const NEAR: f64 = 1.08;
const LONG: f64 = 1.5;

fn is_awkward(tonguing: &Tonguing, rate: f64) -> bool {
    tonguing.awkward().is_some_and(|(low, high)| rate > low && rate < high)
}
