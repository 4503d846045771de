//! Sections and the order in which they are played.
//!
//! Source: Humdrum User Guide, chapter 20, and the reference on `thru`: `*>A` begins section A, `*>[A,A,B]` says that A is
//! played twice and then B. In the standard this list says what is played; repeat signs in barlines only say what is printed.
//! A score has repeat signs alone, so the list is put into them where they can say it.

use ripieno_score::{Bar, Crotchets, Jump, Score, Sounding, Unroll};

use super::text::text;
use crate::{Finding, Findings, Place, Severity};

/// Sections in a piece.
const MOST_LABELS: usize = 1000;
/// Sections in a playing order.
const MOST_PLAYED: usize = 1000;
/// Bars in a playing order.
const MOST_BARS_PLAYED: usize = 1_000_000;

/// A piece's sections: where they begin, and the order its list gives.
#[derive(Debug, Default)]
struct Piece {
    labels: Vec<(Crotchets, String)>,
    list: Vec<String>,
    end: Crotchets,
}

/// The sections of all pieces in a file.
#[derive(Debug, Default)]
pub(super) struct Sections {
    pieces: Vec<Piece>,
    open: Piece,
}

impl Sections {
    /// A section begins. Every spine says so; once is enough.
    pub(super) fn label(&mut self, time: Crotchets, label: &[u8]) {
        let label = text(label);
        let said = self.open.labels.iter().rev().take_while(|(at, _)| *at == time).take(8).any(|(_, other)| *other == label);
        if !said && self.open.labels.len() < MOST_LABELS {
            self.open.labels.push((time, label));
        }
    }

    /// The usual playing order.
    pub(super) fn expansion(&mut self, labels: &[&[u8]]) {
        if self.open.list.is_empty() {
            self.open.list = labels.iter().take(MOST_PLAYED).map(|label| text(label)).collect();
        }
    }

    pub(super) fn section_end(&mut self, end: Crotchets) {
        let mut piece = std::mem::take(&mut self.open);
        piece.end = end;
        self.pieces.push(piece);
    }

    /// Makes the score's repeat signs say what the lists say.
    pub(super) fn apply(self, score: &mut Score, file: &str, findings: &mut Findings) {
        let place = || Place { file: file.to_owned(), ..Place::default() };
        let mut first = 0;
        for piece in self.pieces {
            let end = score.bars.partition_point(|bar| bar.start < piece.end);
            let range = first..end.max(first);
            first = range.end;
            if piece.list.is_empty() {
                continue;
            }
            let list = piece.list.join(",");
            let Some(bars) = score.bars.get(range.clone()) else { continue };
            match piece.signs(bars) {
                Ok(None) => {}
                Ok(Some(bars)) => {
                    if let Some(slot) = score.bars.get_mut(range) {
                        slot.clone_from_slice(&bars);
                    }
                    let what = format!("the playing order [{list}] differs from the repeat signs in the barlines");
                    let hint = "The order was followed; repeat signs were set to say the same".to_owned();
                    findings.push(Finding { severity: Severity::Note, code: "playing-order", place: place(), what, hint });
                }
                Err(why) => {
                    let what = format!("the playing order [{list}] cannot be followed: {why}");
                    let hint = "The repeat signs in the barlines count instead".to_owned();
                    findings.push(Finding { severity: Severity::Warning, code: "playing-order", place: place(), what, hint });
                }
            }
        }
    }
}

/// A section's bars, as indices among its piece's.
type Range = std::ops::Range<usize>;

impl Piece {
    /// Bars with signs that say what the list says; `None` when they do already.
    fn signs(&self, bars: &[Bar]) -> Result<Option<Vec<Bar>>, String> {
        let start = bars.first().map_or(Crotchets::ZERO, |bar| bar.start);
        let mut sections: Vec<(&str, Range)> = Vec::new();
        for (time, label) in &self.labels {
            let at = bars.partition_point(|bar| bar.start < *time);
            if bars.get(at).is_none_or(|bar| bar.start != *time) {
                // An empty section at the very end, or one inside a bar.
                if *time >= self.end {
                    continue;
                }
                return Err(format!("section {label} begins inside a bar"));
            }
            if let Some((_, last)) = sections.last_mut() {
                last.end = at;
            }
            sections.push((label, at..bars.len()));
        }
        sections.retain(|(_, range)| !range.is_empty());
        let prefix = sections.first().map_or(0, |(_, range)| range.start);
        let mut played: Vec<usize> = Vec::new();
        for label in &self.list {
            let found = sections.iter().position(|(other, _)| other == label);
            played.push(found.ok_or_else(|| format!("there is no section {label}"))?);
        }
        let length: usize = played.iter().map(|&section| sections[section].1.len()).sum();
        if length > MOST_BARS_PLAYED {
            return Err(format!("it plays more than {MOST_BARS_PLAYED} bars"));
        }
        let wanted: Vec<usize> = (0..prefix).chain(played.iter().flat_map(|&section| sections[section].1.clone())).collect();
        if playing_order(bars, start) == wanted {
            return Ok(None);
        }
        let ranges: Vec<Range> = sections.into_iter().map(|(_, range)| range).collect();
        let mut signed: Vec<Bar> = bars.to_vec();
        for bar in &mut signed {
            (bar.repeat_start, bar.repeat_end, bar.ending_stop) = (false, None, false);
            bar.ending_start.clear();
            bar.jumps.clear();
        }
        let beyond = "repeat signs cannot say it".to_owned();
        set_signs(&mut signed, &ranges, &played).ok_or_else(|| beyond.clone())?;
        if playing_order(&signed, start) == wanted { Ok(Some(signed)) } else { Err(beyond) }
    }
}

/// The bars as players would take them, reading the signs.
fn playing_order(bars: &[Bar], start: Crotchets) -> Vec<usize> {
    let mut bars = bars.to_vec();
    bars.iter_mut().for_each(|bar| bar.start -= start);
    let score = Score { bars, ..Score::default() };
    Sounding::new(&score, Unroll::AsPlayed).bars.iter().map(|played| played.bar.at()).collect()
}

/// Sets repeats, endings and at most one jump back for the sections played in this order.
fn set_signs(bars: &mut [Bar], ranges: &[Range], played: &[usize]) -> Option<()> {
    let (mut place, mut next) = (0, 0);
    // The piece from front to back, with repeats and endings.
    while place < played.len() && played.get(place) == Some(&next) {
        let rest = played.get(place..)?;
        if let Some((length, times)) = repeated(rest, next) {
            repeat(bars, ranges.get(next)?.start, ranges.get(next + length - 1)?.end, times)?;
            (place, next) = (place + length * times, next + length);
        } else if let Some((body, endings)) = with_endings(rest, next) {
            repeat_with_endings(bars, ranges, next, body, endings)?;
            (place, next) = (place + (body + 1) * endings, next + body + endings);
        } else {
            (place, next) = (place + 1, next + 1);
        }
    }
    let tail = played.get(place..)?;
    if tail.is_empty() {
        return (next == ranges.len()).then_some(());
    }
    jump_back(bars, ranges, next, tail)
}

/// Sections `next..next + length` played several times in a row: how many sections, how many times.
fn repeated(rest: &[usize], next: usize) -> Option<(usize, usize)> {
    let front_to_back = rest.iter().enumerate().take_while(|(offset, section)| **section == next + offset).count();
    (1..=front_to_back).find_map(|length| {
        let unit = rest.get(..length)?;
        let times = rest.chunks(length).take_while(|chunk| *chunk == unit).count();
        (times > 1).then_some((length, times))
    })
}

/// A body of sections each time followed by another ending: how many sections the body has, how many endings.
fn with_endings(rest: &[usize], next: usize) -> Option<(usize, usize)> {
    let front_to_back = rest.iter().enumerate().take_while(|(offset, section)| **section == next + offset).count();
    (1..front_to_back).find_map(|body| {
        let unit = rest.get(..body)?;
        let chunks = rest.chunks(body + 1).enumerate();
        let endings = chunks
            .take_while(|(number, chunk)| {
                chunk.split_last().is_some_and(|(ending, front)| front == unit && *ending == next + body + number)
            })
            .count();
        (endings > 1).then_some((body, endings))
    })
}

fn repeat(bars: &mut [Bar], start: usize, end: usize, times: usize) -> Option<()> {
    bars.get_mut(start)?.repeat_start = true;
    bars.get_mut(end.checked_sub(1)?)?.repeat_end = Some(u8::try_from(times).ok()?);
    Some(())
}

fn repeat_with_endings(bars: &mut [Bar], ranges: &[Range], next: usize, body: usize, endings: usize) -> Option<()> {
    bars.get_mut(ranges.get(next)?.start)?.repeat_start = true;
    for number in 0..endings {
        let ending = ranges.get(next + body + number)?;
        bars.get_mut(ending.start)?.ending_start = vec![u8::try_from(number + 1).ok()?];
        let last = bars.get_mut(ending.end.checked_sub(1)?)?;
        last.ending_stop = true;
        if number + 1 < endings {
            last.repeat_end = Some(2);
        }
    }
    Some(())
}

/// After section `next - 1` back to the first of `tail`, on to where the tail leaves the order of the page, and from there either
/// to the end (fine) or to section `next` (coda).
fn jump_back(bars: &mut [Bar], ranges: &[Range], next: usize, tail: &[usize]) -> Option<()> {
    let target = *tail.first()?;
    let run = tail.iter().enumerate().take_while(|(offset, section)| **section == target + offset).count();
    let after = tail.get(run..)?;
    let last_of_run = ranges.get(target + run - 1)?;
    let leaves = last_of_run.end.checked_sub(1)?;
    let first = ranges.get(target)?.start;
    let jumps_at = ranges.get(next.checked_sub(1)?)?.end.checked_sub(1)?;
    let label: Box<str> = "".into();
    if first == 0 {
        bars.get_mut(jumps_at)?.jumps.push(Jump::DaCapo);
    } else {
        bars.get_mut(first)?.jumps.push(Jump::Segno(label.clone()));
        bars.get_mut(jumps_at)?.jumps.push(Jump::DalSegno(label.clone()));
    }
    if after.is_empty() {
        if next == ranges.len() && target + run < ranges.len() {
            bars.get_mut(leaves)?.jumps.push(Jump::Fine);
        }
        return (next == ranges.len()).then_some(());
    }
    // The coda: everything that has not been played yet.
    let coda: Vec<usize> = (next..ranges.len()).collect();
    if after != coda {
        return None;
    }
    bars.get_mut(leaves)?.jumps.push(Jump::ToCoda(label.clone()));
    bars.get_mut(ranges.get(next)?.start)?.jumps.push(Jump::Coda(label));
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One bar a section, the sections A, B, C ... of the piece, and the order wanted; the signs that come out.
    fn signs(sections: u8, list: &str) -> String {
        let bars: Vec<Bar> = (0..sections).map(|i| Bar::new("", Crotchets::whole(i64::from(i)), Crotchets::ONE)).collect();
        let labels = (0..sections).map(|i| (Crotchets::whole(i64::from(i)), char::from(b'A' + i).to_string())).collect();
        let piece =
            Piece { labels, list: list.split(',').map(str::to_owned).collect(), end: Crotchets::whole(i64::from(sections)) };
        let bars = match piece.signs(&bars) {
            Ok(Some(bars)) => bars,
            Ok(None) => return "as printed".to_owned(),
            Err(why) => return why,
        };
        let show = |bar: &Bar| {
            let mut words: Vec<String> = Vec::new();
            words.extend(bar.repeat_start.then(|| "|:".to_owned()));
            words.extend(bar.ending_start.iter().map(|number| format!("{number}.")));
            words.extend(bar.jumps.iter().map(|jump| format!("{jump:?}").replace("(\"\")", "").to_lowercase()));
            words.extend(bar.repeat_end.map(|times| format!(":|{times}")));
            if words.is_empty() { "-".to_owned() } else { words.join(" ") }
        };
        bars.iter().map(show).collect::<Vec<_>>().join(", ")
    }

    #[test]
    fn repeats() {
        assert_eq!(signs(2, "A,B"), "as printed");
        assert_eq!(signs(2, "A,A,B"), "|: :|2, -");
        assert_eq!(signs(2, "A,A,B,B"), "|: :|2, |: :|2");
        assert_eq!(signs(4, "A,B,B,B,C,D"), "-, |: :|3, -, -");
        assert_eq!(signs(3, "A,B,A,B,C"), "|:, :|2, -");
    }

    #[test]
    fn endings() {
        assert_eq!(signs(4, "A,B,A,C,D"), "|:, 1. :|2, 2., -");
        assert_eq!(signs(4, "A,B,A,C,A,D"), "|:, 1. :|2, 2. :|2, 3.");
    }

    #[test]
    fn jumps() {
        // A minuet and trio.
        assert_eq!(signs(4, "A,A,B,B,C,C,D,D,A,B"), "|: :|2, |: fine :|2, |: :|2, |: dacapo :|2");
        assert_eq!(signs(3, "A,B,C,B,C"), "-, |:, :|2");
        assert_eq!(signs(4, "A,B,C,D,B,C"), "-, segno, fine, dalsegno");
        assert_eq!(signs(4, "A,B,C,A,D"), "tocoda, -, dacapo, coda");
    }

    #[test]
    fn what_signs_cannot_say() {
        assert_eq!(signs(3, "C,B,A"), "repeat signs cannot say it");
        assert_eq!(signs(2, "A,X"), "there is no section X");
        assert_eq!(signs(3, "A,C"), "repeat signs cannot say it");
    }
}
