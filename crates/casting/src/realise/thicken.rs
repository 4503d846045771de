//! A line made thicker: players below the first have tones under it.
//!
//! Common practice on writing in thirds and sixths (handbooks of counterpoint and orchestration agree; from memory): the second voice goes a third below and takes its accidentals
//! from the chord; where the third is no tone of the chord on a beat, it goes to the tone of the chord that is nearest to it, a fourth, a sixth or a fifth below. Between beats thirds may pass.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Pitch, Step};
use ripieno_texture::{ChordTone, Mode, NoteName, Role};

use super::layers::{beat_of, is_on_beat};
use super::lines::{by_octaves, locked};
use super::{CastNote, LineId, Seat, Setting};
use crate::plan::{Task, Thickening};
use crate::sketch::Strand;

/// Steps of the scale below a note, in the order in which they are tried: third, fourth, sixth, fifth.
const BELOW: [i32; 4] = [2, 3, 5, 4];

/// What a player has who thickens a line as the so-manieth below its first player (1: the next), by what that one has. Thirds are shared out: the upper half of the players, and one more of an
/// odd number, have the line, the others what is below it; of chords two tones are below, further players double them.
pub(super) fn thickened(setting: &Setting<'_>, task: &Task, leading: &[CastNote], seat: Seat, place: usize) -> Vec<CastNote> {
    let below = match task.thickening {
        Thickening::Diatonic => usize::from(place >= task.chairs.len().div_ceil(2)),
        Thickening::Triads => (place - 1) % 2 + 1,
        Thickening::None | Thickening::ChordTones => place,
    };
    let reach = setting.lineup.sections[seat.0].chairs[seat.1].reach;
    let own = |note: &CastNote| {
        let pitch = locked(setting, seat, note.onset)
            .map(|key| crate::voicing::spelled(&[None; 12], key))
            .unwrap_or_else(|| added_pitch(setting, task.thickening, note, below));
        // Out of reach the player has the line itself, at the octave that is nearest.
        let reached = |key: i32| reach.allows(key);
        if reached(pitch.semitones()) {
            return CastNote { pitch, line: LineId { voice: below, ..note.line }, ..*note };
        }
        let by = [0, -1, 1, -2, 2].into_iter().find(|by| reached(note.key() + 12 * by)).unwrap_or(0);
        CastNote { pitch: by_octaves(note.pitch, by), ..*note }
    };
    leading.iter().map(own).collect()
}

/// The tone `below` places under a note: of the chord, or of the scale where that fits the chord.
fn added_pitch(setting: &Setting<'_>, thickening: Thickening, note: &CastNote, below: usize) -> Pitch {
    let top = note.pitch;
    if below == 0 {
        return top;
    }
    let chord = setting.sketch.harmony.chord_at(note.onset);
    let on_chord = chord.is_some_and(|chord| !matches!(chord.tone(class(top)), ChordTone::Foreign));
    if let (true, Some(chord)) = (thickening != Thickening::Diatonic && on_chord, chord) {
        let tones = chord.tones();
        let mut key = top.semitones();
        let mut left = below;
        while left > 0 && key > 12 {
            key -= 1;
            // Nearer than a minor third the colours would rub.
            let hit = tones.iter().find(|tone| i32::from(tone.class()) == key.rem_euclid(12));
            if let Some(tone) = hit
                && (top.semitones() - key >= 3)
            {
                left -= 1;
                if left == 0 {
                    return named(*tone, key);
                }
            }
        }
    }
    let heard = grounds(setting, note);
    (0..below).fold(top, |upper, _| under(setting, note.onset, &heard, upper))
}

/// The voice under another: the nearest of third, fourth, sixth and fifth that is a tone of every chord which sounds on the beats of the note, or of as many as can be.
fn under(setting: &Setting<'_>, at: Crotchets, heard: &[Ground], upper: Pitch) -> Pitch {
    let tone = |steps: i32| in_scale(setting, at, heard, upper, steps);
    let clashes = |pitch: Pitch| heard.iter().filter(|ground| ground.weighs && !ground.names.contains_key(&class(pitch))).count();
    let best = BELOW.into_iter().map(tone).enumerate().min_by_key(|(order, pitch)| (clashes(*pitch), *order));
    best.map_or(upper, |(_, pitch)| pitch)
}

fn class(pitch: Pitch) -> u8 {
    u8::try_from(pitch.semitones().rem_euclid(12)).unwrap_or(0)
}

/// A note name at a key.
fn named(name: NoteName, key: i32) -> Pitch {
    let octave = (key - name.step.semitones() - i32::from(name.alter)).div_euclid(12) - 1;
    Pitch::new(name.step, name.alter, i8::try_from(octave).unwrap_or(4))
}

/// The chord under a note at a moment.
#[derive(Debug, Default)]
struct Ground {
    /// Its tones, by pitch class.
    names: BTreeMap<u8, NoteName>,
    /// A note that is none of them would be heard against it: on a beat, or where the chord changes under a note that is held.
    weighs: bool,
}

/// The chords that sound under a note: where it begins, and wherever a beat begins while it lasts.
fn grounds(setting: &Setting<'_>, note: &CastNote) -> Vec<Ground> {
    let mut found = vec![Ground { names: names_at(setting, note.onset), weighs: is_on_beat(setting, note.onset) }];
    let chords = setting.sketch.strands.iter().filter(|strand| strand.is_chordal());
    let mut later: Vec<Crotchets> = chords
        .flat_map(|strand| strand.between(note.onset, note.end()))
        .map(|other| other.onset)
        .filter(|&at| at > note.onset && beat_of(setting, at) != beat_of(setting, note.onset))
        .collect();
    later.sort_unstable();
    later.dedup();
    found.extend(later.into_iter().map(|at| Ground { names: names_at(setting, at), weighs: true }));
    found.retain(|ground| !ground.names.is_empty());
    found
}

/// The tones of the chord at a moment: what chord strands have, with bass and pedal where that is less than two tones; and all of the chord that is read there if these belong to it.
fn names_at(setting: &Setting<'_>, at: Crotchets) -> BTreeMap<u8, NoteName> {
    let mut names: BTreeMap<u8, NoteName> = BTreeMap::new();
    let mut collect = |wanted: &dyn Fn(&Strand) -> bool| {
        for strand in setting.sketch.strands.iter().filter(|strand| wanted(strand)) {
            for note in strand.sounding(at) {
                names.entry(class(note.pitch)).or_insert_with(|| NoteName::of(note.pitch));
            }
        }
        names.len()
    };
    if collect(&Strand::is_chordal) < 2 {
        collect(&|strand| matches!(strand.role, Role::Bass | Role::Pedal));
    }
    if let Some(chord) = setting.sketch.harmony.chord_at(at)
        && names.keys().all(|class| !matches!(chord.tone(*class), ChordTone::Foreign))
    {
        for tone in chord.tones() {
            names.entry(tone.class()).or_insert(tone);
        }
    }
    names
}

/// The tone so many steps below, with the accidental it has in the chord, else in the key.
fn in_scale(setting: &Setting<'_>, at: Crotchets, heard: &[Ground], top: Pitch, steps: i32) -> Pitch {
    let position = top.staff_position() - steps;
    let step = Step::ALL[usize::try_from(position.rem_euclid(7)).unwrap_or(0)];
    let octave = i8::try_from(position.div_euclid(7)).unwrap_or(4);
    let in_chord = heard.first().and_then(|ground| ground.names.values().find(|name| name.step == step)).map(|name| name.alter);
    let in_key = || {
        setting.sketch.harmony.key_at(at).map_or(0, |key| {
            let major: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];
            let minor: [i32; 7] = [0, 2, 3, 5, 7, 8, 10];
            let scale = if key.mode == Mode::Major { major } else { minor };
            let degree = (step.index() - key.tonic.step.index()).rem_euclid(7);
            let semitones = scale[usize::try_from(degree).unwrap_or(0)] + i32::from(key.tonic.class());
            i8::try_from((semitones - step.semitones() + 6).rem_euclid(12) - 6).unwrap_or(0)
        })
    };
    Pitch::new(step, in_chord.unwrap_or_else(in_key), octave).tamed()
}
