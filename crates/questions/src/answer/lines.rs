//! Roles, doublings, layers, and the melody from carrier to carrier.

use ripieno_texture::Role;

use crate::language::{Doubled, Quantity, Subject, Who};
use crate::record::Damaged;

use super::cast::Cast;
use super::holds::of_parts_in_bars;
use super::spans;
use super::stage::Stage;

/// By part and bar, whether a line has one of the roles as its chief role.
pub(super) fn held(stage: &Stage<'_>, roles: &[Role]) -> Result<Vec<Vec<bool>>, Damaged> {
    let table = stage.record.table("spans")?;
    let told = table.texts("role")?;
    let wanted: Vec<bool> = told.words.iter().map(|word| roles.iter().any(|role| role.name() == word)).collect();
    let mut held = vec![vec![false; stage.bars]; stage.part_count()];
    for ((&part, &word), (first, last)) in table.numbers("part_index")?.iter().zip(&told.of).zip(spans(table)?) {
        let part = usize::try_from(part).map_err(|_| Damaged)?;
        if usize::try_from(word).ok().and_then(|word| wanted.get(word)).copied().unwrap_or(false) {
            held.get_mut(part).ok_or(Damaged)?[stage.between(first, last)].fill(true);
        }
    }
    Ok(held)
}

/// Whether a line of theirs has one of the roles as its chief role.
pub(super) fn has(stage: &Stage<'_>, subject: &Subject, roles: &[Role]) -> Result<Vec<bool>, Damaged> {
    let held = held(stage, roles)?;
    Ok(of_parts_in_bars(stage, subject, Quantity::Any, |part, bar| held[part][bar]))
}

/// Whether a part of theirs has one of `to` here and had none of it, but one of `from`, in the last bar in which it sounded, at most one bar of rest between.
pub(super) fn changes(stage: &Stage<'_>, subject: &Subject, from: &[Role], to: &[Role]) -> Result<Vec<bool>, Damaged> {
    let (from, to) = (held(stage, from)?, held(stage, to)?);
    let changes = |part: usize, bar: usize| {
        let before = (bar.saturating_sub(2)..bar).rev().find(|&before| stage.row(part, before).is_some());
        to[part][bar] && before.is_some_and(|before| from[part][before] && !to[part][before])
    };
    Ok(of_parts_in_bars(stage, subject, Quantity::Any, changes))
}

pub(super) fn doubles(
    stage: &Stage<'_>,
    who: &Who,
    whom: Option<&Who>,
    doubled: Doubled,
    above: Option<bool>,
) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("doublings")?;
    let who = stage.cast(who);
    // Nobody named: anybody else.
    let whom = whom.map_or_else(|| stage.others(&who), |whom| stage.cast(whom));
    let mut holds = vec![false; stage.bars];
    let places = table.numbers("part_index")?.iter().zip(table.numbers("other_index")?).zip(table.numbers("interval")?);
    for (((&a, &b), &interval), (first, last)) in places.zip(spans(table)?) {
        let (a, b) = (usize::try_from(a).map_err(|_| Damaged)?, usize::try_from(b).map_err(|_| Damaged)?);
        if a.max(b) >= stage.part_count() {
            return Err(Damaged);
        }
        // How far the one who doubles lies above the other.
        let lies = |above_other: i64| {
            (match doubled {
                Doubled::Anyhow => true,
                Doubled::Unison => above_other == 0,
                Doubled::Octaves => above_other != 0,
                Doubled::Exactly(octaves) => above_other.abs() == octaves * 12,
            }) && above.is_none_or(|above| if above { above_other > 0 } else { above_other < 0 })
        };
        let ways = [(a, b, lies(-interval)), (b, a, lies(interval))];
        for bar in stage.between(first, last) {
            // A doubling goes on through rests of both; in those bars nobody doubles anybody.
            let both = stage.row(a, bar).is_some() && stage.row(b, bar).is_some();
            holds[bar] |= both && ways.iter().any(|&(one, other, lies)| lies && who.has(one, bar) && whom.has(other, bar));
        }
    }
    Ok(holds)
}

pub(super) fn one_layer(stage: &Stage<'_>, a: &Who, b: &Who) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("layers")?;
    let (a, b) = (stage.cast(a), stage.cast(b));
    let (layers, parts) = (table.numbers("layer")?, table.numbers("part_index")?);
    let rows: Vec<(i64, usize, (i64, i64))> = layers
        .iter()
        .zip(parts)
        .zip(spans(table)?)
        .map(|((&layer, &part), bars)| (layer, usize::try_from(part).unwrap_or(usize::MAX), bars))
        .collect();
    let mut holds = vec![false; stage.bars];
    for layer in rows.chunk_by(|one, other| one.0 == other.0) {
        for (at, one) in layer.iter().enumerate() {
            for (_, other) in layer.iter().enumerate().filter(|(other, _)| *other != at) {
                for bar in stage.between(one.2.0.max(other.2.0), one.2.1.min(other.2.1)) {
                    holds[bar] |= a.has(one.1, bar) && b.has(other.1, bar);
                }
            }
        }
    }
    Ok(holds)
}

/// Marks the bars of rows in which a part of theirs stands.
fn marked(stage: &Stage<'_>, cast: &Cast, rows: impl Iterator<Item = (i64, (i64, i64))>) -> Vec<bool> {
    let mut holds = vec![false; stage.bars];
    for (part, (first, last)) in rows {
        for bar in stage.between(first, last) {
            holds[bar] |= usize::try_from(part).is_ok_and(|part| cast.has(part, bar));
        }
    }
    holds
}

pub(super) fn leads(stage: &Stage<'_>, who: &Who) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("melody")?;
    Ok(marked(stage, &stage.cast(who), table.numbers("part_index")?.iter().copied().zip(spans(table)?)))
}

pub(super) fn takes_over(stage: &Stage<'_>, who: &Who, from: Option<&Who>) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("melody")?;
    let anybody = *who == Who::Everybody && from.is_none();
    let who = stage.cast(who);
    let from = from.map_or_else(|| if anybody { who.clone() } else { stage.others(&who) }, |from| stage.cast(from));
    let mut holds = vec![false; stage.bars];
    let mut before: Option<(i64, i64)> = None;
    for (&part, (first, last)) in table.numbers("part_index")?.iter().zip(spans(table)?) {
        let passed = before.is_some_and(|(other, bar)| other != part && from.has_row(other, bar));
        if passed && who.has_row(part, first) {
            holds[stage.between(first, first)].fill(true);
        }
        before = Some((part, last));
    }
    Ok(holds)
}

pub(super) fn theme(stage: &Stage<'_>, number: i64, who: Option<&Who>) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("statements")?;
    let who = stage.cast(who.unwrap_or(&Who::Everybody));
    let rows = table.numbers("theme")?.iter().zip(table.numbers("part_index")?).zip(spans(table)?);
    Ok(marked(stage, &who, rows.filter(|((theme, _), _)| **theme == number).map(|((_, part), bars)| (*part, bars))))
}
