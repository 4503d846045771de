//! From a passage to sound: chunk by chunk, every group by itself.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use ripieno_acoustics::Source;
use ripieno_score::DynamicLevel;

use crate::groups::Group;
use crate::passage::{Event, Passage};
use crate::players::{Bus, Held, Placed, REFERENCE, Struck};
use crate::room::{BLOCK, Room, RoomOfGroup, direct_gain, late_energy};
use crate::seats::{Listener, Seat};
use crate::tables::Tables;
use crate::ways::colouring;

/// Blocks of a chunk: an eighth of a second at 44 100 samples a second.
pub(crate) const CHUNK: usize = 86;
/// Seconds of silence before the first note, so that it does not begin on the first sample.
pub(crate) const LEAD: f64 = 0.04;
/// Longest time for grace notes before the first beat.
const MOST_LEAD: f64 = 3.0;
/// Longest tail after the last bar, in seconds.
pub(crate) const TAIL: f64 = 5.0;
/// Root mean square, in decibels under full scale, of the loudest moment a score predicts for itself.
const LOUDEST: f64 = -20.0;
/// Most seconds rendered in one go: an hour and a half.
const MOST_SECONDS: f64 = 5400.0;
/// Most frames of all stems together that are kept in memory: 2.5 gigabytes, two hours at 44 100 a second.
const MOST_KEPT: u64 = 7200 * 44_100;

/// Two channels of equal length.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Stereo {
    /// Left.
    pub left: Vec<f32>,
    /// Right.
    pub right: Vec<f32>,
}

impl Stereo {
    /// Adds another, sample by sample; the longer tail stands.
    pub fn add(&mut self, other: &Self) {
        for (own, other) in [(&mut self.left, &other.left), (&mut self.right, &other.right)] {
            if own.len() < other.len() {
                own.resize(other.len(), 0.0);
            }
            own.iter_mut().zip(other).for_each(|(own, other)| *own += other);
        }
    }

    /// Makes all louder or softer.
    pub fn scale(&mut self, gain: f32) {
        self.left.iter_mut().chain(&mut self.right).for_each(|sample| *sample *= gain);
    }

    /// Largest sample, without sign.
    #[must_use]
    pub fn peak(&self) -> f32 {
        self.left.iter().chain(&self.right).fold(0.0, |peak, sample| peak.max(sample.abs()))
    }
}

/// What is to be heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Selection {
    /// From this moment, in seconds from the start of the piece at the written tempo.
    pub from: f64,
    /// To this one.
    pub to: f64,
    /// Groups, each a stem of its own; parts in none are not heard.
    pub groups: Vec<Group>,
}

/// The slowest that can be played, as a share of the written tempo.
pub const SLOWEST: f64 = 0.1;

/// How it is to sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Samples a second.
    pub rate: u32,
    /// The room.
    pub room: Room,
    /// Who listens.
    pub listener: Listener,
    /// Speed relative to the written tempo, from [`SLOWEST`] on: 0.8 is slower. The pitch stays.
    pub pace: f64,
    /// Chance by which players differ; the same number, the same bytes.
    pub seed: u64,
    /// Factor on all samples; `None` for one fixed for the score, by which the loudest moment it predicts stands 20 dB under full scale.
    pub gain: Option<f32>,
}

impl Default for Options {
    fn default() -> Self {
        Self { rate: 44_100, room: Room::hall(), listener: Listener::default(), pace: 1.0, seed: 1, gain: None }
    }
}

/// A piece of the rendering.
#[derive(Debug, Clone, PartialEq)]
pub struct Chunk {
    /// Its first frame, counted from the start of the rendering.
    pub first: u64,
    /// One for each group of the selection, in its order.
    pub stems: Vec<Stereo>,
}

/// A whole rendering.
#[derive(Debug, Clone, PartialEq)]
pub struct Stems {
    /// Samples a second.
    pub rate: u32,
    /// Names of the groups.
    pub names: Vec<String>,
    /// Their sound, all of equal length.
    pub stems: Vec<Stereo>,
}

impl Stems {
    /// All groups together.
    #[must_use]
    pub fn mix(&self) -> Stereo {
        let mut mix = Stereo::default();
        self.stems.iter().for_each(|stem| mix.add(stem));
        mix
    }

    /// Makes all louder or softer by the same factor.
    pub fn scale(&mut self, gain: f32) {
        self.stems.iter_mut().for_each(|stem| stem.scale(gain));
    }

    /// Seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        #[allow(clippy::cast_precision_loss)] // samples of a rendering
        let frames = self.stems.first().map_or(0, |stem| stem.left.len()) as f64;
        frames / f64::from(self.rate)
    }
}

/// One group being rendered.
struct Playing {
    /// Events yet to begin, the first one last.
    waiting: Vec<usize>,
    held: Vec<Held>,
    struck: Vec<Struck>,
    room: Option<RoomOfGroup>,
}

impl Playing {
    fn is_silent(&self) -> bool {
        self.waiting.is_empty() && self.held.is_empty() && self.struck.is_empty()
    }
}

/// Renders ahead of the playing, chunk by chunk.
pub struct Renderer<'a> {
    passage: &'a Passage,
    tables: Tables,
    instruments: Vec<u16>,
    groups: Vec<Playing>,
    seats: Vec<Seat>,
    options: Options,
    from: f64,
    to: f64,
    lead: f64,
    gain: f32,
    at: i64,
    /// Frame at which the last bar is over.
    end: i64,
    over: bool,
}

impl<'a> Renderer<'a> {
    /// Prepares to render; nothing is computed yet but the level.
    ///
    /// # Errors
    /// One sentence when the options or the selection make no sense.
    pub fn new(passage: &'a Passage, selection: &Selection, options: &Options) -> Result<Self, String> {
        check(selection, options)?;
        let rate = f64::from(options.rate);
        let mut tables = Tables::new(rate);
        let instruments: Vec<u16> = passage.instruments.iter().map(|id| tables.instrument(id)).collect();
        let seats = passage.seats(options.listener);
        let unit = late_energy(&options.room, rate);
        let lead = lead(passage, selection, options.pace);
        let groups = selection.groups.iter().map(|group| {
            let mine = |event: &Event| group.parts.contains(&usize::from(event.part)) && is_in(event, selection);
            let mut waiting: Vec<usize> = (0..passage.events.len()).filter(|&index| mine(&passage.events[index])).collect();
            waiting.reverse();
            let seat = middle(group, &seats);
            let room =
                (options.room.reverberation > 0.0).then(|| RoomOfGroup::new(&options.room, options.listener, seat, rate, unit));
            Playing { waiting, held: Vec::new(), struck: Vec::new(), room }
        });
        let groups = groups.collect();
        let gain = options.gain.unwrap_or_else(|| planned_gain(passage, options, &seats));
        #[allow(clippy::cast_possible_truncation)] // bounded by `check`
        let end = (((selection.to - selection.from) / options.pace + lead) * rate) as i64;
        Ok(Self {
            passage,
            tables,
            instruments,
            groups,
            seats,
            options: *options,
            from: selection.from,
            to: selection.to,
            lead,
            gain,
            at: 0,
            end,
            over: false,
        })
    }

    /// The factor in use.
    #[must_use]
    pub const fn gain(&self) -> f32 {
        self.gain
    }

    /// Seconds of the rendering before the first beat of the selection.
    #[must_use]
    pub const fn lead(&self) -> f64 {
        self.lead
    }

    /// Frames of the selection without its tail.
    #[must_use]
    pub fn frames(&self) -> u64 {
        u64::try_from(self.end).unwrap_or(0)
    }

    fn frame(&self, seconds: f64) -> i64 {
        let after = (seconds - self.from) / self.options.pace + self.lead;
        #[allow(clippy::cast_possible_truncation)] // bounded by `check`
        let frame = (after * f64::from(self.options.rate)).round() as i64;
        frame
    }

    /// Begins what begins before the end of the block at `self.at`.
    fn begin(&mut self, group: usize) {
        #[allow(clippy::cast_possible_wrap)] // a block
        let until = self.at + BLOCK as i64;
        while let Some(&next) = self.groups[group].waiting.last() {
            let event = &self.passage.events[next];
            let start = self.frame(event.start);
            if start >= until {
                return;
            }
            self.groups[group].waiting.pop();
            let mut event = event.clone();
            event.end = event.end.min(self.to);
            let placed = Placed {
                instrument: self.instruments[event.instrument],
                start,
                rate: f64::from(self.options.rate),
                pace: self.options.pace,
                seat: self.seats[usize::from(event.part)],
                seed: self.options.seed,
            };
            if self.tables.is_held(placed.instrument, colouring(event.ways)) {
                self.groups[group].held.push(Held::new(&event, &placed));
            } else {
                let strokes = Struck::of(&event, &placed, &mut self.tables);
                self.groups[group].struck.extend(strokes);
            }
        }
    }

    fn block(&mut self, group: usize, stem: &mut Stereo) {
        self.begin(group);
        let mut bus = Bus::empty();
        let at = self.at;
        let playing = &mut self.groups[group];
        let tables = &mut self.tables;
        playing.held.retain_mut(|held| held.add(at, tables, &mut bus));
        playing.struck.retain(|struck| struck.add(at, &mut bus));
        if let Some(room) = &mut playing.room {
            room.add(&bus.send, &mut bus.left, &mut bus.right);
        }
        let gain = self.gain;
        // The first and last moments fade, for notes that are cut.
        let edge = self.edge();
        stem.left.extend(bus.left.iter().map(|sample| sample * gain * edge));
        stem.right.extend(bus.right.iter().map(|sample| sample * gain * edge));
    }

    /// A factor for the longest of tails, so that its end is no step.
    fn edge(&self) -> f32 {
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
        let left = TAIL as f32 - (self.at - self.end) as f32 / self.options.rate as f32;
        (left / 0.5).clamp(0.0, 1.0)
    }
}

impl Iterator for Renderer<'_> {
    type Item = Chunk;

    fn next(&mut self) -> Option<Chunk> {
        if self.over {
            return None;
        }
        let first = u64::try_from(self.at).unwrap_or(0);
        let mut stems = vec![Stereo::default(); self.groups.len()];
        for _ in 0..CHUNK {
            for (group, stem) in stems.iter_mut().enumerate() {
                self.block(group, stem);
            }
            #[allow(clippy::cast_possible_wrap)] // a block
            let size = BLOCK as i64;
            self.at += size;
        }
        let rate = f64::from(self.options.rate);
        self.over = is_over(self.at - self.end, rate, &stems, || self.groups.iter().all(Playing::is_silent));
        Some(Chunk { first, stems })
    }
}

/// Whether a rendering that is so many frames beyond its selection ends with these stems: nobody plays any more and nothing is heard, or the longest of
/// tails has passed.
pub(crate) fn is_over(beyond: i64, rate: f64, stems: &[Stereo], nobody_plays: impl FnOnce() -> bool) -> bool {
    #[allow(clippy::cast_precision_loss)] // minutes
    let late = beyond as f64 > TAIL * rate;
    beyond > 0 && (late || (nobody_plays() && stems.iter().all(|stem| stem.peak() < 1e-5)))
}

/// Gathers the chunks of a renderer. `frames` is how many are expected, without the tail; `progress` is told the share done after
/// every chunk and may stop the work.
///
/// # Errors
/// "stopped" when `progress` broke off; a sentence when the stems together are too long to be kept.
pub fn render(
    chunks: impl Iterator<Item = Chunk>,
    frames: u64,
    selection: &Selection,
    options: &Options,
    mut progress: impl FnMut(f64) -> ControlFlow<()>,
) -> Result<Stems, String> {
    if frames.saturating_mul(selection.groups.len() as u64) > MOST_KEPT {
        return Err(format!(
            "{} stems of this length are too much at once; choose fewer bars or fewer groups",
            selection.groups.len()
        ));
    }
    let mut stems = vec![Stereo::default(); selection.groups.len()];
    for chunk in chunks {
        for (own, new) in stems.iter_mut().zip(&chunk.stems) {
            own.left.extend_from_slice(&new.left);
            own.right.extend_from_slice(&new.right);
        }
        #[allow(clippy::cast_precision_loss)] // frames of a rendering
        let share = (chunk.first as f64 / frames.max(1) as f64).min(1.0);
        if progress(share).is_break() {
            return Err("stopped".to_owned());
        }
    }
    Ok(Stems { rate: options.rate, names: selection.groups.iter().map(|group| group.name.clone()).collect(), stems })
}

/// Gathers the chunks of a renderer into one sound, all groups together; otherwise like [`render`].
///
/// # Errors
/// "stopped" when `progress` broke off; a sentence when the sound is too long to be kept.
pub fn mix(
    chunks: impl Iterator<Item = Chunk>,
    frames: u64,
    mut progress: impl FnMut(f64) -> ControlFlow<()>,
) -> Result<Stereo, String> {
    if frames > MOST_KEPT {
        return Err("this much sound at this rate is too much at once; choose fewer bars or a lower rate".to_owned());
    }
    let mut mix = Stereo::default();
    for chunk in chunks {
        let mut all = Stereo::default();
        chunk.stems.iter().for_each(|stem| all.add(stem));
        mix.left.append(&mut all.left);
        mix.right.append(&mut all.right);
        #[allow(clippy::cast_precision_loss)] // frames of a rendering
        let share = (chunk.first as f64 / frames.max(1) as f64).min(1.0);
        if progress(share).is_break() {
            return Err("stopped".to_owned());
        }
    }
    Ok(mix)
}

pub(crate) fn check(selection: &Selection, options: &Options) -> Result<(), String> {
    if !(8_000..=192_000).contains(&options.rate) {
        return Err(format!("{} samples a second cannot be rendered; choose 8000 to 192000, usually 44100", options.rate));
    }
    if !(SLOWEST..=4.0).contains(&options.pace) {
        return Err(format!("{} is no speed to play at; choose {SLOWEST} (ten times slower) to 4", options.pace));
    }
    options.room.check()?;
    options.listener.check()?;
    if !(selection.from.is_finite() && selection.to.is_finite()) || selection.to <= selection.from {
        return Err("there is nothing to hear between these moments".to_owned());
    }
    if (selection.to - selection.from) / options.pace > MOST_SECONDS {
        return Err("more than an hour and a half of sound; choose fewer bars".to_owned());
    }
    if selection.groups.iter().all(|group| group.parts.is_empty()) {
        return Err("nobody is left to play; name other groups".to_owned());
    }
    Ok(())
}

/// Whether an event is heard in a selection: it is written to begin in it, or began before and goes on.
pub(crate) fn is_in(event: &Event, selection: &Selection) -> bool {
    let begins = event.onset >= selection.from - 1e-6 && event.onset < selection.to - 1e-6;
    begins || (event.onset < selection.from && event.end > selection.from + 0.02)
}

/// Seconds before the first beat of a selection: [`LEAD`], and the time of the grace notes that lead to that beat, whoever plays them, so that every
/// choice of groups begins alike.
pub(crate) fn lead(passage: &Passage, selection: &Selection, pace: f64) -> f64 {
    let graces = passage.events.iter().filter(|event| event.onset >= selection.from - 1e-6 && event.onset < selection.to);
    let before = graces.map(|event| selection.from - event.start).fold(0.0, f64::max);
    LEAD + (before / pace).min(MOST_LEAD)
}

pub(crate) fn middle(group: &Group, seats: &[Seat]) -> Seat {
    let all: Vec<Seat> = group.parts.iter().filter_map(|&part| seats.get(part).copied()).collect();
    #[allow(clippy::cast_precision_loss)] // parts
    let count = all.len().max(1) as f64;
    let mean = |of: fn(&Seat) -> f64| all.iter().map(of).sum::<f64>() / count;
    Seat { azimuth: mean(|seat| seat.azimuth), distance: mean(|seat| seat.distance).max(3.0) }
}

/// The factor by which the loudest moment that the whole score predicts stands at [`LOUDEST`]: known before a sample is rendered,
/// the same for every excerpt and every choice of groups.
pub(crate) fn planned_gain(passage: &Passage, options: &Options, seats: &[Seat]) -> f32 {
    let mut powers: BTreeMap<(usize, u16, i32, i32), f64> = BTreeMap::new();
    let mut steps: Vec<(f64, f64)> = Vec::with_capacity(passage.events.len() * 2);
    for event in &passage.events {
        let level = event.levels.iter().map(|(_, level)| *level).fold(f32::MIN, f32::max);
        let ways = colouring(event.ways);
        #[allow(clippy::cast_possible_truncation)] // keys and levels are small
        let at = (event.instrument, ways.bits(), event.key.round() as i32, level.round() as i32);
        let power = *powers.entry(at).or_insert_with(|| {
            let instrument = passage.instruments.get(event.instrument).map_or("", String::as_str);
            let power = Source::of(instrument).power(f64::from(at.2), DynamicLevel(at.3 as f32), ways);
            10f64.powf((power.db - f64::from(REFERENCE)) / 10.0)
        });
        let seat = seats.get(usize::from(event.part)).copied().unwrap_or(Seat { azimuth: 0.0, distance: 8.0 });
        let here = power
            * f64::from(event.players)
            * (direct_gain(seat.distance).powi(2) + options.room.late(options.listener, seat.distance));
        steps.push((event.start, here));
        steps.push((event.end, -here));
    }
    steps.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut now, mut most) = (0.0f64, 0.0f64);
    for (_, step) in steps {
        now += step;
        most = most.max(now);
    }
    #[allow(clippy::cast_possible_truncation)] // sound is single precision
    if most > 0.0 { (10f64.powf(LOUDEST / 20.0) / most.sqrt()) as f32 } else { 1.0 }
}
