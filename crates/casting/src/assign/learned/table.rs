//! What is told of a phrase: numbers of every group, of every strand, and of every group with every strand.
//!
//! The same numbers are read when the network is trained (`measure windows`) and when it answers, so that none is computed in two ways.

use ripieno_instruments::Family;
use ripieno_score::Crotchets;
use ripieno_texture::Role;

use crate::assign::Unit;
use crate::lineup::{Lineup, Reach};
use crate::numbers::number;
use crate::reduction::staff_of;
use crate::sketch::Sketch;

/// Roles of strands, in the order of their flags.
pub(super) const ROLES: [Role; 8] =
    [Role::Melody, Role::Countermelody, Role::Figuration, Role::Rhythm, Role::Harmony, Role::Pedal, Role::Bass, Role::Effect];

/// Flags of families with which the numbers of a group begin.
pub(super) const FAMILIES: usize = 5;
/// Which number of a group is the middle of its compass.
pub(super) const MIDDLE: usize = 13;

/// How many numbers a group, a strand and a pair have.
pub(super) const NUMBERS: [usize; 3] = [38, 91, 56];

/// The numbers of a phrase. Rows of groups and strands are in their order; a pair's row stands at `group * strands + strand`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CastingTable {
    /// The catalogue's word for each group's section.
    pub kinds: Vec<&'static str>,
    /// Numbers of each group.
    pub groups: Vec<Vec<f32>>,
    /// Numbers of each strand.
    pub strands: Vec<Vec<f32>>,
    /// Numbers of each group with each strand.
    pub pairs: Vec<Vec<f32>>,
}

/// A note as it is counted: beginning, length and key; time in crotchets from the beginning of the phrase.
#[derive(Debug, Clone, Copy)]
struct Heard {
    at: f64,
    long: f64,
    key: i32,
}

/// Bars and time of a phrase.
struct Frame {
    length: f64,
    seconds: f64,
    bars: Vec<f64>,
}

#[allow(clippy::cast_possible_truncation)] // small numbers for a network of this precision
fn narrow(row: Vec<f64>) -> Vec<f32> {
    row.into_iter().map(|value| value.clamp(-30.0, 30.0) as f32).collect()
}

/// Reads a phrase.
#[must_use]
pub fn casting_table(
    sketch: &Sketch,
    lineup: &Lineup,
    units: &[Unit],
    strands: &[usize],
    span: (Crotchets, Crotchets),
) -> CastingTable {
    let tempo = &sketch.sounding.tempo;
    let length = (span.1 - span.0).to_f64().max(0.25);
    let within = sketch.score.bars.iter().filter(|bar| bar.start + bar.length > span.0 && bar.start < span.1);
    let frame = Frame {
        length,
        seconds: (tempo.seconds(span.1) - tempo.seconds(span.0)).max(0.1),
        bars: within.map(|bar| (bar.start - span.0).to_f64()).collect(),
    };
    let heard: Vec<Vec<Heard>> = strands
        .iter()
        .map(|&strand| {
            let notes = sketch.strands[strand].between(span.0, span.1).iter().filter(|note| note.duration.is_positive());
            notes
                .map(|note| Heard { at: (note.onset - span.0).to_f64(), long: note.duration.to_f64(), key: note.key() })
                .collect()
        })
        .collect();
    let roles: Vec<Role> = strands.iter().map(|&strand| staff_of(sketch.strands[strand].role).unwrap_or(Role::Effect)).collect();
    let level = |strand: usize| sketch.level_at(sketch.strands[strand].part, span.0).map(f64::from);
    let loudest = strands
        .iter()
        .filter_map(|&strand| level(strand))
        .fold(None, |most: Option<f64>, level| Some(most.map_or(level, |most| most.max(level))));
    // What is so of the whole phrase stands with every strand and every group.
    let mut whole = vec![
        (length / 8.0).ln(),
        (frame.seconds / length).ln(),
        number(frame.bars.len()).ln(),
        loudest.map_or(0.0, |level| level / 4.0 - 1.0),
        f64::from(u8::from(loudest.is_some())),
        number(strands.len()) / 4.0,
        number(units.len()) / 10.0,
        // What is not written may be because the sketch tells nothing of its kind.
        f64::from(u8::from(sketch.strands.iter().any(|strand| !strand.octaves.is_empty()))),
        f64::from(u8::from(sketch.tells_every_line())),
    ];
    whole.extend(ROLES.map(|role| f64::from(u8::from(roles.contains(&role)))));
    let means: Vec<f64> = heard.iter().map(|notes| weighted(notes).0).collect();
    let of_role = |role: Role| -> Vec<&[Heard]> {
        heard.iter().zip(&roles).filter(|(_, known)| **known == role).map(|(notes, _)| notes.as_slice()).collect()
    };
    let strand_row = |at: usize| {
        let found = &sketch.strands[strands[at]];
        let mut row: Vec<f64> = ROLES.map(|role| f64::from(u8::from(roles[at] == role))).to_vec();
        row.extend(shape(&heard[at], &frame));
        row.extend(spread(&heard[at]));
        row.push(level(strands[at]).map_or(0.0, |level| level / 4.0 - 1.0));
        row.push(level(strands[at]).zip(loudest).map_or(0.0, |(own, most)| own - most));
        let octaves = found.octaves_in(span);
        row.push(f64::from(u8::from(!octaves.is_empty())));
        row.extend((-2..=2).map(|octave| octaves.iter().find(|(other, _)| *other == octave).map_or(0.0, |(_, share)| *share)));
        row.push(number(means.iter().filter(|mean| **mean > means[at]).count()) / 3.0);
        row.push(number(means.iter().filter(|mean| **mean < means[at]).count()) / 3.0);
        for role in ROLES {
            row.extend(together(&heard[at], &of_role(role)));
        }
        // Which of several of its role it is, and how it goes with the first of them.
        let same: Vec<usize> = (0..strands.len()).filter(|&other| roles[other] == roles[at]).collect();
        row.push(number(same.iter().filter(|other| **other < at).count()) / 2.0);
        row.push(number(same.len() - 1) / 2.0);
        let first = same[0];
        row.push(if first == at { 0.0 } else { (means[at] - means[first]) / 12.0 });
        row.push(if first == at { 0.0 } else { together(&heard[at], &[&heard[first]])[0] });
        row.extend(&whole);
        row
    };
    let strand_rows: Vec<Vec<f64>> = (0..strands.len()).map(strand_row).collect();
    let octaves: Vec<Vec<i32>> = strands
        .iter()
        .map(|&strand| {
            let written = sketch.strands[strand].octaves_in(span).into_iter().filter(|(_, share)| *share >= WRITTEN);
            std::iter::once(0).chain(written.map(|(octave, _)| octave)).collect()
        })
        .collect();
    let playing = number(units.len()).max(1.0);
    let group_row = |at: usize| {
        let unit = &units[at];
        let section = &lineup.sections[unit.section];
        let chair = &section.chairs[unit.chairs[0]];
        let (reach, family) = (chair.reach, chair.instrument.family);
        let mut row: Vec<f64> = [Family::Woodwind, Family::Brass, Family::Percussion, Family::Strings, Family::Voice]
            .map(|known| f64::from(u8::from(family == known)))
            .to_vec();
        row.push(f64::from(u8::from(section.is_body)));
        row.push(number(unit.chairs.len()).ln());
        row.push(f64::from(u8::from(unit.chairs.len() < section.chairs.len())));
        row.push(number(unit.chairs[0]) / 4.0);
        for key in [reach.possible.low(), reach.possible.high(), reach.comfortable.low(), reach.comfortable.high()] {
            row.push((f64::from(key) - 60.0) / 12.0);
        }
        row.push(f64::from(reach.middle() - 60) / 12.0);
        // Second violins are violins after others.
        let alike = |other: &Unit| lineup.sections[other.section].kind == section.kind;
        row.push(number(units[..at].iter().filter(|other| alike(other)).count()) / 2.0);
        row.push(number(units[at + 1..].iter().filter(|other| alike(other)).count()) / 2.0);
        row.push(number(at) / playing);
        let middle = |other: &Unit| lineup.sections[other.section].chairs[other.chairs[0]].reach.middle();
        row.push(number(units.iter().filter(|other| middle(other) > reach.middle()).count()) / playing);
        let kin = |other: &&Unit| lineup.sections[other.section].chairs[0].instrument.family == family;
        row.push(number(units.iter().filter(kin).count()) / playing);
        row.push(number(units.iter().filter(kin).filter(|other| middle(other) > reach.middle()).count()) / 5.0);
        row.push(number(units.iter().filter(kin).filter(|other| middle(other) < reach.middle()).count()) / 5.0);
        row.extend(&whole);
        row
    };
    let pair_row = |at: usize, strand: usize| {
        let unit = &units[at];
        let reach = lineup.sections[unit.section].chairs[unit.chairs[0]].reach;
        let mut row = pair(&heard[strand], reach, &frame, &of_role);
        // Others of its role that lie nearer.
        let off = |strand: usize| (means[strand] - f64::from(reach.middle())).abs();
        let nearer = |&other: &usize| roles[other] == roles[strand] && off(other) < off(strand);
        row.push(number((0..strands.len()).filter(nearer).count()) / 2.0);
        row.extend(written(&heard[strand], reach, &octaves[strand]));
        row
    };
    CastingTable {
        kinds: units.iter().map(|unit| lineup.sections[unit.section].kind).collect(),
        groups: (0..units.len()).map(|at| narrow(group_row(at))).collect(),
        pairs: (0..units.len())
            .flat_map(|at| (0..strands.len()).map(move |strand| (at, strand)))
            .map(|(at, strand)| narrow(pair_row(at, strand)))
            .collect(),
        strands: strand_rows.into_iter().map(narrow).collect(),
    }
}

/// How a strand lies to a compass.
fn pair<'a>(notes: &[Heard], reach: Reach, frame: &Frame, of_role: &dyn Fn(Role) -> Vec<&'a [Heard]>) -> Vec<f64> {
    let all: f64 = notes.iter().map(|note| note.long).sum::<f64>().max(1e-6);
    let many = number(notes.len()).max(1.0);
    let (low, high) = (i32::from(reach.comfortable.low()), i32::from(reach.comfortable.high()));
    // Five parts of what is comfortable, and what lies below and above it, possible and not.
    let place = |key: i32| {
        if !reach.allows(key) {
            if key < low { 0 } else { 8 }
        } else if key < low {
            1
        } else if key > high {
            7
        } else {
            2 + usize::try_from((key - low) * 5 / (high - low + 1).max(1)).unwrap_or(0).min(4)
        }
    };
    let mut row = vec![0.0; 9];
    for note in notes {
        row[place(note.key)] += note.long / all;
    }
    for octave in -2..=2 {
        let keys = || notes.iter().map(|note| note.key + 12 * octave);
        row.push(number(keys().filter(|&key| reach.allows(key)).count()) / many);
        row.push(keys().map(|key| f64::from(reach.strain(key))).sum::<f64>() / many / 6.0);
    }
    row.push((weighted(notes).0 - f64::from(reach.middle())) / 12.0);
    // What of it lies within reach, as if it were all.
    let within: Vec<Heard> = notes.iter().copied().filter(|note| (low..=high).contains(&note.key)).collect();
    row.extend(shape(&within, frame));
    for role in [Role::Melody, Role::Bass, Role::Rhythm, Role::Harmony] {
        row.extend(together(&within, &of_role(role)));
    }
    row
}

/// From how great a share of its notes on a line counts as written in an octave.
const WRITTEN: f64 = 0.4;

/// How a strand lies to a compass in the octave, of those in which it is written, in which it lies best: the share within what is possible and what is comfortable, how far off the middle; and how
/// many of the octaves are comfortable.
fn written(notes: &[Heard], reach: Reach, octaves: &[i32]) -> [f64; 4] {
    let many = number(notes.len()).max(1.0);
    let share =
        |test: &dyn Fn(i32) -> bool, octave: i32| number(notes.iter().filter(|note| test(note.key + 12 * octave)).count()) / many;
    let comfortable = |octave: i32| {
        share(&|key| (i32::from(reach.comfortable.low())..=i32::from(reach.comfortable.high())).contains(&key), octave)
    };
    let mean = weighted(notes).0;
    let off = |octave: i32| mean + 12.0 * f64::from(octave) - f64::from(reach.middle());
    let lies = |octave: i32| comfortable(octave) - off(octave).abs() / 240.0;
    let best = octaves.iter().copied().max_by(|&a, &b| lies(a).total_cmp(&lies(b))).unwrap_or(0);
    let count = octaves.iter().filter(|&&octave| comfortable(octave) >= 0.9).count();
    [share(&|key| reach.allows(key), best), comfortable(best), off(best) / 12.0, number(count) / 2.0]
}

/// Mean and deviation of the keys, each as long as it sounds.
fn weighted(notes: &[Heard]) -> (f64, f64) {
    let all: f64 = notes.iter().map(|note| note.long).sum::<f64>().max(1e-6);
    let mean = notes.iter().map(|note| f64::from(note.key) * note.long).sum::<f64>() / all;
    let square = notes.iter().map(|note| (f64::from(note.key) - mean).powi(2) * note.long).sum::<f64>() / all;
    (mean, square.sqrt())
}

/// Share of the sounding time in each six semitones from key 24 on.
fn spread(notes: &[Heard]) -> Vec<f64> {
    let all: f64 = notes.iter().map(|note| note.long).sum::<f64>().max(1e-6);
    let mut row = vec![0.0; 13];
    for note in notes {
        row[usize::try_from((note.key - 24) / 6).unwrap_or(0).min(12)] += note.long / all;
    }
    row
}

/// The share of moments at which notes begin at which notes of others begin too; and of these the share in which a tone of both is the same but for octaves.
fn together(notes: &[Heard], others: &[&[Heard]]) -> [f64; 2] {
    let (mut moments, mut common, mut same) = (0.0f64, 0.0, 0.0);
    for chord in notes.chunk_by(|a, b| a.at == b.at) {
        moments += 1.0;
        let at = |other: &&[Heard]| other.partition_point(|note| note.at < chord[0].at);
        let begun = others.iter().flat_map(|other| other[at(other)..].iter().take_while(|note| note.at == chord[0].at));
        let there: Vec<i32> = begun.map(|note| note.key.rem_euclid(12)).collect();
        if !there.is_empty() {
            common += 1.0;
            same += f64::from(u8::from(chord.iter().any(|note| there.contains(&note.key.rem_euclid(12)))));
        }
    }
    [common / f64::max(moments, 1.0), same / f64::max(common, 1.0)]
}

/// How notes move: how many, how long, how high, how much apart.
fn shape(notes: &[Heard], frame: &Frame) -> Vec<f64> {
    let many = number(notes.len()).max(1.0);
    let chords: Vec<&[Heard]> = notes.chunk_by(|a, b| a.at == b.at).collect();
    let moments = number(chords.len());
    let long: f64 = notes.iter().map(|note| note.long).sum::<f64>() / many;
    // Time in which anything sounds.
    let (mut sounding, mut until) = (0.0, 0.0f64);
    for note in notes {
        let end = note.at + note.long;
        if end > until {
            sounding += end - note.at.max(until);
            until = end;
        }
    }
    let bars = frame.bars.iter().enumerate().filter(|&(at, &from)| {
        let to = frame.bars.get(at + 1).copied().unwrap_or(f64::INFINITY);
        notes.iter().any(|note| note.at < to && note.at + note.long > from)
    });
    let mut keys: Vec<i32> = notes.iter().map(|note| note.key).collect();
    keys.sort_unstable();
    let (lowest, highest) = (keys.first().copied().unwrap_or(60), keys.last().copied().unwrap_or(60));
    keys.dedup();
    let mut classes = [0.0f64; 12];
    for note in notes {
        classes[usize::try_from(note.key.rem_euclid(12)).unwrap_or(0)] += note.long / (long * many).max(1e-6);
    }
    let effective = 1.0 / classes.iter().map(|share| share * share).sum::<f64>().max(0.05);
    let (mut again, mut steps, mut leaps, mut rising) = (0.0, 0.0, 0.0, 0.0);
    for pair in chords.windows(2) {
        let tops = [pair[0], pair[1]].map(|chord| chord.iter().map(|note| note.key).max().unwrap_or(0));
        let apart = tops[1] - tops[0];
        let same = pair[0].len() == pair[1].len() && pair[0].iter().zip(pair[1]).all(|(a, b)| a.key == b.key);
        again += f64::from(u8::from(same));
        steps += f64::from(u8::from((1..=2).contains(&apart.abs())));
        leaps += f64::from(apart.abs().min(24)) / 12.0;
        rising += f64::from(apart.signum());
    }
    let between = (moments - 1.0).max(1.0);
    let (mean, deviation) = weighted(notes);
    let most = chords.iter().map(|chord| chord.len()).max().unwrap_or(0);
    let share = |test: &dyn Fn(&Heard) -> bool| number(notes.iter().filter(|note| test(note)).count()) / many;
    let mean = if notes.is_empty() { 60.0 } else { mean };
    vec![
        f64::from(u8::from(notes.is_empty())),
        (moments / frame.length * 2.0).ln_1p(),
        (moments / frame.seconds).ln_1p(),
        (long + 0.05).log2() / 2.0,
        sounding / frame.length,
        number(bars.count()) / number(frame.bars.len()).max(1.0),
        many / moments.max(1.0) / 3.0,
        number(most) / 5.0,
        number(keys.len()).ln_1p() / 2.0,
        effective / 5.0,
        again / between,
        steps / between,
        leaps / between,
        rising / between,
        notes.first().map_or(1.0, |note| note.at / frame.length),
        until / frame.length,
        (mean - 60.0) / 12.0,
        deviation / 12.0,
        (f64::from(lowest) - 60.0) / 12.0,
        (f64::from(highest) - 60.0) / 12.0,
        share(&|note| note.long < 0.4),
        share(&|note| note.long < 0.8),
        share(&|note| note.long >= 1.9),
    ]
}
