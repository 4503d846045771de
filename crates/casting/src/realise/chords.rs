//! Chords: the strand cut into slices, the groups gathered into choirs, each choir voiced.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::Range;
use ripieno_score::Crotchets;
use ripieno_texture::Role;

use super::floor::Floor;
use super::layers::{beat_of, is_pulse, layers, shared_out};
use super::lines::locked;
use super::tendency::{hangs, tones, tones_of};
use super::{Around, CastNote, LineId, PhraseCast, Seat, Setting};
use crate::assign::is_single;
use crate::lineup::{Lineup, Reach};
use crate::loudness::level_at;
use crate::notate::Like;
use crate::plan::{Arrangement, PhrasePlan, Task};
use crate::sketch::{SketchNote, Strand};
use crate::voicing::{Slice, Voice, Voiced, most_on, voice};

/// Voices a section needs to hold chords by itself.
const OWN_CHOIR: usize = 3;
/// Forte, on the scale of [`ripieno_score::DynamicLevel`].
const LOUD: f32 = 6.0;
/// Rounds in which choirs are voiced again beside the others.
const ROUNDS: usize = 2;

/// One voice of a choir and who plays it.
#[derive(Debug, Clone)]
struct Part {
    /// The player whose reach counts.
    lead: Seat,
    /// Players who double it.
    doubles: Vec<Seat>,
    target: i32,
}

/// Voices that are voiced together, from the top down.
#[derive(Debug, Clone)]
struct Choir {
    parts: Vec<Part>,
    close: f64,
}

impl Choir {
    /// Where its highest voice should lie.
    fn top(&self) -> i32 {
        self.parts.first().map_or(0, |part| part.target)
    }

    /// Where its lowest voice should lie.
    fn bottom(&self) -> i32 {
        self.parts.last().map_or(0, |part| part.target)
    }

    /// How many play it.
    fn players(&self) -> usize {
        self.parts.iter().map(|part| part.doubles.len() + 1).sum()
    }
}

pub(super) fn chords(
    setting: &Setting<'_>,
    plan: &PhrasePlan,
    span: (Crotchets, Crotchets),
    around: &Around,
    cast: &mut PhraseCast,
) {
    for (strand_at, strand) in setting.sketch.strands.iter().enumerate().filter(|(_, strand)| strand.is_chordal()) {
        let tasks: Vec<&Task> = plan.tasks.iter().filter(|task| task.strand == Some(strand_at)).collect();
        if tasks.is_empty() || strand.between(span.0, span.1).is_empty() {
            continue;
        }
        let layers = layers(setting, strand, span);
        if layers.is_empty() {
            continue;
        }
        let players: usize = tasks.iter().map(|task| task.chairs.len()).sum();
        if layers.len() > players {
            let bar = setting.sketch.bar_name(crate::notate::bar_of(&setting.sketch.score.bars, span.0));
            let (left, name) = (layers.len() - players, &strand.name);
            cast.remarks.push(format!(
                "from bar {bar}: {left} of {} layers of “{name}” are left out, for it has {players} players",
                layers.len()
            ));
        }
        // Voices are numbered through all layers: they are independent of each other.
        let mut offset = 1;
        for (at, own) in shared_out(setting, &layers, &tasks, span) {
            let layer = &layers[at];
            let tasks: Vec<&Task> = own.iter().collect();
            if tasks.is_empty() || layer.between(span.0, span.1).is_empty() {
                continue;
            }
            let choirs = choirs(setting, plan, &tasks, (layer.between(span.0, span.1), span), voices_of(layer, span));
            voice_all(setting, (strand_at, offset), layer, span, &choirs, around, cast);
            offset += choirs.iter().map(|choir| choir.parts.len()).sum::<usize>();
        }
    }
}

/// Chairs of a section in the order of chord tones from the top: strong high players first, strong low ones last, and horns by
/// their pairs (1 and 3 high, 2 and 4 low: common practice, as Piston, Adler and Gould have it).
pub(crate) fn from_the_top(setting_chairs: &[crate::lineup::Chair], kind: &str, chairs: &[usize]) -> Vec<usize> {
    let mut order = chairs.to_vec();
    order.sort_by_key(|&chair| {
        let strong = match setting_chairs[chair].strong {
            crate::lineup::Strong::High => 0,
            crate::lineup::Strong::Evenly => 1,
            crate::lineup::Strong::Low => 2,
        };
        let middle = -setting_chairs[chair].reach.middle();
        let pair = if kind == "horns" && chairs.len() > 2 { chair % 2 } else { 0 };
        (strong, pair, if strong == 1 { middle } else { 0 }, chair)
    });
    order
}

/// Independent voices a chord strand feeds: as many as it has different tones at once, and one more where there are three or more.
fn voices_of(strand: &Strand, span: (Crotchets, Crotchets)) -> usize {
    let counts = strand.moments(span).map(|(_, classes)| classes.count_ones() as usize);
    let most = counts.max().unwrap_or(3);
    if most >= 3 { most + 1 } else { most.max(1) }
}

/// Gathers the groups that have one chord strand; `most` voices of a choir are independent, further players double them.
fn choirs(
    setting: &Setting<'_>,
    plan: &PhrasePlan,
    tasks: &[&Task],
    (notes, span): (&[SketchNote], (Crotchets, Crotchets)),
    most: usize,
) -> Vec<Choir> {
    let count = i32::try_from(notes.len()).unwrap_or(i32::MAX).max(1);
    let sketched = notes.iter().map(SketchNote::key).sum::<i32>() / count;
    // Where every player counts, chords are those of one body: sections that each hold them would only double each other.
    let few = is_single(setting.lineup);
    let mut groups: Vec<(bool, Vec<Part>, f64)> = Vec::new();
    for task in tasks {
        let section = &setting.lineup.sections[task.section];
        let order = from_the_top(&section.chairs, section.kind, &task.chairs);
        if order.is_empty() {
            continue;
        }
        let voices = task.density.unwrap_or(most.max(OWN_CHOIR)).clamp(1, order.len());
        let middle = order.iter().map(|&chair| reach_in_chords(setting.lineup, (task.section, chair)).middle()).sum::<i32>()
            / i32::try_from(order.len()).unwrap_or(1);
        // The sketch's own register, brought to the octave nearest to the players', leads them a little.
        let near = sketched + 12 * ((f64::from(middle - sketched) / 12.0).round() as i32);
        // Trumpets and cornets have no strength below their middle: where it is loud they do not go down with it (common practice, from memory).
        let level = task.strand.and_then(|strand| level_at(setting.sketch, Some(task), strand, span, span.0));
        let bright = matches!(section.kind, "trumpets" | "cornets") && level.is_some_and(|level| level >= LOUD);
        let down = if bright { 0 } else { -5 };
        let centre =
            task.register.map_or_else(|| middle + ((near - middle) * 2 / 3).clamp(down, 5), |(low, high)| (low + high) / 2);
        let step = if centre >= 55 { 4 } else { 6 };
        let top = centre + step * i32::try_from(voices - 1).unwrap_or(0) / 2;
        let parts = (0..voices)
            .map(|at| {
                let seats: Vec<Seat> = order
                    .iter()
                    .enumerate()
                    .filter(|(n, _)| n * voices / order.len() == at)
                    .map(|(_, &chair)| (task.section, chair))
                    .collect();
                let own = reach_in_chords(setting.lineup, seats[0]);
                let target = (top - step * i32::try_from(at).unwrap_or(0))
                    .clamp(i32::from(own.comfortable.low()), i32::from(own.comfortable.high()));
                Part { lead: seats[0], doubles: seats[1..].to_vec(), target }
            })
            .collect();
        let own = voices >= OWN_CHOIR && (!few || task.density.is_some());
        groups.push((own, parts, task.close));
    }
    match plan.arrangement {
        Arrangement::Free => {
            let mut own: Vec<Choir> = Vec::new();
            let mut pooled: Vec<Part> = Vec::new();
            let mut close = 0.0;
            for (alone, parts, asked) in groups {
                if alone {
                    own.push(Choir { parts, close: asked });
                } else {
                    pooled.extend(parts);
                    close = if asked == 0.0 { close } else { asked };
                }
            }
            if !pooled.is_empty() {
                own.push(Choir { parts: shared(spread(pooled), most), close });
            }
            own
        }
        arrangement => {
            let mut sections: Vec<Vec<Part>> = groups.iter().map(|group| group.1.clone()).collect();
            sections.sort_by_key(|parts| {
                -parts.iter().map(|part| part.target).sum::<i32>() / i32::try_from(parts.len()).unwrap_or(1).max(1)
            });
            let close = groups.iter().map(|group| group.2).find(|&close| close != 0.0).unwrap_or(0.0);
            vec![Choir { parts: arranged(setting, arrangement, &sections), close }]
        }
    }
}

/// Voices of several sections, the highest first, in the order an arrangement asks for, with targets that fall (handbooks on laying chords out in wind: one group above the other, crossed,
/// or one around the others; from memory).
fn arranged(setting: &Setting<'_>, arrangement: Arrangement, sections: &[Vec<Part>]) -> Vec<Part> {
    match arrangement {
        Arrangement::Interlocked => {
            let longest = sections.iter().map(Vec::len).max().unwrap_or(0);
            spaced((0..longest).flat_map(|at| sections.iter().filter_map(move |parts| parts.get(at).cloned())).collect())
        }
        Arrangement::Enclosed => {
            // Around the others is the section that lies best so.
            let around = |outer: usize| {
                let own = &sections[outer];
                let inner = sections.iter().enumerate().filter(|(at, _)| *at != outer).flat_map(|(_, parts)| parts).cloned();
                let (above, below) = own.split_at(own.len().div_ceil(2));
                spaced(above.iter().cloned().chain(inner).chain(below.iter().cloned()).collect())
            };
            let strain = |parts: &Vec<Part>| -> i32 {
                parts.iter().map(|part| reach_in_chords(setting.lineup, part.lead).strain(part.target)).sum()
            };
            let ways = (0..sections.len()).filter(|&at| sections[at].len() > 1).map(around);
            ways.min_by_key(strain).unwrap_or_else(|| layered(sections))
        }
        Arrangement::Layered | Arrangement::Free => layered(sections),
    }
}

/// Targets that fall evenly around their mean.
fn spaced(mut parts: Vec<Part>) -> Vec<Part> {
    let many = i32::try_from(parts.len()).unwrap_or(1);
    let mean = parts.iter().map(|part| part.target).sum::<i32>() / many.max(1);
    let step = if many > EVENLY { 3 } else { 4 };
    for (place, part) in (0..).zip(&mut parts) {
        part.target = mean + step * (many / 2 - place);
    }
    parts
}

/// Voices up to which an arrangement spaces its targets by thirds of four semitones, beyond by three.
const EVENLY: i32 = 8;

/// Sections one above the other: the targets nearest to their own that fall by a third from voice to voice (least squares, by pooling neighbours that would rise).
fn layered(sections: &[Vec<Part>]) -> Vec<Part> {
    const STEP: i32 = 3;
    let mut parts: Vec<Part> = sections.iter().flatten().cloned().collect();
    let mut pools: Vec<(i32, i32)> = Vec::new();
    for (place, part) in (0..).zip(&parts) {
        let mut pool = (part.target + STEP * place, 1);
        while let Some(last) = pools.pop_if(|last| last.0 * pool.1 < pool.0 * last.1) {
            pool = (pool.0 + last.0, pool.1 + last.1);
        }
        pools.push(pool);
    }
    let levels = pools.iter().flat_map(|&(sum, many)| (0..many).map(move |_| sum / many));
    for ((place, part), level) in (0..).zip(&mut parts).zip(levels) {
        part.target = level - STEP * place;
    }
    parts
}

/// Voices of several small groups, ordered by where each player is at home, at least a third apart.
fn spread(mut parts: Vec<Part>) -> Vec<Part> {
    parts.sort_by_key(|part| (-part.target, part.lead));
    for at in 1..parts.len() {
        parts[at].target = parts[at].target.min(parts[at - 1].target - 3);
    }
    parts
}

/// Shares `most` voices out among more players than that, neighbours together.
fn shared(parts: Vec<Part>, most: usize) -> Vec<Part> {
    let many = parts.len();
    if many <= most {
        return parts;
    }
    let mut found: Vec<Part> = Vec::new();
    for (place, part) in parts.into_iter().enumerate() {
        if place * most / many == found.len() {
            found.push(part);
        } else if let Some(voice) = found.last_mut() {
            voice.doubles.push(part.lead);
            voice.doubles.extend(part.doubles);
        }
    }
    found
}

/// The highest key at which horns are inner voices: sounding A4, written E5 (common practice, from memory: middle parts from sounding F3 to A4; above they sound as a tune, and tire the lip).
const INNER_HORNS: u8 = 69;

/// What a player can be asked for in chords.
pub(super) fn reach_in_chords(lineup: &Lineup, seat: Seat) -> Reach {
    let section = &lineup.sections[seat.0];
    let own = section.chairs[seat.1].reach;
    let inner = Range::new(own.comfortable.low(), own.comfortable.high().min(INNER_HORNS));
    Reach { comfortable: inner.filter(|_| section.kind == "horns").unwrap_or(own.comfortable), ..own }
}

/// What all who play a voice can reach; where they have less than an octave in common, what the first of them can.
fn reach_of(setting: &Setting<'_>, part: &Part) -> Reach {
    let reach = |seat: &Seat| reach_in_chords(setting.lineup, *seat);
    let both = |a: Range, b: Range| Range::new(a.low().max(b.low()), a.high().min(b.high()));
    part.doubles.iter().map(reach).fold(reach(&part.lead), |all, own| {
        let possible = both(all.possible, own.possible).filter(|range| range.high() - range.low() >= 12);
        let comfortable = both(all.comfortable, own.comfortable);
        match (possible, comfortable) {
            (Some(possible), Some(comfortable)) => Reach { possible, comfortable },
            _ => all,
        }
    })
}

/// The octave at which a player doubles a voice: at the unison if that is at ease, crosses nobody of the section and does not lie below the bass.
fn doubling_octave(lineup: &Lineup, notes: &[CastNote], cast: &BTreeMap<Seat, Vec<CastNote>>, floor: &Floor, seat: Seat) -> i32 {
    let reach = reach_in_chords(lineup, seat);
    let limits: Vec<(Option<i32>, Option<i32>)> =
        notes.iter().map(|note| between_of(lineup, cast, seat, note.onset, note.end())).collect();
    let price = |by: i32| {
        let of = |(note, (low, high)): (&CastNote, &(Option<i32>, Option<i32>))| {
            let key = note.key() + 12 * by;
            let crosses = low.is_some_and(|low| key < low) || high.is_some_and(|high| key > high);
            let under = floor.is_under(key, note.onset, note.end());
            i64::from(reach.strain(key))
                + if reach.allows(key) { 0 } else { 40 }
                + if crosses { 12 } else { 0 }
                + if under { 30 } else { 0 }
        };
        notes.iter().zip(&limits).map(of).sum::<i64>() + i64::from(by.abs()) * 3 * i64::try_from(notes.len()).unwrap_or(1)
    };
    (-2..=2).min_by_key(|&by| (price(by), by.abs())).unwrap_or(0)
}

/// A line beside the choirs.
struct Beside<'a> {
    notes: &'a [CastNote],
}

impl<'a> Beside<'a> {
    fn at(&self, at: Crotchets) -> Option<i32> {
        let next = self.notes.partition_point(|note| note.onset <= at);
        self.notes[..next].iter().rev().take(8).find(|note| at < note.end()).map(CastNote::key)
    }

    /// Every key that sounds from one moment up to another.
    fn within(&self, from: Crotchets, to: Crotchets) -> impl Iterator<Item = i32> + use<'a> {
        let notes: &'a [CastNote] = self.notes;
        let first = self.notes.partition_point(|note| note.onset <= from).saturating_sub(8);
        notes[first..].iter().take_while(move |note| note.onset < to).filter(move |note| from < note.end()).map(CastNote::key)
    }

    /// The last key that sounds before a moment.
    fn before(&self, at: Crotchets) -> Option<i32> {
        let next = self.notes.partition_point(|note| note.onset < at);
        self.notes[..next].iter().rev().take(8).find(|note| note.duration.is_positive() && at <= note.end()).map(CastNote::key)
    }
}

fn voice_all(
    setting: &Setting<'_>,
    (strand_at, mut offset): (usize, usize),
    strand: &Strand,
    span: (Crotchets, Crotchets),
    choirs: &[Choir],
    around: &Around,
    cast: &mut PhraseCast,
) {
    // What sounds beside the chords: the lines of the phrase, and the upbeat with which the next begins while they last.
    let mut heard = cast.notes.clone();
    for (seat, notes) in &around.ahead {
        heard.entry(*seat).or_default().extend(notes);
    }
    // One player for each line: octave doublings say nothing more.
    let mut of_line: BTreeMap<LineId, (Seat, Vec<CastNote>)> = BTreeMap::new();
    for (seat, notes) in cast.notes.iter().chain(&around.ahead) {
        let Some(first) = notes.first() else { continue };
        let (_, known) = of_line.entry(first.line).or_insert_with(|| (*seat, Vec::new()));
        if known.last().is_none_or(|last| last.end() <= first.onset) {
            known.extend(notes);
        }
    }
    let beside: Vec<Beside<'_>> = of_line.values().map(|(_, notes)| Beside { notes }).collect();
    let role = |notes: &[CastNote]| notes.first().map(|note| setting.sketch.strands[note.line.strand].role);
    let all = cast.notes.values().chain(around.ahead.values());
    let tune: Vec<Beside<'_>> = all.filter(|notes| role(notes) == Some(Role::Melody)).map(|notes| Beside { notes }).collect();
    let floor = Floor::played(setting, cast.notes.values());
    let (base, struck) = slices(setting, strand, span, &beside, &tune, &floor);
    if base.is_empty() {
        return;
    }
    // The chord with which the next phrase begins is voiced along and left to it, so that the way across the joint is open.
    let next =
        strand.between(span.1, span.1 + Crotchets::ONE).iter().find(|note| note.duration.is_positive()).map(|note| note.onset);
    let joint = next.filter(|_| !around.ahead.is_empty() && around.after.is_empty()).map_or_else(Vec::new, |at| {
        let moment = (at, at + Crotchets::new(1, 960).unwrap_or(Crotchets::ONE));
        slices(setting, strand, moment, &beside, &tune, &Floor::played(setting, around.ahead.values())).0
    });
    let prepared: Vec<(Vec<Slice>, Vec<Voice>, crate::voicing::Weights)> = choirs
        .iter()
        .map(|choir| {
            let voices = choir
                .parts
                .iter()
                .map(|part| Voice { reach: reach_of(setting, part), target: part.target, players: part.doubles.len() + 1 })
                .collect();
            let mut own = [base.as_slice(), joint.as_slice()].concat();
            for slice in &mut own {
                // A note that is set for one who doubles holds for the whole voice: they have the same.
                let set = |part: &Part| {
                    std::iter::once(&part.lead).chain(&part.doubles).find_map(|&seat| locked(setting, seat, slice.from))
                };
                slice.fixed = choir.parts.iter().map(set).collect();
                slice.between =
                    choir.parts.iter().map(|part| between(setting.lineup, &heard, part, slice.from, slice.to)).collect();
            }
            (own, voices, crate::voicing::Weights { close: choir.close, ..setting.weights })
        })
        .collect();
    // What the lines beside had just before the chords, so that the step into them is judged like any other: by line and voice where these go on, else by player.
    let first = base.first().map_or(span.0, |slice| slice.from);
    let last = |line: LineId, seat: &Seat, within: Crotchets| {
        let near = |(end, key): &(Crotchets, i32)| (*end + within >= first).then_some(*key);
        around.lines.get(&line).and_then(near).or_else(|| around.before.get(seat).and_then(near))
    };
    let lines_end = of_line
        .iter()
        .map(|(line, (seat, notes))| Beside { notes }.before(first).or_else(|| last(*line, seat, Crotchets::ZERO)))
        .collect();
    let entry = Slice { lines_end, ..left(setting, strand, first) };
    let numbered: Vec<usize> = choirs
        .iter()
        .scan(offset, |next, choir| {
            let own = *next;
            *next += choir.parts.len();
            Some(own)
        })
        .collect();
    let context = |at: usize| -> (Vec<Option<i32>>, Option<Vec<i32>>) {
        let parts = &choirs[at].parts;
        let line = |n: usize| LineId { strand: strand_at, voice: numbered[at] + n };
        let before = parts.iter().enumerate().map(|(n, part)| last(line(n), &part.lead, Crotchets::ONE)).collect();
        let after = parts.iter().map(|part| around.after.get(&part.lead).copied()).collect();
        (before, after)
    };
    // First each for itself: with one body of voices what that costs is the least that is possible.
    cast.bounded &= choirs.len() < 2;
    let mut voiced: Vec<Voiced> = Vec::new();
    for (at, (own, voices, weights)) in prepared.iter().enumerate() {
        let (before, after) = context(at);
        let found = voice(own, voices, Some((&entry, before.as_slice())), after.as_deref(), weights, &setting.search);
        cast.bound += found.cost;
        cast.exact &= found.exact;
        voiced.push(found);
    }
    // Then beside the others: lines that another choir has are there to be heard and not to be doubled in parallel by accident.
    if choirs.len() > 1 {
        for _ in 0..ROUNDS {
            for at in 0..choirs.len() {
                let (own, voices, weights) = &prepared[at];
                let higher: Vec<&Voiced> = voiced
                    .iter()
                    .zip(choirs)
                    .filter(|(_, other)| other.bottom() >= choirs[at].top())
                    .map(|(found, _)| found)
                    .collect();
                let mut with_others = own.clone();
                for (place, slice) in with_others.iter_mut().enumerate() {
                    // Sections that hold the whole chord reinforce each other; only clashes at the edges are weighed.
                    let edges = higher.iter().filter_map(|found| found.keys[place].last()).map(|&lowest| lowest.max(60));
                    slice.above = edges.chain(slice.above).min();
                    // What no other section has is missed most: together the chord has to be whole.
                    let others = voiced.iter().enumerate().filter(|(other, _)| *other != at);
                    let sounded =
                        others.flat_map(|(_, found)| &found.keys[place]).fold(0u16, |have, key| have | 1 << key.rem_euclid(12));
                    slice.alone = slice.required & !sounded;
                    slice.wanted &= !sounded;
                    // Sevenths and leading notes are for one body of voices, if that is enough of them to be heard.
                    slice.doubled = slice.tendency & sounded;
                    slice.required &= !heard_elsewhere(slice, choirs, &voiced, at, place);
                }
                let (before, after) = context(at);
                let found =
                    voice(&with_others, voices, Some((&entry, before.as_slice())), after.as_deref(), weights, &setting.search);
                if !found.keys.is_empty() {
                    voiced[at] = found;
                }
            }
        }
    }
    cast.cost += voiced.iter().map(|found| found.cost).sum::<f64>();
    voiced.iter_mut().for_each(|found| found.keys.truncate(base.len()));
    let mut doubled: Vec<(Seat, Vec<CastNote>, &Voiced, usize)> = Vec::new();
    let mut crowds = Crowds::new(&base, choirs, &voiced);
    for (choir, found) in choirs.iter().zip(&voiced) {
        for (at, part) in choir.parts.iter().enumerate() {
            let line = LineId { strand: strand_at, voice: offset + at };
            let notes = notes_of(&base, &struck, found, at, line, strand);
            doubled.extend(part.doubles.iter().map(|&seat| (seat, notes.clone(), found, offset)));
            cast.notes.entry(part.lead).or_default().extend(notes);
        }
        offset += choir.parts.len();
        let silent = found.keys.iter().filter(|keys| keys.is_empty()).count();
        if silent > 0 {
            let names: BTreeSet<&str> =
                choir.parts.iter().map(|part| setting.lineup.sections[part.lead.0].name.as_str()).collect();
            let bar = setting.sketch.bar_name(crate::notate::bar_of(&setting.sketch.score.bars, span.0));
            let names: Vec<&str> = names.into_iter().collect();
            cast.remarks.push(format!(
                "{}, from bar {bar}: {silent} chords have no voicing within the players' reach and are left out",
                names.join(" and ")
            ));
        }
    }
    // Who doubles a voice finds his octave beside all who lead one.
    for (seat, notes, _, _) in &doubled {
        let (seat, notes) = (*seat, notes.as_slice());
        let reach = setting.lineup.sections[seat.0].chairs[seat.1].reach;
        let usual = doubling_octave(setting.lineup, notes, &cast.notes, &floor, seat);
        let mut own: Vec<CastNote> = Vec::with_capacity(notes.len());
        for note in notes {
            if let Some(key) = locked(setting, seat, note.onset) {
                let pitch = match (key - note.key()) % 12 {
                    0 => super::lines::by_octaves(note.pitch, (key - note.key()) / 12),
                    _ => crate::voicing::spelled(&[None; 12], key),
                };
                own.push(CastNote { pitch, ..*note });
                continue;
            }
            let key = |by: &i32| note.key() + 12 * by;
            let reached = || [usual, 0, 1, -1, 2, -2].into_iter().filter(|by| reach.allows(key(by)));
            let above = reached().find(|by| !floor.is_under(key(by), note.onset, note.end()));
            let Some(by) = above.or_else(|| reached().next()) else { continue };
            own.push(CastNote { pitch: super::lines::by_octaves(note.pitch, by), ..*note });
        }
        cast.notes.entry(seat).or_default().extend(own);
    }
    // A repeated rhythm keeps its pitch, and where every player counts, who doubles a voice stays with it; else a chord may be doubled elsewhere, where that crosses nobody and
    // needs no leap.
    let may_leave = !is_pulse(strand) && !is_single(setting.lineup);
    for (seat, _, found, offset) in doubled.iter().filter(|_| may_leave) {
        let reach = reach_in_chords(setting.lineup, *seat);
        let own = cast.notes.get(seat).map_or(0, Vec::len);
        for at in 0..own {
            let notes = &cast.notes[seat];
            let note = notes[at];
            let before = at.checked_sub(1).map(|before| notes[before]);
            if note.line.strand != strand_at || locked(setting, *seat, note.onset).is_some() {
                continue;
            }
            let Some((voice, key)) = crowds.instead(&note, found) else { continue };
            let (low, high) = between_of(setting.lineup, &cast.notes, *seat, note.onset, note.end());
            let crosses = low.is_some_and(|low| key < low) || high.is_some_and(|high| key > high);
            let leaps = before.is_some_and(|before| (key - before.key()).abs() > 7);
            let pitch = base[crowds.places(&note).start].pitch(key);
            let leaves = before.is_some_and(|before| hangs(setting.sketch, &before, &CastNote { pitch, ..note }));
            if crosses || leaps || leaves || reach.strain(key) > 0 || floor.is_under(key, note.onset, note.end()) {
                continue;
            }
            crowds.moved(&note, key);
            let line = LineId { strand: strand_at, voice: offset + voice };
            if let Some(mine) = cast.notes.get_mut(seat).and_then(|notes| notes.get_mut(at)) {
                (mine.pitch, mine.line) = (pitch, line);
            }
        }
    }
}

/// The chord that is left where chords of a strand begin, as far as it has to resolve; nothing where none comes before.
fn left(setting: &Setting<'_>, strand: &Strand, first: Crotchets) -> Slice {
    let last = first - Crotchets::new(1, 960).unwrap_or(Crotchets::ZERO);
    let (tones, _) = tones_of(setting.sketch, last);
    let (leading, seventh) = (tones.leading, tones.seventh);
    Slice { allowed: strand.classes_at(last), leading, seventh, ..Slice::default() }
}

/// Sevenths and leading notes that other choirs than one have with at least one in five of all players.
fn heard_elsewhere(slice: &Slice, choirs: &[Choir], voiced: &[Voiced], but: usize, place: usize) -> u16 {
    let all: usize = choirs.iter().map(Choir::players).sum();
    let others = choirs.iter().zip(voiced).enumerate().filter(|(at, _)| *at != but);
    let mut on = [0usize; 12];
    for (_, (choir, found)) in others {
        for (part, &key) in choir.parts.iter().zip(&found.keys[place]) {
            on[class(key)] += part.doubles.len() + 1;
        }
    }
    let enough = (0..12usize).filter(|&class| on[class] * 5 >= all && on[class] > 0);
    enough.fold(0u16, |have, class| have | 1 << class) & slice.tendency
}

/// How many players have each tone of each slice, so that who doubles a voice leaves a tone that too many have.
struct Crowds<'a> {
    slices: &'a [Slice],
    players: usize,
    /// Players on each pitch class, slice by slice.
    on: Vec<[usize; 12]>,
}

impl<'a> Crowds<'a> {
    fn new(slices: &'a [Slice], choirs: &[Choir], voiced: &[Voiced]) -> Self {
        let many = |part: &Part| part.doubles.len() + 1;
        let players = choirs.iter().map(Choir::players).sum();
        let mut on = vec![[0; 12]; slices.len()];
        for (choir, found) in choirs.iter().zip(voiced) {
            for (place, keys) in found.keys.iter().enumerate() {
                for (part, &key) in choir.parts.iter().zip(keys) {
                    on[place][class(key)] += many(part);
                }
            }
        }
        Self { slices, players, on }
    }

    /// What somebody who doubles a voice can have instead of a note that too many have ([`most_on`]): a tone that bears another player, of another voice of the choir that keeps it for as long,
    /// near the note; a third that is thin before others. As voice and key.
    fn instead(&self, note: &CastNote, found: &Voiced) -> Option<(usize, i32)> {
        let places = self.places(note);
        let tone = class(note.key());
        let heavy = |at: usize| self.on[at][tone] > most_on(&self.slices[at], 1 << tone, self.players);
        if places.is_empty() || !places.clone().all(heavy) {
            return None;
        }
        let first = places.start;
        let bears = |at: usize, tone: usize| {
            let slice = &self.slices[at];
            slice.tendency >> tone & 1 == 0 && self.on[at][tone] < most_on(slice, 1 << tone, self.players)
        };
        let keeps = |voice: &usize| {
            let key = found.keys[first][*voice];
            places.clone().all(|at| found.keys[at].get(*voice) == Some(&key) && bears(at, class(key)))
        };
        let near = |voice: usize| {
            let apart = (found.keys[first][voice] - note.key()).rem_euclid(12);
            (voice, note.key() + if apart > 6 { apart - 12 } else { apart })
        };
        let thick = |key: i32| {
            let tone = class(key);
            self.slices[first].third >> tone & 1 == 0 || self.on[first][tone] * 5 > self.players
        };
        let all = (0..found.keys[first].len()).filter(keeps).map(near);
        all.min_by_key(|(_, key)| (thick(*key), (key - note.key()).abs()))
    }

    /// Somebody went from one key to another for as long as a note lasts.
    fn moved(&mut self, note: &CastNote, to: i32) {
        for at in self.places(note) {
            self.on[at][class(note.key())] = self.on[at][class(note.key())].saturating_sub(1);
            self.on[at][class(to)] += 1;
        }
    }

    fn places(&self, note: &CastNote) -> std::ops::Range<usize> {
        let first = self.slices.partition_point(|slice| slice.to <= note.onset);
        first..first + self.slices[first..].iter().take_while(|slice| slice.from < note.end()).count()
    }
}

fn class(key: i32) -> usize {
    usize::try_from(key.rem_euclid(12)).unwrap_or(0)
}

/// The keys between which a voice stays in a slice lest it cross a line that its own section has: higher chairs above, lower ones below.
fn between(
    lineup: &Lineup,
    notes: &BTreeMap<Seat, Vec<CastNote>>,
    part: &Part,
    from: Crotchets,
    to: Crotchets,
) -> (Option<i32>, Option<i32>) {
    let seats = std::iter::once(&part.lead).chain(&part.doubles);
    seats.map(|&seat| between_of(lineup, notes, seat, from, to)).fold((None, None), |all, own| {
        let high = all.1.into_iter().chain(own.1).min();
        (all.0.max(own.0), high)
    })
}

/// The same for one player. Horns sit by their pairs or by number, either is usual: higher is who is so by both.
pub(super) fn between_of(
    lineup: &Lineup,
    notes: &BTreeMap<Seat, Vec<CastNote>>,
    seat: Seat,
    from: Crotchets,
    to: Crotchets,
) -> (Option<i32>, Option<i32>) {
    let section = &lineup.sections[seat.0];
    if section.chairs.len() < 2 {
        return (None, None);
    }
    let all: Vec<usize> = (0..section.chairs.len()).collect();
    let order = from_the_top(&section.chairs, section.kind, &all);
    let place = |chair: usize| order.iter().position(|&other| other == chair);
    let own = place(seat.1);
    let (mut above, mut below) = (None, None);
    for ((_, chair), notes) in notes.range((seat.0, 0)..(seat.0 + 1, 0)).filter(|((_, chair), _)| *chair != seat.1) {
        let within = || Beside { notes }.within(from, to);
        match (*chair < seat.1, place(*chair) < own) {
            (true, true) => above = within().chain(above).min(),
            (false, false) => below = within().chain(below).max(),
            _ => {}
        }
    }
    (below, above)
}

/// The notes of one voice: what goes on from slice to slice without a new attack is one note; what is struck again within a slice is as many.
fn notes_of(
    slices: &[Slice],
    struck: &[Vec<(Crotchets, Crotchets)>],
    found: &Voiced,
    voice: usize,
    line: LineId,
    strand: &Strand,
) -> Vec<CastNote> {
    let mut notes: Vec<CastNote> = Vec::new();
    for ((slice, attacks), keys) in slices.iter().zip(struck).zip(&found.keys) {
        let Some(&key) = keys.get(voice) else { continue };
        for (n, &(from, to)) in attacks.iter().enumerate() {
            let attacked = n > 0 || slice.attacked >> key.rem_euclid(12) & 1 == 1;
            match notes.last_mut() {
                Some(last) if !attacked && last.key() == key && last.end() == from => last.duration += to - from,
                _ => notes.push(CastNote {
                    onset: from,
                    duration: to - from,
                    pitch: slice.pitch(key),
                    line,
                    like: None,
                    held: !attacked,
                    breath: false,
                }),
            }
        }
    }
    // What lasts as long as a chord of the sketch is written as that is, with its dots and accents.
    for note in &mut notes {
        let written = strand.between(note.onset, note.end()).iter().take_while(|other| other.onset == note.onset);
        let first = written.filter(|other| other.duration == note.duration).map(|other| other.written).min();
        note.like = first.map(|written| Like { part: strand.part, note: written, plain: true });
    }
    notes
}

/// From and to of each attack of a slice.
type Struck = Vec<(Crotchets, Crotchets)>;

/// Cuts a chord strand at every moment at which any of its notes begins, repeated notes at every beat; with the attacks of each slice.
fn slices(
    setting: &Setting<'_>,
    strand: &Strand,
    span: (Crotchets, Crotchets),
    beside: &[Beside<'_>],
    melody: &[Beside<'_>],
    floor: &Floor,
) -> (Vec<Slice>, Vec<Struck>) {
    let within = strand.between(span.0, span.1);
    let mut onsets: Vec<Crotchets> = within.iter().filter(|note| note.duration.is_positive()).map(|note| note.onset).collect();
    onsets.dedup();
    let mut found: Vec<Slice> = Vec::with_capacity(onsets.len());
    let mut struck: Vec<Struck> = Vec::with_capacity(onsets.len());
    for &from in &onsets {
        let next = strand.notes[strand.notes.partition_point(|note| note.onset <= from)..]
            .iter()
            .find(|note| note.duration.is_positive())
            .map(|note| note.onset);
        let now: Vec<&SketchNote> = strand.sounding(from).collect();
        let last = now.iter().map(|note| note.end()).max().unwrap_or(from);
        let to = next.map_or(last, |next| next.min(last));
        let mut slice = Slice { from, to, ..Slice::default() };
        for note in &now {
            let class = usize::try_from(note.key().rem_euclid(12)).unwrap_or(0);
            slice.allowed |= 1 << class;
            if note.onset == from && !note.held {
                slice.attacked |= 1 << class;
            }
            slice.names[class].get_or_insert((note.pitch.step, note.pitch.alter));
        }
        let elsewhere = beside.iter().filter_map(|line| line.at(from)).fold(0u16, |have, key| have | 1 << key.rem_euclid(12));
        slice.required = slice.allowed & !elsewhere;
        // A repeated note keeps its pitch for the beat: the same tones struck again are one slice, of others those who have a tone that stays should stay with it.
        let in_beat = |last: &&mut Slice| is_pulse(strand) && beat_of(setting, last.from) == beat_of(setting, from);
        if let (Some(last), Some(attacks)) = (found.last_mut().filter(in_beat), struck.last_mut()) {
            if last.allowed == slice.allowed {
                last.attacked |= slice.attacked;
                // What a line has at the first of them it may have left at the next.
                last.required |= slice.required;
                last.to = to;
                last.lines_end = beside.iter().map(|line| line.before(to)).collect();
                last.below = last.below.max(floor.over(from, to));
                attacks.push((from, to));
                continue;
            }
            slice.kept = last.allowed & slice.allowed;
        }
        slice.lines = beside.iter().map(|line| line.at(from)).collect();
        slice.lines_end = beside.iter().map(|line| line.before(to)).collect();
        slice.above = melody.iter().filter_map(|line| line.at(from)).max();
        slice.below = floor.over(from, to);
        let tones = tones(setting.sketch, from, slice.allowed | elsewhere);
        (slice.leading, slice.seventh, slice.third, slice.fifth) = (tones.leading, tones.seventh, tones.third, tones.fifth);
        slice.tendency = tones.leading | tones.seventh;
        // A seventh or leading note that a line has is not doubled without need: it could only resolve in parallel with it.
        slice.wanted = slice.allowed & !(slice.tendency & elsewhere);
        found.push(slice);
        struck.push(vec![(from, to)]);
    }
    (found, struck)
}
