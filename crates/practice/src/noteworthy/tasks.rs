//! What each line does in each bar, told from the notes: whose line it plays, whose rhythm, or how its notes go.
//!
//! Only who carries the melody is read (docs/roles.md); everything else can be checked on the page bar by bar. Roles as read would say more and be
//! wrong more often: two lines in one rhythm are one thing to the ear, whatever each is called.

use std::ops::Range;

use ripieno_instruments::family::Family;
use ripieno_score::{Crotchets, PlayedBar};
use ripieno_texture::{Attack, Line};

use crate::attacks::begun_at;
use crate::material::Material;

/// What a line does in a bar, in the order in which it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Task {
    /// It carries the melody or plays it in unison or octaves.
    Melody,
    /// Other notes in the rhythm of the melody.
    WithMelody,
    /// The lowest sounding notes, or the same in unison or octaves.
    Bass,
    /// None of the others.
    Own,
    /// Quick notes on changing pitches.
    Running,
    /// One pitch again and again.
    Repeated,
    /// Tremolo or roll.
    Trembling,
    /// Long notes: half a bar and more, and two crotchets and more where the bar has several.
    Held,
    /// Short notes between rests.
    Strokes,
}

/// All tasks.
pub(super) const TASKS: [Task; 9] = [
    Task::Melody,
    Task::WithMelody,
    Task::Bass,
    Task::Own,
    Task::Running,
    Task::Repeated,
    Task::Trembling,
    Task::Held,
    Task::Strokes,
];

impl Task {
    /// As a list of who does it is headed.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Melody => "melody",
            Self::WithMelody => "in the melody's rhythm",
            Self::Bass => "bass",
            Self::Own => "other lines",
            Self::Running => "running notes",
            Self::Repeated => "repeated notes",
            Self::Trembling => "tremolo or roll",
            Self::Held => "held notes",
            Self::Strokes => "single strokes",
        }
    }
}

/// The task of each line in each played bar; `None` where it does not sound.
pub(super) struct Tasks {
    /// By line, then by bar.
    of: Vec<Vec<Option<Task>>>,
    /// By bar the line that carries the melody.
    leaders: Vec<Option<usize>>,
    /// By bar the lowest line.
    lowest: Vec<Option<usize>>,
    /// By line, then by bar: how its notes go, whatever they are to others.
    ways: Vec<Vec<Option<Task>>>,
    /// By line, then by bar: a number that lines in one rhythm share.
    rhythms: Vec<Vec<Option<u16>>>,
}

/// The attacks of a line in a bar, and how it sounds there.
struct Here<'a> {
    line: usize,
    attacks: &'a [Attack],
    /// The same of the bar before and the bar after too.
    around: &'a [Attack],
    /// Time in which it sounds in the bar, and in notes of which mean length.
    sounds: Crotchets,
    /// Where the bar begins, and whether a note is held into it.
    from: Crotchets,
    held_over: bool,
    percussion: bool,
    trembling: bool,
}

impl Tasks {
    pub fn new(material: &Material<'_>) -> Self {
        let bars = material.sounding.bars.len();
        let mut of = vec![vec![None; bars]; material.lines.lines.len()];
        let lowest = lowest_lines(material);
        let mut ways = of.clone();
        let mut rhythms = vec![vec![None; bars]; material.lines.lines.len()];
        let mut melody = 0;
        let mut leaders = Vec::with_capacity(bars);
        for bar in 0..bars {
            let here = here(material, bar);
            let leader = carrier(material, bar, &mut melody);
            leaders.push(leader);
            let carrier = leader.and_then(|line| here.iter().find(|here| here.line == line));
            let bass = lowest[bar].and_then(|line| here.iter().find(|here| here.line == line));
            let length = material.sounding.bars[bar].length;
            for line in &here {
                of[line.line][bar] = Some(task(line, carrier, bass, length));
                ways[line.line][bar] = Some(way(line, length));
            }
            number_rhythms(&here, |line, rhythm| rhythms[line][bar] = Some(rhythm));
        }
        Self { of, leaders, lowest, ways, rhythms }
    }

    /// The line that carries the melody in at least half of the bars of a stretch.
    pub fn leader(&self, bars: &Range<u32>) -> Option<usize> {
        let of_bars: Vec<usize> = self.leaders[bars.start as usize..bars.end as usize].iter().copied().flatten().collect();
        let count = |line: usize| of_bars.iter().filter(|other| **other == line).count();
        of_bars
            .iter()
            .copied()
            .max_by_key(|&line| (count(line), std::cmp::Reverse(line)))
            .filter(|&line| count(line) * 2 >= bars.len())
    }

    /// The line that carries the melody in a bar.
    pub fn leads(&self, bar: u32) -> Option<usize> {
        self.leaders.get(bar as usize).copied().flatten()
    }

    /// The line that is the lowest in three quarters of the bars of a stretch.
    pub fn lowest(&self, bars: &Range<u32>) -> Option<usize> {
        let of_bars: Vec<usize> = self.lowest[bars.start as usize..bars.end as usize].iter().copied().flatten().collect();
        let count = |line: usize| of_bars.iter().filter(|other| **other == line).count();
        of_bars
            .iter()
            .copied()
            .max_by_key(|&line| (count(line), std::cmp::Reverse(line)))
            .filter(|&line| count(line) * 4 >= bars.len() * 3)
    }

    /// Whether two lines sound in a bar and move in one rhythm.
    pub fn together(&self, a: usize, b: usize, bar: u32) -> bool {
        let of = |line: usize| self.rhythms[line][bar as usize];
        of(a).is_some() && of(a) == of(b)
    }

    /// Whether the notes of a line go one way in the first bars of a stretch and another in all that follow, two bars and more each.
    pub fn turns(&self, line: usize, bars: &Range<u32>) -> bool {
        let ways = &self.ways[line][bars.start as usize..bars.end as usize];
        (2..ways.len().saturating_sub(1)).any(|at| {
            let (before, after) = ways.split_at(at);
            let one = |ways: &[Option<Task>]| ways[0].filter(|_| ways.iter().all(|way| *way == ways[0]));
            one(before).zip(one(after)).is_some_and(|(a, b)| a != b)
        })
    }

    /// How the notes of a line go in a bar, whatever they are to others.
    pub fn way_in(&self, line: usize, bar: u32) -> Option<Task> {
        self.ways[line][bar as usize]
    }

    /// How the notes of a line go in at least three quarters of those bars of a stretch in which it sounds, and in nothing else than that or a line of its own in the others.
    pub fn way(&self, line: usize, bars: &Range<u32>) -> Option<Task> {
        let mut counts = [0usize; TASKS.len()];
        bars.clone().filter_map(|bar| self.ways[line][bar as usize]).for_each(|way| counts[way as usize] += 1);
        let sounds: usize = counts.iter().sum();
        let most = TASKS.into_iter().rev().max_by_key(|&way| counts[way as usize])?;
        (most != Task::Own && sounds > 0 && counts[most as usize] * 4 >= sounds * 3).then_some(most)
    }

    /// What a line does in a bar.
    pub fn at(&self, line: usize, bar: u32) -> Option<Task> {
        self.of.get(line)?.get(bar as usize).copied().flatten()
    }

    /// What a line does in at least three fifths of those bars of a stretch in which it sounds; `None` where it sounds in fewer than half of them, or does
    /// no one thing.
    pub fn settled(&self, line: usize, bars: &Range<u32>) -> Option<Task> {
        let mut counts = [0usize; TASKS.len()];
        bars.clone().filter_map(|bar| self.at(line, bar)).for_each(|task| counts[task as usize] += 1);
        let sounds: usize = counts.iter().sum();
        let most = TASKS.into_iter().rev().max_by_key(|&task| counts[task as usize])?;
        (sounds > 0 && sounds * 2 >= bars.len() && counts[most as usize] * 5 >= sounds * 3).then_some(most)
    }

    /// The task on which all of some lines settle in a stretch; `None` where they do not, or there is no line.
    pub fn agreed(&self, lines: impl Iterator<Item = usize>, bars: &Range<u32>) -> Option<Task> {
        let mut tasks = lines.map(|line| self.settled(line, bars));
        let first = tasks.next()??;
        tasks.all(|task| task == Some(first)).then_some(first)
    }

    /// In how many bars of a stretch a line sounds.
    pub fn sounds(&self, line: usize, bars: &Range<u32>) -> usize {
        bars.clone().filter(|&bar| self.at(line, bar).is_some()).count()
    }
}

/// The lines that sound in a bar.
fn here<'a>(material: &'a Material<'_>, bar: usize) -> Vec<Here<'a>> {
    let played = &material.sounding.bars[bar];
    let (from, to) = (played.start, played.start + played.length);
    let of_line = |(index, line): (usize, &'a Line)| {
        let range = line.attacks_in(from, to);
        let before = range.start.checked_sub(1).map(|at| &line.attacks[at]).filter(|attack| attack.end > from);
        let attacks = &line.attacks[range.clone()];
        let bars = &material.sounding.bars;
        let before_bar = bars[bar.saturating_sub(1)].start;
        let after = bars.get(bar + 1).map_or(to, |after| after.start + after.length);
        let around = &line.attacks[line.attacks_in(before_bar, after)];
        let mut sounds = before.map_or(Crotchets::ZERO, |attack| attack.end.min(to) - from);
        let mut reached = before.map_or(from, |attack| attack.end);
        for attack in attacks {
            let (start, end) = (attack.onset.max(reached), attack.end.min(to));
            if end > start {
                sounds += end - start;
                reached = end;
            }
        }
        if attacks.is_empty() && before.is_none() {
            return None;
        }
        let trembles = |attack: &&Attack| {
            let row = line.rows.get(attack.first as usize).copied().unwrap_or(0) as usize;
            let written = material.sounding.notes.written[row] as usize;
            material.score.parts[line.part].notes.get(written).is_some_and(|note| note.tremolo > 0)
        };
        let told: Vec<&Attack> = before.into_iter().chain(attacks).collect();
        let trembling = told.iter().filter(|attack| trembles(attack)).count() * 2 > told.len();
        let percussion = material.groups.parts[line.part].family == Family::Percussion;
        let held_over = before.is_some();
        Some(Here { line: index, attacks, around, sounds, from, held_over, percussion, trembling })
    };
    material.lines.lines.iter().enumerate().filter_map(of_line).collect()
}

/// The line that carries the melody for most of a bar. `at` walks along [`ripieno_texture::RoleReading::melody`].
fn carrier(material: &Material<'_>, bar: usize, at: &mut usize) -> Option<usize> {
    let played = &material.sounding.bars[bar];
    let (from, to) = (played.start, played.start + played.length);
    let melody = &material.roles.melody;
    while melody.get(*at).is_some_and(|carried| carried.to <= from) {
        *at += 1;
    }
    let here = melody[*at..].iter().take_while(|carried| carried.from < to);
    let time = |carried: &ripieno_texture::Carried| carried.to.min(to) - carried.from.max(from);
    here.max_by(|a, b| time(a).cmp(&time(b)).then(b.from.cmp(&a.from))).map(|carried| carried.line)
}

/// For each bar the line that has the lowest pitch for half of it and longest, percussion aside.
fn lowest_lines(material: &Material<'_>) -> Vec<Option<usize>> {
    let mut times: Vec<Vec<(usize, Crotchets)>> = vec![Vec::new(); material.sounding.bars.len()];
    for (slice, rows) in material.slices.iter() {
        let pitched =
            rows.iter().copied().filter(|&row| material.groups.parts[material.part_of(row)].family != Family::Percussion);
        let lowest = pitched.filter_map(|row| Some((material.key_of(row)?, material.line_of(row)))).min();
        if let Some((_, line)) = lowest {
            let times = &mut times[slice.bar as usize];
            match times.iter_mut().find(|(other, _)| *other == line) {
                Some((_, time)) => *time += slice.length(),
                None => times.push((line, slice.length())),
            }
        }
    }
    let most = |(times, bar): (Vec<(usize, Crotchets)>, &PlayedBar)| {
        let most = times.into_iter().max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)));
        most.filter(|(_, time)| *time + *time >= bar.length).map(|(line, _)| line)
    };
    times.into_iter().zip(&material.sounding.bars).map(most).collect()
}

/// Pitch classes of a highest or lowest note agree.
fn same_class(a: Option<u8>, b: Option<u8>) -> bool {
    a.zip(b).is_some_and(|(a, b)| a % 12 == b % 12)
}

/// How many attacks two lines have in common, and how many of those on one pitch class.
fn common(a: &[Attack], b: &[Attack]) -> (usize, usize) {
    let (mut together, mut alike) = (0, 0);
    for attack in a {
        if let Some(other) = begun_at(b, attack.onset) {
            together += 1;
            alike += usize::from(same_class(attack.top, other.top) || same_class(attack.bottom, other.bottom));
        }
    }
    (together, alike)
}

/// Common notes below which one bar does not tell whether a line has the notes of another: the bars beside it are asked too.
const FEW: usize = 3;

/// Whether a line has the notes of another: three quarters of its own are the other's, and at least half of the other's are its own; three at least, for which
/// the bars beside this one are looked at where it has fewer.
fn follows(line: &Here<'_>, leader: &Here<'_>) -> bool {
    let alike = |own: &[Attack], theirs: &[Attack]| {
        let (_, alike) = common(own, theirs);
        (!own.is_empty() && alike * 4 >= own.len() * 3 && alike * 2 >= theirs.len()).then_some(alike)
    };
    match alike(line.attacks, leader.attacks) {
        None => false,
        Some(common) => common >= FEW || alike(line.around, leader.around).is_some_and(|common| common >= FEW),
    }
}

/// Quick notes: so many in a crotchet, and in a bar.
const QUICK: (i64, usize) = (2, 6);

fn task(line: &Here<'_>, carrier: Option<&Here<'_>>, bass: Option<&Here<'_>>, bar: Crotchets) -> Task {
    let own = line.attacks;
    let is = |other: Option<&Here<'_>>| other.is_some_and(|other| other.line == line.line);
    let pitched = !line.percussion;
    if is(carrier) || pitched && carrier.is_some_and(|carrier| follows(line, carrier)) {
        return Task::Melody;
    }
    if is(bass) || pitched && bass.is_some_and(|bass| follows(line, bass) && within_reach(own, bass.attacks)) {
        return Task::Bass;
    }
    let shares_rhythm = |other: &Here<'_>| {
        let (together, _) = common(own, other.attacks);
        own.len() >= 2 && together * 4 >= own.len() * 3 && together * 4 >= other.attacks.len() * 3
    };
    if !line.trembling && pitched && carrier.is_some_and(shares_rhythm) { Task::WithMelody } else { way(line, bar) }
}

/// How the notes of a line go in a bar of this length.
fn way(line: &Here<'_>, bar: Crotchets) -> Task {
    let own = line.attacks;
    let times = |count: usize| Crotchets::whole(i64::try_from(count).unwrap_or(i64::MAX));
    let steps = own.windows(2).filter(|pair| pair[0].top != pair[1].top || pair[0].bottom != pair[1].bottom).count();
    let repeats = own.len() >= 3 && steps * 4 < own.len();
    if line.trembling {
        Task::Trembling
    } else if repeats || line.percussion && own.len() >= 3 {
        Task::Repeated
    } else if own.len() >= QUICK.1 && times(own.len()) >= line.sounds * Crotchets::whole(QUICK.0) {
        Task::Running
    } else if line.sounds * Crotchets::whole(4) >= bar * Crotchets::whole(3)
        && times(own.len()) * bar <= line.sounds * Crotchets::whole(2)
        && (own.len() <= 1 || times(own.len()) * Crotchets::whole(2) <= line.sounds)
    {
        Task::Held
    } else if line.sounds + line.sounds < bar && own.len() <= 2 {
        Task::Strokes
    } else {
        Task::Own
    }
}

/// Numbers the rhythms of a bar: lines that begin three quarters of their notes together, notes held over the barline counted as begun on it, and sound for
/// about as long, have one number.
fn number_rhythms(here: &[Here<'_>], mut give: impl FnMut(usize, u16)) {
    let begun = |line: &Here<'_>| line.attacks.first().is_some_and(|attack| attack.onset == line.from);
    let count = |line: &Here<'_>| line.attacks.len() + usize::from(line.held_over && !begun(line));
    let alike = |a: &Here<'_>, b: &Here<'_>| {
        let both_first = (a.held_over || begun(a)) && (b.held_over || begun(b));
        let later =
            a.attacks.iter().filter(|attack| attack.onset > a.from && begun_at(b.attacks, attack.onset).is_some()).count();
        let together = later + usize::from(both_first);
        let (short, long) = (a.sounds.min(b.sounds), a.sounds.max(b.sounds));
        a.trembling == b.trembling
            && together * 4 >= count(a) * 3
            && together * 4 >= count(b) * 3
            && short * Crotchets::whole(5) >= long * Crotchets::whole(2)
    };
    let mut seeds: Vec<&Here<'_>> = Vec::new();
    for line in here {
        let at = seeds.iter().position(|seed| alike(seed, line)).unwrap_or_else(|| {
            seeds.push(line);
            seeds.len() - 1
        });
        give(line.line, u16::try_from(at).unwrap_or(u16::MAX));
    }
}

/// Semitones above the lowest line, an octave and a tone.
pub(super) const REACH: i32 = 14;

/// Whether a line lies within [`REACH`] of the lowest on average: higher, and nobody hears it as the bass.
fn within_reach(line: &[Attack], bass: &[Attack]) -> bool {
    let mean = |attacks: &[Attack]| {
        let keys: Vec<i32> = attacks.iter().filter_map(|attack| attack.bottom.map(i32::from)).collect();
        i32::try_from(keys.len()).ok().filter(|count| *count > 0).map(|count| keys.iter().sum::<i32>() / count)
    };
    mean(line).zip(mean(bass)).is_some_and(|(line, bass)| line - bass <= REACH)
}
