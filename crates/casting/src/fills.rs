//! Whoever has only a few notes of a loud phrase plays along until then, and at a loud end everybody joins the last chord.
//!
//! A band's tutti has everybody in it (common practice; from memory): the player with one stroke of an effect, or two notes of an answer, has chords in the bars before and after, and who had rhythm or
//! a figure does not stop before the last chord. They double a player who has chords or the bass, note for note or in octaves, so that no tone is added that the chord has not.

use ripieno_score::{Crotchets, Transposition};
use ripieno_texture::{ChordTone, Role};

use crate::assign::{has_strings, is_last};
use crate::numbers::number;
use crate::plan::PhrasePlan;
use crate::realise::{CastNote, PhraseCast, Seat, Setting, sounding};

/// Less than this share of a phrase is little to do.
const LITTLE: f64 = 0.5;
/// What it costs, in the same unit, that a player crosses another of his section, and each step beyond what is at ease.
const CROSSES: f64 = 12.0;
const STRAINS: f64 = 3.0;
/// And each semitone beyond an octave of a leap into a gap or out of it.
const LEAPS: f64 = 3.0;
/// What a third or a leading note doubled costs beside a semitone of distance.
const TENDER: f64 = 12.0;
/// What it costs to double an octave away, in the same unit.
const AWAY: f64 = 4.0;

/// Adds to a phrase what those play who have little in it, in tasks that casting has filled in: `tired` players are left as they are. Returns who plays how many crotchets more.
pub(crate) fn join_in(
    setting: &Setting<'_>,
    planned: &mut PhrasePlan,
    cast: &mut PhraseCast,
    tired: &dyn Fn(Seat) -> bool,
) -> Vec<(Seat, Crotchets)> {
    let sketch = setting.sketch;
    let (band, last) = (!has_strings(setting.lineup), is_last(sketch, planned));
    if !crate::assign::is_loud(sketch, planned) || !(band || last) {
        return Vec::new();
    }
    let whole = (sketch.bar_start(planned.bars.start), sketch.bar_start(planned.bars.end));
    let mut added = Vec::new();
    for at in 0..planned.tasks.len() {
        let task = &planned.tasks[at];
        let Some(strand) = task.strand.filter(|_| task.held == 0 && task.by_casting) else { continue };
        if matches!(sketch.strands[strand].role, Role::Melody | Role::Bass | Role::Harmony) {
            continue;
        }
        let mut bars: Vec<usize> = Vec::new();
        for chair in task.chairs.clone() {
            let seat = (planned.tasks[at].section, chair);
            if tired(seat) && !last {
                continue;
            }
            for gap in gaps(setting, planned, cast, seat, whole, (band, last)) {
                let Some(notes) = doubling(setting, cast, seat, gap) else { continue };
                let more = notes.iter().fold(Crotchets::ZERO, |sum, note| sum + note.duration);
                added.push((seat, more));
                bars.extend(planned.bars.clone().filter(|&bar| {
                    notes.iter().any(|note| note.onset < sketch.bar_start(bar + 1) && sketch.bar_start(bar) < note.end())
                }));
                let mine = cast.notes.entry(seat).or_default();
                mine.extend(notes);
                mine.sort_by_key(|note| (note.onset, note.duration.is_positive()));
            }
        }
        bars.sort_unstable();
        bars.dedup();
        if let (Some(first), Some(end)) = (bars.first(), bars.last()) {
            let named = match (first, end) {
                (first, end) if first == end => format!("bar {}", sketch.bar_name(*first)),
                (first, end) => format!("bars {}–{}", sketch.bar_name(*first), sketch.bar_name(*end)),
            };
            planned.tasks[at].why += &format!("; doubling chords besides in {named}");
        }
    }
    added
}

/// Where a player has nothing: stretches of a bar and more, where he has little in the phrase, and the last chord of a sketch.
fn gaps(
    setting: &Setting<'_>,
    planned: &PhrasePlan,
    cast: &PhraseCast,
    seat: Seat,
    whole: (Crotchets, Crotchets),
    (band, last): (bool, bool),
) -> Vec<(Crotchets, Crotchets)> {
    let sketch = setting.sketch;
    let empty: &[CastNote] = &[];
    let notes = cast.notes.get(&seat).map_or(empty, Vec::as_slice);
    let free = |from: Crotchets, to: Crotchets| notes.iter().all(|note| note.end() <= from || to <= note.onset);
    let sum: f64 = notes.iter().map(|note| note.duration.to_f64()).sum();
    let mut found: Vec<(Crotchets, Crotchets)> = Vec::new();
    if band && sum < LITTLE * (whole.1 - whole.0).to_f64() {
        let bar = sketch.bar_start(planned.bars.start + 1) - whole.0;
        let mut from = whole.0;
        let ends = notes.iter().map(|note| (note.onset.min(whole.1), note.end())).chain(std::iter::once((whole.1, whole.1)));
        for (onset, end) in ends {
            if onset - from >= bar {
                found.push((from, onset));
            }
            from = from.max(end);
        }
    }
    if last {
        let chords = cast.notes.values().flatten().filter(|note| sketch.strands[note.line.strand].role == Role::Harmony);
        let close = chords.filter(|note| note.duration.is_positive()).map(|note| note.onset).max();
        if let Some(close) = close.filter(|&close| free(close, whole.1) && found.iter().all(|gap| gap.1 <= close)) {
            found.push((close, whole.1));
        }
    }
    found
}

/// What a player plays in a gap: the notes there of one who has chords, where they lie best for him; `None` where none lie at ease.
fn doubling(setting: &Setting<'_>, cast: &PhraseCast, seat: Seat, gap: (Crotchets, Crotchets)) -> Option<Vec<CastNote>> {
    let sketch = setting.sketch;
    let chair = &setting.lineup.sections[seat.0].chairs[seat.1];
    let own = cast.notes.get(&seat).and_then(|notes| notes.first()).map_or(chair.reach.middle(), CastNote::key);
    let mine = cast.notes.get(&seat).map_or(&[][..], Vec::as_slice);
    let before = mine.iter().rev().find(|note| note.end() <= gap.0);
    let after = mine.iter().find(|note| note.onset >= gap.1);
    let leap = |one: Option<&CastNote>, other: Option<&CastNote>| {
        one.zip(other).map_or(0.0, |(one, other)| LEAPS * f64::from(((one.key() - other.key()).abs() - 12).max(0)))
    };
    let limit = |at: Crotchets, role: Role| {
        let of = cast.notes.values().filter_map(move |notes| sounding(notes, at));
        of.filter(move |note| sketch.strands[note.line.strand].role == role).map(CastNote::key)
    };
    // Two players of five at most on the third, where the chord begins and at barlines.
    let crowds = |note: &CastNote| {
        let is_third = |key: i32, at: Crotchets| {
            let chord = sketch.harmony.chord_at(at);
            u8::try_from(key.rem_euclid(12))
                .is_ok_and(|class| chord.is_some_and(|chord| matches!(chord.tone(class), ChordTone::Third)))
        };
        let bars = &sketch.score.bars;
        let first = crate::notate::bar_of(bars, note.onset);
        let inside = bars[first..].iter().map(|bar| bar.start).take_while(|start| *start < note.end());
        std::iter::once(note.onset).chain(inside.filter(|start| *start > note.onset)).any(|at| {
            let (mut all, mut thirds) = (1, usize::from(is_third(note.key(), at)));
            for key in limit(at, Role::Harmony) {
                (all, thirds) = (all + 1, thirds + usize::from(is_third(key, at)));
            }
            is_third(note.key(), at) && thirds > 1 && thirds * 5 > all * 2
        })
    };
    let mut best: Option<(f64, Vec<CastNote>)> = None;
    for (other, notes) in cast.notes.iter().filter(|(other, _)| **other != seat) {
        // The bass is doubled an octave or two up; a third or a leading note of it costs more (`TENDER`).
        for octaves in [0i8, 1, -1, 2] {
            // A chord is taken up where it begins, or at a barline.
            let bar = crate::notate::bar_of(&sketch.score.bars, gap.0);
            let begins = |note: &CastNote| note.onset >= gap.0 || sketch.bar_start(bar) == gap.0;
            let there: Vec<CastNote> = notes
                .iter()
                .filter(|note| note.onset < gap.1 && gap.0 < note.end() && note.duration.is_positive() && begins(note))
                .filter(|note| match sketch.strands[note.line.strand].role {
                    Role::Harmony => true,
                    Role::Bass => octaves > 0,
                    _ => false,
                })
                .map(|note| {
                    let (from, to) = (note.onset.max(gap.0), note.end().min(gap.1));
                    let like = note.like.filter(|_| from == note.onset && to == note.end());
                    let pitch = note.pitch.moved(Transposition { octaves, ..Transposition::NONE });
                    CastNote { onset: from, duration: to - from, pitch, breath: false, like, ..*note }
                })
                .collect();
            let lies = |note: &CastNote| {
                let key = note.key();
                let inside = limit(note.onset, Role::Bass).all(|bass| key > bass)
                    && limit(note.onset, Role::Melody).all(|tune| key <= tune);
                chair.reach.allows(key) && chair.reach.strain(key) <= 2 && (octaves == 0 || inside)
            };
            if there.is_empty() || !there.iter().all(lies) || there.iter().any(crowds) {
                continue;
            }
            let far: i32 = there.iter().map(|note| (note.key() - own).abs()).sum();
            let tender = there.iter().filter(|note| {
                let class = 1u16 << note.key().rem_euclid(12);
                let tones = crate::realise::tones(setting.sketch, note.onset, u16::MAX);
                (tones.third | tones.leading) & class != 0
            });
            let tender = number(tender.count());
            let strain: i32 = there.iter().map(|note| chair.reach.strain(note.key())).sum();
            let crosses = there.iter().map(|note| crossed(cast, seat, note)).sum::<usize>();
            let crosses = CROSSES * number(crosses) + STRAINS * f64::from(strain);
            let length: f64 = there.iter().map(|note| note.duration.to_f64()).sum();
            let short = 4.0 * ((gap.1 - gap.0).to_f64() - length).max(0.0);
            let company = if other.0 == seat.0 { 0.0 } else { 1.0 };
            let price = (f64::from(far) + TENDER * tender + crosses) / number(there.len())
                + short
                + company
                + leap(before, there.first())
                + leap(there.last(), after)
                + AWAY * f64::from(octaves.abs());
            if best.as_ref().is_none_or(|(known, _)| price < known - 1e-9) {
                best = Some((price, there));
            }
        }
    }
    best.map(|(_, notes)| notes)
}

/// How many of his section a player with a note crosses who have chords too: lower chairs above it, higher ones below.
fn crossed(cast: &PhraseCast, seat: Seat, note: &CastNote) -> usize {
    let others = cast.notes.iter().filter(|(other, _)| other.0 == seat.0 && other.1 != seat.1);
    let there = others.filter_map(|(other, notes)| Some((other.1, sounding(notes, note.onset)?)));
    let same = there.filter(|(_, other)| other.line.strand == note.line.strand);
    same.filter(|(chair, other)| if *chair > seat.1 { other.key() > note.key() } else { other.key() < note.key() }).count()
}
