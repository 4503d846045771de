//! From gathered parts and bars to a finished score: metres, numbers, notes that reach beyond their bar.

use std::collections::HashMap;

use ripieno_score::{
    About, Bar, BarIndex, Bracket, Change, ChangeKind, Crotchets, Direction, DirectionKind, Metre, Note, NoteFlags, NoteValue,
    Part, Rest, Score,
};

use super::bars;
use super::parts::Assembly;
use super::spine::Moment;
use crate::{Finding, Findings, Place, ReadError, Severity};

impl Assembly {
    /// The finished score. `room` is how many more notes may arise from dividing notes at barlines.
    pub(super) fn finish(
        self,
        about: About,
        (mut bars, section_starts): (Vec<Bar>, &[bool]),
        decoration: &str,
        room: usize,
        (file, findings): (&str, &mut Findings),
    ) -> Result<Score, ReadError> {
        let staff_numbers: Vec<Vec<u16>> = self.parts.iter().map(|building| building.staff_numbers.clone()).collect();
        let mut parts: Vec<Part> = self.parts.into_iter().map(|building| building.part).collect();
        for (index, part) in parts.iter_mut().enumerate() {
            part.id = format!("P{}", index + 1);
            for (number, instrument) in part.instruments.iter_mut().enumerate() {
                instrument.id = format!("P{}-I{}", index + 1, number + 1);
            }
            rehome(part, &bars);
        }
        place_metres(&mut bars, &mut parts, section_starts);
        bars::number(&mut bars, section_starts);
        let mut report = |severity, code, part: Option<&Part>, bar: &Bar, what: String, hint: &str| {
            let part = part.map(|part| {
                if part.name.is_empty() { format!("part {}", part.id.trim_start_matches('P')) } else { part.name.clone() }
            });
            let place = Place { file: file.to_owned(), part, bar: Some(bar.number.to_string()), line: None };
            findings.push(Finding { severity, code, place, what, hint: hint.to_owned() });
        };
        for (bar, what) in uneven_bars(&bars, section_starts) {
            report(Severity::Note, "bar-length", None, bar, what, "");
        }
        let mut room = room;
        // Where there is only one part nobody needs a cue: its small notes are a cadenza, and played.
        if let [part] = parts.as_mut_slice() {
            part.notes.iter_mut().for_each(|note| note.flags.remove(NoteFlags::CUE));
        }
        for part in &mut parts {
            let divided = divide(part, &bars, &mut room);
            let Some(divided) = divided else {
                let hint = "Check the durations";
                return Err(ReadError::whole_file(file, "too-large", "notes that reach over barlines make too many notes", hint));
            };
            for bar in divided.into_iter().filter_map(|bar| bars.get(bar.at())) {
                let what = "a note or rest reaches beyond the barline".to_owned();
                report(Severity::Note, "over-barline", Some(part), bar, what, "It was divided there; the notes are tied");
            }
            for rest in &mut part.rests {
                let fills = rest.at.is_zero() && bars.get(rest.bar.at()).is_some_and(|bar| bar.length == rest.duration);
                rest.whole_bar |= fills && rest.tuplet.is_none();
                if rest.whole_bar {
                    rest.value = None;
                }
            }
        }
        let transposed =
            parts.iter().any(|part| part.changes.iter().any(|change| matches!(change.kind, ChangeKind::Transposition(_))));
        let about = About { concert_pitch: !transposed, ..about };
        let brackets = brackets(decoration, &staff_numbers);
        let mut score = Score { about, bars, parts, brackets };
        let metronomes = self
            .metronomes
            .into_iter()
            .map(|(at, beat, per_minute)| (at, DirectionKind::Metronome { beat, per_minute, text: None }));
        let words = self.words.into_iter().map(|(at, words)| (at, DirectionKind::Words(words.into())));
        let fermatas = self.fermatas.into_iter().map(|at| (at, DirectionKind::Other("fermata over the barline".into())));
        let mut tempi = self.tempi;
        tempi.sort_by_key(|(at, _)| *at);
        tempi.dedup_by_key(|(at, _)| *at);
        let tempi = tempi.into_iter().map(|(at, tempo)| (at, DirectionKind::PlaybackTempo { crotchets_per_minute: tempo }));
        direct_all(&mut score, words.chain(metronomes).chain(tempi).chain(fermatas));
        score.finish();
        Ok(score)
    }
}

/// Puts everything into the bar its time belongs to: what stands after the last barline, and what had been placed before it
/// was known how long its bar would be.
fn rehome(part: &mut Part, bars: &[Bar]) {
    part.notes.iter_mut().for_each(|note| mend(bars, &mut note.bar, &mut note.at));
    part.rests.iter_mut().for_each(|rest| mend(bars, &mut rest.bar, &mut rest.at));
    part.directions.iter_mut().for_each(|direction| mend(bars, &mut direction.bar, &mut direction.at));
    part.changes.iter_mut().for_each(|change| mend(bars, &mut change.bar, &mut change.at));
}

fn mend(bars: &[Bar], bar: &mut BarIndex, at: &mut Crotchets) {
    match bars.get(bar.at()) {
        Some(own) if *at <= own.length => {}
        Some(own) => {
            let time = own.start + *at;
            let index = bars.partition_point(|bar| bar.start <= time).saturating_sub(1);
            let Some(other) = bars.get(index) else { return };
            *bar = BarIndex(u32::try_from(index).unwrap_or(u32::MAX));
            *at = (time - other.start).min(other.length);
        }
        None => {
            let Some(last) = bars.last() else { return };
            *bar = BarIndex(u32::try_from(bars.len() - 1).unwrap_or(u32::MAX));
            *at = last.length;
        }
    }
}

/// Moves metres from the parts to the bars. Where parts change to different metres at once most of them make the score's, and
/// the others keep theirs until they change again; otherwise a change in some parts is a change in all.
fn place_metres(bars: &mut [Bar], parts: &mut [Part], section_starts: &[bool]) {
    let mut changes: Vec<(BarIndex, usize, Metre)> = Vec::new();
    for (index, part) in parts.iter_mut().enumerate() {
        part.changes.retain(|change| {
            let ChangeKind::Metre(metre) = &change.kind else { return true };
            // A signature in the middle of a bar holds from the next bar on.
            let bar = BarIndex(change.bar.0.saturating_add(u32::from(!change.at.is_zero())));
            changes.push((bar, index, metre.clone()));
            false
        });
    }
    changes.sort_by_key(|(bar, part, _)| (*bar, *part));
    let mut apart = vec![false; parts.len()];
    let mut common: Option<Metre> = None;
    for here in changes.chunk_by(|a, b| a.0 == b.0) {
        let Some(bar) = here.first().map(|(bar, ..)| *bar) else { continue };
        let Some(slot) = bars.get_mut(bar.at()) else { continue };
        if section_starts.get(bar.at()).copied().unwrap_or(false) {
            apart.fill(false);
        }
        let of_all = here.iter().any(|(_, part, _)| !apart.get(*part).copied().unwrap_or(false));
        let most = if of_all { most_frequent(here) } else { common.clone() };
        if most != common {
            slot.metre.clone_from(&most);
            common = most;
            apart.fill(false);
        }
        for (_, index, own) in here {
            let (Some(part), Some(apart)) = (parts.get_mut(*index), apart.get_mut(*index)) else { continue };
            let differs = Some(own) != common.as_ref();
            if differs || *apart {
                let last = part.changes.last().filter(|last| last.bar == bar && matches!(last.kind, ChangeKind::Metre(_)));
                if last.is_none() {
                    part.changes.push(Change { bar, at: Crotchets::ZERO, staff: None, kind: ChangeKind::Metre(own.clone()) });
                }
            }
            *apart = differs;
        }
    }
}

/// The metre most parts change to; of equally many that of the highest part.
fn most_frequent(changes: &[(BarIndex, usize, Metre)]) -> Option<Metre> {
    let mut counts: HashMap<&Metre, usize> = HashMap::new();
    for (.., metre) in changes {
        *counts.entry(metre).or_default() += 1;
    }
    let count = |metre: &Metre| counts.get(metre).copied().unwrap_or(0);
    let most = changes.iter().map(|(.., metre)| count(metre)).max()?;
    changes.iter().find(|(.., metre)| count(metre) == most).map(|(.., metre)| metre.clone())
}

/// Bars that are longer or shorter than the metre asks for without a reason the page shows.
fn uneven_bars<'a>(bars: &'a [Bar], section_starts: &[bool]) -> Vec<(&'a Bar, String)> {
    let mut found = Vec::new();
    let mut full = None;
    let starts = |index: usize| section_starts.get(index).copied().unwrap_or(false);
    for (index, bar) in bars.iter().enumerate() {
        if let Some(metre) = &bar.metre {
            full = metre.length();
        }
        let Some(full) = full.filter(|full| *full != bar.length) else { continue };
        let length = |other: usize| bars.get(other).map(|bar| bar.length);
        let pickup = bar.length < full && starts(index);
        let last = bar.length < full && (index + 1 == bars.len() || starts(index + 1));
        let with_next = length(index + 1).is_some_and(|next| next + bar.length == full);
        let with_previous = index.checked_sub(1).and_then(length).is_some_and(|previous| previous + bar.length == full);
        if !(pickup || last || with_next || with_previous || bar.uncounted) {
            found.push((bar, format!("the bar lasts {} crotchets where the metre says {full}", bar.length)));
        }
    }
    found
}

/// Divides notes and rests that reach beyond their bar. The bars where that happened; `None` when it makes too many notes.
fn divide(part: &mut Part, bars: &[Bar], room: &mut usize) -> Option<Vec<BarIndex>> {
    let beyond =
        |bar: BarIndex, at: Crotchets, duration: Crotchets| bars.get(bar.at()).is_some_and(|bar| at + duration > bar.length);
    let mut places = Vec::new();
    for index in 0..part.notes.len() {
        let Some(note) = part.notes.get(index) else { break };
        if !beyond(note.bar, note.at, note.duration) {
            continue;
        }
        places.push(note.bar);
        let mut pieces = pieces(bars, note.bar, note.at, note.duration);
        *room = room.checked_sub(pieces.len())?;
        let original = note.clone();
        let last = pieces.len().saturating_sub(1);
        for (number, (bar, at, duration)) in pieces.drain(..).enumerate() {
            let mut flags = original.flags;
            if number > 0 {
                flags |= NoteFlags::TIE_STOP;
            }
            if number < last {
                flags |= NoteFlags::TIE_START;
            }
            let articulations = if number == 0 { original.articulations } else { ripieno_score::Articulations::empty() };
            let value = NoteValue::of_length(duration, 3);
            let piece = Note { bar, at, duration, flags, articulations, value, tuplet: None, ..original.clone() };
            match part.notes.get_mut(index).filter(|_| number == 0) {
                Some(note) => *note = piece,
                None => part.notes.push(piece),
            }
        }
    }
    for index in 0..part.rests.len() {
        let Some(rest) = part.rests.get(index) else { break };
        if !beyond(rest.bar, rest.at, rest.duration) {
            continue;
        }
        places.push(rest.bar);
        let mut pieces = pieces(bars, rest.bar, rest.at, rest.duration);
        *room = room.checked_sub(pieces.len())?;
        let original = rest.clone();
        for (number, (bar, at, duration)) in pieces.drain(..).enumerate() {
            let piece = Rest { bar, at, duration, value: NoteValue::of_length(duration, 3), tuplet: None, ..original.clone() };
            match part.rests.get_mut(index).filter(|_| number == 0) {
                Some(rest) => *rest = piece,
                None => part.rests.push(piece),
            }
        }
    }
    places.sort_unstable();
    places.dedup();
    Some(places)
}

/// A stretch of time bar by bar; what would reach beyond the last bar is left out.
fn pieces(bars: &[Bar], first: BarIndex, start: Crotchets, duration: Crotchets) -> Vec<(BarIndex, Crotchets, Crotchets)> {
    let mut result = Vec::new();
    let (mut at, mut left) = (start, duration);
    for (index, bar) in bars.iter().enumerate().skip(first.at()) {
        let here = fitting(at, left, bar.length);
        if here.is_positive() {
            result.push((BarIndex(u32::try_from(index).unwrap_or(u32::MAX)), at, here));
        }
        left -= here;
        at = Crotchets::ZERO;
        if left <= sliver() {
            break;
        }
    }
    if result.is_empty() {
        result.push((first, start, Crotchets::ZERO));
    }
    result
}

/// Lengths below this come from rounding alone (see [`Crotchets`]): only absurd durations get there.
fn sliver() -> Crotchets {
    Crotchets::new(1, 100_000).unwrap_or(Crotchets::ZERO)
}

/// As much of `length` as fits between `at` and the end of the bar, even where sums had to be rounded.
fn fitting(at: Crotchets, length: Crotchets, bar: Crotchets) -> Crotchets {
    if at + length <= bar {
        return length;
    }
    let room = (bar - at).max(Crotchets::ZERO);
    let safe = if at + room <= bar { room } else { (room - sliver()).max(Crotchets::ZERO) };
    if at + safe <= bar { safe } else { Crotchets::ZERO }
}

/// Puts what concerns the whole score on the top part.
fn direct_all(score: &mut Score, directions: impl Iterator<Item = (Moment, DirectionKind)>) {
    let Some(part) = score.parts.first_mut() else { return };
    for (moment, kind) in directions {
        let (mut bar, mut at) = (moment.bar, moment.at);
        mend(&score.bars, &mut bar, &mut at);
        part.directions.push(Direction { bar, at, staff: 1, voice: None, above: Some(true), kind });
    }
}

/// Brackets and braces from a system decoration such as `[(s1)(s2)]{(s3,s4)}`, where `s1` is the top staff.
fn brackets(decoration: &str, staff_numbers: &[Vec<u16>]) -> Vec<Bracket> {
    const MOST_NESTED: usize = 16;
    const LONGEST: usize = 4096;
    let mut open: Vec<(char, Option<usize>, usize)> = Vec::new();
    let mut result = Vec::new();
    let mut characters = decoration.chars().take(LONGEST).peekable();
    while let Some(c) = characters.next() {
        match c {
            '[' | '{' if open.len() < MOST_NESTED => open.push((c, None, 0)),
            ']' | '}' => {
                let Some((sign, Some(first), last)) = open.pop() else { continue };
                let symbol = if sign == '[' { "bracket" } else { "brace" };
                if first < last {
                    result.push(Bracket { first, last, name: String::new(), symbol: symbol.to_owned() });
                }
            }
            's' => {
                let mut number = 0u16;
                while let Some(digit) = characters.peek().and_then(|c| c.to_digit(10)) {
                    number = number.saturating_mul(10).saturating_add(u16::try_from(digit).unwrap_or(0));
                    characters.next();
                }
                let Some(part) = staff_numbers.iter().position(|staves| staves.contains(&number)) else { continue };
                for (_, first, last) in &mut open {
                    *first = Some(first.map_or(part, |first| first.min(part)));
                    *last = (*last).max(part);
                }
            }
            _ => {}
        }
    }
    result.sort_by_key(|bracket: &Bracket| (bracket.first, std::cmp::Reverse(bracket.last)));
    result
}
