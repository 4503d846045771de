//! Mutes, hand stopping, pizzicato and bow, change of instrument: whether there is time, and whether they are taken back.

use ripieno_instruments::{Family, Section};
use ripieno_score::{BarIndex, Crotchets, DirectionKind, NoteFlags};
use ripieno_texture::Techniques;

use super::motion::Slurs;
use super::{Found, passages, short_of};
use crate::kind::{Kind, Severity};
use crate::limits::{Change, ChangeTime, change_time};
use crate::view::{Event, Manner, PartView, Strand, View};

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, slurs: &Slurs, found: &mut Found<'_, '_>) {
    if !matches!(part.manner, Manner::Lines | Manner::Body) {
        return;
    }
    let mutes = mutes(part);
    twice(view, part, &mutes, found);
    for strand in &part.strands {
        let events: Vec<&Event> = strand.events.iter().filter(|event| !view.is_grace(event.row)).collect();
        for pair in events.windows(2) {
            let (a, b) = (pair[0].row, pair[1].row);
            mute(view, part, strand, (a, b), &mutes, found);
            stop(view, part, strand, (a, b), found);
            pluck(view, part, strand, (a, b), found);
            other_instrument(view, part, strand, (a, b), found);
        }
        if part.instrument.section == Section::Horns {
            stopped_low(view, part, strand, &events, found);
        }
        if part.instrument.family == Family::Strings {
            plucked(view, part, strand, &events, slurs, found);
        }
    }
    if let Some(last) = part.strands.iter().flat_map(|strand| &strand.events).map(|event| event.row).max()
        && view.has(last, Techniques::MUTED)
        && part.instrument.family != Family::Voice
    {
        found.rows(
            (Kind::MuteOpen, Severity::Note),
            part,
            None,
            &[last],
            "the mute stays in to the end",
            "If so, leave it; otherwise write where it comes out",
        );
    }
}

type Place = (BarIndex, Crotchets);

/// What a word says about the mute.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Mute {
    In(Option<&'static str>),
    Out,
}

/// Names of brass mutes.
const NAMES: [&str; 9] = ["straight", "cup", "harmon", "plunger", "bucket", "whisper", "practice", "solotone", "wa-wa"];

fn mute_in_words(text: &str) -> Option<Mute> {
    let lower = text.to_lowercase().replace('ä', "a").replace(['é', 'è', 'ê'], "e").replace('ô', "o");
    let has = |stems: &[&str]| stems.iter().any(|stem| lower.contains(stem));
    if has(&[
        "senza sord",
        "via sord",
        "ohne damp",
        "dampfer weg",
        "dampfer ab",
        "sans sourd",
        "otez",
        "mute off",
        "mutes off",
        "without mute",
        "no mute",
        "mute out",
    ]) {
        return Some(Mute::Out);
    }
    let name = NAMES.into_iter().find(|name| lower.contains(name) && (lower.contains("mute") || lower.trim() == *name));
    (name.is_some() || has(&["con sord", "mit damp", "avec sourd", "muted", "with mute"])).then_some(Mute::In(name))
}

fn mutes(part: &PartView<'_>) -> Vec<(Place, Mute)> {
    let words = part.part.directions.iter().filter_map(|direction| match &direction.kind {
        DirectionKind::Words(text) => mute_in_words(text).map(|mute| ((direction.bar, direction.at), mute)),
        _ => None,
    });
    words.collect()
}

fn twice(view: &View<'_>, part: &PartView<'_>, mutes: &[(Place, Mute)], found: &mut Found<'_, '_>) {
    // Two players or staves of one part have words of their own.
    if part.part.staves > 1 || view.score.bars.is_empty() {
        return;
    }
    let mut now = Mute::Out;
    for (place, mute) in mutes {
        let same = match (&now, mute) {
            (Mute::In(a), Mute::In(b)) => a == b && part.part.players.most <= 1,
            (Mute::Out, Mute::Out) => true,
            _ => false,
        };
        if same {
            let reason = if *mute == Mute::Out { "no mute to take out" } else { "the mute is in already" };
            found.place(
                (Kind::MuteTwice, Severity::Note),
                part,
                *place,
                reason,
                "Delete the word, or write where the mute comes out before",
            );
        }
        now = mute.clone();
    }
}

/// Seconds of silence between two rows, and between their beginnings.
fn times(view: &View<'_>, (a, b): (usize, usize)) -> (f64, f64) {
    ((view.seconds[b].0 - view.seconds[a].1).max(0.0), view.seconds[b].0 - view.seconds[a].0)
}

fn time_for(view: &View<'_>, part: &PartView<'_>, row: usize, change: Change) -> Option<ChangeTime> {
    change_time(part.instrument_at(view.sounding, row), change, view.level)
}

fn mute(
    view: &View<'_>,
    part: &PartView<'_>,
    strand: &Strand,
    (a, b): (usize, usize),
    mutes: &[(Place, Mute)],
    found: &mut Found<'_, '_>,
) {
    let name_at = |row: usize| {
        let place = (view.bar(row), view.place(row));
        mutes.partition_point(|(at, _)| *at <= place).checked_sub(1).and_then(|at| match &mutes[at].1 {
            Mute::In(name) => *name,
            Mute::Out => None,
        })
    };
    let muted = |row: usize| view.has(row, Techniques::MUTED) || name_at(row).is_some();
    let change = match (muted(a), muted(b)) {
        (false, true) => Change::MuteIn,
        (true, false) => Change::MuteOut,
        (true, true) if name_at(a).zip(name_at(b)).is_some_and(|(a, b)| a != b) => Change::OtherMute,
        _ => return,
    };
    let Some(time) = time_for(view, part, b, change) else { return };
    let (gap, _) = times(view, (a, b));
    let Some(mut severity) = short_of(gap, time.least, time.comfortable) else { return };
    // A section can change desk by desk.
    if part.manner == Manner::Body {
        severity = if severity == Severity::Fault { Severity::Caution } else { return };
    }
    let what = match change {
        Change::MuteIn => "to put the mute in",
        Change::MuteOut => "to take the mute out",
        _ => "to change mutes",
    };
    let reason = format!("{gap:.1} s {what}, which takes {:.0} to {:.0} s", time.least, time.comfortable);
    let remedy = if part.manner == Manner::Body {
        "Leave rests, or let the section change desk by desk"
    } else {
        "Leave more rest, or let another player take the notes before or after"
    };
    found.rows((Kind::MuteChange, severity), part, strand.player, &[a, b], reason, remedy);
    found.sourced(time.source);
}

fn stop(view: &View<'_>, part: &PartView<'_>, strand: &Strand, (a, b): (usize, usize), found: &mut Found<'_, '_>) {
    if part.instrument.section != Section::Horns || view.has(a, Techniques::STOPPED) == view.has(b, Techniques::STOPPED) {
        return;
    }
    let change = if view.has(b, Techniques::STOPPED) { Change::Stop } else { Change::Unstop };
    let Some(time) = time_for(view, part, b, change) else { return };
    let (gap, since) = times(view, (a, b));
    // The hand moves while the note before ends.
    if since < time.least {
        let reason = format!("{gap:.1} s between open and stopped notes {since:.1} s apart");
        found.rows(
            (Kind::StopChange, Severity::Caution),
            part,
            strand.player,
            &[a, b],
            reason,
            "Let one horn play the open notes and another the stopped ones",
        );
    }
}

/// Below these keys a horn cannot well be stopped (written F3), and cannot at all (a third lower).
const STOPPED_LOW: u8 = 46;
const STOPPED_LOWEST: u8 = 43;

fn stopped_low(view: &View<'_>, part: &PartView<'_>, strand: &Strand, events: &[&Event], found: &mut Found<'_, '_>) {
    for row in events.iter().map(|event| event.row).filter(|row| view.has(*row, Techniques::STOPPED)) {
        let Some(key) = view.key(row).filter(|key| *key < STOPPED_LOW) else { continue };
        let severity = if key < STOPPED_LOWEST { Severity::Fault } else { Severity::Caution };
        let reason = format!("{} stopped by hand", view.full_name(row));
        found.rows(
            (Kind::StoppedLow, severity),
            part,
            strand.player,
            &[row],
            reason,
            "Ask for a stopping mute, or write it an octave higher",
        );
    }
}

/// A bow stroke takes at least this long, in seconds.
const STROKE: f64 = 0.1;

fn pluck(view: &View<'_>, part: &PartView<'_>, strand: &Strand, (a, b): (usize, usize), found: &mut Found<'_, '_>) {
    if part.instrument.family != Family::Strings || view.has(a, Techniques::PLUCKED) == view.has(b, Techniques::PLUCKED) {
        return;
    }
    let change = if view.has(b, Techniques::PLUCKED) { Change::ToPizzicato } else { Change::ToBow };
    let Some(time) = time_for(view, part, b, change) else { return };
    let (_, since) = times(view, (a, b));
    // Half a hundredth for rounding.
    let free = since - STROKE;
    if free < time.least - 0.005 {
        let what = if change == Change::ToPizzicato { "from bow to pizzicato" } else { "from pizzicato to bow" };
        let reason = format!("{:.2} s {what}", free.max(0.0));
        found.rows(
            (Kind::PizzicatoChange, Severity::Caution),
            part,
            strand.player,
            &[a, b],
            reason,
            "Leave a rest, or divide: one half plucks, the other bows",
        );
    }
}

/// Plucked notes a second.
const PLUCKS: f64 = 8.0;

fn plucked(view: &View<'_>, part: &PartView<'_>, strand: &Strand, events: &[&Event], slurs: &Slurs, found: &mut Found<'_, '_>) {
    let is_plucked = |at: usize| view.has(events[at].row, Techniques::PLUCKED);
    let able = PLUCKS * view.level.speed();
    // Slurred notes are bowed, whatever word is still in force; that is told below.
    let windows = (7..events.len()).filter_map(|at| {
        let first = at - 7;
        let seconds = view.seconds[events[at].row].0 - view.seconds[events[first].row].0;
        ((first..=at).all(|i| is_plucked(i) && !slurs.on(view, events[i].row)) && 7.0 / seconds.max(1e-3) > able)
            .then_some((first, at))
    });
    for (first, last) in passages(windows) {
        let rows: Vec<usize> = events[first..=last].iter().map(|event| event.row).collect();
        let rate = |at: usize| 7.0 / (view.seconds[events[at].row].0 - view.seconds[events[at - 7].row].0).max(1e-3);
        let rate = (first + 7..=last).map(rate).fold(0.0, f64::max);
        let reason = format!("{rate:.1} plucked notes a second, where about {able:.0} are possible");
        found.rows(
            (Kind::PizzicatoSpeed, Severity::Caution),
            part,
            strand.player,
            &rows,
            reason,
            "Share the notes between two desks, or write it for the bow",
        );
    }
    // Slurs over several plucked notes, or a bowed tremolo: the word "arco" has been forgotten.
    let bowed = |at: usize| {
        let row = events[at].row;
        let trembles = view.note(row).is_some_and(|note| note.tremolo >= 3 && !note.flags.contains(NoteFlags::TREMOLO_START));
        let slurred = at >= 2 && (at - 2..at).all(|i| slurs.on(view, events[i].row) && is_plucked(i));
        is_plucked(at) && (trembles || slurred)
    };
    for (first, last) in passages((0..events.len()).filter(|at| bowed(*at)).map(|at| (at, at))) {
        let rows: Vec<usize> = events[first..=last].iter().map(|event| event.row).collect();
        found.rows(
            (Kind::PizzicatoOpen, Severity::Caution),
            part,
            strand.player,
            &rows,
            "slurs or tremolo where “pizz.” is still in force",
            "Write “arco” where the bow comes back",
        );
    }
}

fn other_instrument(view: &View<'_>, part: &PartView<'_>, strand: &Strand, (a, b): (usize, usize), found: &mut Found<'_, '_>) {
    if part.manner != Manner::Lines || part.instrument.family == Family::Voice {
        return;
    }
    let (from, to) = (part.instrument_at(view.sounding, a), part.instrument_at(view.sounding, b));
    let moved = |row: usize| part.transposition_at(view.bar(row), view.place(row));
    let to_name = if from.id != to.id {
        to.name().to_owned()
    } else if from.section == Section::Clarinets
        && view.sounding.notes.bar[a] != view.sounding.notes.bar[b]
        && moved(a) != moved(b)
    {
        "clarinet in another key".to_owned()
    } else {
        return;
    };
    let Some(time) = change_time(to, Change::Instrument, view.level) else { return };
    let (gap, _) = times(view, (a, b));
    if let Some(severity) = short_of(gap, time.least, time.comfortable) {
        let reason = format!("{gap:.1} s to take up the {to_name}, which takes {:.0} to {:.0} s", time.least, time.comfortable);
        found.rows(
            (Kind::InstrumentChange, severity),
            part,
            strand.player,
            &[a, b],
            reason,
            "Leave more rest, or give the notes to another player",
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words as scores print them; common practice.
    #[test]
    fn words_about_mutes() {
        for (text, mute) in [
            ("con sord.", Some(Mute::In(None))),
            ("senza sordino", Some(Mute::Out)),
            ("mit Dämpfer", Some(Mute::In(None))),
            ("cup mute", Some(Mute::In(Some("cup")))),
            ("Harmon", Some(Mute::In(Some("harmon")))),
            ("dolce", None),
        ] {
            assert_eq!(mute_in_words(text), mute, "{text}");
        }
    }
}
