//! Recognition on whole files: every part of the annotated orchestral scores and of the music21 package, with the clues
//! its MusicXML gives. Neither is in the repository: `RIPIENO_SCORES` and `RIPIENO_MUSIC21_CORPUS` name their folders
//! (the second is `music21/corpus` of an installed package), and without them the tests say so and pass.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test stops at the first surprise and may talk

use std::collections::BTreeMap;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use quick_xml::Reader;
use quick_xml::events::Event;
use ripieno_instruments::{Clues, Interval, recognise, recognise_all};

#[derive(Debug, Default)]
struct Part {
    name: String,
    instrument_name: String,
    abbreviation: String,
    sound: String,
    program: Option<u8>,
    clef: BTreeMap<&'static str, String>,
    interval: Option<Interval>,
    /// Its first clef and transposition were read.
    settled: bool,
}

impl Part {
    fn clues(&self) -> Clues<'_> {
        let field = |key| self.clef.get(key).map_or("", String::as_str);
        let octave = match field("octave") {
            "" | "0" => String::new(),
            text => format!("{:+}", text.parse::<i8>().unwrap_or(0)),
        };
        let clef = if field("sign") == "percussion" {
            "percussion".to_owned()
        } else {
            format!("{}{}{octave}", field("sign"), field("line"))
        };
        Clues {
            name: &self.name,
            instrument_name: &self.instrument_name,
            abbreviation: &self.abbreviation,
            sound_id: &self.sound,
            midi_program: self.program,
            clef: clef.parse().ok(),
            transposition: self.interval,
            ..Clues::default()
        }
    }
}

fn xml_of(path: &Path) -> Option<Vec<u8>> {
    let bytes = std::fs::read(path).ok()?;
    if path.extension().is_some_and(|e| e == "mxl") {
        let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).ok()?;
        let names = archive.file_names().filter_map(|name| name.ok().map(std::borrow::Cow::into_owned));
        let name = names.into_iter().find(|name| !name.starts_with("META-INF") && name.ends_with("xml"))?;
        let mut text = Vec::new();
        archive.by_name(&name).ok()?.read_to_end(&mut text).ok()?;
        return Some(text);
    }
    Some(bytes)
}

/// UTF-8, or UTF-16 with its mark, which some files of the corpus are in.
fn decoded(xml: &[u8]) -> String {
    let units = |read: fn([u8; 2]) -> u16| xml[2..].chunks_exact(2).map(|pair| read([pair[0], pair[1]])).collect::<Vec<_>>();
    match xml {
        [0xFE, 0xFF, ..] => String::from_utf16_lossy(&units(u16::from_be_bytes)),
        [0xFF, 0xFE, ..] => String::from_utf16_lossy(&units(u16::from_le_bytes)),
        _ => String::from_utf8_lossy(xml).into_owned(),
    }
}

/// The part list, and each part's first clef and transposition: just enough for clues.
fn parts(xml: &[u8]) -> Vec<Part> {
    let text = decoded(xml);
    let mut reader = Reader::from_str(&text);
    let mut list: Vec<(String, Part)> = Vec::new();
    let mut path: Vec<String> = Vec::new();
    let mut part = None;
    let id = |e: &quick_xml::events::BytesStart<'_>| {
        let value = e.try_get_attribute("id").ok().flatten().map(|a| a.value.into_owned());
        value.unwrap_or_default()
    };
    let mut words = String::new();
    loop {
        match reader.read_event() {
            Ok(Event::Start(e)) => {
                let name = e.name().as_ref().to_owned();
                if name == "score-part" {
                    list.push((id(&e), Part::default()));
                } else if name == "part" {
                    let wanted = id(&e);
                    part = list.iter().position(|(id, _)| *id == wanted);
                }
                words.clear();
                path.push(name);
            }
            Ok(Event::Text(t)) => words.push_str(&t),
            Ok(Event::GeneralRef(r)) => {
                words.push_str(match &*r {
                    "amp" => "&",
                    "apos" => "'",
                    _ => " ",
                });
            }
            Ok(Event::End(_)) => {
                let name = path.pop().unwrap_or_default();
                let above = path.last().map_or("", String::as_str);
                let value = words.trim().to_owned();
                words.clear();
                if let (Some((_, p)), None) = (list.last_mut(), part) {
                    match (above, name.as_str()) {
                        ("score-part", "part-name") => p.name = value,
                        ("score-part", "part-abbreviation") => p.abbreviation = value,
                        ("score-instrument", "instrument-name") if p.instrument_name.is_empty() => p.instrument_name = value,
                        ("score-instrument", "instrument-sound") if p.sound.is_empty() => p.sound = value,
                        ("midi-instrument", "midi-program") => p.program = p.program.or(value.parse().ok()),
                        _ => {}
                    }
                } else if let Some((_, p)) = part.and_then(|at: usize| list.get_mut(at)).filter(|(_, p)| !p.settled) {
                    let field = match (above, name.as_str()) {
                        ("clef", "sign") => Some("sign"),
                        ("clef", "line") => Some("line"),
                        ("clef", "clef-octave-change") => Some("octave"),
                        _ => None,
                    };
                    if let Some(field) = field {
                        p.clef.entry(field).or_insert(value);
                        continue;
                    }
                    match (above, name.as_str()) {
                        ("transpose", "chromatic") => p.interval.get_or_insert_default().chromatic = value.parse().unwrap_or(0),
                        ("transpose", "diatonic") => p.interval.get_or_insert_default().diatonic = value.parse().unwrap_or(0),
                        ("transpose", "octave-change") => p.interval.get_or_insert_default().octave = value.parse().unwrap_or(0),
                        (_, "attributes") => p.settled = true,
                        _ => {}
                    }
                }
            }
            Ok(Event::Eof) | Err(_) => return list.into_iter().map(|(_, p)| p).collect(),
            _ => {}
        }
    }
}

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for path in entries.flatten().map(|entry| entry.path()) {
        if path.is_dir() {
            files(&path, found);
        } else if path.extension().is_some_and(|e| e == "mxl" || e == "xml" || e == "musicxml") {
            found.push(path);
        }
    }
}

fn expectations() -> BTreeMap<String, String> {
    let mut reader = csv::Reader::from_reader(include_str!("names_in_scores.csv").as_bytes());
    reader
        .deserialize()
        .map(|row: Result<(String, String, String), _>| row.map(|(name, judged, _)| (name, judged)))
        .collect::<Result<_, _>>()
        .unwrap_or_default()
}

/// Every name is judged in `names_in_scores.csv`, and every part comes out as judged or as the kind of it that its sound
/// names, alone and among its neighbours.
fn check(variable: &str) {
    let Some(folder) = std::env::var_os(variable) else {
        println!("skipped: {variable} names no folder");
        return;
    };
    let mut paths = Vec::new();
    files(Path::new(&folder), &mut paths);
    paths.sort();
    assert!(!paths.is_empty(), "{variable} names a folder without MusicXML");
    let expected = expectations();
    let (mut seen, mut wrong, mut odd) = (0, Vec::new(), BTreeMap::new());
    for path in &paths {
        let parts = parts(&xml_of(path).unwrap_or_default());
        let clues: Vec<Clues<'_>> = parts.iter().map(Part::clues).collect();
        let together = recognise_all(&clues);
        for (clue, among) in clues.iter().zip(together) {
            seen += 1;
            // The table prints flats as Unicode does, some files as text.
            let name = clue.name.split_whitespace().collect::<Vec<_>>().join(" ");
            let name = name.replace("Bb", "B♭").replace("Eb", "E♭");
            let Some(judged) = expected.get(&name) else {
                if !name.is_empty() {
                    wrong.push(format!("{name:?} is not judged ({})", path.display()));
                }
                continue;
            };
            for found in [recognise(clue), among] {
                // Judged by the part's name alone; in the file an instrument name or abbreviation may help.
                let helped = !(clue.instrument_name.is_empty() && clue.abbreviation.is_empty());
                let fits = (helped && judged.contains("fallback"))
                    || judged
                        .split('|')
                        .any(|id| if id == "fallback" { found.fallback } else { found.instrument.is_kind_of(id) });
                if !fits {
                    let why: Vec<String> = found.reasons.iter().map(ToString::to_string).collect();
                    wrong.push(format!("{name:?} as {}, judged {judged}: {}", found.instrument.id, why.join(" ")));
                }
                if clue.transposition.is_some() && found.transposition.is_none() {
                    *odd.entry((name.clone(), format!("{:?}", clue.transposition))).or_insert(0) += 1;
                }
            }
        }
    }
    println!(
        "{variable}: {} files, {seen} parts, {} wrong; transpositions the instrument lacks: {odd:?}",
        paths.len(),
        wrong.len()
    );
    wrong.sort();
    wrong.dedup();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn orchestral_scores() {
    check("RIPIENO_SCORES");
}

#[test]
fn the_music21_corpus() {
    check("RIPIENO_MUSIC21_CORPUS");
}
