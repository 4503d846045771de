//! Measures casting. Run with `cargo run --release -p ripieno-casting --example measure -- WHAT ...`:
//!
//! - `cast SKETCH LINEUP OUT [PLAN]` casts one sketch and prints who does what;
//! - `chorales FOLDER LINEUP OUT_FOLDER` casts every sketch of a folder, for `reference/casting_agree.py`;
//! - `masters PROFILE FOLDER [COUNT] [octaves]` reduces passages of scores (with `octaves` to sketches that tell in which octaves lines sound) and casts them for the
//!   original line-up, by a practice learned without the work;
//! - `reduce SCORE FIRST LAST OUT` reduces bars, counted from 1, to a sketch;
//! - `windows FOLDER OUT` writes what every section does in every four bars of every score, beside the sketch of these bars, for fitting;
//! - `speed` times 160 bars for 18 brass players.
#![allow(clippy::print_stdout, clippy::print_stderr, clippy::cast_precision_loss)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Instant;

use ripieno_casting::{
    Cast, Habits, Lineup, Options, PhrasePlan, Plan, Seat, Sketch, Taste, cast, changed, explain, proposals, recast, reduce,
    reduce_in_octaves, units,
};
use ripieno_formats::{Limits, musicxml, read_file};
use ripieno_score::{Bar, Crotchets, Head, Metre, Note, NoteValue, Part, Pitch, Score, Step};
use ripieno_study::{Study, analyse_file};
use ripieno_texture::Role;

type Answer = Result<(), String>;

fn main() -> Answer {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["cast", sketch, lineup, out, plan @ ..] => one(sketch, lineup, out, plan.first().copied()),
        ["chorales", folder, lineup, out] => chorales(folder, lineup, out),
        ["masters", profile, folder, rest @ ..] => {
            let count = rest.first().and_then(|n| n.parse().ok()).unwrap_or(40);
            masters(profile, folder, count, rest.contains(&"octaves"))
        }
        ["reduce", score, first, last, out] => reduced(score, first, last, out),
        ["windows", folder, out] => windows(folder, out),
        ["speed"] => speed(),
        _ => Err("say cast, chorales, masters or speed; see the head of the file".to_owned()),
    }
}

fn sketch_of(file: &Path) -> Result<Sketch, String> {
    let reading = read_file(file, &Limits::default()).map_err(|error| error.to_string())?;
    Sketch::by_names(reading.score).ok_or_else(|| format!("{}: no staff is named by a role", file.display()))
}

fn lineup_of(file: &str) -> Result<Lineup, String> {
    let text = std::fs::read_to_string(file).map_err(|error| format!("{file}: {error}"))?;
    Lineup::from_toml(file, &text).map_err(|error| error.to_string())
}

fn one(sketch: &str, lineup: &str, out: &str, plan: Option<&str>) -> Answer {
    let sketch = sketch_of(Path::new(sketch))?;
    let lineup = lineup_of(lineup)?;
    let plan = match plan {
        None => Plan::default(),
        Some(file) => {
            let text = std::fs::read_to_string(file).map_err(|error| format!("{file}: {error}"))?;
            Plan::from_toml(file, &text, &sketch, &lineup).map_err(|error| error.to_string())?
        }
    };
    let done = cast(&sketch, &lineup, &plan, &Habits::usual(), &Options::default());
    std::fs::write(out, musicxml::write(&done.score(&sketch, &lineup))).map_err(|error| error.to_string())?;
    print!("{}", explain(&sketch, &lineup, &done));
    Ok(())
}

fn reduced(score: &str, first: &str, last: &str, out: &str) -> Answer {
    let study = analyse_file(Path::new(score), &Limits::default()).map_err(|error| error.to_string())?;
    let number = |text: &str| text.parse::<usize>().map_err(|error| format!("{text}: {error}"));
    let bars = number(first)?.saturating_sub(1)..number(last)?;
    let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars);
    std::fs::write(out, musicxml::write(&sketch.score)).map_err(|error| error.to_string())
}

fn chorales(folder: &str, lineup: &str, out: &str) -> Answer {
    let lineup = lineup_of(lineup)?;
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).map_err(|error| error.to_string())?.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.sort();
    std::fs::create_dir_all(out).map_err(|error| error.to_string())?;
    // Who has which line when, for the referee: file, player, onset, duration, key, strand, voice.
    let mut table = "file,section,chair,onset,duration,key,low,high,comfort_low,comfort_high,strand,voice\n".to_owned();
    for file in files.iter().filter(|file| file.extension().is_some_and(|ending| ending == "musicxml")) {
        let sketch = sketch_of(file)?;
        let name = file.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let done = cast(&sketch, &lineup, &Plan::default(), &Habits::usual(), &Options::default());
        std::fs::write(Path::new(out).join(&name), musicxml::write(&done.score(&sketch, &lineup)))
            .map_err(|error| error.to_string())?;
        for (section, found) in lineup.sections.iter().enumerate() {
            for (chair, seat) in found.chairs.iter().enumerate() {
                for note in done.notes_of((section, chair)) {
                    let (possible, comfortable) = (seat.reach.possible, seat.reach.comfortable);
                    table += &format!(
                        "{name},{section},{chair},{},{},{},{},{},{},{},{},{}\n",
                        note.onset,
                        note.duration,
                        note.key(),
                        possible.low(),
                        possible.high(),
                        comfortable.low(),
                        comfortable.high(),
                        sketch.strands[note.line.strand].name,
                        note.line.voice
                    );
                }
            }
        }
        for remark in &done.remarks {
            eprintln!("{name}: {remark}");
        }
    }
    std::fs::write(Path::new(out).join("notes.csv"), table).map_err(|error| error.to_string())
}

/// What a role is called in a reduction.
const fn class(role: Role) -> Role {
    match role {
        Role::Punctuation => Role::Rhythm,
        other => other,
    }
}

/// The three groups of the published annotations: melody, harmony, rhythm.
const fn group(role: Role) -> u8 {
    match role {
        Role::Melody | Role::Countermelody => 0,
        Role::Harmony | Role::Pedal | Role::Bass => 1,
        Role::Tacet => 3,
        _ => 2,
    }
}

/// The role a section has for most of its time in bars of the original, and the median of its keys; tacet where it sounds in less than a quarter of the bars.
fn truth(study: &Study, of_part: &[Option<usize>], section: usize, bars: std::ops::Range<usize>) -> (Role, Option<i32>) {
    let mut time: BTreeMap<Role, f64> = BTreeMap::new();
    let mut keys: Vec<i32> = Vec::new();
    let mut sounds = vec![false; bars.len()];
    let notes = &study.sounding.notes;
    for (part, _) in of_part.iter().enumerate().filter(|(_, at)| **at == Some(section)) {
        for row in notes.of_part[part].clone() {
            let bar = notes.bar[row] as usize;
            if !bars.contains(&bar) || !notes.duration[row].is_positive() {
                continue;
            }
            sounds[bar - bars.start] = true;
            if let Some(key) = notes.key[row] {
                keys.push(i32::from(key.number()));
            }
            let line = study.lines.of_row[row] as usize;
            let at = u32::try_from(bar).unwrap_or(0);
            let span = study.roles.roles.spans.iter().find(|span| span.line == line && span.bars.contains(&at));
            if let Some(span) = span {
                *time.entry(class(span.role())).or_default() += notes.duration[row].to_f64();
            }
        }
    }
    keys.sort_unstable();
    let median = keys.get(keys.len() / 2).copied();
    if sounds.iter().filter(|&&sound| sound).count() * 4 < bars.len() {
        return (Role::Tacet, median);
    }
    let best = time.into_iter().fold((Role::Tacet, 0.0), |best, (role, time)| if time > best.1 { (role, time) } else { best });
    (best.0, median)
}

/// Bars of the two passages of a score: where most sections sound, and where the melody is led most clearly over a thinner texture.
fn passages(study: &Study, length: usize) -> Vec<(&'static str, usize)> {
    let bars = study.score.bars.len();
    if bars < length + 2 {
        return Vec::new();
    }
    let sections = |bar: usize| {
        let bar = u32::try_from(bar).unwrap_or(0);
        study.of_sections.iter().filter(|measured| measured.presence.bars.binary_search(&bar).is_ok()).count()
    };
    let counts: Vec<usize> = (0..bars).map(sections).collect();
    let lead =
        |bar: usize| study.roles.roles.leads.iter().map(|leads| leads.get(bar).copied().unwrap_or(0.0)).fold(0.0f32, f32::max);
    let most = counts.iter().copied().max().unwrap_or(0);
    let starts = 1..bars - length;
    let full =
        starts.clone().max_by_key(|&start| (counts[start..start + length].iter().sum::<usize>(), std::cmp::Reverse(start)));
    let clear = starts
        .filter(|&start| counts[start..start + length].iter().all(|&count| count >= 3 && count * 5 <= most * 4))
        .max_by(|&a, &b| {
            let sum = |start: usize| (start..start + length).map(lead).sum::<f32>();
            sum(a).total_cmp(&sum(b)).then(b.cmp(&a))
        });
    full.map(|start| ("tutti", start)).into_iter().chain(clear.map(|start| ("melody", start))).collect()
}

/// For each octave, the share of a line's notes that lines of the same role double there.
fn doubled_at(study: &Study, strand: &ripieno_casting::Strand, bars: &std::ops::Range<usize>) -> BTreeMap<i32, f64> {
    let start = study.score.bars[bars.start].start;
    let notes = &study.sounding.notes;
    let mut found: BTreeMap<i32, f64> = BTreeMap::new();
    let mut main: BTreeMap<Crotchets, i32> = BTreeMap::new();
    for note in strand.notes.iter().filter(|note| note.duration.is_positive()) {
        main.insert(note.onset, note.key());
    }
    let mut seen: std::collections::BTreeSet<(Crotchets, i32)> = std::collections::BTreeSet::new();
    for span in &study.roles.roles.spans {
        if class(span.role()) != class(strand.role) {
            continue;
        }
        for &row in &study.lines.lines[span.line].rows {
            let row = row as usize;
            let bar = notes.bar[row];
            if !span.bars.contains(&bar) || !bars.contains(&(bar as usize)) {
                continue;
            }
            let (Some(key), onset) = (notes.key[row], notes.onset[row] - start) else { continue };
            if let Some(own) = main.get(&onset) {
                let apart = i32::from(key.number()) - own;
                if apart % 12 == 0 && seen.insert((onset, apart)) {
                    *found.entry(apart / 12).or_default() += 1.0 / main.len() as f64;
                }
            }
        }
    }
    found
}

fn windows(folder: &str, out: &str) -> Answer {
    const LENGTH: usize = 4;
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).map_err(|error| error.to_string())?.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "mxl"));
    files.sort();
    let mut table = "file,kind,bar,unit,section,instrument,chairs,low,high,truth,median,level,strands\n".to_owned();
    for file in &files {
        let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
        let name = file.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let (lineup, of_part) = Lineup::of_score(&study.score);
        let groups = units(&lineup);
        let mut wanted: Vec<(&str, std::ops::Range<usize>)> = (0..study.score.bars.len().saturating_sub(LENGTH))
            .step_by(2 * LENGTH)
            .map(|start| ("window", start..start + LENGTH))
            .collect();
        for (kind, start) in passages(&study, 2 * LENGTH) {
            let bars = start..start + 2 * LENGTH;
            let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars);
            let phrases = Plan::phrases_of(&sketch).phrases;
            wanted.extend(phrases.iter().map(|phrase| (kind, start + phrase.bars.start..start + phrase.bars.end)));
        }
        for (kind, bars) in wanted {
            let sketch = reduce(&study.score, &study.sounding, &study.lines, &study.roles.roles, bars.clone());
            let strands: Vec<String> = sketch
                .strands
                .iter()
                .map(|strand| {
                    let mut keys: BTreeMap<i32, usize> = BTreeMap::new();
                    for note in &strand.notes {
                        *keys.entry(note.key()).or_default() += 1;
                    }
                    let keys: Vec<String> = keys.iter().map(|(key, count)| format!("{key}x{count}")).collect();
                    let mut onsets: Vec<Crotchets> = strand.notes.iter().map(|note| note.onset).collect();
                    onsets.dedup();
                    let octaves = if strand.is_chordal() { BTreeMap::new() } else { doubled_at(&study, strand, &bars) };
                    let octaves: Vec<String> = octaves.iter().map(|(octave, share)| format!("{octave}x{share:.2}")).collect();
                    format!("{}:{}:{}:{}", strand.role, keys.join(" "), onsets.len(), octaves.join(" "))
                })
                .collect();
            let level =
                sketch.strands.iter().filter_map(|strand| sketch.level_at(strand.part, Crotchets::ZERO)).fold(0.0f32, f32::max);
            for (n, unit) in groups.iter().enumerate() {
                let (role, median) = truth(&study, &of_part, unit.section, bars.clone());
                let chair = &lineup.sections[unit.section].chairs[unit.chairs[0]];
                let median = median.map_or_else(String::new, |median| median.to_string());
                table += &format!(
                    "{name},{kind},{}-{},{n},{},{},{},{},{},{role},{median},{level},{}\n",
                    bars.start,
                    bars.end,
                    lineup.sections[unit.section].kind,
                    chair.instrument.id,
                    unit.chairs.len(),
                    chair.reach.possible.low(),
                    chair.reach.possible.high(),
                    strands.join(";")
                );
            }
        }
        eprintln!("{name}");
        std::fs::write(out, &table).map_err(|error| error.to_string())?;
    }
    Ok(())
}

#[derive(Default, Clone, Copy)]
struct Tally {
    right: usize,
    all: usize,
}

impl Tally {
    fn add(&mut self, right: bool) {
        self.right += usize::from(right);
        self.all += 1;
    }

    fn share(self) -> f64 {
        self.right as f64 / self.all.max(1) as f64
    }
}

/// Weights of role, register and liveliness to be compared with the ones that are used.
fn tastes() -> Vec<(&'static str, Taste)> {
    let of = |role, register, liveliness| Taste { role, register, liveliness, ..Taste::default() };
    vec![
        ("weights 1 1 0", of(1.0, 1.0, 0.0)),
        ("weights 1 1 .5", of(1.0, 1.0, 0.5)),
        ("weights 1 .7 0", of(1.0, 0.7, 0.0)),
        ("weights .85 1.13 1", of(0.85, 1.13, 1.0)),
        ("weights .85 1.13 0", of(0.85, 1.13, 0.0)),
    ]
}

fn masters(profile: &str, folder: &str, count: usize, octaves: bool) -> Answer {
    const LENGTH: usize = 8;
    let text = std::fs::read_to_string(profile).map_err(|error| format!("{profile}: {error}"))?;
    let profile = ripieno_practice::Profile::from_json(&text).map_err(|error| error.to_string())?;
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).map_err(|error| error.to_string())?.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "mxl"));
    files.sort();
    // Every other score or so, over all composers.
    let wanted = count.div_ceil(2);
    let step = (files.len() as f64 / wanted as f64).max(1.0);
    let chosen: Vec<PathBuf> =
        (0..files.len().min(wanted)).filter_map(|n| files.get((n as f64 * step) as usize).cloned()).collect();
    let mut tallies: BTreeMap<&str, Tally> = BTreeMap::new();
    let (mut off, mut off_same, mut coverage, mut kept) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut confusion: BTreeMap<(Role, Role), usize> = BTreeMap::new();
    let mut done_passages = 0;
    println!("passage,bars,sections,cast,cast_open,naive,random,usual");
    for file in &chosen {
        let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
        let name = file.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let work = profile.scores.iter().find(|entry| entry.file.contains(&name)).map(|entry| entry.work.clone());
        let habits = Habits::of(&profile, |entry| Some(&entry.work) == work.as_ref());
        let (lineup, of_part) = Lineup::of_score(&study.score);
        let groups = units(&lineup);
        for (kind, start) in passages(&study, LENGTH) {
            if done_passages >= count {
                break;
            }
            let reduction = if octaves { reduce_in_octaves } else { reduce };
            let sketch = reduction(&study.score, &study.sounding, &study.lines, &study.roles.roles, start..start + LENGTH);
            if sketch.strands.is_empty() {
                continue;
            }
            done_passages += 1;
            let plan = Plan::phrases_of(&sketch);
            let truths: Vec<Vec<(Role, Option<i32>)>> = plan
                .phrases
                .iter()
                .map(|phrase| {
                    groups
                        .iter()
                        .map(|unit| truth(&study, &of_part, unit.section, start + phrase.bars.start..start + phrase.bars.end))
                        .collect()
                })
                .collect();
            let playing: Vec<Vec<bool>> =
                truths.iter().map(|phrase| phrase.iter().map(|found| found.0 != Role::Tacet).collect()).collect();
            let given = cast(&sketch, &lineup, &plan, &habits, &Options { playing: Some(playing.clone()), ..Options::default() });
            let open = cast(&sketch, &lineup, &plan, &habits, &Options::default());
            let others: Vec<(&str, Cast)> = tastes()
                .into_iter()
                .map(|(name, taste)| {
                    let options = Options { playing: Some(playing.clone()), taste, ..Options::default() };
                    (name, cast(&sketch, &lineup, &plan, &habits, &options))
                })
                .collect();
            let sounded = given.criteria.get("chord tones sounded").unwrap_or(0.0);
            if sounded < 1.0 {
                println!("# {name} {}: chord tones {sounded:.4}; {}", start + 1, given.remarks.join("; "));
            }
            coverage.push(sounded);
            kept.push(given.criteria.get("melody notes kept").unwrap_or(0.0));
            let role_in = |cast: &Cast, at: usize, unit: &ripieno_casting::Unit| {
                let task = cast.plan.phrases[at]
                    .tasks
                    .iter()
                    .find(|task| task.section == unit.section && task.chairs.contains(&unit.chairs[0]));
                task.map_or(Role::Tacet, |task| class(task.role))
            };
            let mut here: BTreeMap<&str, Tally> = BTreeMap::new();
            for (at, phrase) in plan.phrases.iter().enumerate() {
                let naive = naive(&sketch, &lineup, &groups, phrase, &playing[at]);
                let random = random(&sketch, &lineup, &groups, phrase, &playing[at], done_passages * 100 + at);
                let strands: Vec<Role> = sketch.strands.iter().map(|strand| strand.role).collect();
                for (n, unit) in groups.iter().enumerate() {
                    let (role, median) = truths[at][n];
                    let ours = role_in(&given, at, unit);
                    here.entry("open").or_default().add(role_in(&open, at, unit) == role);
                    if role == Role::Tacet {
                        continue;
                    }
                    *confusion.entry((role, ours)).or_default() += 1;
                    here.entry("cast").or_default().add(ours == role);
                    for (name, other) in &others {
                        here.entry(name).or_default().add(role_in(other, at, unit) == role);
                    }
                    here.entry("cast, three groups").or_default().add(group(ours) == group(role));
                    here.entry("naive, three groups").or_default().add(group(naive[n]) == group(role));
                    here.entry("random, three groups").or_default().add(group(random[n]) == group(role));
                    here.entry("naive").or_default().add(naive[n] == role);
                    here.entry("random").or_default().add(random[n] == role);
                    // What the section does most in its practice, of the strands there are.
                    let habit = habits.section(lineup.sections[unit.section].kind);
                    let usual = strands.iter().copied().max_by(|a, b| {
                        let share = |role: Role| habit.map_or(0.0, |habit| habit.share(role, &strands));
                        share(*a).total_cmp(&share(*b))
                    });
                    here.entry("usual").or_default().add(usual == Some(role));
                    let mut keys: Vec<i32> = unit
                        .chairs
                        .iter()
                        .filter_map(|&chair| given.phrases[at].notes.get(&(unit.section, chair)))
                        .flatten()
                        .map(|note| note.key())
                        .collect();
                    keys.sort_unstable();
                    if let (Some(median), Some(&own)) = (median, keys.get(keys.len() / 2)) {
                        off.push((own - median).abs());
                        if ours == role {
                            off_same.push((own - median).abs());
                        }
                    }
                }
            }
            let get = |what: &str| here.get(what).copied().unwrap_or_default().share();
            println!(
                "{name} {kind},{}-{},{},{:.2},{:.2},{:.2},{:.2},{:.2}",
                start + 1,
                start + LENGTH,
                groups.len(),
                get("cast"),
                get("open"),
                get("naive"),
                get("random"),
                get("usual")
            );
            for (what, tally) in here {
                let sum = tallies.entry(what).or_default();
                sum.right += tally.right;
                sum.all += tally.all;
            }
        }
    }
    off.sort_unstable();
    off_same.sort_unstable();
    println!("{done_passages} passages");
    for (what, tally) in &tallies {
        println!("{what}: {:.3} of {}", tally.share(), tally.all);
    }
    println!(
        "register off by, median: {:?} (where the role agrees {:?})",
        off.get(off.len() / 2),
        off_same.get(off_same.len() / 2)
    );
    let least = |values: &[f64]| values.iter().copied().fold(1.0, f64::min);
    println!(
        "chord tones sounded, least and mean: {:.4} {:.4}",
        least(&coverage),
        coverage.iter().sum::<f64>() / coverage.len().max(1) as f64
    );
    println!("melody notes kept, least: {:.4}", least(&kept));
    for ((role, ours), count) in confusion {
        println!("original {role}, cast {ours}: {count}");
    }
    Ok(())
}

/// Strands from the highest down, laid over the sections that play in score order, each the same number of neighbours.
fn naive(sketch: &Sketch, lineup: &Lineup, groups: &[ripieno_casting::Unit], phrase: &PhrasePlan, playing: &[bool]) -> Vec<Role> {
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
fn random(
    sketch: &Sketch,
    lineup: &Lineup,
    groups: &[ripieno_casting::Unit],
    phrase: &PhrasePlan,
    playing: &[bool],
    seed: usize,
) -> Vec<Role> {
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

/// 160 bars of melody, chords in minims and bass.
fn long_sketch() -> Option<Sketch> {
    let four = Crotchets::whole(4);
    let mut score = Score::default();
    for bar in 0..160i64 {
        let mut new = Bar::new((bar + 1).to_string(), Crotchets::whole(4 * bar), four);
        new.metre = (bar == 0).then(|| Metre::simple(4, 4));
        score.bars.push(new);
    }
    let scale = [(Step::C, 0), (Step::D, 0), (Step::E, 0), (Step::F, 0), (Step::G, 0), (Step::A, 0), (Step::B, 0)];
    let pitch = |degree: i64, octave: i8| {
        let step = scale[usize::try_from(degree.rem_euclid(7)).unwrap_or(0)];
        Pitch::new(step.0, step.1, octave + i8::try_from(degree.div_euclid(7)).unwrap_or(0))
    };
    let mut part = |name: &str, notes: Vec<(i64, i64, Crotchets, Vec<Pitch>)>| {
        let mut part = Part { id: name.to_owned(), name: name.to_owned(), staves: 1, ..Part::default() };
        for (bar, at, duration, pitches) in notes {
            for (n, pitch) in pitches.into_iter().enumerate() {
                let mut flags = ripieno_score::NoteFlags::empty();
                flags.set(ripieno_score::NoteFlags::CHORD, n > 0);
                part.notes.push(Note {
                    bar: ripieno_score::BarIndex(u32::try_from(bar).unwrap_or(0)),
                    at: Crotchets::whole(at),
                    duration,
                    head: Head::Pitched(pitch),
                    value: NoteValue::of_length(duration, 1),
                    flags,
                    ..Note::default()
                });
            }
        }
        score.parts.push(part);
    };
    let roots = [0i64, 5, 3, 4, 0, 3, 1, 4, 5, 2, 3, 0, 1, 4, 0, 4];
    let root = |bar: i64, half: i64| roots[usize::try_from((bar * 2 + half) % 16).unwrap_or(0)];
    let bars = 0..160i64;
    part(
        "Melody",
        bars.clone()
            .flat_map(|bar| {
                (0..4).map(move |at| {
                    (bar, at, Crotchets::ONE, vec![pitch(root(bar, at / 2) + [0, 2, 4, 2][usize::try_from(at).unwrap_or(0)], 5)])
                })
            })
            .collect(),
    );
    part(
        "Chords",
        bars.clone()
            .flat_map(|bar| {
                (0..2).map(move |half| {
                    (bar, 2 * half, Crotchets::whole(2), [0, 2, 4].map(|third| pitch(root(bar, half) + third, 4)).to_vec())
                })
            })
            .collect(),
    );
    part(
        "Bass",
        bars.flat_map(|bar| (0..2).map(move |half| (bar, 2 * half, Crotchets::whole(2), vec![pitch(root(bar, half), 2)])))
            .collect(),
    );
    score.finish();
    Sketch::by_names(score)
}

const EIGHTEEN: &str = "name = \"eighteen brass\"\n[[section]]\nname = \"Horns in F\"\nplayers = 6\n[[section]]\nname = \"Trumpets in C\"\nplayers = 4\n[[section]]\nname = \"Trombones\"\nplayers = 4\n\
instruments = [{ player = 4, plays = \"Bass trombone\" }]\n[[section]]\nname = \"Euphoniums\"\nplayers = 2\n[[section]]\nname = \"Tubas\"\nplayers = 2\n";

fn speed() -> Answer {
    let sketch = long_sketch().ok_or("no sketch")?;
    let lineup = Lineup::from_toml("eighteen", EIGHTEEN).map_err(|error| error.to_string())?;
    let (habits, options) = (Habits::usual(), Options::default());
    let begin = Instant::now();
    let first = cast(&sketch, &lineup, &Plan::default(), &habits, &options);
    println!(
        "first proposal: {:.2} s for {} bars, {} players; {}",
        begin.elapsed().as_secs_f64(),
        sketch.score.bars.len(),
        lineup.people(),
        first.optimality.reason()
    );
    let begin = Instant::now();
    let three = proposals(&sketch, &lineup, &Plan::default(), &habits, &options, 3);
    let differ = |a: &Cast, b: &Cast| changed(&a.plan, &b.plan).len();
    println!(
        "three proposals: {:.2} s; phrases that differ: {} {} {} of {}",
        begin.elapsed().as_secs_f64(),
        differ(&three[0], &three[1]),
        differ(&three[0], &three[2]),
        differ(&three[1], &three[2]),
        first.plan.phrases.len()
    );
    let mut plan = first.plan.clone();
    if let Some(task) = plan.phrases[10].tasks.iter_mut().find(|task| task.role == Role::Harmony) {
        task.close = 1.0;
    }
    let begin = Instant::now();
    let again = recast(&sketch, &lineup, &plan, &habits, &options, &first, &[10]);
    let seats: Vec<Seat> = (0..lineup.sections.len())
        .flat_map(|section| (0..lineup.sections[section].chairs.len()).map(move |chair| (section, chair)))
        .collect();
    let same = first
        .phrases
        .iter()
        .zip(&again.phrases)
        .filter(|(a, b)| seats.iter().all(|seat| a.notes.get(seat) == b.notes.get(seat)))
        .count();
    println!(
        "one phrase again: {:.3} s; phrases that stayed note for note: {same} of {}",
        begin.elapsed().as_secs_f64(),
        first.phrases.len()
    );
    Ok(())
}
