//! From families of figures to themes and their statements.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_score::Crotchets;

use super::figures::{Figures, VIEWS};
use super::line::ThemeLine;

/// A part that plays a statement along with its carrier.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Supporter {
    /// The part.
    pub part: usize,
    /// Its first note less the carrier's, in semitones: 0 at the unison, -12 an octave below; others run in parallel.
    pub interval: i32,
}

/// One appearance of a theme.
#[derive(Debug, Clone, PartialEq)]
pub struct Statement {
    /// The carrier's part.
    pub part: usize,
    /// Index of the line in the input.
    pub line: usize,
    /// Notes of that line.
    pub notes: Range<usize>,
    /// When the first begins.
    pub onset: Crotchets,
    /// When the last ends.
    pub end: Crotchets,
    /// Semitones above the theme's reference statement.
    pub transposition: i32,
    /// Staff steps above it.
    pub steps: i32,
    /// Length of its times against the reference's, exact where both keep their proportions: 2 for augmentation.
    pub time_scale: Crotchets,
    /// Which notes of the reference statement it plays, as far as it can be told.
    pub fragment: Range<usize>,
    /// Share of its figures that the reference has in the same form, 0 to 1.
    pub similarity: f32,
    /// Who plays along, by part.
    pub supporters: Vec<Supporter>,
}

/// A recurring idea.
#[derive(Debug, Clone, PartialEq)]
pub struct Theme {
    /// Number, from 1, by weight in the piece.
    pub id: usize,
    /// Index of the reference statement: the first of those that hold most of the theme's figures.
    pub reference: usize,
    /// By onset, then line.
    pub statements: Vec<Statement>,
}

/// A run of figures of one family in one line.
struct Run {
    line: usize,
    notes: Range<usize>,
}

/// Whether a part has the tune from one moment to another.
pub(super) type Sings<'a> = &'a dyn Fn(usize, Crotchets, Crotchets) -> bool;

pub(super) fn collect(lines: &[ThemeLine], figures: &Figures, families: &[u32], sings: Sings<'_>) -> Vec<Theme> {
    let mut runs: BTreeMap<u32, Vec<Run>> = BTreeMap::new();
    for (line, ids) in figures.ids.iter().enumerate() {
        // The run in hand of each family, and the figures it began with.
        let mut open: BTreeMap<u32, (Range<usize>, [u32; VIEWS])> = BTreeMap::new();
        for (at, ids) in ids.iter().enumerate() {
            for view in 0..VIEWS {
                let family = families[ids[view] as usize];
                if family == 0 {
                    continue;
                }
                let end = at + Figures::length(view);
                let (run, began) = open.entry(family).or_insert_with(|| (at..end, *ids));
                // It begins again after a gap, or when its first figure comes round.
                let again = at >= run.start + Figures::length(view) && ids[view] == began[view];
                if run.end <= at || again {
                    let before = run.start..run.end.min(at);
                    runs.entry(family).or_default().push(Run { line, notes: before });
                    (*run, *began) = (at..end, *ids);
                } else {
                    run.end = run.end.max(end);
                }
            }
        }
        for (family, (notes, _)) in open {
            runs.entry(family).or_default().push(Run { line, notes });
        }
    }
    let families = runs.into_values().map(|runs| statements(lines, runs));
    let mut themes: Vec<Theme> = families.flat_map(|family| stars(lines, figures, family, sings)).collect();
    let weight = |theme: &Theme| theme.statements.iter().map(|s| s.notes.len()).sum::<usize>();
    themes.sort_by(|a, b| weight(b).cmp(&weight(a)).then(first(a).cmp(&first(b))));
    let mut themes = without_echoes(lines, themes);
    // Tunes before the figures that accompany them, whatever their weight.
    themes.sort_by_cached_key(|theme| {
        2 * theme.statements.iter().filter(|s| sings(s.part, s.onset, s.end)).count() < theme.statements.len()
    });
    for (index, theme) in themes.iter_mut().enumerate() {
        theme.id = index + 1;
    }
    themes
}

/// Leaves out a theme whose every statement lies, for four fifths of its notes, in statements of one heavier theme.
fn without_echoes(lines: &[ThemeLine], themes: Vec<Theme>) -> Vec<Theme> {
    let mut owners: Vec<Vec<Vec<usize>>> = lines.iter().map(|line| vec![Vec::new(); line.notes.len()]).collect();
    let mut kept: Vec<Theme> = Vec::new();
    for theme in themes {
        let mut above: Option<BTreeSet<usize>> = None;
        for statement in &theme.statements {
            let mut held: BTreeMap<usize, usize> = BTreeMap::new();
            for &owner in statement.notes.clone().flat_map(|note| &owners[statement.line][note]) {
                *held.entry(owner).or_default() += 1;
            }
            let here = held.into_iter().filter(|&(_, notes)| 5 * notes >= 4 * statement.notes.len()).map(|(owner, _)| owner);
            let here: BTreeSet<usize> = here.filter(|owner| above.as_ref().is_none_or(|above| above.contains(owner))).collect();
            above = Some(here);
        }
        if above.is_some_and(|above| !above.is_empty()) {
            continue;
        }
        for statement in &theme.statements {
            statement.notes.clone().for_each(|note| owners[statement.line][note].push(kept.len()));
        }
        kept.push(theme);
    }
    kept
}

fn first(theme: &Theme) -> Option<(Crotchets, usize)> {
    theme.statements.first().map(|s| (s.onset, s.line))
}

/// The statements of one family by onset, what moves with a statement as its supporter.
fn statements(lines: &[ThemeLine], mut runs: Vec<Run>) -> Vec<Statement> {
    let onset = |run: &Run| lines[run.line].notes[run.notes.start].onset;
    let end = |run: &Run| lines[run.line].notes[run.notes.end - 1].end;
    // At one moment the longest run carries, the highest of equals; what begins within it and moves with it supports.
    runs.sort_by(|a, b| {
        onset(a).cmp(&onset(b)).then(b.notes.len().cmp(&a.notes.len())).then_with(|| {
            let key = |run: &Run| lines[run.line].notes[run.notes.start].key;
            key(b).cmp(&key(a)).then(a.line.cmp(&b.line))
        })
    });
    let mut statements: Vec<Statement> = Vec::new();
    for run in &runs {
        let line = &lines[run.line];
        let begin = &line.notes[run.notes.start];
        let carried = statements
            .iter_mut()
            .rev()
            .take(8)
            .find(|s| s.onset <= begin.onset && end(run) <= s.end && together(&lines[s.line], &s.notes, line, &run.notes));
        if let Some(statement) = carried {
            let mine = &lines[statement.line].notes[statement.notes.clone()];
            let at = mine.partition_point(|note| note.onset < begin.onset).min(mine.len() - 1);
            let interval = i32::from(begin.key) - i32::from(mine[at].key);
            let part = line.carrier(run.notes.start);
            if part != statement.part && statement.supporters.iter().all(|s| s.part != part) {
                statement.supporters.push(Supporter { part, interval });
            }
            continue;
        }
        statements.push(Statement {
            part: line.carrier(run.notes.start),
            line: run.line,
            notes: run.notes.clone(),
            onset: begin.onset,
            end: end(run),
            transposition: 0,
            steps: 0,
            time_scale: Crotchets::ONE,
            fragment: 0..run.notes.len(),
            similarity: 1.0,
            supporters: Vec::new(),
        });
    }
    statements.iter_mut().for_each(|s| s.supporters.sort_unstable());
    statements
}

/// Share of its figures that a statement must have in common with the reference to belong to its theme.
const ALIKE: f32 = 0.1;
/// Themes that one family is taken apart into; what is left over then stays together.
const MOST_STARS: usize = 32;
/// References that are tried in one family: those that gather nothing are no themes, but each costs a look at all that is left.
const MOST_REFERENCES: usize = 512;

/// The themes of one family. Families are chains, whose ends may have nothing in common: so a reference statement gathers what has figures in
/// common with it, and the rest begins again, for at most [`MOST_REFERENCES`] rounds. What is left alone, or was not tried, joins the theme that has
/// most of its figures.
fn stars(lines: &[ThemeLine], figures: &Figures, mut rest: Vec<Statement>, sings: Sings<'_>) -> Vec<Theme> {
    let mut found: Vec<(Statement, Vec<Statement>)> = Vec::new();
    let mut alone: Vec<Statement> = Vec::new();
    // The longest first, equals as they come; what is of the tune before all others.
    rest.sort_by_cached_key(|s| Reverse((sings(s.part, s.onset, s.end), s.notes.len())));
    for _ in 0..MOST_REFERENCES {
        let Some(whole) = rest.first().filter(|_| rest.len() > 1).cloned() else { break };
        compare(lines, figures, &mut rest, &whole);
        let last = found.len() + 1 >= MOST_STARS;
        let (near, far): (Vec<Statement>, Vec<Statement>) =
            rest.into_iter().partition(|s| last || s.similarity >= ALIKE || is_same(s, &whole));
        rest = far;
        if near.len() > 1 { found.push((whole, near)) } else { alone.extend(near) }
    }
    alone.append(&mut rest);
    let held: Vec<BTreeSet<u32>> =
        found.iter().map(|(_, near)| near.iter().flat_map(|s| figures_of(figures, s)).collect()).collect();
    for statement in alone {
        let own: BTreeSet<u32> = figures_of(figures, &statement).collect();
        let shared = |at: usize| own.intersection(&held[at]).count();
        let best = (0..found.len())
            .fold(None, |best, at| if best.is_none_or(|best| shared(at) > shared(best)) { Some(at) } else { best });
        if let Some(best) = best.filter(|&best| shared(best) as f32 >= ALIKE * own.len() as f32) {
            found[best].1.push(statement);
        }
    }
    let theme = |(whole, mut statements): (Statement, Vec<Statement>)| {
        statements.sort_by(|a, b| a.onset.cmp(&b.onset).then(a.line.cmp(&b.line)));
        compare(lines, figures, &mut statements, &whole);
        let reference = statements.iter().position(|s| is_same(s, &whole)).unwrap_or(0);
        Theme { id: 0, reference, statements }
    };
    found.into_iter().map(theme).collect()
}

fn is_same(a: &Statement, b: &Statement) -> bool {
    (a.line, &a.notes) == (b.line, &b.notes)
}

/// The figures a statement has whole.
fn figures_of<'a>(figures: &'a Figures, statement: &Statement) -> impl Iterator<Item = u32> + use<'a> {
    let (line, notes) = (statement.line, statement.notes.clone());
    let whole = move |view: usize| {
        (notes.start..(notes.end + 1).saturating_sub(Figures::length(view))).map(move |at| figures.ids[line][at][view])
    };
    (0..VIEWS).flat_map(whole).filter(|&id| id > 0)
}

/// Whether most attacks of `b` fall on attacks of `a`.
fn together(a: &ThemeLine, a_notes: &Range<usize>, b: &ThemeLine, b_notes: &Range<usize>) -> bool {
    let (mine, theirs) = (&a.notes[a_notes.clone()], &b.notes[b_notes.clone()]);
    let common = theirs.iter().filter(|note| mine.binary_search_by(|other| other.onset.cmp(&note.onset)).is_ok()).count();
    4 * common >= 3 * theirs.len()
}

/// Sets each statement against the reference `whole`: by the first figure they share in the strictest view that has one.
fn compare(lines: &[ThemeLine], figures: &Figures, statements: &mut [Statement], whole: &Statement) {
    let model = &lines[whole.line].notes;
    let mut places: BTreeMap<(usize, u32), usize> = BTreeMap::new();
    for at in whole.notes.clone() {
        for view in 0..VIEWS {
            let id = figures.ids[whole.line][at][view];
            if id > 0 && at + Figures::length(view) <= whole.notes.end {
                places.entry((view, id)).or_insert(at);
            }
        }
    }
    for statement in statements {
        let ids = &figures.ids[statement.line];
        let found = (0..VIEWS).find_map(|view| {
            statement.notes.clone().find_map(|at| places.get(&(view, ids[at][view])).map(|&there| (at, there, view)))
        });
        let all = statement.notes.clone().filter(|&at| ids[at].iter().any(|&id| id > 0)).count().max(1);
        let same =
            statement.notes.clone().filter(|&at| (0..VIEWS).any(|view| places.contains_key(&(view, ids[at][view])))).count();
        statement.similarity = same as f32 / all as f32;
        (statement.transposition, statement.steps, statement.time_scale) = (0, 0, Crotchets::ONE);
        statement.fragment = 0..statement.notes.len();
        let Some((at, there, view)) = found else { continue };
        let notes = &lines[statement.line].notes;
        statement.transposition = i32::from(notes[at].key) - i32::from(model[there].key);
        statement.steps = notes[at].place - model[there].place;
        let last = Figures::length(view) - 1;
        let length = |notes: &[super::line::ThemeNote], at: usize| notes[at + last].onset - notes[at].onset;
        statement.time_scale = length(notes, at).checked_div(length(model, there)).unwrap_or(Crotchets::ONE);
        let shift = |note: usize| (note + there).saturating_sub(at).clamp(whole.notes.start, whole.notes.end) - whole.notes.start;
        statement.fragment = shift(statement.notes.start)..shift(statement.notes.end);
    }
}
