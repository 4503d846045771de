//! The same passage from a SoundFont 2 file of the user's choice, by the `rustysynth` crate.
//!
//! Each group has a synthesiser of its own; its sound is taken dry, put in its seat and into the same room as the built-in
//! models. What a SoundFont does not know is left out: hairpins inside a note, slides, the single player of a section.

use std::io::Read;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;

use ripieno_instruments::{Family, catalogue};
use ripieno_texture::Techniques;
use rustysynth::{SoundFont, Synthesizer, SynthesizerSettings};

use crate::passage::{Bend, Event, Passage, Shake, level_at};
use crate::render::{CHUNK, Chunk, Options, Selection, Stereo, check, is_in, is_over, lead, middle};
use crate::room::{BLOCK, RoomOfGroup, direct_gain, late_energy};
use crate::seats::pan;

/// Channels a synthesiser has, the tenth being for percussion.
const CHANNELS: usize = 16;
const DRUMS: usize = 9;
/// Notes at once in one group.
const POLYPHONY: usize = 128;
/// Strokes a second of a roll or trill.
const STROKES: f64 = 13.0;

/// A SoundFont that was read.
#[derive(Clone)]
pub struct Font(Arc<SoundFont>);

impl std::fmt::Debug for Font {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Font").field(&self.0.get_info().get_bank_name()).finish()
    }
}

impl Font {
    /// Reads a SoundFont 2 file.
    ///
    /// # Errors
    /// One sentence when it is none, or damaged.
    pub fn read(mut bytes: impl Read) -> Result<Self, String> {
        let no_font = |why: &dyn std::fmt::Display| format!("is no SoundFont 2 file that can be read ({why})");
        // The library takes places in its lists from the file unseen, and panics where a damaged one leads beyond them.
        let read = std::panic::catch_unwind(AssertUnwindSafe(|| SoundFont::new(&mut bytes)));
        let font = read.map_err(|_| no_font(&"it contradicts itself"))?.map_err(|error| no_font(&error))?;
        Ok(Self(Arc::new(font)))
    }
}

/// What a synthesiser is told, and when.
struct Order {
    frame: i64,
    /// Notes end before others begin.
    on: bool,
    channel: i32,
    /// Program of the channel, set anew with each note: a group may have more programs than there are channels.
    program: Option<i32>,
    key: i32,
    velocity: i32,
}

struct Playing {
    synthesiser: Synthesizer,
    /// The next one last.
    orders: Vec<Order>,
    left: f32,
    right: f32,
    send: f32,
    room: Option<RoomOfGroup>,
}

/// Renders from a SoundFont, chunk by chunk.
pub struct FontRenderer {
    groups: Vec<Playing>,
    at: i64,
    end: i64,
    rate: f64,
    gain: f32,
    over: bool,
}

impl FontRenderer {
    /// Prepares to render.
    ///
    /// # Errors
    /// One sentence when the options or the selection make no sense.
    pub fn new(passage: &Passage, font: &Font, selection: &Selection, options: &Options) -> Result<Self, String> {
        check(selection, options)?;
        let rate = f64::from(options.rate);
        let unit = late_energy(&options.room, rate);
        let (seats, lead) = (passage.seats(options.listener), lead(passage, selection, options.pace));
        let mut groups = Vec::new();
        for group in &selection.groups {
            let mut settings = SynthesizerSettings::new(i32::try_from(options.rate).unwrap_or(44_100));
            settings.block_size = BLOCK;
            settings.maximum_polyphony = POLYPHONY;
            settings.enable_reverb_and_chorus = false;
            let synthesiser =
                Synthesizer::new(&font.0, &settings).map_err(|error| format!("the SoundFont cannot play ({error})"))?;
            let seat = middle(group, &seats);
            let mine = |event: &&Event| group.parts.contains(&usize::from(event.part)) && is_in(event, selection);
            let frame = |seconds: f64| {
                let after = (seconds - selection.from) / options.pace + lead;
                #[allow(clippy::cast_possible_truncation)] // bounded by `check`
                let frame = (after.max(0.0) * rate).round() as i64;
                frame
            };
            let mut programs: Vec<i32> = Vec::new();
            let mut orders = Vec::new();
            for event in passage.events.iter().filter(mine) {
                let voice = voice(passage, event);
                let channel = channel(&voice, &mut programs);
                let program = voice.drum.is_none().then_some(voice.program);
                let key = voice.drum.unwrap_or(voice.key);
                let mut strike = |from: f64, to: f64, key: i32, level: f32| {
                    #[allow(clippy::cast_possible_truncation)] // clamped
                    let velocity = (12.0 + 14.0 * level).round().clamp(1.0, 127.0) as i32;
                    let (from, to) = (frame(from), frame(to.min(selection.to)));
                    orders.push(Order { frame: from, on: true, channel, program, key, velocity });
                    orders.push(Order { frame: to.max(from + 1), on: false, channel, program, key, velocity });
                };
                strokes(event, options.pace, |from, to, off| {
                    strike(from, to, key + off, level_at(&event.levels, from - event.start) + event.accent / 5.0);
                });
            }
            orders.sort_by_key(|order| (order.frame, order.on, order.channel, order.key));
            orders.reverse();
            let (left, right) = pan(seat.azimuth);
            // A SoundFont knows no distance: all sit as far away as the strings, and the room answers as to them.
            #[allow(clippy::cast_possible_truncation)] // sound is single precision
            let send = (1.0 / direct_gain(6.5)) as f32;
            let room =
                (options.room.reverberation > 0.0).then(|| RoomOfGroup::new(&options.room, options.listener, seat, rate, unit));
            groups.push(Playing { synthesiser, orders, left, right, send, room });
        }
        #[allow(clippy::cast_possible_truncation)] // bounded by `check`
        let end = (((selection.to - selection.from) / options.pace + lead) * rate) as i64;
        Ok(Self { groups, at: 0, end, rate, gain: options.gain.unwrap_or(0.35), over: false })
    }

    /// Frames of the selection without its tail.
    #[must_use]
    pub fn frames(&self) -> u64 {
        u64::try_from(self.end).unwrap_or(0)
    }
}

impl Iterator for FontRenderer {
    type Item = Chunk;

    fn next(&mut self) -> Option<Chunk> {
        if self.over {
            return None;
        }
        let first = u64::try_from(self.at).unwrap_or(0);
        let mut stems = vec![Stereo::default(); self.groups.len()];
        #[allow(clippy::cast_possible_wrap)] // a block
        let size = BLOCK as i64;
        for _ in 0..CHUNK {
            for (playing, stem) in self.groups.iter_mut().zip(&mut stems) {
                playing.block(self.at + size, self.gain, stem);
            }
            self.at += size;
        }
        self.over =
            is_over(self.at - self.end, self.rate, &stems, || self.groups.iter().all(|playing| playing.orders.is_empty()));
        Some(Chunk { first, stems })
    }
}

impl Playing {
    fn block(&mut self, until: i64, gain: f32, stem: &mut Stereo) {
        while let Some(order) = self.orders.pop_if(|order| order.frame < until) {
            if order.on {
                if let Some(program) = order.program {
                    self.synthesiser.process_midi_message(order.channel, 0xC0, program, 0);
                }
                self.synthesiser.note_on(order.channel, order.key, order.velocity);
            } else {
                self.synthesiser.note_off(order.channel, order.key);
            }
        }
        let (mut left, mut right) = ([0.0f32; BLOCK], [0.0f32; BLOCK]);
        self.synthesiser.render(&mut left, &mut right);
        let mono: [f32; BLOCK] = std::array::from_fn(|offset| (left[offset] + right[offset]) * std::f32::consts::FRAC_1_SQRT_2);
        left = mono.map(|sample| sample * self.left);
        right = mono.map(|sample| sample * self.right);
        if let Some(room) = &mut self.room {
            room.add(&mono.map(|sample| sample * self.send), &mut left, &mut right);
        }
        stem.left.extend(left.iter().map(|sample| sample * gain));
        stem.right.extend(right.iter().map(|sample| sample * gain));
    }
}

/// What General MIDI calls for.
struct Voice {
    /// 0 to 127.
    program: i32,
    /// The key of percussion without pitch.
    drum: Option<i32>,
    key: i32,
}

fn voice(passage: &Passage, event: &Event) -> Voice {
    let id = passage.instruments.get(event.instrument).map_or("", String::as_str);
    let known = catalogue().by_id(id);
    let strings = known.is_some_and(|one| one.family == Family::Strings);
    let own = known.and_then(|one| one.program).map_or(48, |program| i32::from(program) - 1);
    // Programs of General MIDI 1 (MIDI Association): 44 tremolo, 45 pizzicato, 48 string ensemble, 59 muted trumpet.
    let program = match event.ways {
        ways if strings && ways.contains(Techniques::PLUCKED) => 45,
        ways if strings && ways.contains(Techniques::TREMOLO) => 44,
        ways if own == 56 && ways.contains(Techniques::MUTED) => 59,
        _ if strings && event.players > 3 => 48,
        _ => own,
    };
    let drum = known.filter(|one| !one.pitched).map(|one| i32::from(one.drum_key.unwrap_or(38)));
    #[allow(clippy::cast_possible_truncation)] // a key
    let key = event.key.round() as i32;
    Voice { program, drum, key }
}

fn channel(voice: &Voice, programs: &mut Vec<i32>) -> i32 {
    if voice.drum.is_some() {
        return i32::try_from(DRUMS).unwrap_or(0);
    }
    let place = programs.iter().position(|known| *known == voice.program).unwrap_or_else(|| {
        programs.push(voice.program);
        programs.len() - 1
    });
    let place = place % (CHANNELS - 1);
    i32::try_from(if place >= DRUMS { place + 1 } else { place }).unwrap_or(0)
}

/// Calls `strike` with (from, to, semitones off) for each stroke of a note.
fn strokes(event: &Event, pace: f64, mut strike: impl FnMut(f64, f64, i32)) {
    let length = event.end - event.start;
    let off = match event.bend {
        #[allow(clippy::cast_possible_truncation)] // a few semitones
        Bend::Alternate { semitones, .. } => Some(semitones.round() as i32),
        // Ensembles have a program for their tremolo; who is struck is struck again and again.
        _ if event.shake == Shake::Tremolo && event.players < 4 => Some(0),
        _ => None,
    };
    let Some(off) = off else { return strike(event.start, event.end, 0) };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // bounded by the longest note
    let count = ((length / pace * STROKES).round().max(1.0) as u32).min(4000);
    let each = length / f64::from(count);
    for stroke in 0..count {
        let from = event.start + each * f64::from(stroke);
        strike(from, from + each * 0.95, if stroke % 2 == 0 { 0 } else { off });
    }
}
