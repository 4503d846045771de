//! Where everybody breathes: marks and, in notes longer than a breath, a new beginning, so that nobody has to play on without.
//!
//! Each phrase is looked at by itself, so that one can be cast again and the others stay. Of all ways to set breaths the one with the smallest price is taken
//! (dynamic programming), at most [`FULL`] of a breath apart by the flows of `ripieno_players`. Where a strand holds on, players of one section breathe at
//! different places (staggered); where the tune ends its phrase they breathe together. That sections breathe in turn through what is sustained and with the tune
//! at the ends of its phrases is common practice (handbooks agree; from memory); the prices are ours.

use std::collections::BTreeMap;

use ripieno_players::Limits;
use ripieno_score::{Crotchets, DynamicLevel};
use ripieno_texture::Role;

use crate::loudness::level_at;
use crate::numbers::number;
use crate::plan::{PhrasePlan, Plan};
use crate::realise::{CastNote, PhraseCast, Seat, Setting};

/// How much of a full breath is used before the next.
const FULL: f64 = 0.9;
/// Seconds between breaths at most, however little air is used: `ripieno_players` objects from twenty on (`stale-air`, from memory).
const LONGEST: f64 = 14.0;
/// A rest in which a breath is taken without a mark, and a parted note that lends its end to one, in seconds: as `ripieno_players` has them.
pub(crate) const SNATCHED: f64 = 0.2;
const LENDS: f64 = 0.4;
/// A parted note up to so long, in seconds, is nothing that is sustained: between such notes players breathe as they phrase, and nobody marks it (common
/// practice, from memory; the number is ours).
const STRUCK: f64 = 2.0;
/// Of a breath, how much players who do not breathe at the end of a phrase have used by then, and begin the next with.
const CARRIED: f64 = 0.4;

/// Prices of a breath: at the end of a phrase, after a parted note, after a short one, inside a slur, inside a note, and together with another of the section.
const AT_THE_END: f64 = 0.3;
const PARTED: f64 = 1.0;
const SHORT: f64 = 2.0;
const SLURRED: f64 = 3.0;
const INSIDE: f64 = 5.0;
const TOGETHER: f64 = 2.5;
/// And together with all others who hold a tone, so that it is gone.
const VANISHES: f64 = 6.0;

/// A stretch of a note after which a breath can be taken.
struct Stretch {
    note: usize,
    to: Crotchets,
    /// The note ends with it.
    ends: bool,
    litres: f64,
    seconds: f64,
    /// Seconds of rest after it, within the phrase.
    rest: f64,
    slurred: bool,
}

/// Sets the breaths of a phrase.
pub(crate) fn breathe(setting: &Setting<'_>, plan: &PhrasePlan, span: (Crotchets, Crotchets), cast: &mut PhraseCast) {
    // Breaths of those who have a strand already.
    let mut taken: BTreeMap<usize, Vec<Other>> = BTreeMap::new();
    let seats: Vec<Seat> = cast.notes.keys().copied().collect();
    for seat in seats {
        let section = &setting.lineup.sections[seat.0];
        let chair = &section.chairs[seat.1];
        let Some(strand) = cast.notes.get(&seat).and_then(|notes| notes.first()).map(|note| note.line.strand) else { continue };
        let limits = Limits::of(chair.instrument, Some(i32::from(chair.transposition.semitones)), section.level);
        let Some(limits) = limits.filter(|limits| limits.breath_seconds(60, None).is_some()) else { continue };
        let others = taken.entry(strand).or_default();
        let Some(notes) = cast.notes.get_mut(&seat) else { continue };
        let stretches = stretches(setting, plan, span, seat, notes, &limits);
        let sings = matches!(setting.sketch.strands[strand].role, Role::Melody | Role::Countermelody);
        let mut breaths = places(&stretches, notes, others, seat.0, sings, span.1, limits.air());
        // A tune is phrased by its marks.
        breaths.retain(|&at| sings || !is_left_to_the_player(setting, &stretches[at], notes));
        let own: Vec<Crotchets> = breaths.iter().map(|&at| stretches[at].to).collect();
        let inside = breaths.iter().filter(|&&at| !stretches[at].ends).count();
        if inside > 0 && others.iter().all(|other| other.seat.0 != seat.0) {
            let bar = setting.sketch.bar_name(crate::notate::bar_of(&setting.sketch.score.bars, span.0));
            let name = &section.name;
            cast.remarks.push(format!(
                "{name} {}, from bar {bar}: a note lasts longer than a breath; where to breathe in it is marked",
                chair.number
            ));
        }
        others.push(Other { seat, breaths: own, notes: notes.clone() });
        take(notes, &stretches, &breaths);
    }
    // In turn breathes who has a mark inside the phrase where another of the section with the same strand has none, and the other way round.
    for others in taken.values() {
        let inside = |other: &Other| other.breaths.iter().copied().filter(|at| *at < span.1).collect::<Vec<_>>();
        for one in others {
            let own = inside(one);
            let apart = |other: &&Other| {
                let theirs = inside(other);
                other.seat.0 == one.seat.0 && !theirs.is_empty() && theirs != own
            };
            if !own.is_empty() && others.iter().any(|other| apart(&other)) {
                cast.in_turn.insert(one.seat);
            }
        }
    }
}

/// Whether a breath needs no mark: between notes struck apart that are long enough to lend their end to it.
fn is_left_to_the_player(setting: &Setting<'_>, stretch: &Stretch, notes: &[CastNote]) -> bool {
    let tempo = &setting.sketch.sounding.tempo;
    let note = &notes[stretch.note];
    let seconds = tempo.seconds(note.end()) - tempo.seconds(note.onset);
    stretch.ends && !stretch.slurred && (LENDS..STRUCK).contains(&seconds)
}

/// Somebody who has the strand too, and where he breathes.
struct Other {
    seat: Seat,
    breaths: Vec<Crotchets>,
    notes: Vec<CastNote>,
}

/// Seconds for which a breath lasts at a flow, in litres a second.
fn lasts(limits: &Limits, flow: f64) -> f64 {
    (limits.air() * FULL / flow.max(1e-6)).min(LONGEST)
}

/// Seconds for which a breath of a player lasts in a strand of a phrase, at the note that takes most of it.
pub(crate) fn a_breath_lasts(setting: &Setting<'_>, plan: &PhrasePlan, seat: Seat, notes: &[CastNote]) -> f64 {
    let (section, span) = (&setting.lineup.sections[seat.0], Plan::span(setting.sketch, &plan.bars));
    let chair = &section.chairs[seat.1];
    let task = plan.tasks.iter().find(|task| task.section == seat.0 && task.chairs.contains(&seat.1));
    let limits = Limits::of(chair.instrument, Some(i32::from(chair.transposition.semitones)), section.level);
    limits.map_or(LONGEST, |limits| {
        let flow = |note: &CastNote| {
            let level = level_at(setting.sketch, task, note.line.strand, span, note.onset).map(DynamicLevel);
            limits.flow_at(u8::try_from(note.key()).unwrap_or(60), level).unwrap_or(0.0)
        };
        lasts(&limits, notes.iter().map(flow).fold(0.0, f64::max))
    })
}

/// The notes of a player as stretches; what lasts long is cut at barlines, and at the half of long bars, where a breath can be taken if need be.
fn stretches(
    setting: &Setting<'_>,
    plan: &PhrasePlan,
    span: (Crotchets, Crotchets),
    seat: Seat,
    notes: &[CastNote],
    limits: &Limits,
) -> Vec<Stretch> {
    let sketch = setting.sketch;
    let tempo = &sketch.sounding.tempo;
    let task = plan.tasks.iter().find(|task| task.section == seat.0 && task.chairs.contains(&seat.1));
    let slurs: &[(Crotchets, Crotchets)] = notes.first().map_or(&[], |note| sketch.slurs(sketch.strands[note.line.strand].part));
    let mut found = Vec::new();
    for (at, note) in notes.iter().enumerate().filter(|(_, note)| note.duration.is_positive()) {
        let level = level_at(sketch, task, note.line.strand, span, note.onset).map(DynamicLevel);
        let key = u8::try_from(note.key()).unwrap_or(60);
        let flow = limits.flow_at(key, level).unwrap_or(0.0);
        let next = notes[at + 1..].iter().find(|next| next.duration.is_positive());
        let rest = next.map_or_else(
            || tempo.seconds(span.1.max(note.end())) - tempo.seconds(note.end()),
            |next| tempo.seconds(next.onset) - tempo.seconds(note.end()),
        );
        let slurred = note.like.is_some_and(|like| !like.plain)
            && next.is_some_and(|next| slurs.iter().any(|(from, to)| *from <= note.onset && next.onset <= *to));
        let long = tempo.seconds(note.end()) - tempo.seconds(note.onset) > lasts(limits, flow) * 0.5;
        let mut ends: Vec<Crotchets> = if long { cuts(sketch, note) } else { Vec::new() };
        ends.push(note.end());
        let mut from = note.onset;
        for to in ends {
            let seconds = tempo.seconds(to) - tempo.seconds(from);
            let last = to == note.end();
            found.push(Stretch {
                note: at,
                to,
                ends: last,
                litres: flow * seconds,
                seconds,
                rest: if last { rest.max(0.0) } else { 0.0 },
                slurred,
            });
            from = to;
        }
    }
    found
}

/// Barlines and halves of bars inside a note.
fn cuts(sketch: &crate::sketch::Sketch, note: &CastNote) -> Vec<Crotchets> {
    let bars = &sketch.score.bars;
    let first = crate::notate::bar_of(bars, note.onset);
    let half = Crotchets::new(1, 2).unwrap_or(Crotchets::ONE);
    let inside = |at: &Crotchets| note.onset < *at && *at < note.end();
    let bars = bars[first..].iter().take_while(|bar| bar.start < note.end());
    bars.flat_map(|bar| [bar.start, bar.start + bar.length * half]).filter(inside).collect()
}

/// After which stretches to breathe: at the smallest price, and never more than a breath apart.
fn places(
    stretches: &[Stretch],
    notes: &[CastNote],
    others: &[Other],
    section: usize,
    sings: bool,
    end: Crotchets,
    air: f64,
) -> Vec<usize> {
    let company = others.iter().any(|other| other.seat.0 == section) && !sings;
    // What has been used before the first stretch, and may be used after the last breath.
    let carried = if company { CARRIED } else { 0.0 };
    let price = |at: usize| {
        let stretch = &stretches[at];
        if stretch.rest >= SNATCHED {
            return 0.0;
        }
        let last = at + 1 == stretches.len() && stretch.to >= end;
        let near = |other: &&Other| other.breaths.iter().any(|at| (*at - stretch.to).to_f64().abs() < 1.0);
        // Who of another section holds the same tone there; a tune is phrased by each section for itself.
        let key = notes[stretch.note].key();
        let holds = |other: &&Other| {
            let begun = other.notes.partition_point(|note| note.onset < stretch.to);
            other.notes[..begun].last().is_some_and(|note| note.key() == key && stretch.to <= note.end())
        };
        let company = |other: &&Other| other.seat.0 == section || !sings && !last && holds(other);
        let together = others.iter().filter(company).filter(near).count();
        let tone = || others.iter().filter(|other| !sings && !last && holds(other));
        let vanishes = tone().next().is_some() && tone().all(|other| near(&other));
        let own = if last {
            AT_THE_END
        } else if !stretch.ends {
            INSIDE
        } else if stretch.slurred {
            SLURRED
        } else {
            PARTED - 0.2 * stretch.seconds.min(2.0) + if stretch.seconds < LENDS { SHORT } else { 0.0 }
        };
        let shared = if last && sings { 0.0 } else { TOGETHER * number(together) };
        own + shared + if vanishes { VANISHES } else { 0.0 }
    };
    let full = air * FULL;
    let fits = |litres: f64, seconds: f64, share: f64| litres <= full * share && seconds <= LONGEST * share;
    // For each number of stretches the least price of a breath after the last of them, and the breath before it.
    let mut best: Vec<(f64, usize)> = vec![(f64::INFINITY, 0); stretches.len() + 1];
    best[0].0 = 0.0;
    for to in 1..=stretches.len() {
        let (mut litres, mut seconds) = (0.0, 0.0);
        for from in (0..to).rev() {
            litres += stretches[from].litres;
            seconds += stretches[from].seconds;
            let share = if from == 0 { 1.0 - carried } else { 1.0 };
            if from + 1 < to && !fits(litres, seconds, share) {
                // Before the first stretch somewhat more may have been used than is liked, never beyond a breath.
                if from > 0 || !fits(litres, seconds, 1.0) {
                    break;
                }
            }
            let whole = best[from].0 + price(to - 1);
            if whole < best[to].0 {
                best[to] = (whole, from);
            }
        }
    }
    let mut last = stretches.len();
    if company {
        let (mut litres, mut seconds, mut open) = (0.0, 0.0, stretches.len());
        while open > 0 {
            litres += stretches[open - 1].litres;
            seconds += stretches[open - 1].seconds;
            if !fits(litres, seconds, CARRIED) {
                break;
            }
            open -= 1;
            if best[open].0 < best[last].0 {
                last = open;
            }
        }
    }
    let mut found = Vec::new();
    while last > 0 {
        found.push(last - 1);
        last = best[last].1;
    }
    found.reverse();
    found.retain(|&at| stretches[at].rest < SNATCHED);
    found
}

/// Marks the breaths; a note in which one is taken begins again after it.
fn take(notes: &mut Vec<CastNote>, stretches: &[Stretch], breaths: &[usize]) {
    for &at in breaths.iter().rev() {
        let stretch = &stretches[at];
        let note = notes[stretch.note];
        if stretch.ends {
            notes[stretch.note].breath = true;
            continue;
        }
        // Nothing of the sketch's page lasts as long as either half.
        notes[stretch.note] = CastNote { duration: stretch.to - note.onset, breath: true, like: None, ..note };
        notes.insert(stretch.note + 1, CastNote { onset: stretch.to, duration: note.end() - stretch.to, like: None, ..note });
    }
}
