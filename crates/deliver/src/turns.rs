//! Which systems go on which page, so that pages are turned in rests.

use std::ops::Range;

/// What the division into pages looks at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    /// Height with the least space around it, in any unit.
    pub height: f64,
    /// Staves.
    pub staves: usize,
    /// Seconds its player rests around its end.
    pub rest_after: f64,
}

/// Room on a page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Room {
    /// Height of the first page, below its title.
    pub first: f64,
    /// Height of any other.
    pub other: f64,
    /// Most staves.
    pub most_staves: usize,
}

/// Seconds of rest in which a page is turned without haste. Common practice asks for a rest without a number; two seconds for the hand, one
/// for the eye on either side.
pub(crate) const EASY: f64 = 4.0;

/// Less of the last page than this should not be all there is on it.
const LEAST_OF_LAST: f64 = 1.0 / 3.0;

/// Divides lines among pages. A part's pages are turned after each odd one (the first lies on the right); `turns` tells whether
/// that matters. Best of all divisions: hurried turns cost most, then pages left empty.
pub(crate) fn divide(lines: &[Line], room: Room, turns: bool) -> Vec<Range<usize>> {
    let count = lines.len();
    // best[n][odd]: least cost of placing lines n.. when the next page is odd (or not), and where that page ends.
    let mut best = vec![[(f64::INFINITY, count); 2]; count + 1];
    best[count] = [(0.0, count); 2];
    for first in (0..count).rev() {
        for parity in 0..2 {
            let height = if first == 0 { room.first } else { room.other };
            let (mut used, mut staves) = (0.0, 0);
            for end in first + 1..=count {
                let line = lines[end - 1];
                used += line.height;
                staves += line.staves;
                if (used > height || staves > room.most_staves) && end > first + 1 {
                    break;
                }
                let is_last = end == count;
                let empty = ((height - used) / height).clamp(0.0, 1.0);
                let mut cost = if !is_last {
                    empty.powi(2)
                } else if first > 0 {
                    // A line or two alone on the last page look forgotten.
                    0.5 * ((empty - 1.0 + LEAST_OF_LAST) / LEAST_OF_LAST).max(0.0).powi(2)
                } else {
                    0.0
                };
                // A page costs paper.
                cost += 0.1;
                if turns && parity == 1 && !is_last {
                    // A rest too short to turn in is worth no empty space.
                    cost += match (EASY - line.rest_after) / EASY {
                        hurry if hurry <= 0.0 => 0.0,
                        hurry if hurry <= 0.5 => 0.6 + 2.0 * hurry,
                        _ => 3.0,
                    };
                }
                let total = cost + best[end][1 - parity].0;
                if total < best[first][parity].0 {
                    best[first][parity] = (total, end);
                }
            }
        }
    }
    let (mut pages, mut at, mut parity) = (Vec::new(), 0, 1);
    while at < count {
        let end = best[at][parity].1.max(at + 1);
        pages.push(at..end);
        (at, parity) = (end, 1 - parity);
    }
    pages
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROOM: Room = Room { first: 30.0, other: 40.0, most_staves: 10 };

    fn lines(rests: &[f64]) -> Vec<Line> {
        rests.iter().map(|&rest_after| Line { height: 10.0, staves: 1, rest_after }).collect()
    }

    #[test]
    fn pages_are_full_where_nothing_else_matters() {
        assert_eq!(divide(&lines(&[0.0; 9]), ROOM, false), [0..3, 3..7, 7..9]);
        assert_eq!(divide(&lines(&[]), ROOM, false), []);
    }

    #[test]
    fn a_page_is_turned_in_a_rest() {
        // A rest after the second line: the first page, a right one, ends there.
        assert_eq!(divide(&lines(&[0.0, 6.0, 0.0, 0.0, 0.0]), ROOM, true), [0..2, 2..5]);
        // Between an even and an odd page nothing is turned.
        assert_eq!(divide(&lines(&[0.0, 0.0, 6.0, 0.0, 6.0, 0.0, 0.0, 0.0]), ROOM, true), [0..3, 3..7, 7..8]);
    }

    #[test]
    fn the_last_page_is_not_left_with_a_line() {
        // Harp-like: a page ends in the only rest, five lines go on a page, six are left for two.
        let room = Room { first: 40.0, other: 50.0, most_staves: 10 };
        assert_eq!(divide(&lines(&[0.0, 9.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]), room, true), [0..2, 2..6, 6..8]);
    }

    #[test]
    fn what_is_higher_than_a_page_has_one_of_its_own() {
        let tall = [Line { height: 99.0, staves: 30, rest_after: 0.0 }; 3];
        assert_eq!(divide(&tall, ROOM, false), [0..1, 1..2, 2..3]);
    }

    /// Against all divisions of short pieces: none is cheaper, counted anew.
    #[test]
    fn no_division_has_a_better_turn_on_as_few_pages() {
        let rests = [0.0, 5.0, 0.0, 1.0, 0.0, 0.0, 4.0, 0.0, 0.0, 2.0];
        let pages = divide(&lines(&rests), ROOM, true);
        let hurried = |pages: &[Range<usize>]| {
            pages.iter().step_by(2).filter(|page| page.end < rests.len() && rests[page.end - 1] < EASY).count()
        };
        let mut fewest = usize::MAX;
        for bits in 0u32..1 << (rests.len() - 1) {
            let mut all: Vec<Range<usize>> = Vec::new();
            for line in 0..rests.len() {
                match all.last_mut() {
                    Some(page) if bits & (1 << (line - 1)) == 0 => page.end = line + 1,
                    _ => all.push(line..line + 1),
                }
            }
            let fits = all.iter().enumerate().all(|(n, page)| page.len() <= if n == 0 { 3 } else { 4 });
            if fits && all.len() <= pages.len() {
                fewest = fewest.min(hurried(&all));
            }
        }
        assert_eq!(hurried(&pages), fewest);
    }
}
