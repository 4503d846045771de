//! The room: six early reflections and a late field, one instance for each group.
//!
//! Rooms are those of the acoustic model. The late field is a feedback delay network of eight lines with an orthogonal mixing matrix; each line loses per
//! turn what the reverberation time asks for, at middle frequencies and, by a filter of one pole, at 4 kHz. Its energy at middle frequencies is what
//! `ripieno_acoustics::Room::late_db` gives at the distance, less what a listener does not take up; at others it follows the reverberation time, as
//! Sabine's formula has it.

use realfft::RealFftPlanner;
use ripieno_acoustics::level::power_of;

use crate::seats::{Listener, Seat, pan};

/// Samples worked on at a time.
pub(crate) const BLOCK: usize = 64;
const LINES: usize = 8;
/// Lengths of the lines in milliseconds, without common factors.
const LENGTHS: [f64; LINES] = [29.7, 37.1, 41.1, 43.7, 53.3, 61.9, 71.3, 79.9];
/// Speed of sound in metres a second at 20 degrees.
const SPEED: f64 = 343.0;
/// The middle of the octaves for which a reverberation time is told, and the high frequency of the acoustic model, in hertz.
const MIDDLE: f64 = 707.0;
const HIGH: f64 = 4000.0;
/// Below this nothing is left of a tail: 140 dB under full level.
const GONE: f32 = 1e-7;
/// From the conductor to the wall behind the orchestra, in metres.
const STAGE: f64 = 14.5;

/// A room, as a box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// Cubic metres.
    pub volume: f64,
    /// Seconds in which sound dies by 60 dB at middle frequencies; 0 for no room at all.
    pub reverberation: f64,
    /// The same at 4 kHz against that.
    pub high_ratio: f64,
    /// Width in metres.
    pub width: f64,
    /// Height in metres.
    pub height: f64,
}

impl From<&ripieno_acoustics::Room> for Room {
    /// A room of the acoustic model as a box 1.5 times as wide as high and 1.76 times as long as wide, as concert halls go.
    fn from(room: &ripieno_acoustics::Room) -> Self {
        let side = room.volume.max(0.0).cbrt();
        Self {
            volume: room.volume,
            reverberation: room.t60,
            high_ratio: room.high_ratio,
            width: 0.95 * side,
            height: 0.63 * side,
        }
    }
}

impl Room {
    /// No room: the direct sound alone.
    pub const NONE: Self = Self { volume: 0.0, reverberation: 0.0, high_ratio: 1.0, width: 0.0, height: 0.0 };

    /// The concert hall in which balance is weighed.
    #[must_use]
    pub fn hall() -> Self {
        Self::from(&ripieno_acoustics::Room::hall())
    }

    /// A room of the acoustic model by the name its data use: `hall`, `small-hall`, `studio`, `rehearsal`, `open`.
    #[must_use]
    pub fn named(id: &str) -> Option<Self> {
        ripieno_acoustics::Room::named(id).as_ref().map(Self::from)
    }

    /// Whether sound can be made in it.
    ///
    /// # Errors
    /// One sentence that names the value at fault.
    pub fn check(&self) -> Result<(), String> {
        if !(0.0..=20.0).contains(&self.reverberation) {
            return Err(format!("{} seconds of reverberation cannot be rendered; choose 0 (no room) to 20", self.reverberation));
        }
        let within = |value: f64, least: f64, most: f64| (least..=most).contains(&value);
        if self.reverberation > 0.0 && !within(self.volume, 30.0, 1e6) {
            return Err(format!("{} cubic metres are no room for players; choose 30 to 1000000", self.volume));
        }
        if self.reverberation > 0.0 && !within(self.high_ratio, 0.1, 1.0) {
            return Err(format!("{} is no share of a reverberation time at 4 kHz; choose 0.1 to 1", self.high_ratio));
        }
        if self.reverberation > 0.0 && !(within(self.width, 2.0, 200.0) && within(self.height, 2.0, 100.0)) {
            return Err(format!(
                "a room {} m wide and {} m high cannot be rendered; choose 2 to 200 m and 2 to 100 m",
                self.width, self.height
            ));
        }
        Ok(())
    }

    /// Mean square pressure of the late field that a listener so far from a source of power one takes up, at middle frequencies.
    #[must_use]
    pub fn late(&self, listener: Listener, distance: f64) -> f64 {
        if self.reverberation <= 0.0 {
            return 0.0;
        }
        let weighed = ripieno_acoustics::Room {
            name: String::new(),
            volume: self.volume,
            t60: self.reverberation,
            low_ratio: 1.0,
            high_ratio: self.high_ratio,
        };
        power_of(weighed.late_db(distance, MIDDLE)) * listener.late()
    }
}

/// Pressure gain of the direct sound at a distance, for a source of power one.
pub(crate) fn direct_gain(distance: f64) -> f64 {
    1.0 / ((4.0 * std::f64::consts::PI).sqrt() * distance.max(1.0))
}

#[derive(Debug, Clone, Copy)]
struct Tap {
    delay: usize,
    left: f32,
    right: f32,
}

/// The room as one group excites it.
pub(crate) struct RoomOfGroup {
    /// Input of the last while, for the reflections.
    past: Vec<f32>,
    /// State of the lines, one frame a sample.
    ring: Vec<[f32; LINES]>,
    mask: usize,
    at: usize,
    delays: [usize; LINES],
    gains: [f32; LINES],
    low: [f32; LINES],
    smooth: [f32; LINES],
    taps: Vec<Tap>,
    late: f32,
    /// Samples since anything came in; the room sleeps when all is gone.
    quiet: usize,
    asleep: bool,
}

impl RoomOfGroup {
    /// `late_unit` is the energy of the late field for an input of one, from [`late_energy`].
    pub(crate) fn new(room: &Room, listener: Listener, seat: Seat, rate: f64, late_unit: f64) -> Self {
        let taps = reflections(room, listener, seat, rate);
        let early: f64 = taps.iter().map(|tap| f64::from(tap.left).powi(2) + f64::from(tap.right).powi(2)).sum();
        // What the first reflections carry is not carried twice.
        let whole = room.late(listener, seat.distance);
        let late = (whole - early).max(whole * 0.5);
        let mut own = Self::bare(room, rate);
        #[allow(clippy::cast_possible_truncation)]
        if late_unit > 0.0 {
            own.late = (late / late_unit).sqrt() as f32;
        }
        own.taps = taps;
        own
    }

    fn bare(room: &Room, rate: f64) -> Self {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // milliseconds to samples
        let delays = LENGTHS.map(|length| (length * rate / 1000.0).round() as usize | 1);
        let seconds = |line: usize| {
            #[allow(clippy::cast_precision_loss)]
            let seconds = delays[line] as f64 / rate;
            seconds
        };
        let t60 = room.reverberation.max(0.05);
        // Per turn: the loss at middle frequencies, and how much more is lost at 4 kHz.
        let filters: [(f64, f64); LINES] = std::array::from_fn(|line| {
            let more = 10f64.powf(-3.0 * seconds(line) / t60 * (1.0 / room.high_ratio.clamp(0.1, 1.0) - 1.0));
            let (smooth, at_middle) = one_pole(more, rate);
            ((10f64.powf(-3.0 * seconds(line) / t60) / at_middle).min(0.9999), smooth)
        });
        let longest = delays.iter().copied().max().unwrap_or(0) + BLOCK;
        let size = longest.next_power_of_two().max((rate * 0.25) as usize).next_power_of_two();
        #[allow(clippy::cast_possible_truncation)]
        Self {
            past: vec![0.0; size],
            ring: vec![[0.0; LINES]; size],
            mask: size - 1,
            at: 0,
            delays,
            gains: filters.map(|(gain, _)| gain as f32),
            low: [0.0; LINES],
            smooth: filters.map(|(_, smooth)| smooth as f32),
            taps: Vec::new(),
            late: 1.0,
            quiet: 0,
            asleep: true,
        }
    }

    /// Adds what the room makes of `send` to both channels.
    pub(crate) fn add(&mut self, send: &[f32; BLOCK], left: &mut [f32; BLOCK], right: &mut [f32; BLOCK]) {
        if send.iter().all(|sample| *sample == 0.0) {
            if self.asleep {
                return;
            }
            self.quiet += BLOCK;
        } else {
            self.quiet = 0;
            self.asleep = false;
        }
        let begin = self.at;
        for (offset, sample) in send.iter().enumerate() {
            self.past[(begin + offset) & self.mask] = *sample;
        }
        for tap in &self.taps {
            for offset in 0..BLOCK {
                let sample = self.past[(begin + offset).wrapping_sub(tap.delay) & self.mask];
                left[offset] += sample * tap.left;
                right[offset] += sample * tap.right;
            }
        }
        let mut loudest = 0.0f32;
        for offset in 0..BLOCK {
            let at = begin + offset;
            let mut lines: [f32; LINES] =
                std::array::from_fn(|line| self.ring[at.wrapping_sub(self.delays[line]) & self.mask][line]);
            let input = send[offset];
            // Neighbouring lines lean to opposite sides, so that the field is wide.
            let l = (lines[0] - lines[2] + lines[4] - lines[6]) + 0.3 * (lines[1] + lines[5]);
            let r = (lines[1] - lines[3] + lines[5] - lines[7]) + 0.3 * (lines[0] + lines[4]);
            left[offset] += l * self.late;
            right[offset] += r * self.late;
            loudest = loudest.max(l.abs()).max(r.abs());
            let filters = self.gains.iter().zip(&self.smooth);
            for ((line, low), (gain, smooth)) in lines.iter_mut().zip(&mut self.low).zip(filters) {
                *low += smooth * (*line - *low);
                *line = *low * gain;
            }
            let sum = lines.iter().sum::<f32>() * (2.0 / LINES as f32);
            for line in &mut lines {
                *line = *line - sum + input;
            }
            self.ring[at & self.mask] = lines;
        }
        self.at = begin + BLOCK;
        if self.quiet > self.mask && loudest < GONE {
            self.ring.fill([0.0; LINES]);
            self.past.fill(0.0);
            self.low = [0.0; LINES];
            self.asleep = true;
        }
    }
}

/// The filter y += a (x - y) that lets `more` of 4 kHz through against the middle: a, and what it lets through at the middle.
fn one_pole(more: f64, rate: f64) -> (f64, f64) {
    let through = |a: f64, hz: f64| {
        let b = 1.0 - a;
        let turn = (std::f64::consts::TAU * hz.min(rate * 0.49) / rate).cos();
        a / (1.0 - 2.0 * b * turn + b * b).sqrt()
    };
    let (mut low, mut high) = (0.01, 1.0);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if through(middle, HIGH) / through(middle, MIDDLE) < more { low = middle } else { high = middle }
    }
    (high, through(high, MIDDLE))
}

/// Energy of the late field at middle frequencies, both channels together, for an input of one sample of size one.
pub(crate) fn late_energy(room: &Room, rate: f64) -> f64 {
    if room.reverberation <= 0.0 {
        return 0.0;
    }
    let mut bare = RoomOfGroup::bare(room, rate);
    let mut send = [0.0; BLOCK];
    send[0] = 1.0;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // seconds
    let length = ((room.reverberation * 1.2 * rate) as usize).max(BLOCK).next_power_of_two();
    let mut sides = [Vec::with_capacity(length), Vec::with_capacity(length)];
    for _ in 0..length / BLOCK {
        let (mut left, mut right) = ([0.0; BLOCK], [0.0; BLOCK]);
        bare.add(&send, &mut left, &mut right);
        send[0] = 0.0;
        sides[0].extend(left);
        sides[1].extend(right);
    }
    // One sample of size one has the same energy at all frequencies.
    let transform = RealFftPlanner::<f32>::new().plan_fft_forward(length);
    let mut spectrum = transform.make_output_vec();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // bins
    let bin = |hz: f64| (hz / rate * length as f64) as usize;
    let octave = bin(MIDDLE / std::f64::consts::SQRT_2)..bin(MIDDLE * std::f64::consts::SQRT_2) + 1;
    #[allow(clippy::cast_precision_loss)] // bins
    let count = octave.len() as f64;
    let mut energy = 0.0;
    for side in &mut sides {
        // Lengths are right, so it cannot fail; silence if it did.
        if transform.process(side, &mut spectrum).is_ok() {
            energy += spectrum[octave.clone()].iter().map(|value| f64::from(value.norm_sqr())).sum::<f64>() / count;
        }
    }
    energy
}

/// First reflections by mirror images in the side walls, the ceiling, the back wall and its two corners, in a box around the stage.
fn reflections(room: &Room, listener: Listener, seat: Seat, rate: f64) -> Vec<Tap> {
    if room.reverberation <= 0.0 {
        return Vec::new();
    }
    let (sin, cos) = seat.azimuth.to_radians().sin_cos();
    let (x, y, z) = (seat.distance * sin, seat.distance * cos, 1.2);
    let ears = 3.2;
    let side = room.width / 2.0;
    let back = (STAGE + listener.behind()).max(seat.distance + 2.0);
    let images = [
        (-2.0 * side - x, y, z, 0.75),
        (2.0 * side - x, y, z, 0.75),
        (x, y, 2.0 * room.height - z, 0.7),
        (x, 2.0 * back - y, z, 0.7),
        (-2.0 * side - x, 2.0 * back - y, z, 0.5),
        (2.0 * side - x, 2.0 * back - y, z, 0.5),
    ];
    let tap = |(x, y, z, kept): (f64, f64, f64, f64)| {
        let way = (x * x + y * y + (z - ears) * (z - ears)).sqrt();
        let (left, right) = pan(x.atan2(y).to_degrees());
        #[allow(clippy::cast_possible_truncation)]
        let gain = (direct_gain(way) * kept) as f32;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a positive delay
        let delay = ((way - seat.distance).max(0.5) / SPEED * rate) as usize;
        Tap { delay, left: left * gain, right: right * gain }
    };
    images.into_iter().map(tap).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;

    const RATE: f64 = 44_100.0;

    /// What the room answers to one sample of size one, both channels.
    fn answer(room: &Room, listener: Listener, distance: f64, seconds: f64) -> [Vec<f32>; 2] {
        let seat = Seat { azimuth: -20.0, distance };
        let mut own = RoomOfGroup::new(room, listener, seat, RATE, late_energy(room, RATE));
        let mut send = [0.0; BLOCK];
        send[0] = 1.0;
        let mut sides = [Vec::new(), Vec::new()];
        for _ in 0..(RATE * seconds) as usize / BLOCK {
            let (mut left, mut right) = ([0.0; BLOCK], [0.0; BLOCK]);
            own.add(&send, &mut left, &mut right);
            send[0] = 0.0;
            sides[0].extend(left);
            sides[1].extend(right);
        }
        sides
    }

    /// Mean energy of a stretch between two frequencies, against one sample of size one.
    fn between(side: &[f32], low: f64, high: f64) -> f64 {
        let mut input = side.to_vec();
        let transform = RealFftPlanner::<f32>::new().plan_fft_forward(input.len());
        let mut spectrum = transform.make_output_vec();
        transform.process(&mut input, &mut spectrum).unwrap();
        let bin = |hz: f64| (hz / RATE * side.len() as f64) as usize;
        let band = &spectrum[bin(low)..bin(high)];
        band.iter().map(|value| f64::from(value.norm_sqr())).sum::<f64>() / band.len() as f64
    }

    #[test]
    fn rooms_are_those_of_the_acoustic_model() {
        for id in ["hall", "small-hall", "studio", "rehearsal", "open"] {
            let (room, weighed) = (Room::named(id).unwrap(), ripieno_acoustics::Room::named(id).unwrap());
            assert_eq!((room.volume, room.reverberation, room.high_ratio), (weighed.volume, weighed.t60, weighed.high_ratio));
            assert_eq!(room.check(), Ok(()), "{id}");
        }
        assert_eq!(Room::named("hall"), Some(Room::hall()));
    }

    #[test]
    fn impossible_rooms_are_refused_in_a_sentence() {
        for (room, says) in [
            (Room { reverberation: f64::NAN, ..Room::hall() }, "reverberation"),
            (Room { reverberation: -1.0, ..Room::hall() }, "reverberation"),
            (Room { volume: 0.0, ..Room::hall() }, "cubic metres"),
            (Room { high_ratio: 2.0, ..Room::hall() }, "4 kHz"),
            (Room { width: f64::INFINITY, ..Room::hall() }, "wide"),
            (Room { height: 0.0, ..Room::hall() }, "high"),
        ] {
            assert!(room.check().unwrap_err().contains(says), "{room:?}");
        }
    }

    #[test]
    fn the_late_field_has_the_energy_that_is_weighed_at_every_place() {
        // Against `ripieno_acoustics::Room::late_db` (Sabine; Barron and Lee 1988), octave by octave; a cardioid takes up a third (4.8 dB less).
        for (id, listener) in [
            ("hall", Listener::Seat(15.0)),
            ("hall", Listener::Conductor),
            ("studio", Listener::Microphones),
            ("rehearsal", Listener::Conductor),
        ] {
            let (room, weighed) = (Room::named(id).unwrap(), ripieno_acoustics::Room::named(id).unwrap());
            let distance = 9.0 + listener.behind();
            let sides = answer(&room, listener, distance, 3.0);
            for hz in [500.0, 1000.0, 2000.0, 4000.0] {
                let heard: f64 = sides.iter().map(|side| between(side, hz / 1.414, hz * 1.414)).sum();
                let error = 10.0 * (heard / (power_of(weighed.late_db(distance, hz)) * listener.late())).log10();
                assert!(error.abs() < 2.0, "{id} {listener:?} {hz} Hz: {error:.2} dB");
            }
        }
    }

    #[test]
    fn it_dies_in_the_reverberation_time_at_middle_and_high_frequencies() {
        for id in ["hall", "studio"] {
            let (room, weighed) = (Room::named(id).unwrap(), ripieno_acoustics::Room::named(id).unwrap());
            let sides = answer(&room, Listener::Seat(15.0), 24.0, 10.0);
            for hz in [1000.0, 4000.0] {
                // From stretch to stretch of 0.2 s, after the first reflections; each of them 60 dB times its share of the reverberation time.
                let at = |slot: usize| -> f64 {
                    sides.iter().map(|side| between(&side[slot * 8820..(slot + 1) * 8820], hz / 1.414, hz * 1.414)).sum()
                };
                let slots = (weighed.t60_at(hz) / 2.0 / 0.2).round() as usize;
                let fall = 10.0 * (at(1) / at(1 + slots)).log10();
                let wanted = 60.0 * slots as f64 * 0.2 / weighed.t60_at(hz);
                assert!((fall / wanted - 1.0).abs() < 0.12, "{id} {hz} Hz: {fall:.1} dB where {wanted:.1} are due");
            }
            assert_eq!(sides[0].last(), Some(&0.0), "in the end all is silent");
        }
    }
}
