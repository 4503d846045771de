//! Recurring melodic ideas: where each statement is, who carries it and who supports it.
//!
//! [`themes`] looks for figures - a few intervals with the proportions of their times - that come back, transposed within the scale or
//! out of it, in other note values, in any line. Figures that follow each other in more than one place belong to one family, and what has figures in
//! common with its chief statement is one theme; what plays them without a break is a statement of it, whole or in part. Three views of a figure forgive in turn nothing but the size of seconds and thirds, the exact size of
//! intervals, and all but contour and rhythm. Scales, repeated notes and whatever is too common in the piece to be known again make no theme.
//!
//! Left to others: which lines are melody (pass the melody's own line to hear of nothing else).

mod figures;
mod line;
mod statements;

use figures::{Figures, VIEWS};
pub use line::{ThemeLine, ThemeNote, top_lines};
use ripieno_score::Crotchets;
pub use statements::{Statement, Supporter, Theme};

/// Recurring ideas of the given lines, those with most statements' notes first. Cost is near linear in the number of notes; where a family of figures falls apart into many
/// ideas, its notes are looked at again for each, up to a fixed number of times.
#[must_use]
pub fn themes(lines: &[ThemeLine]) -> Vec<Theme> {
    themes_sung(lines, |_, _, _| true)
}

/// The same where it is known who has the tune: `sings` answers whether a part has it from one moment to another. Ideas of which at least half
/// of the statements are sung come first, and the reference of each is a sung statement where there is one.
#[must_use]
pub fn themes_sung(lines: &[ThemeLine], sings: impl Fn(usize, Crotchets, Crotchets) -> bool) -> Vec<Theme> {
    let figures = Figures::new(lines);
    let families = families(lines, &figures);
    statements::collect(lines, &figures, &families, &sings)
}

/// Moments at which one figure must follow another, in the strict view, before they belong together.
const STRICT: usize = 2;
/// The same in the forgiving views, and for two views of one place.
const LOOSE: usize = 3;

/// Where a figure or a step from one to the next occurs: id, then onset, doublings at the same time counted once.
type Places<K> = Vec<(K, Crotchets)>;

/// For each figure the family it belongs to (a figure stands for its family), 0 for figures that do not come back.
fn families(lines: &[ThemeLine], figures: &Figures) -> Vec<u32> {
    let mut places: Places<u32> = Vec::new();
    for (line, ids) in lines.iter().zip(&figures.ids) {
        for (note, ids) in line.notes.iter().zip(ids) {
            places.extend(ids.iter().filter(|&&id| id > 0).map(|&id| (id, note.onset)));
        }
    }
    let mut often = vec![0usize; figures.count];
    for (id, count) in counted(places) {
        often[id as usize] = count;
    }
    let comes_back: Vec<bool> = often.iter().map(|&count| count >= 2).collect();
    let mut links: Places<(u32, u32, usize)> = Vec::new();
    for (line, ids) in lines.iter().zip(&figures.ids) {
        for (at, here) in ids.iter().enumerate() {
            for view in 0..VIEWS {
                let id = here[view];
                if id == 0 || !comes_back[id as usize] {
                    continue;
                }
                let next = ids.get(at + 1).map_or(0, |next| next[view]);
                // A step within the strict view is good evidence; looser ones must be seen more often.
                let least = if view == 0 { STRICT } else { LOOSE };
                let others = [(next, least)].into_iter().chain(here[view + 1..].iter().map(|&other| (other, LOOSE)));
                for (other, least) in others {
                    if other > 0 && comes_back[other as usize] {
                        links.push(((id, other, least), line.notes[at].onset));
                    }
                }
            }
        }
    }
    let mut sets = Sets((0..u32::try_from(figures.count).unwrap_or(u32::MAX)).collect());
    for ((a, b, least), count) in counted(links) {
        // Two that never come apart are one.
        if count >= least || (count == often[a as usize] && count == often[b as usize]) {
            sets.join(a, b);
        }
    }
    (0..u32::try_from(figures.count).unwrap_or(u32::MAX))
        .map(|id| if comes_back[id as usize] { sets.root(id) } else { 0 })
        .collect()
}

/// How many different moments each key has, in order of keys.
fn counted<K: Copy + Ord>(mut places: Places<K>) -> Vec<(K, usize)> {
    places.sort_unstable();
    places.dedup();
    places.chunk_by(|a, b| a.0 == b.0).map(|same| (same[0].0, same.len())).collect()
}

/// Disjoint sets; the smallest member stands for each.
struct Sets(Vec<u32>);

impl Sets {
    fn root(&mut self, mut id: u32) -> u32 {
        while self.0[id as usize] != id {
            let above = self.0[self.0[id as usize] as usize];
            self.0[id as usize] = above;
            id = above;
        }
        id
    }

    fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b) as usize] = a.min(b);
    }
}
