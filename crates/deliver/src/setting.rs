//! Books and scores set on pages.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::ops::{ControlFlow, Range};

use ripieno_engraving::{EmptyStaves, EngraveError, Engraver, ExportError, Layout, Page, STAFF, System, key_changes};
use ripieno_formats::excerpt::{Cut, CutError, cut_pages};
use ripieno_formats::musicxml::{LineBreak, MultipleRest, Printing, write_printed};
use ripieno_instruments::{Family, catalogue};
use ripieno_score::{BarIndex, Crotchets, Direction, DirectionKind, Note, Part, Score, TempoMap};

use crate::books::Book;
use crate::course::is_for_all;
use crate::headings;
use crate::names::abbreviation;
use crate::paper::{LEAST_STAFF_OF_SCORE, PIXELS, Paper};
use crate::rests::played;
use crate::sheet::{GAP, HEAD, Place, TITLE, Title, music_height, row_of_numbers, sheet};
use crate::turns::{EASY, Line, Room, divide};
use crate::unseen;

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
    if book.is_tacet() {
        return Ok(tacet(&book.score, paper, title));
    }
    let mut printing = book.printing();
    let mut systems = Vec::new();
    for _ in 0..=TRIES {
        systems = engraved(engraver, &shown, &printing, paper, (EmptyStaves::Shown, None))?;
        let breaks = breaks_before_words(&systems, &book.rests, paper)?;
        if breaks.is_empty() {
            break;
        }
        printing.breaks.extend(breaks);
    }
    let systems = systems.into_iter().map(|system| within(system, paper)).collect::<Result<Vec<_>, _>>()?;
    let placed = placed(systems, &book.rests, 0, book.score.bars.len());
    let rests = book.score.parts.first().map_or_else(Vec::new, |part| rests_around(&book.score, part, tempo, &placed));
    let divided = division(&placed, &rests, paper, true);
    Ok(on_pages(&book.score, &placed, (divided, &rests), paper, title, Numbering::Systems))
}

/// A page that says that there is nothing to play.
fn tacet(score: &Score, paper: &Paper, title: &Title) -> Setting {
    let last = BarIndex(u32::try_from(score.bars.len().saturating_sub(1)).unwrap_or(u32::MAX));
    let page = sheet(&[], paper, title, Place { number: 1, count: 1 }, true);
    Setting { pages: vec![page], staff: paper.staff, lines: vec![(0, BarIndex(0), last)], turns: Vec::new() }
}

/// Width of a line on this paper, in inner units.
fn width_of_line(paper: &Paper) -> f64 {
    (paper.width - 2.0 * paper.margin) / paper.staff * STAFF
}

/// Words that run this far over the end of their line, in millimetres, make their bar begin the next; what runs over it less is moved left.
const MOST_OVER: f64 = 3.0;

/// Bars to begin a line because words at the end of one would run over it.
fn breaks_before_words(
    systems: &[System],
    rests: &[MultipleRest],
    paper: &Paper,
) -> Result<BTreeMap<BarIndex, LineBreak>, SettingError> {
    let most = width_of_line(paper) + MOST_OVER / paper.staff * STAFF;
    let mut breaks = BTreeMap::new();
    for (system, bars) in systems.iter().zip(drawn_bars(systems, rests)) {
        let over = system.words().map_err(unmeasured)?.into_iter().filter(|words| words.right > most);
        // The bar they stand over; the first of a line is where it should be.
        let over = over.filter_map(|words| system.bars.iter().rposition(|&left| left <= words.left + STAFF / 4.0));
        if let Some(bar) = over.filter(|&bar| bar > 0).min().and_then(|bar| bars.get(bar)) {
            breaks.insert(index(*bar), LineBreak::System);
        }
    }
    Ok(breaks)
}

/// A line whose words end with it: what runs over its end is moved to the left.
fn within(system: System, paper: &Paper) -> Result<System, SettingError> {
    let width = width_of_line(paper);
    let words = system.words().map_err(unmeasured)?;
    // A letter in its frame stays in it.
    let over = words.iter().filter(|words| words.right > width && words.class != "reh");
    let moves: Vec<(usize, f64)> = over.map(|words| (words.at, words.right - width)).collect();
    Ok(system.with_moved(&moves))
}

fn unmeasured(error: ExportError) -> SettingError {
    SettingError::Engraving(EngraveError::NoPage(error.to_string()))
}

fn index(bar: usize) -> BarIndex {
    BarIndex(u32::try_from(bar).unwrap_or(u32::MAX))
}

/// What a score engraves to on lines as wide as the paper allows, in systems without the engraver's bar numbers.
fn engraved(
    engraver: &dyn Engraver,
    score: &Score,
    printing: &Printing,
    paper: &Paper,
    (empty, apart): (EmptyStaves, Option<f64>),
) -> Result<Vec<System>, SettingError> {
    let layout = Layout::lines((paper.width - 2.0 * paper.margin) * PIXELS, paper.staff * PIXELS);
    let pages = engraver.engrave_lines(
        headings::joined(&write_printed(score, printing)).as_bytes(),
        &layout,
        &key_changes(score),
        empty,
        apart,
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

/// A system as the division into pages sees it.
fn line_of(placed: &Placed, rest_after: f64) -> Line {
    Line { height: placed.system.foot - placed.system.top + GAP, staves: placed.system.staves, rest_after }
}

/// Room for systems on the pages of this paper.
fn room(paper: &Paper, is_part: bool) -> Room {
    let height = |head: f64| music_height(paper, head) / (paper.staff * PIXELS / STAFF) + GAP;
    Room { first: height(TITLE), other: height(HEAD), most_staves: if is_part { paper.most_staves } else { usize::MAX } }
}

/// Which systems go on which page.
fn division(placed: &[Placed], rests: &[f64], paper: &Paper, is_part: bool) -> Vec<Range<usize>> {
    let lines: Vec<Line> = placed.iter().zip(rests).map(|(placed, &rest)| line_of(placed, rest)).collect();
    let room = room(paper, is_part);
    let open = divide(&lines, room, false);
    // Two pages lie open side by side.
    if !is_part || open.len() <= 2 { open } else { divide(&lines, room, true) }
}

/// Sets systems on the pages they are divided among; `rests` are seconds of rest around the end of each.
fn on_pages(
    score: &Score,
    placed: &[Placed],
    (divided, rests): (Vec<Range<usize>>, &[f64]),
    paper: &Paper,
    title: &Title,
    numbering: Numbering,
) -> Setting {
    let is_part = numbering == Numbering::Systems;
    let mut setting = Setting { pages: Vec::new(), staff: paper.staff, lines: Vec::new(), turns: Vec::new() };
    let count = divided.len();
    for (page, range) in divided.into_iter().enumerate() {
        let (is_last, last) = (page + 1 == count, range.end - 1);
        let here = &placed[range];
        setting.lines.extend(here.iter().map(|placed| (page, placed.first, placed.last)));
        if is_part && count > 2 && page % 2 == 0 && !is_last {
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
        if is_part && page == 0 && begins_the_count(score) {
            labels[0].clear();
        }
        let lines: Vec<(&System, Vec<String>)> = here.iter().map(|placed| &placed.system).zip(labels).collect();
        setting.pages.push(sheet(&lines, paper, title, Place { number: page + 1, count }, is_part));
    }
    setting
}

/// Whether bars are counted from the first one on, which then needs no number in a part.
fn begins_the_count(score: &Score) -> bool {
    score.bars.first().is_none_or(|bar| bar.number.trim().parse::<u32>().is_ok_and(|number| number <= 1))
}

/// The bars of each system, from the first on; a long rest is one, told by its first.
fn drawn_bars(systems: &[System], rests: &[MultipleRest]) -> Vec<Vec<usize>> {
    let mut next = 0usize;
    let mut rests = rests.iter().peekable();
    let mut bar = || {
        let here = next;
        next += rests.next_if(|rest| rest.first.at() <= here).map_or(1, |rest| rest.bars as usize);
        here
    };
    systems.iter().map(|system| system.bars.iter().map(|_| bar()).collect()).collect()
}

/// The bars of each system, from bar `from` of the score on; there are `bars` of them.
fn placed(systems: Vec<System>, rests: &[MultipleRest], from: usize, bars: usize) -> Vec<Placed> {
    let in_score = |bar: usize| index(from + bar.min(bars.saturating_sub(1)));
    let drawn = drawn_bars(&systems, rests);
    let firsts: Vec<usize> = drawn.iter().map(|bars| bars.first().copied().unwrap_or(0)).collect();
    // A line ends where the next begins, the last one with a rest of its own length.
    let end = drawn
        .last()
        .and_then(|drawn| drawn.last())
        .map_or(0, |&last| last + rests.iter().find(|rest| rest.first.at() == last).map_or(1, |rest| rest.bars as usize));
    let ends: Vec<usize> = firsts.iter().skip(1).copied().chain([end]).collect();
    let bars = firsts.into_iter().zip(ends);
    systems
        .into_iter()
        .zip(bars)
        .map(|(system, (first, end))| Placed { system, first: in_score(first), last: in_score(end.max(first + 1) - 1) })
        .collect()
}

/// Seconds the player rests around the end of each system.
fn rests_around(score: &Score, part: &Part, tempo: &TempoMap, lines: &[Placed]) -> Vec<f64> {
    let busy = played(part, &score.bars);
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

/// Sets a full score, its staves as large as the paper allows and its pages filled: where one system leaves half a page empty, staves are made
/// a little smaller so that two go on it. `seen` hears after each slice how many bars are done; it may hear of them twice, and of
/// all of them while lines are joined and pages filled.
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
    let large = systems_of_score(engraver, score, *paper, seen)?;
    // What is complete is kept whatever becomes of what would be finer.
    let small = match large.fuller().map(|staff| systems_of_score(engraver, score, Paper { staff, ..*paper }, seen)) {
        Some(Err(SettingError::BrokenOff)) => return Err(SettingError::BrokenOff),
        small => small.and_then(Result::ok),
    };
    let mut best = match small {
        Some(small) if small.empty(small.paper.staff) + LEAST_GAIN / 2.0 < large.empty(large.paper.staff) => small,
        _ => large,
    };
    let mut seen = || if seen(score.bars.len()).is_break() { Err(SettingError::BrokenOff) } else { Ok(()) };
    join(engraver, score, &mut best, &mut seen)?;
    let rests = vec![0.0; best.placed.len()];
    let divided = division(&best.placed, &rests, &best.paper, false);
    spread(engraver, score, &mut best, &divided, &mut seen)?;
    let ScoreSystems { placed, paper, .. } = best;
    Ok(on_pages(score, &placed, (divided, &rests), &paper, title, Numbering::Bars))
}

/// All systems of a full score, and the paper with the height of their staves.
struct ScoreSystems {
    placed: Vec<Placed>,
    paper: Paper,
    /// Systems that know nothing of the one before, or after them: the first ones of slices.
    edges: BTreeSet<usize>,
}

/// How much less of its pages must be empty, as a share, for a score to be set smaller.
const LEAST_GAIN: f64 = 0.08;
/// Steps in which smaller staves are tried, in millimetres.
const STEP: f64 = 0.125;

impl ScoreSystems {
    /// The mean share of a page that would be left empty with staves of this height, the last page apart. Lines hold more bars where staves are
    /// smaller: so many fewer are reckoned with.
    fn empty(&self, staff: f64) -> f64 {
        let paper = Paper { staff, ..self.paper };
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // some hundreds of lines
        let count = ((self.placed.len() as f64 * staff / self.paper.staff).ceil() as usize).max(1);
        let lines: Vec<Line> = (0..count)
            .filter_map(|line| self.placed.get(line * self.placed.len() / count))
            .map(|placed| line_of(placed, 0.0))
            .collect();
        let room = room(&paper, false);
        let pages = divide(&lines, room, false);
        let whole = pages.len().saturating_sub(1).max(1);
        let empty = |(page, range): (usize, &Range<usize>)| {
            let height = if page == 0 { room.first } else { room.other };
            1.0 - lines[range.clone()].iter().map(|line| line.height).sum::<f64>() / height
        };
        #[allow(clippy::cast_precision_loss)] // some hundreds of pages
        let mean = pages.iter().enumerate().take(whole).map(empty).sum::<f64>() / whole as f64;
        mean
    }

    /// The largest staves with which pages are about as full as with any the paper allows; `None` where these are.
    fn fuller(&self) -> Option<f64> {
        let now = self.empty(self.paper.staff);
        let mut tried: Vec<(f64, f64)> = Vec::new();
        let mut staff = self.paper.staff - STEP;
        while staff >= self.paper.least_staff {
            tried.push((staff, self.empty(staff)));
            staff -= STEP;
        }
        let least = tried.iter().map(|one| one.1).fold(f64::INFINITY, f64::min);
        let (staff, empty) = tried.into_iter().find(|one| one.1 <= least + LEAST_GAIN / 4.0)?;
        (empty + LEAST_GAIN < now).then_some(staff)
    }
}

/// Engraves a full score with staves as large as the paper allows.
fn systems_of_score(
    engraver: &dyn Engraver,
    score: &Score,
    mut paper: Paper,
    seen: &mut dyn FnMut(usize) -> ControlFlow<()>,
) -> Result<ScoreSystems, SettingError> {
    let bars = score.bars.len();
    // Heights do not depend on the size: slices are engraved at the largest staff, then again where that turns out too large.
    let mut all: Vec<Placed> = Vec::new();
    let mut edges = BTreeSet::new();
    while all.last().is_none_or(|placed| placed.last.at() + 1 < bars) {
        let from = all.last().map_or(0, |placed| placed.last.at() + 1);
        let found = slice(engraver, score, &paper, from)?;
        let tallest = found.iter().map(|placed| placed.system.foot - placed.system.top).fold(0.0, f64::max);
        let most = music_height(&paper, if from == 0 { TITLE } else { HEAD }) / tallest * STAFF / PIXELS;
        // A little less, so that a taller system later does not start everything anew.
        if most < paper.staff && paper.staff > LEAST_STAFF_OF_SCORE {
            paper.staff = (most * 0.97).max(LEAST_STAFF_OF_SCORE).min(paper.staff - 0.05);
            all.clear();
            edges.clear();
            continue;
        }
        if most < LEAST_STAFF_OF_SCORE * 0.9 {
            let staves = found.first().map_or(0, |placed| placed.system.staves);
            return Err(SettingError::TooManyStaves { staves, staff: most });
        }
        if found.is_empty() {
            return Err(EngraveError::NoPage("no system".to_owned()).into());
        }
        if from > 0 {
            edges.insert(all.len());
            // Each last line but that of the score had the next beside it, unless it was a slice by itself.
            if all.len() == 1 {
                edges.insert(0);
            }
        }
        all.extend(found);
        if seen(all.last().map_or(bars, |placed| placed.last.at() + 1)).is_break() {
            return Err(SettingError::BrokenOff);
        }
    }
    Ok(ScoreSystems { placed: all, paper, edges })
}

/// The systems of some bars from `from` on; all but those that end the score are whole.
fn slice(engraver: &dyn Engraver, score: &Score, paper: &Paper, from: usize) -> Result<Vec<Placed>, SettingError> {
    let end = (from + SLICE).min(score.bars.len());
    let found = placed(engraved_bars(engraver, score, paper, from..end, None)?, &[], from, end - from);
    // Now that lines are known, signs for all go over the first violins wherever those are on the page.
    let kept = Kept { lines: &found, apart: 0.0 };
    let is_better = kept.lines.len() > 1 && signs(score, paper, from..end, Some(&kept)) != signs(score, paper, from..end, None);
    let again = if is_better { engraved_bars(engraver, score, paper, from..end, Some(&kept))? } else { Vec::new() };
    let is_same = again.len() == found.len() && again.iter().zip(&found).all(|(a, b)| a.bars.len() == b.system.bars.len());
    let mut found = if is_same { placed(again, &[], from, end - from) } else { found };
    // The last line of a slice is not full, unless the score ends with it.
    if end < score.bars.len() && found.len() > 1 {
        found.pop();
    }
    Ok(found)
}

/// Lines that are to stay as they are, and how much farther from each other than usual their staves are to stand, in heights of one.
struct Kept<'a> {
    lines: &'a [Placed],
    apart: f64,
}

/// Bars of a full score engraved.
fn engraved_bars(
    engraver: &dyn Engraver,
    score: &Score,
    paper: &Paper,
    bars: Range<usize>,
    kept: Option<&Kept<'_>>,
) -> Result<Vec<System>, SettingError> {
    let from = bars.start;
    let mut piece = cut_pages(score, &Cut::bars(index(from), index(bars.end.saturating_sub(1))))?.score;
    for part in &mut piece.parts {
        unseen::leave_out(part);
        headings::leave_brackets_out(part);
        part.abbreviation = abbreviation(part);
        if from > 0 {
            part.name.clone_from(&part.abbreviation);
        }
    }
    let mut breaks = BTreeMap::new();
    if let Some(Kept { lines, .. }) = kept {
        let after = lines.last().map(|line| line.last.at() + 1).filter(|after| *after < bars.end);
        let begun = lines.iter().map(|line| line.first.at()).chain(after);
        // The engine keeps to the lines of a document where it has any, be it at its beginning.
        breaks = begun.chain([from]).map(|bar| (index(bar - from), LineBreak::System)).collect();
    }
    let printing = Printing { goes_on: from > 0, breaks, ..Printing::default() };
    let empty = empty_staves(paper, from);
    for (part, sign) in above_strings(&piece, empty, &lines_of(&bars, kept)) {
        piece.parts[part].directions.push(sign);
    }
    piece.parts.iter_mut().for_each(|part| part.directions.sort_by_key(|direction| (direction.bar, direction.at)));
    let systems = engraved(engraver, &piece, &printing, paper, (empty, kept.map(|kept| kept.apart)))?;
    // The row of bar numbers is part of a line.
    let with_row = |system: System| System { foot: row_of_numbers(&system, paper), ..system };
    systems.into_iter().map(|system| within(system, paper).map(with_row)).collect()
}

/// What becomes of staves that only rest, in bars from `from` on.
fn empty_staves(paper: &Paper, from: usize) -> EmptyStaves {
    match (paper.hides_empty, from) {
        (false, _) => EmptyStaves::Shown,
        (true, 0) => EmptyStaves::HiddenAfterFirst,
        (true, _) => EmptyStaves::Hidden,
    }
}

/// The lines of some bars, from the first of them on: those that are kept and what is before and after them, or the beginning of the score
/// alone.
fn lines_of(bars: &Range<usize>, kept: Option<&Kept<'_>>) -> Vec<Range<usize>> {
    let own = kept.map_or(&[][..], |kept| kept.lines);
    let mut lines: Vec<Range<usize>> =
        own.iter().map(|line| line.first.at() - bars.start..line.last.at() + 1 - bars.start).collect();
    match (lines.first().map(|line| line.start), lines.last().map(|line| line.end)) {
        (Some(first), Some(last)) => {
            lines.extend([0..first, last..bars.len()]);
            lines.retain(|line| !line.is_empty());
            lines.sort_by_key(|line| line.start);
        }
        _ if bars.start == 0 => lines.push(0..1),
        _ => {}
    }
    lines
}

/// The signs over the strings of some bars.
fn signs(
    score: &Score,
    paper: &Paper,
    bars: Range<usize>,
    kept: Option<&Kept<'_>>,
) -> Result<Vec<(usize, Direction)>, SettingError> {
    let mut piece = cut_pages(score, &Cut::bars(index(bars.start), index(bars.end.saturating_sub(1))))?.score;
    piece.parts.iter_mut().for_each(headings::leave_brackets_out);
    Ok(above_strings(&piece, empty_staves(paper, bars.start), &lines_of(&bars, kept)))
}

/// Engraves lines anew with the bar before and the bar after them beside, so that ties, slurs and hairpins go over their ends and what changes there
/// is announced; `None` where their bars no longer make these lines.
fn again(engraver: &dyn Engraver, score: &Score, paper: &Paper, kept: &Kept<'_>) -> Result<Option<Vec<Placed>>, SettingError> {
    let (Some(first), Some(last)) = (kept.lines.first(), kept.lines.last()) else { return Ok(None) };
    let (from, end) = (first.first.at(), last.last.at() + 1);
    let beside = from.saturating_sub(1)..(end + 1).min(score.bars.len());
    let before = usize::from(beside.start < from);
    let systems = engraved_bars(engraver, score, paper, beside.clone(), Some(kept))?;
    let is_as_many = systems.len() == before + kept.lines.len() + usize::from(beside.end > end);
    let systems: Vec<System> = systems.into_iter().skip(before).take(kept.lines.len()).collect();
    let same = kept.lines.iter().zip(&systems).all(|(line, system)| system.bars.len() == line.system.bars.len());
    let placed = systems.into_iter().zip(kept.lines).map(|(system, line)| Placed { system, first: line.first, last: line.last });
    Ok((is_as_many && same).then(|| placed.collect()))
}

/// Joins slices: the lines at their edges are engraved with what is beside them.
fn join(engraver: &dyn Engraver, score: &Score, systems: &mut ScoreSystems, seen: &mut Seen<'_>) -> Result<(), SettingError> {
    let room = room(&systems.paper, false);
    for &edge in &systems.edges {
        seen()?;
        let most = if edge == 0 { room.first } else { room.other };
        let kept = Kept { lines: &systems.placed[edge..=edge], apart: 0.0 };
        // A line that cannot be joined stays as it is, complete by itself.
        if let Ok(Some(joined)) = again(engraver, score, &systems.paper, &kept)
            && joined.iter().all(|line| line_of(line, 0.0).height <= most)
        {
            systems.placed.splice(edge..=edge, joined);
        }
    }
    Ok(())
}

/// Empty room on a page, as a share, that staves are spread out to fill.
const EMPTY: f64 = 0.08;
/// How much of the room they are to fill: what they take is known only when they are drawn.
const FILLED: f64 = 0.9;
/// Most by which staves are spread out, in heights of one, and how often that is tried.
const MOST_APART: f64 = 2.0;
const TRIES: usize = 3;

/// Asked whether to go on.
type Seen<'a> = dyn FnMut() -> Result<(), SettingError> + 'a;

/// Spreads out the staves of pages that would end half empty because the next system does not fit on them.
fn spread(
    engraver: &dyn Engraver,
    score: &Score,
    systems: &mut ScoreSystems,
    pages: &[Range<usize>],
    seen: &mut Seen<'_>,
) -> Result<(), SettingError> {
    let room = room(&systems.paper, false);
    let heights = |lines: &[Placed]| lines.iter().map(|placed| line_of(placed, 0.0).height).sum::<f64>();
    for (page, range) in pages.iter().enumerate().take(pages.len().saturating_sub(1)) {
        let height = if page == 0 { room.first } else { room.other };
        let lines = &systems.placed[range.clone()];
        let taken = heights(lines);
        #[allow(clippy::cast_precision_loss)] // a handful
        let between = lines.iter().map(|placed| placed.system.staves.saturating_sub(1)).sum::<usize>() as f64;
        let wanted = (height - taken) * FILLED;
        if height - taken < EMPTY * height || between < 1.0 {
            continue;
        }
        let mut apart = (wanted / between / STAFF).min(MOST_APART);
        let mut best: Option<Vec<Placed>> = None;
        for _ in 0..TRIES {
            seen()?;
            // Whatever fails, the page is there as it was.
            let Ok(Some(wider)) = again(engraver, score, &systems.paper, &Kept { lines, apart }) else { break };
            let gained = heights(&wider) - taken;
            if taken + gained > height {
                break;
            }
            best = Some(wider);
            // Where signs keep staves apart already, the first of it is lost.
            let more = (apart + (wanted - gained) / between / STAFF).min(MOST_APART);
            if more - apart < 0.05 {
                break;
            }
            apart = more;
        }
        if let Some(wider) = best {
            systems.placed.splice(range.clone(), wider);
        }
    }
    Ok(())
}

/// Tempi and rehearsal marks stand over the strings as well as on top of the page (for tempi the Guidelines for Music Preparation of the
/// Major Orchestra Librarians' Association: "above top staff and above first violins"): over the highest that is on the page, which one that
/// only rests in its line may not be. `lines`: the bars of each line, as far as they are known; without them, the highest that plays in the bar.
fn above_strings(score: &Score, empty: EmptyStaves, lines: &[Range<usize>]) -> Vec<(usize, Direction)> {
    let is_strings =
        |part: &Part| catalogue().by_id(&part.instrument_id).is_some_and(|one| one.family == Family::Strings) && part.is_body;
    let strings: Vec<usize> = (1..score.parts.len()).filter(|&part| is_strings(&score.parts[part])).collect();
    let Some(top) = score.parts.first().filter(|top| !is_strings(top)) else { return Vec::new() };
    let for_all = |direction: &&Direction| {
        matches!(direction.kind, DirectionKind::Metronome { .. } | DirectionKind::Rehearsal(_)) || is_for_all(top, direction)
    };
    let mut found = Vec::new();
    for sign in top.directions.iter().filter(for_all) {
        let bar = sign.bar.at();
        let line = lines.iter().find(|line| line.contains(&bar)).cloned().unwrap_or(bar..bar + 1);
        let shows_all = empty == EmptyStaves::Shown || (empty == EmptyStaves::HiddenAfterFirst && lines.first() == Some(&line));
        let plays = |part: usize| line.clone().any(|bar| score.parts[part].notes_in(index(bar)).iter().any(Note::plays));
        let Some(&part) = strings.iter().find(|&&part| shows_all || plays(part)) else { continue };
        let own = &score.parts[part].directions;
        if !own.iter().any(|one| (one.bar, one.at) == (sign.bar, sign.at) && one.kind == sign.kind) {
            found.push((part, Direction { staff: 1, voice: None, above: Some(true), ..sign.clone() }));
        }
    }
    found
}
