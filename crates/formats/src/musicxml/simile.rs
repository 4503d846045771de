//! Signs that repeat whole bars: bars that hold nothing in the file are filled with the notes they stand for.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::{BarIndex, Crotchets, Note, NoteFlags, Part, Rest};

use super::context::{At, Context};
use super::part_reader::BarRead;

/// The staff a sign concerns; `None` for all staves of the part.
pub(super) type StaffOf = Option<u8>;

/// Where a part has bar-repeat signs and which bars they leave to be filled.
#[derive(Debug, Default)]
pub(super) struct Similes {
    /// Signs in force, each repeating so many bars before.
    open: BTreeMap<StaffOf, u32>,
    /// In order of bar and staff.
    empty: Vec<Empty>,
}

/// A bar to fill.
#[derive(Debug, Clone, Copy)]
struct Empty {
    bar: u32,
    staff: StaffOf,
    /// How many bars back its notes stand.
    back: u32,
}

impl Similes {
    /// A sign in bar `bar`: repeats the `bars` bars before from here on, or stops doing so.
    pub fn sign(&mut self, bar: u32, staff: StaffOf, bars: Option<u32>) {
        if staff.is_none() {
            self.open.clear();
        }
        self.open.remove(&None);
        self.open.remove(&staff);
        if let Some(bars) = bars.filter(|&bars| bars > 0 && bars <= bar) {
            self.open.insert(staff, bars);
        }
    }

    /// A bar has been read, and these are the notes the file itself has there.
    pub fn end_bar(&mut self, bar: u32, notes: &[Note]) {
        for (&staff, &back) in &self.open {
            if !notes.iter().any(|note| staff.is_none_or(|staff| note.staff == staff)) {
                self.empty.push(Empty { bar, staff, back });
            }
        }
    }

    /// Follows the part's bars to their places in the score.
    pub fn move_bars(&mut self, moved: impl Fn(u32) -> u32) {
        for empty in &mut self.empty {
            let (from, to) = (moved(empty.bar.saturating_sub(empty.back)), moved(empty.bar));
            (empty.bar, empty.back) = (to, to.saturating_sub(from));
        }
    }

    /// Copies the repeated notes into the bars found empty.
    pub fn fill(&self, part: &mut Part, bars: &mut [BarRead<'_>], context: &mut Context<'_, '_>) {
        let mut origins: BTreeMap<(u32, StaffOf), u32> = BTreeMap::new();
        let name = part.name.clone();
        let mut copier = Copier::new(part, context.events_left());
        for &Empty { bar, staff, back } in &self.empty {
            let Some(before) = bar.checked_sub(back) else { continue };
            // The bar before may itself have been filled: go to where its notes truly stand.
            let origin = origins.get(&(before, staff)).or_else(|| origins.get(&(before, None))).copied().unwrap_or(before);
            origins.insert((bar, staff), origin);
            let number = |bar: u32| bars.get(bar as usize).map_or("", |bar| bar.number);
            let place = At { part: &name, bar: number(bar) };
            if !copier.copy_bar(BarIndex(origin), BarIndex(bar), staff) {
                context.warn(place, "simile-too-much", "bar repeats ask for more notes than are allowed", "The bar stays empty");
                break;
            }
            let on_staff = staff.map(|staff| format!(" on staff {staff}")).unwrap_or_default();
            let what = format!("a repeat sign stands for the notes of bar {}{on_staff}", number(origin));
            context.note(place, "simile", what, "They were written out");
            let source = bars.get(origin as usize).cloned();
            if let (Some(bar), Some(source)) = (bars.get_mut(bar as usize), source) {
                *bar = if staff.is_none() {
                    BarRead { number: bar.number, implicit: bar.implicit, ..source }
                } else {
                    bar.filled_from(&source)
                };
            }
        }
        copier.replace_rests(&origins.into_keys().collect());
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
    fn copy_bar(&mut self, from: BarIndex, to: BarIndex, staff: StaffOf) -> bool {
        let on_staff = |of: u8| staff.is_none_or(|staff| staff == of);
        let read = self.part.notes.get(..self.notes_read).unwrap_or_default();
        let first = read.partition_point(|note| note.bar < from);
        let last = read.partition_point(|note| note.bar <= from);
        let rests = &self.part.rests;
        let first_rest = rests.partition_point(|rest| rest.bar < from);
        let last_rest = rests.partition_point(|rest| rest.bar <= from);
        let Some(budget) = self.budget.checked_sub(last - first + last_rest - first_rest) else { return false };
        self.budget = budget;
        let copies = rests.get(first_rest..last_rest).unwrap_or_default().iter().filter(|rest| on_staff(rest.staff));
        self.rests.extend(copies.map(|rest| Rest { bar: to, ..rest.clone() }));
        let notes = read.get(first..last).unwrap_or_default();
        let end = notes.iter().map(|note| note.at + note.duration).max().unwrap_or_default();
        let sources: Vec<usize> =
            (first..).zip(notes).filter(|(_, note)| on_staff(note.staff)).map(|(source, _)| source).collect();
        for source in sources {
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
        // The note whose stem it shares may stand on another staff, which is not repeated.
        let stem = |note: &Note| (note.bar, note.at, note.voice);
        if self.part.notes.last().is_none_or(|last| stem(last) != stem(&note)) {
            note.flags -= NoteFlags::CHORD;
        }
        let index = u32::try_from(self.part.notes.len()).unwrap_or(u32::MAX);
        self.part.notes.push(note);
        let source = u32::try_from(source).unwrap_or(u32::MAX);
        let begin = self.part.marks.partition_point(|&(of, _)| of < source);
        let marks: Vec<_> = self.part.marks.iter().skip(begin).take_while(|&&(of, _)| of == source).cloned().collect();
        self.part.marks.extend(marks.into_iter().map(|(_, mark)| (index, mark)));
    }

    /// Puts the copied rests in place of those that only held the filled bars open.
    fn replace_rests(self, filled: &BTreeSet<(u32, StaffOf)>) {
        if filled.is_empty() {
            return;
        }
        let held_open = |rest: &Rest| [None, Some(rest.staff)].iter().any(|&staff| filled.contains(&(rest.bar.0, staff)));
        self.part.rests.retain(|rest| !held_open(rest));
        self.part.rests.extend(self.rests);
    }
}
