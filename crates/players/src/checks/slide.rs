//! The trombone's slide, and glissandi of everybody else.

use std::collections::BTreeMap;

use ripieno_instruments::{Family, Section};
use ripieno_score::{Edge, Mark};

use super::Found;
use super::motion::Slurs;
use crate::kind::{Kind, Severity};
use crate::slide::{FIGURE, Trombone, easiest, speed, toil, trombone};
use crate::view::{Event, PartView, Strand, View};

/// Positions a second an arm moves without effort, and at most (source `slide-speed`, memory).
const QUICK: f64 = 18.0;
const QUICKEST: f64 = 36.0;
/// A move of so many positions is far.
const FAR: u8 = 4;

pub(super) fn check(view: &View<'_>, part: &PartView<'_>, slurs: &Slurs, found: &mut Found<'_, '_>) {
    let slide = trombone(&part.instrument.id, view.level);
    glissandi(view, part, slide.as_ref(), found);
    let Some(slide) = slide else { return };
    for strand in &part.strands {
        let events: Vec<&Event> =
            strand.events.iter().filter(|event| !view.is_grace(event.row) && view.key(event.row).is_some()).collect();
        for event in &events {
            attachment(view, part, strand, event.row, &slide, found);
        }
        // A second of rest lets the arm go anywhere.
        for phrase in events.chunk_by(|a, b| view.seconds[b.row].0 - view.seconds[a.row].1 < 1.0) {
            arm(view, part, strand, phrase, &slide, slurs, found);
        }
    }
}

fn attachment(view: &View<'_>, part: &PartView<'_>, strand: &Strand, row: usize, slide: &Trombone, found: &mut Found<'_, '_>) {
    let Some(key) = view.key(row).filter(|key| (35..=39).contains(key)) else { return };
    if slide.places(key).is_empty() {
        let (severity, reason) = if slide.sides.len() == 1 {
            (Severity::Fault, format!("{} is not on a trombone without attachment", view.name(row)))
        } else {
            (Severity::Caution, format!("{} is not on a trombone with a single F attachment", view.name(row)))
        };
        found.rows(
            (Kind::Trigger, severity),
            part,
            strand.player,
            &[row],
            reason,
            "Give it to the bass trombone, or write it an octave higher",
        );
    } else if slide.needs_valve(key) && part.instrument.id != "bass-trombone" {
        let reason = format!("{} needs the F attachment", view.name(row));
        found.rows(
            (Kind::Trigger, Severity::Note),
            part,
            strand.player,
            &[row],
            reason,
            "Make sure the player has one, or give it to the bass trombone",
        );
    }
}

fn arm(
    view: &View<'_>,
    part: &PartView<'_>,
    strand: &Strand,
    phrase: &[&Event],
    slide: &Trombone,
    slurs: &Slurs,
    found: &mut Found<'_, '_>,
) {
    let notes: Vec<(u8, f64)> = phrase
        .iter()
        .enumerate()
        .map(|(at, event)| {
            let since = at.checked_sub(1).map_or(1.0, |before| view.seconds[event.row].0 - view.seconds[phrase[before].row].0);
            (view.key(event.row).unwrap_or(0), since)
        })
        .collect();
    figures(view, part, strand, phrase, (slide, &notes), slurs, found);
    let places = easiest(slide, &notes);
    for at in 1..phrase.len() {
        let (Some(from), Some(to)) = (places[at - 1], places[at]) else { continue };
        let moved = from.position.abs_diff(to.position);
        if moved < FAR {
            continue;
        }
        let rows = [phrase[at - 1].row, phrase[at].row];
        let fast = speed(from, to, notes[at].1);
        let able = view.level.speed();
        let between = format!("{} to {} (position {} to {})", view.name(rows[0]), view.name(rows[1]), from.position, to.position);
        if fast > QUICK * able {
            let severity = if fast > QUICKEST * able { Severity::Fault } else { Severity::Caution };
            let reason = format!("{between} in {:.2} s", notes[at].1);
            found.rows(
                (Kind::SlideShift, severity),
                part,
                strand.player,
                &rows,
                reason,
                "Take it slower, or give one of the notes to another trombone",
            );
        } else if slurs.on(view, rows[0]) && (from.side, from.partial) == (to.side, to.partial) {
            let reason = format!("slur {between} on one partial");
            found.rows(
                (Kind::SlideLegato, Severity::Note),
                part,
                strand.player,
                &rows,
                reason,
                "The player will tongue it softly; write a glissando if a smear is wanted",
            );
        }
    }
}

/// Slurred figures quicker than the arm: one objection for each stretch of them.
fn figures(
    view: &View<'_>,
    part: &PartView<'_>,
    strand: &Strand,
    phrase: &[&Event],
    (slide, notes): (&Trombone, &[(u8, f64)]),
    slurs: &Slurs,
    found: &mut Found<'_, '_>,
) {
    let quick = |at: usize| notes[at].1 < 0.25;
    let mut at = 0;
    while at < phrase.len() {
        let mut end = at + 1;
        while end < phrase.len() && quick(end) {
            end += 1;
        }
        let rows: Vec<usize> = phrase[at..end].iter().map(|event| event.row).collect();
        let slurred = rows[..rows.len() - 1].iter().filter(|row| slurs.on(view, **row)).count();
        if rows.len() >= FIGURE
            && slurred * 2 >= rows.len()
            && let Some((_, positions)) = toil(slide, view.level, &notes[at..end])
        {
            let seconds = view.seconds[rows[rows.len() - 1]].0 - view.seconds[rows[0]].0;
            let rate = f64::from(u32::try_from(end - at - 1).unwrap_or(u32::MAX)) / seconds.max(0.01);
            let reason = format!(
                "a slurred figure of {rate:.1} notes a second, in which the slide goes {positions:.0} positions a second without a rest"
            );
            found.rows(
                (Kind::SlideLegato, Severity::Caution),
                part,
                strand.player,
                &rows,
                reason,
                "Thin it out to half the notes, tongue it as repeated notes, share it between two players, or give it to valves",
            );
        }
        at = end;
    }
}

/// Glissando lines from note to note.
fn glissandi(view: &View<'_>, part: &PartView<'_>, slide: Option<&Trombone>, found: &mut Found<'_, '_>) {
    let notes = &view.sounding.notes;
    // Rows by the written note they begin with; the first time it is played is enough.
    let mut rows: BTreeMap<u32, usize> = BTreeMap::new();
    if part.part.marks.iter().any(|(_, mark)| matches!(mark, Mark::Glissando { .. })) {
        for row in part.rows() {
            rows.entry(notes.written[row]).or_insert(row);
        }
    }
    let mut open: Vec<(u8, u32)> = Vec::new();
    for (index, mark) in &part.part.marks {
        let Mark::Glissando { edge, number, .. } = mark else { continue };
        match edge {
            Edge::Start => open.push((*number, *index)),
            Edge::Continue => {}
            Edge::Stop => {
                let Some(at) = open.iter().position(|(own, _)| own == number) else { continue };
                let (_, from) = open.remove(at);
                let (Some(&a), Some(&b)) = (rows.get(&from), rows.get(index)) else { continue };
                one(view, part, slide, (a, b), found);
            }
        }
    }
}

fn one(view: &View<'_>, part: &PartView<'_>, slide: Option<&Trombone>, (a, b): (usize, usize), found: &mut Found<'_, '_>) {
    let (Some(from), Some(to)) = (view.key(a), view.key(b)) else { return };
    let wide = from.abs_diff(to);
    let what = format!("glissando {} to {}", view.name(a), view.name(b));
    if let Some(slide) = slide {
        if slide.glissando(from, to).is_none() {
            let reason = format!("{what}: no position and partial of the {} holds both ends", part.instrument.name());
            found.rows(
                (Kind::SlideGlissando, Severity::Fault),
                part,
                None,
                &[a, b],
                reason,
                "Shorten it to a tritone or less on one partial, or split it between two trombones",
            );
        }
        return;
    }
    let section = part.instrument.section;
    let none = match part.instrument.family {
        Family::Brass => section != Section::Trombones && section != Section::Sackbuts && wide > 2,
        Family::Woodwind => {
            section != Section::Clarinets && section != Section::Saxophones && section != Section::Whistles && wide > 2
        }
        Family::Percussion => match section {
            Section::Timpani => wide > 7,
            _ => matches!(part.instrument.id.as_str(), "tubular-bells" | "crotales" | "church-bells"),
        },
        _ => false,
    };
    if none {
        let reason = format!("{what}, {wide} semitones, on the {}", part.instrument.name());
        let remedy = match part.instrument.family {
            Family::Brass => "It will be a rip through the harmonics or half-valved notes; say which, or give it to a trombone",
            Family::Woodwind => "It will be a fingered scale; write it out, or give it to clarinet or strings",
            _ => "A pedal drum spans a fifth; bells do not slide",
        };
        found.rows((Kind::Glissando, Severity::Caution), part, None, &[a, b], reason, remedy);
    }
}
