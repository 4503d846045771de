//! How far what is told of a score hangs on how its file is made: each score is changed in ways that change no music, written, read
//! back and told anew. `cargo run --release -p ripieno-texture --example roles_changed -- [--groups DIR] FILE...`
//!
//! Prints `change,files,part_bars,same_groups,kappa_melody,kappa_rhythm,kappa_harmony,same_role,same_carrier`: shares of the part-bars
//! that sound in both, and of the bars, in which the answer is that of the score as it came. With DIR the groups under each change are
//! written to DIR/CHANGE.csv in the columns piece, part (as it came), bar, mel, rhythm, harm.
#![allow(clippy::print_stdout)] // a table is what it is for

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;

use ripieno_formats::{Limits, midi, musicxml, read};
use ripieno_instruments::catalogue::{Language, catalogue};
use ripieno_instruments::recognise::{Clues, recognise};
use ripieno_score::{ChangeKind, Crotchets, DirectionKind, Head, Part, PartInstrument, Score, Sounding, Transposition, Unroll};
use ripieno_texture::{Groups, Lines, Role, predict, read_roles};

/// Name of a change, whether it is written as MIDI, what it does; parts may change places and answer where each came from.
type Change = (&'static str, bool, fn(&mut Score) -> Vec<usize>);

const CHANGES: [Change; 13] = [
    ("none", false, |score| places(score)),
    ("shuffled", false, shuffled),
    ("german", false, |score| named_in(score, Language::German)),
    ("italian", false, |score| named_in(score, Language::Italian)),
    ("french", false, |score| named_in(score, Language::French)),
    ("abbreviated", false, abbreviated),
    ("numbered", false, |score| numbered(score, true)),
    ("nameless", false, |score| numbered(score, false)),
    ("fourth", false, fourth),
    ("unmarked", false, unmarked),
    ("midi", true, |score| places(score)),
    ("midi-numbered", true, |score| numbered(score, true)),
    ("midi-nameless", true, |score| numbered(score, false)),
];

fn places(score: &Score) -> Vec<usize> {
    (0..score.parts.len()).collect()
}

/// Parts in another order, the same at every run.
fn shuffled(score: &mut Score) -> Vec<usize> {
    let mut order = places(score);
    order.sort_by_key(|&part| ((part + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 7, part));
    score.parts = order.iter().map(|&part| score.parts[part].clone()).collect();
    score.brackets.clear();
    order
}

/// Nothing but this name tells what a part is.
fn rename(part: &mut Part, name: String) {
    let program = part.instruments.first().and_then(|instrument| instrument.program);
    part.abbreviation.clear();
    part.instruments.truncate(1);
    part.instruments[0] =
        PartInstrument { id: part.instruments[0].id.clone(), name: name.clone(), program, ..PartInstrument::default() };
    part.notes.iter_mut().for_each(|note| note.instrument = 0);
    part.changes.retain(|change| !matches!(change.kind, ChangeKind::Instrument(_)));
    part.name = name;
}

/// The catalogue's name in `language`, with the chair in Roman numerals.
fn named_in(score: &mut Score, language: Language) -> Vec<usize> {
    rename_all(score, |names, numbers| {
        let roman =
            numbers.iter().map(|&number| ["I", "II", "III", "IV", "V", "VI", "VII", "VIII"][usize::from(number.clamp(1, 8)) - 1]);
        [names(language).0].into_iter().chain(roman.map(str::to_owned)).collect::<Vec<_>>().join(" ")
    })
}

/// As later systems have it: "Vl. 1".
fn abbreviated(score: &mut Score) -> Vec<usize> {
    rename_all(score, |names, numbers| {
        let short = [Language::English, Language::Italian].map(names).into_iter().find_map(|(_, short)| short);
        let name = short.unwrap_or_else(|| names(Language::English).0);
        [name].into_iter().chain(numbers.iter().map(u16::to_string)).collect::<Vec<_>>().join(" ")
    })
}

/// New names from the catalogue's (name, abbreviation) in a language and the numbers of the old name; a part it does not know keeps its own.
fn rename_all(score: &mut Score, name: impl Fn(&dyn Fn(Language) -> (String, Option<String>), &[u16]) -> String) -> Vec<usize> {
    for part in &mut score.parts {
        let solo = if part.name.to_lowercase().contains("solo") { " solo" } else { "" };
        let Some(instrument) = catalogue().by_id(&part.instrument_id) else { continue };
        let numbers = recognise(&Clues { name: &part.name, ..Clues::default() }).numbers;
        let names = |language: Language| {
            let names = instrument.names(language);
            (names.singular.clone(), names.abbreviations.first().cloned())
        };
        let new = name(&names, &numbers) + solo;
        rename(part, new);
    }
    places(score)
}

/// "Track 3", with the program of the instrument or without.
fn numbered(score: &mut Score, programs: bool) -> Vec<usize> {
    for (index, part) in score.parts.iter_mut().enumerate() {
        let instrument = catalogue().by_id(&part.instrument_id);
        rename(part, format!("Track {}", index + 1));
        let known = part.instruments[0].program.or_else(|| instrument?.program);
        part.instruments[0].program = known.filter(|_| programs);
        if !programs {
            part.instrument_id.clear();
        }
        // As in any such file: drums on their channel, and no transposition.
        part.instruments[0].channel = instrument.filter(|instrument| !instrument.pitched).map(|_| 10);
    }
    places(score)
}

fn fourth(score: &mut Score) -> Vec<usize> {
    let up = Transposition { chromatic: 5, diatonic: 3, octaves: 0, doubled_below: false };
    for note in score.parts.iter_mut().flat_map(|part| &mut part.notes) {
        if let Head::Pitched(pitch) = note.head {
            note.head = Head::Pitched(pitch.moved(up).tamed());
        }
    }
    places(score)
}

/// Neither dynamics nor words, neither articulations nor slurs.
fn unmarked(score: &mut Score) -> Vec<usize> {
    for part in &mut score.parts {
        let stays = |kind: &DirectionKind| matches!(kind, DirectionKind::OctaveShift { .. } | DirectionKind::Metronome { .. });
        part.directions.retain(|direction| stays(&direction.kind));
        part.marks.clear();
        part.notes.iter_mut().for_each(|note| (note.articulations, note.velocity) = (ripieno_score::Articulations::default(), 0));
    }
    places(score)
}

/// What is told of each part and bar, by the part's place in the score as it came and the bar's start.
struct Told {
    of: BTreeMap<(usize, Crotchets), (Groups, Vec<Role>)>,
    carriers: BTreeMap<Crotchets, Vec<usize>>,
}

fn told(score: &Score, order: &[usize]) -> Told {
    let sounding = Sounding::new(score, Unroll::AsWritten);
    let learned = predict(score, &sounding);
    let reading = read_roles(score, &sounding, &Lines::new(score, &sounding), &learned);
    let mut told = Told { of: BTreeMap::new(), carriers: BTreeMap::new() };
    for (part, &place) in order.iter().enumerate().take(score.parts.len()) {
        for (bar, played) in sounding.bars.iter().enumerate().filter(|(bar, _)| !learned.is_silent(part, *bar)) {
            let mut roles: Vec<Role> =
                reading.in_bar(part, u32::try_from(bar).unwrap_or(0)).map(ripieno_texture::RoleSpan::role).collect();
            roles.sort_unstable();
            told.of.insert((place, played.start), (learned.groups(part, bar), roles));
        }
    }
    for carried in &reading.melody {
        for bar in carried.bars.clone() {
            let parts = carried.parts().into_iter().filter_map(|part| order.get(part).copied()).collect();
            told.carriers.entry(sounding.bars[bar as usize].start).or_insert(parts);
        }
    }
    told
}

/// Counts of one change over all files.
#[derive(Default)]
struct Tally {
    files: usize,
    units: f64,
    groups: f64,
    roles: f64,
    /// Both, as it came, changed.
    labels: [[f64; 3]; 3],
    bars: f64,
    carriers: f64,
}

impl Tally {
    fn add(&mut self, before: &Told, after: &Told) {
        let one = |yes: bool| f64::from(u8::from(yes));
        self.files += 1;
        for (unit, (groups, roles)) in &before.of {
            let Some((new, now)) = after.of.get(unit) else { continue };
            self.units += 1.0;
            self.groups += one(groups == new);
            self.roles += one(roles.iter().any(|role| now.contains(role)));
            for group in 0..3 {
                let counts = [groups[group] && new[group], groups[group], new[group]];
                self.labels[group].iter_mut().zip(counts).for_each(|(sum, yes)| *sum += one(yes));
            }
        }
        for (bar, parts) in &before.carriers {
            let Some(now) = after.carriers.get(bar) else { continue };
            self.bars += 1.0;
            self.carriers += one(parts.iter().any(|part| now.contains(part)));
        }
    }

    fn row(&self, name: &str) -> String {
        let kappa = |[both, a, b]: [f64; 3]| {
            let (n, agree) = (self.units, self.units - a - b + 2.0 * both);
            let chance = (a * b + (n - a) * (n - b)) / n / n;
            (agree / n - chance) / (1.0 - chance).max(1e-9)
        };
        let [melody, rhythm, harmony] = self.labels.map(kappa);
        let (groups, roles, carriers) = (self.groups / self.units, self.roles / self.units, self.carriers / self.bars);
        format!("{name},{},{},{groups:.3},{melody:.3},{rhythm:.3},{harmony:.3},{roles:.3},{carriers:.3}", self.files, self.units)
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut files: Vec<String> = std::env::args().skip(1).collect();
    let mut folder = None;
    if files.first().is_some_and(|first| first == "--groups") && files.len() > 1 {
        folder = files.drain(..2).nth(1);
    }
    let mut tallies: Vec<Tally> = CHANGES.iter().map(|_| Tally::default()).collect();
    let mut groups: Vec<Vec<u8>> = CHANGES.iter().map(|_| b"piece,part,bar,mel,rhythm,harm\n".to_vec()).collect();
    for path in files {
        let piece = Path::new(&path).file_stem().and_then(|stem| stem.to_str()).ok_or("a file name")?.to_owned();
        let score = read(&path, &std::fs::read(&path)?, &Limits::default())?.score;
        let before = told(&score, &places(&score));
        let bars: BTreeMap<Crotchets, usize> = (1..).zip(&score.bars).map(|(number, bar)| (bar.start, number)).collect();
        for (at, (_, as_midi, change)) in CHANGES.iter().enumerate() {
            let mut changed = score.clone();
            let mut order = change(&mut changed);
            let bytes = if *as_midi { midi::write(&changed, Unroll::AsWritten) } else { musicxml::write(&changed).into_bytes() };
            let again = read(&path, &bytes, &Limits::default())?.score;
            if again.parts.len() < order.len() {
                // A track without notes is no part.
                order.retain(|&place| !score.parts[place].notes.is_empty());
            }
            let after = told(&again, &order);
            tallies[at].add(&before, &after);
            for ((part, start), ([mel, rhythm, harm], _)) in &after.of {
                if let Some(number) = bars.get(start) {
                    let bits = [mel, rhythm, harm].map(|&yes| u8::from(yes));
                    let name = &score.parts[*part].name;
                    writeln!(groups[at], "{piece},{name},{number},{},{},{}", bits[0], bits[1], bits[2])?;
                }
            }
        }
    }
    println!("change,files,part_bars,same_groups,kappa_melody,kappa_rhythm,kappa_harmony,same_role,same_carrier");
    for ((name, ..), tally) in CHANGES.iter().zip(&tallies) {
        println!("{}", tally.row(name));
    }
    if let Some(folder) = folder {
        std::fs::create_dir_all(&folder)?;
        for ((name, ..), rows) in CHANGES.iter().zip(groups) {
            std::fs::write(Path::new(&folder).join(format!("{name}.csv")), rows)?;
        }
    }
    Ok(())
}
