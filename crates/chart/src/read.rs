//! Text to chart: TOML, every fault with its line, comments kept.

use ripieno_formats::{Finding, Place, Severity};
use ripieno_score::{Crotchets, PlayerCount};
use ripieno_texture::Techniques;
use serde::Deserialize;
use toml::Spanned;

use crate::model::{Chart, ChartPart, Doubles, Row, Run};
use crate::place::Span;
use crate::settle::{Fault, MOST_FAULTS, Settled};
use crate::words::{dynamic_named, interval_named, manner_named, role_named};

/// What every chart says it is.
pub(crate) const FORMAT: &str = "ripieno-chart";
/// Longest text of a chart, in bytes; that of a long opera act, to the moment, has a tenth.
const LONGEST: usize = 16 << 20;
/// Most stretches of bars that rows name.
const MOST_SPANS: usize = 500_000;
/// The version written, and the only one read.
pub(crate) const VERSION: i64 = 1;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ChartText {
    format: Spanned<String>,
    version: Spanned<i64>,
    #[serde(default)]
    title: String,
    #[serde(default)]
    movement: String,
    #[serde(default)]
    composer: String,
    #[serde(default)]
    edition: String,
    #[serde(default)]
    made: String,
    #[serde(default)]
    remark: String,
    #[serde(default)]
    part: Vec<Spanned<PartText>>,
    #[serde(default)]
    bars: Vec<Spanned<RunText>>,
    #[serde(default)]
    row: Vec<Spanned<RowText>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PartText {
    name: String,
    #[serde(default)]
    instrument: String,
    players: Option<Spanned<Words>>,
    body: Option<bool>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RunText {
    #[serde(default = "one")]
    count: Spanned<u32>,
    number: Option<Words>,
    #[serde(default)]
    uncounted: bool,
    metre: Option<String>,
    length: Option<Spanned<Words>>,
    tempo: Option<f64>,
    mark: Option<Words>,
    #[serde(default)]
    repeat_start: bool,
    repeat_end: Option<u8>,
    #[serde(default)]
    ending: Vec<u8>,
}

fn one() -> Spanned<u32> {
    Spanned::new(0..0, 1)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RowText {
    who: Spanned<Words>,
    line: Option<u16>,
    bars: Spanned<Words>,
    role: Option<Spanned<Words>>,
    #[serde(default)]
    lead: bool,
    manner: Option<Spanned<Words>>,
    #[serde(default)]
    layer: String,
    dynamic: Option<Spanned<Words>>,
    players: Option<Spanned<Words>>,
    doubles: Option<String>,
    doubles_line: Option<u16>,
    interval: Option<Spanned<String>>,
    in_part: Option<bool>,
    #[serde(default)]
    register: String,
    confidence: Option<f32>,
    #[serde(default)]
    remark: String,
}

/// A word, a number, or a list of such.
#[derive(Deserialize)]
#[serde(untagged)]
enum Words {
    Text(String),
    Whole(i64),
    Number(f64),
    List(Vec<Words>),
}

impl Words {
    /// Each for itself.
    fn list(self) -> Vec<String> {
        match self {
            Self::Text(text) => vec![text],
            Self::Whole(number) => vec![number.to_string()],
            Self::Number(number) => vec![number.to_string()],
            Self::List(list) => list.into_iter().flat_map(Self::list).collect(),
        }
    }

    /// As one text, with commas.
    fn text(self) -> String {
        self.list().join(", ")
    }
}

/// Where tables stand, and faults on the way; the first hundred are kept, the others counted.
struct Reader<'a> {
    file: &'a str,
    /// Where lines end.
    ends: Vec<usize>,
    faults: Vec<Finding>,
    count: usize,
    /// Stretches of bars so far.
    spans: usize,
}

impl<'a> Reader<'a> {
    fn new(file: &'a str, text: &str) -> Self {
        let ends = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at).collect();
        Self { file, ends, faults: Vec::new(), count: 0, spans: 0 }
    }

    fn line(&self, byte: usize) -> u64 {
        u64::try_from(self.ends.partition_point(|&end| end < byte)).unwrap_or(u64::MAX).saturating_add(1)
    }

    fn fault(&mut self, byte: usize, what: impl Into<String>, hint: &str) {
        self.count += 1;
        if self.faults.len() < MOST_FAULTS {
            let line = Some(self.line(byte));
            self.faults.push(finding(self.file, line, Severity::Error, what.into(), hint));
        }
    }

    /// All that is wrong: the first faults, and how many more.
    fn told(mut self) -> Vec<Finding> {
        let more = self.count - self.faults.len();
        if more > 0 {
            self.faults.push(finding(self.file, None, Severity::Error, format!("and {more} more"), ""));
        }
        self.faults
    }

    /// A word turned into something; a fault where it cannot be.
    fn parsed<T>(&mut self, words: Spanned<Words>, parse: impl FnOnce(Words) -> Result<T, String>) -> Option<T> {
        let byte = words.span().start;
        parse(words.into_inner()).map_err(|what| self.fault(byte, what, "")).ok()
    }
}

fn finding(file: &str, line: Option<u64>, severity: Severity, what: String, hint: &str) -> Finding {
    let place = Place { file: file.to_owned(), line, ..Place::default() };
    let code = if severity == Severity::Error { "chart-fault" } else { "chart-note" };
    Finding { severity, code, place, what, hint: hint.to_owned() }
}

impl Chart {
    /// Reads a chart; `file` is its name in findings.
    ///
    /// Answers the chart, what it settles to, and notes.
    ///
    /// # Errors
    /// Everything that is wrong, each with its line and what to do: text that is no such TOML, words that mean nothing, people and bars that are
    /// not there. Of many faults a hundred are told, and how many more there are. A chart is read whole or not at all, so that nothing in it is lost
    /// on the way.
    pub fn read(file: &str, text: &str) -> Result<(Self, Settled, Vec<Finding>), Vec<Finding>> {
        let text = text.trim_start_matches('\u{feff}');
        if text.len() > LONGEST {
            let what = format!("the chart has {} MB; {} MB is the most", text.len().div_ceil(1 << 20), LONGEST >> 20);
            return Err(vec![finding(file, None, Severity::Error, what, "Chart one movement at a time")]);
        }
        let mut reader = Reader::new(file, text);
        let read: ChartText = match toml::from_str(text) {
            Ok(read) => read,
            Err(error) => {
                let message = error.message().lines().collect::<Vec<_>>().join(" ");
                reader.fault(error.span().map_or(0, |span| span.start), message, "docs/charts.md lists what may stand where");
                return Err(reader.told());
            }
        };
        if read.format.get_ref() != FORMAT {
            reader.fault(
                read.format.span().start,
                format!("the file says it is “{}”, not “{FORMAT}”", read.format.get_ref()),
                "",
            );
        }
        if *read.version.get_ref() != VERSION {
            let what =
                format!("this is version {} of the format, and this Ripieno reads version {VERSION}", read.version.get_ref());
            reader.fault(read.version.span().start, what, "");
        }
        let starts = |spans: &mut dyn Iterator<Item = usize>| spans.collect::<Vec<usize>>();
        let row_starts = starts(&mut read.row.iter().map(|row| row.span().start));
        let part_starts = starts(&mut read.part.iter().map(|part| part.span().start));
        let run_starts = starts(&mut read.bars.iter().map(|run| run.span().start));
        let mut chart = Self {
            title: read.title,
            movement: read.movement,
            composer: read.composer,
            edition: read.edition,
            made: read.made,
            remark: read.remark,
            parts: read.part.into_iter().filter_map(|part| part_of(part.into_inner(), &mut reader)).collect(),
            bars: read.bars.into_iter().filter_map(|run| run_of(run.into_inner(), &mut reader)).collect(),
            rows: read.row.into_iter().filter_map(|row| row_of(row, &mut reader)).collect(),
            ..Self::default()
        };
        if reader.count > 0 {
            return Err(reader.told());
        }
        comments(text, &mut chart);
        let line_of = |fault: &Fault| {
            let start = match fault {
                Fault { row: Some(row), .. } => row_starts.get(*row),
                Fault { part: Some(part), .. } => part_starts.get(*part),
                Fault { run: Some(run), .. } => run_starts.get(*run),
                _ => None,
            };
            start.map(|&byte| reader.line(byte))
        };
        let told = |severity: Severity, fault: &Fault| finding(file, line_of(fault), severity, fault.what.clone(), &fault.hint);
        match chart.settle() {
            Ok(settled) => {
                let notes = settled.notes.iter().map(|fault| told(Severity::Note, fault)).collect();
                Ok((chart, settled, notes))
            }
            Err(faults) => Err(faults.iter().map(|fault| told(Severity::Error, fault)).collect()),
        }
    }
}

fn players(words: Words) -> Result<PlayerCount, String> {
    let text = words.text();
    let number = |text: &str| text.trim().parse::<u16>().ok().filter(|number| *number > 0);
    let found = match text.split_once(['-', '\u{2013}']) {
        None => number(&text).map(PlayerCount::exactly),
        Some((least, most)) => number(least).zip(number(most)).map(|(least, most)| PlayerCount::between(least, most)),
    };
    found.ok_or_else(|| format!("“{text}” is no number of players; give 2, or \"8-16\""))
}

fn part_of(part: PartText, reader: &mut Reader<'_>) -> Option<ChartPart> {
    let players = match part.players {
        Some(words) => Some(reader.parsed(words, players)?),
        None => None,
    };
    Some(ChartPart { name: part.name, instrument: part.instrument, players, body: part.body, comments: Vec::new() })
}

fn run_of(run: RunText, reader: &mut Reader<'_>) -> Option<Run> {
    let length = match run.length {
        Some(words) => Some(reader.parsed(words, |words| {
            let text = words.text();
            let length = text.parse::<Crotchets>().ok().filter(|length| length.is_positive());
            length.ok_or_else(|| format!("“{text}” is no length; give crotchets, such as 4 or \"7/2\""))
        })?),
        None => None,
    };
    Some(Run {
        count: run.count.into_inner(),
        number: run.number.map(Words::text),
        uncounted: run.uncounted,
        metre: run.metre,
        length,
        tempo: run.tempo,
        mark: run.mark.map(Words::text),
        repeat_start: run.repeat_start,
        repeat_end: run.repeat_end,
        ending: run.ending,
        comments: Vec::new(),
    })
}

fn row_of(row: Spanned<RowText>, reader: &mut Reader<'_>) -> Option<Row> {
    let byte = row.span().start;
    let row = row.into_inner();
    let before = reader.count;
    let mut told = Row {
        line: row.line,
        lead: row.lead,
        layer: row.layer,
        register: row.register,
        confidence: row.confidence,
        remark: row.remark,
        ..Row::default()
    };
    told.who = row.who.into_inner().list();
    let mut spans = reader.spans;
    let listed = |words: Words| {
        let text = words.text();
        spans += 1 + text.matches(',').count();
        if spans > MOST_SPANS {
            return Err(format!(
                "with this row the chart names more than {MOST_SPANS} stretches of bars; chart one movement at a time"
            ));
        }
        Span::list(&text)
    };
    told.bars = reader.parsed(row.bars, listed).unwrap_or_default();
    reader.spans = spans;
    if let Some(words) = row.role {
        told.roles = reader.parsed(words, |words| words.list().iter().map(|word| role_named(word)).collect()).unwrap_or_default();
    }
    if let Some(words) = row.manner {
        let all = |words: Words| words.list().iter().try_fold(Techniques::empty(), |all, word| Ok(all | manner_named(word)?));
        told.manner = reader.parsed(words, all).unwrap_or_default();
    }
    if let Some(words) = row.dynamic {
        told.dynamic = reader.parsed(words, |words| dynamic_named(&words.text()));
    }
    if let Some(words) = row.players {
        told.players = reader.parsed(words, players);
    }
    let octaves = match row.interval {
        None => 0,
        Some(interval) => {
            interval_named(interval.get_ref()).map_err(|what| reader.fault(interval.span().start, what, "")).unwrap_or_default()
        }
    };
    let stray = octaves != 0 || row.in_part.is_some() || row.doubles_line.is_some();
    told.doubles = row.doubles.map(|who| Doubles { who, line: row.doubles_line, octaves, in_part: row.in_part.unwrap_or(false) });
    if told.doubles.is_none() && stray {
        reader.fault(byte, "the row has an interval, a line doubled or “in_part” and doubles nobody", "Say whom with “doubles”");
    }
    (reader.count == before).then_some(told)
}

/// Gives each table the comments above or in it.
fn comments(text: &str, chart: &mut Chart) {
    let mut pending: Vec<String> = Vec::new();
    let mut counts = [0usize; 3];
    // The table in which we are.
    let mut here: Option<(usize, usize)> = None;
    let mut long: Option<&str> = None;
    for line in text.lines() {
        if let Some(quotes) = long {
            long = (!line.contains(quotes)).then_some(quotes);
            continue;
        }
        let trimmed = line.trim();
        if let Some(comment) = trimmed.strip_prefix('#') {
            pending.push(comment.strip_prefix(' ').unwrap_or(comment).to_owned());
            continue;
        }
        if trimmed.is_empty() {
            continue;
        }
        let table = ["[[part]]", "[[bars]]", "[[row]]"].iter().position(|name| trimmed.replace(' ', "").starts_with(name));
        if let Some(kind) = table {
            here = Some((kind, counts[kind]));
            counts[kind] += 1;
        }
        pending.extend(trailing(line));
        let list = match here {
            None => Some(&mut chart.opening),
            Some((0, at)) => chart.parts.get_mut(at).map(|part| &mut part.comments),
            Some((1, at)) => chart.bars.get_mut(at).map(|run| &mut run.comments),
            Some((_, at)) => chart.rows.get_mut(at).map(|row| &mut row.comments),
        };
        if let Some(list) = list {
            list.append(&mut pending);
        }
        long = ["\"\"\"", "'''"].into_iter().find(|quotes| line.matches(quotes).count() % 2 == 1);
    }
    chart.closing = pending;
}

/// A comment at the end of a line.
fn trailing(line: &str) -> Option<String> {
    let mut quote = None;
    let mut escaped = false;
    for (at, letter) in line.char_indices() {
        match (quote, letter) {
            _ if escaped => escaped = false,
            (Some('"'), '\\') => escaped = true,
            (Some(open), _) if open == letter => quote = None,
            (None, '"' | '\'') => quote = Some(letter),
            (None, '#') => return Some(line[at + 1..].trim().to_owned()),
            _ => {}
        }
    }
    None
}
