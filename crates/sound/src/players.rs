//! Players at work: held tones sample by sample, strokes that ring, and the noise of breath and bow.

use std::f64::consts::TAU;
use std::sync::Arc;

use ripieno_acoustics::{Ways, hertz};

use crate::passage::{Bend, Event, Shake, level_at};
use crate::random::Random;
use crate::room::{BLOCK, direct_gain};
use crate::seats::{Seat, pan};
use crate::tables::{HeldTable, NOISE, PERIOD, Stroke, Tables};
use crate::ways::colouring;

/// Level of one player that is a sample of one before distance and master gain, in decibels re 1 pW.
pub(crate) const REFERENCE: f32 = 100.0;
/// Strokes a second of a roll or of a tremolo without counting. Common practice: 12 to 16.
const ROLL: f64 = 13.5;
/// Strokes of a slide on strings that are plucked or bars that are struck, per second.
const RUN: f64 = 18.0;
/// Most strokes one note may bring.
const MOST_STROKES: usize = 4000;

/// Where a group's sound is gathered during one block.
pub(crate) struct Bus {
    pub(crate) left: [f32; BLOCK],
    pub(crate) right: [f32; BLOCK],
    pub(crate) send: [f32; BLOCK],
}

impl Bus {
    pub(crate) const fn empty() -> Self {
        Self { left: [0.0; BLOCK], right: [0.0; BLOCK], send: [0.0; BLOCK] }
    }

    fn add(&mut self, own: &[f32; BLOCK], place: Place) {
        let channels = self.left.iter_mut().zip(&mut self.right).zip(&mut self.send);
        for (((left, right), send), own) in channels.zip(own) {
            *left += own * place.left;
            *right += own * place.right;
            *send += own;
        }
    }
}

/// Gains of the direct sound of one player.
#[derive(Debug, Clone, Copy)]
struct Place {
    left: f32,
    right: f32,
}

impl Place {
    fn of(seat: Seat) -> Self {
        let (left, right) = pan(seat.azimuth);
        #[allow(clippy::cast_possible_truncation)] // sound is single precision
        let gain = direct_gain(seat.distance) as f32;
        Self { left: left * gain, right: right * gain }
    }
}

/// One who holds a tone.
struct Holder {
    phase: u32,
    /// Cents off the note.
    detune: f64,
    /// Seconds late.
    late: f64,
    vibrato_rate: f64,
    vibrato_phase: f64,
    shake_rate: f64,
    shake_phase: f64,
    place: Place,
    /// Gain of the lower and upper table at the end of the last block.
    gains: (f32, f32),
}

/// A held note and those who play it.
pub(crate) struct Held {
    event: Event,
    instrument: u16,
    ways: Ways,
    /// First sample.
    start: i64,
    rate: f64,
    /// Seconds from the start to where the players stop.
    length: f64,
    /// Tempo of the rendering relative to the score's.
    pace: f64,
    holders: Vec<Holder>,
    tables: Option<(Arc<HeldTable>, Arc<HeldTable>)>,
    at: (i16, i16),
    noise: Option<(Arc<Vec<f32>>, usize, f32)>,
    middle: Place,
}

/// How a note is placed in the rendering.
pub(crate) struct Placed {
    pub(crate) instrument: u16,
    /// Sample at which the note begins; before 0 when it began before the passage.
    pub(crate) start: i64,
    pub(crate) rate: f64,
    pub(crate) pace: f64,
    pub(crate) seat: Seat,
    pub(crate) seed: u64,
}

/// The seats of `count` players around the seat of their part.
fn seats(seat: Seat, count: u16, random: &mut Random) -> Vec<Seat> {
    let wide = f64::from(count.min(16)) * 0.55;
    let one = |player: u16| {
        let share = if count > 1 { f64::from(player) / f64::from(count - 1) * 2.0 - 1.0 } else { 0.0 };
        Seat { azimuth: seat.azimuth + share * wide, distance: seat.distance + if count > 2 { random.swing() } else { 0.0 } }
    };
    (0..count).map(one).collect()
}

impl Held {
    pub(crate) fn new(event: &Event, placed: &Placed) -> Self {
        let mut random = Random::of(&[placed.seed, event.row, u64::from(event.part)]);
        let many = event.players > 2;
        // Players of a section are a few cents apart and a few milliseconds late; soloists less so. Our choice within what
        // studies of ensembles report (10 to 20 cents, 10 to 30 ms of spread).
        let (cents, late) = if many { (7.0, 0.011) } else { (2.5, 0.005) };
        let holders = seats(placed.seat, event.players, &mut random).into_iter().map(|seat| Holder {
            #[allow(clippy::cast_possible_truncation)] // any phase will do
            phase: random.next() as u32,
            detune: if event.players > 1 { random.bell() * cents } else { 0.0 },
            late: if event.players > 1 { random.bell().abs() * late } else { 0.0 },
            vibrato_rate: 5.6 + 0.5 * random.swing(),
            vibrato_phase: random.unit() * TAU,
            shake_rate: ROLL * (1.0 + 0.12 * random.swing()),
            shake_phase: random.unit() * TAU,
            place: Place::of(seat),
            gains: (0.0, 0.0),
        });
        let holders = holders.collect();
        Self {
            instrument: placed.instrument,
            ways: colouring(event.ways),
            start: placed.start,
            rate: placed.rate,
            length: ((event.end - event.start) / placed.pace).max(0.02),
            pace: placed.pace,
            holders,
            tables: None,
            at: (i16::MIN, i16::MIN),
            noise: None,
            middle: Place::of(placed.seat),
            event: event.clone(),
        }
    }

    /// Adds one block that begins at `block`; `false` when the note is over.
    pub(crate) fn add(&mut self, block: i64, tables: &mut Tables, bus: &mut Bus) -> bool {
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_wrap)] // samples of a rendering
        let now = (block + BLOCK as i64 - self.start) as f64 / self.rate;
        let semitones = self.semitones(now);
        let onset = self.tables.as_ref().map_or(0.03, |(low, _)| f64::from(low.onset));
        let rise = self.rise(now, onset);
        #[allow(clippy::cast_possible_truncation)] // a level
        let level = level_at(&self.event.levels, now * self.pace) - (1.2 * (1.0 - rise)) as f32;
        let (layer, share) = Tables::layer(level);
        #[allow(clippy::cast_possible_truncation)] // keys lie between 0 and 127
        let key = (self.event.key + semitones).round().clamp(0.0, 132.0) as i16;
        let fresh = self.tables.is_none() || self.at != (key, layer);
        let before = if fresh { self.tables.take() } else { None };
        let (low, high) = self.tables.get_or_insert_with(|| {
            let low = tables.held(self.instrument, self.ways, key, layer);
            let high = tables.held(self.instrument, self.ways, key, layer + 1);
            (low, high)
        });
        let (low, high) = (Arc::clone(low), Arc::clone(high));
        self.at = (key, layer);
        let power = low.power_db + (high.power_db - low.power_db) * share + self.accent(now);
        let gain = amplitude(power - REFERENCE);
        let (onset, release) = (f64::from(low.onset), f64::from(low.release));
        let mut alive = false;
        let hz = hertz(self.event.key + semitones);
        let begins = usize::try_from(self.start - block).unwrap_or(0).min(BLOCK);
        let vibrato = f64::from(low.vibrato) * ((now - 0.18) / 0.25).clamp(0.0, 1.0);
        for index in 0..self.holders.len() {
            let late = self.holders[index].late;
            let own = now - late;
            let envelope = self.rise(own, onset) * self.sink(own, release);
            let holder = &mut self.holders[index];
            #[allow(clippy::cast_possible_truncation)] // sound is single precision
            let envelope = (envelope * shake(self.event.shake, own, holder)) as f32;
            let target = (gain * envelope * (1.0 - share), gain * envelope * share);
            let cents = holder.detune + vibrato * (TAU * holder.vibrato_rate * now + holder.vibrato_phase).sin();
            let hz = hz * (cents / 1200.0).exp2();
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a share of a turn
            let step = (hz / self.rate * 4_294_967_296.0) as u32;
            let mut samples = [0.0f32; BLOCK];
            let last = holder.gains;
            let phase = holder.phase;
            if let Some((old_low, old_high)) = &before {
                // Phases of the partials agree in all tables, so that one glides into the next.
                wave(&mut samples, begins, phase, step, &old_low.period, (last.0, 0.0));
                wave(&mut samples, begins, phase, step, &old_high.period, (last.1, 0.0));
                wave(&mut samples, begins, phase, step, &low.period, (0.0, target.0));
                wave(&mut samples, begins, phase, step, &high.period, (0.0, target.1));
            } else {
                wave(&mut samples, begins, phase, step, &low.period, (last.0, target.0));
                wave(&mut samples, begins, phase, step, &high.period, (last.1, target.1));
            }
            holder.phase = phase.wrapping_add(step.wrapping_mul(u32::try_from(BLOCK - begins).unwrap_or(0)));
            holder.gains = target;
            alive |= own < self.length + release || last != (0.0, 0.0);
            bus.add(&samples, holder.place);
        }
        self.breathe(now, (key, layer), gain, &low, tables, begins, bus);
        alive
    }

    /// The noise of all who play, as one.
    #[allow(clippy::too_many_arguments)] // all of one block
    fn breathe(
        &mut self,
        now: f64,
        (key, layer): (i16, i16),
        gain: f32,
        table: &HeldTable,
        tables: &mut Tables,
        begins: usize,
        bus: &mut Bus,
    ) {
        if table.noise_share <= 0.0 && self.noise.is_none() {
            return;
        }
        let envelope = self.rise(now, f64::from(table.onset) * 0.6) * self.sink(now, f64::from(table.release));
        // A tongue or a bow speaks a little before and above the tone.
        let speaks = if self.event.bound { 1.0 } else { 1.0 + 1.2 * (-now.max(0.0) / 0.03).exp() };
        #[allow(clippy::cast_possible_truncation)] // sound is single precision
        let target = gain * table.noise_share * (envelope * speaks) as f32 * f32::from(self.event.players).sqrt();
        let (samples, at, last) = self.noise.get_or_insert_with(|| {
            let noise = tables.noise(self.instrument, self.ways, key, layer);
            #[allow(clippy::cast_possible_truncation)] // a place in the circle
            let at = Random::of(&[self.event.row, 3]).next() as usize % NOISE;
            (noise, at, 0.0)
        });
        let mut own = [0.0f32; BLOCK];
        #[allow(clippy::cast_precision_loss)] // a block
        let slope = (target - *last) / (BLOCK - begins).max(1) as f32;
        let mut now_gain = *last;
        for sample in &mut own[begins..] {
            now_gain += slope;
            *sample = samples[*at % NOISE] * now_gain;
            *at += 1;
        }
        *last = target;
        bus.add(&own, self.middle);
    }

    /// How far the tone has risen, 0 to 1, `after` seconds.
    fn rise(&self, after: f64, onset: f64) -> f64 {
        let onset = if self.event.bound { onset.min(0.03) } else { onset.min(self.length * 0.6).max(0.004) };
        if after <= 0.0 {
            0.0
        } else if after >= onset {
            1.0
        } else {
            0.5 - 0.5 * (std::f64::consts::PI * after / onset).cos()
        }
    }

    /// What is left of it once the players stop.
    fn sink(&self, after: f64, release: f64) -> f64 {
        let since = after - self.length;
        if since <= 0.0 {
            1.0
        } else if since >= release {
            0.0
        } else {
            0.5 + 0.5 * (std::f64::consts::PI * since / release).cos()
        }
    }

    fn accent(&self, after: f64) -> f32 {
        #[allow(clippy::cast_possible_truncation)] // decibels
        let fading = (-after.max(0.0) / 0.12).exp() as f32;
        self.event.accent * fading
    }

    fn semitones(&self, after: f64) -> f64 {
        match self.event.bend {
            Bend::None => 0.0,
            Bend::Slide { from, to, begins, ends } => {
                let share = ((after / self.length - begins) / (ends - begins).max(1e-3)).clamp(0.0, 1.0);
                from + (to - from) * share
            }
            Bend::Alternate { semitones, rate } => {
                if (after.max(0.0) * rate * 2.0) % 2.0 < 1.0 {
                    0.0
                } else {
                    semitones
                }
            }
        }
    }
}

/// Factor of a tremolo or flutter; its mean square is one.
fn shake(shake: Shake, after: f64, holder: &Holder) -> f64 {
    let (rate, depth) = match shake {
        Shake::None => return 1.0,
        Shake::Tremolo => (holder.shake_rate, 0.6),
        Shake::Flutter => (holder.shake_rate * 1.9, 0.7),
    };
    (1.0 + depth * (TAU * rate * after + holder.shake_phase).cos()) / (1.0f64 + depth * depth / 2.0).sqrt()
}

/// Adds a stretch of a periodic wave, its gain going in a straight line.
fn wave(samples: &mut [f32; BLOCK], begins: usize, mut phase: u32, step: u32, period: &[f32; PERIOD + 1], gains: (f32, f32)) {
    const SHIFT: u32 = 32 - PERIOD.trailing_zeros();
    const BELOW: u32 = (1 << SHIFT) - 1;
    if gains == (0.0, 0.0) {
        return;
    }
    #[allow(clippy::cast_precision_loss)] // a block
    let slope = (gains.1 - gains.0) / (BLOCK - begins).max(1) as f32;
    let mut gain = gains.0;
    for sample in &mut samples[begins..] {
        gain += slope;
        let at = (phase >> SHIFT) as usize & (PERIOD - 1);
        #[allow(clippy::cast_precision_loss)] // 21 bits fit
        let share = (phase & BELOW) as f32 * (1.0 / (1u32 << SHIFT) as f32);
        let value = period[at] + (period[at + 1] - period[at]) * share;
        *sample += value * gain;
        phase = phase.wrapping_add(step);
    }
}

/// A stroke as one player gives it.
pub(crate) struct Struck {
    stroke: Arc<Stroke>,
    start: i64,
    /// Samples read for each sample played.
    speed: f64,
    gain: f32,
    place: Place,
    /// Sample at which it is damped; and over how many.
    damped: i64,
    over: f32,
}

impl Struck {
    /// All strokes that a note brings, in the order of players.
    pub(crate) fn of(event: &Event, placed: &Placed, tables: &mut Tables) -> Vec<Self> {
        let mut random = Random::of(&[placed.seed, event.row, u64::from(event.part)]);
        let length = (event.end - event.start) / placed.pace;
        let strokes = hits(event, length, &mut random);
        let ways = colouring(event.ways);
        let mut all = Vec::new();
        for seat in seats(placed.seat, event.players, &mut random) {
            let late = if event.players > 1 { random.bell().abs() * 0.008 } else { 0.0 };
            let detune = if event.players > 1 { random.bell() * 4.0 } else { 0.0 };
            for hit in &strokes {
                let level = level_at(&event.levels, hit.after * placed.pace);
                #[allow(clippy::cast_possible_truncation)] // keys lie between 0 and 127
                let stroke = tables.stroke(placed.instrument, ways, hit.key.round().clamp(0.0, 132.0) as i16, level);
                // A roll has the power of the model; its strokes are never louder than a single one.
                let rolled = if hit.rolled { (-10.0 * (stroke.energy * ROLL as f32).log10()).min(0.0) } else { 0.0 };
                let off = (hit.key - hit.key.round()) * 100.0 + detune;
                let samples = |seconds: f64| {
                    #[allow(clippy::cast_possible_truncation)] // seconds of a rendering
                    let samples = (seconds * placed.rate).round() as i64;
                    samples
                };
                // What rings is damped only by the next rest of the hand; strings that are plucked ring a little on.
                let damped = if event.rings { f64::MAX } else { hit.damped.max(hit.after + 0.25) };
                all.push(Self {
                    start: placed.start + samples(hit.after + late),
                    speed: if off == 0.0 { 1.0 } else { (off / 1200.0).exp2() },
                    gain: amplitude(stroke.power_db + hit.db + rolled + event.accent * 0.7 - REFERENCE),
                    place: Place::of(seat),
                    damped: if damped > 1e6 { i64::MAX } else { placed.start + samples(damped) },
                    #[allow(clippy::cast_possible_truncation)] // samples
                    over: (f64::from(stroke.release) * placed.rate) as f32,
                    stroke,
                });
            }
        }
        all
    }

    /// Adds one block; `false` when it has died.
    pub(crate) fn add(&self, block: i64, bus: &mut Bus) -> bool {
        #[allow(clippy::cast_possible_wrap)] // a block
        let (size, length) = (BLOCK as i64, self.stroke.samples.len());
        if block + size <= self.start {
            return true;
        }
        let mut own = [0.0f32; BLOCK];
        let begins = usize::try_from(self.start - block).unwrap_or(0);
        #[allow(clippy::cast_precision_loss)] // samples of a rendering
        let first = (block - self.start).max(0) as f64 * self.speed;
        if first >= length as f64 {
            return false;
        }
        let samples = &self.stroke.samples;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // not negative
        if self.speed == 1.0 {
            let from = (first as usize).min(length);
            for (out, sample) in own[begins..].iter_mut().zip(&samples[from..]) {
                *out = sample * self.gain;
            }
        } else {
            for (offset, out) in own[begins..].iter_mut().enumerate() {
                let at = first + offset as f64 * self.speed;
                *out = cubic(samples, at) * self.gain;
            }
        }
        let mut alive = true;
        if block + size > self.damped {
            // Damping follows a quarter of a cosine squared, which begins and ends level.
            for (offset, out) in own.iter_mut().enumerate() {
                #[allow(clippy::cast_possible_wrap, clippy::cast_precision_loss)]
                let since = ((block + offset as i64 - self.damped).max(0) as f32 / self.over).min(1.0);
                *out *= 0.5 + 0.5 * (std::f32::consts::PI * since).cos();
            }
            #[allow(clippy::cast_precision_loss)]
            let since = (block + size - self.damped) as f32;
            alive = since < self.over;
        }
        bus.add(&own, self.place);
        alive
    }
}

/// One stroke of a note.
struct Hit {
    after: f64,
    damped: f64,
    key: f64,
    db: f32,
    /// Whether it is one of many without counting.
    rolled: bool,
}

/// The strokes of a note on an instrument that is struck or plucked.
fn hits(event: &Event, length: f64, random: &mut Random) -> Vec<Hit> {
    let run = |rate: f64| {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // bounded just after
        let count = (length * rate).round().max(1.0) as usize;
        count.min(MOST_STROKES)
    };
    #[allow(clippy::cast_precision_loss)] // strokes
    match (event.bend, event.shake) {
        (Bend::Slide { from, to, .. }, _) if (to - from).abs() >= 1.0 => {
            // A slide is a run over the strings or bars, one every whole tone or so, no faster than a hand.
            let steps = ((to - from).abs() / 1.7).round().max(1.0).min(length * RUN).max(1.0);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a few octaves
            let count = steps as usize;
            let hit = |step: usize| {
                let share = step as f64 / count as f64;
                let after = share * length;
                Hit { after, damped: after + 1.0, key: (event.key + from + (to - from) * share).round(), db: -3.0, rolled: false }
            };
            (0..count).map(hit).collect()
        }
        (Bend::Alternate { semitones, rate }, _) => {
            let count = run(rate * 2.0);
            let each = length / count as f64;
            let hit = |stroke: usize| {
                let after = each * stroke as f64;
                let off = if stroke.is_multiple_of(2) { 0.0 } else { semitones };
                Hit { after, damped: after + each * 2.0, key: event.key + off, db: -1.0, rolled: false }
            };
            (0..count).map(hit).collect()
        }
        (_, Shake::Tremolo) => {
            let count = run(ROLL);
            let each = length / count as f64;
            let mut strokes = Vec::with_capacity(count);
            for stroke in 0..count {
                let jitter = if stroke == 0 { 0.0 } else { random.swing() * 0.12 * each };
                #[allow(clippy::cast_possible_truncation)] // decibels
                let db = random.swing() as f32 * 0.8;
                strokes.push(Hit { after: each * stroke as f64 + jitter, damped: length, key: event.key, db, rolled: true });
            }
            strokes
        }
        _ => vec![Hit { after: 0.0, damped: length, key: event.key, db: 0.0, rolled: false }],
    }
}

fn amplitude(db: f32) -> f32 {
    10f32.powf(db / 20.0)
}

/// The value between samples, by a cubic through four of them.
fn cubic(samples: &[f32], at: f64) -> f32 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // not negative
    let index = at as usize;
    #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)]
    let x = (at - index as f64) as f32;
    let get = |index: usize| samples.get(index).copied().unwrap_or(0.0);
    let (a, b, c, d) = (if index == 0 { 0.0 } else { get(index - 1) }, get(index), get(index + 1), get(index + 2));
    let slope = (c - a) / 2.0;
    let next = (d - b) / 2.0;
    let (x2, x3) = (x * x, x * x * x);
    b * (2.0 * x3 - 3.0 * x2 + 1.0) + slope * (x3 - 2.0 * x2 + x) + c * (3.0 * x2 - 2.0 * x3) + next * (x3 - x2)
}
