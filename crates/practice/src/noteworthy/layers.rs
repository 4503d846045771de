//! Who moves together in a stretch: lines in one rhythm, bar by bar, told by their notes alone.
//!
//! A stretch is told only where it keeps still: everybody in it stays with the same partners in nearly every bar. Where that does not hold nothing is said.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_texture::Attack;

use super::course::Course;
use super::tasks::Task;
use super::words::list;
use crate::attacks::{begun_at, in_bars};

/// Bars of the longest stretch that is told as one.
const LONGEST: u32 = 16;
/// Groups beyond which nobody follows the telling, and those of them that may be a single part.
const GROUPS: (usize, usize) = (5, 2);
/// Share of bars, in percent, in which the lines of a stretch keep with their groups: on average, and each of them.
const FIT: (usize, usize) = (95, 80);
/// A line is there when it sounds in this share of the bars, in percent; it is silent when in no more than the second.
const THERE: (usize, usize) = (75, 20);
/// Share of common notes, in percent, on one pitch class for two lines to be in unison or octaves.
const SAME: usize = 85;
/// Notes of a melody in a stretch, and different pitches: fewer are no tune.
const TUNE: (usize, usize) = (5, 4);

/// Lines in one rhythm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Group {
    /// Lines with the notes of the melody, of the bass, and all others.
    pub melody: Vec<usize>,
    pub bass: Vec<usize>,
    pub others: Vec<usize>,
    /// What they do, where all do the same.
    pub way: Option<Task>,
}

impl Group {
    fn lines(&self) -> impl Iterator<Item = usize> + '_ {
        self.melody.iter().chain(&self.bass).chain(&self.others).copied()
    }
}

/// A stretch that keeps still, and who moves with whom in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Layering {
    pub bars: Range<u32>,
    pub groups: Vec<Group>,
    /// Whether all pitched lines have the same notes, octaves aside.
    pub unison: bool,
}

impl Layering {
    /// The parts that sound in it.
    pub fn parts(&self, course: &Course<'_>) -> BTreeSet<usize> {
        self.groups.iter().flat_map(Group::lines).map(|line| course.material.lines.lines[line].part).collect()
    }
}

impl Course<'_> {
    /// The longest stretch within some bars that keeps still, of the lines of some parts; of equals the one in fewer groups, then the first. `None` where none lasts `least` bars.
    pub fn still(&self, within: &Range<u32>, parts: &[bool], least: u32) -> Option<Layering> {
        let mut best: Option<Layering> = None;
        for start in within.clone() {
            let mut misses = 0;
            for end in start + least..=(start + LONGEST).min(within.end) {
                let Some(found) = self.layering(&(start..end), parts) else {
                    misses += 1;
                    if misses == 3 {
                        break;
                    }
                    continue;
                };
                misses = 0;
                let key = |layering: &Layering| (layering.bars.len(), std::cmp::Reverse(layering.groups.len()));
                if best.as_ref().is_none_or(|best| key(&found) > key(best)) {
                    best = Some(found);
                }
            }
        }
        best
    }

    /// Who moves with whom in a stretch; `None` where it does not keep still.
    pub fn layering(&self, bars: &Range<u32>, parts: &[bool]) -> Option<Layering> {
        let lines = &self.material.lines.lines;
        let mut there = Vec::new();
        for line in (0..lines.len()).filter(|&line| parts[lines[line].part]) {
            let sounds = self.tasks.sounds(line, bars) * 100;
            if sounds >= THERE.0 * bars.len() {
                there.push(line);
            } else if sounds > THERE.1 * bars.len() {
                return None;
            }
        }
        if there.iter().any(|&line| self.tasks.turns(line, bars)) {
            return None;
        }
        let groups = self.gathered(bars, &there)?;
        let leader = self.leading_group(bars, &groups)?;
        let lowest = self.tasks.lowest(bars);
        let told: Vec<Group> =
            groups.iter().enumerate().map(|(at, group)| self.told(bars, group, leader == Some(at), lowest)).collect();
        let single = |group: &Group| {
            let parts: BTreeSet<usize> = group.lines().map(|line| lines[line].part).collect();
            parts.len() == 1 && group.melody.is_empty() && group.bass.is_empty()
        };
        // A part in three lines and more cannot be told by names; those of two lines are upper and lower.
        let many = there.chunk_by(|&a, &b| lines[a].part == lines[b].part).any(|own| {
            let of = |line: usize| groups.iter().position(|group| group.contains(&line));
            own.len() > 2 && own.iter().any(|&line| of(line) != of(own[0]))
        });
        if many {
            return None;
        }
        let unclear = told.iter().filter(|group| single(group) && group.way.is_none()).count();
        if told.is_empty() || told.len() > GROUPS.0 || told.iter().filter(|group| single(group)).count() > GROUPS.1 || unclear > 1
        {
            return None;
        }
        let pitched: Vec<usize> = there.iter().copied().filter(|&line| !self.is_percussion(line)).collect();
        let unison = groups.len() - usize::from(told.iter().any(|group| group.lines().all(|line| self.is_percussion(line)))) == 1
            && pitched.iter().all(|&line| self.same_notes(pitched[0], line, bars));
        Some(Layering { bars: bars.clone(), groups: told, unison })
    }

    pub fn is_percussion(&self, line: usize) -> bool {
        self.family_of(self.section_of[self.material.lines.lines[line].part]) == ripieno_instruments::family::Family::Percussion
    }

    /// Lines gathered by rhythm; `None` where they do not keep to it.
    fn gathered(&self, bars: &Range<u32>, there: &[usize]) -> Option<Vec<Vec<usize>>> {
        let agree = |a: usize, b: usize| {
            let either = bars.clone().filter(|&bar| self.tasks.at(a, bar).is_some() || self.tasks.at(b, bar).is_some()).count();
            let same = bars.clone().filter(|&bar| self.tasks.together(a, b, bar)).count();
            same * 100 / either.max(1)
        };
        let mut groups: Vec<Vec<usize>> = Vec::new();
        let (mut sum, mut count) = (0, 0);
        for &line in there {
            let best = (0..groups.len())
                .map(|at| (agree(groups[at][0], line), at))
                .max_by_key(|&(fit, at)| (fit, std::cmp::Reverse(at)));
            match best {
                Some((fit, at)) if fit >= FIT.1 => {
                    groups[at].push(line);
                    (sum, count) = (sum + fit, count + 1);
                }
                // Neither with them nor apart from them.
                Some((fit, _)) if fit * 2 > 100 => return None,
                _ => groups.push(vec![line]),
            }
        }
        // Nobody joins a bar late or leaves a bar early.
        let at_edge = |bar: u32| {
            let with = |group: &Vec<usize>| {
                let mut sounding = group.iter().filter(|&&line| self.tasks.at(line, bar).is_some());
                let first = sounding.next().copied();
                sounding.all(|&line| first.is_none_or(|first| self.tasks.together(first, line, bar)))
            };
            let settled = |line: usize| self.tasks.way(line, bars).is_none_or(|way| self.tasks.way_in(line, bar) == Some(way));
            groups.iter().all(with) && there.iter().all(|&line| self.tasks.at(line, bar).is_some() && settled(line))
        };
        let edges = at_edge(bars.start) && at_edge(bars.end - 1);
        (edges && (count == 0 || sum >= FIT.0 * count)).then_some(groups)
    }

    /// The group that has the melody in three quarters of the bars, if there is one; `None` where the melody passes from one to another.
    fn leading_group(&self, bars: &Range<u32>, groups: &[Vec<usize>]) -> Option<Option<usize>> {
        let of =
            |at: usize| bars.clone().filter(|&bar| self.tasks.leads(bar).is_some_and(|line| groups[at].contains(&line))).count();
        let leading = (0..groups.len()).find(|&at| of(at) * 4 >= bars.len() * 3);
        let passes = leading.is_none() && (0..groups.len()).filter(|&at| of(at) * 4 >= bars.len()).count() > 1;
        (!passes).then_some(leading)
    }

    fn told(&self, bars: &Range<u32>, group: &[usize], leads: bool, lowest: Option<usize>) -> Group {
        let leader = self.tasks.leader(bars).filter(|line| leads && group.contains(line) && self.is_tune(*line, bars));
        let bass = lowest.filter(|line| group.contains(line));
        let mut told = Group { melody: Vec::new(), bass: Vec::new(), others: Vec::new(), way: None };
        for &line in group {
            if leader.is_some_and(|leader| leader == line || self.same_notes(leader, line, bars)) {
                told.melody.push(line);
            } else if bass.is_some_and(|bass| bass == line || self.same_notes(bass, line, bars) && self.near(bass, line, bars)) {
                told.bass.push(line);
            } else {
                told.others.push(line);
            }
        }
        self.keep_stops_together(&mut told);
        let way = |line: usize| self.tasks.way(line, bars);
        told.way = way(group[0]).filter(|_| group.iter().all(|&line| way(line) == way(group[0])));
        told
    }

    /// Lines of one part of strings in one rhythm are stops, or desks that divide for a chord: they are named as one, by the highest thing one of them does.
    fn keep_stops_together(&self, told: &mut Group) {
        let lines = &self.material.lines.lines;
        let strings =
            |line: usize| self.family_of(self.section_of[lines[line].part]) == ripieno_instruments::family::Family::Strings;
        let melody: BTreeSet<usize> = told.melody.iter().map(|&line| lines[line].part).collect();
        let bass: BTreeSet<usize> = told.bass.iter().map(|&line| lines[line].part).collect();
        let mut all: Vec<usize> = told.lines().collect();
        all.sort_unstable();
        let (was_melody, was_bass) = (told.melody.clone(), told.bass.clone());
        let sings = |line: &usize| was_melody.contains(line) || strings(*line) && melody.contains(&lines[*line].part);
        let grounds = |line: &usize| was_bass.contains(line) || strings(*line) && bass.contains(&lines[*line].part);
        told.melody = all.iter().copied().filter(sings).collect();
        told.bass = all.iter().copied().filter(|line| !sings(line) && grounds(line)).collect();
        told.others = all.iter().copied().filter(|line| !sings(line) && !grounds(line)).collect();
    }

    /// Whether a line lies within an octave and a tone of the lowest on average: higher, and nobody hears it as the bass.
    fn near(&self, bass: usize, line: usize, bars: &Range<u32>) -> bool {
        let mean = |line: usize| {
            let attacks = &self.material.lines.lines[line].attacks;
            let keys: Vec<i32> =
                attacks[in_bars(attacks, bars)].iter().filter_map(|attack| attack.bottom.map(i32::from)).collect();
            i32::try_from(keys.len()).ok().filter(|count| *count > 0).map(|count| keys.iter().sum::<i32>() / count)
        };
        !self.is_percussion(line) && mean(line).zip(mean(bass)).is_some_and(|(line, bass)| line - bass <= super::tasks::REACH)
    }

    fn is_tune(&self, line: usize, bars: &Range<u32>) -> bool {
        let attacks = &self.material.lines.lines[line].attacks;
        let attacks = &attacks[in_bars(attacks, bars)];
        let pitches: BTreeSet<Option<u8>> = attacks.iter().map(|attack| attack.top).collect();
        attacks.len() >= TUNE.0 && pitches.len() >= TUNE.1
    }

    /// Whether two lines have nearly all their notes in common, octaves aside.
    pub fn same_notes(&self, a: usize, b: usize, bars: &Range<u32>) -> bool {
        let lines = &self.material.lines.lines;
        let of = |line: usize| {
            let attacks = &lines[line].attacks;
            &attacks[in_bars(attacks, bars)]
        };
        let (own, theirs) = (of(a), of(b));
        let same = own.iter().filter(|attack| {
            let Some(other) = begun_at(theirs, attack.onset) else { return false };
            let is = |x: Option<u8>, y: Option<u8>| x.zip(y).is_some_and(|(x, y)| x % 12 == y % 12);
            is(attack.top, other.top) && is(attack.bottom, other.bottom)
                || attack.notes != other.notes && is(attack.top, other.top)
        });
        let same = same.count() * 100;
        same > 0 && same >= SAME * own.len() && same >= SAME * theirs.len()
    }

    /// Whether a line begins, octaves aside, at least two thirds of the notes that one of these begins in a stretch, and at least three fifths of its
    /// own are theirs: a part that meets a few of them has only chord tones in common.
    pub fn shares_notes(&self, line: usize, with: &[usize], bars: &Range<u32>) -> bool {
        let lines = &self.material.lines.lines;
        let of = |line: usize| {
            let attacks = &lines[line].attacks;
            &attacks[in_bars(attacks, bars)]
        };
        let own = of(line);
        let class = |key: Option<u8>| key.map(|key| key % 12);
        let same = |attack: &Attack, other: usize| {
            let theirs = begun_at(of(other), attack.onset);
            theirs.is_some_and(|theirs| {
                attack.top.is_some() && [attack.top, attack.bottom].iter().any(|&key| class(key) == class(theirs.top))
            })
        };
        let shared = own.iter().filter(|attack| with.iter().any(|&other| same(attack, other))).count();
        let most_of = |other: usize| own.iter().filter(|attack| same(attack, other)).count() * 3 >= of(other).len() * 2;
        shared > 0 && shared * 5 >= own.len() * 3 && with.iter().any(|&other| most_of(other))
    }

    /// "Melody: violins and flutes; bass: cellos and double basses; held notes: horns".
    pub fn layers_in_words(&self, layering: &Layering) -> String {
        if layering.unison {
            return "All have the same notes, in unison and octaves".to_owned();
        }
        let mut told: Vec<(u8, String)> = Vec::new();
        // Groups that do the same thing are told in one: "tremolo or roll: timpani and strings".
        let mut doing: Vec<(u8, String, Vec<usize>)> = Vec::new();
        let mut another = 0;
        for group in &layering.groups {
            let names = |lines: &[usize]| self.who_in(lines, &layering.bars);
            let alone = layering.groups.len() == 1;
            match (group.melody.is_empty(), group.bass.is_empty(), group.others.is_empty()) {
                (false, bass, others) => {
                    let mut text = format!("melody: {}", names(&group.melody));
                    let rest: Vec<String> = [
                        (!others).then(|| format!("with other notes {}", names(&group.others))),
                        (!bass).then(|| format!("with the bass {}", names(&group.bass))),
                    ]
                    .into_iter()
                    .flatten()
                    .collect();
                    if !rest.is_empty() {
                        text.push_str(&format!(", and in the same rhythm {}", rest.join(" and ")));
                    }
                    told.push((0, text));
                }
                (true, false, true) => told.push((1, format!("bass: {}", names(&group.bass)))),
                (true, bass, _) => {
                    let all: Vec<usize> = group.lines().collect();
                    let way = match group.way {
                        Some(way) => self.way_in_words(way, &all, &layering.bars),
                        None if alone => "all in one rhythm".to_owned(),
                        None if self.parts_of(&all).len() == 1 => "a line of its own".to_owned(),
                        None => {
                            another += 1;
                            let same = all.iter().all(|&line| self.same_notes(all[0], line, &layering.bars));
                            match (same, another) {
                                (true, _) => "in unison or octaves".to_owned(),
                                (false, 1) => "together in one rhythm".to_owned(),
                                (false, 2) => "together in another".to_owned(),
                                (false, _) => "together in yet another".to_owned(),
                            }
                        }
                    };
                    let order = 2 + group.way.map_or(0, |way| way as u8);
                    if group.way.is_some() && bass {
                        match doing.iter_mut().find(|(_, known, _)| *known == way) {
                            Some((.., lines)) => lines.extend(all),
                            None => doing.push((order, way, all)),
                        }
                        continue;
                    }
                    let with = if bass { String::new() } else { format!(" (the bass: {})", names(&group.bass)) };
                    told.push((order, format!("{way}: {}{with}", names(&all))));
                }
            }
        }
        told.extend(
            doing.into_iter().map(|(order, way, lines)| (order, format!("{way}: {}", self.who_in(&lines, &layering.bars)))),
        );
        told.sort_by_key(|(order, _)| *order);
        super::words::capital(&told.into_iter().map(|(_, text)| text).collect::<Vec<_>>().join("; "))
    }

    fn parts_of(&self, lines: &[usize]) -> BTreeSet<usize> {
        lines.iter().map(|&line| self.material.lines.lines[line].part).collect()
    }

    /// "held notes", "one held note".
    fn way_in_words(&self, way: Task, lines: &[usize], bars: &Range<u32>) -> String {
        let classes: BTreeSet<u8> = lines
            .iter()
            .flat_map(|&line| {
                let attacks = &self.material.lines.lines[line].attacks;
                let first = in_bars(attacks, bars);
                // A note held into the stretch belongs to it.
                let first = first.start.saturating_sub(usize::from(
                    first.start > 0 && attacks[first.start - 1].end > self.material.sounding.bars[bars.start as usize].start,
                ))..first.end;
                attacks[first].iter().flat_map(|attack| [attack.top, attack.bottom])
            })
            .map(|key| key.map_or(255, |key| key % 12))
            .collect();
        match (way, classes.len()) {
            (Task::Held, 1) => "one held note, octaves aside".to_owned(),
            (Task::Repeated, 1) => "one note repeated, octaves aside".to_owned(),
            (way, _) => way.name().to_owned(),
        }
    }

    /// Names of some lines: parts, or lines of them where others of the part are elsewhere.
    pub fn who_in(&self, lines: &[usize], bars: &Range<u32>) -> String {
        let all = &self.material.lines.lines;
        let mut whole: BTreeSet<usize> = BTreeSet::new();
        let mut split: Vec<String> = Vec::new();
        for part in self.parts_of(lines) {
            let sounding: Vec<usize> = (0..all.len())
                .filter(|&line| all[line].part == part && self.tasks.sounds(line, bars) * 2 >= bars.len())
                .collect();
            if sounding.iter().all(|line| lines.contains(line)) {
                whole.insert(part);
                continue;
            }
            for (at, _) in sounding.iter().enumerate().filter(|(_, line)| lines.contains(line)) {
                let place = match (at, sounding.len()) {
                    (0, 2) => "upper line".to_owned(),
                    (1, 2) => "lower line".to_owned(),
                    (at, _) => format!("line {} from above", at + 1),
                };
                split.push(format!("{} ({place})", self.part_name(part)));
            }
        }
        let mut names = self.who(&whole);
        names.extend(split);
        list(&names.iter().map(String::as_str).collect::<Vec<_>>())
    }
}
