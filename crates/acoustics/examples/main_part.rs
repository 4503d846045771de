//! Holds audibility against annotated main parts (Hauptstimme), which the model never saw.
//!
//! `cargo run --release -p ripieno-acoustics --example main_part [-- FOLDER [conductor]]` reads FOLDER (by default `../shared/data/scores`), heard
//! from a seat in the hall or from the conductor's place:
//! scores and beside each `NAME_annotations.csv` with the columns qstamp, part_num. In every bar where the part annotated as main for most of
//! the bar sounds beside others, it is asked whether its margin exceeds that of another sounding part; a random one is drawn by averaging over all.
//! Chance is 0.5. What is compared with what is asked in several forms ([`FORMS`]), and each is told by case.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use ripieno_acoustics::ear::{channel_hz, threshold};
use ripieno_acoustics::level::power_of;
use ripieno_acoustics::{
    Audibility, Ear, Excitation, Excited, Line, Scene, SecondOpinion, Situation, audibility, audibility_beside, audibility_by,
    second_opinion,
};
use ripieno_formats::{Limits, read};
use ripieno_instruments::catalogue;
use ripieno_score::{Crotchets, Score, Sounding, Unroll};

/// What is compared. A part doubles another in a bar when it has four fifths of its notes in unison or octaves.
const FORMS: [&str; 17] = [
    "a. part against part",
    "b. part against parts that do not double it",
    "c. the same, nobody masked by those who double them",
    "d. the part with its doublings as one line, against other parts",
    "e. line against line, each with its doublings",
    "f. as a, by loudness beside the rest",
    "g. as d, by loudness beside the rest",
    "h. as e, by loudness beside the rest",
    "i. as a, by the best moments of the bar",
    "j. as a, by loudness alone",
    "k. as a, by the margin of level-dependent partial loudness (every fourth bar)",
    "l. as a, by partial loudness itself, likewise",
    "m. as a, every tone heard only for its first 100 ms",
    "n. as d, likewise",
    "o. as m, by loudness beside the rest",
    "for comparison: higher, among parts that do not double it",
    "for comparison: marked louder, with more players",
];

/// Loudness beside what masks, channel by channel, as a level: the form of Zwicker's and of Moore, Glasberg and Baer's partial loudness with one exponent
/// (0.23, from memory) and the threshold in quiet. It orders lines; it counts no sones.
struct Loudness {
    /// Whether what sounds beside is left out.
    alone: bool,
}

impl Ear for Loudness {
    fn margin(&self, line: &Excitation, rest: &Excitation) -> f64 {
        let grown = |power: f64| (1.0 + power).powf(0.23);
        let channels = line.0.iter().zip(rest.0.iter()).enumerate();
        let sum: f64 = channels
            .map(|(channel, (line, rest))| {
                let quiet = power_of(threshold(channel_hz(channel)));
                let (line, rest) = (line / quiet, if self.alone { 0.0 } else { rest / quiet });
                grown(line + rest) - grown(rest)
            })
            .sum();
        // Within the bounds between which margins are averaged.
        10.0 * sum.max(1e-3).log10()
    }
}

/// The margin, stretched so that the mean over a bar is that of its best moments.
struct Best;

impl Ear for Best {
    fn margin(&self, line: &Excitation, rest: &Excitation) -> f64 {
        let share = (Excited.margin(line, rest).clamp(-30.0, 40.0) + 30.0) / 70.0;
        70.0 * share.powi(8) - 30.0
    }
}

/// Sums of shares by form, each with its bars.
#[derive(Default, Clone, Copy)]
struct Tally([(f64, f64); FORMS.len()]);

impl Tally {
    fn add(&mut self, bar: &[Option<f64>; FORMS.len()]) {
        for (sum, share) in self.0.iter_mut().zip(bar) {
            if let Some(share) = share {
                *sum = (sum.0 + share, sum.1 + 1.0);
            }
        }
    }

    fn shares(&self) -> String {
        self.0.iter().map(|(sum, bars)| format!("  {:.3}", sum / bars.max(1.0))).collect()
    }
}

/// Main part of each bar: the one annotated for most of it.
fn main_parts(path: &Path, sounding: &Sounding) -> Result<Vec<Option<usize>>, Box<dyn std::error::Error>> {
    let mut reader = csv::Reader::from_path(path)?;
    let names = reader.headers()?.clone();
    let column = |name: &str| names.iter().position(|known| known == name).ok_or_else(|| format!("no column {name}"));
    let (at, part) = (column("qstamp")?, column("part_num")?);
    let mut marks: Vec<(f64, usize)> = Vec::new();
    for record in reader.records() {
        let record = record?;
        if let (Ok(at), Ok(part)) = (record[at].parse(), record[part].parse()) {
            marks.push((at, part));
        }
    }
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut mains = Vec::new();
    for bar in &sounding.bars {
        let (from, to) = (bar.start.to_f64(), (bar.start + bar.length).to_f64());
        let mut time: BTreeMap<usize, f64> = BTreeMap::new();
        for (index, (at, part)) in marks.iter().enumerate() {
            let until = marks.get(index + 1).map_or(f64::INFINITY, |next| next.0);
            *time.entry(*part).or_default() += (until.min(to) - at.max(from)).max(0.0);
        }
        let main = time.into_iter().filter(|(_, time)| *time > 0.0).max_by(|a, b| a.1.total_cmp(&b.1));
        mains.push(main.map(|(part, _)| part));
    }
    Ok(mains)
}

/// Partial loudness is slow; it is asked in one bar of so many.
const EVERY: usize = 4;
/// Seconds of a tone's beginning, after which an ear adapted to what goes on has turned to what comes new.
const BEGINNING: f64 = 0.1;

/// The same notes, none longer than its beginning.
fn begun(sounding: &Sounding) -> Sounding {
    let mut early = sounding.clone();
    for row in 0..early.notes.len() {
        let (onset, duration) = (early.notes.onset[row], early.notes.duration[row]);
        let seconds = early.tempo.seconds(onset + duration) - early.tempo.seconds(onset);
        if seconds > BEGINNING {
            #[allow(clippy::cast_possible_truncation)] // a share
            let share = (BEGINNING / seconds * 256.0).ceil() as i64;
            early.notes.duration[row] = duration * Crotchets::new(share.clamp(1, 256), 256).unwrap_or_default();
        }
    }
    early
}

/// The rows of a part in a bar.
fn rows_in(sounding: &Sounding, part: usize, bar: usize) -> std::ops::Range<usize> {
    let rows = sounding.notes.of_part[part].clone();
    let bars = &sounding.notes.bar[rows.clone()];
    let (first, last) = (bars.partition_point(|at| (*at as usize) < bar), bars.partition_point(|at| *at as usize <= bar));
    rows.start + first..rows.start + last
}

/// Its notes: (onset, pitch class).
fn notes_in(sounding: &Sounding, part: usize, bar: usize) -> Vec<(Crotchets, u8)> {
    let notes = &sounding.notes;
    let mut found: Vec<_> =
        rows_in(sounding, part, bar).filter_map(|row| Some((notes.onset[row], notes.key[row]?.number() % 12))).collect();
    found.sort_unstable();
    found.dedup();
    found
}

/// By bar and part: the part that leads those who play the same notes, the main part before others.
fn leaders(score: &Score, sounding: &Sounding, mains: &[Option<usize>], all: bool) -> Vec<Vec<usize>> {
    let count = score.parts.len();
    let of_bar = |(bar, main): (usize, &Option<usize>)| {
        let notes: Vec<_> = (0..count).map(|part| notes_in(sounding, part, bar)).collect();
        let mut leader: Vec<Option<usize>> = vec![None; count];
        for first in main.iter().copied().filter(|main| *main < count).chain(0..count) {
            if leader[first].is_some() {
                continue;
            }
            leader[first] = Some(first);
            let lead = &notes[first];
            for part in (0..count).filter(|_| all || *main == Some(first)) {
                let common = lead.iter().filter(|note| notes[part].binary_search(note).is_ok()).count();
                if leader[part].is_none() && !lead.is_empty() && common * 5 >= lead.len() * 4 {
                    leader[part] = Some(first);
                }
            }
        }
        leader.into_iter().enumerate().map(|(part, leader)| leader.unwrap_or(part)).collect()
    };
    mains.iter().enumerate().map(of_bar).collect()
}

/// The parts joined bar by bar with whom they follow.
fn joined(score: &Score, sounding: &Sounding, leaders: &[Vec<usize>]) -> Vec<Line> {
    let mut lines: Vec<Line> = score.parts.iter().map(|part| Line { name: part.name.clone(), rows: Vec::new() }).collect();
    for (bar, leader) in leaders.iter().enumerate() {
        for (part, leader) in leader.iter().enumerate() {
            lines[*leader].rows.extend(rows_in(sounding, part, bar));
        }
    }
    lines
}

/// Share of some parts that a value exceeds; half for a draw; `None` without parts.
fn wins(of: &dyn Fn(usize) -> f64, mine: f64, among: &[usize]) -> Option<f64> {
    let win = |other: f64| if (mine - other).abs() < 1e-9 { 0.5 } else { f64::from(u8::from(mine > other)) };
    #[allow(clippy::cast_precision_loss)] // counts of parts
    let count = among.len() as f64;
    (!among.is_empty()).then(|| among.iter().map(|part| win(of(*part))).sum::<f64>() / count)
}

/// One score with its main parts, and how everybody is heard in each form.
struct Heard<'a> {
    score: &'a Score,
    sounding: &'a Sounding,
    doublers: Vec<Vec<usize>>,
    alone: Audibility,
    beside: Audibility,
    line: Audibility,
    lines: Audibility,
    loud: [Audibility; 3],
    best: Audibility,
    by_itself: Audibility,
    /// Of parts and of the main line, by margin, and of parts by loudness, where every tone is heard only as it begins.
    begun: [Audibility; 3],
    scene: &'a Scene<'a>,
    parts: &'a [Line],
    of_line: Vec<Vec<usize>>,
}

impl Heard<'_> {
    fn compare(&self, main: usize, bar: usize) -> Option<([Option<f64>; FORMS.len()], Vec<String>)> {
        let margin = |table: &Audibility, part: usize| table.at(part, bar).map_or(f64::NEG_INFINITY, |heard| heard.margin_db);
        self.alone.at(main, bar)?;
        let count = self.score.parts.len();
        let others: Vec<usize> = (0..count).filter(|part| *part != main && self.alone.at(*part, bar).is_some()).collect();
        let apart: Vec<usize> = others.iter().copied().filter(|part| self.doublers[bar][*part] != main).collect();
        let lines: Vec<usize> = (0..count)
            .filter(|line| *line != main && self.of_line[bar][*line] == *line && self.lines.at(*line, bar).is_some())
            .collect();
        let height = |part: usize| {
            let keys = rows_in(self.sounding, part, bar).filter_map(|row| self.sounding.notes.key[row]);
            keys.map(|key| f64::from(key.number())).fold(f64::NEG_INFINITY, f64::max)
        };
        let mark = |row: usize| self.sounding.notes.level[row].map_or(5.0, |level| f64::from(level.0));
        let marked = |part: usize| rows_in(self.sounding, part, bar).map(mark).fold(f64::NEG_INFINITY, f64::max);
        let force = |part: usize| {
            let of = |row: usize| mark(row) + f64::from(self.sounding.notes.players[row].most).log2();
            rows_in(self.sounding, part, bar).map(of).fold(f64::NEG_INFINITY, f64::max)
        };
        let of = |table: &Audibility, among: &[usize]| wins(&|part| margin(table, part), margin(table, main), among);
        let partial = |by: &dyn Fn(&SecondOpinion) -> f64| {
            let heard =
                |part: usize| second_opinion(self.scene, self.parts, part, bar).map_or(f64::NEG_INFINITY, |told| by(&told));
            bar.is_multiple_of(EVERY).then(|| wins(&heard, heard(main), &others)).flatten()
        };
        let forms = [
            of(&self.alone, &others)?.into(),
            of(&self.alone, &apart),
            of(&self.beside, &apart),
            of(&self.line, &apart),
            of(&self.lines, &lines),
            of(&self.loud[0], &others),
            of(&self.loud[1], &apart),
            of(&self.loud[2], &lines),
            of(&self.best, &others),
            of(&self.by_itself, &others),
            partial(&|told| told.margin_db),
            partial(&|told| told.partial.0),
            of(&self.begun[0], &others),
            of(&self.begun[1], &apart),
            of(&self.begun[2], &others),
            wins(&height, height(main), &apart),
            wins(&force, force(main), &others),
        ];
        let place = if apart.iter().all(|part| height(*part) <= height(main)) {
            "highest"
        } else if apart.iter().all(|part| height(*part) >= height(main)) {
            "lowest"
        } else {
            "inner"
        };
        let mut marks: Vec<f64> = apart.iter().map(|part| marked(*part)).collect();
        marks.sort_by(f64::total_cmp);
        let middle = marks.get(marks.len() / 2).copied().unwrap_or(f64::NAN);
        let against = match marked(main) - middle {
            d if d > 0.5 => "marked louder than the middle of the others",
            d if d < -0.5 => "marked softer",
            _ => "marked alike",
        };
        let size = match others.len() {
            0..=3 => "up to 3 others",
            4..=7 => "4 to 7 others",
            8..=15 => "8 to 15 others",
            _ => "16 others or more",
        };
        let doubled = if others.len() > apart.len() { "doubled by others" } else { "not doubled" };
        let mut cases: Vec<String> = [place, against, size, doubled].iter().map(|case| (*case).to_owned()).collect();
        let id = &self.score.parts[main].instrument_id;
        cases.push(format!("family: {}", catalogue().by_id(id).map_or("other", |item| item.family.name())));
        cases.push(id.clone());
        Some((forms, cases))
    }
}

#[allow(clippy::print_stdout, clippy::cast_precision_loss)] // it is a program; counts
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "../shared/data/scores".into());
    let situation = || if std::env::args().nth(2).is_some() { Situation::conductor() } else { Situation::hall() };
    println!("{}", situation());
    let Ok(entries) = fs::read_dir(&folder) else {
        println!("{folder} is not there: nothing to check (the annotations are published as Hauptstimme)");
        return Ok(());
    };
    let mut files: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "mxl"))
        .collect();
    files.sort();
    let (mut all, mut cases) = (Tally::default(), BTreeMap::<String, (Tally, usize)>::new());
    let mut means: Vec<Tally> = Vec::new();
    for path in &files {
        let stem = path.file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let annotations = path.with_file_name(format!("{stem}_annotations.csv"));
        if !annotations.exists() {
            continue;
        }
        let score = read(&path.to_string_lossy(), &fs::read(path)?, &Limits::default())?.score;
        let sounding = Sounding::new(&score, Unroll::AsWritten);
        let scene = Scene::new(&score, &sounding, &[], situation())?;
        let mains = main_parts(&annotations, &sounding)?;
        let parts = Line::of_parts(&score, &sounding);
        let doublers = leaders(&score, &sounding, &mains, false);
        let of_line = leaders(&score, &sounding, &mains, true);
        let (doubled, joined_all) = (joined(&score, &sounding, &doublers), joined(&score, &sounding, &of_line));
        let loud = |lines: &[Line]| audibility_by(&scene, lines, &Loudness { alone: false });
        let heard = Heard {
            loud: [loud(&parts), loud(&doubled), loud(&joined_all)],
            best: audibility_by(&scene, &parts, &Best),
            begun: {
                let early = begun(&sounding);
                let scene = Scene::new(&score, &early, &[], situation())?;
                [
                    audibility(&scene, &parts),
                    audibility(&scene, &doubled),
                    audibility_by(&scene, &parts, &Loudness { alone: false }),
                ]
            },
            scene: &scene,
            parts: &parts,
            by_itself: audibility_by(&scene, &parts, &Loudness { alone: true }),
            alone: audibility(&scene, &parts),
            beside: audibility_beside(&scene, &parts, |bar, part| of_line[bar][part]),
            line: audibility(&scene, &doubled),
            lines: audibility(&scene, &joined_all),
            score: &score,
            sounding: &sounding,
            doublers,
            of_line,
        };
        let mut piece = Tally::default();
        for (bar, main) in mains.iter().enumerate() {
            let Some(main) = main.filter(|main| *main < score.parts.len()) else { continue };
            let Some((forms, of)) = heard.compare(main, bar) else { continue };
            piece.add(&forms);
            all.add(&forms);
            for case in of {
                let (tally, bars) = cases.entry(case).or_default();
                tally.add(&forms);
                *bars += 1;
            }
        }
        println!("{stem:28} {:6} bars{}", piece.0[0].1, piece.shares());
        means.push(piece);
    }
    println!();
    for (case, (tally, bars)) in &cases {
        println!("{case:44} {bars:6} bars{}", tally.shares());
    }
    println!();
    for (form, name) in FORMS.iter().enumerate() {
        let (sum, bars) = all.0[form];
        let of: Vec<f64> =
            means.iter().map(|tally| tally.0[form]).filter(|(_, bars)| *bars > 0.0).map(|(sum, bars)| sum / bars).collect();
        let mean = of.iter().sum::<f64>() / of.len().max(1) as f64;
        println!("{name:84} {:.3} of {bars:6} bars, mean over movements {mean:.3}", sum / bars.max(1.0));
    }
    Ok(())
}
