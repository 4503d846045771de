//! `ripieno ask`

mod excerpts;
mod wrap;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use ripieno_formats::Limits;
use ripieno_library::{Library, Reader, Rows, Value, query, text_of};
use ripieno_questions::{Found, Question, Record, answer, bar_count, in_lines, parse};
use ripieno_study::analyse_file;
use serde_json::{Map, json};

use crate::library::{library_path, print, said};

/// Arguments of `ripieno ask`.
#[derive(clap::Args)]
pub struct AskArguments {
    /// The question, such as "horns have melody and trombones rest, at least 4 bars long"; docs/questions.md has all words
    #[arg(value_name = "QUESTION", required_unless_present_any = ["sql", "saved", "list_saved"], conflicts_with_all = ["sql", "saved", "list_saved"])]
    question: Option<String>,
    /// Ask SQL instead, over the tables that docs/library.md describes; nothing can be changed by it
    #[arg(long, value_name = "SELECT", conflicts_with_all = ["saved", "files"])]
    sql: Option<String>,
    /// Ask these scores
    #[arg(long = "in", value_name = "FILE", num_args = 1.., conflicts_with = "library")]
    files: Vec<PathBuf>,
    /// Ask the library (the default): the one at FILE, else the one RIPIENO_LIBRARY names, else ripieno/library.db among your data
    #[arg(long, value_name = "FILE", num_args = 0..=1)]
    #[allow(clippy::option_option)] // the option may stand without a file
    library: Option<Option<PathBuf>>,
    /// Keep the question in the library by this name
    #[arg(long, value_name = "NAME", conflicts_with_all = ["saved", "list_saved"])]
    save: Option<String>,
    /// Ask a question that was kept
    #[arg(long, value_name = "NAME")]
    saved: Option<String>,
    /// List the questions that were kept
    #[arg(long)]
    list_saved: bool,
    /// How to print
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
    /// Write the bars of each result into this folder, as a small MusicXML score of the parts that play
    #[arg(long, value_name = "DIR", conflicts_with_all = ["sql", "list_saved"])]
    excerpts: Option<PathBuf>,
}

/// Forms of output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// Each score with its bars; long lists go on in the next line
    Text,
    /// Comma-separated values, a row for each span of bars
    Csv,
    /// A list of objects, one for each span of bars
    Json,
}

/// Where a question is answered, and what came of it.
struct Answered {
    /// Number in the library, where it is kept there.
    score: Option<i64>,
    path: PathBuf,
    file: String,
    title: String,
    found: Vec<Found>,
}

/// Answers: 0 when there are bars or rows, 1 when there are none, 2 when the question or a score is not understood.
pub fn run(arguments: &AskArguments) -> ExitCode {
    match ask(arguments) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        Err(failure) => {
            eprintln!("ripieno: {failure}");
            ExitCode::from(2)
        }
    }
}

fn ask(arguments: &AskArguments) -> Result<bool, String> {
    let library = || library_path(arguments.library.as_ref().and_then(Option::as_deref));
    if arguments.list_saved {
        let saved = Reader::open(&library()?).and_then(|reader| reader.saved_questions()).map_err(said)?;
        let line = |saved: &ripieno_library::Saved| {
            format!("{}: {}{}\n", saved.name, if saved.is_sql { "SQL: " } else { "" }, saved.question)
        };
        print(&saved.iter().map(line).collect::<String>())?;
        return Ok(!saved.is_empty());
    }
    let (question, is_sql) = match (&arguments.question, &arguments.sql, &arguments.saved) {
        (Some(question), ..) => (question.clone(), false),
        (_, Some(sql), _) => (sql.clone(), true),
        (_, _, Some(name)) => {
            let saved = Reader::open(&library()?).and_then(|reader| reader.saved_question(name)).map_err(said)?;
            (saved.question, saved.is_sql)
        }
        _ => return Err("ask a question".to_owned()),
    };
    if is_sql {
        if arguments.excerpts.is_some() {
            return Err("excerpts are cut where words find bars; ask in words, or leave --excerpts out".to_owned());
        }
        if !arguments.files.is_empty() {
            return Err("SQL is answered from the library: add the scores to it, and leave --in out".to_owned());
        }
        let path = library()?;
        let rows = query(&path, &question).map_err(said)?;
        keep(arguments, &question, true, &path)?;
        print(&rows_as(&rows, arguments.format)?)?;
        return Ok(!rows.rows.is_empty());
    }
    let understood = parse(&question).map_err(|error| error.to_string())?;
    let answers = if arguments.files.is_empty() {
        let reader = Reader::open(&library()?).map_err(said)?;
        let answers = reader.ask(&understood).map_err(said)?.into_iter();
        let of = |answer: ripieno_library::Answer| Answered {
            score: Some(answer.entry.score),
            path: answer.entry.path,
            file: answer.entry.file,
            title: answer.entry.title,
            found: answer.found,
        };
        answers.map(of).collect()
    } else {
        let files = arguments.files.iter().map(|file| of_file(file, &understood));
        files.collect::<Result<Vec<Answered>, String>>()?
    };
    if arguments.save.is_some() {
        keep(arguments, &question, false, &library()?)?;
    }
    let some = answers.iter().any(|answered| !answered.found.is_empty());
    print(&answers_as(&answers, arguments.format)?)?;
    if let Some(folder) = &arguments.excerpts {
        excerpts::write(folder, &answers)?;
    }
    if !some {
        eprintln!("no bar answers the question");
    }
    Ok(some)
}

fn keep(arguments: &AskArguments, question: &str, is_sql: bool, path: &Path) -> Result<(), String> {
    let Some(name) = &arguments.save else { return Ok(()) };
    Library::open_or_create(path).and_then(|mut library| library.save_question(name, question, is_sql)).map_err(said)
}

fn of_file(file: &Path, question: &Question) -> Result<Answered, String> {
    let study = analyse_file(file, &Limits::default()).map_err(|error| error.to_string())?;
    let record = Record::of(&study, &[]);
    let found = answer(question, &record).map_err(|error| format!("{}: {error}", file.display()))?;
    Ok(Answered { score: None, path: file.to_owned(), file: file.display().to_string(), title: study.title(), found })
}

fn answers_as(answers: &[Answered], form: Form) -> Result<String, String> {
    let spans = || answers.iter().flat_map(|answered| answered.found.iter().map(move |found| (answered, found)));
    match form {
        Form::Text => Ok(answers.iter().filter(|answered| !answered.found.is_empty()).map(line).collect()),
        Form::Json => {
            let object = |(answered, found): (&Answered, &Found)| {
                json!({
                    "score": answered.score, "file": answered.file, "title": answered.title,
                    "first_bar_index": found.first, "first_bar": found.first_printed,
                    "last_bar_index": found.last, "last_bar": found.last_printed, "count": found.count(), "answer": found.told,
                })
            };
            Ok(in_json(spans().map(object).collect()))
        }
        Form::Csv => {
            let header =
                ["score", "file", "title", "first_bar_index", "first_bar", "last_bar_index", "last_bar", "count", "answer"];
            let row = |(answered, found): (&Answered, &Found)| {
                vec![
                    answered.score.map(|score| score.to_string()).unwrap_or_default(),
                    answered.file.clone(),
                    answered.title.clone(),
                    found.first.to_string(),
                    found.first_printed.clone(),
                    found.last.to_string(),
                    found.last_printed.clone(),
                    found.count().to_string(),
                    found.told.clone().unwrap_or_default(),
                ]
            };
            in_csv(&header, spans().map(row))
        }
    }
}

/// "3  The Boat Goes Out: 35–45, 89–100 (23 bars in 2 passages)"; where sections are told of, a line for each below.
fn line(answered: &Answered) -> String {
    let score = answered.score.map_or_else(String::new, |score| format!("{score:>5}  "));
    let bars = match bar_count(&answered.found) {
        1 => "1 bar".to_owned(),
        bars => format!("{bars} bars"),
    };
    let by_section = answered.found.iter().any(|found| found.of.is_some());
    let passages = match answered.found.len() {
        passages if passages > 1 && !by_section => format!(" in {passages} passages"),
        _ => String::new(),
    };
    let said = in_lines(&answered.found);
    let lines: Vec<String> = if by_section {
        let head = format!("{score}{}: {bars}{passages}", answered.title);
        std::iter::once(head).chain(said.iter().map(|line| format!("  {line}"))).collect()
    } else {
        vec![format!("{score}{}: {} ({bars}{passages})", answered.title, said.join(", "))]
    };
    lines.iter().map(|line| wrap::wrapped(line, wrap::width())).collect()
}

fn rows_as(rows: &Rows, form: Form) -> Result<String, String> {
    let texts = || rows.rows.iter().map(|row| row.iter().map(text_of).collect::<Vec<String>>());
    match form {
        Form::Csv => in_csv(&rows.columns, texts()),
        Form::Json => {
            let cell = |value: &Value| match value {
                Value::Null => serde_json::Value::Null,
                Value::Integer(number) => json!(number),
                Value::Real(number) => json!(number),
                other => json!(text_of(other)),
            };
            let object = |row: &Vec<Value>| {
                let fields = rows.columns.iter().cloned().zip(row.iter().map(cell));
                serde_json::Value::Object(fields.collect::<Map<_, _>>())
            };
            Ok(in_json(rows.rows.iter().map(object).collect()))
        }
        Form::Text => {
            let mut lines: Vec<Vec<String>> = vec![rows.columns.clone()];
            lines.extend(texts());
            let width = |column: usize| lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0);
            let widths: Vec<usize> = (0..rows.columns.len()).map(width).collect();
            let line = |line: &Vec<String>| {
                let cells = line.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}"));
                format!("{}\n", cells.collect::<Vec<_>>().join("  ").trim_end())
            };
            Ok(lines.iter().map(line).collect())
        }
    }
}

fn in_json(objects: Vec<serde_json::Value>) -> String {
    let mut text = serde_json::to_string_pretty(&serde_json::Value::Array(objects)).unwrap_or_default();
    text.push('\n');
    text
}

fn in_csv<T: AsRef<str>>(header: &[T], rows: impl Iterator<Item = Vec<String>>) -> Result<String, String> {
    let failed = |error: csv::Error| format!("the answer cannot be printed: {error}");
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(header.iter().map(AsRef::as_ref)).map_err(failed)?;
    for row in rows {
        csv.write_record(row).map_err(failed)?;
    }
    let bytes = csv.into_inner().map_err(|error| format!("the answer cannot be printed: {error}"))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
