//! Books and scores set on pages.

use std::fmt;
use std::ops::ControlFlow;

use ripieno_engraving::{EngraveError, Engraver, Layout, Page, key_changes};
use ripieno_formats::excerpt::{Cut, CutError, cut_pages};
use ripieno_formats::musicxml::{MultipleRest, Printing, write_printed};
use ripieno_score::{BarIndex, Crotchets, Part, Score, Sounding, Unroll};

use crate::books::Book;
use crate::paper::{LEAST_STAFF_OF_SCORE, PIXELS, Paper};
use crate::sheet::{BELOW, GAP, HEAD, Numbers, TITLE, Title, sheet};
use crate::systems::{STAFF, System, page_width, systems};
use crate::turns::{EASY, Line, Room, divide};

/// Bars of a full score engraved at once.
const SLICE: usize = 24;

/// Music on paper.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// The pages.
    pub pages: Vec<Page>,
    /// Height of its staves, in millimetres.
    pub staff: f64,
    /// For each system, in order: its page from 0, its first and its last bar.
    pub lines: Vec<(usize, BarIndex, BarIndex)>,
    /// Pages turned, in order.
    pub turns: Vec<Turn>,
}

/// A page that is turned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    /// Its number, from 1.
    pub page: usize,
    /// The last bar on it.
    pub after: BarIndex,
    /// Seconds of rest around the turn, by the tempo marks; none where the player plays on.
    pub rest: f64,
}

impl Turn {
    /// Whether there is no time to turn.
    #[must_use]
    pub fn is_hurried(&self) -> bool {
        self.rest < EASY / 2.0
    }
}

/// Why nothing was set.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SettingError {
    /// The engraver failed.
    Engraving(EngraveError),
    /// The score has no bars or parts.
    Nothing(CutError),
    /// It was broken off.
    BrokenOff,
    /// The staves do not fit the paper.
    TooManyStaves {
        /// Staves of the score.
        staves: usize,
        /// Height they could have, in millimetres.
        staff: f64,
    },
}

impl fmt::Display for SettingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Engraving(error) => error.fmt(f),
            Self::Nothing(error) => error.fmt(f),
            Self::BrokenOff => f.write_str("broken off"),
            Self::TooManyStaves { staves, staff } => write!(
                f,
                "{staves} staves on this paper would be {staff:.1} mm high, less than the {LEAST_STAFF_OF_SCORE} mm that can be read; \
choose larger paper"
            ),
        }
    }
}

impl std::error::Error for SettingError {}

impl From<EngraveError> for SettingError {
    fn from(error: EngraveError) -> Self {
        Self::Engraving(error)
    }
}

impl From<CutError> for SettingError {
    fn from(error: CutError) -> Self {
        Self::Nothing(error)
    }
}

/// Sets a part on pages that are turned in rests where it has any.
///
/// # Errors
/// When the engraver fails.
pub fn set_book(engraver: &dyn Engraver, book: &Book, paper: &Paper, title: &Title) -> Result<Setting, SettingError> {
    let mut shown = book.score.clone();
    let staff = paper.staff * PIXELS;
    // The name stands on the page, not before every line.
    for part in &mut shown.parts {
        part.name = String::new();
        part.abbreviation = String::new();
        part.instruments.iter_mut().for_each(|instrument| instrument.name = String::new());
    }
    let printable = (paper.width - 2.0 * paper.margin) * PIXELS;
    let layout = Layout { width: page_width(printable / staff * STAFF, staff), staff, height: None };
    let pages = engraver.engrave_lines(write_printed(&shown, &book.printing()).as_bytes(), &layout, &key_changes(&shown))?;
    let systems: Vec<System> = systems(&pages)?.into_iter().map(without_numbers).collect();
    let bars = bars_of_systems(&systems, &book.rests, book.score.bars.len());
    let rests = book.score.parts.first().map_or_else(Vec::new, |part| rests_around(&book.score, part, &bars));
    let lines: Vec<Line> = systems
        .iter()
        .zip(&rests)
        .map(|(system, &rest_after)| Line { height: system.foot - system.top + GAP, staves: system.staves, rest_after })
        .collect();
    let per_unit = staff / STAFF;
    let height = |head: f64| (paper.height - 2.0 * paper.margin - head - BELOW) * PIXELS / per_unit + GAP;
    let room = Room { first: height(TITLE), other: height(HEAD), most_staves: paper.most_staves };
    let divided = divide(&lines, room, true);
    let mut setting = Setting { pages: Vec::new(), staff: paper.staff, lines: Vec::new(), turns: Vec::new() };
    let count = divided.len();
    for (page, range) in divided.into_iter().enumerate() {
        let (is_last, last) = (page + 1 == count, range.end - 1);
        setting.lines.extend(bars[range.clone()].iter().map(|&(first, last)| (page, first, last)));
        if page % 2 == 0 && !is_last {
            setting.turns.push(Turn { page: page + 1, after: bars[last].1, rest: rests[last] });
        }
        let label = |&(first, _): &(BarIndex, BarIndex)| book.score.bars[first.at()].number.to_string();
        let mut labels: Vec<String> = bars[range.clone()].iter().map(label).collect();
        if page == 0 {
            // The beginning needs none.
            labels[0].clear();
        }
        setting.pages.push(sheet(&systems[range], paper, title, page + 1, Numbers::OfSystems(&labels), is_last));
    }
    Ok(setting)
}

/// First and last bar of each system.
fn bars_of_systems(systems: &[System], rests: &[MultipleRest], bars: usize) -> Vec<(BarIndex, BarIndex)> {
    let index = |bar: usize| BarIndex(u32::try_from(bar.min(bars.saturating_sub(1))).unwrap_or(u32::MAX));
    let mut next = 0usize;
    let mut rests = rests.iter().peekable();
    systems
        .iter()
        .map(|system| {
            let first = next;
            for _ in &system.bars {
                next += match rests.next_if(|rest| rest.first.at() <= next) {
                    Some(rest) => rest.bars as usize,
                    None => 1,
                };
            }
            (index(first), index(next.max(first + 1) - 1))
        })
        .collect()
}

/// Seconds the player rests around the end of each system.
fn rests_around(score: &Score, part: &Part, lines: &[(BarIndex, BarIndex)]) -> Vec<f64> {
    let tempo = Sounding::new(score, Unroll::AsWritten).tempo;
    let start = |bar: BarIndex| score.bars.get(bar.at()).map_or(Crotchets::ZERO, |bar| bar.start);
    let mut busy: Vec<(Crotchets, Crotchets)> = part
        .notes
        .iter()
        .filter(|note| note.plays())
        .map(|note| (start(note.bar) + note.at, start(note.bar) + note.at + note.duration))
        .collect();
    busy.sort_unstable();
    let mut ends: Vec<Crotchets> = busy.iter().map(|&(_, end)| end).collect();
    ends.sort_unstable();
    lines
        .iter()
        .map(|&(_, last)| {
            let turn = score.bars.get(last.at()).map_or(Crotchets::ZERO, |bar| bar.start + bar.length);
            // A note held over the turn leaves no time; otherwise from the last end before to the first beginning after.
            let before = busy.partition_point(|&(from, _)| from < turn);
            let ended = ends.partition_point(|&end| end <= turn);
            if ended < before {
                return 0.0;
            }
            let from = if ended == 0 { Crotchets::ZERO } else { ends[ended - 1] };
            let to = busy.get(before).map_or_else(|| score.length(), |&(from, _)| from);
            (tempo.seconds(to) - tempo.seconds(from)).max(0.0)
        })
        .collect()
}

/// Sets a full score, its staves as large as the paper allows. `seen` hears after each slice how many bars are done.
///
/// # Errors
/// When the engraver fails, the staves do not fit, or `seen` breaks off.
pub fn set_score(
    engraver: &dyn Engraver,
    score: &Score,
    paper: &Paper,
    title: &Title,
    seen: &mut dyn FnMut(usize) -> ControlFlow<()>,
) -> Result<Setting, SettingError> {
    let bars = score.bars.len();
    // Heights do not depend on the size: slices are engraved at the largest staff, then again where that turns out too large.
    let mut staff = paper.staff;
    let mut all: Vec<(System, BarIndex, BarIndex)> = Vec::new();
    let room = (paper.height - 2.0 * paper.margin - HEAD - BELOW) * PIXELS;
    while all.last().is_none_or(|(_, _, last)| last.at() + 1 < bars) {
        let from = all.last().map_or(0, |(_, _, last)| last.at() + 1);
        let found = slice(engraver, score, paper, staff, from)?;
        let tallest = found.iter().map(|(system, ..)| system.foot - system.top).fold(0.0, f64::max);
        let first_room = if from == 0 { room - (TITLE - HEAD) * PIXELS } else { room };
        let most = first_room / tallest * STAFF / PIXELS;
        // A little less, so that a taller system later does not start everything anew.
        if most < staff && staff > LEAST_STAFF_OF_SCORE {
            staff = (most * 0.97).max(LEAST_STAFF_OF_SCORE).min(staff - 0.05);
            all.clear();
            continue;
        }
        if most < LEAST_STAFF_OF_SCORE * 0.9 {
            let staves = found.first().map_or(0, |(system, ..)| system.staves);
            return Err(SettingError::TooManyStaves { staves, staff: most });
        }
        if found.is_empty() {
            return Err(EngraveError::NoPage("no system".to_owned()).into());
        }
        all.extend(found);
        if seen(all.last().map_or(bars, |(_, _, last)| last.at() + 1)).is_break() {
            return Err(SettingError::BrokenOff);
        }
    }
    let set_on = Paper { staff, ..*paper };
    let per_unit = staff * PIXELS / STAFF;
    let lines: Vec<Line> = all
        .iter()
        .map(|(system, ..)| Line { height: system.foot - system.top + GAP, staves: system.staves, rest_after: 0.0 })
        .collect();
    let height = |head: f64| (paper.height - 2.0 * paper.margin - head - BELOW) * PIXELS / per_unit + GAP;
    let divided = divide(&lines, Room { first: height(TITLE), other: height(HEAD), most_staves: usize::MAX }, false);
    let mut setting = Setting { pages: Vec::new(), staff, lines: Vec::new(), turns: Vec::new() };
    let count = divided.len();
    for (page, range) in divided.into_iter().enumerate() {
        let here = &all[range];
        let labels: Vec<String> = here
            .iter()
            .flat_map(|(_, first, last)| score.bars[first.at()..=last.at()].iter().map(|bar| bar.number.to_string()))
            .collect();
        let systems: Vec<System> = here.iter().map(|(system, ..)| system.clone()).collect();
        setting.lines.extend(here.iter().map(|&(_, first, last)| (page, first, last)));
        setting.pages.push(sheet(&systems, &set_on, title, page + 1, Numbers::OfBars(&labels), page + 1 == count));
    }
    Ok(setting)
}

/// The systems of some bars from `from` on; all but those that end the score are whole.
fn slice(
    engraver: &dyn Engraver,
    score: &Score,
    paper: &Paper,
    staff: f64,
    from: usize,
) -> Result<Vec<(System, BarIndex, BarIndex)>, SettingError> {
    let index = |bar: usize| BarIndex(u32::try_from(bar).unwrap_or(u32::MAX));
    let end = (from + SLICE).min(score.bars.len());
    let mut piece = cut_pages(score, &Cut::bars(index(from), index(end.saturating_sub(1))))?.score;
    if from > 0 {
        for part in &mut piece.parts {
            if !part.abbreviation.is_empty() {
                part.name.clone_from(&part.abbreviation);
            }
        }
    }
    let pixels = staff * PIXELS;
    let printable = (paper.width - 2.0 * paper.margin) * PIXELS;
    let layout = Layout { width: page_width(printable / pixels * STAFF, pixels), staff: pixels, height: None };
    let printing = Printing { goes_on: from > 0, ..Printing::default() };
    let pages = engraver.engrave_lines(write_printed(&piece, &printing).as_bytes(), &layout, &key_changes(&piece))?;
    let mut systems = systems(&pages)?;
    // The last line of a slice is not full, unless the score ends with it.
    if end < score.bars.len() && systems.len() > 1 {
        systems.pop();
    }
    let bars = bars_of_systems(&systems, &[], end - from);
    Ok(systems
        .into_iter()
        .zip(bars)
        .map(|(system, (first, last))| (without_numbers(system), index(from + first.at()), index(from + last.at())))
        .collect())
}

/// Leaves out the engraver's own bar numbers: it gives none to a line that begins under a rehearsal mark, and in a score every bar is numbered.
fn without_numbers(mut system: System) -> System {
    let mut kept = String::with_capacity(system.body.len());
    let mut rest = system.body.as_str();
    while let Some(at) = rest.find("class=\"mNum\"") {
        let start = rest[..at].rfind("<g").unwrap_or(at);
        let end = rest[at..].find("</g>").map_or(rest.len(), |end| at + end + "</g>".len());
        kept.push_str(&rest[..start]);
        rest = &rest[end..];
    }
    kept.push_str(rest);
    system.body = kept;
    system
}
