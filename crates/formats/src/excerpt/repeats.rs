//! Repeats, endings and jumps of an excerpt: kept where the excerpt holds the whole of them. Pages that go on where others ended keep all.

use ripieno_score::{Bar, Direction, DirectionKind, Jump, Score};

use super::{Window, numbered};
use crate::musicxml::jump_in_words;

/// Jumps the excerpt does without; the words that print them go with them.
pub(super) struct Dropped(Vec<Jump>);

impl Dropped {
    pub(super) const fn none() -> Self {
        Self(Vec::new())
    }

    /// Whether the direction prints one of them.
    pub(super) fn says(&self, direction: &Direction) -> bool {
        let DirectionKind::Words(text) = &direction.kind else { return false };
        jump_in_words(text).is_some_and(|said| self.0.iter().any(|jump| same_kind(jump, &said)))
    }
}

fn same_kind(a: &Jump, b: &Jump) -> bool {
    std::mem::discriminant(a) == std::mem::discriminant(b)
}

/// The bars of the excerpt, and the jumps left out.
pub(super) fn bars(score: &Score, window: Window) -> (Vec<Bar>, Dropped) {
    let (first, last) = (window.first.at(), window.last.at());
    let mut bars = within(score, window);
    let sections = sections(&score.bars);
    for (index, bar) in (first..=last).zip(&mut bars) {
        let whole = sections[index].is_some_and(|(start, end)| first <= start && end <= last);
        if !whole {
            bar.repeat_start = false;
            bar.repeat_end = None;
            bar.ending_start.clear();
            bar.ending_stop = false;
        }
    }
    let dropped = drop_jumps(&mut bars, first == 0);
    (bars, dropped)
}

/// The bars with all signs of the whole. An ending that goes on over an edge is begun or stopped there, so that none is left hanging.
pub(super) fn bars_of_pages(score: &Score, window: Window) -> Vec<Bar> {
    let mut bars = within(score, window);
    if let Some(begun) = window.first.at().checked_sub(1).and_then(|before| ending_over(&score.bars, before)) {
        bars[0].ending_start.clone_from(&score.bars[begun].ending_start);
    }
    if let Some(last) = bars.last_mut() {
        last.ending_stop |= ending_over(&score.bars, window.last.at()).is_some();
    }
    bars
}

/// Where the ending begins that goes on over the end of a bar; `None` where none does, or it is never stopped.
fn ending_over(bars: &[Bar], bar: usize) -> Option<usize> {
    let begun = (0..=bar).rev().find(|&at| bars[at].ending_stop || !bars[at].ending_start.is_empty())?;
    let next = bars[bar + 1..].iter().find(|next| next.ending_stop || !next.ending_start.is_empty())?;
    (!bars[begun].ending_stop && next.ending_start.is_empty()).then_some(begun)
}

/// The window's bars, the first with the metre in force.
fn within(score: &Score, window: Window) -> Vec<Bar> {
    let (first, last) = (window.first.at(), window.last.at());
    let mut bars: Vec<Bar> = (first..=last).map(|index| numbered(&score.bars[index], index)).collect();
    if bars[0].metre.is_none() {
        bars[0].metre = score.bars[..first].iter().rev().find_map(|bar| bar.metre.clone());
    }
    bars
}

/// For each bar the repeated section it belongs to, from its first bar to the last bar of its last ending; `None` outside any.
fn sections(bars: &[Bar]) -> Vec<Option<(usize, usize)>> {
    let mut of_bar = vec![None; bars.len()];
    let mut start = 0;
    let mut i = 0;
    while i < bars.len() {
        if bars[i].repeat_start {
            start = i;
        }
        if bars[i].repeat_end.is_none() && !bars[i].ending_stop {
            i += 1;
            continue;
        }
        // The endings that follow belong to the same section.
        let mut end = i;
        while bars.get(end + 1).is_some_and(|next| !next.ending_start.is_empty() && !next.repeat_start) {
            let stops = (end + 1..bars.len()).find(|&at| {
                bars[at].ending_stop
                    || bars[at].repeat_end.is_some()
                    || bars.get(at + 1).is_none_or(|next| next.repeat_start || !next.ending_start.is_empty())
            });
            end = stops.unwrap_or(end + 1);
        }
        of_bar[start..=end].fill(Some((start, end)));
        start = end + 1;
        i = end + 1;
    }
    of_bar
}

/// Keeps a jump only where what it leads to is there too.
fn drop_jumps(bars: &mut [Bar], from_beginning: bool) -> Dropped {
    let all: Vec<Jump> = bars.iter().flat_map(|bar| bar.jumps.iter().cloned()).collect();
    let has_segno = |label: &str| all.iter().any(|jump| matches!(jump, Jump::Segno(other) if **other == *label));
    let has_coda = |label: &str| all.iter().any(|jump| matches!(jump, Jump::Coda(other) if **other == *label));
    let goes_back = all.iter().any(|jump| match jump {
        Jump::DaCapo => from_beginning,
        Jump::DalSegno(label) => has_segno(label),
        _ => false,
    });
    let stays = |jump: &Jump| match jump {
        Jump::DaCapo => from_beginning,
        Jump::DalSegno(label) => has_segno(label),
        Jump::ToCoda(label) => goes_back && has_coda(label),
        Jump::Fine | Jump::Coda(_) | Jump::Segno(_) => goes_back,
    };
    for bar in bars {
        bar.jumps.retain(|jump| stays(jump));
    }
    Dropped(all.iter().filter(|jump| !stays(jump)).cloned().collect())
}

#[cfg(test)]
mod tests {
    use ripieno_score::{BarIndex, Crotchets};

    use super::*;

    fn score(signs: &[&str]) -> Score {
        let mut score = Score::default();
        for (number, text) in (1..).zip(signs) {
            let mut bar = Bar::new(number.to_string(), Crotchets::ZERO, Crotchets::ONE);
            for word in text.split_whitespace() {
                match word {
                    "|:" => bar.repeat_start = true,
                    ":|" => bar.repeat_end = Some(2),
                    "]" => bar.ending_stop = true,
                    "1" => bar.ending_start.push(1),
                    "2" => bar.ending_start.push(2),
                    "segno" => bar.jumps.push(Jump::Segno("".into())),
                    "ds" => bar.jumps.push(Jump::DalSegno("".into())),
                    "dc" => bar.jumps.push(Jump::DaCapo),
                    "fine" => bar.jumps.push(Jump::Fine),
                    _ => {}
                }
            }
            score.bars.push(bar);
        }
        score
    }

    /// The signs left in bars `first` to `last` (from 1).
    fn left(signs: &[&str], first: u32, last: u32) -> String {
        let score = score(signs);
        let window = Window::new(&score, BarIndex(first - 1), BarIndex(last - 1)).unwrap();
        told(&bars(&score, window).0)
    }

    fn told(bars: &[Bar]) -> String {
        let sign = |bar: &Bar| {
            let mut text = bar.number.to_string();
            text += if bar.repeat_start { "|:" } else { "" };
            bar.ending_start.iter().for_each(|number| text += &format!("({number})"));
            bar.jumps.iter().for_each(|jump| text += &format!("{jump:?}").chars().next().unwrap().to_string());
            text += if bar.repeat_end.is_some() { ":|" } else { "" };
            text += if bar.ending_stop { "]" } else { "" };
            text
        };
        bars.iter().map(sign).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_repeat_stays_where_it_is_whole() {
        let signs = ["-", "|:", ":|", "-", ":|"];
        assert_eq!(left(&signs, 1, 4), "1 2|: 3:| 4");
        assert_eq!(left(&signs, 2, 3), "2|: 3:|");
        assert_eq!(left(&signs, 3, 4), "3 4");
        assert_eq!(left(&signs, 1, 2), "1 2");
        // What follows a repeat is repeated from there.
        assert_eq!(left(&signs, 4, 5), "4 5:|");
        assert_eq!(left(&signs, 5, 5), "5");
    }

    #[test]
    fn endings_stay_together_or_go_together() {
        let signs = ["|:", "-", "1 ] :|", "2", "]", "-"];
        assert_eq!(left(&signs, 1, 6), "1|: 2 3(1):|] 4(2) 5] 6");
        assert_eq!(left(&signs, 1, 3), "1 2 3");
        assert_eq!(left(&signs, 2, 6), "2 3 4 5 6");
        assert_eq!(left(&signs, 4, 6), "4 5 6");
    }

    #[test]
    fn jumps_need_their_aim() {
        let signs = ["-", "segno", "fine", "ds", "dc"];
        assert_eq!(left(&signs, 2, 4), "2S 3F 4D");
        assert_eq!(left(&signs, 3, 5), "3 4 5");
        assert_eq!(left(&signs, 1, 5), "1 2S 3F 4D 5D");
    }
    #[test]
    fn pages_keep_the_signs_of_the_whole() {
        let signs = ["segno", "|:", "1", "fine ] :|", "2", "-", "] ds", "1"];
        let pages = |first: u32, last: u32| {
            let score = score(&signs);
            told(&bars_of_pages(&score, Window::new(&score, BarIndex(first - 1), BarIndex(last - 1)).unwrap()))
        };
        assert_eq!(pages(1, 8), "1S 2|: 3(1) 4F:|] 5(2) 6 7D] 8(1)");
        // Cut within endings: each piece of one is whole, and the rest is as it was.
        assert_eq!(pages(2, 3), "2|: 3(1)]");
        assert_eq!(pages(4, 5), "4(1)F:|] 5(2)]");
        assert_eq!(pages(6, 8), "6(2) 7D] 8(1)");
        assert_eq!(pages(8, 8), "8(1)");
    }
}
