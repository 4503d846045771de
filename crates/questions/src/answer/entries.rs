//! Entries, exits and solos.

use crate::language::{Quantity, Subject, Who};
use crate::record::Damaged;

use super::cast::Cast;
use super::spans;
use super::stage::Stage;

/// Bars in which these, taken together, sound after at least `rest` bars in which they do not; the beginning of the score counts as one such bar.
fn begins(stage: &Stage<'_>, cast: &Cast, rest: i64) -> Vec<bool> {
    let mut rested = 1;
    let begins = |bar: usize| {
        let here = stage.sounds(cast, bar);
        let begins = here && rested >= rest;
        rested = if here { 0 } else { rested + 1 };
        begins
    };
    (0..stage.bars).map(begins).collect()
}

/// Whether they begin to sound: as a body where nothing or "any" is said, each of them for "all".
pub(super) fn enters(stage: &Stage<'_>, subject: &Subject, rest: i64) -> Vec<bool> {
    by_quantity(stage, subject, |cast| begins(stage, cast, rest))
}

/// Whether they have just fallen silent.
pub(super) fn leaves(stage: &Stage<'_>, subject: &Subject) -> Vec<bool> {
    by_quantity(stage, subject, |cast| {
        (0..stage.bars).map(|bar| bar > 0 && stage.sounds(cast, bar - 1) && !stage.sounds(cast, bar)).collect()
    })
}

/// Whether they sound for the first time.
pub(super) fn first_enters(stage: &Stage<'_>, subject: &Subject) -> Vec<bool> {
    by_quantity(stage, subject, |cast| {
        let first = (0..stage.bars).find(|&bar| stage.sounds(cast, bar));
        (0..stage.bars).map(|bar| Some(bar) == first).collect()
    })
}

fn by_quantity(stage: &Stage<'_>, subject: &Subject, of: impl Fn(&Cast) -> Vec<bool>) -> Vec<bool> {
    let cast = stage.cast_of(&subject.who);
    if cast.is_empty() {
        return vec![false; stage.bars];
    }
    let both = |one: Vec<bool>, other: Vec<bool>| one.into_iter().zip(other).map(|(one, other)| one && other).collect();
    match subject.quantity {
        Quantity::Plain | Quantity::Any => of(&cast),
        Quantity::No => of(&cast).into_iter().map(|holds| !holds).collect(),
        Quantity::Only => {
            let others = of(&stage.others(&cast)).into_iter().map(|holds| !holds).collect();
            both(of(&cast), others)
        }
        Quantity::All => {
            let units = subject.who.iter().flat_map(|who| stage.units(who));
            units.map(|unit| of(&unit)).reduce(both).unwrap_or_else(|| vec![false; stage.bars])
        }
    }
}

/// Whether one player of theirs carries the main melody and nobody doubles it.
pub(super) fn solo(stage: &Stage<'_>, who: &Who) -> Result<Vec<bool>, Damaged> {
    let table = stage.record.table("melody")?;
    let (who, with) = (stage.cast(who), table.texts("with_parts")?);
    let most = stage.record.table("roles")?.numbers("players_most")?;
    let mut holds = vec![false; stage.bars];
    for ((row, &part), (first, last)) in table.numbers("part_index")?.iter().enumerate().zip(spans(table)?) {
        let part = usize::try_from(part).ok().filter(|part| *part < stage.part_count()).ok_or(Damaged)?;
        if with.get(row).is_some() {
            continue;
        }
        for bar in stage.between(first, last) {
            let most = stage.row(part, bar).and_then(|row| most.get(row));
            holds[bar] |= who.has(part, bar) && most.is_some_and(|&most| most == 1);
        }
    }
    Ok(holds)
}
