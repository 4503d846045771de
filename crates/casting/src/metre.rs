//! How bars are divided, and the values that notes and rests are cut into so that the beats can be seen.
//!
//! Rules of engraving, as handbooks have them (Gould, *Behind Bars*, on note values, rests and tuplets; from memory): a rest covers a beat, or two that make
//! half of a bar in four, and is dotted only where the beat is; a note shows the middle of a bar in four and the beats of a compound bar, but may begin a bar, a half
//! or a beat with a dot and may be one syncopation across a beat; what divides a beat by three, five or seven is a tuplet of that beat or of its half.

use ripieno_score::{Bar, Crotchets, Metre, NoteValue, TupletRatio};

/// Most beats of a bar that are told apart; longer ones (damaged files) are not divided.
const MOST_BEATS: i64 = 128;

/// Nothing shorter is divided any further: a 256th.
const SHORTEST: i64 = 64;

/// A stretch of a bar that is divided: the bar into halves or beats, a beat into halves or, in compound metres, thirds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Span {
    /// From the barline.
    pub from: Crotchets,
    /// To, from the barline.
    pub to: Crotchets,
    /// A beat of three parts.
    thirds: bool,
    /// What it is made of, where that is beats; else it is a beat or a part of one.
    beats: Vec<Self>,
}

/// A stretch of a bar written as a tuplet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Tuplet {
    /// From the barline.
    pub from: Crotchets,
    /// To, from the barline.
    pub to: Crotchets,
    ratio: TupletRatio,
}

/// A note or rest of a bar, or what of it one value can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Piece {
    /// From the barline.
    pub at: Crotchets,
    pub duration: Crotchets,
    /// `None` where no value lasts as long.
    pub value: Option<NoteValue>,
    pub tuplet: Option<TupletRatio>,
}

/// The metre in force in each bar.
pub(crate) fn metres<'a>(bars: &'a [Bar]) -> Vec<Option<&'a Metre>> {
    let mut now = None;
    let in_force = |bar: &'a Bar| {
        now = bar.metre.as_ref().or(now);
        now
    };
    bars.iter().map(in_force).collect()
}

/// `count` times a unit.
fn times(unit: Crotchets, count: i64) -> Crotchets {
    unit * Crotchets::whole(count)
}

fn part_of(whole: Crotchets, parts: i64) -> Crotchets {
    Crotchets::new(1, parts).map_or(whole, |share| whole * share)
}

/// Beats of the same length, one after another; of four two and two.
fn beats(from: Crotchets, length: Crotchets, count: i64, thirds: bool) -> Vec<Span> {
    let all: Vec<Span> = (0..count)
        .map(|n| Span { from: from + times(length, n), to: from + times(length, n + 1), thirds, beats: Vec::new() })
        .collect();
    if count != 4 {
        return all;
    }
    all.chunks(2).map(|pair| Span { from: pair[0].from, to: pair[1].to, thirds: false, beats: pair.to_vec() }).collect()
}

/// The beats of `count` units.
fn group(from: Crotchets, count: u16, unit: u16) -> Vec<Span> {
    let length = Crotchets::new(4, i64::from(unit)).unwrap_or(Crotchets::ONE);
    let count = i64::from(count);
    match (unit, count) {
        (8.., _) if count % 3 == 0 => beats(from, times(length, 3), count / 3, true),
        (4, 6 | 9 | 12) => beats(from, times(length, 3), count / 3, true),
        (8.., _) if count % 2 == 0 => beats(from, times(length, 2), count / 2, false),
        // Five and seven that say no more: three and two, and two, two and three.
        (8.., 5) => [group(from, 3, unit), group(from + times(length, 3), 2, unit)].concat(),
        (8.., 7) => [group(from, 4, unit), group(from + times(length, 4), 3, unit)].concat(),
        _ => beats(from, length, count, false),
    }
}

impl Span {
    /// How a bar is divided in its metre; `upbeat`: where the bar is shorter, its beginning is left out.
    pub(crate) fn of(bar: &Bar, metre: Option<&Metre>, upbeat: bool) -> Self {
        let mut found: Vec<Self> = Vec::new();
        if let Some(Metre::Measured(terms)) = metre {
            for (groups, unit) in terms {
                for &count in groups {
                    let from = found.last().map_or(Crotchets::ZERO, |last| last.to);
                    if i64::from(count) <= MOST_BEATS {
                        found.extend(group(from, count, *unit));
                    }
                }
            }
        }
        let full = found.last().map_or(Crotchets::ZERO, |last| last.to);
        if upbeat && full > bar.length {
            let back = full - bar.length;
            found.iter_mut().for_each(|one| one.shift(back));
            found.retain(|one| one.to.is_positive());
        }
        // A bar that lasts longer than its metre, or has none, goes on in crotchets; one that lasts longer than any is not divided.
        let mut end = found.last().map_or(Crotchets::ZERO, |last| last.to);
        if bar.length - end > Crotchets::whole(MOST_BEATS) {
            return Self { from: Crotchets::ZERO, to: bar.length, thirds: false, beats: Vec::new() };
        }
        while end < bar.length {
            found.extend(beats(end, Crotchets::ONE, 1, false));
            end += Crotchets::ONE;
        }
        match found.len() {
            1 => found.remove(0),
            _ => Self { from: Crotchets::ZERO, to: end.max(bar.length), thirds: false, beats: found },
        }
    }

    fn shift(&mut self, back: Crotchets) {
        (self.from, self.to) = (self.from - back, self.to - back);
        self.beats.iter_mut().for_each(|one| one.shift(back));
    }

    pub(crate) fn length(&self) -> Crotchets {
        self.to - self.from
    }

    /// Whether it is a beat or a part of one.
    pub(crate) fn is_beat(&self) -> bool {
        self.beats.is_empty()
    }

    fn is_of_thirds(&self) -> bool {
        self.beats.iter().any(|beat| beat.thirds || beat.is_of_thirds())
    }

    /// What it is divided into; nothing where it is too short or too long for that.
    pub(crate) fn parts(&self) -> Vec<Self> {
        if !self.beats.is_empty() {
            return self.beats.clone();
        }
        let shortest = Crotchets::new(1, SHORTEST).is_some_and(|shortest| self.length() <= shortest);
        if shortest || self.length() > Crotchets::whole(MOST_BEATS) {
            return Vec::new();
        }
        let count = if self.thirds { 3 } else { 2 };
        let length = part_of(self.length(), count);
        let part = |n| Self {
            from: self.from + times(length, n),
            to: self.from + times(length, n + 1),
            thirds: false,
            beats: Vec::new(),
        };
        (0..count).map(part).collect()
    }

    /// The beat in which a moment lies.
    pub(crate) fn beat_at(&self, at: Crotchets) -> &Self {
        match self.beats.iter().find(|beat| beat.from <= at && at < beat.to) {
            Some(beat) => beat.beat_at(at),
            None => self,
        }
    }

    /// Everything of beats that a moment lies in, the whole first.
    pub(crate) fn around(&self, at: Crotchets) -> Vec<&Self> {
        let mut found = vec![self];
        while let Some(next) = found.last().and_then(|last| last.beats.iter().find(|beat| beat.from <= at && at < beat.to)) {
            found.push(next);
        }
        found
    }

    /// Cuts a rest.
    fn rests(&self, from: Crotchets, to: Crotchets, found: &mut Vec<(Crotchets, Crotchets)>) {
        let (from, to) = (from.max(self.from), to.min(self.to));
        if from >= to {
            return;
        }
        let whole = from == self.from && to == self.to;
        let parts = self.parts();
        let has_value = NoteValue::of_length(self.length(), u8::from(self.thirds || self.is_of_thirds())).is_some();
        // The first two thirds of a beat are one rest, the last two are two.
        let two = self.thirds && from == self.from && to == self.from + times(part_of(self.length(), 3), 2);
        if parts.is_empty() || (whole && has_value) || two {
            found.push((from, to));
            return;
        }
        parts.iter().for_each(|part| part.rests(from, to, found));
    }

    /// Whether one value may show a note that reaches from one part into another.
    fn shows(&self, parts: &[Self], from: Crotchets, to: Crotchets) -> bool {
        if NoteValue::of_length(to - from, 1).is_none() {
            return false;
        }
        let on = |at: Crotchets| at == self.to || parts.iter().any(|part| part.from == at);
        if on(from) && on(to) {
            return true;
        }
        if self.is_of_thirds() {
            return false;
        }
        let half = |at: Crotchets| parts.iter().any(|part| at == part.from + part_of(part.length(), 2));
        let syncopated = || {
            let middle = from + part_of(to - from, 2);
            parts.iter().any(|part| part.from == middle && to - from == part.length())
        };
        from == self.from || (to == self.to && half(from)) || (parts.len() > 2 && on(from)) || syncopated()
    }

    /// Cuts a note.
    fn notes(&self, from: Crotchets, to: Crotchets, found: &mut Vec<(Crotchets, Crotchets)>) {
        if from >= to {
            return;
        }
        let parts = self.parts();
        if let Some(part) = parts.iter().find(|part| part.from <= from && to <= part.to) {
            // What fills a part is one value if there is one.
            return part.notes(from, to, found);
        }
        if parts.is_empty() || self.shows(&parts, from, to) {
            found.push((from, to));
            return;
        }
        let inside = || parts.iter().map(|part| part.from).filter(|&at| from < at && at < to);
        let on = parts.iter().any(|part| part.from == from);
        let longest = inside().rev().find(|&at| on && self.shows(&parts, from, at));
        let Some(end) = longest.or_else(|| inside().next()) else {
            found.push((from, to));
            return;
        };
        self.notes(from, end, found);
        self.notes(end, to, found);
    }

    /// The tuplets that moments at which notes begin or end ask for.
    pub(crate) fn tuplets(&self, moments: &[Crotchets], found: &mut Vec<Tuplet>) {
        let inside: Vec<Crotchets> = moments.iter().copied().filter(|&at| self.from < at && at < self.to).collect();
        if inside.iter().all(|&at| is_plain(at)) {
            return;
        }
        let parts = self.parts();
        if NoteValue::of_length(self.length(), 0).is_some() {
            let middle = self.from + part_of(self.length(), 2);
            for (actual, normal) in [(3u16, 2u16), (5, 4), (7, 4)] {
                let unit = part_of(self.length(), i64::from(actual));
                let units = |at: &Crotchets| (*at - self.from).checked_div(unit).unwrap_or(Crotchets::ZERO);
                let fits = if self.is_beat() {
                    let all = (1..i64::from(actual)).all(|n| inside.contains(&(self.from + times(unit, n))));
                    inside.iter().all(|at| is_plain(units(at))) && (all || !inside.contains(&middle))
                } else {
                    // Over several beats only whole units, none of them on a beat.
                    inside.iter().all(|at| units(at).denominator() == 1)
                };
                if fits {
                    found.push(Tuplet { from: self.from, to: self.to, ratio: TupletRatio { actual, normal } });
                    return;
                }
            }
        }
        parts.iter().for_each(|part| part.tuplets(&inside, found));
    }

    /// Cuts a note or a rest of the bar into what values can show.
    pub(crate) fn pieces(&self, tuplets: &[Tuplet], from: Crotchets, to: Crotchets, rest: bool) -> Vec<Piece> {
        let mut found = Vec::new();
        let mut at = from;
        while at < to {
            if let Some(tuplet) = tuplets.iter().find(|tuplet| tuplet.from <= at && at < tuplet.to) {
                let end = to.min(tuplet.to);
                tuplet.pieces(at, end, rest, &mut found);
                at = end;
                continue;
            }
            let end = tuplets.iter().map(|tuplet| tuplet.from).filter(|&from| from > at).fold(to, Crotchets::min);
            let mut cuts = Vec::new();
            let within = end.min(self.to).max(at);
            if rest {
                self.rests(at, within, &mut cuts);
            } else {
                self.notes(at, within, &mut cuts);
            }
            if within < end {
                cuts.push((within, end));
            }
            found.extend(cuts.into_iter().map(|(from, to)| Piece::of(from, to)));
            at = end;
        }
        found
    }
}

/// Whether a moment lies where halving comes to.
fn is_plain(at: Crotchets) -> bool {
    at.denominator().count_ones() == 1
}

impl Tuplet {
    fn pieces(&self, from: Crotchets, to: Crotchets, rest: bool, found: &mut Vec<Piece>) {
        let TupletRatio { actual, normal } = self.ratio;
        let unit = part_of(self.to - self.from, i64::from(actual));
        let written = |length: Crotchets| {
            let ratio = Crotchets::new(i64::from(actual), i64::from(normal))?;
            NoteValue::of_length(length * ratio, u8::from(!rest))
        };
        let mut at = from;
        while at < to {
            let next = (1..=i64::from(actual)).map(|n| self.from + times(unit, n)).find(|&end| end > at).unwrap_or(to);
            // Notes last as long as they can, rests show the units, but for the first two of three.
            let two = actual == 3 && at == self.from && to == self.from + times(unit, 2);
            let end = if written(to - at).is_some() && (!rest || two || to < next) { to } else { next.min(to) };
            found.push(Piece { at, duration: end - at, value: written(end - at), tuplet: Some(self.ratio) });
            at = end;
        }
    }
}

impl Piece {
    fn of(from: Crotchets, to: Crotchets) -> Self {
        let (value, tuplet) = shape(to - from).map_or((None, None), |(value, tuplet)| (Some(value), tuplet));
        Self { at: from, duration: to - from, value, tuplet }
    }
}

/// The value that lasts `length`, plain or as a tuplet.
fn shape(length: Crotchets) -> Option<(NoteValue, Option<TupletRatio>)> {
    if let Some(value) = NoteValue::of_length(length, 2) {
        return Some((value, None));
    }
    [(3, 2), (5, 4), (7, 4), (9, 8)].into_iter().find_map(|(actual, normal)| {
        let plain = length * Crotchets::new(i64::from(actual), i64::from(normal))?;
        Some((NoteValue::of_length(plain, 1)?, Some(TupletRatio { actual, normal })))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(numerator: i64, denominator: i64) -> Crotchets {
        Crotchets::new(numerator, denominator).unwrap()
    }

    fn bar(beats: u16, unit: u16) -> Span {
        let metre = Metre::simple(beats, unit);
        Span::of(&Bar::new("1", Crotchets::ZERO, metre.length().unwrap()), Some(&metre), false)
    }

    /// Lengths in quavers.
    fn lengths(span: &Span, from: Crotchets, to: Crotchets, rest: bool) -> Vec<String> {
        let pieces = span.pieces(&[], from, to, rest);
        assert_eq!(pieces.iter().map(|piece| piece.duration).sum::<Crotchets>(), to - from);
        pieces.iter().map(|piece| times(piece.duration, 2).to_string()).collect()
    }

    /// As handbooks of notation have it (Gould, on rests in simple and compound metres), from memory.
    #[test]
    fn rests_show_the_beats() {
        let four = bar(4, 4);
        let rest = |span: &Span, from: (i64, i64), to: i64| lengths(span, at(from.0, from.1), Crotchets::whole(to), true);
        assert_eq!(rest(&four, (1, 1), 4), ["2", "4"]);
        assert_eq!(rest(&four, (1, 2), 4), ["1", "2", "4"]);
        assert_eq!(rest(&four, (1, 4), 1), ["1/2", "1"]);
        assert_eq!(rest(&four, (1, 1), 3), ["2", "2"]);
        assert_eq!(rest(&four, (0, 1), 3), ["4", "2"]);
        assert_eq!(rest(&bar(3, 4), (1, 1), 3), ["2", "2"]);
        // Six quavers: after a quaver two, then a dotted crotchet; two at the beginning of a beat are one rest.
        assert_eq!(rest(&bar(6, 8), (1, 2), 3), ["1", "1", "3"]);
        assert_eq!(lengths(&bar(6, 8), Crotchets::ZERO, Crotchets::ONE, true), ["2"]);
        assert_eq!(rest(&bar(12, 8), (3, 2), 6), ["3", "6"]);
        assert_eq!(rest(&bar(9, 8), (3, 2), 4), ["3", "2"]);
    }

    /// As above, on note values and syncopation.
    #[test]
    fn notes_show_the_middle_of_a_bar() {
        let note = |span: &Span, from: (i64, i64), to: (i64, i64)| lengths(span, at(from.0, from.1), at(to.0, to.1), false);
        let four = bar(4, 4);
        assert_eq!(note(&four, (0, 1), (3, 1)), ["6"]);
        assert_eq!(note(&four, (1, 1), (3, 1)), ["4"], "crotchet, minim, crotchet");
        assert_eq!(note(&four, (1, 1), (5, 2)), ["2", "1"]);
        assert_eq!(note(&four, (3, 2), (5, 2)), ["1", "1"]);
        assert_eq!(note(&four, (1, 2), (3, 2)), ["2"], "quaver, crotchet, quaver");
        assert_eq!(note(&four, (0, 1), (5, 2)), ["4", "1"]);
        assert_eq!(note(&four, (1, 4), (1, 1)), ["3/2"]);
        assert_eq!(note(&bar(6, 8), (0, 1), (2, 1)), ["3", "1"]);
        assert_eq!(note(&bar(6, 8), (0, 1), (3, 1)), ["6"]);
        assert_eq!(note(&bar(3, 4), (0, 1), (3, 1)), ["6"]);
    }

    #[test]
    fn what_divides_a_beat_by_three_is_a_tuplet_of_it() {
        let four = bar(4, 4);
        let tuplets = |moments: &[Crotchets]| {
            let mut found = Vec::new();
            four.tuplets(moments, &mut found);
            found.iter().map(|one| (one.from, one.to, one.ratio.actual)).collect::<Vec<_>>()
        };
        let whole = Crotchets::whole;
        assert_eq!(tuplets(&[at(1, 3), at(2, 3), whole(1), whole(2)]), [(whole(0), whole(1), 3)]);
        assert_eq!(tuplets(&[at(2, 3), at(4, 3), whole(2)]), [(whole(0), whole(2), 3)], "crotchets in threes");
        assert_eq!(tuplets(&[at(7, 6), at(4, 3), at(3, 2), whole(2)]), [(whole(1), at(3, 2), 3)], "half a beat");
        assert_eq!(tuplets(&[at(16, 5), at(17, 5), whole(4)]), [(whole(3), whole(4), 5)]);
        // A rest after the first of three: two of its units, not a value across the beat.
        let mut found = Vec::new();
        four.tuplets(&[at(1, 3), whole(1)], &mut found);
        let pieces = four.pieces(&found, at(1, 3), whole(4), true);
        let shown: Vec<(Crotchets, Crotchets)> = pieces.iter().map(|piece| (piece.at, piece.duration)).collect();
        assert_eq!(shown, [(at(1, 3), at(1, 3)), (at(2, 3), at(1, 3)), (whole(1), whole(1)), (whole(2), whole(2))]);
    }

    /// Damaged files have bars of any length, and moments anywhere.
    #[test]
    fn odd_bars_are_cut_without_end() {
        for length in [at(1, 3), at(7, 5), whole_of(100_000), at(13, 2)] {
            for metre in
                [None, Some(Metre::Free), Some(Metre::simple(7, 8)), Some(Metre::simple(9999, 1)), Some(Metre::simple(3, 0))]
            {
                for upbeat in [false, true] {
                    let bar = Bar::new("1", Crotchets::ZERO, length);
                    let span = Span::of(&bar, metre.as_ref(), upbeat);
                    let from = part_of(length, 7);
                    for rest in [false, true] {
                        let pieces = span.pieces(&[], from, length, rest);
                        assert!(pieces.len() < 600, "{}", pieces.len());
                        assert_eq!(pieces.iter().map(|piece| piece.duration).sum::<Crotchets>(), length - from);
                    }
                }
            }
        }
    }

    fn whole_of(count: i64) -> Crotchets {
        Crotchets::whole(count)
    }
}
