//! Signs that repeat whole bars: bars that hold nothing in the file are filled with the notes they stand for.

use ripieno_score::{BarIndex, Crotchets, NoteFlags, Part, Rest};

use super::context::{At, Context};
use super::part_reader::BarRead;

/// Where a part has bar-repeat signs and which bars they leave to be filled.
#[derive(Debug, Default)]
pub(super) struct Similes {
    /// Repeats the so many bars before, since a sign.
    open: Option<u32>,
    /// (bar to fill, how many bars back its notes stand)
    empty: Vec<(u32, u32)>,
}

impl Similes {
    /// A sign in bar `bar`: repeats the `bars` bars before from here on, or stops doing so.
    pub fn sign(&mut self, bar: u32, bars: Option<u32>) {
        self.open = bars.filter(|&bars| bars > 0 && bars <= bar);
    }

    /// A bar has been read; `has_notes` says whether the file itself has notes there.
    pub fn end_bar(&mut self, bar: u32, has_notes: bool) {
        if let Some(bars) = self.open
            && !has_notes
        {
            self.empty.push((bar, bars));
        }
    }

    /// Follows the part's bars to their places in the score.
    pub fn move_bars(&mut self, moved: impl Fn(u32) -> u32) {
        for (bar, back) in &mut self.empty {
            let (from, to) = (moved(bar.saturating_sub(*back)), moved(*bar));
            (*bar, *back) = (to, to.saturating_sub(from));
        }
    }

    /// Copies the repeated notes into the bars found empty.
    pub fn fill(&self, part: &mut Part, bars: &mut [BarRead<'_>], context: &mut Context<'_, '_>) {
        let mut origins: Vec<(u32, u32)> = Vec::with_capacity(self.empty.len());
        for &(bar, back) in &self.empty {
            let Some(before) = bar.checked_sub(back) else { continue };
            // The bar before may itself have been filled: go to where its notes truly stand.
            let found = origins.binary_search_by_key(&before, |&(filled, _)| filled);
            let origin = found.ok().and_then(|at| origins.get(at)).map_or(before, |&(_, origin)| origin);
            origins.push((bar, origin));
        }
        let name = part.name.clone();
        let mut copier = Copier::new(part, context.events_left());
        for &(bar, origin) in &origins {
            let number = |bar: u32| bars.get(bar as usize).map_or("", |bar| bar.number);
            let place = At { part: &name, bar: number(bar) };
            if !copier.copy_bar(BarIndex(origin), BarIndex(bar)) {
                context.warn(place, "simile-too-much", "bar repeats ask for more notes than are allowed", "The bar stays empty");
                break;
            }
            let what = format!("a repeat sign stands for the notes of bar {}", number(origin));
            context.note(place, "simile", what, "They were written out");
            let source = bars.get(origin as usize).cloned();
            if let (Some(bar), Some(source)) = (bars.get_mut(bar as usize), source) {
                *bar = BarRead { number: bar.number, implicit: bar.implicit, ..source };
            }
        }
        copier.replace_rests(&origins);
    }
}

/// Copies bars of a part to later bars, within a budget.
struct Copier<'p> {
    part: &'p mut Part,
    notes_read: usize,
    budget: usize,
    rests: Vec<Rest>,
}

impl<'p> Copier<'p> {
    /// At most so many notes and rests are made; a bar-repeat sign is small, so what it may unfold to is kept in proportion to the file.
    fn new(part: &'p mut Part, most: usize) -> Self {
        const COPIES_OF_ALL: usize = 16;
        let (notes_read, read) = (part.notes.len(), part.notes.len() + part.rests.len());
        Self { part, notes_read, budget: most.min(read * COPIES_OF_ALL + 10_000), rests: Vec::new() }
    }

    /// Copies notes, rests and their marks; `false` when there would be too many.
    fn copy_bar(&mut self, from: BarIndex, to: BarIndex) -> bool {
        let read = self.part.notes.get(..self.notes_read).unwrap_or_default();
        let first = read.partition_point(|note| note.bar < from);
        let last = read.partition_point(|note| note.bar <= from);
        let rests = &self.part.rests;
        let first_rest = rests.partition_point(|rest| rest.bar < from);
        let last_rest = rests.partition_point(|rest| rest.bar <= from);
        let Some(budget) = self.budget.checked_sub(last - first + last_rest - first_rest) else { return false };
        self.budget = budget;
        let copies = rests.get(first_rest..last_rest).unwrap_or_default().iter();
        self.rests.extend(copies.map(|rest| Rest { bar: to, ..rest.clone() }));
        let end = read.get(first..last).unwrap_or_default().iter().map(|note| note.at + note.duration).max().unwrap_or_default();
        for source in first..last {
            self.copy_note(source, to, end);
        }
        true
    }

    fn copy_note(&mut self, source: usize, to: BarIndex, end: Crotchets) {
        let Some(mut note) = self.part.notes.get(source).cloned() else { return };
        note.bar = to;
        note.flags |= NoteFlags::FILLED_IN;
        // Ties across the barlines of the bar repeated do not lead into this one.
        if note.at == Crotchets::ZERO {
            note.flags -= NoteFlags::TIE_STOP;
        }
        if note.at + note.duration == end {
            note.flags -= NoteFlags::TIE_START;
        }
        let index = u32::try_from(self.part.notes.len()).unwrap_or(u32::MAX);
        self.part.notes.push(note);
        let source = u32::try_from(source).unwrap_or(u32::MAX);
        let begin = self.part.marks.partition_point(|&(of, _)| of < source);
        let marks: Vec<_> = self.part.marks.iter().skip(begin).take_while(|&&(of, _)| of == source).cloned().collect();
        self.part.marks.extend(marks.into_iter().map(|(_, mark)| (index, mark)));
    }

    /// Puts the copied rests in place of those that only held the filled bars open.
    fn replace_rests(self, filled: &[(u32, u32)]) {
        if filled.is_empty() {
            return;
        }
        self.part.rests.retain(|rest| filled.binary_search_by_key(&rest.bar.0, |&(bar, _)| bar).is_err());
        self.part.rests.extend(self.rests);
    }
}
