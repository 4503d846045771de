//! Whether a condition holds, bar by bar.

use ripieno_texture::Role;

use crate::language::{Condition, Counted, Doubled, Quantity, Register, Side, Subject, Who, note_name};
use crate::record::{Damaged, NOTHING, Table};

use super::bands::lie;
use super::runs;
use super::stage::Stage;
use super::{entries, heard};

/// Levels are kept in hundredths of a step.
const STEP: i64 = 100;

pub(super) fn holds(condition: &Condition, stage: &Stage<'_>) -> Result<Vec<bool>, Damaged> {
    match condition {
        Condition::All(all, lengths) => {
            let mut together = vec![true; stage.bars];
            for one in all {
                let holds = holds(one, stage)?;
                together.iter_mut().zip(holds).for_each(|(together, holds)| *together &= holds);
            }
            Ok(lengths.iter().fold(together, |together, &(side, bars)| long(&together, side, bars)))
        }
        Condition::Either(any) => {
            let mut together = vec![false; stage.bars];
            for one in any {
                let holds = holds(one, stage)?;
                together.iter_mut().zip(holds).for_each(|(together, holds)| *together |= holds);
            }
            Ok(together)
        }
        Condition::Not(inner) => Ok(holds(inner, stage)?.into_iter().map(|holds| !holds).collect()),
        Condition::Plays(subject) => Ok(plays(stage, subject)),
        Condition::Rests(subject) => Ok(rests(stage, subject)),
        Condition::Has(subject, roles) => has(stage, subject, roles),
        Condition::Doubles(who, whom, doubled, above) => doubles(stage, who, whom.as_ref(), *doubled, *above),
        Condition::Lie(a, b, how) => lie(stage, a, b, *how),
        Condition::OneLayer(a, b) => one_layer(stage, a, b),
        Condition::Leads(who) => leads(stage, who),
        Condition::TakesOver(who, from) => takes_over(stage, who, from.as_ref()),
        Condition::Level(None, side, level) => {
            let levels = stage.record.table("bars")?.numbers("level")?;
            Ok(levels.iter().map(|&kept| on_side(kept, *side, *level)).collect())
        }
        Condition::Level(Some(subject), side, level) => level_of(stage, subject, *side, *level),
        Condition::Register(subject, register) => in_register(stage, subject, *register),
        Condition::Count(counted, side, number) => count(stage, counted, *side, *number),
        Condition::Way(subject, way) => heard::way(stage, subject, way),
        Condition::Enters(subject, rest) => Ok(entries::enters(stage, subject, *rest)),
        Condition::FirstEnters(subject) => Ok(entries::first_enters(stage, subject)),
        Condition::Solo(who) => entries::solo(stage, who),
        Condition::Heard(grades, by) => heard::melody(stage, grades, by.as_ref()),
        Condition::Even(grade) => heard::chord(stage, *grade),
        Condition::Chord(root, quality) => harmony(stage, "chords", ("root", *root), ("quality", quality.as_deref())),
        Condition::Key(tonic, mode) => harmony(stage, "keys", ("tonic", *tonic), ("mode", mode.as_deref())),
        Condition::Theme(number, who) => theme(stage, *number, who.as_ref()),
        Condition::Between(first, last) => between(stage, first, last),
        Condition::Metre(metre) => {
            let metres = stage.record.table("bars")?.texts("metre")?;
            Ok((0..stage.bars).map(|bar| metres.get(bar) == Some(metre)).collect())
        }
        Condition::Tempo(side, wanted) => {
            let tempos = stage.record.table("bars")?.numbers("tempo")?;
            #[allow(clippy::cast_possible_truncation)] // at most a million, times a hundred
            let wanted = (wanted * 100.0).round() as i64;
            Ok(tempos.iter().map(|&tempo| tempo != NOTHING && side.surely(tempo, tempo, wanted)).collect())
        }
    }
}

/// Of the runs of bars, those of a length.
fn long(holds: &[bool], side: Side, bars: u32) -> Vec<bool> {
    let mut kept = vec![false; holds.len()];
    for (first, last) in runs(holds) {
        let length = i64::try_from(last - first + 1).unwrap_or(i64::MAX);
        if side.surely(length, length, i64::from(bars)) {
            kept[first..=last].fill(true);
        }
    }
    kept
}

/// The parts of several, each once, in page order.
pub(super) fn members(stage: &Stage<'_>, who: &[Who]) -> Vec<usize> {
    let mut parts: Vec<usize> = who.iter().flat_map(|who| stage.members(who)).collect();
    parts.sort_unstable();
    parts.dedup();
    parts
}

pub(super) fn sounds(stage: &Stage<'_>, parts: &[usize], bar: usize) -> bool {
    parts.iter().any(|&part| stage.row(part, bar).is_some())
}

pub(super) fn others(stage: &Stage<'_>, parts: &[usize]) -> Vec<usize> {
    (0..stage.part_count()).filter(|part| parts.binary_search(part).is_err()).collect()
}

fn plays(stage: &Stage<'_>, subject: &Subject) -> Vec<bool> {
    let parts = members(stage, &subject.who);
    let units: Vec<Vec<usize>> = subject.who.iter().flat_map(|who| stage.units(who)).collect();
    let others = others(stage, &parts);
    let holds = |bar: usize| match subject.quantity {
        Quantity::Plain | Quantity::Any => sounds(stage, &parts, bar),
        Quantity::All => units.iter().all(|unit| sounds(stage, unit, bar)),
        Quantity::Only => sounds(stage, &parts, bar) && !sounds(stage, &others, bar),
        Quantity::No => !sounds(stage, &parts, bar),
    };
    // A score without these players has no bar in which they play or rest.
    (0..stage.bars).map(|bar| !parts.is_empty() && holds(bar)).collect()
}

fn rests(stage: &Stage<'_>, subject: &Subject) -> Vec<bool> {
    let parts = members(stage, &subject.who);
    let units: Vec<Vec<usize>> = subject.who.iter().flat_map(|who| stage.units(who)).collect();
    let others = others(stage, &parts);
    let holds = |bar: usize| match subject.quantity {
        Quantity::Plain | Quantity::All => !sounds(stage, &parts, bar),
        Quantity::Any => units.iter().any(|unit| !sounds(stage, unit, bar)),
        Quantity::Only => !sounds(stage, &parts, bar) && others.iter().all(|&part| stage.row(part, bar).is_some()),
        Quantity::No => units.iter().all(|unit| sounds(stage, unit, bar)),
    };
    (0..stage.bars).map(|bar| !parts.is_empty() && holds(bar)).collect()
}

/// What holds of parts that sound, by row of the table "roles"; `plain` stands in where no quantity is said.
fn of_parts(stage: &Stage<'_>, subject: &Subject, plain: Quantity, test: impl Fn(usize) -> bool) -> Vec<bool> {
    of_parts_in_bars(stage, subject, plain, |part, bar| stage.row(part, bar).is_some_and(&test))
}

/// Whether a line of theirs has one of the roles as its chief role.
fn has(stage: &Stage<'_>, subject: &Subject, roles: &[Role]) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("spans")?;
    let told = table.texts("role")?;
    let wanted: Vec<bool> = told.words.iter().map(|word| roles.iter().any(|role| role.name() == word)).collect();
    // By part, then bar.
    let mut held = vec![vec![false; stage.bars]; stage.part_count()];
    for ((&part, &word), (first, last)) in table.numbers("part_index")?.iter().zip(&told.of).zip(spans(table)?) {
        let part = usize::try_from(part).map_err(|_| Damaged)?;
        if usize::try_from(word).ok().and_then(|word| wanted.get(word)).copied().unwrap_or(false) {
            mark(held.get_mut(part).ok_or(Damaged)?, first, last);
        }
    }
    Ok(of_parts_in_bars(stage, subject, Quantity::Any, |part, bar| stage.row(part, bar).is_some() && held[part][bar]))
}

/// What holds of parts in bars in which they sound.
pub(super) fn of_parts_in_bars(
    stage: &Stage<'_>,
    subject: &Subject,
    plain: Quantity,
    test: impl Fn(usize, usize) -> bool,
) -> Vec<bool> {
    let parts = members(stage, &subject.who);
    let others = others(stage, &parts);
    let quantity = if subject.quantity == Quantity::Plain { plain } else { subject.quantity };
    let any = |parts: &[usize], bar: usize| parts.iter().any(|&part| test(part, bar));
    let holds = |bar: usize| match quantity {
        Quantity::Plain | Quantity::Any => any(&parts, bar),
        Quantity::All => any(&parts, bar) && parts.iter().all(|&part| stage.row(part, bar).is_none() || test(part, bar)),
        Quantity::Only => any(&parts, bar) && !any(&others, bar),
        Quantity::No => !any(&parts, bar),
    };
    (0..stage.bars).map(|bar| !parts.is_empty() && holds(bar)).collect()
}

/// Whether a kept level lies on a side of a printed one; the nearest mark counts.
fn on_side(kept: i64, side: Side, level: i64) -> bool {
    let nearest = (kept + STEP / 2).div_euclid(STEP);
    kept != NOTHING && side.surely(nearest, nearest, level)
}

fn level_of(stage: &Stage<'_>, subject: &Subject, side: Side, level: i64) -> Result<Vec<bool>, Damaged> {
    let loudest = stage.record.table("roles")?.numbers("loudest")?;
    if subject.quantity != Quantity::Plain {
        let test = |row: usize| loudest.get(row).is_some_and(|&kept| on_side(kept, side, level));
        return Ok(of_parts(stage, subject, Quantity::Any, test));
    }
    let parts = members(stage, &subject.who);
    let holds = |bar: usize| {
        let rows = parts.iter().filter_map(|&part| stage.row(part, bar));
        let mut levels: Vec<i64> = rows.filter_map(|row| loudest.get(row).copied()).filter(|&kept| kept != NOTHING).collect();
        levels.sort_unstable();
        let middle = levels.len().checked_sub(1).map(|last| levels[last / 2]);
        middle.is_some_and(|kept| on_side(kept, side, level))
    };
    Ok((0..stage.bars).map(holds).collect())
}

fn in_register(stage: &Stage<'_>, subject: &Subject, register: Register) -> Result<Vec<bool>, Damaged> {
    let roles = stage.record.table("roles")?;
    let (lowest, highest) = (roles.numbers("lowest")?, roles.numbers("highest")?);
    let test = |row: usize| {
        let (Some(&low), Some(&high)) = (lowest.get(row), highest.get(row)) else { return false };
        low != NOTHING
            && match register {
                Register::Above(key) => high > key,
                Register::Below(key) => low < key,
                Register::StayAbove(key) => low > key,
                Register::StayBelow(key) => high < key,
                Register::Between(from, to) => low >= from && high <= to,
            }
    };
    let plain = match register {
        Register::Above(_) | Register::Below(_) => Quantity::Any,
        Register::StayAbove(_) | Register::StayBelow(_) | Register::Between(..) => Quantity::All,
    };
    Ok(of_parts(stage, subject, plain, test))
}

fn count(stage: &Stage<'_>, counted: &Counted, side: Side, number: i64) -> Result<Vec<bool>, Damaged> {
    let bars = stage.record.table("bars")?;
    let (least, most) = match counted {
        Counted::Players => (bars.numbers("players_least")?, bars.numbers("players_most")?),
        Counted::Parts => (bars.numbers("parts_sounding")?, bars.numbers("parts_sounding")?),
        Counted::Sections => (bars.numbers("sections_sounding")?, bars.numbers("sections_sounding")?),
        Counted::Of(who) => {
            let roles = stage.record.table("roles")?;
            let (least, most) = (roles.numbers("players_least")?, roles.numbers("players_most")?);
            let parts = stage.members(who);
            let sum = |counts: &[i64], bar: usize| -> i64 {
                let rows = parts.iter().filter_map(|&part| stage.row(part, bar));
                rows.filter_map(|row| counts.get(row)).filter(|&&count| count != NOTHING).sum()
            };
            let holds = |bar: usize| side.surely(sum(least, bar), sum(most, bar), number);
            return Ok((0..stage.bars).map(|bar| !parts.is_empty() && holds(bar)).collect());
        }
    };
    Ok(least.iter().zip(most).map(|(&least, &most)| side.surely(least, most, number)).collect())
}

/// Marks the bars from `first` to `last` of a row.
pub(super) fn mark(holds: &mut [bool], first: i64, last: i64) {
    let bars = usize::try_from(first).ok().zip(usize::try_from(last).ok());
    if let Some(holds) = bars.and_then(|(first, last)| holds.get_mut(first..=last)) {
        holds.fill(true);
    }
}

/// First and last bar of each row.
pub(super) fn spans(table: &Table) -> Result<impl Iterator<Item = (i64, i64)> + '_, Damaged> {
    Ok(table.numbers("first_bar")?.iter().copied().zip(table.numbers("last_bar")?.iter().copied()))
}

pub(super) fn flags(stage: &Stage<'_>, who: &Who) -> Vec<bool> {
    let mut flags = vec![false; stage.part_count()];
    stage.members(who).into_iter().for_each(|part| flags[part] = true);
    flags
}

pub(super) fn is(flags: &[bool], part: i64) -> bool {
    usize::try_from(part).ok().and_then(|part| flags.get(part)).copied().unwrap_or(false)
}

fn doubles(
    stage: &Stage<'_>,
    who: &Who,
    whom: Option<&Who>,
    doubled: Doubled,
    above: Option<bool>,
) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("doublings")?;
    let who = flags(stage, who);
    // Nobody named: anybody else.
    let whom = whom.map_or_else(|| who.iter().map(|is| !is).collect(), |whom| flags(stage, whom));
    let mut holds = vec![false; stage.bars];
    let places = table.numbers("part_index")?.iter().zip(table.numbers("other_index")?).zip(table.numbers("interval")?);
    for (((&a, &b), &interval), (first, last)) in places.zip(spans(table)?) {
        // How far the one who doubles lies above the other, each way round.
        let fits = |one: i64, other: i64, above_other: i64| {
            is(&who, one)
                && is(&whom, other)
                && match doubled {
                    Doubled::Anyhow => true,
                    Doubled::Unison => above_other == 0,
                    Doubled::Octaves => above_other != 0,
                    Doubled::Exactly(octaves) => above_other.abs() == octaves * 12,
                }
                && above.is_none_or(|above| if above { above_other > 0 } else { above_other < 0 })
        };
        let span =
            usize::try_from(first).ok().zip(usize::try_from(last).ok()).filter(|_| fits(a, b, -interval) || fits(b, a, interval));
        let (Some((first, last)), Ok(a), Ok(b)) = (span, usize::try_from(a), usize::try_from(b)) else { continue };
        // A doubling goes on through rests of both; in those bars nobody doubles anybody.
        for bar in (first..=last).take_while(|&bar| bar < stage.bars) {
            holds[bar] |= stage.row(a, bar).is_some() && stage.row(b, bar).is_some();
        }
    }
    Ok(holds)
}

fn one_layer(stage: &Stage<'_>, a: &Who, b: &Who) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("layers")?;
    let (a, b) = (flags(stage, a), flags(stage, b));
    let (layers, parts) = (table.numbers("layer")?, table.numbers("part_index")?);
    let rows: Vec<(i64, i64, (i64, i64))> =
        layers.iter().zip(parts).zip(spans(table)?).map(|((&layer, &part), bars)| (layer, part, bars)).collect();
    let mut holds = vec![false; stage.bars];
    for layer in rows.chunk_by(|one, other| one.0 == other.0) {
        for (_, _, one) in layer.iter().filter(|(_, part, _)| is(&a, *part)) {
            for (_, _, other) in layer.iter().filter(|(_, part, _)| is(&b, *part)) {
                mark(&mut holds, one.0.max(other.0), one.1.min(other.1));
            }
        }
    }
    Ok(holds)
}

fn leads(stage: &Stage<'_>, who: &Who) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("melody")?;
    let who = flags(stage, who);
    let mut holds = vec![false; stage.bars];
    for (&part, (first, last)) in table.numbers("part_index")?.iter().zip(spans(table)?) {
        if is(&who, part) {
            mark(&mut holds, first, last);
        }
    }
    Ok(holds)
}

fn takes_over(stage: &Stage<'_>, who: &Who, from: Option<&Who>) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("melody")?;
    let who = flags(stage, who);
    let from = from.map_or_else(|| who.iter().map(|is| !is).collect(), |from| flags(stage, from));
    let mut holds = vec![false; stage.bars];
    let mut before = None;
    for (&part, (first, _)) in table.numbers("part_index")?.iter().zip(spans(table)?) {
        if is(&who, part) && before.is_some_and(|before| is(&from, before)) {
            mark(&mut holds, first, first);
        }
        before = Some(part);
    }
    Ok(holds)
}

fn harmony(
    stage: &Stage<'_>,
    table: &str,
    (root_column, root): (&str, Option<u8>),
    (kind_column, kind): (&str, Option<&str>),
) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table(table)?;
    let (roots, kinds) = (table.texts(root_column)?, table.texts(kind_column)?);
    let mut holds = vec![false; stage.bars];
    for (row, (first, last)) in spans(table)?.enumerate() {
        let is_root = root.is_none_or(|root| roots.get(row).and_then(|name| note_name(&name.to_lowercase())) == Some(root));
        if is_root && kind.is_none_or(|kind| kinds.get(row) == Some(kind)) {
            mark(&mut holds, first, last);
        }
    }
    Ok(holds)
}

fn theme(stage: &Stage<'_>, number: i64, who: Option<&Who>) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("statements")?;
    let who = who.map(|who| flags(stage, who));
    let mut holds = vec![false; stage.bars];
    let rows = table.numbers("theme")?.iter().zip(table.numbers("part_index")?).zip(spans(table)?);
    for ((&theme, &part), (first, last)) in rows {
        if theme == number && who.as_ref().is_none_or(|who| is(who, part)) {
            mark(&mut holds, first, last);
        }
    }
    Ok(holds)
}

/// From the first bar printed with one number to the last with the other.
fn between(stage: &Stage<'_>, first: &str, last: &str) -> Result<Vec<bool>, Damaged> {
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
