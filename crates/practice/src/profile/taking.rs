//! The profile of one analysed score.

use std::collections::BTreeMap;

use crate::material::Material;
use crate::measure::{Subject, Taken, Unit, Value};
use crate::profile::key::{Absent, Counted, Key, Kind, Whom, Within, counted};
use crate::profile::windows::errors;
use crate::profile::{InScore, Profile, Row, ScoreEntry};

/// What stands under one key before the parts of an instrument are put together.
struct Gathered {
    values: Vec<(f64, Option<f64>)>,
    bars: Vec<u32>,
    /// Whom it is about, of parts: how many parts or pairs of parts of these instruments sound.
    of_how_many: usize,
}

impl Profile {
    /// The practice of one score; `practice` is what [`crate::take_all`] took from `material`. `file` is where the score came from;
    /// `printed` gives what a played bar is called on the page. With `windows` the piece is measured again in stretches, so that it can be told
    /// what differs from another single score by more than chance: that takes [`crate::BLOCKS`] times as long.
    #[must_use]
    pub fn of(material: &Material<'_>, practice: &[Taken], file: &str, printed: impl Fn(u32) -> String, windows: bool) -> Self {
        let entry = entry(material, file, printed);
        let errors = windows.then(|| errors(material, practice));
        let instruments = Instruments::new(material);
        let mut rows: BTreeMap<Key, Gathered> = BTreeMap::new();
        for (index, taken) in practice.iter().enumerate() {
            for (at, value) in taken.values.iter().enumerate() {
                let name = taken.measure.name;
                let unit = counted(name, &value.aspect, value.unit);
                let key = Key {
                    measure: name.to_owned(),
                    of: instruments.whom(material, value.of),
                    with: value.with.map(|with| instruments.whom(material, with)),
                    aspect: value.aspect.clone(),
                    unit,
                };
                let length = against(unit, value.unit, &entry);
                let error = errors.as_ref().and_then(|errors| errors[index][at]).map(|error| error / length);
                let gathered = rows.entry(key).or_insert_with(|| Gathered {
                    values: Vec::new(),
                    bars: Vec::new(),
                    of_how_many: instruments.how_many(value),
                });
                gathered.values.push((value.value / length, error));
                gathered.bars.extend(&value.bars);
            }
        }
        let rows = rows.into_iter().map(|(key, gathered)| row(key, gathered)).collect();
        Self::new(entry.title.clone(), vec![entry], rows)
    }
}

fn row(key: Key, gathered: Gathered) -> Row {
    let Gathered { values, mut bars, of_how_many } = gathered;
    bars.sort_unstable();
    bars.dedup();
    let numbers = values.iter().map(|value| value.0);
    #[allow(clippy::cast_precision_loss)] // parts of a score
    let (value, error) = match key.within_work() {
        Within::Least => (numbers.fold(f64::INFINITY, f64::min), None),
        Within::Most => (numbers.fold(f64::NEG_INFINITY, f64::max), None),
        Within::Mean => {
            // Parts without a value count as nothing where that is what it means.
            let many = if key.absent() == Absent::Unknown { values.len() } else { values.len().max(of_how_many) } as f64;
            let error: Option<f64> = values.iter().map(|value| value.1).sum();
            (numbers.sum::<f64>() / many, error.map(|error| error / many))
        }
    };
    // Digits beyond these are noise of the arithmetic; without them the file is half as long.
    let value = InScore { score: 0, value: round(value), error: error.map(round), bars: spans(&bars) };
    Row { key, values: vec![value] }
}

fn round(value: f64) -> f64 {
    (value * 1e6).round() / 1e6 + 0.0
}

/// By what a value is divided so that the length of the piece does not matter.
fn against(counted: Counted, unit: Unit, entry: &ScoreEntry) -> f64 {
    let crotchets = entry.crotchets().max(f64::MIN_POSITIVE);
    match counted {
        Counted::ShareOfPiece if unit == Unit::Crotchets => crotchets,
        Counted::PerHundredCrotchets => crotchets / 100.0,
        Counted::PerHundredBars => f64::from(entry.bars.max(1)) / 100.0,
        _ => 1.0,
    }
}

fn whom(material: &Material<'_>, subject: Subject) -> Whom {
    let name = material.name(subject);
    let group = |kind, family: String| Whom { kind, name: name.clone(), family, section: String::new() };
    match subject {
        Subject::Everybody => group(Kind::Score, String::new()),
        Subject::Family(_) => group(Kind::Family, name.clone()),
        Subject::Section(index) => group(Kind::Section, material.groups.sections[index].family.name().to_owned()),
        Subject::Named(_) => Whom { name: name.to_lowercase(), ..group(Kind::Group, String::new()) },
        Subject::Part(index) => {
            let identity = &material.groups.parts[index];
            let name = identity.instrument.map_or_else(|| name.to_lowercase(), |instrument| instrument.id.clone());
            let (family, section) = (identity.family.name().to_owned(), identity.section.name().to_owned());
            Whom { kind: Kind::Instrument, name, family, section }
        }
    }
}

/// The instruments of the parts, named once.
struct Instruments {
    /// Of each part.
    of_part: Vec<Whom>,
    /// For each part how many parts of its instrument sound.
    sounding: Vec<usize>,
}

impl Instruments {
    fn new(material: &Material<'_>) -> Self {
        let of_part: Vec<Whom> = (0..material.score.parts.len()).map(|part| whom(material, Subject::Part(part))).collect();
        let mut count: BTreeMap<&Whom, usize> = BTreeMap::new();
        for (of, rows) in of_part.iter().zip(&material.sounding.notes.of_part) {
            *count.entry(of).or_default() += usize::from(!rows.is_empty());
        }
        let sounding = of_part.iter().map(|of| count.get(of).copied().unwrap_or(0)).collect();
        Self { of_part, sounding }
    }

    fn whom(&self, material: &Material<'_>, subject: Subject) -> Whom {
        match subject {
            Subject::Part(part) => self.of_part[part].clone(),
            other => whom(material, other),
        }
    }

    /// For values of parts: how many parts of the instrument sound, or how many pairs of parts of the two.
    fn how_many(&self, value: &Value) -> usize {
        match (value.of, value.with) {
            (Subject::Part(of), Some(Subject::Part(with))) => {
                let (own, theirs) = (self.sounding[of], self.sounding[with]);
                if self.of_part[of] == self.of_part[with] { own * own.saturating_sub(1) / 2 } else { own * theirs }
            }
            (Subject::Part(of), _) => self.sounding[of],
            _ => 1,
        }
    }
}

/// Ascending bars as spans, first and last.
pub(crate) fn spans(bars: &[u32]) -> Vec<(u32, u32)> {
    bars.chunk_by(|&a, &b| b == a + 1).filter_map(|run| run.first().copied().zip(run.last().copied())).collect()
}

fn entry(material: &Material<'_>, file: &str, printed: impl Fn(u32) -> String) -> ScoreEntry {
    let about = &material.score.about;
    let bars = u32::try_from(material.sounding.bars.len()).unwrap_or(u32::MAX);
    let title = about.title();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // lengths are positive and far below 2^64
    let milli_crotchets = (material.sounding.length().to_f64() * 1000.0).round() as u64;
    ScoreEntry {
        work: work_of(about.composer().unwrap_or_default(), &about.work, &about.work_number, &about.movement, file),
        number: about.movement_number.trim().to_owned(),
        title: if title.trim().is_empty() { file.to_owned() } else { title.trim().to_owned() },
        version: String::new(),
        file: file.to_owned(),
        bars,
        milli_crotchets,
        printed: (0..bars).map(printed).collect(),
        doubts: Vec::new(),
    }
}

/// What scores of one work share. Without a title of the work a score is a work of its own.
fn work_of(composer: &str, work: &str, number: &str, movement: &str, file: &str) -> String {
    let plain = |text: &str| -> String {
        let letters = text.chars().map(|c| if c.is_alphanumeric() { c } else { ' ' }).collect::<String>().to_lowercase();
        letters.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let named = [work, number, movement].into_iter().map(plain).find(|name| !name.is_empty());
    match (plain(composer), named) {
        (_, None) => file.to_owned(),
        (composer, Some(name)) if composer.is_empty() => name,
        (composer, Some(name)) => format!("{composer}: {name}"),
    }
}
