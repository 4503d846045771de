//! What reaches the ear, and in what way it is played. Records of older versions lack these tables; nothing holds in them until the score is taken in again.

use ripieno_study::acoustics::{EvenGrade, Grade};

use crate::language::{Quantity, Subject, Who};
use crate::record::{Damaged, Texts};

use super::holds::of_parts_in_bars;
use super::spans;
use super::stage::Stage;

/// From here on somebody masks the melody: 1 dB, kept in tenths.
const MASKS: i64 = 10;

/// Whether the melody is heard in one of these ways, and masked by these: together they weigh 1 dB or more.
pub(super) fn melody(stage: &Stage<'_>, grades: &[Grade], by: Option<&Who>) -> Result<Vec<bool>, Damaged> {
    let names: Vec<String> = grades.iter().map(ToString::to_string).collect();
    let mut holds = graded(stage, "grade", &names)?;
    let Some((by, table)) = by.zip(stage.newer_table("maskers")) else { return Ok(holds) };
    let by = stage.cast(by);
    let mut weight = vec![0i64; stage.bars];
    let places = table.numbers("bar")?.iter().zip(table.numbers("part_index")?).zip(table.numbers("gain")?);
    for ((&bar, &part), &gain) in places {
        if let Some(weight) = usize::try_from(bar).ok().and_then(|bar| weight.get_mut(bar)).filter(|_| by.has_row(part, bar)) {
            *weight = weight.saturating_add(gain);
        }
    }
    holds.iter_mut().zip(weight).for_each(|(holds, weight)| *holds &= weight >= MASKS);
    Ok(holds)
}

/// Whether the full chord of the bar rings like this.
pub(super) fn chord(stage: &Stage<'_>, grade: EvenGrade) -> Result<Vec<bool>, Damaged> {
    graded(stage, "chord_grade", &[grade.to_string()])
}

fn graded(stage: &Stage<'_>, column: &str, names: &[String]) -> Result<Vec<bool>, Damaged> {
    let mut holds = vec![false; stage.bars];
    let Some(table) = stage.newer_table("balance") else { return Ok(holds) };
    let told: &Texts = table.texts(column)?;
    for (row, &bar) in table.numbers("bar")?.iter().enumerate() {
        if told.get(row).is_some_and(|told| names.iter().any(|name| name == told)) {
            holds[stage.between(bar, bar)].fill(true);
        }
    }
    Ok(holds)
}

/// Whether they play in this way.
pub(super) fn way(stage: &Stage<'_>, subject: &Subject, way: &str) -> Result<Vec<bool>, Damaged> {
    let mut held = vec![vec![false; stage.bars]; stage.part_count()];
    if let Some(table) = stage.newer_table("techniques") {
        let told = table.texts("technique")?;
        for ((row, &part), (first, last)) in table.numbers("part_index")?.iter().enumerate().zip(spans(table)?) {
            if told.get(row) == Some(way) {
                let part = usize::try_from(part).map_err(|_| Damaged)?;
                held.get_mut(part).ok_or(Damaged)?[stage.between(first, last)].fill(true);
            }
        }
    }
    Ok(of_parts_in_bars(stage, subject, Quantity::Any, |part, bar| held[part][bar]))
}
