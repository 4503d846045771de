//! How many of a section play what it has, and who of them: the others rest, and take turns with them from phrase to phrase.
//!
//! How many comes from what sections of winds do at each loudness in open scores (`examples/density.rs`); who, from how long each has played. Bodies of
//! strings and line-ups in which every player is a group of his own are left as they are.

use ripieno_instruments::Family;
use ripieno_score::DynamicLevel;
use ripieno_texture::Role;

use super::{Memory, is_single, polyphony, present};
use crate::lineup::{Lineup, LineupSection};
use crate::loudness::level_in;
use crate::plan::{PhrasePlan, Plan, Task};
use crate::realise::{Seat, from_the_top};
use crate::sketch::{Sketch, Strand};

/// Seconds of playing (loud and high ones counted more, [`Memory::loads`]) from which on a player is spared where another can take over: the window over which
/// `ripieno_players` looks at the lips of brass (`endurance.csv`, from memory).
const SPARED: f64 = 60.0;
/// Seconds up to which a player counts as fresh, whatever is to come.
const FRESH: f64 = 0.5 * SPARED;
/// What it is worth, in the same seconds, that whoever has a line goes on with it.
const GOES_ON: f64 = 20.0;
/// What one place further from the first chair costs.
const FURTHER: f64 = 4.0;

/// Players of a wind section of two, three, and four (in larger ones the same share) who have a line together, by loudness (up to mp, mf, f, ff). Means by time over 49 open
/// scores (`examples/density.rs`): a tune 1.36 to 1.77 of two, 1.21 to 1.81 of three, 1.39 to 1.82 of four; the fewer the softer.
const ON_A_LINE: [[f64; 4]; 3] = [[1.36, 1.51, 1.70, 1.77], [1.21, 1.25, 1.76, 1.81], [1.39, 1.36, 1.63, 1.82]];
/// The same for all players of a section who have chords.
const IN_CHORDS: [[f64; 4]; 3] = [[1.55, 1.55, 1.76, 1.78], [2.04, 1.87, 2.29, 2.25], [1.92, 2.12, 2.44, 2.74]];
/// The same for a figure; of sections of three and more too few were met, so that they have a line's.
const ON_A_FIGURE: [f64; 4] = [1.28, 1.38, 1.70, 1.56];

/// Loudness in four classes: up to mp, mf, f, ff and more; mf where nothing is marked.
pub(super) fn class(level: Option<f32>) -> usize {
    level.map_or(1, |level| [4.5, 5.5, 6.5].iter().filter(|&&limit| level >= limit).count())
}

/// How many of a section's players have a strand at a loudness. `tones`: how many different tones a chord strand asks for.
fn wanted(strand: &Strand, size: usize, level: Option<f32>, tones: usize) -> usize {
    let class = class(level);
    let number = |count: usize| f64::from(u32::try_from(count).unwrap_or(u32::MAX));
    let of = |table: &[[f64; 4]; 3]| {
        let row = size.clamp(2, 4);
        let count = table[row - 2][class] * number(size) / number(row);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small number of players
        let count = count.round() as usize;
        count.clamp(1, size)
    };
    match strand.role {
        Role::Figuration if size == 2 => of(&[ON_A_FIGURE; 3]),
        _ if !strand.is_chordal() => of(&ON_A_LINE),
        // A chord is whole before it is thin.
        _ => of(&IN_CHORDS).max(tones.min(size)),
    }
}

/// Tasks in which as many of each section play as its loudness asks for; whoever is left rests, which the tasks say. `others`: tasks of the plan, which stay as they are.
pub(crate) fn thinned(sketch: &Sketch, lineup: &Lineup, phrase: &PhrasePlan, mut tasks: Vec<Task>, memory: &Memory) -> Vec<Task> {
    if is_single(lineup) {
        return tasks;
    }
    let span = Plan::span(sketch, &phrase.bars);
    let strands = present(sketch, span);
    let mut resting: Vec<Task> = Vec::new();
    for at in 0..tasks.len() {
        let Some(strand_at) = tasks[at].strand else { continue };
        let section = &lineup.sections[tasks[at].section];
        let winds = matches!(section.chairs[0].instrument.family, Family::Brass | Family::Woodwind);
        let size = tasks[at].chairs.len();
        if section.is_body || !winds || size < 2 {
            continue;
        }
        let strand = &sketch.strands[strand_at];
        let tones = if strand.is_chordal() { polyphony(sketch, strand_at, &strands, span) } else { 1 };
        let level = level_in(sketch, strand_at, span);
        // Chords stay whole: what the other sections have of them counts.
        let elsewhere: usize = tasks
            .iter()
            .enumerate()
            .filter(|(other, task)| *other != at && task.strand == Some(strand_at))
            .map(|(_, task)| task.chairs.len())
            .sum();
        let least = if strand.is_chordal() { tones.saturating_sub(elsewhere).clamp(1, size) } else { 1 };
        let mut count = wanted(strand, size, level, tones).max(least);
        let effort = memory.effort(sketch, section, tasks[at].chairs[0], strand_at, tasks[at].octave.unwrap_or(0), span);
        let tired = |chair: &usize| {
            let load = memory.load((tasks[at].section, *chair));
            load > FRESH && load + effort > SPARED
        };
        // Whoever has played long is spared as far as the others suffice.
        let fresh = tasks[at].chairs.iter().filter(|chair| !tired(chair)).count();
        count = count.min(fresh.max(least));
        if count >= size {
            continue;
        }
        let playing = chosen(lineup, &tasks[at], strand, count, memory, effort);
        let others: Vec<usize> = tasks[at].chairs.iter().copied().filter(|chair| !playing.contains(chair)).collect();
        let spared = others.iter().any(tired);
        let mark = DynamicLevel(level.unwrap_or(DynamicLevel::MEZZO_FORTE.0)).mark();
        let why = if spared {
            "rest for lips and breath, while others of the section have it".to_owned()
        } else {
            format!("rest: at {mark} {count} of the section are enough")
        };
        resting.push(Task { why, ..Task::new(tasks[at].section, others, Role::Tacet, None) });
        tasks[at].chairs = playing;
    }
    // One silence a section, whatever it is for.
    for silence in resting {
        let same = |task: &&mut Task| task.section == silence.section && task.strand.is_none() && task.role == Role::Tacet;
        match tasks.iter_mut().find(same) {
            Some(known) => {
                known.chairs.extend(&silence.chairs);
                known.chairs.sort_unstable();
            }
            None => tasks.push(silence),
        }
    }
    tasks
}

/// Who plays: of a line those who go on with it and are not tired, from the first chair; of chords one from each place of the section from the top, the least tired there.
fn chosen(lineup: &Lineup, task: &Task, strand: &Strand, count: usize, memory: &Memory, effort: f64) -> Vec<usize> {
    let section: &LineupSection = &lineup.sections[task.section];
    let order = from_the_top(&section.chairs, section.kind, &task.chairs);
    let seat = |chair: usize| -> Seat { (task.section, chair) };
    let price = |place: usize, chair: usize| {
        let over = (memory.load(seat(chair)) + effort - SPARED).max(0.0);
        let goes_on = memory.had(seat(chair)) == task.strand;
        let turn = 0.3 * memory.turn(seat(chair));
        turn + 2.0 * over + FURTHER * f64::from(u32::try_from(place).unwrap_or(u32::MAX)) - if goes_on { GOES_ON } else { 0.0 }
    };
    let mut found: Vec<usize> = if strand.is_chordal() {
        let many = order.len();
        let places = |slot: usize| (0..many).filter(move |place| place * count / many == slot);
        let best = |slot: usize| {
            places(slot).min_by(|&a, &b| {
                let of = |place: usize| {
                    memory.turn(seat(order[place])) - if memory.had(seat(order[place])).is_some() { 8.0 } else { 0.0 }
                };
                of(a).total_cmp(&of(b)).then(a.cmp(&b))
            })
        };
        (0..count).filter_map(best).map(|place| order[place]).collect()
    } else {
        let mut places: Vec<usize> = (0..order.len()).collect();
        places.sort_by(|&a, &b| price(a, order[a]).total_cmp(&price(b, order[b])).then(a.cmp(&b)));
        places.truncate(count);
        places.into_iter().map(|place| order[place]).collect()
    };
    found.sort_unstable();
    found
}
