//! Who does what in a stretch, in words: the stretch is cut where many change their task, and each piece of it is told by parts.

use std::collections::BTreeMap;
use std::ops::Range;

use super::course::Course;
use super::tasks::{TASKS, Task};
use super::words::{capital, list};
use crate::attacks::{begun_at, in_bars};
use crate::material::bar_label;

/// Most phases that are told of one stretch.
const PHASES: usize = 3;
/// What a cut costs, for each line there is: so many bars of lines must be told better by it.
const CUT: usize = 2;
/// A longer stretch is not looked into beyond so many bars.
const LONGEST: usize = 400;

/// What is told of someone in a stretch, in the order in which it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Job {
    /// The melody, while nobody leads it for most of the stretch.
    Sharing,
    Task(Task),
    /// One rhythm with others, which is none of the melody's.
    Together(usize),
    Changing,
}

impl Job {
    const fn name(self) -> &'static str {
        match self {
            Self::Task(task) => task.name(),
            Self::Sharing => "with the melody, whose leader changes",
            Self::Together(0) => "together in another rhythm",
            Self::Together(_) => "together in yet another",
            Self::Changing => CHANGING,
        }
    }
}

/// How those are headed who keep to no one thing.
pub(super) const CHANGING: &str = "changing";

/// A part, or one of its lines, with what it does.
struct Unit {
    part: usize,
    line: usize,
    job: Job,
    /// The lines it stands for.
    lines: Vec<usize>,
}

impl Unit {
    fn leads(&self, lead: Option<usize>) -> bool {
        lead.is_some_and(|lead| self.lines.contains(&lead))
    }
}

/// Who does what: for each task the names of those who have it.
pub(super) type Jobs = Vec<(&'static str, Vec<String>)>;

impl Course<'_> {
    /// Cuts a stretch where the tasks of many lines change, the lines being those of `parts`: within each piece they keep to their tasks, as far as they do.
    pub fn phases(&self, bars: &Range<u32>, parts: &[bool]) -> Vec<Range<u32>> {
        let lines = self.lines_of(parts, bars);
        let count = bars.len().min(LONGEST);
        let task = |line: usize, at: usize| {
            self.tasks.at(line, bars.start + u32::try_from(at).unwrap_or(0)).map_or(TASKS.len(), |task| task as usize)
        };
        // By length less one: bars of lines that do not have their line's chief task in the piece that begins at `first`.
        let cost = |first: usize| {
            let mut counts = vec![[0usize; TASKS.len() + 1]; lines.len()];
            (first..count)
                .map(|at| {
                    lines.iter().zip(&mut counts).for_each(|(&line, counts)| counts[task(line, at)] += 1);
                    let length = at + 1 - first;
                    let kept: usize = counts.iter().map(|counts| counts.iter().copied().max().unwrap_or(0)).sum();
                    length * lines.len() - kept
                })
                .collect::<Vec<usize>>()
        };
        let mut best: Vec<(usize, usize)> = vec![(usize::MAX, 0); count + 1];
        best[0] = (0, 0);
        for first in 0..count {
            let (before, _) = best[first];
            if before == usize::MAX {
                continue;
            }
            for (at, cost) in cost(first).into_iter().enumerate() {
                let whole = before + cost + CUT * lines.len();
                if whole < best[first + at + 1].0 {
                    best[first + at + 1] = (whole, first);
                }
            }
        }
        let mut phases = Vec::new();
        let mut end = count;
        while end > 0 {
            let first = best[end].1;
            let bar = |at: usize| bars.start + u32::try_from(at).unwrap_or(0);
            let last = if end == count { bars.end } else { bar(end) };
            phases.push(bar(first)..last);
            end = first;
        }
        phases.reverse();
        phases
    }

    /// Lines of these parts that sound in a stretch.
    fn lines_of(&self, parts: &[bool], bars: &Range<u32>) -> Vec<usize> {
        let lines = &self.material.lines.lines;
        (0..lines.len()).filter(|&line| parts[lines[line].part] && self.tasks.sounds(line, bars) > 0).collect()
    }

    /// Lines of a section.
    pub fn lines_of_section(&self, section: usize) -> Vec<usize> {
        let lines = &self.material.lines.lines;
        (0..lines.len()).filter(|&line| self.section_of[lines[line].part] == section).collect()
    }

    /// Everyone.
    pub fn everybody(&self) -> Vec<bool> {
        vec![true; self.material.score.parts.len()]
    }

    /// For each task the sections, parts or lines that settle on it in a stretch. A section is named where all of its parts do. A part is one thing where its lines
    /// move in one rhythm, as double stops do. Who has no task but one rhythm with others stands with them; who sounds for half of the stretch and has neither comes last.
    pub fn jobs(&self, bars: &Range<u32>, parts: &[bool]) -> Jobs {
        let mut units = self.units(bars, parts);
        let lead = self.tasks.leader(bars);
        if !units.iter().any(|unit| unit.job == Job::Task(Task::Melody) && unit.leads(lead)) {
            units.iter_mut().filter(|unit| unit.job == Job::Task(Task::Melody)).for_each(|unit| unit.job = Job::Sharing);
        }
        self.gather_by_rhythm(bars, &mut units);
        let mut jobs: BTreeMap<Job, Vec<String>> = BTreeMap::new();
        for section in &self.material.groups.sections {
            let own: Vec<&Unit> = units.iter().filter(|unit| section.parts.contains(&unit.part)).collect();
            let Some(first) = own.first() else { continue };
            let sounding = section.parts.iter().filter(|&&part| !self.material.sounding.notes.of_part[part].is_empty());
            let all = sounding.clone().all(|part| own.iter().any(|unit| unit.part == *part));
            if all && own.iter().all(|unit| unit.job == first.job) {
                jobs.entry(first.job).or_default().push(section.name.to_owned());
                continue;
            }
            for of_part in own.chunk_by(|a, b| a.part == b.part) {
                let name = self.part_name(of_part[0].part);
                for (at, unit) in of_part.iter().enumerate() {
                    let place = match (at, of_part.len()) {
                        (_, 1) => String::new(),
                        (0, 2) => " (upper line)".to_owned(),
                        (1, 2) => " (lower line)".to_owned(),
                        (at, _) => format!(" (line {})", at + 1),
                    };
                    jobs.entry(unit.job).or_default().push(format!("{name}{place}"));
                }
            }
        }
        jobs.into_iter().map(|(job, names)| (job.name(), names)).collect()
    }

    /// Parts, or lines of parts that go different ways, that sound for half of a stretch.
    fn units(&self, bars: &Range<u32>, parts: &[bool]) -> Vec<Unit> {
        let lines = &self.material.lines.lines;
        let there: Vec<usize> =
            self.lines_of(parts, bars).into_iter().filter(|&line| self.tasks.sounds(line, bars) * 2 >= bars.len()).collect();
        let mut units = Vec::new();
        for of_part in there.chunk_by(|&a, &b| lines[a].part == lines[b].part) {
            let steady = |line: &usize| self.tasks.sounds(*line, bars) * 4 >= bars.len() * 3;
            let mut own: Vec<usize> = of_part.iter().copied().filter(steady).collect();
            if own.is_empty() {
                own.push(of_part[0]);
            }
            let job = |line: usize| self.tasks.settled(line, bars).map_or(Job::Changing, Job::Task);
            let part = lines[of_part[0]].part;
            let one = own.iter().all(|&line| line == own[0] || self.share_rhythm(own[0], line, bars) || job(line) == job(own[0]));
            if one {
                let line = own.iter().copied().min_by_key(|&line| (job(line), line)).unwrap_or(own[0]);
                units.push(Unit { part, line, job: job(line), lines: of_part.to_vec() });
            } else {
                units.extend(own.into_iter().map(|line| Unit { part, line, job: job(line), lines: vec![line] }));
            }
        }
        units
    }

    /// Units without a task of their own that move in one rhythm with another part stand together.
    fn gather_by_rhythm(&self, bars: &Range<u32>, units: &mut [Unit]) {
        let free: Vec<usize> =
            (0..units.len()).filter(|&at| matches!(units[at].job, Job::Changing | Job::Task(Task::Own))).collect();
        let mut group = 0;
        let mut taken: Vec<usize> = Vec::new();
        for &first in &free {
            if taken.contains(&first) {
                continue;
            }
            let with: Vec<usize> = free
                .iter()
                .copied()
                .filter(|at| !taken.contains(at) && (*at == first || self.share_rhythm(units[first].line, units[*at].line, bars)))
                .collect();
            if with.iter().any(|&at| units[at].part != units[first].part) {
                with.iter().for_each(|&at| units[at].job = Job::Together(group));
                taken.extend(with);
                group += 1;
            }
        }
    }

    /// Whether two lines move in one rhythm in at least three fifths of the bars of a stretch in which either sounds.
    fn share_rhythm(&self, a: usize, b: usize, bars: &Range<u32>) -> bool {
        let lines = &self.material.lines.lines;
        let in_bar = |line: usize, bar: u32| {
            let attacks = &lines[line].attacks;
            &attacks[in_bars(attacks, &(bar..bar + 1))]
        };
        let (mut alike, mut all) = (0, 0);
        for bar in bars.clone() {
            if self.tasks.at(a, bar).is_none() && self.tasks.at(b, bar).is_none() {
                continue;
            }
            all += 1;
            let (own, theirs) = (in_bar(a, bar), in_bar(b, bar));
            let common = own.iter().filter(|attack| begun_at(theirs, attack.onset).is_some()).count();
            alike += usize::from(!own.is_empty() && common * 4 >= own.len() * 3 && common * 4 >= theirs.len() * 3);
        }
        all > 0 && alike * 5 >= all * 3
    }

    /// Who does what in a stretch, phase by phase where the scoring changes: "Melody: violins; bass: cellos and double basses. From 12 on melody: horns."; empty when
    /// nobody keeps to anything.
    pub fn who_does_what(&self, bars: &Range<u32>, parts: &[bool]) -> String {
        let phases = self.phases(bars, parts);
        let mut longest: Vec<&Range<u32>> = phases.iter().filter(|phase| phase.len() * 4 >= bars.len()).collect();
        longest.sort_by_key(|phase| (std::cmp::Reverse(phase.len()), phase.start));
        longest.truncate(PHASES);
        longest.sort_by_key(|phase| phase.start);
        let told = longest.into_iter().filter_map(|phase| {
            let jobs = told(&self.jobs(phase, parts));
            if jobs.is_empty() {
                return None;
            }
            Some(if phase == bars { format!("{}.", capital(&jobs)) } else { format!("{}: {jobs}.", capital(&self.span(phase))) })
        });
        told.collect::<Vec<_>>().join(" ")
    }

    /// "in 12 to 16", in printed bars.
    pub fn span(&self, bars: &Range<u32>) -> String {
        let (first, last) = (self.printed(bars.start), self.printed(bars.end.saturating_sub(1)));
        if bars.len() <= 1 { format!("in {first}") } else { format!("in {first} to {last}") }
    }

    /// What a musician calls a played bar.
    pub fn printed(&self, bar: u32) -> String {
        bar_label(self.material.score, self.material.sounding, bar)
    }

    /// A part's name, on one line.
    pub fn part_name(&self, part: usize) -> String {
        self.material
            .score
            .parts
            .get(part)
            .map_or_else(String::new, |part| part.name.split_whitespace().collect::<Vec<_>>().join(" "))
    }

    /// What a section as a whole does in a stretch; `None` where its lines do different things.
    pub fn task_of(&self, section: usize, bars: &Range<u32>) -> Option<Task> {
        let parts: Vec<bool> = self.section_of.iter().map(|of| *of == section).collect();
        let lines = self.lines_of(&parts, bars).into_iter().filter(|&line| self.tasks.sounds(line, bars) * 2 >= bars.len());
        self.tasks.agreed(lines, bars)
    }
}

/// "melody: violins and flutes; chords: horns".
pub(super) fn told(jobs: &Jobs) -> String {
    let of_job = |(job, names): &(&'static str, Vec<String>)| {
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        format!("{job}: {}", list(&names))
    };
    jobs.iter().map(of_job).collect::<Vec<_>>().join("; ")
}
