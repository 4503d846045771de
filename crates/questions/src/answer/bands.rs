//! How the bands of two groups lie, moment by moment.
//!
//! As the measure "separation" has it: the interval from the lowest sounding note of the upper group to the highest of the
//! lower, upper being the group whose middle (half way between lowest and highest) lies higher; parts of percussion left out.

use std::ops::Range;

use ripieno_score::Crotchets;

use crate::language::{Lie, Who};
use crate::record::{Damaged, NOTHING};

use super::cast::Cast;
use super::stage::Stage;

/// A note begins (+1) or ends (-1) in the first or second group.
struct Event {
    at: Crotchets,
    change: i32,
    group: usize,
    key: usize,
}

/// Bars with a moment at which both sound and lie so.
pub(super) fn lie(stage: &Stage<'_>, a: &Who, b: &Who, lie: Lie) -> Result<Vec<bool>, Damaged> {
    let mut holds = vec![false; stage.bars];
    each_moment(stage, a, b, |bars, first, second| {
        if lies(first, second, lie) {
            holds[bars].fill(true);
        }
    })?;
    Ok(holds)
}

/// By bar the widest distance between two bands and the narrowest, in semitones, an overlap being negative; [`NOTHING`] where they do not sound together.
pub(super) fn between(stage: &Stage<'_>, a: &Who, b: &Who) -> Result<[Vec<i64>; 2], Damaged> {
    let mut found = [vec![NOTHING; stage.bars], vec![NOTHING; stage.bars]];
    each_moment(stage, a, b, |bars, first, second| {
        let size = distance(first, second);
        for bar in bars {
            for (known, further) in found.iter_mut().zip([i64::max as fn(i64, i64) -> i64, i64::min]) {
                known[bar] = if known[bar] == NOTHING { size } else { further(known[bar], size) };
            }
        }
    })?;
    Ok(found)
}

/// Lowest and highest key.
type Band = (i64, i64);

/// Visits every stretch in which both sound and nothing changes: the bars it touches, and the bands.
fn each_moment(stage: &Stage<'_>, a: &Who, b: &Who, mut visit: impl FnMut(Range<usize>, Band, Band)) -> Result<(), Damaged> {
    let events = events(stage, &[stage.cast(a), stage.cast(b)])?;
    let bars = stage.record.table("bars")?;
    let starts = bars.times("onset")?;
    let mut counts = [[0i32; 128]; 2];
    let mut bar = 0;
    for (index, event) in events.iter().enumerate() {
        counts[event.group][event.key] += event.change;
        let Some(next) = events.get(index + 1).filter(|next| next.at > event.at) else { continue };
        let (Some(first), Some(second)) = (band(&counts[0]), band(&counts[1])) else { continue };
        while starts.get(bar + 1).is_some_and(|&start| start <= event.at) {
            bar += 1;
        }
        // From here to the next event, through every bar begun meanwhile.
        let end = bar + starts[bar..].iter().take_while(|start| **start < next.at).count();
        visit(bar..end, first, second);
    }
    Ok(())
}

fn events(stage: &Stage<'_>, groups: &[Cast; 2]) -> Result<Vec<Event>, Damaged> {
    let notes = stage.record.table("notes")?;
    let (parts, keys, bars) = (notes.numbers("part_index")?, notes.numbers("key")?, notes.numbers("bar")?);
    let (onsets, durations) = (notes.times("onset")?, notes.times("duration")?);
    let mut events = Vec::new();
    for ((((&part, &key), &bar), &onset), &duration) in parts.iter().zip(keys).zip(bars).zip(onsets).zip(durations) {
        let part = usize::try_from(part).ok().filter(|part| *part < stage.part_count()).ok_or(Damaged)?;
        if key == NOTHING || !duration.is_positive() || stage.is_percussion(part) {
            continue;
        }
        let key = usize::try_from(key).ok().filter(|key| *key < 128).ok_or(Damaged)?;
        let bar = usize::try_from(bar).map_err(|_| Damaged)?;
        for (group, _) in groups.iter().enumerate().filter(|(_, group)| group.has(part, bar)) {
            events.push(Event { at: onset, change: 1, group, key });
            events.push(Event { at: onset + duration, change: -1, group, key });
        }
    }
    events.sort_by_key(|event| event.at);
    Ok(events)
}

fn band(counts: &[i32; 128]) -> Option<Band> {
    let low = counts.iter().position(|&count| count > 0)?;
    let high = counts.iter().rposition(|&count| count > 0)?;
    Some((i64::try_from(low).ok()?, i64::try_from(high).ok()?))
}

/// From the lowest note of the upper to the highest of the lower.
const fn distance(a: Band, b: Band) -> i64 {
    if a.0 + a.1 >= b.0 + b.1 { a.0 - b.1 } else { b.0 - a.1 }
}

fn lies(a: Band, b: Band, lie: Lie) -> bool {
    let between = distance(a, b);
    match lie {
        Lie::Apart(least) => between >= least,
        Lie::Touching => (0..=2).contains(&between),
        Lie::Overlapping => between < 0,
        Lie::Above => a.0 > b.1,
        Lie::Below => a.1 < b.0,
    }
}
