//! The columns of the file side by side, and the manipulators that split, join, add, exchange and end them.
//!
//! Source: Humdrum User Guide, chapter 5 (spine paths).

use ripieno_score::{Crotchets, NoteFlags};

/// A spine or sub-spine as it stands on a line.
#[derive(Debug, Clone)]
pub(super) struct Column {
    /// Its spine, index into the reader's list; `None` between `*+` and the exclusive interpretation that follows.
    pub spine: Option<usize>,
    /// Which of the spine's columns it is, from the left.
    pub layer: u16,
    /// When its last note or rest ends.
    pub until: Crotchets,
    /// When that note or rest began.
    pub onset: Crotchets,
    /// Its notes: first index and number, in the spine's list.
    pub last: (u32, u32),
    /// Whether it is a rest: the last in the spine's list at that time.
    pub last_rest: Option<u32>,
    /// Open beams, and those of grace notes.
    pub beams: [u8; 2],
    /// What keeps its notes from playing: CUE or OSSIA.
    pub silent: NoteFlags,
    /// Whether the second note of a two-note tremolo is still to come.
    pub tremolo: bool,
}

impl Column {
    pub(super) const fn new(spine: Option<usize>, until: Crotchets) -> Self {
        Self {
            spine,
            layer: 0,
            until,
            onset: until,
            last: (0, 0),
            last_rest: None,
            beams: [0; 2],
            silent: NoteFlags::empty(),
            tremolo: false,
        }
    }
}

/// A manipulator, or none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Path {
    Keep,
    Split,
    Join,
    Add,
    Exchange,
    End,
}

impl Path {
    pub(super) const fn of(token: &[u8]) -> Self {
        match token {
            b"*^" => Self::Split,
            b"*v" => Self::Join,
            b"*+" => Self::Add,
            b"*x" => Self::Exchange,
            b"*-" => Self::End,
            _ => Self::Keep,
        }
    }
}

/// What was wrong with a line of manipulators.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fault {
    /// `*v` without a neighbour to join.
    LoneJoin,
    /// `*x` that is not one of two.
    LoneExchange,
}

/// Carries out a line of manipulators. `width` is the number of tokens on the next line that has any, which tells whether
/// joins that meet, one spine's beside another's, are one join or several.
pub(super) fn carry_out(columns: Vec<Column>, paths: &[Path], width: Option<usize>, most: usize) -> (Vec<Column>, Vec<Fault>) {
    let together = join(&columns, paths, |_, _| true);
    if paths.contains(&Path::Join) && width.is_some_and(|width| width != together.0.len()) {
        let apart = join(&columns, paths, |a, b| a.spine == b.spine);
        if Some(apart.0.len()) == width {
            return finish(apart, most);
        }
    }
    finish(together, most)
}

fn finish((mut columns, faults): (Vec<Column>, Vec<Fault>), most: usize) -> (Vec<Column>, Vec<Fault>) {
    columns.truncate(most);
    number_layers(&mut columns);
    (columns, faults)
}

fn join(columns: &[Column], paths: &[Path], joins: impl Fn(&Column, &Column) -> bool) -> (Vec<Column>, Vec<Fault>) {
    let mut result: Vec<Column> = Vec::with_capacity(columns.len() + 1);
    let mut faults = Vec::new();
    let path = |index: usize| paths.get(index).copied().unwrap_or(Path::Keep);
    let mut i = 0;
    while let Some(column) = columns.get(i) {
        match path(i) {
            Path::Keep => result.push(column.clone()),
            Path::Split => result.extend([column.clone(), column.clone()]),
            Path::Add => result.extend([column.clone(), Column::new(None, column.until)]),
            Path::End => {}
            Path::Exchange => match (path(i + 1), columns.get(i + 1)) {
                (Path::Exchange, Some(other)) => {
                    result.extend([other.clone(), column.clone()]);
                    i += 1;
                }
                _ => {
                    faults.push(Fault::LoneExchange);
                    result.push(column.clone());
                }
            },
            Path::Join => {
                let mut joined = column.clone();
                let first = i;
                while let Some(other) = columns.get(i + 1).filter(|other| path(i + 1) == Path::Join && joins(column, other)) {
                    if other.until > joined.until {
                        (joined.until, joined.onset, joined.last, joined.last_rest) =
                            (other.until, other.onset, other.last, other.last_rest);
                    }
                    i += 1;
                }
                if i == first {
                    faults.push(Fault::LoneJoin);
                }
                result.push(joined);
            }
        }
        i += 1;
    }
    (result, faults)
}

/// Numbers the columns of each spine from the left. Columns of a spine stand side by side unless they were exchanged.
fn number_layers(columns: &mut [Column]) {
    let mut next: std::collections::BTreeMap<usize, u16> = std::collections::BTreeMap::new();
    for column in columns {
        let Some(spine) = column.spine else { continue };
        let layer = next.entry(spine).or_default();
        column.layer = *layer;
        *layer = layer.saturating_add(1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Spines as letters, sub-spines with their layer: `a0 a1 b0`.
    fn after(columns: &str, paths: &str, width: Option<usize>) -> String {
        let mut list: Vec<Column> =
            columns.bytes().map(|byte| Column::new(Some(usize::from(byte - b'a')), Crotchets::ZERO)).collect();
        number_layers(&mut list);
        let paths: Vec<Path> = paths.split(' ').map(|path| Path::of(path.as_bytes())).collect();
        let (columns, faults) = carry_out(list, &paths, width, 16);
        let letter = |column: &Column| column.spine.map_or('+', |spine| char::from(b'a' + u8::try_from(spine).unwrap()));
        let mut shown: Vec<String> = columns.iter().map(|column| format!("{}{}", letter(column), column.layer)).collect();
        shown.extend(faults.iter().map(|fault| format!("{fault:?}")));
        shown.join(" ")
    }

    #[test]
    fn paths() {
        assert_eq!(after("ab", "*^ *", None), "a0 a1 b0");
        assert_eq!(after("aab", "*v *v *", None), "a0 b0");
        assert_eq!(after("aaab", "*v *v *v *-", None), "a0");
        assert_eq!(after("ab", "*x *x", None), "b0 a0");
        assert_eq!(after("ab", "*+ *", None), "a0 +0 b0");
        assert_eq!(after("ab", "*v *", None), "a0 b0 LoneJoin");
        assert_eq!(after("ab", "* *x", None), "a0 b0 LoneExchange");
    }

    #[test]
    fn joins_that_meet_are_told_apart_by_the_next_line() {
        assert_eq!(after("aabb", "*v *v *v *v", Some(2)), "a0 b0");
        assert_eq!(after("aabb", "*v *v *v *v", Some(1)), "a0");
        assert_eq!(after("aabb", "*v *v *v *v", None), "a0");
    }

    #[test]
    fn splits_are_bounded() {
        assert_eq!(after("aaaaaaaaaaaaaaaa", &["*^"; 16].join(" "), None).split(' ').count(), 16);
    }
}
