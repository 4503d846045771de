//! Passages of the masters reduced to sketches and cast again for their own line-up.

use std::collections::BTreeMap;
use std::path::Path;

use ripieno_casting::{
    Cast, Habits, Learned, Lineup, Options, PhrasePlan, Plan, Sketch, Task, Taste, Unit, cast, casting_table, grounded, present,
    reduce, reduce_every_line, reduce_in_octaves, units,
};
use ripieno_formats::Limits;
use ripieno_practice::Profile;
use ripieno_score::{Crotchets, Score, Sounding};
use ripieno_study::{Study, analyse_file};
use ripieno_texture::{Lines, Role, RoleReading};

use crate::original::{class, group, passages, times, told};
use crate::{Answer, scores, weights};

#[derive(Default, Clone, Copy)]
pub struct Tally {
    pub right: usize,
    pub all: usize,
}

impl Tally {
    pub fn add(&mut self, right: bool) {
        self.right += usize::from(right);
        self.all += 1;
    }

    pub fn share(self) -> f64 {
        self.right as f64 / self.all.max(1) as f64
    }
}

/// Bars of a passage.
pub const LENGTH: usize = 8;

/// What is counted over all passages.
#[derive(Default)]
struct Counts {
    /// By what is counted.
    tallies: BTreeMap<String, Tally>,
    /// Semitones between the middle of a section's band and the original's: of all, and where the role agrees.
    off: (Vec<i32>, Vec<i32>),
    coverage: Vec<f64>,
    kept: Vec<f64>,
    /// Kind of passage, role of the original, role given.
    confusion: BTreeMap<(&'static str, Role, Role), usize>,
}

impl Counts {
    fn add(&mut self, what: &str, right: bool) {
        self.tallies.entry(what.to_owned()).or_default().add(right);
    }
}

/// Sketches of the lines that lead, plain and in all octaves in which they sound, and of every line.
pub const REDUCTIONS: [(&str, Reduction); 3] =
    [("plain", reduce), ("in octaves", reduce_in_octaves), ("every line", reduce_every_line)];

pub type Reduction = fn(&Score, &Sounding, &Lines, &RoleReading, std::ops::Range<usize>) -> Sketch;

/// `folds`: a folder with `WORK.model` for each work, learned without it (`model/casting`). `setting`: weights instead of the ones that are used ([`weights::set`]).
pub fn masters(profile: &str, folder: &str, count: usize, folds: &str, setting: Option<&str>) -> Answer {
    let text = std::fs::read_to_string(profile).map_err(|error| format!("{profile}: {error}"))?;
    let profile = Profile::from_json(&text).map_err(|error| error.to_string())?;
    let files = scores(folder)?;
    let taste = weights::set(&Taste::default(), setting.unwrap_or_default())?;
    // Every other score or so, over all composers.
    let wanted = count.div_ceil(2);
    let step = (files.len() as f64 / wanted as f64).max(1.0);
    let chosen = (0..files.len().min(wanted)).filter_map(|n| files.get((n as f64 * step) as usize));
    let mut counts = REDUCTIONS.map(|_| Counts::default());
    let mut done_passages = 0;
    println!("passage,bars,sections,plain,in_octaves,naive,random,usual");
    for file in chosen {
        let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
        let name = name_of(file);
        let (habits, learned) = of_others(&profile, file, folds)?;
        let taste = Taste { learned, ..taste.clone() };
        for (kind, start) in passages(&study, LENGTH) {
            if done_passages >= count {
                break;
            }
            done_passages += 1;
            let mut row = format!("{name} {kind},{}-{}", start + 1, start + LENGTH);
            for ((of, reduction), counts) in REDUCTIONS.into_iter().zip(&mut counts) {
                let sketch = reduction(&study.score, &study.sounding, &study.lines, &study.roles.roles, start..start + LENGTH);
                if !sketch.strands.is_empty() {
                    row += &passage(&study, &sketch, &habits, &taste, (kind, start, done_passages), of, counts);
                }
            }
            println!("{row}");
        }
    }
    println!("{done_passages} passages");
    for ((of, _), mut counts) in REDUCTIONS.into_iter().zip(counts) {
        println!("sketches {of}");
        for (what, tally) in &counts.tallies {
            println!("{what}: {:.3} of {}", tally.share(), tally.all);
        }
        let middle = |values: &mut Vec<i32>| {
            values.sort_unstable();
            values.get(values.len() / 2).copied()
        };
        println!("band off by, median: {:?} (where the role agrees {:?})", middle(&mut counts.off.0), middle(&mut counts.off.1));
        let least = |values: &[f64]| values.iter().copied().fold(1.0, f64::min);
        let mean = counts.coverage.iter().sum::<f64>() / counts.coverage.len().max(1) as f64;
        println!("chord tones sounded, least and mean: {:.4} {mean:.4}", least(&counts.coverage));
        println!("melody notes kept, least: {:.4}", least(&counts.kept));
        for ((kind, role, ours), count) in counts.confusion {
            println!("{kind}, original {role}, cast {ours}: {count}");
        }
    }
    Ok(())
}

/// The name of a score's file without its ending.
pub fn name_of(file: &Path) -> String {
    file.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// Habits and a model from all works but the one a file is of.
pub fn of_others(profile: &Profile, file: &Path, folds: &str) -> Result<(Habits, Learned), String> {
    let name = name_of(file);
    let work = profile.scores.iter().find(|entry| entry.file.contains(&name)).map(|entry| entry.work.clone());
    let habits = Habits::of(profile, |entry| Some(&entry.work) == work.as_ref());
    let fold = Path::new(folds).join(format!("{}.model", name.split('_').take(2).collect::<Vec<_>>().join("_")));
    let model = std::fs::read(&fold).map_err(|error| format!("{}: {error}", fold.display()))?;
    let learned = Learned::read(&model, habits.clone()).ok_or_else(|| format!("{}: no model of this program", fold.display()))?;
    Ok((habits, learned))
}

/// What a group has in a phrase: what most of its players have, and of as many what sounds longer, as the original is read by time; tacet where all of them rest.
pub fn role_in(sketch: &Sketch, phrase: &PhrasePlan, unit: &Unit) -> Role {
    let span = Plan::span(sketch, &phrase.bars);
    let sounding = |task: &Task| {
        let notes = task.strand.map_or(&[][..], |strand| sketch.strands[strand].between(span.0, span.1));
        let (mut until, mut sum) = (span.0, Crotchets::ZERO);
        for note in notes {
            let (from, to) = (note.onset.max(until), note.end().min(span.1));
            if to > from {
                (until, sum) = (to, sum + (to - from));
            }
        }
        sum
    };
    let has = |task: &&Task| task.section == unit.section && task.strand.is_some();
    let players = |task: &&Task| task.chairs.iter().filter(|chair| unit.chairs.contains(chair)).count();
    let most = phrase.tasks.iter().rev().filter(has).max_by_key(|task| (players(task), sounding(task)));
    most.filter(|task| players(task) > 0).map_or(Role::Tacet, |task| class(task.role))
}

/// What each group that plays has likeliest, by what is learned alone.
pub fn alone(
    sketch: &Sketch,
    lineup: &Lineup,
    groups: &[Unit],
    phrase: &PhrasePlan,
    learned: &Learned,
    playing: &[bool],
) -> Vec<Role> {
    let span = Plan::span(sketch, &phrase.bars);
    let strands = present(sketch, span);
    let logs = learned.logs(&casting_table(sketch, lineup, groups, &strands, span), playing);
    let likeliest = |logs: &[f64]| {
        let best = (0..strands.len()).max_by(|&a, &b| logs[a].total_cmp(&logs[b]).then(b.cmp(&a)));
        best.map_or(Role::Tacet, |best| class(sketch.strands[strands[best]].role))
    };
    logs.chunks(strands.len().max(1)).map(likeliest).collect()
}

/// Casts one passage and counts; the cells of its row.
fn passage(
    study: &Study,
    sketch: &Sketch,
    habits: &Habits,
    taste: &Taste,
    (kind, start, seed): (&'static str, usize, usize),
    of: &str,
    counts: &mut Counts,
) -> String {
    let (lineup, of_part) = Lineup::of_score(&study.score);
    let groups = units(&lineup);
    let plan = Plan::phrases_of(sketch);
    let roles = grounded(&study.lines, &study.roles.roles, &(start..start + LENGTH));
    let bars = |phrase: &PhrasePlan| start + phrase.bars.start..start + phrase.bars.end;
    let truths: Vec<Vec<(Role, Option<i32>)>> = plan
        .phrases
        .iter()
        .map(|phrase| {
            groups
                .iter()
                .map(|unit| times(study, &roles, &of_part, unit.section, bars(phrase)))
                .map(|found| (found.role(), found.median))
                .collect()
        })
        .collect();
    let playing: Vec<Vec<bool>> =
        truths.iter().map(|phrase| phrase.iter().map(|found| found.0 != Role::Tacet).collect()).collect();
    let options = Options { taste: taste.clone(), ..Options::default() };
    let open = cast(sketch, &lineup, &plan, habits, &options);
    let given = cast(sketch, &lineup, &plan, habits, &Options { playing: Some(playing.clone()), ..options });
    let sounded = given.criteria.get("chord tones sounded").unwrap_or(0.0);
    if sounded < 1.0 {
        println!("# {of}, {kind} {}: chord tones {sounded:.4}; {}", start + 1, given.remarks.join("; "));
    }
    counts.coverage.push(sounded);
    counts.kept.push(given.criteria.get("melody notes kept").unwrap_or(0.0));
    let role_in = |cast: &Cast, at: usize, unit: &Unit| role_in(sketch, &cast.plan.phrases[at], unit);
    let before = counts.tallies.clone();
    for (at, phrase) in plan.phrases.iter().enumerate() {
        let naive = naive(sketch, &lineup, &groups, phrase, &playing[at]);
        let likeliest = alone(sketch, &lineup, &groups, phrase, &taste.learned, &playing[at]);
        let random = random(sketch, &lineup, &groups, phrase, &playing[at], seed * 100 + at);
        let strands: Vec<Role> = sketch.strands.iter().map(|strand| strand.role).collect();
        for (n, unit) in groups.iter().enumerate() {
            let (role, median) = truths[at][n];
            let ours = role_in(&given, at, unit);
            counts.add("not told who plays", role_in(&open, at, unit) == role);
            counts.add("who plays", (role_in(&open, at, unit) == Role::Tacet) == (role == Role::Tacet));
            if role == Role::Tacet {
                continue;
            }
            *counts.confusion.entry((kind, role, ours)).or_default() += 1;
            counts.add("cast", ours == role);
            counts.add(&format!("cast, {kind}"), ours == role);
            let told = told(&roles, &of_part, unit.section, bars(phrase));
            counts.add("cast, any role told for a third of the bars", told.contains(&ours));
            counts.add("sections told more than one such role", told.len() > 1);
            counts.add("cast, three groups", group(ours) == group(role));
            counts.add("learned alone", likeliest[n] == role);
            counts.add("naive", naive[n] == role);
            counts.add("naive, three groups", group(naive[n]) == group(role));
            counts.add("random", random[n] == role);
            counts.add("random, three groups", group(random[n]) == group(role));
            // What the section does most in its practice, of the strands there are.
            let habit = habits.section(lineup.sections[unit.section].kind);
            let share = |role: Role| habit.map_or(0.0, |habit| habit.share(role, &strands));
            let usual = strands.iter().copied().max_by(|a, b| share(*a).total_cmp(&share(*b)));
            counts.add("usual", usual == Some(role));
            let own = unit.chairs.iter().filter_map(|&chair| given.phrases[at].notes.get(&(unit.section, chair)));
            let mut keys: Vec<i32> = own.flatten().map(|note| note.key()).collect();
            keys.sort_unstable();
            if let (Some(median), Some(&own)) = (median, keys.get(keys.len() / 2)) {
                counts.off.0.push((own - median).abs());
                if ours == role {
                    counts.off.1.push((own - median).abs());
                }
            }
        }
    }
    let here = |what: &str| {
        let (old, new) = (before.get(what).copied().unwrap_or_default(), counts.tallies.get(what).copied().unwrap_or_default());
        Tally { right: new.right - old.right, all: new.all - old.all }.share()
    };
    if of == REDUCTIONS[0].0 {
        format!(",{},{:.2},", groups.len(), here("cast"))
    } else {
        format!("{:.2},{:.2},{:.2},{:.2}", here("cast"), here("naive"), here("random"), here("usual"))
    }
}

/// Strands from the highest down, laid over the sections that play in score order, each the same number of neighbours.
fn naive(sketch: &Sketch, lineup: &Lineup, groups: &[Unit], phrase: &PhrasePlan, playing: &[bool]) -> Vec<Role> {
    let (from, to) = Plan::span(sketch, &phrase.bars);
    let mut strands: Vec<(f64, Role)> = sketch
        .strands
        .iter()
        .filter_map(|strand| {
            let notes = strand.between(from, to);
            let sum: i32 = notes.iter().map(|note| note.key()).sum();
            (!notes.is_empty()).then(|| (f64::from(sum) / notes.len() as f64, class(strand.role)))
        })
        .collect();
    strands.sort_by(|a, b| b.0.total_cmp(&a.0));
    // In the order of their pitch: the middle of what each section can play at ease.
    let mut order: Vec<usize> = (0..groups.len()).filter(|&n| playing[n]).collect();
    order.sort_by_key(|&n| -lineup.sections[groups[n].section].chairs[groups[n].chairs[0]].reach.middle());
    let mut roles = vec![Role::Tacet; groups.len()];
    for (place, &n) in order.iter().enumerate() {
        roles[n] = strands.get(place * strands.len() / order.len().max(1)).map_or(Role::Tacet, |strand| strand.1);
    }
    roles
}

/// Any strand that most of a section's reach allows at some octave, by chance.
fn random(sketch: &Sketch, lineup: &Lineup, groups: &[Unit], phrase: &PhrasePlan, playing: &[bool], seed: usize) -> Vec<Role> {
    let (from, to) = Plan::span(sketch, &phrase.bars);
    let mut state = seed as u64 * 2_654_435_761 + 12_345;
    let mut next = |below: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).unwrap_or(0) % below.max(1)
    };
    groups
        .iter()
        .zip(playing)
        .map(|(unit, plays)| {
            let reach = lineup.sections[unit.section].chairs[unit.chairs[0]].reach;
            let fits = |strand: &&ripieno_casting::Strand| {
                let notes = strand.between(from, to);
                !notes.is_empty()
                    && (strand.is_chordal()
                        || (-3..=3).any(|octave| {
                            notes.iter().filter(|note| reach.allows(note.key() + 12 * octave)).count() * 10 >= notes.len() * 9
                        }))
            };
            let feasible: Vec<&ripieno_casting::Strand> = sketch.strands.iter().filter(fits).collect();
            if !plays || feasible.is_empty() { Role::Tacet } else { class(feasible[next(feasible.len())].role) }
        })
        .collect()
}
