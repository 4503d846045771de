//! Writes a Standard MIDI File of type 1 from what is heard.
//!
//! Track 0 holds tempo, metre, key and rehearsal marks; then one track a part. Ties are joined, transposition is undone, cue
//! notes are silent. Ticks are the fewest a crotchet that hold every onset and length exactly, or 10 080 when that would be more
//! than a file can say. How a part becomes a track is told in [`super::write_part`].

use std::collections::BTreeMap;
use std::num::NonZeroU32;

use midly::num::{u15, u24, u28};
use midly::{Format, Header, MetaMessage, Smf, Timing, Track, TrackEvent, TrackEventKind};
use ripieno_score::{BarIndex, ChangeKind, Crotchets, Direction, DirectionKind, Metre, Score, Sounding, Unroll};

use super::write_part::{self, Channels};

/// Most ticks a crotchet a file can state.
const MOST_TICKS: i64 = 32_767;
/// Used where exact ticks would be too many: divisible by 1 to 10 but for rounding elsewhere.
const ROUNDED_TICKS: u32 = 10_080;
/// An event at a tick; `rank` orders those of one tick: signs, then ends, then changes of program, then beginnings.
pub(super) struct Timed<'a> {
    pub(super) tick: u32,
    pub(super) rank: u8,
    pub(super) kind: TrackEventKind<'a>,
}

/// The score as a MIDI file.
#[must_use]
pub fn write(score: &Score, unroll: Unroll) -> Vec<u8> {
    let sounding = Sounding::new(score, unroll);
    let per_crotchet = ticks(&sounding);
    let clock = Clock { per_crotchet };
    let mut tracks = vec![conductor(score, &sounding, clock)];
    let mut channels = Channels::default();
    for (index, part) in score.parts.iter().enumerate() {
        tracks.push(write_part::track(part, index, &sounding, clock, &mut channels));
    }
    let ticks = u16::try_from(per_crotchet.get()).unwrap_or(u16::MAX);
    let smf = Smf { header: Header::new(Format::Parallel, Timing::Metrical(u15::new(ticks))), tracks };
    let mut bytes = Vec::new();
    // Writing into memory cannot fail.
    let _ = smf.write_std(&mut bytes);
    bytes
}

#[derive(Clone, Copy)]
pub(super) struct Clock {
    per_crotchet: NonZeroU32,
}

impl Clock {
    pub(super) fn tick(self, at: Crotchets) -> u32 {
        u32::try_from(at.to_ticks(self.per_crotchet)).unwrap_or(0).min(u28::max_value().as_int())
    }
}

/// The fewest ticks a crotchet that hold every onset and length.
fn ticks(sounding: &Sounding) -> NonZeroU32 {
    let notes = &sounding.notes;
    let bars = sounding.bars.iter().map(|bar| bar.start);
    // Graces of 1/8 and readers that want at least a semiquaver's worth: start from 24.
    let mut ticks = 24i64;
    for time in notes.onset.iter().chain(&notes.duration).copied().chain(bars) {
        let denominator = time.denominator();
        if ticks % denominator != 0 {
            let (mut a, mut b) = (ticks, denominator);
            while b != 0 {
                (a, b) = (b, a % b);
            }
            ticks = ticks.saturating_mul(denominator / a);
            if ticks > MOST_TICKS {
                return NonZeroU32::new(ROUNDED_TICKS).unwrap_or(NonZeroU32::MIN);
            }
        }
    }
    u32::try_from(ticks).ok().and_then(NonZeroU32::new).unwrap_or(NonZeroU32::MIN)
}

/// Orders events and turns moments into distances.
pub(super) fn track(mut events: Vec<Timed<'_>>) -> Track<'_> {
    events.sort_by_key(|event| (event.tick, event.rank));
    let mut now = 0;
    let mut track: Track<'_> = Vec::with_capacity(events.len() + 1);
    for event in events {
        track.push(TrackEvent { delta: u28::new(event.tick - now), kind: event.kind });
        now = event.tick;
    }
    track.push(TrackEvent { delta: u28::new(0), kind: TrackEventKind::Meta(MetaMessage::EndOfTrack) });
    track
}

pub(super) fn meta(tick: u32, message: MetaMessage<'_>) -> Timed<'_> {
    Timed { tick, rank: 0, kind: TrackEventKind::Meta(message) }
}

fn conductor<'a>(score: &'a Score, sounding: &Sounding, clock: Clock) -> Track<'a> {
    let mut events = Vec::new();
    if !sounding.tempo.assumed {
        for (at, tempo) in sounding.tempo.changes() {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // tempi of 5 to 1200 a minute
            let microseconds = (60_000_000.0 / tempo).round() as u32;
            events.push(meta(clock.tick(at), MetaMessage::Tempo(u24::new(microseconds.min(u24::max_value().as_int())))));
        }
    }
    let rehearsals = rehearsals(score);
    let keys = score.parts.iter().find(|part| !part.changes.iter().any(|c| matches!(c.kind, ChangeKind::Transposition(_))));
    let keys = keys.map_or(&[][..], |part| &part.changes);
    // After a jump the metre in force may be an earlier one: what holds in each bar of the page.
    let metres: Vec<Option<&Metre>> = score
        .bars
        .iter()
        .scan(None, |in_force, bar| {
            *in_force = bar.metre.as_ref().or(*in_force);
            Some(*in_force)
        })
        .collect();
    let mut metre_now: Option<Metre> = None;
    for played in &sounding.bars {
        // A pickup or a divided bar has the metre of its length, or every barline after it would be elsewhere.
        let in_force = metres[played.bar.at()].map(|metre| metre_of(metre, played.length));
        if in_force != metre_now {
            events.extend(in_force.as_ref().and_then(signature).map(|message| meta(clock.tick(played.start), message)));
            metre_now = in_force;
        }
        let first = keys.partition_point(|change| change.bar < played.bar);
        let here = keys[first..].iter().take_while(|change| change.bar == played.bar);
        for change in here.filter(|change| change.staff.is_none_or(|staff| staff == 1)) {
            if let ChangeKind::Key(key) = change.kind {
                let fifths = key.fifths.clamp(-7, 7);
                events.push(meta(
                    clock.tick(played.start + change.at),
                    MetaMessage::KeySignature(fifths, key.major == Some(false)),
                ));
            }
        }
        for (at, text) in rehearsals.get(&played.bar).into_iter().flatten() {
            events.push(meta(clock.tick(played.start + *at), MetaMessage::Marker(text.as_bytes())));
        }
    }
    track(events)
}

/// Rehearsal marks by bar: their position and text, each once though several parts print it.
fn rehearsals(score: &Score) -> BTreeMap<BarIndex, Vec<(Crotchets, &str)>> {
    let mut by_bar: BTreeMap<BarIndex, Vec<(Crotchets, &str)>> = BTreeMap::new();
    for Direction { bar, at, kind, .. } in score.parts.iter().flat_map(|part| &part.directions) {
        if let DirectionKind::Rehearsal(text) = kind {
            by_bar.entry(*bar).or_default().push((*at, text));
        }
    }
    for marks in by_bar.values_mut() {
        marks.sort_unstable();
        marks.dedup();
    }
    by_bar
}

/// `metre`, or what a bar of another length would have, in its units or shorter ones.
fn metre_of(metre: &Metre, length: Crotchets) -> Metre {
    let Metre::Measured(terms) = metre else { return metre.clone() };
    let whole = 4 * length.denominator();
    let unit = i64::from(terms.iter().map(|term| term.1).max().unwrap_or(4)).max(whole);
    let beats = length.numerator().saturating_mul(unit);
    match (u16::try_from(beats / whole), u16::try_from(unit)) {
        (Ok(count), Ok(unit)) if count > 0 && beats % whole == 0 && metre.length() != Some(length) => Metre::simple(count, unit),
        _ => metre.clone(),
    }
}

/// The metre as a MIDI time signature; free time and units that are no power of two have none.
fn signature(metre: &Metre) -> Option<MetaMessage<'static>> {
    let Metre::Measured(terms) = metre else { return None };
    let unit = terms.iter().map(|term| term.1).max()?;
    let count = |beats: &[u16]| beats.iter().map(|&beats| u64::from(beats)).sum::<u64>();
    let beats: u64 = terms.iter().map(|(beats, own)| count(beats) * u64::from(unit / (*own).max(1))).sum();
    let power = u8::try_from(unit.checked_ilog2()?).ok().filter(|_| unit.is_power_of_two())?;
    Some(MetaMessage::TimeSignature(u8::try_from(beats).ok()?, power, 24, 8))
}
