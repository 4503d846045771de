//! How many of a section play what it has, and who of them: the others rest, and take turns with them from phrase to phrase.
//!
//! How many comes from what sections of winds do at each loudness in open scores (`examples/density.rs`); who, from how long each has played. Bodies of
//! strings and line-ups in which every player is a group of his own are left as they are.
//!
//! Those figures are of orchestras, in which strings fill the loud bars. Without strings the whole band has to: then whoever is left doubles tune, chords or bass until as many
//! play as the loudness asks for ([`SOUNDING`]).

use std::collections::BTreeMap;

use ripieno_instruments::Family;
use ripieno_score::DynamicLevel;
use ripieno_texture::Role;

use super::{Memory, has_strings, is_last, is_single, is_sparse, mean, not_soft, polyphony, present};
use crate::habits::Habits;
use crate::lineup::{Chair, Lineup, LineupSection};
use crate::loudness::level_in;
use crate::numbers::number;
use crate::period::period;
use crate::plan::{PhrasePlan, Plan, Task};
use crate::realise::{Seat, from_the_top};
use crate::sketch::{Sketch, SketchNote, Strand};

/// Seconds of playing (loud and high ones counted more, [`Memory::loads`]) from which on a player is spared where another can take over: the window over which
/// `ripieno_players` looks at the lips of brass is 60 s (`endurance.csv`, from memory), of which at most half may be high and loud; that is 90 s as they are counted here.
const SPARED: f64 = 90.0;
/// Seconds up to which a player counts as fresh, whatever is to come.
const FRESH: f64 = 0.5 * SPARED;
/// Seconds before the end of a sketch from which on lips are spared for it (two or three phrases; ours).
const BEFORE_THE_END: f64 = 24.0;
/// Shares of the players of a band without strings who play together, by loudness (up to mp, mf, f, ff): common practice of wind scores, from memory: about half at p,
/// two thirds at mf, nearly all from f on. Where only two things go on at once it is so much thinner.
const SOUNDING: [f64; 4] = [0.5, 0.67, 0.9, 1.0];
const TWO_STRANDS: f64 = 0.8;
/// How much a proposal that is to be fuller or thinner ([`super::Taste::fullness`]) moves that share.
const FULLER: f64 = 0.15;
/// What it is worth, beside how well a strand lies, that a player goes on with it, and that others of the section have it.
const GOES_ON: f64 = 0.6;
const WITH_THE_SECTION: f64 = 0.2;
/// What it costs to double a tune an octave lower.
const LOWER: f64 = 0.4;

/// Why somebody rests.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Rest {
    /// Tired.
    Lips,
    /// Others of the section do.
    Enough,
    /// So as not to cover the melody.
    Uncovers,
    /// What the choice of strands says.
    Kept(String),
}

/// Who rests, and why.
pub(crate) type Rests = BTreeMap<Seat, Rest>;

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

/// Tasks in which as many of each section play as its loudness asks for; whoever is left rests, and why is told in `rests`.
pub(crate) fn thinned(
    sketch: &Sketch,
    lineup: &Lineup,
    phrase: &PhrasePlan,
    mut tasks: Vec<Task>,
    memory: &Memory,
    rests: &mut Rests,
) -> Vec<Task> {
    for task in tasks.iter().filter(|task| task.strand.is_none()) {
        rests.extend(task.chairs.iter().map(|&chair| ((task.section, chair), Rest::Kept(task.why.clone()))));
    }
    if is_single(lineup) {
        return tasks;
    }
    let span = Plan::span(sketch, &phrase.bars);
    let strands = present(sketch, span);
    let closes = closes_loud(sketch, phrase);
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
        // Before a loud end lips are spared for it.
        let left = super::seconds(sketch, (span.1, sketch.bar_start(sketch.score.bars.len())));
        let spares = class(level) >= 2 && left <= BEFORE_THE_END;
        let to_come = if spares { effort * left / super::seconds(sketch, span).max(1e-9) } else { 0.0 };
        let tired = |chair: &usize| !closes && is_tired(memory.load((tasks[at].section, *chair)), effort + to_come);
        // Whoever has played long is spared as far as the others suffice, at f by turns: never most of a section at once.
        let fresh = tasks[at].chairs.iter().filter(|chair| !tired(chair)).count();
        let turns = if class(level) >= 2 { count.div_ceil(2) } else { 1 };
        count = count.min(fresh.max(least).max(turns));
        // Where a piece closes loud, its tune has no fewer than before.
        if closes && strand.role == Role::Melody {
            let had = tasks[at].chairs.iter().filter(|chair| memory.had((tasks[at].section, **chair)) == Some(strand_at)).count();
            count = count.max(had);
        }
        if count >= size {
            continue;
        }
        let playing = chosen(lineup, &tasks[at], strand, count, memory, effort);
        let others: Vec<usize> = tasks[at].chairs.iter().copied().filter(|chair| !playing.contains(chair)).collect();
        for chair in &others {
            rests.insert((tasks[at].section, *chair), if tired(chair) { Rest::Lips } else { Rest::Enough });
        }
        resting.push(Task::new(tasks[at].section, others, Role::Tacet, None));
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

/// Who plays: first those who go on with it and are not tired; of a line from the first chair, of chords one from each place of the section from the top, the least tired there.
fn chosen(lineup: &Lineup, task: &Task, strand: &Strand, count: usize, memory: &Memory, effort: f64) -> Vec<usize> {
    let section: &LineupSection = &lineup.sections[task.section];
    let order = from_the_top(&section.chairs, section.kind, &task.chairs);
    let many = order.len();
    let load = |place: usize| memory.load((task.section, order[place]));
    let goes_on = |place: usize| memory.had((task.section, order[place])) == task.strand && !is_tired(load(place), effort);
    let price = |place: usize| {
        let over = (load(place) + effort - SPARED).max(0.0);
        0.3 * memory.turn((task.section, order[place])) + 2.0 * over + FURTHER * number(place)
    };
    let mut places: Vec<usize> = (0..many).collect();
    places.sort_by(|&a, &b| goes_on(b).cmp(&goes_on(a)).then(price(a).total_cmp(&price(b))).then(a.cmp(&b)));
    let mut found: Vec<usize> = if strand.is_chordal() {
        // One from each place that nobody goes on in.
        let slot = |place: usize| place * count / many;
        let mut kept: Vec<usize> = places.iter().copied().filter(|&place| goes_on(place)).take(count).collect();
        let turn = |place: usize| memory.turn((task.section, order[place]));
        for empty in 0..count {
            if kept.len() < count && !kept.iter().any(|&place| slot(place) == empty) {
                let here = (0..many).filter(|place| slot(*place) == empty && !kept.contains(place));
                kept.extend(here.min_by(|&a, &b| turn(a).total_cmp(&turn(b)).then(a.cmp(&b))));
            }
        }
        let left: Vec<usize> = places.iter().copied().filter(|place| !kept.contains(place)).collect();
        kept.extend(left.into_iter().take(count.saturating_sub(kept.len())));
        kept
    } else {
        places.truncate(count);
        places
    };
    found.iter_mut().for_each(|place| *place = order[*place]);
    found.sort_unstable();
    found
}

/// Whether a phrase is the end of the sketch and loud: lips are spared before it, nobody is sent out there for them (common practice; from memory).
fn closes_loud(sketch: &Sketch, phrase: &PhrasePlan) -> bool {
    is_last(sketch, phrase) && is_loud(sketch, phrase)
}

/// Whether a phrase is loud: f or more somewhere in it.
pub(crate) fn is_loud(sketch: &Sketch, phrase: &PhrasePlan) -> bool {
    loudness(sketch, phrase) >= 2
}

/// Whether a player has played so long that nothing is added for him.
pub(crate) fn is_spent(load: f64) -> bool {
    load > FRESH
}

fn is_tired(load: f64, effort: f64) -> bool {
    load > FRESH && load + effort > SPARED
}

/// The loudest level of a strand in a phrase, where the strand and where bars begin.
pub(super) fn loudest(sketch: &Sketch, phrase: &PhrasePlan) -> Option<f32> {
    let span = Plan::span(sketch, &phrase.bars);
    let of = |strand: usize| {
        let bars = phrase.bars.clone().filter_map(move |bar| sketch.level_at(sketch.strands[strand].part, sketch.bar_start(bar)));
        bars.chain(level_in(sketch, strand, span))
    };
    let levels = present(sketch, span).into_iter().flat_map(of);
    levels.fold(None, |most: Option<f32>, level| Some(most.map_or(level, |most| most.max(level))))
}

/// The class of loudness of a phrase.
pub(super) fn loudness(sketch: &Sketch, phrase: &PhrasePlan) -> usize {
    class(loudest(sketch, phrase))
}

/// How many are to play in a phrase of a band without strings; none where there are strings, or where a line is alone.
fn asked_for(sketch: &Sketch, lineup: &Lineup, phrase: &PhrasePlan, fullness: f64) -> usize {
    let span = Plan::span(sketch, &phrase.bars);
    let strands = present(sketch, span).len();
    if strands < 2 || has_strings(lineup) {
        return 0;
    }
    let thin = if strands == 2 { TWO_STRANDS } else { 1.0 };
    let share = (SOUNDING[loudness(sketch, phrase)] * thin + FULLER * fullness).clamp(0.3, 1.0);
    let all: usize = lineup.sections.iter().map(|section| section.chairs.len()).sum();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a number of players
    let count = (share * number(all)).round() as usize;
    count
}

/// Players who sound something by tasks.
pub(crate) fn playing(tasks: &[Task]) -> usize {
    tasks.iter().filter(|task| task.strand.is_some()).map(|task| task.chairs.len()).sum()
}

/// What a strand of a phrase is to those who might double it.
struct Doubled<'a> {
    strand: usize,
    role: Role,
    chordal: bool,
    notes: &'a [SketchNote],
    /// What its period has: whoever doubles it keeps the octave as long.
    period: &'a [SketchNote],
    /// Its part of all players.
    part: f64,
}

/// Parts of all players that strands have in a full band (ours): chords most, the tune more than the bass. Figures and effects are for a few.
const fn part_of(role: Role) -> Option<f64> {
    match role {
        Role::Melody => Some(0.3),
        Role::Harmony => Some(0.4),
        Role::Bass => Some(0.17),
        Role::Rhythm | Role::Punctuation => Some(0.2),
        Role::Countermelody => Some(0.15),
        Role::Pedal => Some(0.1),
        _ => None,
    }
}

/// Lets those of a band who rest, and are not tired, double tune, chords, bass or answer until as many play as the loudness asks for; a strand that all players would leave
/// keeps one of them. Returns how many that is; 0 where nothing is asked for.
pub(crate) fn filled(
    sketch: &Sketch,
    lineup: &Lineup,
    phrase: &PhrasePlan,
    tasks: &mut Vec<Task>,
    memory: &Memory,
    (habits, fullness): (&Habits, f64),
    rests: &mut Rests,
) -> usize {
    let mut asked = asked_for(sketch, lineup, phrase, fullness);
    if asked == 0 {
        return 0;
    }
    // Where it is louder no fewer play than where it was softer.
    asked = memory.most[..loudness(sketch, phrase)].iter().fold(asked, |asked, &most| asked.max(most));
    let span = Plan::span(sketch, &phrase.bars);
    let there = present(sketch, span);
    let doubled: Vec<Doubled<'_>> = there
        .iter()
        .copied()
        .filter(|&strand| !is_sparse(sketch, &there, strand, &phrase.bars))
        .filter_map(|strand| {
            let found = &sketch.strands[strand];
            let (role, notes) = (found.role, found.between(span.0, span.1));
            let period = if super::keeps_its_octave(role) { period(sketch, strand, span) } else { notes };
            part_of(role).map(|part| Doubled { strand, role, chordal: found.is_chordal(), notes, period, part })
        })
        .collect();
    let all: usize = lineup.sections.iter().map(|section| section.chairs.len()).sum();
    let single = is_single(lineup);
    let soft = loudness(sketch, phrase) == 0;
    let closes = closes_loud(sketch, phrase);
    let full = loudness(sketch, phrase) == 3;
    let mut resting: Vec<Seat> =
        rests.iter().filter(|(_, rest)| closes || full || **rest != Rest::Lips).map(|(seat, _)| *seat).collect();
    // What somebody holds beside his usual instrument he keeps.
    resting.retain(|seat| tasks.iter().all(|task| task.section != seat.0 || task.held == 0));
    let present_roles: Vec<Role> = doubled.iter().map(|one| one.role).collect();
    let carriers = |tasks: &[Task], strand: usize| -> usize {
        let both = tasks.iter().chain(&phrase.tasks).filter(|task| task.strand == Some(strand));
        both.map(|task| task.chairs.len()).sum()
    };
    let offer = |tasks: &[Task], seat: Seat, one: &Doubled<'_>| -> Option<(f64, i32)> {
        let section = &lineup.sections[seat.0];
        let own = |task: &&Task| task.section == seat.0 && task.strand == Some(one.strand);
        let known = tasks.iter().find(own);
        // What the section never does in the practice, it does not double either.
        if known.is_none() && habits.never(section.kind, one.role, &present_roles) {
            return None;
        }
        // At p a line is for one or two of a section, and the tune for those it was given to.
        let crowded = known.map_or(one.role == Role::Melody, |task| task.chairs.len() > 1);
        if soft && !one.chordal && crowded {
            return None;
        }
        let (misfit, octave) = lies(&section.chairs[seat.1], one, carriers(tasks, one.strand) > 0 && !single)?;
        // Who is tired rests, but in a tutti not most of a section at once.
        let busy = tasks.iter().filter(|task| task.section == seat.0 && task.strand.is_some()).map(|task| task.chairs.len());
        let thin = full && busy.sum::<usize>() * 2 < section.chairs.len();
        if !closes && !thin && is_tired(memory.load(seat), memory.effort(sketch, section, seat.1, one.strand, octave, span)) {
            return None;
        }
        let level = level_in(sketch, one.strand, span);
        if !one.chordal && not_soft(sketch, section, &section.chairs[seat.1], one.notes, octave, level) > 0.0 {
            return None;
        }
        let need = number(carriers(tasks, one.strand) + 1) / (one.part * number(all));
        let goes_on = if memory.had(seat) == Some(one.strand) { GOES_ON } else { 0.0 };
        let company = if known.is_some() { WITH_THE_SECTION } else { 0.0 };
        Some((need + misfit - goes_on - company, octave))
    };
    let join = |tasks: &mut Vec<Task>, rests: &mut Rests, seat: Seat, one: &Doubled<'_>, octave: i32| {
        for task in tasks.iter_mut().filter(|task| task.section == seat.0 && task.strand.is_none()) {
            task.chairs.retain(|chair| *chair != seat.1);
        }
        tasks.retain(|task| !task.chairs.is_empty());
        rests.remove(&seat);
        let octave = (!one.chordal).then_some(octave);
        let same = |task: &&mut Task| task.section == seat.0 && task.strand == Some(one.strand) && task.octave == octave;
        match tasks.iter_mut().find(same) {
            Some(task) => {
                task.chairs.push(seat.1);
                task.chairs.sort_unstable();
            }
            None => {
                let why = "doubling it for a full band".to_owned();
                tasks.push(Task { octave, why, ..Task::new(seat.0, vec![seat.1], one.role, Some(one.strand)) });
            }
        }
    };
    // Who had a strand goes on with it, rather than all of its players changing at once.
    for one in &doubled {
        let had = |seat: &Seat| memory.had(*seat) == Some(one.strand);
        let goes_on = tasks
            .iter()
            .any(|task| task.strand == Some(one.strand) && task.chairs.iter().any(|&chair| had(&(task.section, chair))));
        if goes_on {
            continue;
        }
        let best = resting
            .iter()
            .filter(|seat| had(seat))
            .filter_map(|&seat| offer(tasks, seat, one).map(|(price, octave)| (price, seat, octave)))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        if let Some((_, seat, octave)) = best {
            join(tasks, rests, seat, one, octave);
            resting.retain(|other| *other != seat);
        }
    }
    while playing(tasks) + playing(&phrase.tasks) < asked {
        let mut best: Option<(f64, Seat, usize, i32)> = None;
        for &seat in &resting {
            for (at, one) in doubled.iter().enumerate() {
                let Some((price, octave)) = offer(tasks, seat, one) else { continue };
                if best.is_none_or(|(known, ..)| price < known - 1e-9) {
                    best = Some((price, seat, at, octave));
                }
            }
        }
        let Some((_, seat, at, octave)) = best else { break };
        join(tasks, rests, seat, &doubled[at], octave);
        resting.retain(|other| *other != seat);
    }
    asked
}

/// How badly a strand lies for a player (0: well), and at which octave; `None` where it is out of reach. `lower`: it may be doubled an octave lower.
fn lies(chair: &Chair, one: &Doubled<'_>, lower: bool) -> Option<(f64, i32)> {
    let off = |octave: i32| mean(one.notes) + f64::from(12 * octave - chair.reach.middle());
    if one.chordal {
        return Some(((off(0).abs() - 7.0).max(0.0) / 12.0, 0));
    }
    let at = |octave: i32| {
        let keys = || one.notes.iter().map(|note| note.key() + 12 * octave);
        let strain: i32 = keys().map(|key| chair.reach.strain(key)).sum();
        let strain = f64::from(strain) / number(one.notes.len().max(1));
        let reached = keys().all(|key| chair.reach.allows(key))
            && crate::realise::share_to_move(chair, one.period, octave) <= super::STAYS_WITHIN;
        (reached && strain <= 1.0).then(|| 0.25 * strain + off(octave).abs() / 24.0)
    };
    let below = || at(-1).filter(|_| lower).map(|misfit| (misfit + LOWER, -1));
    match one.role {
        Role::Bass | Role::Melody | Role::Countermelody => at(0).map(|misfit| (misfit, 0)).or_else(below),
        _ => at(0).map(|misfit| (misfit, 0)),
    }
}

/// The bass is for the basses: where they rest by choice and others have it, they play it too, an octave lower where they have that (common practice; from memory).
pub(crate) fn grounded(sketch: &Sketch, lineup: &Lineup, phrase: &PhrasePlan, tasks: &mut [Task], rests: &mut Rests) {
    let span = Plan::span(sketch, &phrase.bars);
    let Some(strand) = present(sketch, span).into_iter().find(|&strand| sketch.strands[strand].role == Role::Bass) else {
        return;
    };
    let notes = sketch.strands[strand].between(span.0, span.1);
    for task in tasks.iter_mut().filter(|task| task.strand.is_none()) {
        let section = &lineup.sections[task.section];
        if section.kind != "double basses" || task.chairs.len() < section.chairs.len() {
            continue;
        }
        let octave = crate::realise::best_octave(&section.chairs[0], Role::Bass, notes, -1);
        rests.retain(|seat, _| seat.0 != task.section);
        let why = "the bass has its lowest instruments with it".to_owned();
        *task = Task { octave: Some(octave), why, ..Task::new(task.section, task.chairs.clone(), Role::Bass, Some(strand)) };
    }
}

/// Gathers the silences that casting decided in a phrase (tasks from `own` on) and says of each why it is one, by who plays in the end.
pub(crate) fn told(sketch: &Sketch, phrase: &mut PhrasePlan, own: usize, rests: &Rests) {
    let mut silences: BTreeMap<(usize, Rest), Vec<usize>> = BTreeMap::new();
    for task in phrase.tasks[own..].iter().filter(|task| task.strand.is_none()) {
        for &chair in &task.chairs {
            let rest = rests.get(&(task.section, chair)).cloned().unwrap_or(Rest::Enough);
            silences.entry((task.section, rest)).or_default().push(chair);
        }
    }
    let mut at = 0;
    phrase.tasks.retain(|task| {
        at += 1;
        at <= own || task.strand.is_some()
    });
    let of_section = |section: usize| -> usize {
        let has = phrase.tasks.iter().filter(|task| task.section == section && task.strand.is_some());
        has.map(|task| task.chairs.len()).sum()
    };
    let mark = DynamicLevel(loudest(sketch, phrase).unwrap_or(DynamicLevel::MEZZO_FORTE.0)).mark();
    let mut tasks: Vec<Task> = Vec::new();
    for ((section, rest), mut chairs) in silences {
        chairs.sort_unstable();
        let others = of_section(section);
        let why = match rest {
            Rest::Lips if others > 0 => "rest for lips and breath, while others of the section play".to_owned(),
            Rest::Lips => "rest for lips and breath".to_owned(),
            Rest::Enough if others == 1 => format!("rest: at {mark} 1 of the section is enough"),
            Rest::Enough if others > 1 => format!("rest: at {mark} {others} of the section are enough"),
            Rest::Enough => "kept in reserve".to_owned(),
            Rest::Uncovers => "rest so as not to cover the melody".to_owned(),
            Rest::Kept(why) => why,
        };
        tasks.push(Task { why, ..Task::new(section, chairs, Role::Tacet, None) });
    }
    phrase.tasks.extend(tasks);
}
