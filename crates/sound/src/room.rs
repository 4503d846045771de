//! The room: six early reflections and a late field, one instance for each group.
//!
//! The late field is a feedback delay network of eight lines with an orthogonal mixing matrix; each line loses per turn what
//! the reverberation time asks for, more at high frequencies. Its energy is set by room acoustics: the reverberant field of a
//! source of power W has the mean square pressure of W times 4 over the absorbing area A = 0.161 V / T (Sabine), less what the
//! microphones, cardioids turned to the stage, reject (a third passes).

use crate::seats::{Seat, pan};

/// Samples worked on at a time.
pub(crate) const BLOCK: usize = 64;
const LINES: usize = 8;
/// Lengths of the lines in milliseconds, without common factors.
const LENGTHS: [f64; LINES] = [29.7, 37.1, 41.1, 43.7, 53.3, 61.9, 71.3, 79.9];
/// Speed of sound in metres a second at 20 degrees.
const SPEED: f64 = 343.0;
/// Mean square of a cardioid over all directions.
const CARDIOID: f64 = 1.0 / 3.0;
/// Below this nothing is left of a tail: 140 dB under full level.
const GONE: f32 = 1e-7;

/// A room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// Cubic metres.
    pub volume: f64,
    /// Seconds in which sound dies by 60 dB at middle frequencies; 0 for no room at all.
    pub reverberation: f64,
    /// Width in metres.
    pub width: f64,
    /// Height in metres.
    pub height: f64,
}

impl Room {
    /// The concert hall in which balance is weighed: 18 000 cubic metres, 2 seconds (`hall` of the acoustic model's rooms).
    pub const HALL: Self = Self { volume: 18_000.0, reverberation: 2.0, width: 24.0, height: 16.0 };
    /// Its recording stage: 5 000 cubic metres, 1.1 seconds (`studio`).
    pub const STAGE: Self = Self { volume: 5_000.0, reverberation: 1.1, width: 20.0, height: 12.0 };
    /// No room: the direct sound alone.
    pub const NONE: Self = Self { volume: 0.0, reverberation: 0.0, width: 0.0, height: 0.0 };

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
        if self.reverberation > 0.0 && !(within(self.width, 2.0, 200.0) && within(self.height, 2.0, 100.0)) {
            return Err(format!(
                "a room {} m wide and {} m high cannot be rendered; choose 2 to 200 m and 2 to 100 m",
                self.width, self.height
            ));
        }
        Ok(())
    }

    /// Mean square pressure of the reverberant field at the microphones for a source of power one.
    #[must_use]
    pub fn reverberant(&self) -> f64 {
        if self.reverberation <= 0.0 { 0.0 } else { 4.0 * self.reverberation / (0.161 * self.volume) * CARDIOID }
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
    smooth: f32,
    taps: Vec<Tap>,
    late: f32,
    /// Samples since anything came in; the room sleeps when all is gone.
    quiet: usize,
    asleep: bool,
}

impl RoomOfGroup {
    /// `late_unit` is the energy of the late field for an input of one, from [`late_energy`].
    pub(crate) fn new(room: &Room, seat: Seat, rate: f64, late_unit: f64) -> Self {
        let taps = reflections(room, seat, rate);
        let early: f64 = taps.iter().map(|tap| f64::from(tap.left).powi(2) + f64::from(tap.right).powi(2)).sum();
        // What the first reflections carry is not carried twice.
        let late = (room.reverberant() - early).max(room.reverberant() * 0.5);
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
        let turn = |delay: &usize| {
            #[allow(clippy::cast_precision_loss)]
            let seconds = *delay as f64 / rate;
            10f64.powf(-3.0 * seconds / room.reverberation.max(0.05))
        };
        #[allow(clippy::cast_possible_truncation)]
        let gains = std::array::from_fn(|line| turn(&delays[line]) as f32);
        let longest = delays.iter().copied().max().unwrap_or(0) + BLOCK;
        let size = longest.next_power_of_two().max((rate * 0.25) as usize).next_power_of_two();
        #[allow(clippy::cast_possible_truncation)]
        Self {
            past: vec![0.0; size],
            ring: vec![[0.0; LINES]; size],
            mask: size - 1,
            at: 0,
            delays,
            gains,
            low: [0.0; LINES],
            smooth: (1.0 - (-std::f64::consts::TAU * 6000.0 / rate).exp()) as f32,
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
            for ((line, low), gain) in lines.iter_mut().zip(&mut self.low).zip(&self.gains) {
                *low += self.smooth * (*line - *low);
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

/// Energy of the late field, both channels together, for an input of one sample of size one.
pub(crate) fn late_energy(room: &Room, rate: f64) -> f64 {
    if room.reverberation <= 0.0 {
        return 0.0;
    }
    let mut bare = RoomOfGroup::bare(room, rate);
    let mut energy = 0.0;
    let mut send = [0.0; BLOCK];
    send[0] = 1.0;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // seconds
    let blocks = (room.reverberation * 1.2 * rate) as usize / BLOCK;
    for _ in 0..blocks {
        let (mut left, mut right) = ([0.0; BLOCK], [0.0; BLOCK]);
        bare.add(&send, &mut left, &mut right);
        send[0] = 0.0;
        energy += left.iter().chain(&right).map(|sample| f64::from(*sample).powi(2)).sum::<f64>();
    }
    energy
}

/// First reflections by mirror images in the side walls, the ceiling, the back wall and its two corners, in a box around the stage.
fn reflections(room: &Room, seat: Seat, rate: f64) -> Vec<Tap> {
    if room.reverberation <= 0.0 {
        return Vec::new();
    }
    let (sin, cos) = seat.azimuth.to_radians().sin_cos();
    let (x, y, z) = (seat.distance * sin, seat.distance * cos, 1.2);
    let ears = 3.2;
    let side = room.width / 2.0;
    let back = 18.0f64.max(seat.distance + 2.0);
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

    /// Plays one sample of size one and returns (energy in each 50 ms, last sample).
    fn answer(room: &Room) -> (Vec<f64>, f32) {
        let rate = 44_100.0;
        let seat = Seat { azimuth: -20.0, distance: 9.0 };
        let mut own = RoomOfGroup::new(room, seat, rate, late_energy(room, rate));
        let mut send = [0.0; BLOCK];
        send[0] = 1.0;
        let (mut energy, mut last) = (vec![0.0; 200], 0.0);
        for block in 0..(rate * 10.0) as usize / BLOCK {
            let (mut left, mut right) = ([0.0; BLOCK], [0.0; BLOCK]);
            own.add(&send, &mut left, &mut right);
            send[0] = 0.0;
            let slot = block * BLOCK / 2205;
            energy[slot.min(199)] += left.iter().chain(&right).map(|s| f64::from(*s).powi(2)).sum::<f64>();
            last = left[BLOCK - 1];
        }
        (energy, last)
    }

    #[test]
    fn the_rooms_are_those_in_which_balance_is_weighed() {
        for (room, id) in [(Room::HALL, "hall"), (Room::STAGE, "studio"), (Room::NONE, "open")] {
            let weighed = ripieno_acoustics::Room::named(id).unwrap();
            assert_eq!((room.volume, room.reverberation), (weighed.volume, weighed.t60), "{id}");
            assert_eq!(room.check(), Ok(()));
        }
    }

    #[test]
    fn impossible_rooms_are_refused_in_a_sentence() {
        for (room, says) in [
            (Room { reverberation: f64::NAN, ..Room::HALL }, "reverberation"),
            (Room { reverberation: -1.0, ..Room::HALL }, "reverberation"),
            (Room { volume: 0.0, ..Room::HALL }, "cubic metres"),
            (Room { width: f64::INFINITY, ..Room::HALL }, "wide"),
            (Room { height: 0.0, ..Room::HALL }, "high"),
        ] {
            assert!(room.check().unwrap_err().contains(says), "{room:?}");
        }
    }

    #[test]
    fn the_field_has_the_energy_of_sabine_and_the_reverberation_time() {
        for room in [Room::HALL, Room::STAGE] {
            let (energy, last) = answer(&room);
            let total: f64 = energy.iter().sum();
            let error = 10.0 * (total / room.reverberant()).log10();
            assert!(error.abs() < 1.0, "{error} dB");
            // Slope between 0.2 s and 0.2 s + half the reverberation time, where high frequencies have gone already.
            let half = (room.reverberation / 2.0 / 0.05).round() as usize;
            let fall = 10.0 * (energy[4] / energy[4 + half]).log10();
            assert!((26.0..40.0).contains(&fall), "{fall} dB in half the time");
            assert_eq!(last, 0.0, "in the end all is silent");
        }
    }
}
