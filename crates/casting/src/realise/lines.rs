//! Melody, answer, bass, figures, pedals: one line, played at one or more octaves, thickened on request.

use std::collections::BTreeMap;
use std::ops::Range;

use ripieno_players::slide::{FIGURE, toil, trombone};
use ripieno_players::{Level, Limits};
use ripieno_score::{Crotchets, Pitch, Transposition};
use ripieno_texture::Role;

use super::floor::Floor;
use super::thicken::thickened;
use super::{CastNote, LineId, PhraseCast, Seat, Setting, span_of};
use crate::lineup::Chair;
use crate::notate::Like;
use crate::numbers::number;
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
    /// For each note of the bass how high it may lie, lest it sound above a line that is taken down and is above it in the sketch.
    ceiling: &'a [Option<i32>],
    /// For each note whether the sketch itself has it below its bass.
    lowest: &'a [bool],
    /// How the player ended the phrase before with the same line.
    before: Option<Before>,
    /// The notes are not the sketch's as they stand there: slurs are left out.
    plain: bool,
    /// What the line is.
    role: Role,
}

/// The last note of a line in the phrase before.
#[derive(Debug, Clone, Copy)]
struct Before {
    note: SketchNote,
    /// By how many octaves the player had it moved.
    octaves: i32,
    /// What it costs to change the octave between the phrases.
    joint: f64,
}

impl Place<'_> {
    fn beyond(&self, key: i32) -> bool {
        !self.chair.reach.allows(key)
    }

    /// Whether a note would sound below the bass. The tune where the sketch has it does not: if the bass is played above it, it is the bass that lies too high.
    /// A bass gives way to what is taken down over it.
    fn under(&self, at: usize, note: &SketchNote, key: i32) -> bool {
        if let Some(&Some(most)) = self.ceiling.get(at) {
            return key > most;
        }
        (key < note.key() || self.role != Role::Melody)
            && !self.lowest.get(at).copied().unwrap_or(true)
            && self.floor.is_under(key, note.onset, note.end())
    }
}

/// What it costs a player to have the notes at an octave. A note or two beyond reach do not move a whole phrase: the share counts by its square.
fn octave_cost(place: &Place<'_>, notes: &[SketchNote], octaves: i32, wanted: i32) -> f64 {
    let each = if octaves > wanted { leaves(place.role).1 } else { leaves(place.role).0 };
    let mut cost = each * f64::from((octaves - wanted).abs());
    if notes.is_empty() {
        return cost;
    }
    let share = 1.0 / number(notes.len());
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
    octave_of(
        &Place { chair, floor: &Floor::default(), ceiling: &[], lowest: &[], before: None, plain: false, role },
        notes,
        wanted,
    )
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

/// Octaves by which limbs leave the octave of their line.
const FOLDS: [i32; 5] = [0, -1, 1, -2, 2];

/// What it costs to change the octave at a rest, after a long note, and inside a limb, where an apex would break off: dearer than whatever a limb may cost, cheaper than a note nobody can
/// play.
const AT_A_REST: f64 = 1.5;
const AFTER_A_LONG_NOTE: f64 = 3.0;
const INSIDE_A_LIMB: f64 = 40.0;
/// And between two phrases at most: they are cut along the tune.
const BETWEEN_PHRASES: f64 = 4.0;
/// The same of bass and figures: rather a note or two move than that the foundation lies among the chords, or a figure under it; and what each note costs that does.
const INSIDE_WHAT_ACCOMPANIES: f64 = 4.0;
const EACH_AWAY: f64 = 0.8;
/// What each semitone costs by which a change leaps beyond a sixth, or beyond what the sketch leaps itself.
const LEAP: f64 = 0.3;
/// What it costs a limb (of fewer notes than `WHOLE` as much less) to lie an octave from the player's octave for the phrase; what it costs if all of it lies below the bass, and each note
/// beyond reach.
const AWAY: f64 = 5.0;
const WHOLE: usize = 4;
const BEYOND: f64 = 200.0;
const UNDER: f64 = 60.0;
/// A rest that parts two limbs, in crotchets.
const PARTED: (i64, i64) = (1, 2);
/// A leap of the sketch's line beyond which it goes on in another register.
const REGISTER: i32 = 12;

/// For each note after the first what it costs to change the octave with it. A limb of the line begins after a rest, after a crotchet or more that is twice as long as most notes (but not before
/// the short note of its dotted rhythm), and where the line leaps by more than an octave itself. There an octave may change; a run is not broken off before its apex (common practice, from
/// memory; the numbers are ours).
fn joints(notes: &[SketchNote]) -> Vec<f64> {
    let mut lengths: Vec<Crotchets> = notes.iter().map(|note| note.duration).filter(|length| length.is_positive()).collect();
    lengths.sort_unstable();
    let usual = lengths.get(lengths.len() / 2).copied().unwrap_or(Crotchets::ONE);
    let long = (Crotchets::whole(2) * usual).max(Crotchets::ONE);
    let rest = Crotchets::new(PARTED.0, PARTED.1).unwrap_or(Crotchets::ONE);
    let joint = |pair: &[SketchNote]| {
        let (last, next) = (&pair[0], &pair[1]);
        let dotted = last.duration == Crotchets::whole(3) * next.duration;
        if next.held {
            INSIDE_A_LIMB
        } else if next.onset - last.end() >= rest {
            AT_A_REST
        } else if last.duration >= long && !dotted || (next.key() - last.key()).abs() > REGISTER {
            AFTER_A_LONG_NOTE
        } else {
            INSIDE_A_LIMB
        }
    };
    notes.windows(2).map(joint).collect()
}

/// The limbs of a line, as ranges of its notes.
fn limbs(joints: &[f64]) -> Vec<Range<usize>> {
    let ends = (0..joints.len()).filter(|&at| joints[at] < INSIDE_A_LIMB).map(|at| at + 1).chain([joints.len() + 1]);
    let mut first = 0;
    ends.map(|end| std::mem::replace(&mut first, end)..end).collect()
}

/// The share of a line's notes that a player would have to move if it lay at an octave: whole limbs, of which any note is beyond reach.
pub(crate) fn share_to_move(chair: &Chair, notes: &[SketchNote], octave: i32) -> f64 {
    if notes.is_empty() {
        return 0.0;
    }
    let beyond = |note: &SketchNote| !chair.reach.allows(note.key() + 12 * octave);
    if !notes.iter().any(beyond) {
        return 0.0;
    }
    let moved = limbs(&joints(notes)).into_iter().filter(|limb| notes[limb.clone()].iter().any(beyond));
    number(moved.map(|limb| limb.len()).sum()) / number(notes.len())
}

/// By how many octaves each note of a line leaves the octave the player has it at: none where everything suits. Where a note does not, its limb moves as a whole, and so many
/// of those beside it as lead on smoothly (handbook rule from memory; the prices are ours).
fn folds(place: &Place<'_>, notes: &[SketchNote], octaves: i32) -> Vec<i32> {
    let key = |at: usize, fold: i32| notes[at].key() + 12 * (octaves + fold);
    let suits = |at: usize| !place.beyond(key(at, 0)) && !place.under(at, &notes[at], key(at, 0));
    if place.before.is_none_or(|before| before.octaves == octaves) && (0..notes.len()).all(suits) {
        return vec![0; notes.len()];
    }
    let (joints, sings) = (joints(notes), matches!(place.role, Role::Melody | Role::Countermelody));
    // What a limb costs is shared out among its notes.
    let mut share = vec![1.0; notes.len()];
    for limb in limbs(&joints) {
        let many = number(limb.len().max(WHOLE));
        share[limb].fill(1.0 / many);
    }
    let own = |at: usize, fold: i32| {
        let key = key(at, fold);
        let amiss = if place.beyond(key) {
            BEYOND
        } else if place.under(at, &notes[at], key) {
            if sings { UNDER * share[at] } else { UNDER }
        } else {
            0.3 * share[at] * f64::from(place.chair.reach.strain(key))
        };
        let away = if sings { AWAY * share[at] } else { EACH_AWAY };
        amiss + away * f64::from(fold.abs())
    };
    // From a note at a key to the one at an index, at other octaves than before.
    let change = |(last, from): (&SketchNote, i32), at: usize, fold: i32, price: f64| {
        let beyond = (key(at, fold) - from).abs() - (notes[at].key() - last.key()).abs().max(9);
        let most = if sings { INSIDE_A_LIMB } else { INSIDE_WHAT_ACCOMPANIES };
        price.min(most) + LEAP * f64::from(beyond.max(0))
    };
    let within = |at: usize, a: i32, b: i32| {
        if a == b { 0.0 } else { change((&notes[at - 1], key(at - 1, a)), at, b, joints[at - 1]) }
    };
    let start = |fold: i32| match &place.before {
        Some(before) if before.octaves != octaves + fold => {
            change((&before.note, before.note.key() + 12 * before.octaves), 0, fold, before.joint)
        }
        _ => 0.0,
    };
    let mut ways: Vec<[(f64, usize); FOLDS.len()]> = Vec::with_capacity(notes.len());
    for at in 0..notes.len() {
        let mut row = [(0.0, 0); FOLDS.len()];
        for (n, &fold) in FOLDS.iter().enumerate() {
            let best = ways.last().map(|last| {
                let from = |m: usize| last[m].0 + within(at, FOLDS[m], fold);
                let best = (0..FOLDS.len()).min_by(|&a, &b| from(a).total_cmp(&from(b))).unwrap_or(0);
                (from(best), best)
            });
            let (cost, from) = best.unwrap_or_else(|| (start(fold), 0));
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

/// The last note of a strand before a moment, and what it costs to change the octave there. `None` where nothing is before or after.
fn joined(strand: &Strand, from: Crotchets) -> Option<(SketchNote, f64)> {
    let next = strand.notes.partition_point(|note| note.onset < from);
    let first = next.saturating_sub(NEAR);
    let around = strand.notes.get(first..(next + NEAR).min(strand.notes.len()))?;
    let at = (next - first).checked_sub(1)?;
    Some((*around.get(at)?, *joints(around).get(at)?))
}

/// How a player ended the phrase before with a strand.
fn before(strand: &Strand, from: Crotchets, last: Option<&(Crotchets, i32)>) -> Option<Before> {
    let &(end, key) = last?;
    let (note, joint) = joined(strand, from).filter(|(note, _)| note.end() == end)?;
    let apart = key - note.key();
    (apart % 12 == 0).then_some(Before { note, octaves: apart / 12, joint: joint.min(BETWEEN_PHRASES) })
}

/// Notes on either side by which it is told whether a line goes on between two phrases.
const NEAR: usize = 12;

/// `last`: the last note of each player before the phrase.
pub(super) fn lines(
    setting: &Setting<'_>,
    plan: &PhrasePlan,
    follows: bool,
    last: &BTreeMap<Seat, (Crotchets, i32)>,
    cast: &mut PhraseCast,
) {
    let span = span_of(setting.sketch, plan, Role::Melody, follows);
    let role = |task: &Task| task.strand.map_or(Role::Tacet, |strand| setting.sketch.strands[strand].role);
    let sketched = Floor::sketched(setting, (span.0, setting.sketch.bar_start(plan.bars.end)));
    // The bass first: what is to lie above it has to know it.
    let is_bass = |task: &&Task| role(task) == Role::Bass;
    let taken_down = taken_down(setting, plan, span, &sketched);
    for task in plan.tasks.iter().filter(is_bass) {
        let bounds = (&Floor::default(), &sketched, taken_down.as_slice());
        line(setting, task, span_of(setting.sketch, plan, role(task), follows), bounds, last, cast);
    }
    let floor = Floor::played(setting, cast.notes.values());
    for task in plan.tasks.iter().filter(|task| !is_bass(task)) {
        line(setting, task, span_of(setting.sketch, plan, role(task), follows), (&floor, &sketched, &[]), last, cast);
    }
}

/// When a note sounds, and its key.
type Sounding = (Crotchets, Crotchets, i32);

/// The tune where it is planned below the sketch's octave, as it will sound, but for what the sketch itself has below its bass.
fn taken_down(setting: &Setting<'_>, plan: &PhrasePlan, span: (Crotchets, Crotchets), sketched: &Floor) -> Vec<Sounding> {
    let mut found = Vec::new();
    for task in plan.tasks.iter().filter(|task| task.register.is_none()) {
        let Some((strand, octave)) = task.strand.zip(task.octave.filter(|octave| *octave < 0)) else { continue };
        let strand = &setting.sketch.strands[strand];
        if strand.role == Role::Melody {
            let above = |note: &&SketchNote| !sketched.is_under(note.key(), note.onset, note.end());
            let notes = strand.between(span.0, span.1).iter().filter(above);
            found.extend(notes.map(|note| (note.onset, note.end(), note.key() + 12 * octave)));
        }
    }
    found
}

fn line(
    setting: &Setting<'_>,
    task: &Task,
    span: (Crotchets, Crotchets),
    (floor, sketched, taken_down): (&Floor, &Floor, &[Sounding]),
    last: &BTreeMap<Seat, (Crotchets, i32)>,
    cast: &mut PhraseCast,
) {
    let Some(strand_at) = task.strand else { return };
    let strand = &setting.sketch.strands[strand_at];
    if strand.is_chordal() {
        return;
    }
    let whole = strand.between(span.0, span.1);
    let section = &setting.lineup.sections[task.section];
    // Of a thickened line what its first player has: the others go with it.
    let mut leading: Vec<CastNote> = Vec::new();
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
        let over = |note: &SketchNote| {
            let beside = taken_down.iter().filter(|one| one.0 < note.end() && note.onset < one.1);
            beside.map(|one| one.2).min().filter(|least| *least < note.key() + 12)
        };
        let ceiling: Vec<Option<i32>> = notes.iter().map(over).collect();
        let before = before(strand, span.0, last.get(&seat)).filter(|_| task.register.is_none());
        let place =
            Place { chair, floor, ceiling: &ceiling, lowest: &lowest, before, plain: simpler.is_some(), role: strand.role };
        let lower = task.doubling == Doubling::Octaves && order >= task.chairs.len().div_ceil(2);
        let wanted = task.octave.unwrap_or(0) - i32::from(lower);
        let octaves = match task.register {
            Some((low, high)) => into_register(notes, (low, high)),
            None => octave_of(&place, notes, wanted),
        };
        let thick = if task.thickening == Thickening::None { 0 } else { order };
        let (part, turned) = if thick == 0 {
            let (part, turned) = plain(setting, strand_at, strand, notes, &place, seat, octaves);
            if task.thickening != Thickening::None {
                leading.clone_from(&part);
            }
            (part, turned)
        } else {
            (thickened(setting, task, &leading, seat, thick), None)
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
            held: note.held,
            breath: false,
        });
    }
    let turned = folded.first().map(|&first| {
        let at_first = |at: usize| notes[at].key() + 12 * octaves;
        let why = if folded.iter().any(|&at| place.beyond(at_first(at))) {
            "for some of it is beyond reach"
        } else if folded.iter().any(|&at| place.under(at, &notes[at], at_first(at))) {
            if place.role == Role::Bass { "lest it sound above the tune" } else { "lest it sound below the bass" }
        } else {
            "so that the line goes on where it was"
        };
        (crate::notate::bar_of(&setting.sketch.score.bars, notes[first].onset), folded.len(), why)
    });
    (found, turned)
}

/// The key a person has set for a player at a moment.
pub(super) fn locked(setting: &Setting<'_>, seat: Seat, at: Crotchets) -> Option<i32> {
    setting.locks.iter().find(|lock| lock.seat == seat && lock.from <= at && at < lock.to).map(|lock| lock.key)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::lineup::Lineup;

    /// A line of (key, length in quavers), from the beginning on.
    fn line(notes: &[(i32, i64)]) -> Vec<SketchNote> {
        let mut at = Crotchets::ZERO;
        let note = |&(key, quavers): &(i32, i64)| {
            let duration = Crotchets::new(quavers, 2).unwrap();
            at += duration;
            SketchNote {
                onset: at - duration,
                duration,
                pitch: crate::voicing::spelled(&[None; 12], key),
                written: 0,
                held: false,
            }
        };
        notes.iter().map(note).collect()
    }

    fn horn() -> Chair {
        let text = "name = \"one\"\n[[section]]\nname = \"Horn in F\"\nplayers = 1\n";
        Lineup::from_toml("one.toml", text).unwrap().sections[0].chairs[0].clone()
    }

    fn place<'a>(chair: &'a Chair, floor: &'a Floor, lowest: &'a [bool], before: Option<Before>) -> Place<'a> {
        Place { chair, floor, ceiling: &[], lowest, before, plain: false, role: Role::Melody }
    }

    /// The apex of a run is not broken off: the whole limb goes down, from the upbeat after the long note.
    #[test]
    fn a_limb_moves_as_a_whole() {
        let chair = horn();
        let top = i32::from(chair.reach.possible.high());
        // A limb that ends with a long note, an upbeat and a run to a note beyond reach, and two limbs below it.
        let keys = [-9, -7, -5, -4, -8, -9, -7, -5, -4, -2, 0, 1, -9, -7, -9, -8, -9, -7, -9, -8];
        let long = [4, 11, 15, 19];
        let written: Vec<(i32, i64)> =
            keys.iter().enumerate().map(|(at, off)| (top + off, if long.contains(&at) { 4 } else { 1 })).collect();
        let notes = line(&written);
        let floor = Floor::default();
        let found = folds(&place(&chair, &floor, &[true; 20], None), &notes, 0);
        assert_eq!((&found[..5], &found[5..12], &found[12..]), (&[0; 5][..], &[-1; 7][..], &[0; 8][..]));
        // Whoever was down an octave when the phrase before broke off goes on there up to the next joint.
        let within = line(&[(top - 9, 1), (top - 7, 1), (top - 5, 4), (top - 9, 1), (top - 7, 1), (top - 8, 4)]);
        let before = Before { note: line(&[(top - 10, 1)])[0], octaves: -1, joint: INSIDE_A_LIMB };
        let found = folds(&place(&chair, &floor, &[true; 6], Some(before)), &within, 0);
        assert_eq!(found[..3], [-1; 3]);
    }

    /// A bass that is played above the tune lies too high itself: the tune stays where the sketch has it. What is taken lower than that, comes up again.
    #[test]
    fn a_line_leaves_its_own_octave_for_no_bass() {
        let chair = horn();
        let notes = line(&[(60, 2), (62, 2), (64, 2), (65, 2)]);
        let floor = Floor::from_spans(vec![(Crotchets::ZERO, Crotchets::whole(4), 67)]);
        assert_eq!(folds(&place(&chair, &floor, &[false; 4], None), &notes, 0), [0; 4]);
        let floor = Floor::from_spans(vec![(Crotchets::ZERO, Crotchets::whole(4), 57)]);
        assert_eq!(folds(&place(&chair, &floor, &[false; 4], None), &notes, -1), [1; 4]);
    }
}
