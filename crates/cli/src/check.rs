//! `ripieno check`

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use ripieno_casting::{level_of_all, objections};
use ripieno_players::{CAUTION, Group, Kind, Level, Objection, Options, Severity, check, grouped, source, who};
use ripieno_score::{Score, Sounding, Unroll};
use serde_json::{Value, json};

use crate::open::open;

/// Arguments of `ripieno check`.
#[derive(clap::Args)]
pub struct CheckArguments {
    #[command(flatten)]
    reading: crate::Reading,
    /// Whom the score is for: professional, amateur or student; without it and without a line-up, professional
    #[arg(long)]
    level: Option<Level>,
    /// The line-up a draft was cast for (TOML): every player is judged at the level it gives
    #[arg(long, value_name = "FILE", conflicts_with = "level")]
    lineup: Option<PathBuf>,
    /// How to print
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
    /// Only this kind of objection (`--only breath`; may be given again); docs/players.md lists them
    #[arg(long, value_name = "KIND")]
    only: Vec<Kind>,
    /// Leave out what weighs less than this: fault, caution or note
    #[arg(long, value_name = "SEVERITY", default_value_t = Severity::Caution)]
    from: Severity,
    /// Print every objection by itself (CSV and JSON do so anyway)
    #[arg(long)]
    all: bool,
}

/// Forms of output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// Lines to read: repeats put together with their bars
    Text,
    /// Comma-separated values with a header, one row an objection
    Csv,
    /// One object for each file
    Json,
}

/// Prints what players, conductor and copyist would object to.
pub fn run(arguments: &CheckArguments) -> Result<(), String> {
    // Into memory first, so that a reader that stops listening (`| head`) is no error of the table's.
    let mut text = String::new();
    let mut rows = csv::Writer::from_writer(Vec::new());
    let mut objects = serde_json::Map::new();
    let mut unread = 0;
    let failed = |error: &dyn std::fmt::Display| format!("the objections cannot be written: {error}");
    if arguments.format == Form::Csv {
        rows.write_record(COLUMNS).map_err(|error| failed(&error))?;
    }
    let lineup = arguments.lineup.as_deref().map(crate::cast::lineup).transpose()?;
    for path in &arguments.reading.files {
        let Some(reading) = open(path, arguments.reading.strict) else {
            unread += 1;
            continue;
        };
        let score = &reading.score;
        let mut found = match &lineup {
            None => {
                let options = Options { level: arguments.level.unwrap_or_default(), only: Vec::new() };
                check(score, &Sounding::new(score, Unroll::AsPlayed), &options)
            }
            Some(lineup) => objections(score, lineup),
        };
        // One level for everybody, where each player has not an own one.
        let level = lineup.as_ref().map_or(Some(arguments.level.unwrap_or_default()), |lineup| level_of_all(score, lineup));
        let asked = |kind| arguments.only.is_empty() || arguments.only.contains(&kind);
        found.retain(|one| one.severity <= arguments.from && asked(one.kind));
        match arguments.format {
            Form::Text => text.push_str(&to_read(path, score, &found, level, arguments)),
            Form::Csv => {
                for one in &found {
                    rows.write_record(cells(path, score, one)).map_err(|error| failed(&error))?;
                }
            }
            Form::Json => {
                let all: Vec<Value> = found.iter().map(|one| object(score, one)).collect();
                let object = json!({ "level": level.map_or("line-up", Level::name), "caution": CAUTION, "objections": all });
                objects.insert(path.display().to_string(), object);
            }
        }
    }
    let bytes = match arguments.format {
        Form::Text => text.into_bytes(),
        Form::Csv => rows.into_inner().map_err(|error| failed(&error))?,
        Form::Json => {
            let mut bytes = serde_json::to_vec_pretty(&objects).map_err(|error| failed(&error))?;
            bytes.push(b'\n');
            bytes
        }
    };
    match io::stdout().lock().write_all(&bytes) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => return Err(failed(&error)),
        _ => {}
    }
    if unread == 0 { Ok(()) } else { Err(format!("{unread} of {} files could not be read", arguments.reading.files.len())) }
}

/// Columns of the table.
const COLUMNS: [&str; 11] = ["file", "bar", "last_bar", "at", "part", "player", "severity", "kind", "reason", "remedy", "source"];

fn number(score: &Score, bar: ripieno_score::BarIndex) -> String {
    score.bars.get(bar.at()).map_or_else(String::new, |bar| bar.number.to_string())
}

fn cells(path: &Path, score: &Score, one: &Objection) -> [String; 11] {
    [
        path.display().to_string(),
        number(score, one.bar),
        number(score, one.last),
        one.at.to_string(),
        score.parts.get(one.part).map_or_else(String::new, |part| part.name.clone()),
        one.player.map_or_else(String::new, |player| player.to_string()),
        one.severity.to_string(),
        one.kind.to_string(),
        one.reason.clone(),
        one.remedy.clone(),
        one.source.clone(),
    ]
}

fn object(score: &Score, one: &Objection) -> Value {
    let sources: Vec<Value> = one
        .source
        .split('+')
        .filter_map(source)
        .map(|source| json!({ "code": source.code, "status": source.status, "citation": source.citation }))
        .collect();
    json!({
        "bar": number(score, one.bar),
        "last_bar": number(score, one.last),
        "bar_index": one.bar.0,
        "last_bar_index": one.last.0,
        "at": one.at.to_string(),
        "part": score.parts.get(one.part).map(|part| part.name.as_str()),
        "part_index": one.part,
        "player": one.player,
        "severity": one.severity.name(),
        "kind": one.kind.id(),
        "reason": one.reason,
        "remedy": one.remedy,
        "notes": one.notes,
        "sources": sources,
    })
}

/// The objections of one file as lines, gravest first.
fn to_read(path: &Path, score: &Score, found: &[Objection], level: Option<Level>, arguments: &CheckArguments) -> String {
    let each = |one: &Objection| Group { first: one.clone(), count: 1, bars: vec![(one.bar, one.last)] };
    let groups: Vec<Group> = if arguments.all { found.iter().map(each).collect() } else { grouped(found) };
    let count = |severity| found.iter().filter(|one| one.severity == severity).count();
    let whom = match (arguments.lineup.as_ref().map(|file| file.display()), level) {
        // Whoever checks a draft cast for amateurs should not think that it was judged for them.
        (None, level) if arguments.level.is_none() => {
            format!(
                "{} players (no line-up and no level given; --lineup FILE takes the levels a draft was cast for)",
                level.unwrap_or_default()
            )
        }
        (None, level) => format!("{} players", level.unwrap_or_default()),
        (Some(file), None) => format!("the players of {file}"),
        (Some(file), Some(level)) => format!("{level} players, as its parts are not those of {file}"),
    };
    let mut text = format!("{}, for {whom}: ", path.display());
    let shown: Vec<String> = Severity::ALL
        .into_iter()
        .filter(|severity| *severity <= arguments.from)
        .map(|severity| match count(severity) {
            1 => format!("1 {severity}"),
            many => format!("{many} {severity}s"),
        })
        .collect();
    text.push_str(&shown.join(", "));
    text.push('\n');
    for group in &groups {
        let one = &group.first;
        let bars = group.bars_text(score);
        let bars = if bars.contains(['-', ',']) { format!("bars {bars}") } else { format!("bar {bars}") };
        let more = if group.count > 1 { format!(" ({} in all)", group.count) } else { String::new() };
        text.push_str(&format!(
            "{} {}: {}, {bars}: {}{more}.\n    {}.\n",
            one.severity,
            one.kind,
            who(score, one),
            one.reason,
            one.remedy
        ));
    }
    text.push_str(CAUTION);
    text.push('\n');
    text
}
