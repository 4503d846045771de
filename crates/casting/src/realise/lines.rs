//! Melody, answer, bass, figures, pedals: one line, played at one or more octaves, thickened on request.

use std::collections::BTreeMap;

use ripieno_players::slide::{FIGURE, toil, trombone};
use ripieno_players::{Level, Limits};
use ripieno_score::{Crotchets, Pitch, Step, Transposition};
use ripieno_texture::{Mode, NoteName, Role};

use super::floor::Floor;
use super::{CastNote, LineId, PhraseCast, Seat, Setting, span_of};
use crate::lineup::Chair;
use crate::notate::Like;
use crate::plan::{Doubling, PhrasePlan, Task, Thickening};
use crate::sketch::{SketchNote, Strand};

/// A pitch moved by octaves.
pub(super) fn by_octaves(pitch: Pitch, octaves: i32) -> Pitch {
    pitch.moved(Transposition { octaves: i8::try_from(octaves).unwrap_or(0), ..Transposition::NONE })
}

/// How a note that has to sound suits a player at a key: what is beyond reach, and what would lie below the bass.
struct Place<'a> {
    chair: &'a Chair,
    floor: &'a Floor,
    /// For each note whether the sketch itself has it below its bass.
    lowest: &'a [bool],
    /// The notes are not the sketch's as they stand there: slurs are left out.
    plain: bool,
    /// What an octave down and one up cost: the programme has chosen the octave of lines, and a bass an octave up lies among the chords.
    leaves: (f64, f64),
}

impl Place<'_> {
    fn beyond(&self, key: i32) -> bool {
        !self.chair.reach.allows(key)
    }

    fn under(&self, at: usize, note: &SketchNote, key: i32) -> bool {
        !self.lowest.get(at).copied().unwrap_or(true) && self.floor.is_under(key, note.onset, note.end())
    }
}

/// What it costs a player to have the notes at an octave. A note or two beyond reach do not move a whole phrase: the share counts by its square.
fn octave_cost(place: &Place<'_>, notes: &[SketchNote], octaves: i32, wanted: i32) -> f64 {
    let each = if octaves > wanted { place.leaves.1 } else { place.leaves.0 };
    let mut cost = each * f64::from((octaves - wanted).abs());
    if notes.is_empty() {
        return cost;
    }
    let share = 1.0 / f64::from(u32::try_from(notes.len()).unwrap_or(u32::MAX));
    let mut amiss = 0.0;
    for (at, note) in notes.iter().enumerate() {
        let key = note.key() + 12 * octaves;
        if place.beyond(key) || place.under(at, note, key) {
            amiss += share;
        } else {
            cost += 2.0 * share * f64::from(place.chair.reach.strain(key));
        }
    }
    cost + 70.0 * amiss * amiss
}

/// What it costs a line of a role to be an octave lower and an octave higher than planned, beside semitones of strain: tune and answer keep their octave throughout, and a bass an octave up
/// lies among the chords (common practice; the prices are ours).
const fn leaves(role: Role) -> (f64, f64) {
    match role {
        Role::Melody | Role::Countermelody => (10.0, 10.0),
        Role::Bass => (3.0, 10.0),
        _ => (3.0, 3.0),
    }
}

/// The octave at which a player has a line best, whatever the bass does.
pub(crate) fn best_octave(chair: &Chair, role: Role, notes: &[SketchNote], wanted: i32) -> i32 {
    octave_of(&Place { chair, floor: &Floor::default(), lowest: &[], plain: false, leaves: leaves(role) }, notes, wanted)
}

/// The same beside a bass.
fn octave_of(place: &Place<'_>, notes: &[SketchNote], wanted: i32) -> i32 {
    (-4..=4)
        .min_by(|&a, &b| {
            octave_cost(place, notes, a, wanted)
                .total_cmp(&octave_cost(place, notes, b, wanted))
                .then((a - wanted).abs().cmp(&(b - wanted).abs()))
        })
        .unwrap_or(0)
}

/// Octaves by which single notes leave the octave of their line.
const FOLDS: [i32; 5] = [0, -1, 1, -2, 2];

/// By how many octaves each note of a line leaves the octave the player has it at: none where everything suits. Where a note does not, so much of the line moves
/// with it as leads on smoothly: the change lies at a rest or where the leap is least (handbook rule from memory; the prices are ours).
fn folds(place: &Place<'_>, notes: &[SketchNote], octaves: i32) -> Vec<i32> {
    let key = |at: usize, fold: i32| notes[at].key() + 12 * (octaves + fold);
    let suits = |at: usize| !place.beyond(key(at, 0)) && !place.under(at, &notes[at], key(at, 0));
    if (0..notes.len()).all(suits) {
        return vec![0; notes.len()];
    }
    let own = |at: usize, fold: i32| {
        let key = key(at, fold);
        let amiss = if place.beyond(key) {
            200.0
        } else if place.under(at, &notes[at], key) {
            60.0
        } else {
            0.0
        };
        amiss + 0.8 * f64::from(fold.abs())
    };
    let change = |at: usize, a: i32, b: i32| {
        if a == b {
            return 0.0;
        }
        let (before, now) = (&notes[at - 1], &notes[at]);
        let leap = f64::from((key(at, b) - key(at - 1, a)).abs());
        let rest = if now.onset - before.end() >= Crotchets::new(1, 2).unwrap_or(Crotchets::ONE) { 2.0 } else { 0.0 };
        // After the last note of an idea the way is free; a leap of up to a sixth is one like others.
        3.0 - rest + 0.6 * (leap - 9.0).max(0.0)
    };
    let mut ways: Vec<[(f64, usize); FOLDS.len()]> = Vec::with_capacity(notes.len());
    for at in 0..notes.len() {
        let mut row = [(0.0, 0); FOLDS.len()];
        for (n, &fold) in FOLDS.iter().enumerate() {
            let best = ways.last().map(|last| {
                let from = |m: usize| last[m].0 + change(at, FOLDS[m], fold);
                let best = (0..FOLDS.len()).min_by(|&a, &b| from(a).total_cmp(&from(b))).unwrap_or(0);
                (from(best), best)
            });
            let (cost, from) = best.unwrap_or((0.0, 0));
            row[n] = (cost + own(at, fold), from);
        }
        ways.push(row);
    }
    let mut found = vec![0; notes.len()];
    let mut here = ways.last().map_or(0, |last| (0..FOLDS.len()).min_by(|&a, &b| last[a].0.total_cmp(&last[b].0)).unwrap_or(0));
    for at in (0..notes.len()).rev() {
        found[at] = FOLDS[here];
        here = ways[at][here].1;
    }
    found
}

pub(super) fn lines(setting: &Setting<'_>, plan: &PhrasePlan, follows: bool, cast: &mut PhraseCast) {
    let span = span_of(setting, plan, Role::Melody, follows);
    let role = |task: &Task| task.strand.map_or(Role::Tacet, |strand| setting.sketch.strands[strand].role);
    let sketched = Floor::sketched(setting, (span.0, setting.sketch.bar_start(plan.bars.end)));
    // The bass first: what is to lie above it has to know it.
    let is_bass = |task: &&Task| role(task) == Role::Bass;
    for task in plan.tasks.iter().filter(is_bass) {
        line(setting, task, span_of(setting, plan, role(task), follows), &Floor::default(), &sketched, cast);
    }
    let floor = Floor::played(setting, cast.notes.values());
    for task in plan.tasks.iter().filter(|task| !is_bass(task)) {
        line(setting, task, span_of(setting, plan, role(task), follows), &floor, &sketched, cast);
    }
}

fn line(
    setting: &Setting<'_>,
    task: &Task,
    span: (Crotchets, Crotchets),
    floor: &Floor,
    sketched: &Floor,
    cast: &mut PhraseCast,
) {
    let Some(strand_at) = task.strand else { return };
    let strand = &setting.sketch.strands[strand_at];
    if strand.is_chordal() {
        return;
    }
    let whole = strand.between(span.0, span.1);
    let section = &setting.lineup.sections[task.section];
    // What has to be said, for players together.
    let mut simplified: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    let mut moved: BTreeMap<(i32, bool), Vec<u8>> = BTreeMap::new();
    let mut folded: BTreeMap<(usize, usize, &'static str), Vec<u8>> = BTreeMap::new();
    for (order, &chair_at) in task.chairs.iter().enumerate() {
        let seat: Seat = (task.section, chair_at);
        let chair = &section.chairs[chair_at];
        let simpler = (strand.role == Role::Figuration)
            .then(|| thinned(setting, chair, section.level, whole, task.octave.unwrap_or(0)))
            .flatten();
        if let Some((_, why)) = &simpler {
            simplified.entry(why.clone()).or_default().push(chair.number);
        }
        let notes: &[SketchNote] = simpler.as_ref().map_or(whole, |(notes, _)| notes);
        let lowest: Vec<bool> = notes.iter().map(|note| sketched.is_under(note.key(), note.onset, note.end())).collect();
        let place = Place { chair, floor, lowest: &lowest, plain: simpler.is_some(), leaves: leaves(strand.role) };
        let lower = task.doubling == Doubling::Octaves && order >= task.chairs.len().div_ceil(2);
        let wanted = task.octave.unwrap_or(0) - i32::from(lower);
        let octaves = match task.register {
            Some((low, high)) => into_register(notes, (low, high)),
            None => octave_of(&place, notes, wanted),
        };
        let thick = if task.thickening == Thickening::None { 0 } else { order };
        let (part, turned) = if thick == 0 {
            plain(setting, strand_at, strand, notes, &place, seat, octaves)
        } else {
            (thickened(setting, task, strand_at, notes, chair, seat, octaves, thick), None)
        };
        if task.register.is_none() && octaves != wanted && thick == 0 {
            let amiss = |(at, note): (usize, &SketchNote)| {
                let key = note.key() + 12 * wanted;
                place.beyond(key) || place.under(at, note, key)
            };
            let forced = notes.iter().enumerate().filter(|&(at, note)| amiss((at, note))).count() * 4 > notes.len();
            moved.entry((octaves - wanted, forced)).or_default().push(chair.number);
        }
        if let Some((first, many, why)) = turned.filter(|_| thick == 0) {
            folded.entry((first, many, why)).or_default().push(chair.number);
        }
        cast.notes.entry(seat).or_default().extend(part);
    }
    let who = |numbers: &[u8]| {
        let numbers: Vec<String> = numbers.iter().map(ToString::to_string).collect();
        if numbers.len() == section.chairs.len() {
            section.name.clone()
        } else {
            format!("{} {}", section.name, numbers.join("."))
        }
    };
    let name = &strand.name;
    for (numbers, why) in simplified.iter().map(|(why, numbers)| (numbers, why)) {
        let bar = bar_named(setting, whole);
        cast.remarks.push(format!("{}, from bar {bar}: “{name}” is thinned out, for {why}", who(numbers)));
    }
    for ((by, forced), numbers) in &moved {
        let way = if *by < 0 { "lower" } else { "higher" };
        let octaves = if by.abs() == 1 { "an octave".to_owned() } else { format!("{} octaves", by.abs()) };
        let why = if *forced { "too much of it is beyond reach or below the bass there" } else { "where they are more at ease" };
        let bar = bar_named(setting, whole);
        cast.remarks.push(format!("{}, from bar {bar}: “{name}” {octaves} {way} than planned, {why}", who(numbers)));
    }
    for ((bar, many, why), numbers) in &folded {
        let bar = setting.sketch.bar_name(*bar);
        let what = if *many == 1 { "1 note is".to_owned() } else { format!("{many} notes are") };
        cast.remarks.push(format!("{}, from bar {bar}: {what} moved by an octave, {why}", who(numbers)));
    }
}

/// Notes shorter than this are quick.
const QUICK: f64 = 0.25;

/// A figure with fewer notes where the player's own check would object to its speed: what falls on every second of its short notes (of triplets every third), each held to the
/// next; and why. `None` where it can be played as it is, or nothing is won.
fn thinned(
    setting: &Setting<'_>,
    chair: &Chair,
    level: Level,
    notes: &[SketchNote],
    octaves: i32,
) -> Option<(Vec<SketchNote>, String)> {
    let why = too_quick(setting, chair, level, notes, octaves)?;
    let seconds =
        |note: &SketchNote| setting.sketch.sounding.tempo.seconds(note.end()) - setting.sketch.sounding.tempo.seconds(note.onset);
    let mut found = notes.to_vec();
    for _ in 0..2 {
        let short =
            found.iter().filter(|note| note.duration.is_positive() && seconds(note) < QUICK).map(|note| note.duration).min()?;
        let by = if short.denominator() % 3 == 0 { 3 } else { 2 };
        let grid = short * Crotchets::whole(by);
        let on_grid = |note: &SketchNote| {
            let bar = crate::notate::bar_of(&setting.sketch.score.bars, note.onset);
            let place = note.onset - setting.sketch.bar_start(bar);
            let times = Crotchets::new(grid.denominator(), grid.numerator()).unwrap_or(Crotchets::ONE) * place;
            times.denominator() == 1
        };
        let mut kept: Vec<SketchNote> = Vec::with_capacity(found.len() / 2 + 1);
        for note in &found {
            if note.duration.is_positive() && (seconds(note) >= QUICK || on_grid(note)) {
                kept.push(*note);
            } else if let Some(last) = kept.last_mut().filter(|last| last.end() == note.onset) {
                last.duration += note.duration;
            }
        }
        found = kept;
        if too_quick(setting, chair, level, &found, octaves).is_none() {
            return (found.len() < notes.len()).then_some((found, why));
        }
    }
    None
}

/// Why a player is not quick enough for notes: fingers and tongue by the instrument's limit, the slide by the way it goes (`ripieno_players`).
fn too_quick(setting: &Setting<'_>, chair: &Chair, level: Level, notes: &[SketchNote], octaves: i32) -> Option<String> {
    let slide = trombone(&chair.instrument.id, level);
    let limits = Limits::of(chair.instrument, Some(i32::from(chair.transposition.semitones)), level);
    let most = limits.and_then(|limits| limits.pitches_a_second());
    let tempo = &setting.sketch.sounding.tempo;
    let struck: Vec<&SketchNote> = notes.iter().filter(|note| note.duration.is_positive()).collect();
    let since = |at: usize| tempo.seconds(struck[at].onset) - tempo.seconds(struck[at - 1].onset);
    let mut first = 0;
    while first < struck.len() {
        let mut end = first + 1;
        while end < struck.len() && since(end) < QUICK && struck[end].key() != struck[end - 1].key() {
            end += 1;
        }
        let run: Vec<(u8, f64)> = (first..end)
            .map(|at| {
                let key = u8::try_from((struck[at].key() + 12 * octaves).clamp(0, 127)).unwrap_or(0);
                (key, if at == first { 1.0 } else { since(at) })
            })
            .collect();
        let rate = |window: &[(u8, f64)]| 7.0 / window[1..].iter().map(|note| note.1).sum::<f64>().max(1e-3);
        let fastest = run.windows(FIGURE).map(rate).fold(0.0, f64::max);
        if let Some(most) = most.filter(|most| fastest > most * 1.05) {
            return Some(format!("{fastest:.1} notes a second are more than the {most:.0} that are clean here"));
        }
        if let Some((_, positions)) = slide.as_ref().and_then(|slide| toil(slide, level, &run)) {
            return Some(format!("the slide would go {positions:.0} positions a second without a rest"));
        }
        first = end;
    }
    None
}

/// The bar in which notes begin, as it is called.
fn bar_named(setting: &Setting<'_>, notes: &[SketchNote]) -> String {
    let at = notes.first().map_or(Crotchets::ZERO, |note| note.onset);
    setting.sketch.bar_name(crate::notate::bar_of(&setting.sketch.score.bars, at))
}

/// The octave that brings the middle of the notes nearest to a register.
fn into_register(notes: &[SketchNote], (low, high): (i32, i32)) -> i32 {
    let count = i32::try_from(notes.len()).unwrap_or(i32::MAX).max(1);
    let mean = notes.iter().map(SketchNote::key).sum::<i32>() / count;
    let middle = (low + high) / 2;
    (-5..=5).min_by_key(|octave| (mean + 12 * octave - middle).abs()).unwrap_or(0)
}

/// The notes of a line for one player, and of those that had to leave its octave the bar of the first, how many, and why.
fn plain(
    setting: &Setting<'_>,
    strand_at: usize,
    strand: &Strand,
    notes: &[SketchNote],
    place: &Place<'_>,
    seat: Seat,
    octaves: i32,
) -> (Vec<CastNote>, Option<(usize, usize, &'static str)>) {
    let folds = folds(place, notes, octaves);
    let folded: Vec<usize> = (0..notes.len()).filter(|&at| folds[at] != 0).collect();
    let mut found = Vec::with_capacity(notes.len());
    for (note, fold) in notes.iter().zip(&folds) {
        let mut pitch = by_octaves(note.pitch, octaves + fold);
        if place.beyond(pitch.semitones()) {
            // Where nothing else is left, the nearest octave that can be played.
            let reached = (-4..=4).filter(|&by| !place.beyond(pitch.semitones() + 12 * by)).min_by_key(|by: &i32| by.abs());
            pitch = by_octaves(pitch, reached.unwrap_or(0));
        }
        pitch = locked(setting, seat, note.onset).map_or(pitch, |key| crate::voicing::spelled(&[None; 12], key));
        let like = Some(Like { part: strand.part, note: note.written, plain: place.plain });
        found.push(CastNote {
            onset: note.onset,
            duration: note.duration,
            pitch,
            line: LineId { strand: strand_at, voice: 0 },
            like,
            breath: false,
        });
    }
    let turned = folded.first().map(|&first| {
        let beyond = folded.iter().any(|&at| place.beyond(notes[at].key() + 12 * octaves));
        let why = if beyond { "for some of it is beyond reach" } else { "lest it sound below the bass" };
        (crate::notate::bar_of(&setting.sketch.score.bars, notes[first].onset), folded.len(), why)
    });
    (found, turned)
}

/// The key a person has set for a player at a moment.
pub(super) fn locked(setting: &Setting<'_>, seat: Seat, at: Crotchets) -> Option<i32> {
    setting.locks.iter().find(|lock| lock.seat == seat && lock.from <= at && at < lock.to).map(|lock| lock.key)
}

#[allow(clippy::too_many_arguments)] // one note needs all of this
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
