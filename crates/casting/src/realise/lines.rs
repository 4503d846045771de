//! Melody, answer, bass, figures, pedals: one line, played at one or more octaves, thickened on request.

use ripieno_score::{Crotchets, Pitch, Step, Transposition};
use ripieno_texture::{Mode, NoteName};

use super::{CastNote, LineId, PhraseCast, Seat, Setting};
use crate::lineup::Chair;
use crate::notate::Like;
use crate::plan::{Doubling, PhrasePlan, Task, Thickening};
use crate::sketch::{SketchNote, Strand};

/// A pitch moved by octaves.
pub(super) fn by_octaves(pitch: Pitch, octaves: i32) -> Pitch {
    pitch.moved(Transposition { octaves: i8::try_from(octaves).unwrap_or(0), ..Transposition::NONE })
}

/// What it costs a player to have the notes at an octave.
fn octave_cost(chair: &Chair, notes: &[SketchNote], octaves: i32, wanted: i32) -> f64 {
    let mut cost = 3.0 * f64::from((octaves - wanted).abs());
    if notes.is_empty() {
        return cost;
    }
    let share = 1.0 / f64::from(u32::try_from(notes.len()).unwrap_or(u32::MAX));
    for note in notes {
        let key = note.key() + 12 * octaves;
        if !chair.reach.allows(key) {
            cost += 60.0 * share + 5.0;
        }
        cost += 2.0 * share * f64::from(chair.reach.strain(key));
    }
    cost
}

/// The octave at which a player has a line best.
pub(crate) fn best_octave(chair: &Chair, notes: &[SketchNote], wanted: i32) -> i32 {
    (-4..=4)
        .min_by(|&a, &b| {
            octave_cost(chair, notes, a, wanted)
                .total_cmp(&octave_cost(chair, notes, b, wanted))
                .then((a - wanted).abs().cmp(&(b - wanted).abs()))
        })
        .unwrap_or(0)
}

pub(super) fn lines(setting: &Setting<'_>, plan: &PhrasePlan, span: (Crotchets, Crotchets), cast: &mut PhraseCast) {
    for task in &plan.tasks {
        let Some(strand_at) = task.strand else { continue };
        let strand = &setting.sketch.strands[strand_at];
        if strand.is_chordal() {
            continue;
        }
        let notes = strand.between(span.0, span.1);
        let section = &setting.lineup.sections[task.section];
        for (place, &chair_at) in task.chairs.iter().enumerate() {
            let seat: Seat = (task.section, chair_at);
            let chair = &section.chairs[chair_at];
            let lower = task.doubling == Doubling::Octaves && place >= task.chairs.len().div_ceil(2);
            let wanted = task.octave.unwrap_or(0) - i32::from(lower);
            let octaves = if let Some((low, high)) = task.register {
                into_register(notes, (low, high))
            } else {
                best_octave(chair, notes, wanted)
            };
            let thick = if task.thickening == Thickening::None { 0 } else { place };
            let part = if thick == 0 {
                plain(setting, task, strand_at, strand, notes, chair, seat, octaves, cast)
            } else {
                thickened(setting, task, strand_at, notes, chair, seat, octaves, thick)
            };
            cast.notes.entry(seat).or_default().extend(part);
        }
    }
}

/// The octave that brings the middle of the notes nearest to a register.
fn into_register(notes: &[SketchNote], (low, high): (i32, i32)) -> i32 {
    let count = i32::try_from(notes.len()).unwrap_or(i32::MAX).max(1);
    let mean = notes.iter().map(SketchNote::key).sum::<i32>() / count;
    let middle = (low + high) / 2;
    (-5..=5).min_by_key(|octave| (mean + 12 * octave - middle).abs()).unwrap_or(0)
}

#[allow(clippy::too_many_arguments)] // one note needs all of this
fn plain(
    setting: &Setting<'_>,
    task: &Task,
    strand_at: usize,
    strand: &Strand,
    notes: &[SketchNote],
    chair: &Chair,
    seat: Seat,
    octaves: i32,
    cast: &mut PhraseCast,
) -> Vec<CastNote> {
    let mut folded = 0usize;
    let mut found = Vec::with_capacity(notes.len());
    for note in notes {
        let mut pitch = by_octaves(note.pitch, octaves);
        if !chair.reach.allows(pitch.semitones()) {
            // A single note beyond reach goes to the nearest octave within it.
            let fold = (-4..=4).filter(|&by| chair.reach.allows(pitch.semitones() + 12 * by)).min_by_key(|by: &i32| by.abs());
            if let Some(by) = fold {
                pitch = by_octaves(pitch, by);
                folded += 1;
            }
        }
        pitch = locked(setting, seat, note.onset).map_or(pitch, |key| crate::voicing::spelled(&[None; 12], key));
        let like = Some(Like { part: strand.part, note: note.written, plain: false });
        found.push(CastNote {
            onset: note.onset,
            duration: note.duration,
            pitch,
            line: LineId { strand: strand_at, voice: 0 },
            like,
            breath: false,
        });
    }
    if folded > 0 {
        let section = &setting.lineup.sections[task.section];
        let bar = setting.sketch.bar_name(crate::notate::bar_of(&setting.sketch.score.bars, notes[0].onset));
        let what = if folded == 1 { "1 note is".to_owned() } else { format!("{folded} notes are") };
        cast.remarks.push(format!(
            "{} {}, from bar {bar}: {what} beyond the player's reach and moved by an octave",
            section.name, chair.number
        ));
    }
    found
}

/// The key a person has set for a player at a moment.
pub(super) fn locked(setting: &Setting<'_>, seat: Seat, at: Crotchets) -> Option<i32> {
    setting.locks.iter().find(|lock| lock.seat == seat && lock.from <= at && at < lock.to).map(|lock| lock.key)
}

#[allow(clippy::too_many_arguments)] // as above
fn thickened(
    setting: &Setting<'_>,
    task: &Task,
    strand_at: usize,
    notes: &[SketchNote],
    chair: &Chair,
    seat: Seat,
    octaves: i32,
    place: usize,
) -> Vec<CastNote> {
    let below = match task.thickening {
        Thickening::Triads => (place - 1) % 2 + 1,
        _ => place,
    };
    let strand = &setting.sketch.strands[strand_at];
    notes
        .iter()
        .map(|note| {
            let top = by_octaves(note.pitch, octaves);
            let added = locked(setting, seat, note.onset)
                .map(|key| crate::voicing::spelled(&[None; 12], key))
                .unwrap_or_else(|| added_pitch(setting, task.thickening, note.onset, top, below));
            // Out of reach the player has the tune itself.
            let (pitch, voice) = if chair.reach.allows(added.semitones()) { (added, below) } else { (top, 0) };
            let like = Some(Like { part: strand.part, note: note.written, plain: false });
            CastNote {
                onset: note.onset,
                duration: note.duration,
                pitch,
                line: LineId { strand: strand_at, voice },
                like,
                breath: false,
            }
        })
        .collect()
}

/// The tone `below` places under a note: of the chord, or of the scale in thirds.
fn added_pitch(setting: &Setting<'_>, thickening: Thickening, at: Crotchets, top: Pitch, below: usize) -> Pitch {
    let chord = setting.sketch.harmony.chord_at(at);
    let class = u8::try_from(top.semitones().rem_euclid(12)).unwrap_or(0);
    let on_chord = chord.is_some_and(|chord| !matches!(chord.tone(class), ripieno_texture::ChordTone::Foreign));
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
                    return place(*tone, key);
                }
            }
        }
    }
    in_scale(setting, at, top, 2 * i32::try_from(below).unwrap_or(1))
}

/// A note name at a key.
fn place(name: NoteName, key: i32) -> Pitch {
    let octave = (key - name.step.semitones() - i32::from(name.alter)).div_euclid(12) - 1;
    Pitch::new(name.step, name.alter, i8::try_from(octave).unwrap_or(4))
}

/// The tone so many steps of the scale below.
fn in_scale(setting: &Setting<'_>, at: Crotchets, top: Pitch, steps: i32) -> Pitch {
    let position = top.staff_position() - steps;
    let step = Step::ALL[usize::try_from(position.rem_euclid(7)).unwrap_or(0)];
    let octave = i8::try_from(position.div_euclid(7)).unwrap_or(4);
    let alter = setting.sketch.harmony.key_at(at).map_or(0, |key| {
        let major: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];
        let minor: [i32; 7] = [0, 2, 3, 5, 7, 8, 10];
        let scale = if key.mode == Mode::Major { major } else { minor };
        let degree = (step.index() - key.tonic.step.index()).rem_euclid(7);
        let semitones = scale[usize::try_from(degree).unwrap_or(0)] + i32::from(key.tonic.class());
        (semitones - step.semitones() + 6).rem_euclid(12) - 6
    });
    Pitch::new(step, i8::try_from(alter).unwrap_or(0), octave).tamed()
}
