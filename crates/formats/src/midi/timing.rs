//! Settling the file's time: notation stays to the tick, playing is fitted to beats, and where there are no beats they
//! are found.

use super::bars::{self, MetreChange};
use super::beats::{self, Onset};
use super::container::Clock;
use super::events::{Fault, Strike, StrikeKind, Tracks, What};
use super::grid::{self, FITTED, Moved, Notation, Share};
use super::lines::{self, Line};
use super::report::{At, Report};

/// Microseconds to the crotchet where the file does not say: 120 crotchets a minute (RP-001).
pub(super) const DEFAULT_TEMPO: u32 = 500_000;

/// Onsets this far apart, in seconds, were meant together.
const TOGETHER: f64 = 0.035;

/// Time as the score will have it.
#[derive(Debug)]
pub(super) struct Timing {
    pub(super) per_crotchet: u32,
    /// Microseconds to the crotchet from a tick on, in order.
    pub(super) tempos: Vec<(u32, u32)>,
    /// Metre changes, in order.
    pub(super) metres: Vec<MetreChange>,
}

/// Settles the time of all notes and events.
pub(super) fn settle(
    all: &mut Tracks<'_>,
    lines: &mut [Line],
    clock: Clock,
    metres: Vec<MetreChange>,
    report: &mut Report<'_>,
) -> Timing {
    let tempos = match clock.timecode {
        Some(micros) => vec![(0, micros)],
        None => tempos(all),
    };
    if clock.timecode.is_some() {
        let what = "the file counts seconds in film frames and knows no beats";
        report.warning(At::FILE, "timecode", what, "Its time was read at 120 crotchets a minute, unless beats were found below");
    }
    let mut timing = Timing { per_crotchet: clock.per_crotchet, tempos, metres };
    let notation = Notation::new(timing.per_crotchet);
    let shares: Vec<Share> = lines.iter().map(|line| Share::of(lines::strikes(all, line), &notation)).collect();
    let total = shares.iter().fold(Share::default(), |sum, share| sum.plus(*share));
    // A line of a few notes is judged with the rest.
    let judged = |share: &Share| if share.notes < 8 { total } else { *share };
    let loose: Vec<bool> = shares.iter().map(|share| !judged(share).has_notated_onsets()).collect();
    let fitted = loose.contains(&true);
    if fitted {
        fit(all, lines, &loose, total, clock, &mut timing, report);
    }
    let notation = if fitted { Notation::new(timing.per_crotchet) } else { notation };
    for ((line, loose), before) in lines.iter().zip(&loose).zip(shares) {
        let share = if fitted { Share::of(lines::strikes(all, line), &notation) } else { before };
        if !*loose && judged(&share).has_notated_ends() || share.notes == 0 {
            continue;
        }
        let mut changed = 0;
        for staff in &line.staves {
            let Some(strikes) = all.notes.get_mut(staff.clone()) else { continue };
            changed += grid::fit_ends(strikes, timing.per_crotchet);
            strikes.sort_by_key(|strike| (strike.on, strike.off, strike.key));
        }
        for track in &line.tracks {
            // Mended with the ends.
            if let Some(track) = all.tracks.get_mut(*track) {
                track.overlapping = Fault::default();
            }
        }
        if !*loose && changed > 0 {
            let what = format!("{changed} of {} notes end off the beat grid, as played or shortened ones do", share.notes);
            report.note(At::part(&line.name), "lengths-fitted", what, "Their ends were moved to the next plain value");
        }
    }
    let factor = bars::ticks_factor(&timing.metres, timing.per_crotchet);
    multiply(all, lines, &mut timing, factor);
    timing
}

/// Tempo events in order.
fn tempos(all: &Tracks<'_>) -> Vec<(u32, u32)> {
    let mut tempos: Vec<(u32, u32)> = Vec::new();
    for event in &all.events {
        if let What::Tempo(micros @ 1..) = event.what {
            tempos.push((event.at, micros));
        }
    }
    tempos.sort_by_key(|&(at, _)| at);
    tempos
}

fn fit(
    all: &mut Tracks<'_>,
    lines: &mut [Line],
    loose: &[bool],
    total: Share,
    clock: Clock,
    timing: &mut Timing,
    report: &mut Report<'_>,
) {
    let played = lines.iter().zip(loose).filter(|(_, loose)| **loose).map(|(line, _)| line);
    let onsets = played.flat_map(|line| lines::strikes(all, line)).filter(|strike| strike.kind != StrikeKind::Hidden);
    let (gathered, count) = grid::concentration(onsets, timing.per_crotchet);
    // A fifth of the notes in notation, or playing that gathers on the file's beats more than chance would.
    let notated = total.onsets * 5 >= total.notes && count < total.notes;
    let beats_hold = clock.timecode.is_none() && (notated || gathered >= 0.25 && gathered * f64::from(count).sqrt() >= 3.0);
    if !beats_hold {
        find_beats(all, lines, timing, report);
    }
    refine(all, lines, timing);
    let tempo = timing.tempos.first().map_or(DEFAULT_TEMPO, |&(_, micros)| micros);
    let ticks_a_second = f64::from(timing.per_crotchet) * 1e6 / f64::from(tempo.max(1));
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
    let chord = (ticks_a_second * TOGETHER).clamp(0.0, f64::from(timing.per_crotchet) / 12.0) as u32;
    let mut moved = Moved::default();
    let mut fitted: Vec<&str> = Vec::new();
    for (line, _) in lines.iter().zip(loose).filter(|(_, loose)| **loose) {
        fitted.push(&line.name);
        for staff in &line.staves {
            if let Some(strikes) = all.notes.get_mut(staff.clone()) {
                moved = moved.plus(grid::fit_onsets(strikes, timing.per_crotchet, chord));
            }
        }
    }
    let milliseconds = moved.rms() / ticks_a_second * 1000.0;
    let far = f64::from(moved.far) / f64::from(moved.notes.max(1)) * 100.0;
    let whose = if fitted.len() == lines.len() { "all parts".to_owned() } else { some_names(&fitted) };
    let what = format!(
        "{whose} were played, not notated: {} onsets were moved to the beat grid by {milliseconds:.0} ms (rms), {far:.1} % of them by more than a demisemiquaver",
        moved.notes
    );
    report.warning(At::FILE, "timing-fitted", what, "Compare a few bars with what was meant before counting on values");
}

/// "Flute, Oboe and 3 more".
pub(super) fn some_names<N: AsRef<str>>(names: &[N]) -> String {
    const SHOWN: usize = 4;
    let shown = names.iter().take(SHOWN).map(AsRef::as_ref).collect::<Vec<&str>>().join(", ");
    match names.len().checked_sub(SHOWN) {
        Some(more @ 1..) => format!("{shown} and {more} more"),
        _ => shown,
    }
}

/// Multiplies ticks so that the fitting grid is whole numbers of them, where that fits.
fn refine(all: &mut Tracks<'_>, lines: &mut [Line], timing: &mut Timing) {
    let mut factor = 1;
    while factor < FITTED && timing.per_crotchet.saturating_mul(factor) % FITTED != 0 {
        factor += 1;
    }
    multiply(all, lines, timing, factor);
}

/// Makes ticks finer, where the latest moment allows it.
fn multiply(all: &mut Tracks<'_>, lines: &mut [Line], timing: &mut Timing, factor: u32) {
    if factor == 1 {
        return;
    }
    let latest = all.notes.iter().map(|strike| strike.off).chain(all.tracks.iter().map(|track| track.end)).max();
    if latest.unwrap_or(0).checked_mul(factor).is_none_or(|last| last > 1 << 30) {
        return;
    }
    timing.per_crotchet *= factor;
    shift(all, lines, timing, |tick| tick.saturating_mul(factor));
}

/// Moves everything that has a time.
fn shift(all: &mut Tracks<'_>, lines: &mut [Line], timing: &mut Timing, to: impl Fn(u32) -> u32) {
    for strike in &mut all.notes {
        strike.on = to(strike.on);
        strike.off = to(strike.off).max(strike.on);
    }
    for event in &mut all.events {
        event.at = to(event.at);
    }
    for track in &mut all.tracks {
        track.end = to(track.end);
        for fault in [&mut track.hanging, &mut track.orphaned, &mut track.overlapping, &mut track.instant, &mut track.damaged] {
            fault.first = to(fault.first);
        }
    }
    for line in lines {
        for (at, _) in &mut line.programs {
            *at = to(*at);
        }
        for (at, _) in &mut line.words {
            *at = to(*at);
        }
    }
    for metre in &mut timing.metres {
        metre.at = to(metre.at);
    }
    for tempo in &mut timing.tempos {
        tempo.0 = to(tempo.0);
    }
}

/// Seconds at a tick, by the tempo map.
struct Seconds {
    /// Tick, seconds there, seconds to the tick from there.
    pieces: Vec<(u32, f64, f64)>,
}

impl Seconds {
    fn new(tempos: &[(u32, u32)], per_crotchet: u32) -> Self {
        let a_tick = |micros: u32| f64::from(micros) / 1e6 / f64::from(per_crotchet.max(1));
        let mut pieces = vec![(0, 0.0, a_tick(DEFAULT_TEMPO))];
        for &(at, micros) in tempos {
            let Some(&(from, seconds, rate)) = pieces.last() else { break };
            pieces.push((at, seconds + f64::from(at.saturating_sub(from)) * rate, a_tick(micros)));
        }
        Self { pieces }
    }

    fn at(&self, tick: u32) -> f64 {
        let after = self.pieces.partition_point(|&(from, ..)| from <= tick);
        let piece = self.pieces.get(after.saturating_sub(1));
        piece.map_or(0.0, |&(from, seconds, rate)| seconds + f64::from(tick.saturating_sub(from)) * rate)
    }
}

/// Replaces the file's beats by those the onsets suggest.
fn find_beats(all: &mut Tracks<'_>, lines: &mut [Line], timing: &mut Timing, report: &mut Report<'_>) {
    const TICKS: u32 = 480;
    let seconds = Seconds::new(&timing.tempos, timing.per_crotchet);
    let onsets = salient(all, lines, &seconds);
    let known = timing.metres.first().filter(|metre| (metre.beats, metre.power) != (4, 2)).map(|metre| metre.beats);
    let Some(found) = beats::find(&onsets, known) else {
        let what = "the timing follows no beats the file gives, and there is too little or too much music to find any";
        report.warning(At::FILE, "no-beats", what, "Bars and values follow the file's ticks; do not count on them");
        return;
    };
    // The first bar begins on the downbeat at or before the first onset.
    let to_the_bar = f64::from(found.to_the_bar);
    #[allow(clippy::cast_precision_loss)] // at most 3
    let downbeat = found.first_downbeat as f64;
    let first = onsets.first().map_or(0.0, |onset| found.position(onset.time));
    let zero = downbeat + ((first + 0.25 - downbeat) / to_the_bar).floor() * to_the_bar;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to where ticks end
    let to =
        |tick: u32| ((found.position(seconds.at(tick)) - zero) * f64::from(TICKS)).round().clamp(0.0, f64::from(1 << 30)) as u32;
    shift(all, lines, timing, to);
    timing.per_crotchet = TICKS;
    timing.metres = vec![MetreChange { at: 0, beats: found.to_the_bar, power: 2 }];
    timing.tempos.clear();
    for (index, pair) in found.times.windows(usize::from(found.to_the_bar) + 1).enumerate() {
        let at = f64::from(u32::try_from(index).unwrap_or(u32::MAX)) - zero;
        let (Some(start), Some(end)) = (pair.first(), pair.last()) else { continue };
        let micros = ((end - start) / to_the_bar * 1e6).round();
        if at >= 0.0 && at % to_the_bar == 0.0 || index == 0 {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // beats are 0.1 to 1.2 s apart
            timing.tempos.push(((at.max(0.0) * f64::from(TICKS)) as u32, micros as u32));
        }
    }
    timing.tempos.dedup_by_key(|tempo| tempo.0);
    let (gathered, _) = grid::concentration(all.notes.iter(), TICKS);
    let what = format!(
        "the file gives no beats that its notes follow; {} beats were found from the onsets (confidence {:.0} %), {} to the bar",
        found.times.len(),
        gathered * 100.0,
        found.to_the_bar
    );
    let hint = "Bars and values are an estimate; record to a click or tap the beats for a sound score";
    report.warning(At::FILE, "beats-found", what, hint);
}

/// Onsets gathered over all lines, with how much each stands out: louder, longer and lower ones more.
fn salient(all: &Tracks<'_>, lines: &[Line], seconds: &Seconds) -> Vec<Onset> {
    let mut played: Vec<&Strike> =
        lines.iter().flat_map(|line| lines::strikes(all, line)).filter(|strike| strike.kind != StrikeKind::Hidden).collect();
    played.sort_by_key(|strike| strike.on);
    let mut onsets: Vec<Onset> = Vec::new();
    for strike in played {
        let time = seconds.at(strike.on);
        let length = (seconds.at(strike.off) - time).clamp(0.05, 1.0);
        let low = if strike.key < 52 { 1.5 } else { 1.0 };
        let weight = low * (0.3 + length) * f64::from(strike.velocity).max(1.0) / 127.0;
        match onsets.last_mut() {
            Some(last) if time - last.time <= TOGETHER => last.weight += weight,
            _ => onsets.push(Onset { time, weight }),
        }
    }
    for onset in &mut onsets {
        onset.weight = onset.weight.sqrt();
    }
    onsets
}
