//! Whether a condition holds, bar by bar.

use crate::language::{Condition, Counted, End, Quantity, Register, Side, Subject, Who};
use crate::record::{Damaged, NOTHING};

use super::bands::lie;
use super::cast::Cast;
use super::runs;
use super::stage::Stage;
use super::{entries, heard, lines, page, pitches};

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
        Condition::Has(subject, roles) => lines::has(stage, subject, roles),
        Condition::Changes(subject, from, to) => lines::changes(stage, subject, from, to),
        Condition::Doubles(who, whom, doubled, above) => lines::doubles(stage, who, whom.as_ref(), *doubled, *above),
        Condition::Thickened(who, by) => page::thickened(stage, who.as_ref(), by.as_ref()),
        Condition::OneLayer(a, b) => lines::one_layer(stage, a, b),
        Condition::Leads(who) => lines::leads(stage, who),
        Condition::TakesOver(who, from) => lines::takes_over(stage, who, from.as_ref()),
        Condition::Theme(number, who) => lines::theme(stage, *number, who.as_ref()),
        Condition::Lie(a, b, how) => lie(stage, a, b, *how),
        Condition::Together(subject, octaves) => pitches::together(stage, subject, *octaves),
        Condition::Pedal(subject, note) => pitches::pedal(stage, subject, *note),
        Condition::Edge(subject, end) => edge(stage, subject, *end),
        Condition::Level(None, side, level) => {
            let levels = stage.record.table("bars")?.numbers("level")?;
            Ok(levels.iter().map(|&kept| on_side(kept, *side, *level)).collect())
        }
        Condition::Level(Some(subject), side, level) => level_of(stage, subject, *side, *level),
        Condition::Swells(subject, swell) => page::swells(stage, subject.as_ref(), swell),
        Condition::Register(subject, register) => in_register(stage, subject, *register),
        Condition::Count(counted, side, number) => count(stage, counted, *side, *number),
        Condition::Way(subject, way) => heard::way(stage, subject, way),
        Condition::Enters(subject, rest) => Ok(entries::enters(stage, subject, *rest)),
        Condition::FirstEnters(subject) => Ok(entries::first_enters(stage, subject)),
        Condition::Leaves(subject) => Ok(entries::leaves(stage, subject)),
        Condition::Solo(who) => entries::solo(stage, who),
        Condition::Heard(grades, by) => heard::melody(stage, grades, by.as_ref()),
        Condition::Even(grade) => heard::chord(stage, *grade),
        Condition::Tutti => page::tutti(stage),
        Condition::Voiced(who, spacing) => page::voiced(stage, who, spacing),
        Condition::Splits(who) => page::splits(stage, who),
        Condition::Stacked(who, kind) => page::stacked(stage, who, *kind),
        Condition::Chord(root, quality, inversion) => page::chord(stage, *root, quality.as_deref(), *inversion),
        Condition::Key(tonic, mode) => page::key(stage, *tonic, mode.as_deref()),
        Condition::Differs(what) => page::differs(stage, *what),
        Condition::Between(first, last) => page::between(stage, first, last),
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

fn plays(stage: &Stage<'_>, subject: &Subject) -> Vec<bool> {
    let cast = stage.cast_of(&subject.who);
    let units: Vec<Cast> = subject.who.iter().flat_map(|who| stage.units(who)).collect();
    let others = stage.others(&cast);
    let holds = |bar: usize| match subject.quantity {
        Quantity::Plain | Quantity::Any => stage.sounds(&cast, bar),
        Quantity::All => units.iter().all(|unit| stage.sounds(unit, bar)),
        Quantity::Only => stage.sounds(&cast, bar) && !stage.sounds(&others, bar),
        Quantity::No => !stage.sounds(&cast, bar),
    };
    // A score without these players has no bar in which they play or rest.
    (0..stage.bars).map(|bar| !cast.is_empty() && holds(bar)).collect()
}

fn rests(stage: &Stage<'_>, subject: &Subject) -> Vec<bool> {
    let cast = stage.cast_of(&subject.who);
    let units: Vec<Cast> = subject.who.iter().flat_map(|who| stage.units(who)).collect();
    let others = stage.others(&cast).singly();
    let holds = |bar: usize| match subject.quantity {
        Quantity::Plain | Quantity::All => !stage.sounds(&cast, bar),
        Quantity::Any => units.iter().any(|unit| !stage.sounds(unit, bar)),
        Quantity::Only => !stage.sounds(&cast, bar) && others.iter().all(|other| stage.sounds(other, bar)),
        Quantity::No => units.iter().all(|unit| stage.sounds(unit, bar)),
    };
    (0..stage.bars).map(|bar| !cast.is_empty() && holds(bar)).collect()
}

/// What holds of parts that sound, by row of the table "roles"; `plain` stands in where no quantity is said.
fn of_parts(stage: &Stage<'_>, subject: &Subject, plain: Quantity, test: impl Fn(usize) -> bool) -> Vec<bool> {
    of_parts_in_bars(stage, subject, plain, |part, bar| stage.row(part, bar).is_some_and(&test))
}

/// What holds of parts in bars in which they sound.
pub(super) fn of_parts_in_bars(
    stage: &Stage<'_>,
    subject: &Subject,
    plain: Quantity,
    test: impl Fn(usize, usize) -> bool,
) -> Vec<bool> {
    let cast = stage.cast_of(&subject.who);
    let others = stage.others(&cast);
    let quantity = if subject.quantity == Quantity::Plain { plain } else { subject.quantity };
    let here = |cast: &Cast, bar: usize| {
        let sounding = cast.members().filter(|member| member.is_in(bar) && stage.row(member.part, bar).is_some());
        sounding.map(|member| member.part).collect::<Vec<usize>>()
    };
    let any = |cast: &Cast, bar: usize| here(cast, bar).into_iter().any(|part| test(part, bar));
    let holds = |bar: usize| match quantity {
        Quantity::Plain | Quantity::Any => any(&cast, bar),
        Quantity::All => any(&cast, bar) && here(&cast, bar).into_iter().all(|part| test(part, bar)),
        Quantity::Only => any(&cast, bar) && !any(&others, bar),
        Quantity::No => !any(&cast, bar),
    };
    (0..stage.bars).map(|bar| !cast.is_empty() && holds(bar)).collect()
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
    let cast = stage.cast_of(&subject.who);
    let holds = |bar: usize| {
        let rows = cast.members().filter(|member| member.is_in(bar)).filter_map(|member| stage.row(member.part, bar));
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

/// Whether a note of theirs is the lowest or highest of the bar.
fn edge(stage: &Stage<'_>, subject: &Subject, end: End) -> Result<Vec<bool>, Damaged> {
    let name = if end == End::High { "highest" } else { "lowest" };
    let (of_bars, of_rows) = (stage.record.table("bars")?.numbers(name)?, stage.record.table("roles")?.numbers(name)?);
    Ok(of_parts_in_bars(stage, subject, Quantity::Any, |part, bar| {
        let own = stage.row(part, bar).and_then(|row| of_rows.get(row)).filter(|&&key| key != NOTHING);
        own.is_some() && own == of_bars.get(bar)
    }))
}

fn count(stage: &Stage<'_>, counted: &Counted, side: Side, number: i64) -> Result<Vec<bool>, Damaged> {
    let bars = stage.record.table("bars")?;
    let (least, most) = match counted {
        Counted::Players => (bars.numbers("players_least")?, bars.numbers("players_most")?),
        Counted::Parts => (bars.numbers("parts_sounding")?, bars.numbers("parts_sounding")?),
        Counted::Sections => (bars.numbers("sections_sounding")?, bars.numbers("sections_sounding")?),
        Counted::Of(who) => return count_of(stage, who, side, number),
    };
    Ok(least.iter().zip(most).map(|(&least, &most)| side.surely(least, most, number)).collect())
}

fn count_of(stage: &Stage<'_>, who: &Who, side: Side, number: i64) -> Result<Vec<bool>, Damaged> {
    let roles = stage.record.table("roles")?;
    let (least, most) = (roles.numbers("players_least")?, roles.numbers("players_most")?);
    let cast = stage.cast(who);
    let sum = |counts: &[i64], bar: usize| -> i64 {
        let rows = cast.members().filter(|member| member.is_in(bar)).filter_map(|member| stage.row(member.part, bar));
        rows.filter_map(|row| counts.get(row)).filter(|&&count| count != NOTHING).sum()
    };
    let holds = |bar: usize| side.surely(sum(least, bar), sum(most, bar), number);
    Ok((0..stage.bars).map(|bar| !cast.is_empty() && holds(bar)).collect())
}
