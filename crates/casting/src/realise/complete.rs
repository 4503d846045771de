//! Chord tones that nobody sounds, given to somebody who doubles another.

use std::collections::BTreeMap;

use ripieno_score::{Crotchets, Pitch};
use ripieno_texture::Role;

use super::floor::Floor;
use super::layers::is_pulse;
use super::order::crosses;
use super::tendency::{hangs, tones};
use super::{CastNote, LineId, PhraseCast, Seat, Setting, sounding};
use crate::assign::is_single;
use crate::notate::{Like, bar_of};
use crate::plan::PhrasePlan;
use crate::sketch::Strand;

/// A moment at which chords begin: the tones all chord strands have from there, and how they are spelled.
struct Moment {
    at: Crotchets,
    classes: u16,
    spelled: BTreeMap<i32, Pitch>,
}

/// Gives every chord tone that nobody sounds to a player of chords who begins a note there that others sound too, at the nearest key within reach. A section may be too
/// small for a strand, or a voice out of reach: then the chord is whole all the same.
pub(super) fn complete(
    setting: &Setting<'_>,
    span: (Crotchets, Crotchets),
    floor: &Floor,
    earlier: &Before,
    cast: &mut PhraseCast,
) {
    let moments = moments(setting, span);
    for at in 0..moments.len() {
        let missing = moments[at].classes & !sounded(cast, moments[at].at, None);
        for class in (0..12).filter(|class| missing >> class & 1 == 1) {
            let found = candidates(setting, &moments, at, class, cast).min_by_key(|&(seat, note, key)| {
                let own = cast.notes.get(&seat).and_then(|notes| notes.get(note));
                let strain = setting.lineup.sections[seat.0].chairs[seat.1].reach.strain(key);
                let distance = own.map_or(0, |note| (key - note.key()).abs());
                let crosses = own.is_some_and(|note| crosses(setting, cast, seat, note, key));
                let under = own.is_some_and(|note| floor.is_under(key, note.onset, note.end()));
                // Below the bass rather than in parallels across a line of the section; either alone before that.
                let faults = 2 * (usize::from(crosses) + parallels(cast, earlier, moments[at].at, seat, key, false))
                    + 3 * usize::from(under);
                (faults, strain, distance, seat, note)
            });
            let Some((seat, note, key)) = found else { continue };
            give(cast, (seat, note), key, &moments[at]);
        }
    }
}

/// A note goes to a key, spelled as the chord has it.
fn give(cast: &mut PhraseCast, (seat, note): (Seat, usize), key: i32, moment: &Moment) {
    let spelled = moment.spelled.get(&key.rem_euclid(12)).copied();
    if let Some(note) = cast.notes.get_mut(&seat).and_then(|notes| notes.get_mut(note)) {
        note.pitch = spelled.map_or_else(
            || crate::voicing::spelled(&[None; 12], key),
            |pitch| super::lines::by_octaves(pitch, (key - pitch.semitones()).div_euclid(12)),
        );
        note.like = note.like.filter(|like| like.plain);
    }
}

/// Semitones up to which somebody leaves a third for another tone.
const NEAR: i32 = 9;

/// Where more than two in five of who plays chords have the third, those who begin it there leave it for another tone of the chord, as long as that is near, lies as well or nearly so, and breaks no rule.
pub(super) fn relieved(
    setting: &Setting<'_>,
    span: (Crotchets, Crotchets),
    floor: &Floor,
    earlier: &Before,
    cast: &mut PhraseCast,
) {
    let single = is_single(setting.lineup);
    let moments = moments(setting, span);
    for at in 0..moments.len() {
        let here = moments[at].at;
        loop {
            let tones = tones(setting.sketch, here, sounded(cast, here, None));
            let is_third = |note: &CastNote| tones.third >> note.key().rem_euclid(12) & 1 == 1;
            let harmony = |note: &&CastNote| setting.sketch.strands[note.line.strand].role == Role::Harmony;
            let chords: Vec<&CastNote> = cast.notes.values().filter_map(|own| sounding(own, here)).filter(harmony).collect();
            let thirds = chords.iter().filter(|note| is_third(note)).count();
            if thirds < 2 || thirds * 5 <= chords.len() * 2 {
                break;
            }
            let others = moments[at].classes & !(tones.third | tones.leading | tones.seventh);
            let found =
                (0..12).filter(|class| others >> class & 1 == 1).flat_map(|class| candidates(setting, &moments, at, class, cast));
            let found = found.filter_map(|(seat, n, key)| {
                let note = cast.notes.get(&seat).and_then(|own| own.get(n)).filter(|note| is_third(note))?;
                let reach = setting.lineup.sections[seat.0].chairs[seat.1].reach;
                let way = (key - note.key()).abs();
                // A third to which a seventh falls stays.
                let before = cast.notes[&seat][..n].last().filter(|before| before.line.voice > 0);
                let moved = CastNote { pitch: crate::voicing::spelled(&[None; 12], key), ..*note };
                let hung =
                    before.is_some_and(|before| hangs(setting.sketch, before, &moved) && !hangs(setting.sketch, before, note));
                let as_it_is = || if single { 0 } else { parallels(cast, earlier, here, seat, note.key(), true) };
                // Where every player counts, the last chord of a phrase leads on to the next by the voices it has.
                let good = !hung
                    && (note.end() < span.1 || !single)
                    && reach.strain(key) <= reach.strain(note.key()).max(2)
                    && way <= NEAR
                    && !floor.is_under(key, note.onset, note.end())
                    && !crosses(setting, cast, seat, note, key)
                    && parallels(cast, earlier, here, seat, key, !single) <= as_it_is();
                good.then_some((way, seat, n, key))
            });
            let Some((_, seat, n, key)) = found.min() else { break };
            give(cast, (seat, n), key, &moments[at]);
            // Where every player counts, voices stay who they are; else this one doubles another for the moment.
            let others = cast.notes.iter().filter(|(other, _)| **other != seat).filter_map(|(_, own)| sounding(own, here));
            let own = cast.notes.get(&seat).and_then(|own| own.get(n)).map(|note| note.line.strand);
            let same = |(line, _): &(LineId, i32)| line.voice > 0 && Some(line.strand) == own;
            let mut voices = others.map(|note| (note.line, note.key())).filter(same);
            let doubled = voices.find(|(_, other)| !single && (other - key) % 12 == 0);
            if let (Some((line, _)), Some(note)) = (doubled, cast.notes.get_mut(&seat).and_then(|own| own.get_mut(n))) {
                note.line = line;
            }
        }
    }
}

/// Who, which note, and the key it would go to.
type Candidate = (Seat, usize, i32);

fn candidates<'a>(
    setting: &'a Setting<'_>,
    moments: &'a [Moment],
    at: usize,
    class: i32,
    cast: &'a PhraseCast,
) -> impl Iterator<Item = Candidate> + 'a {
    let here = moments[at].at;
    let begins = move |(&seat, notes): (&Seat, &'a Vec<CastNote>)| {
        let first = notes.partition_point(|note| note.onset < here);
        notes[first..].iter().take_while(move |note| note.onset == here).zip(first..).map(move |(note, n)| (seat, n, note))
    };
    cast.notes.iter().flat_map(begins).flat_map(move |(seat, n, note)| {
        let free = note.line.voice > 0 && note.duration.is_positive() && super::lines::locked(setting, seat, here).is_none();
        // A repeated rhythm keeps its pitch.
        let free = free && setting.sketch.strands[note.line.strand].role == Role::Harmony;
        // What the player gives up must be there without it, for as long as the note lasts, and what comes must belong.
        let within = || moments.iter().filter(|moment| note.onset <= moment.at && moment.at < note.end());
        let old = 1u16 << note.key().rem_euclid(12);
        let spared = || within().all(|moment| moment.classes & old == 0 || sounded(cast, moment.at, Some(seat)) & old != 0);
        let belongs = || within().all(|moment| moment.classes >> class & 1 == 1);
        let reach = setting.lineup.sections[seat.0].chairs[seat.1].reach;
        let keys = if free && spared() && belongs() { 0..128i32 } else { 0..0 };
        keys.filter(move |key| key.rem_euclid(12) == class && reach.allows(*key)).map(move |key| (seat, n, key))
    })
}

/// Where a layer of a rhythm rests for a bar, its players have what other layers lack there: a tone that nobody sounds, as often as the sketch strikes it.
pub(super) fn helped(
    setting: &Setting<'_>,
    plan: &PhrasePlan,
    span: (Crotchets, Crotchets),
    floor: &Floor,
    cast: &mut PhraseCast,
) {
    let sketch = setting.sketch;
    let bars = &sketch.score.bars;
    // Who helps in which bar, with the last key there, and as which voice.
    let mut helping: BTreeMap<(usize, Seat), i32> = BTreeMap::new();
    let mut voices: BTreeMap<Seat, usize> = BTreeMap::new();
    for (strand_at, strand) in sketch.strands.iter().enumerate().filter(|(_, strand)| is_pulse(strand)) {
        let tasks = plan.tasks.iter().filter(|task| task.strand == Some(strand_at));
        let seats: Vec<Seat> = tasks.flat_map(|task| task.chairs.iter().map(|&chair| (task.section, chair))).collect();
        let used = cast.notes.values().flatten().filter(|note| note.line.strand == strand_at).map(|note| note.line.voice).max();
        for note in strand.between(span.0, span.1).iter().filter(|note| note.duration.is_positive()) {
            if sounded(cast, note.onset, None) >> note.key().rem_euclid(12) & 1 == 1 {
                continue;
            }
            let bar = bar_of(bars, note.onset);
            let (from, to) = (sketch.bar_start(bar), sketch.bar_start(bar + 1));
            let rests = |seat: &Seat| {
                let own = cast.notes.get(seat).map_or(&[][..], Vec::as_slice);
                let locked = super::lines::locked(setting, *seat, note.onset).is_some();
                let busy = |one: &CastNote| one.onset < to && from < one.end();
                !locked
                    && if helping.contains_key(&(bar, *seat)) {
                        sounding(own, note.onset).is_none()
                    } else {
                        !own.iter().any(busy)
                    }
            };
            let like = Like { part: strand.part, note: note.written, plain: true };
            let line = LineId { strand: strand_at, voice: 0 };
            let new = CastNote {
                onset: note.onset,
                duration: note.duration,
                pitch: note.pitch,
                line,
                like: Some(like),
                held: note.held,
                breath: false,
            };
            let best = seats.iter().copied().filter(rests).flat_map(|seat| {
                let reach = setting.lineup.sections[seat.0].chairs[seat.1].reach;
                let last = helping.get(&(bar, seat)).copied();
                let keys = (0..128i32).filter(move |key| (key - note.key()) % 12 == 0 && reach.allows(*key));
                keys.map(move |key| (seat, key, last, reach.strain(key)))
            });
            let best = best.min_by_key(|&(seat, key, last, strain)| {
                let wrong = crosses(setting, cast, seat, &new, key) || floor.is_under(key, note.onset, note.end());
                (wrong, last != Some(key), last.is_none(), strain, (key - last.unwrap_or(note.key())).abs(), seat)
            });
            let Some((seat, key, ..)) = best else { continue };
            helping.insert((bar, seat), key);
            let next = used.unwrap_or(0) + 1 + voices.len();
            let voice = *voices.entry(seat).or_insert(next);
            let pitch = super::lines::by_octaves(note.pitch, (key - note.key()) / 12);
            let own = cast.notes.entry(seat).or_default();
            let place = own.partition_point(|one| one.onset <= note.onset);
            own.insert(place, CastNote { pitch, line: LineId { strand: strand_at, voice }, ..new });
        }
    }
}

/// The last note of each player before a phrase: when it ends, and its key.
type Before = BTreeMap<Seat, (Crotchets, i32)>;

/// With how many others this player would move in parallel fifths or octaves, into this key or on from it. `joins`: octaves with another voice of chords double it and are none.
fn parallels(cast: &PhraseCast, earlier: &Before, at: Crotchets, seat: Seat, key: i32, joins: bool) -> usize {
    let until = |seat: &Seat, notes: &[CastNote], at: Crotchets| {
        let last = notes[..notes.partition_point(|note| note.onset < at)].iter().rev().find(|note| note.duration.is_positive());
        match last {
            Some(last) => (at <= last.end()).then(|| last.key()),
            None => earlier.get(seat).filter(|(end, _)| *end >= at).map(|(_, key)| *key),
        }
    };
    let Some(own) = cast.notes.get(&seat) else { return 0 };
    let before = until(&seat, own, at);
    let next = own[own.partition_point(|note| note.onset <= at)..].first();
    let is_parallel = |(from, with): (Option<i32>, Option<i32>), (to, and): (Option<i32>, Option<i32>)| {
        let (Some(from), Some(with), Some(to), Some(and)) = (from, with, to, and) else { return false };
        let interval = (to - and).abs() % 12;
        from != to && with != and && (from - with).abs() % 12 == interval && matches!(interval, 0 | 7)
    };
    let others = cast.notes.iter().filter(|(other, _)| **other != seat);
    others
        .filter(|(other, notes)| {
            let doubled = sounding(notes, at).is_some_and(|note| note.line.voice > 0 && (note.key() - key) % 12 == 0);
            if joins && doubled {
                return false;
            }
            // What the other leaves and reaches as this one moves: there may be passing notes between.
            let beside = |at: Crotchets| (until(other, notes, at), sounding(notes, at).map(CastNote::key));
            let (left, reached) = beside(at);
            let on = next.is_some_and(|next| {
                let (left, reached) = beside(next.onset);
                is_parallel((Some(key), left), (Some(next.key()), reached))
            });
            is_parallel((before, left), (Some(key), reached)) || on
        })
        .count()
}

/// Pitch classes that sound at a moment, of everybody or of everybody but one.
fn sounded(cast: &PhraseCast, at: Crotchets, without: Option<Seat>) -> u16 {
    let of = |notes: &Vec<CastNote>| sounding(notes, at).map_or(0u16, |note| 1 << note.key().rem_euclid(12));
    cast.notes.iter().filter(|(seat, _)| Some(**seat) != without).fold(0, |have, (_, notes)| have | of(notes))
}

fn moments(setting: &Setting<'_>, span: (Crotchets, Crotchets)) -> Vec<Moment> {
    let chordal: Vec<&Strand> = setting.sketch.strands.iter().filter(|strand| strand.is_chordal()).collect();
    let mut times: Vec<Crotchets> = chordal.iter().flat_map(|strand| strand.moments(span).map(|(at, _)| at)).collect();
    times.sort_unstable();
    times.dedup();
    times
        .into_iter()
        .map(|at| {
            let (mut classes, mut spelled) = (0u16, BTreeMap::new());
            for note in chordal.iter().flat_map(|strand| strand.sounding(at)) {
                classes |= 1 << note.key().rem_euclid(12);
                spelled.entry(note.key().rem_euclid(12)).or_insert(note.pitch);
            }
            Moment { at, classes, spelled }
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test stops at the first surprise
mod tests {
    use super::*;

    #[test]
    fn parallels_are_fifths_and_octaves_that_both_move() {
        let notes = |keys: [i32; 3]| -> Vec<CastNote> {
            let note = |(at, key)| CastNote {
                onset: Crotchets::whole(at),
                duration: Crotchets::ONE,
                pitch: crate::voicing::spelled(&[None; 12], key),
                line: LineId { strand: 0, voice: 1 },
                like: None,
                held: false,
                breath: false,
            };
            (0..).zip(keys).map(note).collect()
        };
        let count = |mine: [i32; 3], other: [i32; 3], key: i32| {
            let cast = PhraseCast { notes: [((0, 0), notes(mine)), ((0, 1), notes(other))].into(), ..PhraseCast::default() };
            parallels(&cast, &Before::new(), Crotchets::ONE, (0, 0), key, false)
        };
        // C over F, then D over G: a fifth follows a fifth (any book on voice leading).
        assert_eq!(count([60, 62, 60], [53, 55, 57], 62), 1);
        // E over G is a sixth, and goes on to no fifth.
        assert_eq!(count([60, 62, 60], [53, 55, 57], 64), 0);
        // An octave that is held is none; one into which both move on from here is.
        assert_eq!(count([67, 67, 67], [55, 55, 55], 67), 0);
        assert_eq!(count([60, 62, 69], [53, 55, 57], 67), 1);
    }
}
