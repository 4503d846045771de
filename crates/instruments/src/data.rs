//! Reading the embedded data files. `data/README.md` documents their columns.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use crate::catalogue::{Build, Catalogue, Instrument, Language, Names, RangeBasis, Source, Transposition};
use crate::key::{KeyName, KeyOctave, Step};
use crate::range::Ranges;

const INSTRUMENTS: &str = include_str!("../data/instruments.csv");
const TRANSPOSITIONS: &str = include_str!("../data/transpositions.csv");
const NAMES: &str = include_str!("../data/names.csv");
const PROGRAMS: &str = include_str!("../data/programs.csv");
const KERN: &str = include_str!("../data/kern.csv");
const SOURCES: &str = include_str!("../data/sources.csv");

/// One record, with the place a fault message needs.
pub(crate) struct Row<'a> {
    file: &'static str,
    line: usize,
    fields: BTreeMap<&'a str, &'a str>,
}

impl<'a> Row<'a> {
    pub(crate) fn get(&self, column: &str) -> &'a str {
        self.fields.get(column).copied().unwrap_or("")
    }

    pub(crate) fn fault(&self, what: &str) -> String {
        format!("{} record {}: {what}", self.file, self.line)
    }

    fn parse<T: std::str::FromStr>(&self, column: &str) -> Result<T, String> {
        let text = self.get(column);
        text.parse().map_err(|_| self.fault(&format!("column {column} holds “{text}”")))
    }

    fn optional<T: std::str::FromStr>(&self, column: &str) -> Result<Option<T>, String> {
        if self.get(column).is_empty() { Ok(None) } else { self.parse(column).map(Some) }
    }

    fn yes(&self, column: &str) -> Result<bool, String> {
        match self.get(column) {
            "yes" => Ok(true),
            "no" => Ok(false),
            other => Err(self.fault(&format!("column {column} holds “{other}”, not yes or no"))),
        }
    }

    fn list(&self, column: &str, separator: char) -> Vec<String> {
        self.get(column).split(separator).map(str::trim).filter(|s| !s.is_empty()).map(str::to_owned).collect()
    }

    fn ranges(&self) -> Result<Option<Ranges>, String> {
        let Some(extreme) = self.optional("extreme")? else { return Ok(None) };
        let ranges = Ranges { extreme, usual: self.parse("usual")?, comfortable: self.parse("comfortable")? };
        if ranges.extreme.covers(ranges.usual) && ranges.usual.covers(ranges.comfortable) {
            Ok(Some(ranges))
        } else {
            Err(self.fault("each compass must lie within the wider one"))
        }
    }
}

/// Walks the records of a file with a header.
pub(crate) fn each_row(
    file: &'static str,
    text: &str,
    mut visit: impl FnMut(&Row<'_>) -> Result<(), String>,
) -> Result<(), String> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header = reader.headers().map_err(|fault| format!("{file}: {fault}"))?.clone();
    for (line, record) in reader.records().enumerate() {
        let record = record.map_err(|fault| format!("{file}: {fault}"))?;
        let fields = header.iter().zip(record.iter()).collect();
        visit(&Row { file, line: line + 1, fields })?;
    }
    Ok(())
}

fn concert_pitch() -> Transposition {
    Transposition {
        key: KeyName::new(Step::C, 0),
        octave: None,
        notation: None,
        semitones: 0,
        steps: 0,
        rare: false,
        sounding: None,
        sources: Vec::new(),
    }
}

fn read_transpositions() -> Result<BTreeMap<String, Vec<Transposition>>, String> {
    let mut all: BTreeMap<String, Vec<Transposition>> = BTreeMap::new();
    each_row("transpositions.csv", TRANSPOSITIONS, |row| {
        let (octave, notation) = match row.get("octave") {
            "" => (None, None),
            "alto" => (Some(KeyOctave::Alto), None),
            "basso" => (Some(KeyOctave::Basso), None),
            other => (None, Some(other.to_owned())),
        };
        let list = all.entry(row.get("instrument").to_owned()).or_default();
        if (row.get("use") == "default") != list.is_empty() {
            return Err(row.fault("the default transposition comes first, and once"));
        }
        list.push(Transposition {
            key: row.parse("key")?,
            octave,
            notation,
            semitones: row.parse("semitones")?,
            steps: row.parse("steps")?,
            rare: row.get("use") == "rare",
            sounding: row.ranges()?,
            sources: row.list("source", '+'),
        });
        Ok(())
    })?;
    Ok(all)
}

fn read_names() -> Result<BTreeMap<(String, Language), Names>, String> {
    let mut all = BTreeMap::new();
    each_row("names.csv", NAMES, |row| {
        let language = Language::from_code(row.get("language")).ok_or_else(|| row.fault("unknown language"))?;
        let singular = row.get("name").to_owned();
        let plural = if row.get("plural").is_empty() { singular.clone() } else { row.get("plural").to_owned() };
        let names = Names {
            singular,
            plural,
            abbreviations: row.list("abbreviations", '|'),
            variants: row.list("variants", '|'),
            plural_variants: row.list("plural_variants", '|'),
        };
        all.insert((row.get("instrument").to_owned(), language), names);
        Ok(())
    })?;
    Ok(all)
}

fn read_instruments() -> Result<Vec<Instrument>, String> {
    let mut transpositions = read_transpositions()?;
    let mut names = read_names()?;
    let mut instruments = Vec::new();
    each_row("instruments.csv", INSTRUMENTS, |row| {
        let id = row.get("id").to_owned();
        let mut take = |language| {
            names.remove(&(id.clone(), language)).ok_or_else(|| row.fault(&format!("{id} has no names in {language}")))
        };
        let names = [take(Language::English)?, take(Language::Italian)?, take(Language::French)?, take(Language::German)?];
        let basis = match row.get("basis") {
            "" => None,
            "sounding" => Some(RangeBasis::Sounding),
            "written" => Some(RangeBasis::Written),
            other => return Err(row.fault(&format!("column basis holds “{other}”"))),
        };
        let players = row.get("players");
        let (fewest, most) = players.split_once('-').unwrap_or((players, players));
        let number = |text: &str| text.parse::<u8>().map_err(|_| row.fault("column players"));
        instruments.push(Instrument {
            family: row.parse("family")?,
            section: row.parse("section")?,
            order: row.parse("order")?,
            kind_of: Some(row.get("kind_of")).filter(|s| !s.is_empty()).map(str::to_owned),
            build: match row.get("build") {
                "modern" => Build::Modern,
                "early" => Build::Early,
                other => return Err(row.fault(&format!("column build holds “{other}”"))),
            },
            generic: row.yes("generic")?,
            pitched: row.yes("pitched")?,
            section_instrument: row.yes("section_instrument")?,
            players: (number(fewest)?, number(most)?),
            clefs: row
                .get("clefs")
                .split_whitespace()
                .map(|clef| clef.parse().map_err(|fault: String| row.fault(&fault)))
                .collect::<Result<_, _>>()?,
            program: row.optional("program")?,
            drum_key: row.optional("drum_key")?,
            sounds: row.list("sounds", ' '),
            transpositions: transpositions.remove(&id).unwrap_or_else(|| vec![concert_pitch()]),
            weight: row.parse("weight")?,
            sources: row.list("source", '+'),
            ranges: basis.zip(row.ranges()?),
            names,
            id,
        });
        Ok(())
    })?;
    if let Some((id, language)) = names.keys().next() {
        return Err(format!("names.csv: {id} ({language}) is not in instruments.csv"));
    }
    if let Some(id) = transpositions.keys().next() {
        return Err(format!("transpositions.csv: {id} is not in instruments.csv"));
    }
    instruments.sort_by_key(|instrument| instrument.order);
    Ok(instruments)
}

/// Reads every data file.
pub(crate) fn catalogue() -> Result<Catalogue, String> {
    let mut catalogue = Catalogue { instruments: read_instruments()?, programs: [0; 128], kern: Vec::new(), sources: Vec::new() };
    each_row("programs.csv", PROGRAMS, |row| {
        let program: usize = row.parse("program")?;
        let at = catalogue.position(row.get("instrument")).ok_or_else(|| row.fault("unknown instrument"))?;
        let slot = program.checked_sub(1).and_then(|at| catalogue.programs.get_mut(at));
        *slot.ok_or_else(|| row.fault("programs run from 1 to 128"))? = at;
        Ok(())
    })?;
    each_row("kern.csv", KERN, |row| {
        let at = catalogue.position(row.get("instrument")).ok_or_else(|| row.fault("unknown instrument"))?;
        catalogue.kern.push((row.get("code").to_owned(), at));
        Ok(())
    })?;
    each_row("sources.csv", SOURCES, |row| {
        catalogue.sources.push(Source {
            code: row.get("code").to_owned(),
            status: row.get("status").to_owned(),
            citation: row.get("citation").to_owned(),
        });
        Ok(())
    })?;
    Ok(catalogue)
}

const AMBIGUOUS: &str = include_str!("../data/ambiguous.csv");

/// Names that mean several instruments, folded, with the instruments in order of precedence.
static AMBIGUITIES: LazyLock<BTreeMap<String, Vec<String>>> = LazyLock::new(|| {
    let mut all = BTreeMap::new();
    let read = each_row("ambiguous.csv", AMBIGUOUS, |row| {
        let ids = row.list("instruments", ' ');
        if let Some(id) = ids.iter().find(|id| crate::catalogue::catalogue().by_id(id).is_none()) {
            return Err(row.fault(&format!("{id} is not in instruments.csv")));
        }
        all.insert(row.get("name").to_owned(), ids);
        Ok(())
    });
    // Embedded data read by tests, as in the catalogue.
    #[allow(clippy::panic)]
    match read {
        Ok(()) => all,
        Err(fault) => panic!("the table of ambiguous names is damaged: {fault}"),
    }
});

/// The place of an instrument among those a name may mean; `None` when the table does not list the name. An instrument
/// that the row leaves out comes after those it lists. A row spelt with accents goes before one without.
pub(crate) fn ambiguous_rank(spelt: &str, folded: &str, id: &str) -> Option<u8> {
    let ids = AMBIGUITIES.get(spelt).or_else(|| AMBIGUITIES.get(folded))?;
    u8::try_from(ids.iter().position(|other| other == id).unwrap_or(ids.len())).ok()
}
