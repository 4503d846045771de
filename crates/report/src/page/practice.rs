//! Measures of practice: a section each, made from the register.

use std::fmt::Write;

use ripieno_instruments::printed;
use ripieno_study::{Study, Subject, Taken, Unit, Value};

use super::Section;
use super::text::{Column, Row, cited, escaped, linked, table};
use crate::words::{capital, key_number_name, percent, whole};

/// More sides than this do not stand beside each other on a page.
const MOST_COLUMNS: usize = 6;
/// Rows of a measure before the fold.
const SHOWN: usize = 24;
/// Rows of a measure on the page at all; a table of a thousand is for a program.
const MOST_ROWS: usize = 160;

/// A heading, then each measure that found something.
pub(super) fn measures(study: &Study) -> Vec<Section> {
    let mut sections: Vec<Section> = study
        .practice
        .iter()
        .filter(|taken| !taken.values.is_empty())
        .map(|taken| Section {
            id: format!("measure-{}", taken.measure.name.replace('_', "-")),
            title: taken.measure.title.to_owned(),
            body: body(study, taken),
            sub: true,
        })
        .collect();
    if !sections.is_empty() {
        let intro = "<p>What the scoring does, counted. Every number leads to its bars; how it is counted stands under each table. All numbers in \
<code>practice.csv</code>.</p>\n";
        sections.insert(0, Section::new("practice", "Practice, measured", intro.to_owned()));
    }
    sections
}

fn body(study: &Study, taken: &Taken) -> String {
    let measure = taken.measure;
    let mut out = format!("<p>{}</p>\n", escaped(measure.says));
    let (parts, groups): (Vec<&Value>, Vec<&Value>) = taken.values.iter().partition(|value| matches!(value.of, Subject::Part(_)));
    if !groups.is_empty() {
        out.push_str(&values(study, &groups));
    }
    if !parts.is_empty() {
        let inner = values(study, &parts);
        if groups.is_empty() {
            out.push_str(&inner);
        } else {
            let _ = write!(out, "<details><summary>By part</summary>\n{inner}</details>\n");
        }
    }
    let _ = write!(
        out,
        "<details><summary>How it is counted</summary>\n<p>{}</p>\n<p>Whose idea: {}. {}</p></details>\n",
        escaped(measure.definition),
        escaped(measure.source),
        escaped(measure.example)
    );
    out
}

/// Sides beside each other where they are few, else a row for each number.
fn values(study: &Study, values: &[&Value]) -> String {
    let mut aspects: Vec<&str> = Vec::new();
    let mut subjects: Vec<(Subject, Option<Subject>)> = Vec::new();
    for value in values {
        if !aspects.contains(&value.aspect.as_str()) {
            aspects.push(&value.aspect);
        }
        if !subjects.contains(&(value.of, value.with)) {
            subjects.push((value.of, value.with));
        }
    }
    let once = |subject: &(Subject, Option<Subject>), aspect: &str| {
        values.iter().filter(|value| (value.of, value.with) == *subject && value.aspect == aspect).count() <= 1
    };
    let beside =
        aspects.len() <= MOST_COLUMNS && subjects.iter().all(|subject| aspects.iter().all(|aspect| once(subject, aspect)));
    if beside { side_by_side(study, values, &aspects, &subjects) } else { one_a_row(study, values) }
}

fn side_by_side(study: &Study, values: &[&Value], aspects: &[&str], subjects: &[(Subject, Option<Subject>)]) -> String {
    // Where all numbers of a row rest on the same bars, these are written out once.
    let of = |subject: &(Subject, Option<Subject>)| -> Vec<&&Value> {
        values.iter().filter(|value| (value.of, value.with) == *subject).collect()
    };
    let same_bars = subjects.iter().all(|subject| of(subject).windows(2).all(|pair| pair[0].bars == pair[1].bars));
    let headings: Vec<String> = aspects
        .iter()
        .map(|aspect| {
            let unit = values.iter().find(|value| value.aspect == *aspect).map_or("", |value| value.unit.name());
            if aspect.is_empty() { capital(unit) } else { format!("{} ({unit})", capital(aspect)) }
        })
        .collect();
    let mut columns: Vec<Column<'_>> = vec![("Who", "")];
    columns.extend(headings.iter().map(|heading| (heading.as_str(), "number")));
    if same_bars {
        columns.push(("Where", "bars"));
    }
    let rows: Vec<Row> = subjects
        .iter()
        .map(|subject| {
            let here = of(subject);
            let mut cells = vec![who(study, *subject)];
            for aspect in aspects {
                let value = here.iter().find(|value| value.aspect == *aspect);
                cells.push(value.map_or_else(String::new, |value| linked(&number(value), &study.cite(&value.bars))));
            }
            if same_bars {
                cells.push(here.first().map_or_else(String::new, |value| cited(&study.cite(&value.bars))));
            }
            cells.into()
        })
        .collect();
    cut(&columns, rows)
}

/// The table, without the rows that only a program reads.
fn cut(columns: &[Column<'_>], mut rows: Vec<Row>) -> String {
    let more = rows.len().saturating_sub(MOST_ROWS);
    rows.truncate(MOST_ROWS);
    let mut out = table(columns, &rows, SHOWN);
    if more > 0 {
        let _ = writeln!(out, "<p class=\"quiet\">{more} more in <code>practice.csv</code>.</p>");
    }
    out
}

fn one_a_row(study: &Study, values: &[&Value]) -> String {
    let mut last = None;
    let rows: Vec<Row> = values
        .iter()
        .map(|value| {
            let subject = (value.of, value.with);
            let name = if last.replace(subject) == Some(subject) { String::new() } else { who(study, subject) };
            let unit = format!("<span class=\"quiet\">{}</span>", value.unit.name());
            vec![name, escaped(&value.aspect), number(value), unit, cited(&study.cite(&value.bars))].into()
        })
        .collect();
    cut(&[("Who", ""), ("What", ""), ("Value", "number"), ("Counted in", ""), ("Where", "bars")], rows)
}

fn who(study: &Study, (of, with): (Subject, Option<Subject>)) -> String {
    let name = |subject: Subject| escaped(&printed(&capital(&subject.name(&study.score, &study.groups))));
    with.map_or_else(|| name(of), |with| format!("{} and {}", name(of), name(with)))
}

fn number(value: &Value) -> String {
    match value.unit {
        Unit::ShareOfBars | Unit::ShareOfTime | Unit::ShareOfPlayerTime | Unit::ShareOfNotes => percent(value.value),
        Unit::Key => key_number_name(value.value),
        Unit::Level => level(value.value),
        Unit::Semitones => whole(value.value).replace('-', "−"),
        _ => whole(value.value),
    }
}

#[allow(clippy::cast_possible_truncation)] // steps of dynamics
fn level(value: f64) -> String {
    ripieno_score::DynamicLevel(value as f32).mark().to_owned()
}
