//! Which of the bars in which a condition holds are wanted: the longest, the first, the loudest.

use ripieno_score::MidiKey;

use crate::language::{End, Wanted};
use crate::record::{Damaged, NOTHING};

use super::runs;
use super::stage::Stage;

/// First and last bars, and what is told of them.
type Runs = (Vec<(usize, usize)>, Option<String>);

/// Runs of bars, and what is told of them besides: the pitch, where one was asked for. Of equals all.
pub(super) fn wanted(wanted: &Wanted, holds: &[bool], stage: &Stage<'_>) -> Result<Runs, Damaged> {
    let runs = runs(holds);
    let bars = stage.record.table("bars")?;
    Ok((
        match wanted {
            Wanted::All => runs,
            Wanted::Place(End::Low) => runs.into_iter().take(1).collect(),
            Wanted::Place(End::High) => runs.into_iter().next_back().into_iter().collect(),
            Wanted::Bar(End::Low) => runs.into_iter().take(1).map(|(first, _)| (first, first)).collect(),
            Wanted::Bar(End::High) => runs.into_iter().next_back().map(|(_, last)| (last, last)).into_iter().collect(),
            Wanted::Length(end) => {
                let length = |(first, last): &(usize, usize)| last - first;
                let best = if *end == End::High { runs.iter().map(length).max() } else { runs.iter().map(length).min() };
                runs.into_iter().filter(|run| Some(length(run)) == best).collect()
            }
            Wanted::Level(end) => extreme(bars.numbers("level")?, holds, *end),
            Wanted::Parts(end) => {
                // An empty bar is no thin one.
                let parts = bars.numbers("parts_sounding")?;
                let sounding: Vec<bool> = holds.iter().zip(parts).map(|(holds, parts)| *holds && *parts > 0).collect();
                extreme(parts, &sounding, *end)
            }
            Wanted::Note(end, who) => {
                let own = stage.record.table("roles")?.numbers(if *end == End::High { "highest" } else { "lowest" })?;
                let cast = stage.cast(who);
                let key = |bar: usize| {
                    let rows = cast.members().filter(|member| member.is_in(bar)).filter_map(|member| stage.row(member.part, bar));
                    let keys = rows.filter_map(|row| own.get(row).copied()).filter(|&key| key != NOTHING);
                    (if *end == End::High { keys.max() } else { keys.min() }).unwrap_or(NOTHING)
                };
                let keys: Vec<i64> = (0..stage.bars).map(key).collect();
                let runs = extreme(&keys, holds, *end);
                let pitch = runs.first().and_then(|(first, _)| keys.get(*first)).and_then(|key| name(*key));
                return Ok((runs, pitch));
            }
        },
        None,
    ))
}

/// Of the bars in which something holds, those with the highest number, or the lowest.
fn extreme(numbers: &[i64], holds: &[bool], end: End) -> Vec<(usize, usize)> {
    let here = || numbers.iter().zip(holds).filter(|(number, holds)| **holds && **number != NOTHING).map(|(number, _)| *number);
    let best = if end == End::High { here().max() } else { here().min() };
    let best: Vec<bool> = numbers.iter().zip(holds).map(|(number, holds)| *holds && Some(*number) == best).collect();
    runs(&best)
}

/// "Bb5", by the usual spelling of the twelve notes.
fn name(key: i64) -> Option<String> {
    let key = MidiKey::try_from(i32::try_from(key).ok()?).ok()?;
    Some(key.pitch().to_string())
}
