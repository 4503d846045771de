//! Doublings gathered into combinations: which sections play one line together, at which intervals, for how long.

use std::collections::{BTreeMap, BTreeSet};

use ripieno_score::Crotchets;

use crate::Study;

/// Doublings with fewer common notes are chord tones that happen to meet as often as not; combinations leave them out.
pub const FEWEST_NOTES: u32 = 4;

/// One way in which a combination lies: each section with its octaves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    /// Section (index into [`crate::Groups::sections`]) and octaves below the highest line of the combination, 0 or negative; ordered by
    /// section, then from above.
    pub octaves: Vec<(usize, i16)>,
    /// How long it sounds.
    pub time: Crotchets,
    /// Its bars.
    pub bars: Vec<u32>,
}

/// Sections that play one line together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Combination {
    /// The sections, indices into [`crate::Groups::sections`], in page order. A single one: players of a section among themselves.
    pub sections: Vec<usize>,
    /// The parts that ever take part, indices into [`ripieno_score::Score::parts`].
    pub parts: Vec<usize>,
    /// How long, in all layouts.
    pub time: Crotchets,
    /// The bars.
    pub bars: Vec<u32>,
    /// The layouts, longest first.
    pub layouts: Vec<Layout>,
}

type Key = Vec<(usize, i16)>;

#[derive(Default)]
struct Gathered {
    time: Crotchets,
    bars: BTreeSet<u32>,
    parts: BTreeSet<usize>,
}

impl Study {
    /// Combinations by duration, longest first. Lines belong to one combination at a moment when doublings of at least [`FEWEST_NOTES`]
    /// common notes lead from one to the other. Cost grows with the doublings times how many hold at once.
    #[must_use]
    pub fn combinations(&self) -> Vec<Combination> {
        let lines = &self.lines.lines;
        let mut section_of = vec![0; self.score.parts.len()];
        for (index, section) in self.groups.sections.iter().enumerate() {
            section.parts.iter().for_each(|&part| section_of[part] = index);
        }
        let kept: Vec<_> = self
            .doublings
            .all
            .iter()
            .filter(|doubling| doubling.shared >= FEWEST_NOTES && lines[doubling.a].part != lines[doubling.b].part)
            .collect();
        let mut edges: Vec<Crotchets> = kept.iter().flat_map(|doubling| [doubling.from, doubling.to]).collect();
        edges.sort_unstable();
        edges.dedup();
        let mut gathered: BTreeMap<Key, Gathered> = BTreeMap::new();
        let (mut now, mut next) = (Vec::new(), 0);
        for pair in edges.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            now.retain(|&index: &usize| kept[index].to > from);
            while kept.get(next).is_some_and(|doubling| doubling.from <= from) {
                now.push(next);
                next += 1;
            }
            let links = now.iter().map(|&index| (kept[index].a, kept[index].b, kept[index].interval));
            for group in joined(links) {
                let top = group.iter().map(|(_, interval)| *interval).max().unwrap_or(0);
                let mut key: Key = group.iter().map(|&(line, at)| (section_of[lines[line].part], (at - top) / 12)).collect();
                key.sort_unstable_by_key(|&(section, octaves)| (section, -octaves));
                key.dedup();
                let entry = gathered.entry(key).or_default();
                entry.time += to - from;
                entry.bars.extend(self.bars_between(from, to));
                entry.parts.extend(group.iter().map(|&(line, _)| lines[line].part));
            }
        }
        combined(gathered)
    }
}

/// Lines linked with each other, each with its height above the first of its group in semitones.
fn joined(links: impl Iterator<Item = (usize, usize, i16)>) -> Vec<Vec<(usize, i16)>> {
    let mut of: BTreeMap<usize, Vec<(usize, i16)>> = BTreeMap::new();
    for (a, b, interval) in links {
        of.entry(a).or_default().push((b, interval));
        of.entry(b).or_default().push((a, -interval));
    }
    let mut seen = BTreeSet::new();
    let mut groups = Vec::new();
    for &start in of.keys() {
        if !seen.insert(start) {
            continue;
        }
        let mut group = vec![(start, 0)];
        let mut at = 0;
        while let Some(&(line, height)) = group.get(at) {
            at += 1;
            for &(other, interval) in &of[&line] {
                if seen.insert(other) {
                    group.push((other, height + interval));
                }
            }
        }
        groups.push(group);
    }
    groups
}

fn combined(gathered: BTreeMap<Key, Gathered>) -> Vec<Combination> {
    let mut of: BTreeMap<Vec<usize>, (Gathered, Vec<Layout>)> = BTreeMap::new();
    for (octaves, layout) in gathered {
        let mut sections: Vec<usize> = octaves.iter().map(|(section, _)| *section).collect();
        sections.dedup();
        let (all, layouts) = of.entry(sections).or_default();
        all.time += layout.time;
        all.bars.extend(&layout.bars);
        all.parts.extend(&layout.parts);
        layouts.push(Layout { octaves, time: layout.time, bars: layout.bars.into_iter().collect() });
    }
    let mut found: Vec<Combination> = of
        .into_iter()
        .map(|(sections, (all, mut layouts))| {
            layouts.sort_by_key(|layout| std::cmp::Reverse(layout.time));
            let (parts, bars) = (all.parts.into_iter().collect(), all.bars.into_iter().collect());
            Combination { sections, parts, time: all.time, bars, layouts }
        })
        .collect();
    found.sort_by_key(|combination| std::cmp::Reverse(combination.time));
    found
}
