//! What holds of the bar as it stands on the page and in the harmony.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_instruments::family::Section;

use crate::language::{Changing, Quantity, Stacked, Subject, Who, note_name};
use crate::record::{Cell, Damaged};

use super::holds::of_parts_in_bars;
use super::spans;
use super::stage::Stage;

/// Bars of the rows of a table that answer; no bars where an older record lacks the table.
fn rows(
    stage: &Stage<'_>,
    name: &str,
    answers: impl Fn(&crate::record::Table, usize) -> Result<bool, Damaged>,
) -> Result<Vec<bool>, Damaged> {
    let mut holds = vec![false; stage.bars];
    let Some(table) = stage.newer_table(name) else { return Ok(holds) };
    for (row, (first, last)) in spans(table)?.enumerate() {
        if answers(table, row)? {
            holds[stage.between(first, last)].fill(true);
        }
    }
    Ok(holds)
}

pub(super) fn tutti(stage: &Stage<'_>) -> Result<Vec<bool>, Damaged> {
    rows(stage, "tuttis", |_, _| Ok(true))
}

pub(super) fn chord(
    stage: &Stage<'_>,
    root: Option<u8>,
    quality: Option<&str>,
    inversion: Option<u8>,
) -> Result<Vec<bool>, Damaged> {
    rows(stage, "chords", |table, row| {
        let inverted = table.numbers("inversion")?.get(row).copied();
        Ok(is_note(table.texts("root")?.get(row), root)
            && quality.is_none_or(|quality| table.texts("quality").is_ok_and(|told| told.get(row) == Some(quality)))
            && inversion.is_none_or(|wanted| inverted == Some(i64::from(wanted))))
    })
}

pub(super) fn key(stage: &Stage<'_>, tonic: Option<u8>, mode: Option<&str>) -> Result<Vec<bool>, Damaged> {
    rows(stage, "keys", |table, row| {
        let told = table.texts("mode")?;
        Ok(is_note(table.texts("tonic")?.get(row), tonic) && mode.is_none_or(|mode| told.get(row) == Some(mode)))
    })
}

fn is_note(name: Option<&str>, wanted: Option<u8>) -> bool {
    wanted.is_none() || name.and_then(|name| note_name(&name.to_lowercase())) == wanted
}

/// Whether a melody of these is thickened by those.
pub(super) fn thickened(stage: &Stage<'_>, who: Option<&Who>, by: Option<&Who>) -> Result<Vec<bool>, Damaged> {
    let (who, by) = (who.map(|who| sections(stage, who)), by.map(|by| sections(stage, by)));
    let fits = |sections: &Option<BTreeSet<String>>, name: Option<&str>| {
        sections.as_ref().is_none_or(|sections| name.is_some_and(|name| sections.contains(name)))
    };
    rows(stage, "proofs", |table, row| {
        Ok(table.texts("measure")?.get(row) == Some("thickened_lines")
            && fits(&who, table.texts("subject")?.get(row))
            && fits(&by, table.texts("other")?.get(row)))
    })
}

/// The sections these parts belong to.
fn sections(stage: &Stage<'_>, who: &Who) -> BTreeSet<String> {
    let parts = stage.cast(who).parts();
    let named = stage.record.table("parts").and_then(|table| table.texts("section"));
    parts.into_iter().filter_map(|part| named.as_ref().ok()?.get(part)).map(str::to_owned).collect()
}

/// Whether the chords of these are spaced so at some moment.
pub(super) fn voiced(stage: &Stage<'_>, who: &Who, spacing: &str) -> Result<Vec<bool>, Damaged> {
    proven(stage, "chord_voicing", who, |aspect| aspect == spacing)
}

/// Bars behind the values of a measure about a section, a family or the whole score.
fn proven(stage: &Stage<'_>, measure: &str, who: &Who, is: impl Fn(&str) -> bool) -> Result<Vec<bool>, Damaged> {
    let (kind, name) = match who {
        Who::Family(family) => ("family", Some(family.name())),
        Who::Section(section) => ("section", Some(section.name())),
        Who::Basses => ("section", Some("double basses")),
        _ => ("score", None),
    };
    rows(stage, "proofs", |table, row| {
        Ok(table.texts("measure")?.get(row) == Some(measure)
            && table.texts("subject_kind")?.get(row) == Some(kind)
            && name.is_none_or(|name| table.texts("subject").is_ok_and(|told| told.get(row) == Some(name)))
            && table.texts("aspect")?.get(row).is_some_and(&is))
    })
}

/// Whether lines of a section among these share neither layer nor role at some moment.
pub(super) fn splits(stage: &Stage<'_>, who: &Who) -> Result<Vec<bool>, Damaged> {
    let sections = sections(stage, who);
    rows(stage, "proofs", |table, row| {
        Ok(table.texts("measure")?.get(row) == Some("cohesion")
            && table.texts("aspect")?.get(row).is_some_and(|aspect| aspect.contains(" against "))
            && table.texts("subject")?.get(row).is_some_and(|name| sections.contains(name)))
    })
}

/// Whether a body that plays with all of its sections is one stack, or split, at some moment.
pub(super) fn stacked(stage: &Stage<'_>, who: &Who, kind: Stacked) -> Result<Vec<bool>, Damaged> {
    proven(stage, "stack", who, |aspect| match kind {
        Stacked::OneStack => aspect == "one stack",
        Stacked::Split => aspect.starts_with("split"),
    })
}

/// How many horns stand against how many of these, as the measure "brass_weight" has it: its words and bars.
pub(super) fn against(stage: &Stage<'_>, section: Section) -> Result<Vec<(String, Vec<bool>)>, Damaged> {
    let mut found: BTreeMap<String, Vec<bool>> = BTreeMap::new();
    let Some(table) = stage.newer_table("proofs") else { return Ok(Vec::new()) };
    let (measures, others, aspects) = (table.texts("measure")?, table.texts("other")?, table.texts("aspect")?);
    for (row, (first, last)) in spans(table)?.enumerate() {
        if measures.get(row) == Some("brass_weight") && others.get(row) == Some(section.name()) {
            let aspect = aspects.get(row).unwrap_or_default().to_owned();
            found.entry(aspect).or_insert_with(|| vec![false; stage.bars])[stage.between(first, last)].fill(true);
        }
    }
    Ok(found.into_iter().collect())
}

/// Whether they are under a crescendo or diminuendo, or of the bar at least half of the parts that sound.
pub(super) fn swells(stage: &Stage<'_>, subject: Option<&Subject>, swell: &str) -> Result<Vec<bool>, Damaged> {
    let mut held = vec![vec![false; stage.bars]; stage.part_count()];
    if let Some(table) = stage.newer_table("swells") {
        let told = table.texts("swell")?;
        for ((row, &part), (first, last)) in table.numbers("part_index")?.iter().enumerate().zip(spans(table)?) {
            if told.get(row) == Some(swell) {
                let part = usize::try_from(part).map_err(|_| Damaged)?;
                held.get_mut(part).ok_or(Damaged)?[stage.between(first, last)].fill(true);
            }
        }
    }
    if let Some(subject) = subject {
        return Ok(of_parts_in_bars(stage, subject, Quantity::Any, |part, bar| held[part][bar]));
    }
    let half = |bar: usize| {
        let here: Vec<bool> =
            (0..held.len()).filter(|&part| stage.row(part, bar).is_some()).map(|part| held[part][bar]).collect();
        !here.is_empty() && here.iter().filter(|held| **held).count() * 2 >= here.len()
    };
    Ok((0..stage.bars).map(half).collect())
}

/// Whether metre, tempo or key is not that of the bar before.
pub(super) fn differs(stage: &Stage<'_>, what: Changing) -> Result<Vec<bool>, Damaged> {
    let bars = stage.record.table("bars")?;
    let cells = |name: &str| {
        let column = bars.shape.column(name).ok_or(Damaged)?;
        (0..stage.bars).map(|bar| stage.record.cell(bars, column, bar)).collect::<Result<Vec<Cell<'_>>, Damaged>>()
    };
    let cells = match what {
        Changing::Metre => cells("metre")?,
        Changing::Tempo => cells("tempo")?,
        Changing::Key => {
            // Where a key begins, but for the first.
            let mut holds = vec![false; stage.bars];
            for (first, _) in spans(stage.record.table("keys")?)?.skip(1) {
                holds[stage.between(first, first)].fill(true);
            }
            return Ok(holds);
        }
    };
    Ok((0..stage.bars).map(|bar| bar > 0 && cells[bar] != cells[bar - 1]).collect())
}

/// From the first bar printed with one number to the last with the other.
pub(super) fn between(stage: &Stage<'_>, first: &str, last: &str) -> Result<Vec<bool>, Damaged> {
    let printed = stage.record.table("bars")?.texts("printed_bar")?;
    let is = |bar: usize, number: &str| printed.get(bar).is_some_and(|text| text.eq_ignore_ascii_case(number));
    let mut holds = vec![false; stage.bars];
    let from = (0..stage.bars).find(|&bar| is(bar, first));
    let to = (0..stage.bars).rev().find(|&bar| is(bar, last));
    if let Some((from, to)) = from.zip(to).filter(|(from, to)| from <= to) {
        holds[from..=to].fill(true);
    }
    Ok(holds)
}
