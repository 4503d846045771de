//! The data files, read once.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use ripieno_instruments::{Range, catalogue};

use crate::level::Level;
use crate::limits::Change;

/// Where a value comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// The code used in the data files.
    pub code: String,
    /// `confirmed` (read in the source), `derived` (arithmetic), `catalogue` or `memory`.
    pub status: String,
    /// Author, title, place, and what it says.
    pub citation: String,
}

/// A row of `compasses.csv`, in the basis of the catalogue (sounding or written).
#[derive(Debug, Clone, Copy)]
pub struct Compass {
    pub possible: Range,
    pub comfortable: Range,
    pub tessitura: Range,
}

/// A row of `breath.csv`: litres a second.
#[derive(Debug, Clone, Copy)]
pub struct Flow {
    pub pp: f64,
    pub mf: f64,
    pub ff: f64,
    /// Factor below the tessitura.
    pub low: f64,
}

/// A row of `speeds.csv`: notes a second.
#[derive(Debug, Clone, Copy)]
pub struct Speed {
    pub single: Option<(f64, f64)>,
    pub double: Option<(f64, f64)>,
    pub triple: Option<f64>,
    pub pitches: Option<f64>,
}

/// A row of `endurance.csv`.
#[derive(Debug, Clone, Copy)]
pub struct Stamina {
    pub window: f64,
    pub high_loud: f64,
    pub playing: f64,
    pub rest: f64,
}

/// A row of `strings.csv`.
#[derive(Debug, Clone)]
pub struct Strung {
    /// Open strings from the lowest, as keys.
    pub open: Vec<u8>,
    /// Semitones between stopped fingers, each counted from its own string, that lie well in a low position.
    pub easy: u8,
    /// The same at a stretch.
    pub widest: u8,
}

/// A row of `drums.csv`.
#[derive(Debug, Clone, Copy)]
pub struct DrumRow {
    pub compass: Range,
    /// Players of this level and abler ones have it.
    pub level: Level,
}

/// A value with the codes of its sources.
pub type Sourced<T> = (T, &'static str);

/// All the files.
pub struct Data {
    pub sources: Vec<Source>,
    pub compasses: BTreeMap<(String, Level), Sourced<Compass>>,
    pub dynamics: BTreeMap<String, Sourced<(Range, Range)>>,
    pub flows: BTreeMap<String, Sourced<Flow>>,
    pub speeds: BTreeMap<String, Sourced<Speed>>,
    pub changes: BTreeMap<(String, Change), Sourced<(f64, f64)>>,
    pub endurance: BTreeMap<String, Sourced<Stamina>>,
    /// Instrument: lowest key of a good trill, in the basis of the catalogue.
    pub trills: BTreeMap<String, Sourced<u8>>,
    /// Section: (widest good tremolo, from where on it is none), in semitones.
    pub tremolos: BTreeMap<String, Sourced<(u8, u8)>>,
    pub strings: BTreeMap<String, Sourced<Strung>>,
    pub drums: Vec<DrumRow>,
}

static DATA: LazyLock<Data> = LazyLock::new(|| {
    // The files are part of the program and read by its tests, so a fault here is a bug, never a user's.
    #[allow(clippy::panic)]
    load().unwrap_or_else(|fault| panic!("the limits of players are damaged: {fault}"))
});

/// The files, read once.
pub fn data() -> &'static Data {
    &DATA
}

/// One file as rows of named cells.
struct Sheet {
    name: &'static str,
    header: Vec<&'static str>,
    rows: Vec<Vec<&'static str>>,
}

impl Sheet {
    fn read(name: &'static str, text: &'static str) -> Result<Self, String> {
        // Borrowed cells live as long as the program; only `sources.csv` quotes, and it is read apart.
        let mut lines = text.lines().filter(|line| !line.is_empty());
        let header: Vec<_> = lines.next().ok_or_else(|| format!("{name} is empty"))?.split(',').collect();
        let rows: Vec<Vec<_>> = lines.map(|line| line.split(',').collect()).collect();
        match rows.iter().position(|row: &Vec<&str>| row.len() != header.len()) {
            Some(row) => Err(format!("{name}, row {}: {} cells instead of {}", row + 1, rows[row].len(), header.len())),
            None => Ok(Self { name, header, rows }),
        }
    }

    fn cell(&self, row: usize, column: &str) -> Result<&'static str, String> {
        let at =
            self.header.iter().position(|name| *name == column).ok_or_else(|| format!("{} has no column {column}", self.name))?;
        Ok(self.rows[row][at])
    }

    fn parsed<T: std::str::FromStr>(&self, row: usize, column: &str) -> Result<T, String> {
        let text = self.cell(row, column)?;
        text.parse().map_err(|_| format!("{}, row {}: {column} cannot be “{text}”", self.name, row + 1))
    }

    fn number(&self, row: usize, column: &str) -> Result<Option<f64>, String> {
        if self.cell(row, column)?.is_empty() { Ok(None) } else { self.parsed(row, column).map(Some) }
    }

    fn all<K: Ord, V>(
        &self,
        sources: &[Source],
        one: impl Fn(&Self, usize) -> Result<(K, V), String>,
    ) -> Result<BTreeMap<K, Sourced<V>>, String> {
        let mut map = BTreeMap::new();
        for row in 0..self.rows.len() {
            let source = self.cell(row, "source")?;
            if let Some(unknown) = source.split('+').find(|code| !sources.iter().any(|source| source.code == *code)) {
                return Err(format!("{}, row {}: the source {unknown} is not in sources.csv", self.name, row + 1));
            }
            let (key, value) = one(self, row)?;
            if map.insert(key, (value, source)).is_some() {
                return Err(format!("{}, row {}: given twice", self.name, row + 1));
            }
        }
        Ok(map)
    }
}

fn instrument(sheet: &Sheet, row: usize) -> Result<String, String> {
    let id = sheet.cell(row, "instrument")?;
    if catalogue().by_id(id).is_none() {
        return Err(format!("{}, row {}: the catalogue has no {id}", sheet.name, row + 1));
    }
    Ok(id.to_owned())
}

fn section(sheet: &Sheet, row: usize) -> Result<String, String> {
    let section: ripieno_instruments::Section = sheet.parsed(row, "section")?;
    Ok(section.name().to_owned())
}

/// A note name such as G3 as a MIDI key.
fn key(sheet: &Sheet, row: usize, column: &str, name: &str) -> Result<u8, String> {
    let range: Result<Range, String> = format!("{name}..{name}").parse();
    range.map(Range::low).map_err(|_| format!("{}, row {}: {column} cannot be “{name}”", sheet.name, row + 1))
}

fn flow(sheet: &Sheet, row: usize) -> Result<Flow, String> {
    Ok(Flow {
        pp: sheet.parsed(row, "pp")?,
        mf: sheet.parsed(row, "mf")?,
        ff: sheet.parsed(row, "ff")?,
        low: sheet.parsed(row, "low")?,
    })
}

fn sources() -> Result<Vec<Source>, String> {
    csv::Reader::from_reader(include_str!("../data/sources.csv").as_bytes())
        .records()
        .map(|record| {
            let record = record.map_err(|error| format!("sources.csv: {error}"))?;
            let cell = |at: usize| record.get(at).map(str::to_owned).ok_or("sources.csv: a cell is missing");
            Ok(Source { code: cell(0)?, status: cell(1)?, citation: cell(2)? })
        })
        .collect()
}

fn load() -> Result<Data, String> {
    let sources = sources()?;
    let compasses = Sheet::read("compasses.csv", include_str!("../data/compasses.csv"))?.all(&sources, |sheet, row| {
        let compass = Compass {
            possible: sheet.parsed(row, "possible")?,
            comfortable: sheet.parsed(row, "comfortable")?,
            tessitura: sheet.parsed(row, "tessitura")?,
        };
        if !compass.possible.covers(compass.comfortable) || !compass.comfortable.covers(compass.tessitura) {
            return Err(format!("compasses.csv, row {}: each compass lies within the one before it", row + 1));
        }
        Ok(((instrument(sheet, row)?, sheet.parsed(row, "level")?), compass))
    })?;
    let dynamics = Sheet::read("dynamics.csv", include_str!("../data/dynamics.csv"))?
        .all(&sources, |sheet, row| Ok((instrument(sheet, row)?, (sheet.parsed(row, "soft")?, sheet.parsed(row, "loud")?))))?;
    let mut flows = Sheet::read("breath.csv", include_str!("../data/breath.csv"))?
        .all(&sources, |sheet, row| Ok((section(sheet, row)?, flow(sheet, row)?)))?;
    flows.extend(
        Sheet::read("breath_instruments.csv", include_str!("../data/breath_instruments.csv"))?
            .all(&sources, |sheet, row| Ok((instrument(sheet, row)?, flow(sheet, row)?)))?,
    );
    let speeds = Sheet::read("speeds.csv", include_str!("../data/speeds.csv"))?.all(&sources, |sheet, row| {
        let pair = |a, b| Ok::<_, String>(sheet.number(row, a)?.zip(sheet.number(row, b)?));
        let speed = Speed {
            single: pair("single_comfortable", "single_limit")?,
            double: pair("double_comfortable", "double_limit")?,
            triple: sheet.number(row, "triple_limit")?,
            pitches: sheet.number(row, "pitches")?,
        };
        Ok((section(sheet, row)?, speed))
    })?;
    let changes = Sheet::read("changes.csv", include_str!("../data/changes.csv"))?.all(&sources, |sheet, row| {
        let times: (f64, f64) = (sheet.parsed(row, "least")?, sheet.parsed(row, "comfortable")?);
        Ok(((section(sheet, row)?, sheet.parsed(row, "change")?), times))
    })?;
    let endurance = Sheet::read("endurance.csv", include_str!("../data/endurance.csv"))?.all(&sources, |sheet, row| {
        let stamina = Stamina {
            window: sheet.parsed(row, "window")?,
            high_loud: sheet.parsed(row, "high_loud_share")?,
            playing: sheet.parsed(row, "playing_share")?,
            rest: sheet.parsed(row, "rest")?,
        };
        Ok((section(sheet, row)?, stamina))
    })?;
    let trills = Sheet::read("trills.csv", include_str!("../data/trills.csv"))?
        .all(&sources, |sheet, row| Ok((instrument(sheet, row)?, key(sheet, row, "lowest", sheet.cell(row, "lowest")?)?)))?;
    let tremolos = Sheet::read("tremolos.csv", include_str!("../data/tremolos.csv"))?.all(&sources, |sheet, row| {
        Ok((section(sheet, row)?, (sheet.parsed(row, "widest")?, sheet.parsed(row, "impossible")?)))
    })?;
    let strings = Sheet::read("strings.csv", include_str!("../data/strings.csv"))?.all(&sources, |sheet, row| {
        let open = sheet.cell(row, "open")?.split(' ').map(|note| key(sheet, row, "open", note)).collect::<Result<_, _>>()?;
        Ok((instrument(sheet, row)?, Strung { open, easy: sheet.parsed(row, "easy")?, widest: sheet.parsed(row, "widest")? }))
    })?;
    let drums = Sheet::read("drums.csv", include_str!("../data/drums.csv"))?.all(&sources, |sheet, row| {
        Ok((row, DrumRow { compass: sheet.parsed(row, "compass")?, level: sheet.parsed(row, "level")? }))
    })?;
    let drums = drums.into_values().map(|(drum, _)| drum).collect();
    Ok(Data { sources, compasses, dynamics, flows, speeds, changes, endurance, trills, tremolos, strings, drums })
}
