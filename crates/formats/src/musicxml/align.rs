//! Which bar of a part is which bar of the score, when a part lacks some.

use super::context::{At, Context};
use super::part_reader::{BarRead, PartReader};

/// Bars looked ahead for the next number that fits.
const LOOK_AHEAD: usize = 64;

/// Makes bar `n` of every part the same bar of the score. Bars of the same index belong together, unless a part has fewer bars than
/// the longest and its numbers show where they are missing.
pub(super) fn align<'x>(parts: &mut [PartReader<'x>], context: &mut Context<'x, '_>) {
    let count = parts.iter().map(|part| part.bars.len()).max().unwrap_or(0);
    let Some(reference) = parts.iter().find(|part| part.bars.len() == count) else { return };
    let numbers: Vec<&'x str> = reference.bars.iter().map(|bar| bar.number).collect();
    for part in parts.iter_mut().filter(|part| !part.bars.is_empty()) {
        if part.bars.len() < count {
            let places = places(&part.bars, &numbers);
            report_missing(part, &places, &numbers, context);
            if places.iter().zip(0u32..).any(|(&place, index)| place != index) {
                move_bars(part, &places, count, &numbers);
            }
        }
        report_numbers(part, &numbers, context);
    }
}

/// For each bar of a part, its place in the score.
fn places(bars: &[BarRead<'_>], numbers: &[&str]) -> Vec<u32> {
    let mut next = 0usize;
    let mut places = Vec::with_capacity(bars.len());
    for (index, bar) in bars.iter().enumerate() {
        // The bars still to come must find room.
        let room = numbers.len().saturating_sub(bars.len() - index);
        let furthest = room.min(next + LOOK_AHEAD);
        let found = (next..=furthest).find(|&place| numbers.get(place) == Some(&bar.number));
        let place = found.unwrap_or(next);
        places.push(u32::try_from(place).unwrap_or(u32::MAX));
        next = place + 1;
    }
    places
}

fn report_missing(part: &PartReader<'_>, places: &[u32], numbers: &[&str], context: &mut Context<'_, '_>) {
    let missing = numbers.len() - places.len();
    let first = (0u32..).zip(numbers).find(|(place, _)| places.binary_search(place).is_err());
    let at = At { part: part.label(), bar: first.map_or("", |(_, number)| number) };
    let what = format!("the part lacks {missing} of the score's {} bars, the first of them here", numbers.len());
    context.warn(at, "bars-missing", what, "They were read as empty");
}

fn move_bars<'x>(part: &mut PartReader<'x>, places: &[u32], count: usize, numbers: &[&'x str]) {
    let moved = |bar: u32| places.get(bar as usize).copied().unwrap_or(u32::MAX);
    part.part.notes.iter_mut().for_each(|note| note.bar.0 = moved(note.bar.0));
    part.part.rests.iter_mut().for_each(|rest| rest.bar.0 = moved(rest.bar.0));
    part.part.directions.iter_mut().for_each(|direction| direction.bar.0 = moved(direction.bar.0));
    part.part.changes.iter_mut().for_each(|change| change.bar.0 = moved(change.bar.0));
    part.facts.iter_mut().for_each(|(bar, _)| *bar = moved(*bar));
    part.metres.iter_mut().for_each(|time| time.bar = moved(time.bar));
    part.similes.move_bars(moved);
    let mut old = std::mem::take(&mut part.bars).into_iter();
    let mut place = places.iter().copied().peekable();
    for (index, number) in (0u32..).zip(numbers).take(count) {
        let own = place.next_if_eq(&index).and_then(|_| old.next());
        part.bars.push(own.unwrap_or_else(|| BarRead::missing(number)));
    }
}

fn report_numbers(part: &PartReader<'_>, numbers: &[&str], context: &mut Context<'_, '_>) {
    let mut other = part.bars.iter().zip(numbers).filter(|(bar, number)| !bar.missing && bar.number != **number);
    if let Some((bar, number)) = other.next() {
        let more = other.count();
        let what = format!("the bar has the number {:?} where the topmost part has {number:?}{}", bar.number, and_more(more));
        context.warn(At { part: part.label(), bar: number }, "bar-numbers-differ", what, "Bars were matched by their order");
    }
}

fn and_more(count: usize) -> String {
    match count {
        0 => String::new(),
        1 => ", and so in a later bar".to_owned(),
        _ => format!(", and so in {count} later bars"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places_of(own: &[&'static str], score: &[&str]) -> Vec<u32> {
        let bars: Vec<BarRead<'_>> = own.iter().map(|number| BarRead { missing: false, ..BarRead::missing(number) }).collect();
        places(&bars, score)
    }

    #[test]
    fn numbers_show_which_bars_are_missing() {
        assert_eq!(places_of(&["1", "2", "5"], &["1", "2", "3", "4", "5"]), [0, 1, 4]);
        assert_eq!(places_of(&["1", "2"], &["0", "1", "2"]), [1, 2]);
    }

    #[test]
    fn useless_numbers_leave_the_order() {
        assert_eq!(places_of(&["x", "y"], &["1", "2", "3"]), [0, 1]);
        assert_eq!(places_of(&["3", "3"], &["1", "2", "3"]), [0, 2]);
    }
}
