//! Layers: lines that act together over a stretch of bars, and how each goes with the layer's chief line.
//!
//! Lines belong together in a bar when they attack together (three quarters of the attacks of either) over a stretch of at least four
//! shared attacks (`group` judges that) and do the same kind of thing: tune, bass or accompaniment. Where three quarters of all lines move in one rhythm, tune,
//! chords and bass are one layer all the same: a chorale, a stack. A layer goes on from bar to bar while at least half of all its lines stay; a line that
//! joins or leaves meanwhile is a member for its own bars. Each line that sounds in a bar lies in exactly one layer there, be it alone.

pub(crate) mod group;

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::lines::{Line, Lines};
use crate::role::Role;
use crate::roles::Cell;
use group::Place;

/// How a line goes with the chief line of its layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Relation {
    /// The same notes.
    Unison,
    /// The same notes, octaves apart.
    Octaves,
    /// The same rhythm and nearly the same steps, some other interval apart: a thickened line.
    Parallel,
    /// The same rhythm.
    SameRhythm,
}

impl Relation {
    /// The word for it, lower case.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Unison => "unison",
            Self::Octaves => "octaves",
            Self::Parallel => "parallel",
            Self::SameRhythm => "same rhythm",
        }
    }
}

/// A line in a layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// The line, index into [`Lines::lines`].
    pub line: usize,
    /// Played bars for which it belongs to the layer, end exclusive.
    pub bars: Range<u32>,
    /// How it goes with the layer's first member; `None` for that member itself, and for a line that never sounds beside it.
    pub relation: Option<Relation>,
}

/// Lines that act together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layer {
    /// Played bars, end exclusive.
    pub bars: Range<u32>,
    /// The lines, the chief one first (the strongest lead, of equals the highest), then in score order; never empty. A
    /// line that leaves and comes back stands here twice.
    pub members: Vec<Member>,
}

impl Layer {
    /// Lines that belong to it in a bar.
    pub fn lines_in(&self, bar: u32) -> impl Iterator<Item = usize> {
        self.members.iter().filter(move |member| member.bars.contains(&bar)).map(|member| member.line)
    }

    /// How its lines go together: the loosest relation of any member to the chief one; `None` for a single line.
    #[must_use]
    pub fn relation(&self) -> Option<Relation> {
        self.members.iter().filter_map(|member| member.relation).max()
    }
}

/// All layers of a score.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Layers {
    /// By first bar, then by chief line.
    pub layers: Vec<Layer>,
    /// By line: bars and layer, ascending.
    of_line: Vec<Vec<(Range<u32>, usize)>>,
}

impl Layers {
    /// Puts layers in order; no line may lie in two at once.
    #[must_use]
    pub fn new(mut layers: Vec<Layer>) -> Self {
        layers.sort_by_key(|layer| (layer.bars.start, layer.members.first().map(|member| member.line)));
        let mut of_line: Vec<Vec<(Range<u32>, usize)>> = Vec::new();
        for (index, layer) in layers.iter().enumerate() {
            for member in &layer.members {
                if of_line.len() <= member.line {
                    of_line.resize(member.line + 1, Vec::new());
                }
                of_line[member.line].push((member.bars.clone(), index));
            }
        }
        of_line.iter_mut().for_each(|stretches| stretches.sort_by_key(|(bars, _)| bars.start));
        Self { layers, of_line }
    }

    /// The layer of a line in a played bar, index into [`Layers::layers`]; `None` where the line does not sound.
    #[must_use]
    pub fn of(&self, line: usize, bar: u32) -> Option<usize> {
        let stretches = self.of_line.get(line)?;
        let next = stretches.partition_point(|(bars, _)| bars.start <= bar);
        stretches.get(next.checked_sub(1)?).filter(|(bars, _)| bars.contains(&bar)).map(|(_, layer)| *layer)
    }
}

/// What kind of thing a line does, as far as layers go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Stack,
    Tune,
    Bass,
    Accompaniment,
}

impl Kind {
    const fn of(role: Role) -> Self {
        match role {
            Role::Melody | Role::Countermelody => Self::Tune,
            Role::Bass => Self::Bass,
            _ => Self::Accompaniment,
        }
    }
}

/// One layer on its way: the lines it ever had, and in which bars.
struct Growing {
    bars: Range<u32>,
    all: BTreeSet<u32>,
    /// Line, bar and lead, by bar.
    seen: Vec<(u32, u32, f32)>,
}

/// Joins the groups of the bars to layers. `roles` has the role of each cell, `lead` tells how strongly a cell leads.
pub(crate) fn layers(
    lines: &Lines,
    cells: &[Cell],
    by_bar: &[Vec<usize>],
    places: &[Place],
    roles: &[Role],
    lead: impl Fn(&Cell) -> f32,
) -> Layers {
    let mut growing: Vec<Growing> = Vec::new();
    let mut done: Vec<Growing> = Vec::new();
    for (bar, here) in (0u32..).zip(by_bar) {
        let mut groups: Vec<((usize, Kind), Vec<usize>)> = Vec::new();
        let pitched = here.iter().filter(|&&cell| !cells[cell].is_unpitched()).count();
        for &cell in here {
            let rhythm = places[cell].layer;
            let with = here.iter().filter(|&&other| places[other].layer == rhythm && !cells[other].is_unpitched()).count();
            let kind = if with * 4 >= pitched * 3 { Kind::Stack } else { Kind::of(roles[cell]) };
            match groups.iter_mut().find(|(group, _)| *group == (rhythm, kind)) {
                Some((_, members)) => members.push(cell),
                None => groups.push(((rhythm, kind), vec![cell])),
            }
        }
        let mut next = Vec::with_capacity(groups.len());
        for (_, members) in groups {
            let own: BTreeSet<u32> = members.iter().map(|&cell| cells[cell].line).collect();
            let stays = |layer: &Growing| {
                let both = layer.all.intersection(&own).count();
                (both * 2 >= layer.all.union(&own).count()).then_some(both)
            };
            let best = (0..growing.len()).filter_map(|at| Some((stays(&growing[at])?, std::cmp::Reverse(at)))).max();
            let mut layer = best.map_or_else(
                || Growing { bars: bar..bar, all: BTreeSet::new(), seen: Vec::new() },
                |(_, at)| growing.remove(at.0),
            );
            layer.bars.end = bar + 1;
            layer.all.extend(&own);
            layer.seen.extend(members.iter().map(|&cell| (cells[cell].line, bar, lead(&cells[cell]))));
            next.push(layer);
        }
        done.append(&mut growing);
        growing = next;
    }
    done.append(&mut growing);
    Layers::new(done.into_iter().map(|layer| finished(lines, layer)).collect())
}

fn finished(lines: &Lines, growing: Growing) -> Layer {
    let Growing { bars, all, mut seen } = growing;
    let strength = |line: u32| seen.iter().filter(|it| it.0 == line).map(|it| it.2).sum::<f32>();
    let chief = all.iter().copied().fold(None, |best: Option<(f32, u32)>, line| {
        let here = strength(line);
        // Lines come in score order, so that of equals the higher on the page stays.
        if best.is_none_or(|best| here > best.0) { Some((here, line)) } else { best }
    });
    let chief = chief.map_or(0, |(_, line)| line);
    seen.sort_by_key(|&(line, bar, _)| (line != chief, line, bar));
    let mut members: Vec<Member> = Vec::new();
    for &(line, bar, _) in &seen {
        match members.last_mut() {
            Some(last) if last.line == line as usize && last.bars.end == bar => last.bars.end = bar + 1,
            _ => members.push(Member { line: line as usize, bars: bar..bar + 1, relation: None }),
        }
    }
    for member in &mut members {
        if member.line != chief as usize {
            member.relation = relation(&lines.lines[chief as usize], &lines.lines[member.line], &member.bars);
        }
    }
    Layer { bars, members }
}

/// Relations of a layer's members to its first, found anew: for layers put together by hand.
pub fn relate(lines: &Lines, members: &mut [Member]) {
    let Some((first, others)) = members.split_first_mut() else { return };
    first.relation = None;
    for member in others {
        member.relation = if member.line == first.line {
            None
        } else {
            relation(&lines.lines[first.line], &lines.lines[member.line], &member.bars)
        };
    }
}

/// Whoever acts together with a line in some bars, as seen from that line: the members of its layer that sound there, each part once with its closest relation,
/// by part. Lines of the line's own part are left out.
#[must_use]
pub fn company(lines: &Lines, line: usize, layer: &Layer, bars: &Range<u32>) -> Vec<Member> {
    let part = |line: usize| lines.lines[line].part;
    let mut found: BTreeMap<usize, Member> = BTreeMap::new();
    for member in layer.members.iter().filter(|member| part(member.line) != part(line)) {
        let here = member.bars.start.max(bars.start)..member.bars.end.min(bars.end);
        if here.is_empty() {
            continue;
        }
        let relation = relation(&lines.lines[line], &lines.lines[member.line], &here);
        match found.entry(part(member.line)) {
            Entry::Vacant(place) => {
                place.insert(Member { line: member.line, bars: here, relation });
            }
            Entry::Occupied(mut known) => {
                let known = known.get_mut();
                known.bars = known.bars.start.min(here.start)..known.bars.end.max(here.end);
                // Relations stand in order, the closest first.
                if relation.is_some_and(|relation| known.relation.is_none_or(|known| relation < known)) {
                    (known.line, known.relation) = (member.line, relation);
                }
            }
        }
    }
    found.into_values().collect()
}

/// Share of the notes, or steps, that have to agree.
const AGREE: f64 = 0.75;
/// Share of the steps that have to run the same way for a thickened line.
const PARALLEL: f64 = 0.6;

/// How `b` goes with `a` in these bars; `None` when they have no moment in common.
#[allow(clippy::cast_precision_loss)] // attacks of a span
fn relation(a: &Line, b: &Line, bars: &Range<u32>) -> Option<Relation> {
    let pairs = common(a, b, bars);
    if pairs.is_empty() {
        return sustained(a, b, bars);
    }
    let share = |count: usize, of: usize| count as f64 / of.max(1) as f64;
    let classes = pairs.iter().filter(|(x, y)| x.is_some() && same_class(*x, *y)).count();
    if share(classes, pairs.len()) >= AGREE {
        let unisons = pairs.iter().filter(|(x, y)| x.is_some() && x == y).count();
        return Some(if share(unisons, classes) >= AGREE { Relation::Unison } else { Relation::Octaves });
    }
    Some(if parallel_share(&pairs).is_some_and(|share| share >= PARALLEL) { Relation::Parallel } else { Relation::SameRhythm })
}

/// Highest keys at moments at which both attack.
type Pairs = Vec<(Option<u8>, Option<u8>)>;

fn common(a: &Line, b: &Line, bars: &Range<u32>) -> Pairs {
    let inside = |line: &Line| {
        let first = line.attacks.partition_point(|attack| attack.bar < bars.start);
        let end = line.attacks.partition_point(|attack| attack.bar < bars.end);
        first..end
    };
    let ours = &b.attacks[inside(b)];
    let mut found = Vec::new();
    for theirs in &a.attacks[inside(a)] {
        if let Ok(at) = ours.binary_search_by_key(&theirs.onset, |attack| attack.onset) {
            found.push((theirs.top, ours[at].top));
        }
    }
    found
}

fn same_class(x: Option<u8>, y: Option<u8>) -> bool {
    matches!((x, y), (Some(x), Some(y)) if x % 12 == y % 12)
}

/// Two lines that only hold notes from before.
fn sustained(a: &Line, b: &Line, bars: &Range<u32>) -> Option<Relation> {
    let held = |line: &Line| {
        let next = line.attacks.partition_point(|attack| attack.bar < bars.start);
        next.checked_sub(1).and_then(|at| line.attacks.get(at)).copied()
    };
    let (x, y) = (held(a)?, held(b)?);
    let together = x.end.min(y.end) > x.onset.max(y.onset);
    let same = |x: Option<u8>, y: Option<u8>| if x == y { Relation::Unison } else { Relation::Octaves };
    together.then(|| if same_class(x.top, y.top) { same(x.top, y.top) } else { Relation::SameRhythm })
}

/// Share of the steps that two lines in one rhythm make the same way, nearly the same distance apart; `None` where neither moves.
#[allow(clippy::cast_precision_loss)] // steps of a span
pub(crate) fn parallel_share(pairs: &[(Option<u8>, Option<u8>)]) -> Option<f64> {
    let keys: Vec<(i32, i32)> = pairs.iter().filter_map(|&(x, y)| Some((i32::from(x?), i32::from(y?)))).collect();
    let steps: Vec<bool> = keys
        .windows(2)
        .filter(|pair| pair[0] != pair[1])
        .map(|pair| {
            let (ours, theirs) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
            ours.signum() == theirs.signum() && (ours - theirs).abs() <= 2
        })
        .collect();
    (!steps.is_empty()).then(|| steps.iter().filter(|&&step| step).count() as f64 / steps.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_that_run_alike_are_parallel() {
        let thirds = [(Some(64), Some(60)), (Some(65), Some(62)), (Some(67), Some(64)), (Some(65), Some(62))];
        assert_eq!(parallel_share(&thirds), Some(1.0));
        let contrary = [(Some(64), Some(60)), (Some(65), Some(59)), (Some(67), Some(57))];
        assert_eq!(parallel_share(&contrary), Some(0.0));
        assert_eq!(parallel_share(&[(Some(64), Some(60)), (Some(64), Some(60))]), None);
    }

    #[test]
    fn a_line_is_found_in_its_layer_for_its_own_bars() {
        let member = |line, bars| Member { line, bars, relation: None };
        let layers = Layers::new(vec![
            Layer { bars: 4..8, members: vec![member(1, 4..8)] },
            Layer { bars: 0..4, members: vec![member(0, 0..4), member(1, 1..3)] },
        ]);
        assert_eq!((layers.of(1, 0), layers.of(1, 2), layers.of(1, 3), layers.of(1, 5)), (None, Some(0), None, Some(1)));
        assert_eq!(layers.of(7, 0), None);
    }
}
