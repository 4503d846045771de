//! Books and scores set on pages.

use std::fmt;
use std::ops::{ControlFlow, Range};

use ripieno_engraving::{EmptyStaves, EngraveError, Engraver, Layout, Page, STAFF, System, key_changes};
use ripieno_formats::excerpt::{Cut, CutError, cut_pages};
use ripieno_formats::musicxml::{MultipleRest, Printing, write_printed};
use ripieno_instruments::{Family, catalogue};
use ripieno_score::{BarIndex, Crotchets, Direction, DirectionKind, Note, Part, Score, TempoMap};

use crate::books::Book;
use crate::course::is_for_all;
use crate::headings;
use crate::names::abbreviation;
use crate::paper::{LEAST_STAFF_OF_SCORE, PIXELS, Paper};
use crate::sheet::{GAP, HEAD, TITLE, Title, music_height, sheet};
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

/// A system and the bars on it.
struct Placed {
    system: System,
    first: BarIndex,
    last: BarIndex,
}

/// Sets a part on pages that are turned in rests where it has any. `tempo` is that of the score as written.
///
/// # Errors
/// When the engraver fails.
pub fn set_book(
    engraver: &dyn Engraver,
    book: &Book,
    tempo: &TempoMap,
    paper: &Paper,
    title: &Title,
) -> Result<Setting, SettingError> {
    let mut shown = book.score.clone();
    // The name stands on the page, not before every line.
    for part in &mut shown.parts {
        part.name = String::new();
        part.abbreviation = String::new();
        part.instruments.iter_mut().for_each(|instrument| instrument.name = String::new());
    }
    let systems = engraved(engraver, &shown, &book.printing(), paper, EmptyStaves::Shown)?;
    let placed = placed(systems, &book.rests, 0, book.score.bars.len());
    let rests = book.score.parts.first().map_or_else(Vec::new, |part| rests_around(&book.score, part, tempo, &placed));
    Ok(on_pages(&book.score, &placed, &rests, paper, title, Numbering::Systems))
}

/// What a score engraves to on lines as wide as the paper allows, in systems without the engraver's bar numbers.
fn engraved(
    engraver: &dyn Engraver,
    score: &Score,
    printing: &Printing,
    paper: &Paper,
    empty: EmptyStaves,
) -> Result<Vec<System>, SettingError> {
    let layout = Layout::lines((paper.width - 2.0 * paper.margin) * PIXELS, paper.staff * PIXELS);
    let pages = engraver.engrave_lines(
        headings::joined(&write_printed(score, printing)).as_bytes(),
        &layout,
        &key_changes(score),
        empty,
    )?;
    Ok(System::of_pages(&pages)?.into_iter().map(System::without_numbers).collect())
}

/// Where systems go, and what is numbered.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Numbering {
    /// Lines of a part, whose pages are turned: the beginning of each is numbered.
    Systems,
    /// A full score: every bar is.
    Bars,
}

/// Which systems go on which page.
fn division(placed: &[Placed], rests: &[f64], paper: &Paper, is_part: bool) -> Vec<Range<usize>> {
    let line = |(placed, &rest_after): (&Placed, &f64)| Line {
        height: placed.system.foot - placed.system.top + GAP,
        staves: placed.system.staves,
        rest_after,
    };
    let lines: Vec<Line> = placed.iter().zip(rests).map(line).collect();
    let height = |head: f64| music_height(paper, head) / (paper.staff * PIXELS / STAFF) + GAP;
    let room =
        Room { first: height(TITLE), other: height(HEAD), most_staves: if is_part { paper.most_staves } else { usize::MAX } };
    divide(&lines, room, is_part)
}

/// Divides systems among pages; `rests` are seconds of rest around the end of each.
fn on_pages(score: &Score, placed: &[Placed], rests: &[f64], paper: &Paper, title: &Title, numbering: Numbering) -> Setting {
    let is_part = numbering == Numbering::Systems;
    let divided = division(placed, rests, paper, is_part);
    let mut setting = Setting { pages: Vec::new(), staff: paper.staff, lines: Vec::new(), turns: Vec::new() };
    let count = divided.len();
    for (page, range) in divided.into_iter().enumerate() {
        let (is_last, last) = (page + 1 == count, range.end - 1);
        let here = &placed[range];
        setting.lines.extend(here.iter().map(|placed| (page, placed.first, placed.last)));
        if is_part && page % 2 == 0 && !is_last {
            setting.turns.push(Turn { page: page + 1, after: placed[last].last, rest: rests[last] });
        }
        let printed = |bar: usize| score.bars[bar].number.to_string();
        let mut labels: Vec<Vec<String>> = here
            .iter()
            .map(|placed| {
                let last = if is_part { placed.first } else { placed.last };
                (placed.first.at()..=last.at()).map(printed).collect()
            })
            .collect();
        if is_part && page == 0 {
            // The beginning needs none.
            labels[0].clear();
        }
        let lines: Vec<(&System, Vec<String>)> = here.iter().map(|placed| &placed.system).zip(labels).collect();
        setting.pages.push(sheet(&lines, paper, title, page + 1, is_part, is_last));
    }
    setting
}

/// The bars of each system, from bar `from` of the score on; there are `bars` of them.
fn placed(systems: Vec<System>, rests: &[MultipleRest], from: usize, bars: usize) -> Vec<Placed> {
    let index = |bar: usize| BarIndex(u32::try_from(from + bar.min(bars.saturating_sub(1))).unwrap_or(u32::MAX));
    let mut next = 0usize;
    let mut rests = rests.iter().peekable();
    systems
        .into_iter()
        .map(|system| {
            let first = next;
            for _ in &system.bars {
                next += match rests.next_if(|rest| rest.first.at() <= next) {
                    Some(rest) => rest.bars as usize,
                    None => 1,
                };
            }
            Placed { system, first: index(first), last: index(next.max(first + 1) - 1) }
        })
        .collect()
}

/// Seconds the player rests around the end of each system.
fn rests_around(score: &Score, part: &Part, tempo: &TempoMap, lines: &[Placed]) -> Vec<f64> {
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
        .map(|line| {
            let turn = score.bars.get(line.last.at()).map_or(Crotchets::ZERO, |bar| bar.start + bar.length);
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
    let mut paper = *paper;
    let bars = score.bars.len();
    // Heights do not depend on the size: slices are engraved at the largest staff, then again where that turns out too large.
    let mut all: Vec<Placed> = Vec::new();
    while all.last().is_none_or(|placed| placed.last.at() + 1 < bars) {
        let from = all.last().map_or(0, |placed| placed.last.at() + 1);
        let found = slice(engraver, score, &paper, from)?;
        let tallest = found.iter().map(|placed| placed.system.foot - placed.system.top).fold(0.0, f64::max);
        let most = music_height(&paper, if from == 0 { TITLE } else { HEAD }) / tallest * STAFF / PIXELS;
        // A little less, so that a taller system later does not start everything anew.
        if most < paper.staff && paper.staff > LEAST_STAFF_OF_SCORE {
            paper.staff = (most * 0.97).max(LEAST_STAFF_OF_SCORE).min(paper.staff - 0.05);
            all.clear();
            continue;
        }
        if most < LEAST_STAFF_OF_SCORE * 0.9 {
            let staves = found.first().map_or(0, |placed| placed.system.staves);
            return Err(SettingError::TooManyStaves { staves, staff: most });
        }
        if found.is_empty() {
            return Err(EngraveError::NoPage("no system".to_owned()).into());
        }
        all.extend(found);
        if seen(all.last().map_or(bars, |placed| placed.last.at() + 1)).is_break() {
            return Err(SettingError::BrokenOff);
        }
    }
    Ok(on_pages(score, &all, &vec![0.0; all.len()], &paper, title, Numbering::Bars))
}

/// The systems of some bars from `from` on; all but those that end the score are whole.
fn slice(engraver: &dyn Engraver, score: &Score, paper: &Paper, from: usize) -> Result<Vec<Placed>, SettingError> {
    let index = |bar: usize| BarIndex(u32::try_from(bar).unwrap_or(u32::MAX));
    let end = (from + SLICE).min(score.bars.len());
    let mut piece = cut_pages(score, &Cut::bars(index(from), index(end.saturating_sub(1))))?.score;
    for part in &mut piece.parts {
        part.abbreviation = abbreviation(part);
        if from > 0 {
            part.name.clone_from(&part.abbreviation);
        }
    }
    let printing = Printing { goes_on: from > 0, ..Printing::default() };
    above_strings(&mut piece);
    let empty = match (paper.hides_empty, from) {
        (false, _) => EmptyStaves::Shown,
        (true, 0) => EmptyStaves::HiddenAfterFirst,
        (true, _) => EmptyStaves::Hidden,
    };
    let mut systems = engraved(engraver, &piece, &printing, paper, empty)?;
    // The last line of a slice is not full, unless the score ends with it.
    if end < score.bars.len() && systems.len() > 1 {
        systems.pop();
    }
    Ok(placed(systems, &[], from, end - from))
}

/// Tempi stand over the strings as well as on top of the page (Major Orchestra Librarians' Association, Guidelines for Music Preparation:
/// "above top staff and above first violins"): over the highest that plays in the bar, since staves that rest may be left out.
fn above_strings(score: &mut Score) {
    let is_strings =
        |part: &Part| catalogue().by_id(&part.instrument_id).is_some_and(|one| one.family == Family::Strings) && part.is_body;
    let strings: Vec<usize> = (1..score.parts.len()).filter(|&part| is_strings(&score.parts[part])).collect();
    let Some(top) = score.parts.first().filter(|top| !is_strings(top)) else { return };
    let beside_tempo = |direction: &Direction| {
        top.directions.iter().any(|other| {
            (other.bar, other.at) == (direction.bar, direction.at) && matches!(other.kind, DirectionKind::Metronome { .. })
        })
    };
    let is_of_tempo = |direction: &&Direction| match &direction.kind {
        DirectionKind::Metronome { .. } => true,
        DirectionKind::Words(text) => {
            is_for_all(text) || (text.trim_start().starts_with(char::is_uppercase) && beside_tempo(direction))
        }
        _ => false,
    };
    for sign in top.directions.iter().filter(is_of_tempo).cloned().collect::<Vec<_>>() {
        let plays = |part: &&usize| score.parts[**part].notes_in(sign.bar).iter().any(Note::plays);
        let Some(&part) = strings.iter().find(plays) else { continue };
        let own = &mut score.parts[part].directions;
        if !own.iter().any(|one| (one.bar, one.at) == (sign.bar, sign.at) && one.kind == sign.kind) {
            own.push(Direction { staff: 1, voice: None, above: Some(true), ..sign });
        }
    }
    strings.iter().for_each(|&part| score.parts[part].directions.sort_by_key(|direction| (direction.bar, direction.at)));
}
