//! Charts as studies, and studies as charts.

mod drawn;

pub use drawn::Grain;

use ripieno_chart::Chart;
use ripieno_formats::{Finding, Format, Place, ReadError, Severity};
use ripieno_practice::{Groups, MEASURES, OnChart};
use ripieno_score::{Score, Sounding};
use ripieno_texture::{FigureProbabilities, Harmony, RoleProbabilities};

use crate::Study;
use crate::corrections::{Corrected, Corrections, CorrectionsError, Said};
use crate::pipeline::counted;

/// Studies a chart. Groups a person has named beside it are in force; corrections are not, since the chart itself says what is so.
///
/// # Errors
/// The first thing that is wrong with it.
pub(crate) fn analyse(
    file: String,
    bytes: &[u8],
    corrections: Result<Corrections, CorrectionsError>,
) -> Result<Study, ReadError> {
    let text = std::str::from_utf8(bytes)
        .map_err(|_| ReadError::whole_file(&file, "chart-fault", "the chart is not written in UTF-8", "Save it as UTF-8 text"))?;
    let (_, settled, findings) = Chart::read(&file, text).map_err(|faults| first(&file, faults))?;
    Ok(studied(file, settled, findings, corrections))
}

/// Studies a chart at hand; `file` is its name.
///
/// # Errors
/// The first thing that is wrong with it.
pub fn analyse_chart(file: String, chart: &Chart) -> Result<Study, ReadError> {
    let told = |what: String, hint: &str| ReadError::whole_file(&file, "chart-fault", what, hint);
    let settled = chart.settle().map_err(|faults| {
        faults
            .into_iter()
            .next()
            .map_or_else(|| told("the chart cannot be read".to_owned(), ""), |fault| told(fault.what, &fault.hint))
    })?;
    Ok(studied(file, settled, Vec::new(), Ok(Corrections::default())))
}

fn first(file: &str, faults: Vec<Finding>) -> ReadError {
    let more = faults.len().saturating_sub(1);
    let mut faults = faults.into_iter();
    let Some(mut first) = faults.next() else {
        return ReadError::whole_file(file, "chart-fault", "the chart cannot be read", "");
    };
    if more > 0 {
        let further = format!("“ripieno chart check {file}” lists {more} more");
        first.hint = if first.hint.is_empty() { further } else { format!("{}; {further}", first.hint) };
    }
    ReadError(Box::new(first))
}

fn studied(
    file: String,
    settled: ripieno_chart::Settled,
    mut findings: Vec<Finding>,
    corrections: Result<Corrections, CorrectionsError>,
) -> Study {
    let ripieno_chart::Settled { score, sounding, ways, lines, roles, doublings, .. } = settled;
    let groups = match corrections {
        Ok(corrections) => {
            let (groups, lost) = corrections.group(&score);
            findings.extend(lost);
            if !corrections.list().is_empty() {
                let hint = "Say it in the chart itself";
                findings.push(note(&file, Severity::Warning, "corrections beside a chart are not followed", hint));
            }
            groups
        }
        Err(error) => {
            findings.push(*error.0);
            Groups::new(&score)
        }
    };
    findings.push(without_notes(&file));
    let learned = nothing_learned(&score, &sounding);
    let said = vec![Said::default(); roles.spans.len()];
    let said_of_layers = vec![Said::default(); roles.layers.layers.len()];
    counted(Study {
        file,
        format: Format::Chart,
        findings,
        score,
        sounding,
        ways,
        groups,
        corrections: Vec::new(),
        learned,
        roles: Corrected { roles, said, said_of_layers },
        lines,
        doublings,
        harmony: Harmony::default(),
        themes: Vec::new(),
        of_parts: Vec::new(),
        of_sections: Vec::new(),
        of_families: Vec::new(),
        practice: Vec::new(),
        moments: Vec::new(),
        noteworthy: Vec::new(),
        tutti: Vec::new(),
    })
}

fn note(file: &str, severity: Severity, what: impl Into<String>, hint: &str) -> Finding {
    let place = Place { file: file.to_owned(), ..Place::default() };
    Finding { severity, code: "chart-note", place, what: what.into(), hint: hint.to_owned() }
}

/// What cannot be measured on a chart, in one sentence.
fn without_notes(file: &str) -> Finding {
    let not = MEASURES.iter().filter(|measure| matches!(measure.on_chart, OnChart::Not)).map(|measure| measure.title);
    let partly = MEASURES.iter().filter_map(|measure| match measure.on_chart {
        OnChart::Without(what) => Some(format!("{} ({what})", measure.title)),
        _ => None,
    });
    let quoted: Vec<String> = not.map(|title| format!("“{title}”")).collect();
    let what = format!(
        "this is a chart, which holds no notes, so what needs them is left out: {}, whether the melody is heard (balance); and in part {}",
        quoted.join(", "),
        partly.collect::<Vec<_>>().join(", ")
    );
    note(file, Severity::Note, what, "Everything else is counted as on a score")
}

/// Nothing was learned from a chart: no probability of anything.
fn nothing_learned(score: &Score, sounding: &Sounding) -> RoleProbabilities {
    let (parts, bars) = (score.parts.len(), sounding.bars.len());
    let none = || vec![vec![0.0; bars]; parts];
    RoleProbabilities {
        melody: none(),
        rhythm: none(),
        harmony: none(),
        lead: none(),
        thresholds: [1.0; 3],
        figures: vec![vec![FigureProbabilities::default(); bars]; parts],
        figure_thresholds: [1.0; 4],
        relations: vec![vec![[0.0; 3]; bars]; parts],
    }
}
