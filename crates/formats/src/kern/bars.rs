//! Bars as barlines mark them out, their numbers and lengths.

use ripieno_score::{Bar, BarIndex, Crotchets};

use super::barline::Barline;
use super::spine::Moment;

/// Stands for `==` until it is known whether the piece ends there.
const DOUBLE: &str = "double";

/// The bars read so far; the last one is open. [`Bar::start`] holds absolute time while reading.
#[derive(Debug)]
pub(super) struct Bars {
    list: Vec<Bar>,
    /// Whether a section of the file begins with the bar.
    section_starts: Vec<bool>,
    /// The last bar the file has given a number.
    numbered: Option<usize>,
}

impl Bars {
    pub(super) fn new() -> Self {
        Self { list: vec![Bar::new("", Crotchets::ZERO, Crotchets::ZERO)], section_starts: vec![true], numbered: None }
    }

    pub(super) const fn len(&self) -> usize {
        self.list.len()
    }

    fn index(&self) -> usize {
        self.list.len().saturating_sub(1)
    }

    /// When the open bar began.
    pub(super) fn start(&self) -> Crotchets {
        self.list.last().map_or(Crotchets::ZERO, |bar| bar.start)
    }

    /// A position in the open bar.
    pub(super) fn moment(&self, time: Crotchets) -> Moment {
        Moment { bar: BarIndex(u32::try_from(self.index()).unwrap_or(u32::MAX)), at: time - self.start() }
    }

    /// The number of the open bar as far as the file has said it.
    pub(super) fn label(&self) -> String {
        match self.numbered.and_then(|numbered| Some((self.index() - numbered, self.list.get(numbered)?))) {
            Some((0, bar)) => bar.number.to_string(),
            Some((since, bar)) => format!("{} + {since}", bar.number),
            None => (self.index() + 1).to_string(),
        }
    }

    /// A barline at `time`. One on the heels of another adds to it.
    pub(super) fn barline(&mut self, time: Crotchets, barline: &Barline) {
        let fresh = time > self.start();
        let index = self.index();
        let before = if fresh { Some(index) } else { index.checked_sub(1) };
        if let Some(bar) = before.and_then(|index| self.list.get_mut(index)) {
            if barline.repeat_end {
                bar.repeat_end = Some(2);
            }
            let style = barline.style.or(barline.double.then_some(DOUBLE));
            if style.is_some() {
                bar.barline = style.map(Into::into);
            }
        }
        if fresh {
            self.list.push(Bar::new("", time, Crotchets::ZERO));
            self.section_starts.push(false);
        }
        if let Some(bar) = self.list.last_mut() {
            bar.repeat_start |= barline.repeat_start;
            if !barline.number.is_empty() {
                bar.number = barline.number.clone();
                self.numbered = Some(index + usize::from(fresh));
            }
        }
    }

    /// A section of the file begins at `time`.
    pub(super) fn section(&mut self, time: Crotchets) {
        if time > self.start() {
            self.list.push(Bar::new("", time, Crotchets::ZERO));
            self.section_starts.push(true);
        } else if let Some(start) = self.section_starts.last_mut() {
            *start = true;
        }
    }

    /// The finished bars of a score that ends at `end`, and for each whether a section begins there. Numbers and metres are still to come.
    pub(super) fn finish(mut self, end: Crotchets) -> (Vec<Bar>, Vec<bool>) {
        while self.list.len() > 1 && self.start() >= end {
            self.list.pop();
            self.section_starts.pop();
        }
        let starts: Vec<Crotchets> = self.list.iter().skip(1).map(|bar| bar.start).chain([end]).collect();
        let last = self.list.len().saturating_sub(1);
        for (index, (bar, next)) in self.list.iter_mut().zip(starts).enumerate() {
            bar.length = next - bar.start;
            if bar.barline.as_deref() == Some(DOUBLE) {
                let ends = index == last || self.section_starts.get(index + 1).copied().unwrap_or(false);
                bar.barline = Some(if ends { "light-heavy" } else { "light-light" }.into());
            }
        }
        (self.list, self.section_starts)
    }
}

/// Fills in the numbers the file leaves out. Metres must be in place.
///
/// A bar without a number between bars 8 and 9 is the rest of bar 8, divided by a repeat sign; between 8 and 10 it is 9.
/// Before the first number stands a pickup, or bars counted back from it.
pub(super) fn number(bars: &mut [Bar], section_starts: &[bool]) {
    let mut full = None;
    let full_lengths: Vec<Option<Crotchets>> = bars
        .iter()
        .map(|bar| {
            if let Some(metre) = &bar.metre {
                full = metre.length();
            }
            full
        })
        .collect();
    let short = |index: usize, bar: &Bar| full_lengths.get(index).copied().flatten().is_some_and(|full| bar.length < full);
    let digits = |bar: &Bar| bar.number.trim_end_matches(|c: char| c.is_ascii_lowercase()).parse::<i64>().ok();
    let mut i = 0;
    while i < bars.len() {
        if !bars[i].number.is_empty() {
            i += 1;
            continue;
        }
        let first = i;
        let open = bars[first..].iter().take_while(|bar| bar.number.is_empty()).count();
        let last = first + open;
        let count = i64::try_from(open).unwrap_or(i64::MAX);
        let before = first.checked_sub(1).map(|index| &bars[index]).map(|bar| (bar.number.clone(), digits(bar).unwrap_or(0)));
        let next = bars.get(last).and_then(digits);
        let starts_section = section_starts.get(first).copied().unwrap_or(false);
        match (before, next) {
            // At the beginning of the piece, or of a section whose numbers begin anew.
            (before, Some(next)) if starts_section && before.as_ref().is_none_or(|(_, number)| next <= *number) => {
                for (offset, bar) in (0..).zip(&mut bars[first..last]) {
                    let number = next - count + offset;
                    bar.uncounted = number <= 0;
                    bar.number = number.max(0).to_string().into();
                }
            }
            (Some((text, number)), next) if next.is_none_or(|next| next - number > count) => {
                // Counted on, except for what a short bar needs to be whole.
                let mut number = number;
                let mut text = text;
                for index in first..last {
                    let whole = index.checked_sub(1).is_some_and(|before| {
                        short(before, &bars[before]) && full_lengths[index] == Some(bars[before].length + bars[index].length)
                    });
                    if whole && next.is_none() {
                        bars[index].uncounted = true;
                    } else {
                        number += 1;
                        text = number.to_string().into();
                    }
                    bars[index].number = text.clone();
                }
            }
            (Some((text, _)), _) => {
                for bar in &mut bars[first..last] {
                    bar.number = text.clone();
                    bar.uncounted = true;
                }
            }
            (None, _) => {
                // No numbers at all: a short first bar is a pickup.
                let pickup = short(first, &bars[first]) && open > 1;
                for (number, bar) in (i64::from(!pickup)..).zip(&mut bars[first..last]) {
                    bar.number = number.to_string().into();
                }
                bars[first].uncounted = pickup;
            }
        }
        i = last;
    }
    for bar in bars {
        bar.uncounted |= &*bar.number == "0";
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_score::Metre;

    /// Bars as `number:length`, the number left out where the file has none; in 4/4.
    fn numbered(bars: &str) -> String {
        let mut list: Vec<Bar> = bars
            .split(' ')
            .map(|text| {
                let (number, length) = text.split_once(':').unwrap();
                Bar::new(number, Crotchets::ZERO, length.parse().unwrap())
            })
            .collect();
        list[0].metre = Some(Metre::simple(4, 4));
        let mut starts = vec![false; list.len()];
        starts[0] = true;
        number(&mut list, &starts);
        let shown: Vec<String> =
            list.iter().map(|bar| format!("{}{}", bar.number, if bar.uncounted { "-" } else { "" })).collect();
        shown.join(" ")
    }

    #[test]
    fn pickups() {
        assert_eq!(numbered(":1 1:4 2:4"), "0- 1 2");
        assert_eq!(numbered(":4 2:4 3:4"), "1 2 3");
        assert_eq!(numbered("1:4 2:4"), "1 2");
        assert_eq!(numbered("0:1 1:4"), "0- 1");
    }

    #[test]
    fn divided_bars() {
        assert_eq!(numbered("8:3 :1 9:4"), "8 8- 9");
        assert_eq!(numbered("8:4 :4 10:4"), "8 9 10");
        assert_eq!(numbered("12a:4 12b:4 13:4"), "12a 12b 13");
    }

    #[test]
    fn no_numbers() {
        assert_eq!(numbered(":4 :4 :4"), "1 2 3");
        assert_eq!(numbered(":1 :4 :3"), "0- 1 2");
        assert_eq!(numbered("1:4 :3 :1 :4"), "1 2 2- 3");
    }
}
