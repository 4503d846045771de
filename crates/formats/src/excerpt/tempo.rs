//! Tempo and rehearsal marks: they are meant for all players but stand in one part, which an excerpt may leave out.

use ripieno_score::{BarIndex, Crotchets, Direction, DirectionKind, Part, Score};

use super::{Moment, Window, moment, words};

/// Tempi that are believed, in crotchets a minute; as the sounding view has it.
const BELIEVED: std::ops::RangeInclusive<f64> = 5.0..=1200.0;

/// (playback rather than printed, crotchets a minute).
fn tempo_of(kind: &DirectionKind) -> Option<(bool, f64)> {
    let (playback, tempo) = match kind {
        DirectionKind::Metronome { beat, per_minute, .. } => (false, per_minute * beat.length().to_f64()),
        DirectionKind::PlaybackTempo { crotchets_per_minute } => (true, *crotchets_per_minute),
        _ => return None,
    };
    BELIEVED.contains(&tempo).then_some((playback, tempo))
}

/// Gives the first part of the excerpt the tempo in force, unless that is known, and what left-out parts say to all in the excerpt's bars.
pub(super) fn lead(score: &Score, window: Window, chosen: &[usize], part: &mut Part, says_what_holds: bool) {
    let mut signs = if says_what_holds { in_force(score, window) } else { Vec::new() };
    signs.extend(from_left_out(score, window, chosen, part));
    signs.append(&mut part.directions);
    // What leads comes first at its moment: of two tempi the part highest on the page is believed.
    signs.sort_by_key(moment);
    part.directions = signs;
}

/// Tempo marks of all parts before or at a moment, with their part; last the one that holds.
fn in_force(score: &Score, window: Window) -> Vec<Direction> {
    if window.first.0 == 0 {
        return Vec::new();
    }
    let mut last: Option<(Moment, bool, f64, usize)> = None;
    let mut heading: Option<(Moment, &Direction)> = None;
    let mut printed: Option<(Moment, &Direction)> = None;
    for (index, part) in score.parts.iter().enumerate() {
        for direction in part.directions.iter().take_while(|direction| moment(direction) <= window.start()) {
            let at = moment(direction);
            if let Some((playback, tempo)) = tempo_of(&direction.kind) {
                // At one moment a playback tempo counts before a printed one, then the higher part.
                let counts =
                    last.is_none_or(|(before, was_playback, ..)| at > before || (at == before && playback && !was_playback));
                if counts {
                    last = Some((at, playback, tempo, index));
                }
                if !playback && printed.is_none_or(|(before, _)| at > before) {
                    printed = Some((at, direction));
                }
            }
            if is_heading(part, direction) && heading.is_none_or(|(before, _)| at > before) {
                heading = Some((at, direction));
            }
        }
    }
    let carried = |direction: &Direction| Direction {
        bar: BarIndex(0),
        at: Crotchets::ZERO,
        staff: 1,
        voice: None,
        above: Some(true),
        kind: direction.kind.clone(),
    };
    let mut signs = Vec::new();
    signs.extend(heading.filter(|(at, _)| *at < window.start()).map(|(_, direction)| carried(direction)));
    if let Some((at, playback, tempo, _)) = last.filter(|(at, ..)| *at < window.start()) {
        let stands =
            printed.filter(|(_, direction)| tempo_of(&direction.kind).is_some_and(|(_, printed)| (printed - tempo).abs() < 0.5));
        if let Some((_, direction)) = stands {
            signs.push(carried(direction));
        }
        let exact = stands.is_some_and(|(printed_at, direction)| {
            !playback
                && printed_at == at
                && tempo_of(&direction.kind).is_some_and(|(_, value)| value.to_bits() == tempo.to_bits())
        });
        if !exact {
            let kind = DirectionKind::PlaybackTempo { crotchets_per_minute: tempo };
            signs.push(Direction { bar: BarIndex(0), at: Crotchets::ZERO, staff: 1, voice: None, above: None, kind });
        }
    }
    signs
}

/// Whether the direction is meant for all players.
pub(super) fn leads(part: &Part, direction: &Direction) -> bool {
    tempo_of(&direction.kind).is_some() || matches!(direction.kind, DirectionKind::Rehearsal(_)) || is_heading(part, direction)
}

/// Whether these words head a passage with a tempo: "Allegro con brio" beside a metronome mark or a playback tempo.
fn is_heading(part: &Part, direction: &Direction) -> bool {
    let DirectionKind::Words(text) = &direction.kind else { return false };
    let begins_large = text.trim_start().starts_with(char::is_uppercase);
    begins_large
        && direction.above != Some(false)
        && !words::is_manner(text, part)
        && part
            .directions
            .iter()
            .skip(part.directions.partition_point(|other| moment(other) < moment(direction)))
            .take_while(|other| moment(other) == moment(direction))
            .any(|other| tempo_of(&other.kind).is_some())
}

/// Tempi, headings and rehearsal marks that stand in parts left out, where the first part of the excerpt has none of the kind.
fn from_left_out(score: &Score, window: Window, chosen: &[usize], first: &Part) -> Vec<Direction> {
    let mut signs: Vec<Direction> = Vec::new();
    for (index, part) in score.parts.iter().enumerate() {
        if chosen.binary_search(&index).is_ok() {
            continue;
        }
        for direction in part.directions.iter().filter(|direction| window.holds(direction.bar)) {
            let moved = Direction { bar: window.within(direction.bar), staff: 1, voice: None, ..direction.clone() };
            let same = |other: &Direction| moment(other) == moment(&moved) && other.kind == moved.kind;
            if leads(part, direction) && !first.directions.iter().any(same) && !signs.iter().any(same) {
                signs.push(moved);
            }
        }
    }
    signs.sort_by_key(moment);
    signs
}
